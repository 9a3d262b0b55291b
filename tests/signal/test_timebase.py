"""The clock: nominal period, gaps, jitter, continuous runs."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceanalyze.errors import SignalError
from traceanalyze.signal.timebase import breaks, nominal_period_s, timebase


def test_period_and_jitter_of_an_even_clock() -> None:
    clock = timebase(np.arange(100) * 0.1, np.zeros(100, int))
    # rounding of 100 doubles only
    assert clock.period_s == pytest.approx(0.1, abs=1e-12)
    assert clock.rate_hz == pytest.approx(10, abs=1e-9)
    assert clock.jitter_s < 1e-12
    assert clock.runs.tolist() == [[0, 100]]
    assert clock.gap_s.size == 0


def test_period_of_rounded_stamps() -> None:
    # 18 Hz stamped in hundredths of a second: steps of 0.05 and 0.06 s, whose median is 8 % off.
    t_s = np.round(np.arange(2000) / 18, 2)
    # atol: end effects of rounding, 0.01 s over 2000 steps, and no more
    assert nominal_period_s(t_s, np.zeros(2000, int)) == pytest.approx(1 / 18, abs=1e-5)
    assert timebase(t_s, np.zeros(2000, int)).runs.shape[0] == 1


@given(st.integers(1, 25), st.integers(0, 2**32 - 1), st.floats(0, 0.2))
def test_jitter_neither_moves_the_period_nor_makes_gaps(rate_hz: int, seed: int, jitter: float) -> None:
    rng = np.random.default_rng(seed)
    t_s = (np.arange(400) + rng.uniform(-jitter, jitter, 400)) / rate_hz
    clock = timebase(t_s, np.zeros(400, int))
    # atol: the mean of the steps telescopes, leaving the jitter of the ends; steps trimmed at 1.5 medians are few
    assert clock.period_s * rate_hz == pytest.approx(1, abs=0.03)
    assert clock.runs.shape[0] == 1
    # uniform +-j at both ends of a step: sd j sqrt(2/3); 400 samples tell it to about 5 %
    assert clock.jitter_s * rate_hz == pytest.approx(jitter * math.sqrt(2 / 3), rel=0.25, abs=1e-9)


def test_gaps_split_runs_and_one_lost_sample_does_not() -> None:
    index = np.r_[0:50, 51:100, 103:200]
    clock = timebase(index * 0.1, np.zeros(index.size, int))
    assert clock.runs.tolist() == [[0, 99], [99, 196]]
    assert clock.gap_s == pytest.approx([0.4])


def test_a_new_stretch_begins_a_run() -> None:
    clock = timebase(np.arange(10.0), np.repeat([0, 1], 5))
    assert clock.runs.tolist() == [[0, 5], [5, 10]]


def test_a_log_that_changes_its_rate_is_not_torn_apart() -> None:
    t_s = np.r_[np.arange(200) * 0.2, 40 + np.arange(60.0), 130 + np.arange(20.0)]
    assert timebase(t_s, np.zeros(t_s.size, int)).runs.tolist() == [[0, 260], [260, 280]]


def test_a_clock_of_two_far_apart_steps_has_one_of_them_as_period() -> None:
    # their mean, 150.05 s, is no step of this clock
    assert nominal_period_s(np.array([0, 0.1, 300.1]), np.zeros(3, int)) == pytest.approx(0.1, abs=1e-9)


def test_real_gaps(open_data) -> None:
    import pandas as pd

    rows = pd.read_csv(open_data / "navinst19" / "Speed_StereoVO_OBDII_Reference_Toronto_T19_2.csv")
    clock = timebase(rows.gps_sec.to_numpy(), np.zeros(len(rows), int))
    # the data's own description: 5 Hz, one gap of 622 s
    assert clock.rate_hz == pytest.approx(5, abs=1e-3)
    assert clock.gap_s == pytest.approx([622.2], abs=0.3)


@pytest.mark.parametrize("n", [0, 1])
def test_too_few_samples_have_no_period(n: int) -> None:
    clock = timebase(np.arange(float(n)), np.zeros(n, int))
    assert math.isnan(clock.period_s)
    assert clock.runs.shape == (n, 2)
    assert breaks(np.arange(float(n)), np.zeros(n, int)).size == 0


def test_refusals() -> None:
    with pytest.raises(SignalError, match="do not increase"):
        timebase(np.array([0.0, 1.0, 1.0]), np.zeros(3, int))
    with pytest.raises(SignalError, match="differ"):
        timebase(np.arange(3.0), np.zeros(2, int))
