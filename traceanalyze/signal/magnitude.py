"""The laws of a speed that is the length of a noisy vector: Rayleigh at rest, Rice near rest.

S. O. Rice, 'Mathematical Analysis of Random Noise', Bell System Technical Journal 24 (1945), section 3.10.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from traceanalyze.trace import FloatArray

#: Beyond this ratio of speed to sigma the series in sigma/speed is exact to 1e-4 sigma.
_FAR: Final = 8.0
_TABLE_STEP: Final = 1 / 64


def _bessel_scaled(z: FloatArray) -> tuple[FloatArray, FloatArray]:
    """exp(-z) I0(z) and exp(-z) I1(z) by the trapezoidal rule on (1/pi) int exp(z (cos u - 1)) {1, cos u} du.

    The integrand is periodic, so the rule converges faster than any power: its relative error with 64 steps over the
    whole period is 2 I64(z) / I0(z), below 1e-9 for z < 100.
    """
    cosine = np.cos(np.linspace(0.0, np.pi, 33))
    weight = np.full(33, 1 / 32)
    weight[[0, -1]] /= 2
    kernel = np.exp(np.multiply.outer(z, cosine - 1))
    return kernel @ weight, kernel @ (weight * cosine)


def _mean_table() -> FloatArray:
    z = np.arange(0, _FAR + _TABLE_STEP, _TABLE_STEP) ** 2 / 4
    i0, i1 = _bessel_scaled(z)
    return np.asarray(np.sqrt(np.pi / 2) * ((1 + 2 * z) * i0 + 2 * z * i1))


_RATIO: Final[FloatArray] = np.arange(0, _FAR + _TABLE_STEP, _TABLE_STEP)
_MEAN: Final[FloatArray] = _mean_table()
_SLOPE: Final[FloatArray] = np.gradient(_MEAN, _TABLE_STEP)


def rice_moments(speed_mps: FloatArray, sigma_mps: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return mean [m/s], its slope against the true speed [1], and variance [m^2/s^2] of a reported speed.

    Parameters
    ----------
    speed_mps : array
        True speed [m/s]; below zero counts as zero.
    sigma_mps : float
        Standard deviation of the noise along each axis [m/s], above zero.

    Notes
    -----
    Mean of Rice's law: sigma sqrt(pi/2) L_1/2(-v^2 / 2 sigma^2); mean square v^2 + 2 sigma^2.
    """
    ratio = np.maximum(np.asarray(speed_mps, float) / sigma_mps, 0.0)
    inverse = 1 / np.maximum(ratio, _FAR)
    mean = ratio + inverse * (0.5 + 0.125 * inverse * inverse)
    slope = 1 - 0.5 * inverse * inverse
    variance = slope
    near = ratio <= _FAR
    if near.any():
        near_mean, near_slope = _near_moments(np.minimum(ratio, _FAR))
        mean, slope = np.where(near, near_mean, mean), np.where(near, near_slope, slope)
        variance = np.where(near, ratio * ratio + 2 - near_mean * near_mean, variance)
    return mean * sigma_mps, slope, variance * sigma_mps**2


def _near_moments(ratio: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean over sigma and its slope from the table, for ratios up to `_FAR`."""
    place = ratio / _TABLE_STEP
    index = np.minimum(place.astype(np.intp), _RATIO.size - 2)
    part = place - index
    mean, slope = np.take(_MEAN, index), np.take(_SLOPE, index)
    mean += part * (np.take(_MEAN, index + 1) - mean)
    return mean, slope + part * (np.take(_SLOPE, index + 1) - slope)


def rest_log_likelihood(seen_mps: FloatArray, sigma_mps: float, step_mps: float, correlation: FloatArray) -> FloatArray:
    """Return the log likelihood density of each reported speed, given rest and the sample before it.

    The length of a vector whose axes are first-order Markov processes follows, given the length before,
    Rice's law about `correlation` times that length (the first sample: Rayleigh's law). A value within half
    a rounding step is averaged over the step.

    Parameters
    ----------
    seen_mps : (n,) float
        Reported speeds [m/s], at least 0.
    sigma_mps : float
        Standard deviation along each axis [m/s].
    step_mps : float
        Rounding step [m/s]; 0 for none.
    correlation : (n,) float
        Correlation of each sample's noise with the sample before; the first is taken as 0.
    """
    before = np.concatenate((np.zeros(1), seen_mps[:-1])) if seen_mps.size else seen_mps
    rho = np.clip(correlation, 0.0, 0.98)
    rho[:1] = 0.0
    variance = sigma_mps**2 * (1 - rho**2)
    half = max(step_mps / 2, 0.05 * sigma_mps)
    nodes = np.maximum(seen_mps[:, None] + half * np.array([-0.8, -0.4, 0.0, 0.4, 0.8]), 0.02 * sigma_mps)
    centre = (rho * before)[:, None]
    scaled, _ = _bessel_scaled(np.minimum(nodes * centre / variance[:, None], 90.0))
    density = nodes / variance[:, None] * np.exp(-((nodes - centre) ** 2) / (2 * variance[:, None])) * scaled
    return np.asarray(np.log(np.maximum(density.mean(axis=1), 1e-30)))
