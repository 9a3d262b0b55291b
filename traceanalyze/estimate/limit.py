"""Where the acceleration would have died away: the limiting speed of a run, from how its pull fades near the top.

Road load makes d(v^p)/dx = p (pull - k v^p)/m exactly linear in v^p along the way x: p = 2 for constant thrust, p = 3
for constant power, with square drag k v^2 (T. D. Gillespie, Fundamentals of Vehicle Dynamics (SAE 1992), ch. 2 and 4:
the forces; the integral is elementary). So v^p = limit^p - c exp(-p kappa x), kappa = k/m, is linear in limit^p and c
for each kappa. A governor or rev limiter cuts the law off: the limit is reached, and held up to the end. All this is
averaged over its posterior.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from traceanalyze.estimate.summit import blocks
from traceanalyze.results import Estimate
from traceanalyze.settings import (
    DISTURBANCE_MPS2,
    DISTURBANCE_TAU_S,
    DRAG_PER_MASS,
    GOVERNED,
    LIMIT_BLOCK_S,
    LIMIT_MISFIT,
    LIMIT_STDERR_SHARE,
)
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray

_UNKNOWN: Final = Estimate(math.nan, math.nan)
#: A fading part is none when so little of it (squared) differs from a constant: the plateau fills the whole approach.
_SAME: Final = 1e-9
#: So many standard uncertainties below zero are as good as any more.
_SURELY: Final = 6.0
#: What is tried: how long a governor held the speed before the end [s] (0: none), the law's power, and kappa [1/m],
#: evenly spaced in its logarithm; shapes (b, 1, 1), (1, p, 1), (k,). A governor is as likely to hold for any of these.
_PLATEAUS_S: Final = np.concatenate((np.arange(0.0, 1.05, 0.1), [1.2, 1.4, 1.7, 2.0, 2.5, 3.2, 4.0]))
_GOVERNED: Final = (_PLATEAUS_S > 0)[:, None, None]
_POWERS: Final = np.array([2.0, 3.0])[None, :, None]
_APART: Final = np.linspace(-2.5, 2.5, 16)
_KAPPAS: Final = DRAG_PER_MASS[0] * np.exp(DRAG_PER_MASS[1] * _APART)
_LOG_PRIOR: Final = np.log(np.where(_GOVERNED, GOVERNED / (_PLATEAUS_S.size - 1), 1 - GOVERNED)) - 0.5 * _APART**2


@dataclass(frozen=True, slots=True, eq=False)
class _Fits:
    """Each law fitted; all of shape (disturbances, plateaus, powers, kappas).

    `limit_mps` has variance `variance`; `misfit` is chi-square off its mean, in standard deviations.
    """

    log_weight: FloatArray
    limit_mps: FloatArray
    variance: FloatArray
    misfit: FloatArray


def limit_near(top: Estimate, gain: Estimate) -> Estimate:
    """Return the limiting speed of a run that has all but levelled off [m/s]: the top, and what little is left.

    The pull fades by 2 kappa v for each metre a second, so a gain that is left is worth gain / (2 kappa v); it is not
    negative, so its normal law is cut off at zero (Johnson, Kotz & Balakrishnan, Continuous Univariate Distributions 1
    (1994), 13.10.1: mean and variance).

    Parameters
    ----------
    top : Estimate
        Sustained speed [m/s].
    gain : Estimate
        Acceleration there [m/s^2].
    """
    usual, spread = DRAG_PER_MASS
    fade = 2 * usual * top.value
    ratio = max(gain.value / gain.stderr, -_SURELY)
    hazard = math.exp(-0.5 * ratio**2) / (math.sqrt(0.5 * math.pi) * math.erfc(-ratio / math.sqrt(2)))
    left = gain.stderr * (ratio + hazard) / fade
    doubt = gain.stderr * math.sqrt(1 - hazard * (hazard + ratio)) / fade
    return Estimate(top.value + left, math.hypot(top.stderr, doubt, spread * left))


def limiting_speed(t_s: FloatArray, speed_mps: FloatArray, noise: SpeedNoise) -> Estimate:
    """Return the speed at which acceleration would have reached zero [m/s]; NaN when it cannot be told.

    It is that of this run: the mean wind and slope of the approach are in it, as in the top speed; gusts and
    undulations are in its uncertainty.

    Parameters
    ----------
    t_s, speed_mps : (n,) float
        Samples of the approach to the top at open throttle, up to where the throttle closes, without gaps.
    """
    if t_s.size < 5 or float(np.ptp(speed_mps)) < 3 * noise.sigma_mps:
        return _UNKNOWN
    many = max(1, min(int(LIMIT_BLOCK_S / noise.period_s), t_s.size // 5))
    fits = _fitted(t_s, speed_mps, noise, many)
    weight = np.exp(fits.log_weight - fits.log_weight.max())
    weight /= weight.sum()
    if fits.misfit.flat[int(np.argmax(weight))] > LIMIT_MISFIT:
        return _UNKNOWN
    mean = float((weight * fits.limit_mps).sum())
    stderr = float(np.sqrt((weight * (fits.variance + (fits.limit_mps - mean) ** 2)).sum()))
    return Estimate(mean, stderr) if stderr < LIMIT_STDERR_SHARE * mean else _UNKNOWN


def _fitted(t_s: FloatArray, speed_mps: FloatArray, noise: SpeedNoise, many: int) -> _Fits:
    """Fit each law to samples averaged in blocks of `many`, and so is the way along which a law fades."""
    way_m = np.concatenate(([0.0], np.cumsum(0.5 * (speed_mps[1:] + speed_mps[:-1]) * np.diff(t_s))))
    plateau_m = np.interp(t_s[-1] - _PLATEAUS_S, t_s, way_m)
    short_m = np.minimum(blocks(way_m, many) - plateau_m[:, None, None], 0.0).mean(axis=2)[:, None, None]
    basis, keep = _basis(blocks(t_s, many).mean(axis=1), noise, many)
    speed_mps = blocks(speed_mps, many).mean(axis=1)
    scale = _POWERS[..., None] * speed_mps ** (_POWERS[..., None] - 1)  # a small error of v is that much of v^p
    fading = _GOVERNED[..., None] - np.exp(-_POWERS[..., None] * _KAPPAS[:, None] * short_m)
    data = speed_mps / _POWERS[..., None]
    return _solved(1 / scale @ basis.T, fading / scale @ basis.T, data @ basis.T, keep)


def _solved(level: FloatArray, fading: FloatArray, data: FloatArray, keep: FloatArray) -> _Fits:
    """Solve data = limit^p * level + c * fading by the normal equations, for each disturbance; arrays (..., n)."""
    s00, s01, s11 = (_sums(a * b, keep) for a, b in ((data, data), (data, level), (level, level)))
    s02, s12, s22 = (_sums(a * fading, keep) for a in (data, level, fading))
    det = s11 * s22 - s12**2
    told = det > _SAME * s11 * s22
    det = np.where(told, det, 1.0)
    limit_power = np.maximum((s22 * s01 - s12 * s02) / det, 1e-9)
    fades = (s11 * s02 - s12 * s01) / det
    left = s00 - limit_power * s01 - fades * s02
    limit = limit_power ** (1 / _POWERS)
    in_speed = limit / (_POWERS * limit_power)  # how much of v a small error of v^p is at the limit
    # the law holds for pulls that fade: a negative fading part would be one that grows
    sensible = np.where(told, np.where(fades > -2 * np.sqrt(s11 / det), 0.0, -50.0), -np.inf)
    fit = 0.5 * (np.log(keep).sum(axis=1)[:, None, None, None] - np.log(det) - left)
    freedom = max(keep.shape[1] - 3, 1)
    return _Fits(
        log_weight=_LOG_PRIOR + sensible + fit + 2 * np.log(in_speed),
        limit_mps=limit,
        variance=s22 / det * in_speed**2,
        misfit=(left - freedom) / math.sqrt(2 * freedom),
    )


def _sums(products: FloatArray, keep: FloatArray) -> FloatArray:
    """Sums (d, ...) over samples of products (..., n), for each disturbance (d, n)."""
    return np.moveaxis(products @ keep.T, -1, 0)


def _basis(t_s: FloatArray, noise: SpeedNoise, many: int) -> tuple[FloatArray, FloatArray]:
    """Basis (n, n) in which noise is 1 and disturbances are diagonal; what noise is of the whole there (d, n)."""
    ahead_s = t_s[-1] - t_s  # the law is followed back from the end: what lies far back counts less
    apart_s = np.abs(ahead_s[:, None] - ahead_s)
    covariance = noise.slow_mps**2 * np.exp(-apart_s / noise.slow_tau_s)
    covariance.flat[:: t_s.size + 1] += noise.white_mps**2 / many
    gone, tau_s = np.exp(-ahead_s / DISTURBANCE_TAU_S), DISTURBANCE_TAU_S
    drift = 2 * tau_s * np.minimum(ahead_s[:, None], ahead_s) - tau_s**2 * (
        1 - gone[:, None] - gone + np.exp(-apart_s / tau_s)
    )
    whiten = np.linalg.inv(np.linalg.cholesky(covariance))
    size, turn = np.linalg.eigh(whiten @ drift @ whiten.T)
    return turn.T @ whiten, 1 / (1 + np.array(DISTURBANCE_MPS2)[:, None] ** 2 * np.maximum(size, 0.0))
