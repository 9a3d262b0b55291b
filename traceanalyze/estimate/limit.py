"""Where the acceleration would have died away: the limiting speed of a run, from how its pull fades near the top.

Road load makes d(v^p)/dx = p (pull - k v^p)/m exactly linear in v^p along the way x: p = 2 for constant thrust, p = 3
for constant power, with square drag k v^2 (T. D. Gillespie, Fundamentals of Vehicle Dynamics (SAE 1992), ch. 2 and 4:
the forces; the integral is elementary). So v^p = limit^p - c exp(-p kappa x), kappa = k/m, is linear in limit^p and c
for each kappa; both laws are averaged over kappa by their posterior.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from traceanalyze.results import Estimate
from traceanalyze.settings import (
    DRAG_PER_MASS,
    LIMIT_MISFIT,
    LIMIT_STDERR_SHARE,
    LIMIT_WIDENING,
    SUMMIT_SAMPLES,
    UNKNOWN_GRADE,
)
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray
from traceanalyze.units import GRAVITY_MPS2

_UNKNOWN: Final = Estimate(float("nan"), float("nan"))
_POWERS: Final = (2.0, 3.0)
#: Values of kappa tried, evenly spaced in its logarithm.
_KAPPAS: Final = 24
#: Roughness of real pulls (gusts, undulating road) beside the smooth law [m^2/s^5].
_ROUGHNESS: Final = 5e-5


def limit_near(top: Estimate, gain: Estimate) -> Estimate:
    """Return the limiting speed of a run that has all but levelled off [m/s]: the top, and what little is left.

    The pull fades by 2 kappa v for each metre a second, so a gain that is left is worth gain / (2 kappa v).

    Parameters
    ----------
    top : Estimate
        Sustained speed [m/s].
    gain : Estimate
        Acceleration there [m/s^2].
    """
    usual, spread = DRAG_PER_MASS
    fade = 2 * usual * top.value
    left = max(gain.value, 0.0) / fade
    return Estimate(top.value + left, float(np.sqrt(top.stderr**2 + (gain.stderr / fade) ** 2 + (spread * left) ** 2)))


def limiting_speed(t_s: FloatArray, speed_mps: FloatArray, noise: SpeedNoise) -> Estimate:
    """Return the speed at which acceleration would have reached zero [m/s]; NaN when it cannot be told.

    Its uncertainty allows for a slope of the road that nobody has measured.

    Parameters
    ----------
    t_s, speed_mps : (n,) float
        Samples of the approach to the top at open throttle, up to where the throttle closes, without gaps.
    """
    if t_s.size < 5 or float(np.ptp(speed_mps)) < 3 * noise.sigma_mps:
        return _UNKNOWN
    many = -(-t_s.size // SUMMIT_SAMPLES)
    t_s, speed_mps = (values[values.size % many :].reshape(-1, many).mean(axis=1) for values in (t_s, speed_mps))
    way_m = np.concatenate(([0.0], np.cumsum(0.5 * (speed_mps[1:] + speed_mps[:-1]) * np.diff(t_s))))
    whiten = _whitener(t_s, noise, many)
    kappas = DRAG_PER_MASS[0] * np.exp(DRAG_PER_MASS[1] * np.linspace(-2.5, 2.5, _KAPPAS))
    tried = [(power, kappa) for power in _POWERS for kappa in kappas]
    fits = np.array([_fit(speed_mps, way_m, whiten, power, kappa) for power, kappa in tried])
    log_weight, limit, variance, misfit = fits.T
    usual, spread = DRAG_PER_MASS
    log_weight = log_weight - 0.5 * (np.log(np.array(tried)[:, 1] / usual) / spread) ** 2
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    if misfit[np.argmax(weight)] > LIMIT_MISFIT:
        return _UNKNOWN
    mean = float(weight @ limit)
    slope = GRAVITY_MPS2 * UNKNOWN_GRADE / (2 * np.array(tried)[:, 1] * limit)
    stderr = LIMIT_WIDENING * float(np.sqrt(weight @ (variance + slope**2 + (limit - mean) ** 2)))
    return Estimate(mean, stderr) if stderr < LIMIT_STDERR_SHARE * mean else _UNKNOWN


def _whitener(t_s: FloatArray, noise: SpeedNoise, many: int) -> FloatArray:
    """Matrix that turns samples into ones with independent unit noise."""
    ahead = t_s[-1] - t_s  # what the end of the approach tells counts most: the law wanders off backwards from it
    nearer, apart = np.minimum(ahead[:, None], ahead), np.abs(ahead[:, None] - ahead)
    covariance = noise.slow_mps**2 * np.exp(-apart / noise.slow_tau_s)
    covariance += _ROUGHNESS * (nearer**3 / 3 + apart * nearer**2 / 2)
    covariance[np.diag_indices(t_s.size)] += noise.white_mps**2 / many
    return np.asarray(np.linalg.inv(np.linalg.cholesky(covariance)))


def _fit(
    speed_mps: FloatArray, way_m: FloatArray, whiten: FloatArray, power: float, kappa: float
) -> tuple[float, float, float, float]:
    """Log weight, limiting speed and its variance, and misfit (chi-square per degree of freedom) of one law."""
    scale = power * speed_mps ** (power - 1)  # a small error of v is that much of v^p
    shape = np.column_stack((np.ones(way_m.size), -np.exp(-power * kappa * (way_m - way_m[-1]))))
    design = whiten @ (shape / scale[:, None])
    data = whiten @ (speed_mps**power / scale)
    normal = design.T @ design
    cov = np.linalg.inv(normal)
    found = cov @ (design.T @ data)
    left = float(np.sum((data - design @ found) ** 2))
    limit_power = max(float(found[0]), 1e-9)
    limit = limit_power ** (1 / power)
    # the law holds for pulls that fade: a negative c would be one that grows
    sensible = 0.0 if found[1] > -2 * np.sqrt(cov[1, 1]) else -50.0
    weight = -0.5 * left + 0.5 * float(np.log(np.linalg.det(cov))) - np.log(limit_power / limit) + sensible
    variance = float(cov[0, 0]) * (limit / (power * limit_power)) ** 2
    return weight, limit, variance, left / max(data.size - 3, 1)
