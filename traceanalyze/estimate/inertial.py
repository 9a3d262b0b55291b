"""Paths of a launch from an accelerometer, held to the receiver's speeds: what they are after is read off as ever.

On the accelerometer's clock, from a rest on, the speed is the integral of the forward acceleration plus an error

    v(t) = V(t) - V(t0) + e(t),    e: a bias that wanders, white noise and a scale error, all integrated,

and each receiver sample shows v(sample - lag) with its own white and slow noise; the lag is known to its standard
uncertainty. All of it is Gaussian: paths are drawn by correcting prior draws with the gain on their own misfit
(Matheron's rule: Journel & Huijbregts, Mining Geostatistics (1978), VII.A.1). The onset comes from the corner in the
acceleration: rest, then a ramp of some length and shape; each weighed by its likelihood, the height left open.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from traceanalyze.errors import SignalError
from traceanalyze.estimate.paths import Paths, distance_since_m
from traceanalyze.signal.accelerometer import ForwardAcceleration
from traceanalyze.signal.forces import integral
from traceanalyze.signal.lag import error_covariance
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray

#: Paths drawn; the standard deviation over 256 of them is known to 4 %.
DRAWS: Final = 256
_SEED: Final = 20_241
#: Rest before the onset whose mean is taken for zero [s], least and most, and the time left out before the onset.
_REST_S: Final = (0.6, 4.0)
_BEFORE_S: Final = 0.3
#: Blocks that the force is smoothed over to see whether the vehicle is shuffled, and by how much that shows [m/s^2].
_SMOOTHED: Final = 10
_SHUFFLE_MPS2: Final = 0.3
#: Step between moments, early and late [s], and how long it stays early after the earliest onset [s].
_STEP_S: Final = (0.04, 0.12)
_EARLY_S: Final = 1.5
#: Receiver speeds used are above this [m/s] and this many sigma; more than so many are averaged.
_CLEAR_MPS: Final = 1.0
_CLEAR_SIGMA: Final = 6.0
_MOST_SAMPLES: Final = 100
#: Standard deviation of 'zero' at a rest [m/s].
_STOPPED_MPS: Final = 0.02
#: Ramp times tried [s], shapes as powers of the elapsed share, and how many onsets.
_RAMPS_S: Final = (0.03, 0.08, 0.16, 0.3, 0.5, 0.9)
_POWERS: Final = (0.6, 1.0, 1.7)
_ONSETS: Final = 80
#: The acceleration differs from the tried ramp by about this share of its height: clutches judder.
_ROUGH_SHARE: Final = 0.15
#: Variances of the receiver are taken times this: its noise is itself known from a rest of half a minute, some 25
#: independent values, and Student's t of n degrees of freedom has a variance of n / (n - 2).
_CAUTION: Final = 25 / 23
#: Speeds whose squared misses are as unlikely as this many standard deviations of a normal law do not belong to this
#: acceleration.
_UNLIKELY: Final = 5.0


@dataclass(frozen=True, slots=True, eq=False)
class _Window:
    """Acceleration and speed around one start, zero at the rest before it; times on the accelerometer's clock."""

    t_s: FloatArray
    accel_mps2: FloatArray
    speed_mps: FloatArray
    white: float
    bias_mps2: float
    rest_sd_mps2: float


@dataclass(frozen=True, slots=True, eq=False)
class _Shown:
    """Speeds known from elsewhere, on the receiver's clock, with the variance of their white part."""

    t_s: FloatArray
    speed_mps: FloatArray
    white_var: FloatArray


def fused_paths(
    forward: ForwardAcceleration, t_s: FloatArray, seen_mps: FloatArray, calm_s: float, noise: SpeedNoise
) -> Paths:
    """Return paths of one climb from rest, on the receiver's clock.

    Parameters
    ----------
    t_s, seen_mps : (n,) float
        The receiver's samples from the rest before the start to the highest speed.
    calm_s : float
        Time of the last sample at rest.

    Raises
    ------
    SignalError
        If the accelerometer does not cover it, or shows no rest or no start.
    """
    shown = _clear(t_s, seen_mps, noise)
    if shown.t_s.size < 2:
        raise SignalError("fewer than two receiver samples lie in the climb")
    return _paths(forward, (float(t_s[0]), calm_s, float(t_s[-1])), shown, noise)


def inertial_paths(forward: ForwardAcceleration, begin_s: float, calm_s: float, end_s: float, stop_s: float) -> Paths:
    """Return paths of one climb from rest by the accelerometer alone, held to zero at the rest after it.

    Parameters
    ----------
    begin_s, calm_s, end_s : float
        Begin and end of the rest before, and when the climb ends [s].
    stop_s : float
        A moment of the next rest [s]; NaN when there is none: the uncertainty then grows unchecked.

    Raises
    ------
    SignalError
        If the accelerometer does not cover it, or shows no rest or no start.
    """
    known = np.isfinite(stop_s)
    zero = np.array([stop_s] if known else [])
    shown = _Shown(zero, np.zeros(zero.size), np.full(zero.size, _STOPPED_MPS**2))
    return _paths(forward, (begin_s, calm_s, stop_s if known else end_s), shown, None, end_s)


