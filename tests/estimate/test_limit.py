"""Limiting speeds: closed forms, governors, and the cut-off normal law of scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import truncnorm

from traceanalyze.estimate.limit import limit_near, limiting_speed
from traceanalyze.results import Estimate
from traceanalyze.settings import DRAG_PER_MASS
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray

NOISE = SpeedNoise(0.05, 0.0, 1.0, 0.0, 0.0, 30.0, 0.1)
#: Constant thrust against square drag: v = v_t tanh(t / tau) (elementary), v_t = 30 m/s, kappa = 1 / (v_t tau).
V_T, TAU = 30.0, 14.0


def pulled(until_s: float, governed_mps: float = np.inf, seed: int = 0) -> tuple[FloatArray, FloatArray]:
    """Samples of such a pull from three quarters of what it reaches, cut off by a governor."""
    t_s = np.arange(0, until_s, 0.1)
    true = np.minimum(V_T * np.tanh(t_s / TAU), governed_mps)
    near = true > 0.75 * true[-1]
    return t_s[near], (true + np.random.default_rng(seed).normal(0, 0.05, t_s.size))[near]


@pytest.mark.parametrize("until_s", [22.0, 28.0])
def test_a_pull_that_fades_ends_at_its_limit(until_s: float) -> None:
    found = [limiting_speed(*pulled(until_s, seed=seed), NOISE) for seed in range(10)]
    # within twice its stated uncertainty nine times in ten at least, and better than the top itself (27.5, 28.9 m/s)
    assert sum(abs(one.value - V_T) < 2 * one.stderr for one in found) >= 9
    assert np.sqrt(np.mean([(one.value - V_T) ** 2 for one in found])) < 0.5 * (V_T - V_T * np.tanh(until_s / TAU))
    # neither law is preferred for its units: weighing fits by the density of limit^p once too few makes 0.4-0.5 m/s
    assert abs(np.mean([one.value for one in found]) - V_T) < 0.25


def test_a_governor_is_not_taken_for_drag() -> None:
    """Governed at 24 m/s, met at 15.4 s with 0.77 m/s^2 left, held for 0.8 s: drag alone would end at 30 m/s."""
    for seed in range(5):
        one = limiting_speed(*pulled(16.2, 24.0, seed), NOISE)
        assert abs(one.value - 24.0) < 2 * one.stderr + 0.05
        assert one.stderr < 1.0  # a sixth of what lies between both


def test_a_pull_hardly_seen_tells_nothing() -> None:
    t_s = np.arange(0, 0.4, 0.1)
    assert not np.isfinite(limiting_speed(t_s, 20 + t_s, NOISE).value)
    assert not np.isfinite(limiting_speed(np.arange(0, 5, 0.1), np.full(50, 20.0), NOISE).value)


@pytest.mark.parametrize(("gain", "stderr"), [(0.0, 0.04), (0.08, 0.03), (-0.05, 0.02), (-1.0, 0.03)])
def test_what_is_left_is_a_normal_law_cut_off_at_zero(gain: float, stderr: float) -> None:
    one = limit_near(Estimate(25.0, 0.0), Estimate(gain, stderr))
    fade = 2 * DRAG_PER_MASS[0] * 25.0
    # beyond six standard uncertainties nothing changes: compared there
    ratio = max(gain / stderr, -6.0)
    left = truncnorm(-ratio, np.inf, loc=ratio * stderr, scale=stderr)
    assert one.value - 25.0 == pytest.approx(left.mean() / fade, rel=1e-6)
    # and the drag, unknown by its own spread
    assert one.stderr == pytest.approx(np.hypot(left.std(), DRAG_PER_MASS[1] * left.mean()) / fade, rel=1e-4)
