"""The posterior around a top: against dense normal laws of scipy, and its kernels against quadrature."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import multivariate_normal

from traceanalyze.estimate.summit import _Driving, find_summit
from traceanalyze.settings import CORNER_SD_MPS2, SUMMIT_ROUGHNESS
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray

#: 5 Hz: every sample is a block of its own.
NOISE = SpeedNoise(0.05, 0.03, 1.2, 0.0, 0.0, 30.0, 0.2)
T_S = np.arange(0.0, 9.0, 0.2)


def passing(seed: int) -> FloatArray:
    """A pull that fades, a corner at 6.1 s, noise."""
    true = 20 + 0.3 * np.minimum(T_S, 6.1) - 3.0 * np.maximum(T_S - 6.1, 0)
    return np.asarray(true + np.random.default_rng(seed).normal(0, 0.05, T_S.size))


def ramped(t_s: FloatArray, place_s: float, ramp_s: float) -> FloatArray:
    """Speed of an acceleration that rises from 0 to 1 over a ramp about a place, by adding up fine steps."""
    if np.isinf(place_s):
        return np.zeros(t_s.size)
    fine_s = np.arange(0, 12, 1e-4)
    accel = np.clip((fine_s - place_s) / ramp_s + 0.5, 0, 1)
    return np.interp(t_s, fine_s, np.cumsum(accel) * 1e-4)


def test_a_wandering_acceleration_by_quadrature() -> None:
    """Speed is the integral of A, dA = -f A dt + dW: cov = int_0^min g(s-u) g(t-u) du, g(x) = (1 - exp(-f x)) / f."""
    fade = 0.1

    def gained(since_s: float) -> float:
        return float(1 - np.exp(-fade * since_s)) / fade

    for s, t in ((0.3, 0.3), (1.0, 4.0), (7.0, 2.5), (12.0, 12.0)):
        expected, _ = quad(lambda u, s=s, t=t: gained(s - u) * gained(t - u), 0, min(s, t))
        # quad is good to 1e-8 of these integrals
        assert float(_Driving(fade).wandered(np.array(s), np.array(t))) == pytest.approx(expected, rel=1e-6)
    # no fade: the integrated Wiener process, s^2 (3 t - s) / 6 (Rasmussen & Williams 2006, (6.28))
    assert float(_Driving(1e-6).wandered(np.array(2.0), np.array(5.0))) == pytest.approx(4 * 13 / 6, rel=1e-3)


@pytest.mark.parametrize("seed", [1, 2])
def test_posterior_against_dense_normal_laws(seed: int) -> None:
    v = passing(seed)
    summit = find_summit(T_S, v, NOISE, 6.0, 1.0)
    corners, law = summit._corners, _Driving(summit._seen.law.fade)
    moment_s = np.concatenate((T_S, summit.t_s))
    n, level = T_S.size, v.mean()
    noise = 0.03**2 * np.exp(-np.abs(T_S[:, None] - T_S) / 1.2) + (0.05**2 - 0.03**2) * np.eye(n)
    log_weight, means, variances = [], [], []
    share = np.zeros(summit.t_s.size)
    share[10:20] = 0.1
    tried = list(zip(corners.place_s, corners.ramp_s, strict=True))
    for roughness in SUMMIT_ROUGHNESS:
        prior = law.started(moment_s[:, None], moment_s) + roughness * law.wandered(moment_s[:, None], moment_s)
        for place_s, ramp_s in tried:
            bend = ramped(moment_s, place_s, ramp_s)
            whole = prior + CORNER_SD_MPS2**2 * np.outer(bend, bend)
            seen = whole[:n, :n] + noise
            log_weight.append(multivariate_normal(np.zeros(n), seen).logpdf(v - level))
            gain = np.linalg.solve(seen, whole[:n, n:]).T
            means.append(level + gain @ (v - level))
            variances.append(share @ (whole[n:, n:] - gain @ whole[:n, n:]) @ share)
    likelihood = np.array(log_weight).reshape(len(SUMMIT_ROUGHNESS), -1)
    # corners are as likely as each other beforehand, and so is having none under each roughness; how likely the first
    # are beside the second depends on the grid. 0.02: the fine steps that make the ramps here
    for same in (np.isfinite(corners.place_s), np.isinf(corners.place_s)):
        share_of = np.exp(likelihood[:, same] - likelihood[:, same].max())
        ours = corners.weight[:, same] / corners.weight[:, same].sum()
        assert ours == pytest.approx(share_of / share_of.sum(), abs=0.02)
    # 1e-4 m/s: the fine steps that make the ramps here; noise is 500 times more
    expected = np.tensordot(corners.weight.ravel(), np.array(means), 1)
    assert summit.mean_mps == pytest.approx(expected, abs=1e-4)
    mean, variance, _ = summit.told(summit.t_s[10:20, None], share[10:20, None])
    assert mean.ravel() == pytest.approx(np.array(means) @ share, abs=2e-4)
    assert np.sqrt(variance).ravel() == pytest.approx(np.sqrt(variances), rel=1e-3)


def test_the_corner_is_found_where_it_is() -> None:
    for seed in range(8):
        close_s, weight = find_summit(T_S, passing(seed), NOISE, 6.0, 1.0).close_s()
        mean_s = float(weight @ close_s)
        spread_s = float(np.sqrt(weight @ (close_s - mean_s) ** 2))
        # a sharp corner at 6.1 s taken for a ramp of 0.06 to 0.4 s closes up to 0.2 s before it; noise of 0.05 m/s
        # leaves a place to about 0.05 m/s / 3.3 m/s^2
        assert abs(mean_s - 6.1) < 0.1 + 4 * spread_s
        assert spread_s < 0.15


def test_a_standstill_has_a_summit_of_nothing() -> None:
    """A pass may be a single spike that was taken out: what is left stands still, and must not upset the law."""
    t_s = 0.2 * np.arange(24)
    found = find_summit(t_s, np.zeros(24), NOISE, 2.4, 1.0)
    assert np.abs(found.mean_mps).max() < 0.01
