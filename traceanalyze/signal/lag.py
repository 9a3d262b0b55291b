"""How late a receiver is against an accelerometer, which way is forward, and how true the accelerometer's scale is.

All starts and brakings of a log together: the receiver's speeds are fitted by the integral of the level force,

    z(t) = w . H(t - lag) + e(t) + n(t),

`w` forward direction times scale, `H` the integral of the level force since the last rest, `e` what bias, tilt and
slope add (a bias of unknown size that wanders, integrated), `n` the receiver's white and slow noise. The lag may
drift with time, as clocks of their own do. Generalised least squares (Aitken, Proc. R. Soc. Edinburgh 55 (1935) 42)
by Gauss-Newton steps. How large the bias is, how much it wanders, and how much of the force's fast scatter is white
noise (the rest is shaking, which cancels in the integral) is taken from the log, each averaged over its likelihood:
the covariance of `e` is linear in its variances, so their means give its mean.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from traceanalyze.errors import SignalError
from traceanalyze.signal.forces import Blocks, integral, white_density
from traceanalyze.signal.motions import FEWEST, Stretch
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray

#: Lags tried [s]: a receiver may be a second late, and a little early where clocks are not shared.
_LAGS_S: Final = (-0.6, 1.6)
_LAG_STEP_S: Final = 0.1
#: Clocks of their own run apart by some millionths; standard deviation (a quartz is good to 20-50).
_DRIFT: Final = 3e-5
#: Bias left after the rest before [m/s^2], its wandering [m^2/s^5], and the share of the fast scatter that is white
#: noise: what is tried, all as likely beforehand, and what is begun with.
_BIASES_MPS2: Final = (0.007, 0.02, 0.06, 0.2)
_WANDERS: Final = (1e-5, 1e-4, 1e-3, 1e-2, 1e-1)
_WHITE_SHARES: Final = (0.03, 0.1, 0.3, 1.0)
_BEGUN_WITH: Final = (0.06, 1e-2, 1.0)
#: Fewest samples of all stretches together, and most stretches used: more tell nothing new.
_FEWEST_OF_ALL: Final = 7
_MOST_STRETCHES: Final = 40
#: Not known at all: speed at a start that is not from rest [m/s], and bias without any rest [m/s^2].
_UNKNOWN_MPS: Final = 30.0
_UNKNOWN_MPS2: Final = 0.5
#: A whitened miss above this is no part of the model (a glitch that cleaning left, a slide).
_STRAY: Final = 5.0
_ROUNDS: Final = 5  #: of Gauss-Newton; it settles within three


@dataclass(frozen=True, slots=True, eq=False)
class LagFit:
    """What the receiver says of the accelerometer.

    Attributes
    ----------
    forward : (2,) float
        Direction of travel in the level plane times the correction of the scale: acceleration = forward . force.
    lag_s, lag_stderr_s : float
        How late the receiver is, and its standard uncertainty [s].
    drift : float
        How fast the lag grows [s/s], counted from `middle_s` of the receiver's clock.
    middle_s : float
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
    drift: float
    middle_s: float
    scale: float
    scale_stderr: float
    bias_mps2: float
    wander: float
    white: float


class _Force:
    """Level force and its integral, looked up at any time of the accelerometer's clock."""

    def __init__(self, found: Blocks, level: FloatArray) -> None:
        self._t_s = found.t_s
        self._sums = [np.ascontiguousarray(column) for column in integral(found.t_s, level).T]
        self._first, self._last = float(found.t_s[0]), float(found.t_s[-1])
        self._gaps = found.t_s[np.flatnonzero(np.diff(found.run))]

    def covered(self, one: Stretch) -> Stretch | None:
        """Return the part of a stretch that the record covers without a gap, at every lag tried; None without any."""
        begin_s, end_s = self._first + _LAGS_S[1] + 0.1, self._last + _LAGS_S[0] - 0.1
        start_s = one.start_s if one.anchored else max(one.start_s, begin_s)
        after = self._gaps[self._gaps > start_s - _LAGS_S[1]]
        end_s = min(end_s, float(after[0]) + _LAGS_S[0] - 0.1) if after.size else end_s
        keep = (one.t_s >= start_s) & (one.t_s <= end_s)
        if start_s < begin_s or keep.sum() < FEWEST:
            return None
        stopped = one.stopped and bool(keep[-1])
        return Stretch(start_s, one.t_s[keep], one.seen_mps[keep], one.noise_var[keep], one.anchored, stopped)

    def speed(self, t_s: FloatArray) -> FloatArray:
        """Return the integral (k, 2) at some times [m/s]."""
        return np.stack([np.interp(t_s, self._t_s, one) for one in self._sums], axis=-1)


