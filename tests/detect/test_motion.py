"""Rest and motion, pieces and stops."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.detect.rides import logged, noise_of, without
from traceanalyze.detect.motion import find_motion, ranges_of
from traceanalyze.settings import MOTION_SMOOTHING_S
from traceanalyze.trace import make_trace


def test_stops_of_a_ride() -> None:
    trace = logged([(0, 0), (10, 0), (14, 12), (18, 0), (24, 0), (28, 12), (30, 12)])
    motion = find_motion(trace, noise_of(trace))
    assert [(round(motion.t_s[a]), round(motion.t_s[b - 1])) for a, b in motion.stops] == [(0, 10), (18, 24)]


def test_noise_cuts_no_stop() -> None:
    trace = logged([(0, 0), (60, 0)], 10.0, 0.15)
    assert find_motion(trace, noise_of(trace, 0.15)).stops.tolist() == [[0, trace.points]]


def test_a_smoothed_speed_stays_within_its_piece() -> None:
    trace = without(logged([(0, 10), (10, 10), (10.01, 20), (30, 20)], sigma_mps=0.0), 9.0, 15.0)
    motion = find_motion(trace, noise_of(trace))
    assert motion.pieces.shape[0] == 2
    assert motion.smooth_mps == pytest.approx(motion.speed_mps, abs=1e-9)


@given(st.lists(st.integers(1, 30), min_size=1, max_size=6), st.sampled_from([2.0, 5.0, 10.0, 25.0, 100.0]))
def test_a_smoothed_speed_is_the_mean_of_its_neighbours_in_its_piece(sizes: list[int], rate_hz: float) -> None:
    stretch = np.repeat(np.arange(len(sizes)), sizes)
    speed_mps = np.random.default_rng(1).uniform(5.0, 30.0, stretch.size)
    trace = make_trace(
        np.arange(stretch.size) / rate_hz, utc0_s=np.zeros(len(sizes)), speed_mps=speed_mps, stretch=stretch
    )
    noise = replace(noise_of(logged([(0, 0), (5, 0)])), period_s=1 / rate_hz)
    motion = find_motion(trace, noise)
    for begin, end in motion.pieces.tolist():
        for k in range(begin, end):  # as many on either side as a quarter second and the piece hold
            reach = min(int(0.5 * MOTION_SMOOTHING_S * rate_hz), k - begin, end - 1 - k)
            mean_mps = speed_mps[k - reach : k + reach + 1].mean()
            assert motion.smooth_mps[k] == pytest.approx(mean_mps, abs=1e-9)  # sums of up to 180 speeds below 30 m/s


def test_a_gap_hides_a_stop_only_if_there_is_time_for_one() -> None:
    ride = logged([(0, 0), (5, 0), (9, 16), (30, 16)])
    # 16 m/s: 2 s to brake at 8 m/s^2, 2.7 s to leave again at 6 m/s^2
    assert find_motion(without(ride, 12.0, 16.0), noise_of(ride)).pieces.shape[0] == 1
    assert find_motion(without(ride, 12.0, 17.5), noise_of(ride)).pieces.shape[0] == 2


def test_points_without_speed_are_passed_over() -> None:
    trace = logged([(0, 0), (10, 0), (14, 12), (20, 12)])
    speed_mps = trace.speed_mps.copy()
    speed_mps[::3] = np.nan
    motion = find_motion(make_trace(trace.t_s, speed_mps=speed_mps), noise_of(trace))
    assert motion.row.size == np.isfinite(speed_mps).sum()
    assert motion.pieces.shape[0] == 1


def test_ranges_are_cut_at_pieces() -> None:
    mask = np.array([True, True, False, True, True, True])
    assert ranges_of(mask, np.array([[0, 4], [4, 6]])).tolist() == [[0, 2], [3, 4], [4, 6]]
    assert ranges_of(~mask & mask, np.array([[0, 6]])).shape == (0, 2)
