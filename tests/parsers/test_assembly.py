"""Repeated, missing and backward times, settled the same way for every format."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceanalyze.errors import FormatError
from traceanalyze.parsers.assembly import assemble
from traceanalyze.trace import Source, Trace


def _trace(times, session=None, speeds=None) -> Trace:
    time_s = np.array(times, float)
    parts = None if session is None else np.array(session)
    columns = {"speed_mps": np.arange(time_s.size, dtype=float) if speeds is None else np.array(speeds, float)}
    return assemble(time_s=time_s, epoch_s=1e9, columns=columns, session=parts, source=Source(), tally={})


def test_an_ordinary_log_is_left_alone() -> None:
    trace = _trace([10, 11, 12])
    assert trace.t_s.tolist() == [0, 1, 2]
    assert trace.utc_s(2) == 1e9 + 12
    assert not trace.tally
    assert not trace.remarks


def test_repeated_and_untimed_rows_are_counted() -> None:
    trace = _trace([0, 1, 1, np.nan, 2])
    assert trace.speed_mps.tolist() == [0, 1, 4]
    assert dict(trace.tally) == {"duplicate": 1, "no_time": 1}


def test_a_block_written_twice_is_repeated_not_a_second_ride() -> None:
    assert dict(_trace([0, 1, 2, 0, 1, 2, 3], speeds=[5, 6, np.nan, 5, 6, np.nan, 8]).tally) == {"duplicate": 3}


def test_a_long_log_written_twice_is_one_ride() -> None:
    times, speeds = list(range(8000)), list(np.arange(8000) % 700)
    assert dict(_trace(times * 2, speeds=speeds * 2).tally) == {"duplicate": 8000}


def test_the_same_times_with_other_content_are_a_second_ride() -> None:
    trace = _trace([10, 11, 12, 13, 10, 11, 12, 13, 14], speeds=[1, 2, 3, 4, 5, 6, 7, 8, 9])
    assert trace.points == 9
    assert trace.stretch.tolist() == [0, 0, 0, 0, 1, 1, 1, 1, 1]


def test_a_clock_that_goes_back_begins_a_session_of_its_own() -> None:
    trace = _trace([10, 11, 12, 5, 6, 7, 8])
    assert trace.stretch.tolist() == [0, 0, 0, 1, 1, 1, 1]
    assert [trace.utc_s(k) - 1e9 for k in (2, 3, 6)] == [12, 5, 8]
    assert "goes back by 8.0 s" in trace.remarks[0].text


def test_one_stray_row_is_dropped() -> None:
    assert dict(_trace([0, 1, 3, 2, 4]).tally) == {"out_of_order": 1}


def test_rows_written_newest_first_are_sorted() -> None:
    trace = _trace([5, 4, 3, 2, 1])
    assert trace.speed_mps.tolist() == [4, 3, 2, 1, 0]
    assert trace.remarks[0].code == "sorted-by-time"


def test_segments_stay_apart() -> None:
    assert _trace([0, 1, 2, 3], session=[0, 0, 1, 1]).stretch.tolist() == [0, 0, 1, 1]


def test_no_time_at_all_is_refused() -> None:
    with pytest.raises(FormatError, match="no point in it has a time"):
        _trace([np.nan, np.nan])


@given(st.lists(st.one_of(st.integers(0, 40).map(float), st.just(float("nan"))), min_size=1, max_size=80))
def test_every_row_is_kept_or_counted(times: list[float]) -> None:
    if np.isnan(times).all():
        return
    trace = _trace(times)
    assert trace.points + sum(trace.tally.values()) == len(times)
    assert (np.diff(trace.t_s) > 0).all()