class _Motion:
    """All stretches as one column of samples."""

    def __init__(self, force: _Force, stretches: list[Stretch]) -> None:
        self.force, self.stretches = force, stretches
        sizes = [one.t_s.size for one in stretches]
        self.t_s = np.concatenate([one.t_s for one in stretches])
        self.start_s = np.repeat([one.start_s for one in stretches], sizes)
        self.seen_mps = np.concatenate([one.seen_mps for one in stretches])
        self.cuts = np.cumsum(sizes)[:-1]
        self.middle_s = float((self.t_s[0] + self.t_s[-1]) / 2)

    def gained(self, lag_s: FloatArray | float) -> FloatArray:
        """Return the integral of the level force from the start of each stretch to each sample (n, 2)."""
        return self.force.speed(self.t_s - lag_s) - self.force.speed(self.start_s - lag_s)

    def pull(self, lag_s: FloatArray) -> FloatArray:
        """Return the mean level force of a tenth of a second around each sample (n, 2)."""
        at_s = self.t_s - lag_s
        return (self.force.speed(at_s + 0.05) - self.force.speed(at_s - 0.05)) / 0.1

    def whitened(self, roots: list[FloatArray], rows: FloatArray) -> FloatArray:
        """Return rows (n, k) with the correlation of each stretch taken out."""
        return np.concatenate([root @ part for root, part in zip(roots, np.split(rows, self.cuts), strict=True)])


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
    picks = np.unique(np.linspace(0, len(usable) - 1, _MOST_STRETCHES).round().astype(int))
    motion = _Motion(force, [usable[k] for k in picks])
    scatter = white_density(level, found.step_s)
    error = (_BEGUN_WITH[0], _BEGUN_WITH[1], _BEGUN_WITH[2] * scatter)
    lag_s = _coarse_lag_s(motion, _roots(motion, error, noise)[0])
    begun = _refined(motion, (_forward(motion, lag_s), lag_s), error, noise)
    error = _likely_error(motion, begun, scatter, noise)
    return _refined(motion, (begun.forward / begun.scale, begun.lag_s), error, noise)


def _likely_error(motion: _Motion, fit: LagFit, scatter: float, noise: SpeedNoise) -> tuple[float, float, float]:
    """Return bias, wandering and white density, one after the other averaged over their likelihood at a fit."""
    late = fit.lag_s + fit.drift * (motion.t_s - motion.middle_s)
    miss = (motion.seen_mps - motion.gained(late) @ fit.forward)[:, None]
    error = np.array([fit.bias_mps2, fit.wander, fit.white])
    tried = (np.array(_BIASES_MPS2), np.array(_WANDERS), scatter * np.array(_WHITE_SHARES))
    for part, power in ((1, 1), (2, 1), (0, 2)):
        value = np.empty(tried[part].size)
        for k, one in enumerate(tried[part]):
            error[part] = one
            value[k] = _log_likelihood(motion, miss, error, noise)
        chance = np.exp(value - value.max())
        error[part] = (chance @ tried[part] ** power / chance.sum()) ** (1 / power)
    bias_mps2, wander, white = error.tolist()
    return bias_mps2, wander, white


def _log_likelihood(motion: _Motion, miss_mps: FloatArray, error: FloatArray, noise: SpeedNoise) -> float:
    """Return the log likelihood of misses (n, 1) given bias, wandering and white density; strays count no further."""
    bias_mps2, wander, white = error.tolist()
    roots, log_det = _roots(motion, (bias_mps2, wander, white), noise)
    whitened = np.minimum(np.abs(motion.whitened(roots, miss_mps)), _STRAY)
    return -0.5 * (float((whitened**2).sum()) + log_det)


def error_covariance(u_s: FloatArray, v_s: FloatArray, bias_mps2: float, wander: float, white: float) -> FloatArray:
    """Return the covariance of the integrated force's error at times after the last rest [m^2/s^2].

    A bias of standard deviation `bias_mps2` at the start, its random walk of density `wander` integrated (as for an
    integrated Wiener process), and white noise of density `white` integrated.
    """
    low, high = np.minimum(u_s, v_s), np.maximum(u_s, v_s)
    return np.asarray(bias_mps2**2 * u_s * v_s + wander * low**2 * (high - low / 3) / 2 + white * low)


