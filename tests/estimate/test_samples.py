"""Samples thinned and filled up: what averages must keep, and how long a step may be."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from traceanalyze.estimate.samples import beginning_together, ending_together, plain, thinned, with_moments

RATES = st.sampled_from([1.0, 2.0, 5.0, 10.0, 18.0, 25.0, 100.0])


def ride(rate_hz, seconds, seed):
    rng = np.random.default_rng(seed)
    t_s = np.arange(0, seconds, 1 / rate_hz) + rng.uniform(-0.1, 0.1, size=round(seconds * rate_hz)) / rate_hz
    return t_s, rng.uniform(0.1, 20.0, t_s.size)


@given(RATES, st.integers(4, 200), st.integers(0, 50), st.integers(0, 99))
def test_averages_keep_every_sample_once(rate_hz, seconds, settled, seed):
    # the mean of means weighted by their numbers is the mean of all, whatever the blocks
    t_s, seen = ride(rate_hz, seconds, seed)
    found = thinned(t_s, seen, settled)
    assert found.count.sum() == t_s.size
    np.testing.assert_allclose(found.count @ found.t_s, t_s.sum())
    np.testing.assert_allclose(found.count @ found.seen_mps, seen.sum())
    assert (np.diff(found.t_s) > 0).all()


def test_a_straight_line_stays_one():
    t_s = np.arange(0, 60, 0.04)
    found = thinned(t_s, 2.0 + 3.0 * t_s, 100)
    np.testing.assert_allclose(found.seen_mps, 2.0 + 3.0 * found.t_s)


def test_slow_logs_are_left_alone_around_the_start():
    t_s = np.arange(0, 20, 1.0)
    np.testing.assert_array_equal(thinned(t_s, t_s, 5).count, 1.0)


def test_a_zero_is_never_averaged_with_a_speed():
    t_s = np.arange(0, 2, 0.02)
    seen = np.where(t_s < 1.01, 0.0, 0.4)
    found = thinned(t_s, seen, 90)
    assert (np.isclose(found.seen_mps, 0.4) | (found.seen_mps == 0)).all()


@given(RATES, st.integers(4, 200), st.integers(0, 99))
def test_the_last_sample_stays_alone(rate_hz, seconds, seed):
    t_s, seen = ride(rate_hz, seconds, seed)
    found = thinned(t_s, seen, 10)
    assert (found.t_s[-1], found.seen_mps[-1], found.count[-1]) == (t_s[-1], seen[-1], 1)


def test_blocks_grow_with_the_logarithm_of_the_time():
    # with 6 % growth ten times the time costs ln(10)/0.06 = 38 blocks more
    sizes = [thinned(np.arange(0, end, 0.1), np.ones(round(end * 10)), 0).t_s.size for end in (10.0, 100.0, 1000.0)]
    np.testing.assert_allclose(np.diff(sizes), np.log(10) / 0.06, atol=2)


@given(RATES, st.integers(4, 40), st.integers(0, 99))
def test_no_step_between_moments_is_too_long(rate_hz, seconds, seed):
    t_s, seen = ride(rate_hz, seconds, seed)
    found = with_moments(plain(t_s, seen), 5.0, float(t_s[0]))
    assert (np.diff(found.t_s) > 0).all()
    early = found.t_s[1:] < 5.0 - 1.2 / rate_hz  # the step to the first sample after 5 s may be long
    assert np.diff(found.t_s)[early].max(initial=0.0) <= 0.1 + 1e-6
    assert np.diff(found.t_s)[~early].max(initial=0.0) <= max(0.3, 0.06 * seconds) + 1e-6
    has = np.isfinite(found.seen_mps)
    np.testing.assert_allclose(found.t_s[has], t_s)
    np.testing.assert_array_equal(found.seen_mps[has], seen)


def test_shorter_launches_are_filled_up_with_moments_that_say_nothing():
    one, two = plain(np.arange(3.0), np.arange(3.0)), plain(np.arange(5.0), np.arange(5.0))
    none = plain(np.array([]), np.array([]))
    ended, begun = ending_together([one, two]), beginning_together([one, none, two], [-1.0, -2.0, -1.0])
    np.testing.assert_array_equal(ended.t_s[0], [0, 0, 0, 1, 2])
    np.testing.assert_array_equal(ended.seen_mps[0], [np.nan, np.nan, 0, 1, 2])
    np.testing.assert_array_equal(begun.t_s[:2], [[0, 1, 2, 2, 2], [-2, -2, -2, -2, -2]])
    assert np.isnan(begun.seen_mps[1]).all()
