"""What the speed of this receiver is worth: noise at rest and in motion, its slow part, rounding, hold at zero.

A receiver's speed is the length of a noisy vector. At rest it follows Rayleigh's law (never negative, mean
1.25 sigma), in motion the noise along the track adds to it. Both states are looked at: many receivers show
(nearly) nothing at rest and have their ordinary noise once they move.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from traceanalyze.errors import SignalError
from traceanalyze.order import distinct, median
from traceanalyze.signal.timebase import at_rows, nominal_period_s
from traceanalyze.trace import FloatArray
from traceanalyze.units import KMH, KNOT, MPH

#: Noise taken when a log shows neither rest nor motion long enough [m/s]: receivers' data sheets state 0.05 m/s,
#: and automotive ones are seen between 0.03 and 0.15; common practice, no source.
GENERIC_SIGMA_MPS: Final = 0.06
#: Share of the variance that is slow, and its time constant [s], when the log cannot tell: Doppler speeds show a
#: first-order Gauss-Markov part of 0.5-3 s about as large as the white part; common practice, no source.
GENERIC_SLOW_SHARE: Final = 0.5
GENERIC_SLOW_TAU_S: Final = 1.2
#: How well the generic share (absolute) and time constant (relative) are known, as standard deviations.
_SHARE_SD: Final = 0.25
_TAU_SD: Final = 0.6
#: The generic noise counts for so many degrees of freedom beside the samples at rest, which forget within so long [s].
_PRIOR_FREEDOM: Final = 4.0
_MEMORY_S: Final = 0.6
#: No receiver is trusted beyond this [m/s]: below it the model of the motion, not the noise, sets the limit.
FLOOR_SIGMA_MPS: Final = 0.015
#: Rest is looked for below this speed [m/s], for at least this long [s], leaving out so much at both ends [s].
_REST_BELOW_MPS: Final = 0.8
_REST_AT_LEAST_S: Final = 2.0
_REST_MARGIN_S: Final = 0.6
#: Speeds above this are motion [m/s].
_MOVING_MPS: Final = 2.0
#: Longest sample period at which third differences show noise rather than driving [s].
_THIRD_DIFFERENCE_PERIOD_S: Final = 0.26
#: White noise in motion above so many times all of the noise at rest: the receiver calms itself at rest.
_CALMED: Final = 1.5
#: Hold taken when fine speeds stay at zero but starts are too few to show the level: receivers hold up to 0.15-0.5 m/s.
_USUAL_HOLD_MPS: Final = 0.3
_FINE_STEP_MPS: Final = 0.03
#: White noise in motion below which zeros at rest prove no hold [m/s].
_NEXT_TO_NONE_MPS: Final = 0.012
#: Median of Rayleigh's law over sigma: sqrt(2 ln 2).
_RAYLEIGH_MEDIAN: Final = math.sqrt(2 * math.log(2))
#: Median absolute deviation of a normal law over sigma.
_NORMAL_MAD: Final = 0.674490
#: Steps that receivers round to [m/s], coarse first.
_STEPS_MPS: Final = tuple(
    sorted((unit * 10.0**-decimals for unit in (1.0, KNOT, KMH, MPH) for decimals in range(4)), reverse=True)
)


@dataclass(frozen=True, slots=True)
class SpeedNoise:
    """Noise of one speed sample.

    Attributes
    ----------
    sigma_mps : float
        Standard deviation along one axis, white and slow part together, in motion [m/s].
    slow_mps, slow_tau_s : float
        Standard deviation of the slow (first-order Gauss-Markov) part within it [m/s], and its time constant [s].
    resolution_mps : float
        Rounding step [m/s]; 0 when none is seen.
    hold_mps : float
        Speed below which the receiver shows zero [m/s]; 0 when it does not.
    rest_s : float
        Seconds of rest this stands on; 0: generic values or motion alone.
    period_s : float
        Nominal time between samples [s].
    rest_sigma_mps : float
        Rayleigh parameter of the samples at rest [m/s]; equals `sigma_mps` unless the receiver calms itself there.
    """

    sigma_mps: float
    slow_mps: float
    slow_tau_s: float
    resolution_mps: float
    hold_mps: float
    rest_s: float
    period_s: float
    rest_sigma_mps: float = float("nan")

    def __post_init__(self) -> None:
        if math.isnan(self.rest_sigma_mps):
            object.__setattr__(self, "rest_sigma_mps", self.sigma_mps)

    @property
    def white_mps(self) -> float:
        """Standard deviation of the white part, rounding (step^2/12) included [m/s]."""
        white = max(self.sigma_mps**2 - self.slow_mps**2, (0.2 * self.sigma_mps) ** 2)
        return math.sqrt(white + self.resolution_mps**2 / 12)

    @property
    def zero_below_mps(self) -> float:
        """Speed below which a sample shows zero [m/s], by a hold or by rounding."""
        return max(self.hold_mps, self.resolution_mps / 2)


def estimate_noise(t_s: FloatArray, speed_mps: FloatArray, stretch: NDArray[Any]) -> SpeedNoise:
    """Return the noise of a log's speeds, from its rests and from the fine structure of its motion.

    Parameters
    ----------
    t_s, speed_mps : (n,) float
        Increasing times [s] and speeds [m/s]; NaN where missing.
    stretch : (n,) int
        Points of different stretches are never compared.

    Raises
    ------
    SignalError
        If shapes differ, or fewer than two samples have a speed.
    """
    if t_s.shape != speed_mps.shape or t_s.shape != np.shape(stretch):
        raise SignalError(f"{t_s.size} times, {speed_mps.size} speeds and {np.size(stretch)} stretch numbers differ")
    known = np.flatnonzero(np.isfinite(speed_mps) & np.isfinite(t_s))
    t_s, speed_mps, stretch = at_rows(known, t_s, speed_mps, np.asarray(stretch))
    speed_mps = np.abs(speed_mps)
    if t_s.size < 2:
        raise SignalError("fewer than two samples have a speed", advice="record speed with the position")
    period_s = nominal_period_s(t_s, stretch)
    period_s = period_s if math.isfinite(period_s) else 1.0  # no two samples of one stretch
    resolution_mps = rounding_step_mps(speed_mps)
    fine_mps = _fine_noise_mps(t_s, speed_mps, stretch, period_s, resolution_mps)
    hold_mps = hold_level_mps(t_s, speed_mps, stretch, resolution_mps)
    if hold_mps == 0 and not fine_mps < _NEXT_TO_NONE_MPS:
        hold_mps = _supposed_hold_mps(speed_mps, resolution_mps)
    rests = _rests(t_s, speed_mps, stretch, period_s)
    rest_s = sum(stop - start for start, stop in rests) * period_s
    rest_sigma_mps = _rest_sigma_mps(speed_mps, rests, period_s, resolution_mps)
    share, tau_s = _slow_part(speed_mps, rests, period_s)
    sigma_mps, slow_mps = _both(rest_sigma_mps, fine_mps, share, rest_s, hold_mps)
    return SpeedNoise(
        sigma_mps=sigma_mps,
        slow_mps=slow_mps,
        slow_tau_s=tau_s,
        resolution_mps=resolution_mps,
        hold_mps=hold_mps,
        rest_s=rest_s,
        period_s=period_s,
        rest_sigma_mps=max(rest_sigma_mps, FLOOR_SIGMA_MPS) if math.isfinite(rest_sigma_mps) else sigma_mps,
    )


def rounding_step_mps(speed_mps: FloatArray) -> float:
    """Return the step speeds are rounded to [m/s]: the coarsest common one on whose multiples nearly all lie; or 0."""
    values = distinct(speed_mps[np.isfinite(speed_mps) & (speed_mps > 0)])
    if values.size < 5:
        return 0.0
    values = values[:: max(1, values.size // 2000)]
    for step in _STEPS_MPS:
        off = np.abs(values / step - np.round(values / step))
        if step > 0.9e-3 and np.mean(off < 0.02 + 1e-7 / step) > 0.98:
            return step
    return 0.0


def hold_level_mps(t_s: FloatArray, speed_mps: FloatArray, stretch: NDArray[Any], resolution_mps: float) -> float:
    """Return the speed below which the receiver shows zero [m/s]; 0 when that is not seen.

    The smallest speed shown is taken when speeds below it would have been seen (three expected, so e^-3 = 5 % by
    chance), counting at each start and stop the share of the step next to the zero that lies below it.
    """
    zero = speed_mps == 0
    if zero.sum() < 5 or zero.all():
        return 0.0
    level = float(speed_mps[~zero].min())
    if level <= max(2.5 * resolution_mps, 0.1) or level > 1.5:
        return 0.0
    joined = (stretch[1:] == stretch[:-1]) & (np.diff(t_s) < 1.6 * nominal_period_s(t_s, stretch))
    rise = np.flatnonzero(zero[:-2] & ~zero[1:-1] & joined[:-1] & joined[1:])
    fall = np.flatnonzero(~zero[1:-1] & zero[2:] & joined[:-1] & joined[1:])
    steps = np.concatenate((speed_mps[rise + 2] - speed_mps[rise + 1], speed_mps[fall] - speed_mps[fall + 1]))
    expected = float(np.sum(np.minimum(1.0, (level - resolution_mps) / np.maximum(steps, 0.05))))
    return level if expected >= 3 else 0.0


def _supposed_hold_mps(speed_mps: FloatArray, resolution_mps: float) -> float:
    """Hold of a receiver whose fine speeds stay at zero: noise is never nothing, though the level is not seen."""
    zero = speed_mps == 0
    if zero.sum() < 5 or zero.all() or resolution_mps > _FINE_STEP_MPS:
        return 0.0
    level = float(speed_mps[~zero].min())
    shown = int(np.sum(~zero & (speed_mps < level + 0.2)))
    return min(level, _USUAL_HOLD_MPS) if level > 0.1 and zero.sum() > 4 * shown else 0.0


def _rests(t_s: FloatArray, speed_mps: FloatArray, stretch: NDArray[Any], period_s: float) -> list[tuple[int, int]]:
    """Index ranges of rest, their ends (braking, launching) left out."""
    calm = np.zeros(t_s.size + 2, bool)
    calm[1:-1] = speed_mps < _REST_BELOW_MPS
    breaks = np.zeros(t_s.size + 1, bool)
    breaks[1:-1] = (stretch[1:] != stretch[:-1]) | (np.diff(t_s) > 2.5 * period_s)
    starts = np.flatnonzero(calm[1:-1] & (~calm[:-2] | breaks[:-1]))
    stops = np.flatnonzero(calm[1:-1] & (~calm[2:] | breaks[1:])) + 1
    margin = math.ceil(_REST_MARGIN_S / period_s)
    least = max(4, math.ceil(_REST_AT_LEAST_S / period_s))
    return [
        (int(a) + margin, int(b) - margin)
        for a, b in zip(starts, stops, strict=True)
        if b - a >= least and b - a > 2 * margin
    ]


def _rest_sigma_mps(
    speed_mps: FloatArray, rests: list[tuple[int, int]], period_s: float, resolution_mps: float
) -> float:
    """Rayleigh parameter from the quieter rests (a dragging clutch makes the others creep); NaN without rest."""
    if not rests:
        return math.nan
    middles = np.array([median(speed_mps[a:b]) for a, b in rests])
    size = np.array([b - a for a, b in rests], float)
    order = np.argsort(middles)
    usual = middles[order][np.searchsorted(np.cumsum(size[order]), 0.4 * size.sum())]
    calm = middles <= 1.6 * usual + resolution_mps
    values = np.concatenate([speed_mps[a:b] for (a, b), ok in zip(rests, calm, strict=True) if ok])
    robust = max(median(values) / _RAYLEIGH_MEDIAN, 0.3 * resolution_mps, 1e-6)
    for _ in range(2):
        values = _without_bumps(values, 4.5 * robust + resolution_mps, math.ceil(0.5 / period_s))
        robust = max(math.sqrt(float(np.mean(values**2)) / 2), 1e-6)
    freedom = 2 * min(values.size, values.size * period_s / _MEMORY_S)  # two axes, neighbours alike
    if robust > FLOOR_SIGMA_MPS:  # few samples: lean on what receivers usually have
        square = freedom * robust**2 + _PRIOR_FREEDOM * GENERIC_SIGMA_MPS**2
        robust = math.sqrt(square / (freedom + _PRIOR_FREEDOM - 2))  # mean of the inverse gamma law of the variance
    return math.sqrt(max(robust**2 - resolution_mps**2 / 24, 0.0))


def _without_bumps(values: FloatArray, limit_mps: float, reach: int) -> FloatArray:
    """Leave out what lies near a value beyond the limit, shuffles and spikes; keep at least half."""
    high = values > limit_mps
    for _ in range(reach):
        high[1:] |= high[:-1]
        high[:-1] |= high[1:]
    return values if high.mean() > 0.5 else values[~high]


def _fine_noise_mps(
    t_s: FloatArray, speed_mps: FloatArray, stretch: NDArray[Any], period_s: float, resolution_mps: float
) -> float:
    """White part of the noise in motion, from third differences (variance 20 sigma^2 for white noise); NaN if unknown.

    Third differences cancel any speed that is a local quadratic; their median absolute deviation ignores the odd jerk.
    """
    if period_s > _THIRD_DIFFERENCE_PERIOD_S or t_s.size < 40:
        return math.nan
    even = (np.abs(np.diff(t_s) - period_s) < 0.2 * period_s) & (stretch[1:] == stretch[:-1])
    moving = speed_mps > _MOVING_MPS
    use = even[:-2] & even[1:-1] & even[2:] & moving[:-3] & moving[3:]
    if use.sum() < 30:
        return math.nan
    third = np.diff(speed_mps, 3)[use]
    sigma = median(np.abs(third)) / _NORMAL_MAD / math.sqrt(20)
    return math.sqrt(max(sigma**2 - resolution_mps**2 / 12, 0.0))


def _slow_part(speed_mps: FloatArray, rests: list[tuple[int, int]], period_s: float) -> tuple[float, float]:
    """Share of the variance that is slow, and its time constant [s], from the rests.

    For a two-dimensional Gaussian noise vector the squared length has the autocovariance 4 sigma^4 rho(k)^2
    (Isserlis' theorem), so the square root of its autocorrelation is that of the noise, rho(k) = share exp(-k/tau).
    The mean over the posterior is taken, so that a short rest leaves the generic values as they are.
    """
    lags = distinct(np.round(np.array([0.1, 0.2, 0.3, 0.5, 0.7, 1.0, 1.4, 2.0]) / period_s).astype(int))
    lags = lags[lags >= 1]
    seconds = np.zeros(lags.size)
    products = np.zeros(lags.size)
    variance, count = 0.0, 0
    square = [speed_mps[a:b] ** 2 for a, b in rests if b - a >= 8 and speed_mps[a:b].max() > 0]
    if not square or lags.size == 0:
        return GENERIC_SLOW_SHARE, GENERIC_SLOW_TAU_S
    mean = float(np.concatenate(square).mean())
    cap = 9 * mean  # 1 in 8000 of Rayleigh's law lies above: shuffles and spikes
    for piece in square:
        dev = np.minimum(piece, cap) - mean
        variance, count = variance + float(dev @ dev), count + dev.size
        for i, lag in enumerate(lags[lags < dev.size].tolist()):
            products[i] += float(dev[:-lag] @ dev[lag:])
            seconds[i] += (dev.size - lag) * period_s
    if variance <= 0:
        return GENERIC_SLOW_SHARE, GENERIC_SLOW_TAU_S
    seen = products / np.maximum(seconds / period_s, 1) / (variance / count)
    return _fit_slow(lags * period_s, seen, seconds)


def _fit_slow(lag_s: FloatArray, seen: FloatArray, seconds: FloatArray) -> tuple[float, float]:
    share = np.linspace(0.05, 0.95, 19)[:, None]
    tau_s = np.array([0.4, 0.6, 0.9, 1.2, 1.6, 2.2, 3.0])[None, :]
    model = (share[..., None] * np.exp(-lag_s / tau_s[..., None])) ** 2
    # an autocorrelation over T seconds scatters by about sqrt(1 s / T) for noise with a memory of a second
    misfit = np.sum(seconds / lag_s.size * (model - seen) ** 2 * 4, axis=-1)
    prior = ((share - GENERIC_SLOW_SHARE) / _SHARE_SD) ** 2 + (np.log(tau_s / GENERIC_SLOW_TAU_S) / _TAU_SD) ** 2
    cost = misfit + prior
    weight = np.exp(-0.5 * (cost - cost.min()))
    weight /= weight.sum()
    return float(np.sqrt(np.sum(weight * share**2))), float(np.sum(weight * tau_s))


def _both(rest_sigma_mps: float, fine_mps: float, share: float, rest_s: float, hold_mps: float) -> tuple[float, float]:
    """Total and slow standard deviation in motion, from what rest and motion say."""
    resting = math.isfinite(rest_sigma_mps) and rest_s >= 2 and hold_mps == 0 and rest_sigma_mps > FLOOR_SIGMA_MPS
    if resting and not fine_mps > _CALMED * rest_sigma_mps:
        return rest_sigma_mps, rest_sigma_mps * math.sqrt(share)
    sigma = max(fine_mps / math.sqrt(1 - share), FLOOR_SIGMA_MPS) if math.isfinite(fine_mps) else GENERIC_SIGMA_MPS
    return sigma, sigma * math.sqrt(share)