def _paths(
    forward: ForwardAcceleration,
    span_s: tuple[float, float, float],
    shown: _Shown,
    noise: SpeedNoise | None,
    climb_end_s: float | None = None,
) -> Paths:
    """Return paths over a span (begin and end of the rest before, last time needed), given what else is known."""
    window = _window(forward, span_s)
    onset_s = _onsets(window, span_s[1] - forward.lag_s)
    moments = _moments(float(onset_s.min()), (span_s[2] if climb_end_s is None else climb_end_s) - forward.lag_s)
    error = _errors(forward, window, moments, float(onset_s.mean()), shown, noise)
    speed = np.interp(moments, window.t_s, window.speed_mps) + error
    at_onset = np.interp(onset_s, window.t_s, window.speed_mps)
    speed = np.where(moments > onset_s[:, None], np.maximum(speed - at_onset[:, None], 0.0), 0.0)
    accel = np.where(moments > onset_s[:, None], np.gradient(speed, moments, axis=1), 0.0)
    way = distance_since_m(moments, onset_s, speed, accel)
    return Paths(moments + forward.lag_s, onset_s + forward.lag_s, speed, accel, way)


def _window(forward: ForwardAcceleration, span_s: tuple[float, float, float]) -> _Window:
    """Return the acceleration from the rest to beyond the last time needed, with the mean of the rest taken off."""
    first, calm, last = (time - forward.lag_s for time in span_s)
    inside = (forward.t_s >= max(first, calm - _REST_S[1])) & (forward.t_s <= last + 0.3)
    times, accel = forward.t_s[inside], forward.accel_mps2[inside]
    if times.size < 20 or np.diff(times).max() > 0.2 or times[-1] < last:
        raise SignalError("the accelerometer does not cover the launch")
    rest = _quiet(times, accel, calm - _BEFORE_S)
    length_s = float(times[rest][-1] - times[rest][0]) if rest.any() else 0.0
    if length_s < _REST_S[0]:
        raise SignalError("the accelerometer shows no rest before the launch")
    white = forward.white_m2ps3
    unsure = white / length_s + forward.wander_m2ps5 * length_s / 3
    accel = accel - accel[rest].mean()
    bias = float(np.hypot(forward.bias_mps2, np.sqrt(unsure)))
    speed = integral(times, accel)
    return _Window(times, accel, speed - speed[rest][-1], white, bias, _scatter(accel[rest]))


def _quiet(times: FloatArray, accel: FloatArray, end_s: float) -> NDArray[np.bool_]:
    """Mark the rest before a start: what comes after the last shuffle, or all of it when too little is left."""
    rest = times < end_s
    if rest.sum() < 2 * _SMOOTHED:
        return rest
    smooth = np.convolve(accel, np.ones(_SMOOTHED) / _SMOOTHED, mode="same")
    level = float(np.median(smooth[rest]))
    spread = 1.4826 * float(np.median(np.abs(smooth[rest] - level)))
    busy = np.flatnonzero(rest & (np.abs(smooth - level) > max(_SHUFFLE_MPS2, 5 * spread)))
    after = rest & (np.arange(times.size) > busy[-1] + _SMOOTHED) if busy.size else rest
    return after if after.any() and end_s - float(times[after][0]) > _REST_S[0] + 0.1 else rest


def _onsets(window: _Window, calm_s: float) -> FloatArray:
    """Return DRAWS onsets in proportion to their likelihood, antithetic pairs alike."""
    sigma = window.rest_sd_mps2
    corner_s, height = _corner(window, calm_s, sigma)
    used = (window.t_s > corner_s - 1.6) & (window.t_s < corner_s + 0.35)
    t_s, accel = window.t_s[used], window.accel_mps2[used]
    onset = np.linspace(corner_s - 1.0, corner_s + 0.05, _ONSETS)
    tau, power = (part.ravel() for part in np.meshgrid(_RAMPS_S, _POWERS))
    since = t_s - onset[:, None, None]
    ramp = np.clip(since / tau[:, None], 0, 1) ** power[:, None]
    rough = (_ROUGH_SHARE * height) ** 2 * ramp**2
    weight = 1 / (sigma**2 + rough)
    best = (weight * ramp * accel).sum(axis=-1) / np.maximum((weight * ramp**2).sum(axis=-1), 1e-9)
    miss = accel - best[..., None] * ramp
    value = -0.5 * (weight * miss**2).sum(axis=-1) + 0.5 * np.log(weight).sum(axis=-1)
    value = np.where(best > 0.2 * height, value, -np.inf)
    chance = np.exp(value - value.max()).sum(axis=1)
    edges = np.cumsum(chance) / chance.sum()
    half = DRAWS // 2
    picks = np.interp(
        (np.arange(half) + 0.5) / half, np.concatenate([[0.0], edges]), np.append(onset, onset[-1] + 0.01)
    )
    spread = picks[(np.arange(half) * 37) % half]  # 37 is coprime to any power of two: neighbours are set apart
    return np.concatenate([spread, spread])


