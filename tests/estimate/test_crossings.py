"""Moments read off paths whose answers are elementary."""

import numpy as np
import pytest

from traceanalyze.estimate.crossings import (
    accel_at_mps2,
    distance_at_m,
    first_time_s,
    first_times_s,
    time_at_distance_s,
)
from traceanalyze.estimate.paths import Paths


def parabola(onset_s=0.13, step_s=0.1, accel=2.5):
    """Constant acceleration from an onset between two moments, and a second path twice as quick."""
    t = np.arange(0, 6, step_s)
    u = np.maximum(t - onset_s, 0)
    scale = np.array([[1.0], [2.0]]) * accel
    return Paths(t, np.full(2, onset_s), scale * u, scale * (u > 0), scale * u**2 / 2)


def test_times_of_constant_acceleration():
    # t = v/a and t = sqrt(2 x / a); cubic pieces hold a parabola exactly: only rounding is left
    paths = parabola()
    np.testing.assert_allclose(first_time_s(paths, 5.0), [0.13 + 2.0, 0.13 + 1.0], atol=1e-9)
    np.testing.assert_allclose(time_at_distance_s(paths, 5.0), [0.13 + 2.0, 0.13 + np.sqrt(2.0)], atol=1e-8)


def test_levels_within_the_step_of_the_onset():
    paths = parabola()
    np.testing.assert_allclose(first_time_s(paths, 0.1), [0.13 + 0.04, 0.13 + 0.02], atol=1e-9)
    np.testing.assert_allclose(time_at_distance_s(paths, 1e-3), 0.13 + np.sqrt(2e-3 / np.array([2.5, 5])), atol=1e-7)


def test_a_level_never_reached_is_nan():
    times = first_times_s(parabola(), np.array([1.0, 20.0, 100.0]))
    assert np.isfinite(times[:, 0]).all()
    assert np.isnan(times[0, 1])
    assert np.isfinite(times[1, 1])
    assert np.isnan(times[:, 2]).all()
    assert np.isnan(distance_at_m(parabola(), times)[:, 2]).all()


def test_the_first_of_several_passages_counts():
    t = np.linspace(0, 6, 61)
    v = 3 + 2 * np.sin(t * np.pi)
    paths = Paths(t, np.array([-1.0]), v[None, :], 2 * np.pi * np.cos(t * np.pi)[None, :], np.zeros((1, 61)))
    # 3 + 2 sin(pi t) = 4 first at t = 1/6; a cubic on steps of 0.1 s keeps within h^4/384 |v''''| = 5e-5 m/s
    assert first_time_s(paths, 4.0)[0] == pytest.approx(1 / 6, abs=2e-5)


def test_distance_and_acceleration_at_moments():
    paths = parabola()
    moments = np.array([[0.05, 1.13, 3.13], [0.05, 1.13, 3.13]])
    np.testing.assert_allclose(distance_at_m(paths, moments)[0], [0, 1.25, 11.25], atol=1e-9)
    np.testing.assert_allclose(accel_at_mps2(paths, moments)[:, 1:], [[2.5, 2.5], [5, 5]], atol=1e-9)


def test_distance_within_a_step_of_curved_speed():
    # v = u^2, x = u^3/3: the cubic piece holds it exactly
    t = np.arange(0, 3, 0.5)
    paths = Paths(t, np.array([-0.5]), t[None, :] ** 2, 2 * t[None, :], t[None, :] ** 3 / 3)
    moments = np.array([[0.7, 1.25, 2.4]])
    np.testing.assert_allclose(distance_at_m(paths, moments), moments**3 / 3, atol=1e-12)
    assert time_at_distance_s(paths, 1.0)[0] == pytest.approx(3 ** (1 / 3), abs=1e-9)
