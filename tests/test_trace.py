"""The Trace noun checks itself and never changes."""

import pickle

import numpy as np
import pytest

from traceanalyze.errors import SignalError
from traceanalyze.trace import Accelerometer, Remark, make_trace, utc_text, with_remarks


def test_unknown_columns_are_nan_never_zero() -> None:
    trace = make_trace(np.array([0.0, 1.0]))
    assert np.isnan(trace.speed_mps).all()
    assert (trace.quality == -1).all()


def test_a_trace_cannot_be_edited() -> None:
    trace = make_trace(np.array([0.0, 1.0]), speed_mps=np.array([1.0, 2.0]))
    with pytest.raises(ValueError, match="read-only"):
        trace.speed_mps[0] = 5
    with pytest.raises(TypeError, match="does not support item assignment"):
        trace.tally["glitch"] = 3  # type: ignore[index]


@pytest.mark.parametrize("t_s", [[0.0, 0.0], [1.0, 0.0], [0.0, np.nan], [0.0, np.inf]])
def test_times_must_rise(t_s: list[float]) -> None:
    with pytest.raises(SignalError, match="strictly increasing"):
        make_trace(np.array(t_s))


def test_columns_must_fit_the_clock() -> None:
    with pytest.raises(SignalError, match="speed_mps has shape"):
        make_trace(np.array([0.0, 1.0]), speed_mps=np.array([1.0]))
    with pytest.raises(SignalError, match="accelerometer has"):
        Accelerometer(t_s=np.array([0.0]), force_mps2=np.zeros((2, 3)))


def test_a_trace_travels_between_processes() -> None:
    trace = make_trace(np.array([0.0, 1.0]), tally={"checksum": 2}, utc0_s=1e9)
    copy = pickle.loads(pickle.dumps(trace))
    assert copy.tally == {"checksum": 2}
    assert copy.damaged
    assert copy.utc_s(1) == 1e9 + 1


def test_utc_text_has_microseconds() -> None:
    # Unix time 1781438400 is 2026-06-14T12:00:00Z (computed with astropy 8.0.2)
    assert utc_text(1781438400.25) == "2026-06-14T12:00:00.250000Z"
    assert utc_text(float("nan")) is None
    assert utc_text(1e30) is None


def test_remarks_are_added_once() -> None:
    remark = Remark("code", "words")
    trace = with_remarks(with_remarks(make_trace(np.array([0.0])), remark), remark)
    assert trace.remarks == (remark,)