def _roots(motion: _Motion, error: tuple[float, float, float], noise: SpeedNoise) -> tuple[list[FloatArray], float]:
    """Return for each stretch the inverse Cholesky factor of the covariance of its misses, and all log determinants."""
    roots, total = [], 0.0
    for one in motion.stretches:
        root = np.linalg.cholesky(_covariance(one, error, noise))
        roots.append(np.asarray(np.linalg.inv(root), np.float64))
        total += float(2 * np.log(np.diag(root)).sum())
    return roots, total


def _covariance(one: Stretch, error: tuple[float, float, float], noise: SpeedNoise) -> FloatArray:
    u_s = one.t_s - one.start_s
    bias, wander, white = error
    total = error_covariance(u_s[:, None], u_s, bias if one.anchored else _UNKNOWN_MPS2, wander, white)
    moving = one.seen_mps > 0
    slow = noise.slow_mps**2 * np.exp(-np.abs(u_s[:, None] - u_s) / noise.slow_tau_s)
    total += slow * moving * moving[:, None] + np.diag(one.noise_var)
    return total if one.anchored else total + _UNKNOWN_MPS**2


def _coarse_lag_s(motion: _Motion, roots: list[FloatArray]) -> float:
    """Return the lag, of those tried, at which the level force in any direction explains most of the speeds."""
    seen = motion.whitened(roots, motion.seen_mps[:, None])[:, 0]
    lags = np.arange(_LAGS_S[0], _LAGS_S[1], _LAG_STEP_S)
    left = []
    for lag in lags:
        design = motion.whitened(roots, motion.gained(lag))
        left.append(float(((seen - design @ np.linalg.lstsq(design, seen, rcond=None)[0]) ** 2).sum()))
    return float(lags[int(np.argmin(left))])


def _forward(motion: _Motion, lag_s: float) -> FloatArray:
    """Return the unit direction (2,) along which the level force changes the receiver's speed.

    Their covariance points along the track whatever the force across it does.
    """
    gained = np.split(motion.gained(lag_s), motion.cuts)
    seen = np.split(motion.seen_mps, motion.cuts)
    total = sum(np.diff(z) @ np.diff(rows, axis=0) for z, rows in zip(seen, gained, strict=True))
    return np.asarray(total / np.linalg.norm(total), np.float64)


def _refined(
    motion: _Motion, first: tuple[FloatArray, float], error: tuple[float, float, float], noise: SpeedNoise
) -> LagFit:
    """Return the fit after some Gauss-Newton steps for scale, lag and drift."""
    roots, _ = _roots(motion, error, noise)
    forward, lag_s = first
    scale, drift = 1.0, 0.0
    since_s = motion.t_s - motion.middle_s
    prior = np.array([[0.0, 0.0, 1 / _DRIFT]])
    for _ in range(_ROUNDS):
        late = lag_s + drift * since_s
        along, pull = motion.gained(late) @ forward, -scale * (motion.pull(late) @ forward)
        miss = motion.whitened(roots, (motion.seen_mps - scale * along)[:, None])[:, 0]
        design = motion.whitened(roots, np.column_stack([along, pull, pull * since_s]))
        keep = np.abs(miss) < max(_STRAY, 3 * float(np.median(np.abs(miss))))
        matrix = np.concatenate([design[keep], prior])
        left = np.append(miss[keep], -drift / _DRIFT)
        step = np.linalg.lstsq(matrix, left, rcond=None)[0]
        scale += float(np.clip(step[0], -0.3, 0.3))
        lag_s = float(np.clip(lag_s + np.clip(step[1], -0.1, 0.1), *_LAGS_S))
        drift += float(np.clip(step[2], -_DRIFT, _DRIFT))
    after = left - matrix @ step
    excess = max(1.0, float(after @ after) / max(1, after.size - 3))
    sd = np.sqrt(np.diag(np.linalg.inv(matrix.T @ matrix)) * excess)
    return LagFit(scale * forward, lag_s, float(sd[1]), drift, motion.middle_s, scale, float(sd[0]), *error)