def _scatter(rest: FloatArray) -> float:
    """Return the standard deviation of one value at rest that counts when neighbours are taken as independent."""
    fours = rest[: rest.size // 4 * 4].reshape(-1, 4).mean(axis=1)
    return float(max(rest.std(), 2 * fours.std() if fours.size else 0.0, 0.02))


def _corner(window: _Window, calm_s: float, sigma: float) -> tuple[float, float]:
    """Return when the acceleration first stays above a third of what it comes to, and that height."""
    after = window.t_s > calm_s - 2 * _BEFORE_S - 0.5
    step_s = float(np.median(np.diff(window.t_s)))
    size = max(1, round(0.1 / step_s))
    smooth = np.convolve(window.accel_mps2, np.ones(size) / size, mode="same")
    soon = after & (window.t_s < calm_s + 3.0)
    height = float(np.quantile(smooth[soon], 0.9))
    if height < max(0.4, 3 * sigma / np.sqrt(size)):
        raise SignalError("the accelerometer shows no start here")
    high = np.flatnonzero(soon & (smooth > height / 3))
    steady = high[np.isin(high + size, high)]
    return float(window.t_s[steady[0] if steady.size else high[0]]), height


def _moments(from_s: float, to_s: float) -> FloatArray:
    early = np.arange(from_s - 0.1, min(from_s + _EARLY_S, to_s), _STEP_S[0])
    return np.concatenate([early, np.arange(early[-1] + _STEP_S[1], to_s + 0.25, _STEP_S[1])])


def _errors(
    forward: ForwardAcceleration,
    window: _Window,
    moments: FloatArray,
    origin_s: float,
    shown: _Shown,
    noise: SpeedNoise | None,
) -> FloatArray:
    """Return DRAWS of what is to be added to the integrated speed at the moments (k, m), given what is shown."""
    rng = np.random.default_rng(_SEED)
    m, at_s = moments.size, shown.t_s - forward.lag_s
    times = np.concatenate([moments, at_s])
    gained = np.interp(times, window.t_s, window.speed_mps)
    u_s = np.maximum(times - origin_s, 0.0)
    total = error_covariance(u_s[:, None], u_s, window.bias_mps2, forward.wander_m2ps5, window.white)
    total += forward.scale_stderr**2 * gained[:, None] * gained
    seen = _seen_covariance(shown, noise)
    pull = np.interp(at_s, window.t_s, window.accel_mps2)
    seen += forward.lag_stderr_s**2 * pull[:, None] * pull
    miss = shown.speed_mps - gained[m:]
    square = miss @ np.linalg.solve(total[m:, m:] + seen, miss)
    if noise is not None and square > most_square(miss.size):
        raise SignalError("the accelerometer contradicts the receiver's speeds (did the sensor move?)")
    half = DRAWS // 2
    root = np.linalg.cholesky(total + 1e-10 * np.eye(total.shape[0]))
    prior = rng.standard_normal((half, total.shape[0])) @ root.T
    wrong = rng.standard_normal((half, at_s.size)) @ np.linalg.cholesky(seen).T
    prior, wrong = np.concatenate([prior, -prior]), np.concatenate([wrong, -wrong])
    gain = np.linalg.solve(total[m:, m:] + seen, total[m:, :m])
    return np.asarray(prior[:, :m] + (miss - prior[:, m:] - wrong) @ gain)


def most_square(size: int) -> float:
    """Return the sum of squares of so many standard normal misses that hardly ever comes about.

    The cube root of chi-squared is nearly normal: Wilson & Hilferty, Proc. Natl. Acad. Sci. 17 (1931) 684.
    """
    part = 2 / (9 * size)
    return float(size * (1 - part + _UNLIKELY * part**0.5) ** 3)


def _seen_covariance(shown: _Shown, noise: SpeedNoise | None) -> FloatArray:
    """Return the covariance of what is wrong with the speeds shown [m^2/s^2]."""
    total = np.diag(shown.white_var)
    if noise is not None:
        total = total + noise.slow_mps**2 * np.exp(-np.abs(shown.t_s[:, None] - shown.t_s) / noise.slow_tau_s)
    return np.asarray(_CAUTION * total)


def _clear(t_s: FloatArray, seen_mps: FloatArray, noise: SpeedNoise) -> _Shown:
    """Return the samples well above the noise, freed of the bias of a length, in blocks."""
    use = seen_mps > max(_CLEAR_MPS, _CLEAR_SIGMA * noise.sigma_mps, noise.hold_mps)
    t_s, seen_mps = t_s[use], seen_mps[use]
    begin = np.arange(0, t_s.size, max(1, -(-t_s.size // _MOST_SAMPLES)))
    if not begin.size:
        return _Shown(t_s, seen_mps, seen_mps)
    count = np.diff(begin, append=t_s.size)
    means = [np.add.reduceat(part, begin) / count for part in (t_s, seen_mps - noise.sigma_mps**2 / (2 * seen_mps))]
    return _Shown(means[0], means[1], noise.white_mps**2 / count)
