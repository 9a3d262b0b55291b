"""A motion answers exactly: its distance is the integral of its speed, its crossings lie on it."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from traceanalyze.errors import SignalError
from traceanalyze.simulate.motion import Motion, arrival_s, best_mean, fall_s, rise_s


def ramp_and_brake() -> Motion:
    """2 m/s^2 for 5 s, then -4 m/s^2 for 2.5 s: accelerations that jump."""
    return Motion(
        t_s=np.array([0.0, 5.0, 7.5]),
        speed_mps=np.array([0.0, 10.0, 0.0]),
        start_mps2=np.array([2.0, -4.0]),
        end_mps2=np.array([2.0, -4.0]),
    )


@st.composite
def motions(draw):
    n = draw(st.integers(2, 8))
    number = st.floats(-3, 3, allow_nan=False)
    steps = draw(st.lists(st.floats(0.01, 2), min_size=n, max_size=n))
    return Motion(
        t_s=np.concatenate([[0.0], np.cumsum(steps)]),
        speed_mps=np.array(draw(st.lists(st.floats(0, 20), min_size=n + 1, max_size=n + 1))),
        start_mps2=np.array(draw(st.lists(number, min_size=n, max_size=n))),
        end_mps2=np.array(draw(st.lists(number, min_size=n, max_size=n))),
    )


def test_uniform_acceleration_by_the_textbook_formulas():
    motion = ramp_and_brake()
    # v = a t, x = a t^2 / 2 (definitions); exact up to rounding
    assert rise_s(motion, 7.0, 0, 5) == pytest.approx(3.5, abs=1e-12)
    assert arrival_s(motion, 16.0, 0, 7.5) == pytest.approx(4.0, abs=1e-12)
    assert fall_s(motion, 2.0, 5, 7.5) == pytest.approx(7.0, abs=1e-12)
    assert motion.distance_m[-1] == pytest.approx(25 + 12.5, abs=1e-12)
    np.testing.assert_allclose(motion.accel_at(np.array([1.0, 6.0])), [2.0, -4.0], atol=1e-12)


def test_a_level_that_is_just_reached_at_the_end():
    speeds = np.array([0.0, 0.995, 9.0])  # the cubic's own value at the end is short of 9 by rounding
    motion = Motion(t_s=np.arange(3.0), speed_mps=speeds, start_mps2=np.zeros(2), end_mps2=np.zeros(2))
    assert rise_s(motion, 9.0, 0.0, 2.0) == pytest.approx(2.0, abs=1e-6)


def test_what_is_not_reached_is_nan():
    motion = ramp_and_brake()
    assert np.isnan(rise_s(motion, 10.1, 0, 7.5))
    assert np.isnan(rise_s(motion, 9.0, 0, 4.0))  # reached, but later than asked
    assert np.isnan(arrival_s(motion, 40.0, 0, 7.5))


def test_pieces_that_do_not_follow_one_another_are_refused():
    with pytest.raises(SignalError, match="do not follow"):
        Motion(t_s=np.array([0.0, 0.0]), speed_mps=np.zeros(2), start_mps2=np.zeros(1), end_mps2=np.zeros(1))


@given(motions())
@settings(max_examples=60, deadline=None)
def test_distance_is_the_integral_of_speed(motion):
    # Gauss-Legendre with 3 points is exact for polynomials up to degree 5 (Abramowitz & Stegun 25.4.29)
    nodes, weights = np.polynomial.legendre.leggauss(3)
    half, middle = np.diff(motion.t_s) / 2, (motion.t_s[1:] + motion.t_s[:-1]) / 2
    pieces = (motion.speed_at(middle[:, None] + half[:, None] * nodes) * weights).sum(axis=1) * half
    np.testing.assert_allclose(np.diff(motion.distance_m), pieces, rtol=1e-9, atol=1e-9)
    inside = motion.t_s[:-1] + 0.37 * np.diff(motion.t_s)
    slope = (motion.distance_at(inside + 1e-6) - motion.distance_at(inside - 1e-6)) / 2e-6
    np.testing.assert_allclose(slope, motion.speed_at(inside), atol=2e-4)  # rounding of a difference over 2 us


@given(motions(), st.floats(0.1, 19))
@settings(max_examples=60, deadline=None)
def test_a_crossing_lies_on_the_motion(motion, level):
    found = rise_s(motion, level, 0.0, float(motion.t_s[-1]))
    if np.isnan(found):
        assert (motion.speed_mps[1:] < level).all()
    elif found > 0:
        assert float(motion.speed_at(found)) == pytest.approx(level, abs=1e-6)


def test_best_mean_of_a_triangle():
    # the best 1 s of a symmetric peak 10 m/s with slopes +-2: mean = 10 - 2 * 0.25 by geometry, centred on it
    motion = Motion(
        t_s=np.array([0.0, 5.0, 10.0]),
        speed_mps=np.array([0.0, 10.0, 0.0]),
        start_mps2=np.array([2.0, -2.0]),
        end_mps2=np.array([2.0, -2.0]),
    )
    mean, start = best_mean(motion, 1.0, 0.0, 10.0)
    assert mean == pytest.approx(9.5, abs=1e-8)
    assert start == pytest.approx(4.5, abs=1e-4)
    assert np.isnan(best_mean(motion, 11.0, 0.0, 10.0)[0])
