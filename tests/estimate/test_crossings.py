"""Passages read off paths whose answers are elementary."""

import numpy as np
import pytest

from traceanalyze.estimate.crossings import at_distance, at_speed, at_speeds
from traceanalyze.estimate.paths import Paths


def parabola(onset_s=0.13, step_s=0.1, accel=2.5):
    """Constant acceleration from an onset between two moments, and a second path twice as quick."""
    t = np.arange(0, 6, step_s)
    u = np.maximum(t - onset_s, 0)
    scale = np.array([[1.0], [2.0]]) * accel
    return Paths(t, np.full(2, onset_s), scale * u, scale * (u > 0), scale * u**2 / 2)


def test_passages_of_constant_acceleration():
    # t = v/a, x = v^2/(2 a) and t = sqrt(2 x / a); cubic pieces hold a parabola exactly: 1e-6 m/s or m is the turn
    # at which Newton's steps stop
    paths = parabola()
    speed, way = at_speed(paths, 5.0), at_distance(paths, 5.0)
    np.testing.assert_allclose(speed.time_s, [0.13 + 2.0, 0.13 + 1.0], atol=1e-6)
    np.testing.assert_allclose(speed.distance_m, [5.0, 2.5], atol=1e-5)
    np.testing.assert_allclose(speed.accel_mps2, [2.5, 5.0], atol=1e-9)
    np.testing.assert_allclose(way.time_s, [0.13 + 2.0, 0.13 + np.sqrt(2.0)], atol=1e-6)
    np.testing.assert_allclose(way.distance_m, 5.0)


def test_levels_within_the_step_of_the_onset():
    paths = parabola()
    np.testing.assert_allclose(at_speed(paths, 0.1).time_s, [0.13 + 0.04, 0.13 + 0.02], atol=1e-9)
    np.testing.assert_allclose(at_speed(paths, 0.1).distance_m, [0.1 * 0.04 / 2, 0.1 * 0.02 / 2], atol=1e-9)
    np.testing.assert_allclose(at_distance(paths, 1e-3).time_s, 0.13 + np.sqrt(2e-3 / np.array([2.5, 5])), atol=1e-7)


def test_a_level_never_reached_is_nan():
    passage = at_speeds(parabola(), np.array([1.0, 20.0, 100.0]))
    for values in (passage.time_s, passage.distance_m, passage.accel_mps2):
        assert np.isfinite(values[:, 0]).all()
        assert np.isnan(values[0, 1])
        assert np.isfinite(values[1, 1])
        assert np.isnan(values[:, 2]).all()
    assert np.isnan(at_distance(parabola(), 500.0).time_s).all()


def test_many_levels_at_once_are_the_levels_one_by_one():
    rng = np.random.default_rng(1)
    t = np.arange(0, 4, 0.1)
    accel = rng.normal(2.0, 2.0, (50, t.size))
    speed = np.maximum.accumulate(np.maximum(np.cumsum(accel, axis=1) * 0.1, 0), axis=1) - 0.05 * rng.random(t.size)
    paths = Paths(t, np.full(50, -0.01), np.maximum(speed, 0), accel, np.cumsum(np.maximum(speed, 0), axis=1) * 0.1)
    levels = np.arange(0.25, 10, 0.25)
    together = at_speeds(paths, levels)
    for k, level in enumerate(levels.tolist()):  # 1e-5: Newton's steps stop at 1e-6 m/s, here on slopes above 0.1 m/s^2
        np.testing.assert_allclose(together.time_s[:, k], at_speed(paths, level).time_s, atol=1e-5)


def test_several_launches_are_each_of_them():
    one, two = parabola(), parabola(onset_s=0.31, accel=1.7)
    both = Paths(*(np.stack((getattr(one, name), getattr(two, name))) for name in Paths._fields))
    for k, alone in enumerate((one, two)):
        for level in (0.05, 3.3, 9.0):
            np.testing.assert_array_equal(at_speed(both, level).of(k).time_s, at_speed(alone, level).time_s)
            np.testing.assert_array_equal(at_distance(both, level).of(k).time_s, at_distance(alone, level).time_s)


def test_the_first_of_several_passages_counts():
    t = np.linspace(0, 6, 61)
    v = 3 + 2 * np.sin(t * np.pi)
    paths = Paths(t, np.array([-1.0]), v[None, :], 2 * np.pi * np.cos(t * np.pi)[None, :], np.zeros((1, 61)))
    # 3 + 2 sin(pi t) = 4 first at t = 1/6; a cubic on steps of 0.1 s keeps within h^4/384 |v''''| = 5e-5 m/s
    assert at_speed(paths, 4.0).time_s[0] == pytest.approx(1 / 6, abs=2e-5)


def test_distance_within_a_step_of_curved_speed():
    # v = u^2, x = u^3/3: the cubic piece holds it exactly
    t = np.arange(0, 3, 0.5)
    paths = Paths(t, np.array([-0.5]), t[None, :] ** 2, 2 * t[None, :], t[None, :] ** 3 / 3)
    assert at_distance(paths, 1.0).time_s[0] == pytest.approx(3 ** (1 / 3), abs=1e-6)
    speed = at_speed(paths, 1.7)
    assert speed.time_s[0] == pytest.approx(1.7**0.5, abs=1e-6)
    assert speed.distance_m[0] == pytest.approx(1.7**1.5 / 3, abs=1e-5)
