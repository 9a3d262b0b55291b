"""How late a receiver is against an accelerometer, which way is forward, and how true the accelerometer's scale is.

All starts and brakings of a log together: the receiver's speeds are fitted by the integral of the level force,

    z(t) = w . H(t - lag) + e(t) + n(t),

`w` forward direction times scale, `H` the integral of the level force since the last rest, `e` what bias, tilt and
slope add (a bias of unknown size that wanders, integrated), `n` the receiver's white and slow noise. Generalised
least squares (Aitken, Proc. R. Soc. Edinburgh 55 (1935) 42) by Gauss-Newton steps; how much the bias wanders is
taken from the log by maximum likelihood.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from traceanalyze.errors import SignalError
from traceanalyze.signal.forces import REST_AT_LEAST_S, Blocks, integral, white_density
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray

#: Lags tried [s]: a receiver may be a second late, and a little early where clocks are not shared.
_LAGS_S: Final = (-0.6, 1.6)
_LAG_STEP_S: Final = 0.1
#: Bias left after the rest before [m/s^2] and its wandering [m^2/s^5], tried in all pairs.
_BIASES_MPS2: Final = (0.02, 0.06, 0.2)
_WANDERS: Final = (1e-4, 1e-3, 1e-2, 1e-1)
#: Receiver speeds used are above this [m/s] (and this many sigma), where the length of the noisy vector is unbiased.
_CLEAR_MPS: Final = 1.0
_CLEAR_SIGMA: Final = 6.0
#: Faster receivers are averaged to this period [s].
_PERIOD_S: Final = 0.2
#: Longest stretch fitted as one [s], fewest samples of one, and fewest of all together.
_LONGEST_S: Final = 40.0
_FEWEST: Final = 4
_FEWEST_OF_ALL: Final = 7
#: A rest belongs to a stretch when its motion is seen within this time [s]; how far inside a rest it is surely at rest.
_NEAR_S: Final = 5.0
_INTO_REST_S: Final = 0.8
#: The receiver rests below this [m/s] (and this many sigma).
_STILL_MPS: Final = 0.35
_STILL_SIGMA: Final = 4.0
#: Standard deviation of the speed 'zero' at the rest that ends a stretch [m/s].
_STOPPED_MPS: Final = 0.03
#: Not known at all: speed at a start that is not from rest [m/s], and bias without any rest [m/s^2].
_UNKNOWN_MPS: Final = 30.0
_UNKNOWN_MPS2: Final = 0.5
#: A whitened miss above this is no part of the model (a glitch that cleaning left, a slide).
_STRAY: Final = 5.0


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """A time of motion with the receiver's speeds in it.

    Attributes
    ----------
    start_s : float
        A moment of the rest before it, or its first sample [s of the receiver's clock].
    t_s, seen_mps : (n,) float
        Samples; the last is a zero at the rest after it when `stopped`.
    noise_var : (n,) float
        Variance of the white part of each.
    anchored, stopped : bool
        Whether it begins at rest; whether it ends at rest.
    """

    start_s: float
    t_s: FloatArray
    seen_mps: FloatArray
    noise_var: FloatArray
    anchored: bool
    stopped: bool


@dataclass(frozen=True, slots=True, eq=False)
class LagFit:
    """What the receiver says of the accelerometer.

    Attributes
    ----------
    forward : (2,) float
        Direction of travel in the level plane times the correction of the scale: acceleration = forward . force.
    lag_s, lag_stderr_s : float
        How late the receiver is, and its standard uncertainty [s].
    scale, scale_stderr : float
        Length of `forward`.
    bias_mps2, wander : float
        Bias left after the rest before a start, and its wandering [m^2/s^5].
    white : float
        Spectral density of the force's white part [m^2/s^3].
    """

    forward: FloatArray
    lag_s: float
    lag_stderr_s: float
    scale: float
    scale_stderr: float
    bias_mps2: float
    wander: float
    white: float


def receiver_rests(t_s: FloatArray, speed_mps: FloatArray, noise: SpeedNoise) -> list[tuple[float, float]]:
    """Return begin and end of the receiver's rests [s], on its own clock; missing speeds end a rest."""
    still = np.isfinite(speed_mps) & (speed_mps < max(_STILL_MPS, _STILL_SIGMA * noise.sigma_mps, noise.hold_mps))
    joined = still[1:] & still[:-1] & (np.diff(t_s) < max(5 * noise.period_s, 2.5))
    edges = np.flatnonzero(np.diff(np.concatenate([[False], joined, [False]]).astype(int)))
    spans = [(float(t_s[a]), float(t_s[b])) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    return [(a, b) for a, b in spans if b - a >= REST_AT_LEAST_S]


def stretches(
    t_s: FloatArray,
    speed_mps: FloatArray,
    part: NDArray[np.integer[Any]],
    rests: list[tuple[float, float]],
    noise: SpeedNoise,
) -> list[Stretch]:
    """Return the stretches of motion between rests, on the receiver's clock.

    Parameters
    ----------
    t_s, speed_mps : (n,) float
        The receiver's; NaN speeds are left out.
    part : (n,) int
        Points of different parts are never joined.
    rests : list of (begin, end)
        Rests of the receiver [s].
    """
    clear = max(_CLEAR_MPS, _CLEAR_SIGMA * noise.sigma_mps, noise.hold_mps)
    moving = np.isfinite(speed_mps) & (speed_mps > clear)
    ends = [-np.inf, *(end for _, end in rests)]
    begins = [*(begin for begin, _ in rests), np.inf]
    out: list[Stretch] = []
    for leaves_s, stops_s in zip(ends, begins, strict=True):
        inside = np.flatnonzero(moving & (t_s > leaves_s) & (t_s < stops_s))
        pieces = _pieces(t_s, part, inside, noise.period_s)
        for number, piece in enumerate(pieces):
            first = number == 0 and float(t_s[piece[0]]) - leaves_s < _NEAR_S
            last = number == len(pieces) - 1 and stops_s - float(t_s[piece[-1]]) < _NEAR_S
            if piece.size >= _FEWEST:
                out.append(
                    _stretch(
                        t_s[piece], speed_mps[piece], leaves_s if first else None, stops_s if last else None, noise
                    )
                )
    return out


def _pieces(
    t_s: FloatArray, part: NDArray[np.integer[Any]], inside: NDArray[np.intp], period_s: float
) -> list[NDArray[np.intp]]:
    """Cut indices at gaps, where the part changes, and where a piece grows too long."""
    if not inside.size:
        return []
    cut = (np.diff(t_s[inside]) > max(5 * period_s, 2.5)) | (np.diff(part[inside]) != 0)
    pieces = []
    for piece in np.split(inside, np.flatnonzero(cut) + 1):
        count = max(1, int(np.ceil((t_s[piece[-1]] - t_s[piece[0]]) / _LONGEST_S)))
        pieces += np.array_split(piece, count)
    return pieces


def _stretch(
    t_s: FloatArray, seen_mps: FloatArray, leaves_s: float | None, stops_s: float | None, noise: SpeedNoise
) -> Stretch:
    size = max(1, round(_PERIOD_S / noise.period_s))
    begin = np.arange(0, t_s.size, size)
    count = np.diff(begin, append=t_s.size)
    middle, mean = (
        np.add.reduceat(values, begin) / count for values in (t_s, seen_mps - noise.sigma_mps**2 / (2 * seen_mps))
    )
    variance = noise.white_mps**2 / count
    if stops_s is not None:
        middle, mean = np.append(middle, stops_s + _INTO_REST_S), np.append(mean, 0.0)
        variance = np.append(variance, _STOPPED_MPS**2)
    start_s = float(t_s[0]) if leaves_s is None else leaves_s - _INTO_REST_S
    return Stretch(start_s, middle, mean, variance, leaves_s is not None, stops_s is not None)


class _Force:
    """Level force and its integral, looked up at any time of the accelerometer's clock."""

    def __init__(self, found: Blocks, level: FloatArray) -> None:
        self._t_s, self._sum = found.t_s, integral(found.t_s, level)
        self._first, self._last = float(found.t_s[0]), float(found.t_s[-1])
        gap = np.flatnonzero(np.diff(found.run))
        self._gaps = found.t_s[gap]

    def covered(self, one: Stretch) -> Stretch | None:
        """Return the part of a stretch that the record covers without a gap, at every lag tried; None without any."""
        begin_s, end_s = self._first + _LAGS_S[1] + 0.1, self._last + _LAGS_S[0] - 0.1
        start_s = one.start_s if one.anchored else max(one.start_s, begin_s)
        after = self._gaps[self._gaps > start_s - _LAGS_S[1]]
        end_s = min(end_s, float(after[0]) + _LAGS_S[0] - 0.1) if after.size else end_s
        keep = (one.t_s >= start_s) & (one.t_s <= end_s)
        if start_s < begin_s or keep.sum() < _FEWEST:
            return None
        stopped = one.stopped and bool(keep[-1])
        return Stretch(start_s, one.t_s[keep], one.seen_mps[keep], one.noise_var[keep], one.anchored, stopped)

    def speed(self, t_s: FloatArray) -> FloatArray:
        """Return the integral (k, 2) at some times [m/s]."""
        return np.stack([np.interp(t_s, self._t_s, column) for column in self._sum.T], axis=-1)

    def accel(self, t_s: FloatArray) -> FloatArray:
        """Return the mean force (k, 2) of a tenth of a second around some times [m/s^2]."""
        return (self.speed(t_s + 0.05) - self.speed(t_s - 0.05)) / 0.1


def fit_lag(found: Blocks, level: FloatArray, driven: list[Stretch], noise: SpeedNoise) -> LagFit:
    """Return lag, forward direction and scale from all stretches together.

    Parameters
    ----------
    found : Blocks
        Of the accelerometer, on its own clock.
    level : (m, 2) float
        Its level force.
    driven : list of Stretch
        On the receiver's clock.

    Raises
    ------
    SignalError
        If the record covers too little motion.
    """
    force = _Force(found, level)
    usable = [part for one in driven if (part := force.covered(one)) is not None]
    if sum(one.t_s.size for one in usable) < _FEWEST_OF_ALL:
        raise SignalError("too little motion is seen by receiver and accelerometer together")
    white = white_density(level, found.step_s)
    first = _whitened(usable, (_BIASES_MPS2[1], _WANDERS[2]), white, noise)
    lags = np.arange(_LAGS_S[0], _LAGS_S[1], _LAG_STEP_S)
    lag_s = float(lags[int(np.argmin([_direction(force, usable, first, lag)[1] for lag in lags]))])
    forward = _forward(force, usable, lag_s)
    best: tuple[float, LagFit] | None = None
    for bias in _BIASES_MPS2:
        for wander in _WANDERS:
            roots = _whitened(usable, (bias, wander), white, noise)
            fit, value = _refined(force, usable, roots, (forward, lag_s), (bias, wander, white))
            if best is None or value > best[0]:
                best = (value, fit)
    assert best is not None
    return best[1]


def _whitened(
    usable: list[Stretch], bias: tuple[float, float], white: float, noise: SpeedNoise
) -> list[tuple[FloatArray, float]]:
    """Return for each stretch the inverse Cholesky factor of the covariance of its misses, and its log determinant."""
    return [_root(one, bias, white, noise) for one in usable]


def error_covariance(u_s: FloatArray, v_s: FloatArray, bias_mps2: float, wander: float, white: float) -> FloatArray:
    """Return the covariance of the integrated force's error at times after the last rest [m^2/s^2].

    A bias of standard deviation `bias_mps2` at the start, its random walk of density `wander` integrated (as for an
    integrated Wiener process), and white noise of density `white` integrated.
    """
    low, high = np.minimum(u_s, v_s), np.maximum(u_s, v_s)
    return np.asarray(bias_mps2**2 * u_s * v_s + wander * low**2 * (high - low / 3) / 2 + white * low)


def _root(one: Stretch, bias: tuple[float, float], white: float, noise: SpeedNoise) -> tuple[FloatArray, float]:
    u_s = one.t_s - one.start_s
    sd = bias[0] if one.anchored else _UNKNOWN_MPS2
    total = error_covariance(u_s[:, None], u_s, sd, bias[1], white) + np.diag(one.noise_var)
    moving = one.seen_mps > 0
    slow = noise.slow_mps**2 * np.exp(-np.abs(u_s[:, None] - u_s) / noise.slow_tau_s)
    total += slow * moving * moving[:, None]
    if not one.anchored:
        total += _UNKNOWN_MPS**2
    root = np.linalg.cholesky(total)
    return np.linalg.inv(root), float(2 * np.log(np.diag(root)).sum())


def _rows(force: _Force, one: Stretch, lag_s: float) -> FloatArray:
    """Return the integral of the level force from the start of a stretch to each of its samples (n, 2)."""
    return force.speed(one.t_s - lag_s) - force.speed(np.array([one.start_s - lag_s]))


def _direction(
    force: _Force, usable: list[Stretch], roots: list[tuple[FloatArray, float]], lag_s: float
) -> tuple[FloatArray, float]:
    """Return the best direction (2,) at a lag and the sum of squares it leaves."""
    design = np.concatenate([root @ _rows(force, one, lag_s) for one, (root, _) in zip(usable, roots, strict=True)])
    seen = np.concatenate([root @ one.seen_mps for one, (root, _) in zip(usable, roots, strict=True)])
    direction = np.linalg.lstsq(design, seen, rcond=None)[0]
    return direction, float(((seen - design @ direction) ** 2).sum())


def _forward(force: _Force, usable: list[Stretch], lag_s: float) -> FloatArray:
    """Return the unit direction (2,) along which the level force changes the receiver's speed.

    Their covariance points along the track whatever the force across it does.
    """
    total = np.zeros(2)
    for one in usable:
        change = np.diff(one.seen_mps)
        total += change @ np.diff(force.speed(one.t_s - lag_s), axis=0)
    return np.asarray(total / np.linalg.norm(total), np.float64)


def _refined(
    force: _Force,
    usable: list[Stretch],
    roots: list[tuple[FloatArray, float]],
    first: tuple[FloatArray, float],
    error: tuple[float, float, float],
) -> tuple[LagFit, float]:
    """Return the fit after some Gauss-Newton steps for scale and lag, and its log likelihood."""
    forward, lag_s = first
    scale = 1.0
    for _ in range(6):
        design, miss = [], []
        for one, (root, _) in zip(usable, roots, strict=True):
            along = _rows(force, one, lag_s) @ forward
            pull = -scale * (force.accel(one.t_s - lag_s) @ forward)
            design.append(root @ np.column_stack([along, pull]))
            miss.append(root @ (one.seen_mps - scale * along))
        matrix, left = np.concatenate(design), np.concatenate(miss)
        keep = np.abs(left) < max(_STRAY, 3 * float(np.median(np.abs(left))))
        step = np.linalg.lstsq(matrix[keep], left[keep], rcond=None)[0]
        scale += float(np.clip(step[0], -0.3, 0.3))
        lag_s = float(np.clip(lag_s + np.clip(step[1], -0.1, 0.1), *_LAGS_S))
    after = left[keep] - matrix[keep] @ step
    excess = max(1.0, float(after @ after) / max(1, after.size - 2))
    sd = np.sqrt(np.diag(np.linalg.inv(matrix[keep].T @ matrix[keep])) * excess)
    value = -0.5 * float((np.minimum(np.abs(left), _STRAY) ** 2).sum()) - 0.5 * sum(d for _, d in roots)
    return LagFit(scale * forward, lag_s, float(sd[1]), scale, float(sd[0]), *error), value
