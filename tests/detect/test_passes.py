"""Top-speed passes: all of them, each once."""

from pathlib import Path

import numpy as np
import pytest

from tests.detect.rides import logged, noise_of, without
from traceanalyze.detect.passes import find_passes
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import Trace, make_trace

REST, LAUNCH = [(0, 0), (8, 0)], [(4, 15), (8, 0), (14, 0)]
PASS = [(7, 20), (14, 25), (18, 25.2), (26, 0), (32, 0)]


def ride(*pieces: list[tuple[float, float]], rate_hz: float = 10.0, sigma_mps: float = 0.05) -> Trace:
    knots: list[tuple[float, float]] = []
    for piece in pieces:
        begin = knots[-1][0] if knots else 0.0
        knots += [(begin + t, v) for t, v in piece]
    return logged(knots, rate_hz, sigma_mps)


@pytest.mark.parametrize("rate_hz", [1, 5, 10, 25])
@pytest.mark.parametrize("sigma_mps", [0.03, 0.15])
def test_four_launches_and_four_passes(rate_hz: float, sigma_mps: float) -> None:
    trace = ride(REST, *[LAUNCH] * 4, *[PASS] * 4, rate_hz=rate_hz, sigma_mps=sigma_mps)
    spans = find_passes(trace, noise_of(trace, sigma_mps))
    assert len(spans) == 4
    for span in spans:
        assert trace.speed_mps[span.top] == pytest.approx(25.2, abs=1.0)
        assert span.first < span.top <= span.last
        # the stretch: from 70 % of the best and back
        assert trace.speed_mps[span.first] == pytest.approx(0.7 * 25.2, abs=2.0 + 4 / rate_hz)


def test_launches_pulling_to_nearly_the_top_are_no_passes() -> None:
    """15 m/s at 3.75 m/s^2 beside passes that level at 17 m/s."""
    slow = [(4, 14), (10, 17), (13, 17.1), (20, 0), (26, 0)]
    trace = ride(REST, *[LAUNCH] * 3, *[slow] * 2)
    assert len(find_passes(trace, noise_of(trace))) == 2


def test_launches_alone_are_what_there_is() -> None:
    trace = ride(REST, *[LAUNCH] * 3)
    assert len(find_passes(trace, noise_of(trace))) == 3


def test_a_dip_divides_and_a_ripple_does_not() -> None:
    ripple = [(8, 24), (10, 20), (14, 25), (20, 0), (25, 0)]
    dip = [(8, 24), (12, 15), (18, 25), (24, 0), (29, 0)]
    for piece, count in ((ripple, 1), (dip, 2)):
        trace = ride(REST, piece)
        assert len(find_passes(trace, noise_of(trace))) == count


def test_a_long_gap_divides_a_pass() -> None:
    trace = logged([(0, 25), (60, 25)])
    assert len(find_passes(without(trace, 20.0, 21.0), noise_of(trace))) == 1
    assert len(find_passes(without(trace, 20.0, 40.0), noise_of(trace))) == 2


@pytest.mark.parametrize("n", [0, 1, 3])
def test_next_to_nothing(n: int) -> None:
    noise = SpeedNoise(0.05, 0.0, 1.0, 0.0, 0.0, 0.0, 0.1)
    assert find_passes(make_trace(np.arange(float(n)), speed_mps=np.full(n, 1.0)), noise) == ()


def test_a_walk_is_no_pass() -> None:
    trace = logged([(0, 0), (10, 0), (12, 1.5), (60, 1.5)])
    assert find_passes(trace, noise_of(trace)) == ()


def test_a_motorway_drive_has_a_few_stretches(open_data: Path) -> None:
    import pandas as pd

    table = pd.read_csv(open_data / "driveplotr" / "nds_data.csv")
    rows = table[table.drive == 31]
    t_s = rows.time_utc.to_numpy(float)
    trace = make_trace(t_s - t_s[0], speed_mps=rows.speed_mph.to_numpy() * 0.44704)
    spans = find_passes(trace, noise_of(trace))
    # looked at on paper: stretches about 1040, 1650, 1810 and 2235 s, none of the town drives before 880 s
    assert [round(trace.t_s[span.top], -1) for span in spans] == [1040, 1650, 1810, 2240]


def test_a_piece_shorter_than_a_second_is_passed_over() -> None:
    trace = make_trace(
        np.r_[np.arange(6) * 0.1, 60 + np.arange(60) * 0.1], speed_mps=np.r_[np.full(6, 30.0), np.full(60, 20.0)]
    )
    (span,) = find_passes(trace, noise_of(trace))
    assert span.first >= 6
