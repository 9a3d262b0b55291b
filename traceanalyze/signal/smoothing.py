"""Kalman smoother of a chain of integrators driven by white noise, many stretches of time at once.

The state is a quantity and its derivatives up to `order - 1`; white noise drives the next derivative; the quantity
itself is measured, in one or more directions that share their variances. A long series is cut into lanes that run side
by side through one recursion of numpy arrays, each with some samples of its neighbours before and after, by which it
has forgotten where it was cut.

Sources: Y. Bar-Shalom, X. R. Li, T. Kirubarajan, Estimation with Applications to Tracking and Navigation (Wiley 2001),
section 6.2 (continuous white noise models); G. J. Bierman, Fixed interval smoothing with discrete measurements,
International Journal of Control 18 (1973) 65 (the backward pass, which inverts no matrix).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import factorial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from traceanalyze.errors import SignalError
from traceanalyze.trace import FloatArray

#: Samples of one lane without its ends, and at most so many lanes at once: arrays small enough for the processor's
#: cache, large enough to spread the cost of calling numpy.
_LANE: Final = 400
_LANES_AT_ONCE: Final = 500


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """What is known of a chain; every array has one entry (row) a sample.

    Attributes
    ----------
    step_s : (n,) float
        Time since the sample before [s]; of no account where `fresh`.
    measured : (n, d) float
        The quantity in d directions, finite throughout.
    variance : (n,) float
        Variance of what is measured; infinite where it is not to be used.
    fresh : (n,) bool
        Where a new run begins, before which nothing counts.
    jump : (n,) float
        Variance by which the quantity itself may have jumped on the step before.
    start : (n, d) float
        The quantity before the first sample of a run, with variance `start_variance[0]`; read where `fresh`.
    start_variance : (order,) float
        Variances of the state before the first sample of a run, or of a lane.
    """

    step_s: FloatArray
    measured: FloatArray
    variance: FloatArray
    fresh: NDArray[np.bool_]
    jump: FloatArray
    start: FloatArray
    start_variance: FloatArray

    def __post_init__(self) -> None:
        n = self.step_s.size
        if self.measured.shape[:1] != (n,) or self.measured.shape != self.start.shape or self.measured.ndim != 2:
            raise SignalError(f"{n} steps do not fit measurements of shape {self.measured.shape}")
        if not self.variance.shape == self.fresh.shape == self.jump.shape == (n,):
            raise SignalError(f"{n} steps do not fit the variances and breaks given")
        if not np.isfinite(self.measured).all():
            raise SignalError("a measurement is not finite", advice="give it an infinite variance and any number")


@dataclass(frozen=True, slots=True, eq=False)
class Smoothed:
    """State of a chain at each sample, by all samples of its run, for each density asked.

    Attributes
    ----------
    value, rate : (k, n, d) float
        The quantity and its first derivative.
    value_variance, rate_variance : (k, n) float
    log_density : (k, n) float
        Of each measurement, given those before it; 0 where none was used.
    """

    value: FloatArray
    rate: FloatArray
    value_variance: FloatArray
    rate_variance: FloatArray
    log_density: FloatArray


def smooth(series: Series, densities: FloatArray, overlap: int, robust: float = np.inf) -> Smoothed:
    """Return the smoothed states for each spectral density (k,) of the driving noise.

    `overlap` is the number of samples a lane has in common with its neighbours on each side, several times the
    smoother's memory. A measurement further off than `robust` standard deviations is taken for so much less certain
    that it would be just that far off.
    """
    n, lane = series.step_s.size, max(_LANE, overlap)
    if n <= lane + 2 * overlap:  # not worth cutting
        lane, overlap = max(n, 1), 0
    begin = np.arange(0, max(n, 1), lane)
    parts = []
    for some in np.array_split(begin, -(-begin.size * densities.size // _LANES_AT_ONCE)):
        at = some + np.arange(-overlap, lane + overlap)[:, None]
        found = _smooth_lanes(_Lanes.cut(series, at, densities), robust)
        parts.append([_laid_end_to_end(array[overlap : overlap + lane], densities.size) for array in found])
    return Smoothed(*(np.concatenate(arrays, axis=1)[:, :n] for arrays in zip(*parts, strict=True)))


def foretold(series: Series, densities: FloatArray, at: NDArray[np.int64]) -> tuple[FloatArray, FloatArray]:
    """Return how far off each measurement was from what those before it foretold, by the forward pass alone.

    Parameters
    ----------
    at : (m, l) int
        Samples of each of l lanes, read apart from one another.

    Returns
    -------
    square, variance : (k, m, l) float
        Squared distance, summed over directions, and its variance in each direction; infinite where not used.
    """
    passed = _forward(_Lanes.cut(series, at, densities), np.inf)
    shape = (at.shape[0], densities.size, at.shape[1])
    with np.errstate(divide="ignore"):
        both = ((passed.residual**2).sum(axis=1).reshape(shape), (1 / passed.certainty).reshape(shape))
    return both[0].swapaxes(0, 1), both[1].swapaxes(0, 1)


def _laid_end_to_end(array: FloatArray, levels: int) -> FloatArray:
    """Turn (time in lane, [directions,] levels * lanes) into (level, time[, directions])."""
    array = np.moveaxis(array, 0, -1)  # ([directions,] levels * lanes, time)
    array = array.reshape(*array.shape[:-2], levels, -1)
    return np.moveaxis(array, 0, -1) if array.ndim == 3 else array


@dataclass(slots=True, eq=False)
class _Lanes:
    """A series cut into lanes: arrays (time in lane, lanes), levels of density behind one another."""

    step_s: FloatArray
    measured: FloatArray  # (time, directions, lanes)
    variance: FloatArray
    fresh: NDArray[np.bool_]
    jump: FloatArray
    start: FloatArray  # (time, directions, lanes)
    density: FloatArray  # (lanes,)
    start_variance: FloatArray

    @classmethod
    def cut(cls, series: Series, at: NDArray[np.int64], densities: FloatArray) -> _Lanes:
        """Take samples `at` (time in lane, lanes); those before the first and after the last are not used."""
        outside = (at < 0) | (at >= series.step_s.size)
        at = np.clip(at, 0, series.step_s.size - 1)
        fresh = series.fresh[at] & ~outside
        start = np.moveaxis(series.start[at], 2, 1)
        start[0] = np.where(fresh[0], start[0], np.moveaxis(series.measured[at[:1]], 2, 1)[0])
        fresh[0] = True
        times = densities.size

        def repeated(column: FloatArray) -> FloatArray:
            return np.concatenate([column] * times, axis=-1)

        return cls(
            step_s=repeated(np.where(outside, 0.0, series.step_s[at])),
            measured=repeated(np.moveaxis(series.measured[at], 2, 1)),
            variance=repeated(np.where(outside, np.inf, series.variance[at])),
            fresh=np.concatenate([fresh] * times, axis=-1),
            jump=repeated(np.where(outside, 0.0, series.jump[at])),
            start=repeated(start),
            density=np.repeat(densities, at.shape[1]),
            start_variance=series.start_variance,
        )


@dataclass(slots=True, eq=False)
class _Passed:
    """What the forward pass leaves for the backward one: arrays (time, ..., lanes)."""

    value: FloatArray
    rate: FloatArray
    value_row: FloatArray  #: of the covariance after the update, (time, order, lanes)
    rate_row: FloatArray
    gain: FloatArray
    residual: FloatArray
    certainty: FloatArray  #: one over the residual's variance; 0 where the measurement was not used
    log_density: FloatArray


def _forward(lanes: _Lanes, robust: float) -> _Passed:
    steps, directions, count = lanes.measured.shape
    order = lanes.start_variance.size
    x, p = np.zeros((order, directions, count)), np.zeros((order, order, count))
    flat, tall = (steps, directions, count), (steps, order, count)
    out = _Passed(*(np.empty(shape) for shape in (flat, flat, tall, tall, tall, flat, flat[::2], flat[::2])))
    for t in range(steps):
        powers = _powers(lanes.step_s[t], order)
        _advance(x, powers)
        _advance(p, powers)
        _advance(p.swapaxes(0, 1), powers)
        p += lanes.density * _driven(lanes.step_s[t], order)
        p[0, 0] += lanes.jump[t]
        _restart(x, p, lanes, t)
        residual = lanes.measured[t] - x[0]
        spread = p[0, 0] + lanes.variance[t]
        if robust < np.inf:
            spread = np.maximum(spread, (residual**2).mean(axis=0) / robust**2)
        certainty = 1 / spread
        gain = p[:, 0] * certainty
        x += gain[:, None] * residual
        p -= gain[:, None] * p[0]  # numpy takes the product first
        p[1:, 0] = p[0, 1:]  # kept symmetric against rounding
        out.value[t], out.rate[t], out.value_row[t], out.rate_row[t] = x[0], x[1], p[0], p[1]
        out.gain[t], out.residual[t], out.certainty[t] = gain, residual, certainty
    used = out.certainty > 0
    out.log_density[:] = -0.5 * (out.residual**2).sum(axis=1) * out.certainty
    out.log_density += 0.5 * directions * np.log(np.where(used, out.certainty, 1) / (2 * np.pi)) * used
    return out


def _restart(x: FloatArray, p: FloatArray, lanes: _Lanes, t: int) -> None:
    fresh = lanes.fresh[t]
    if fresh.any():
        x[:, :, fresh] = 0
        x[0][:, fresh] = lanes.start[t][:, fresh]
        p[:, :, fresh] = np.diag(lanes.start_variance)[:, :, None]


def _powers(step_s: FloatArray, order: int) -> list[FloatArray]:
    """Return step^k / k!, by which the k-th derivative adds to the quantity over a step."""
    return [step_s**k / factorial(k) for k in range(order)]


def _advance(rows: FloatArray, powers: list[FloatArray]) -> None:
    """Multiply by the transition matrix of a step, in place: each row gains from those of higher derivatives."""
    order = len(rows)
    for i in range(order):
        for j in range(i + 1, order):
            rows[i] += powers[j - i] * rows[j]


def _retreat(rows: FloatArray, powers: list[FloatArray]) -> None:
    """Multiply by the transposed transition matrix, in place."""
    for j in reversed(range(len(rows))):
        for i in range(j):
            rows[j] += powers[j - i] * rows[i]


def _driven(step_s: FloatArray, order: int) -> FloatArray:
    """Return the covariance (order, order, lanes) that unit white noise on the highest derivative gives in a step."""
    out = np.empty((order, order, step_s.size))
    for i in range(order):
        for j in range(i, order):
            power = 2 * order - 1 - i - j
            scale = power * factorial(order - 1 - i) * factorial(order - 1 - j)
            out[i, j] = out[j, i] = step_s**power / scale
    return out


def _smooth_lanes(lanes: _Lanes, robust: float) -> tuple[FloatArray, ...]:
    """Return value, rate, their variances and the log-densities of lanes, as (time, ..., lanes)."""
    passed = _forward(lanes, robust)
    steps, order, count = passed.gain.shape
    score, information = np.zeros((order, lanes.measured.shape[1], count)), np.zeros((order, order, count))
    value_variance, rate_variance = passed.value_row[:, 0].copy(), passed.rate_row[:, 1].copy()
    for t in reversed(range(steps)):
        for row, mean, variance in (
            (passed.value_row[t], passed.value[t], value_variance[t]),
            (passed.rate_row[t], passed.rate[t], rate_variance[t]),
        ):
            mean += (row[:, None] * score).sum(axis=0)
            variance -= (row * (row[:, None] * information).sum(axis=0)).sum(axis=0)
        gain, certainty = passed.gain[t], passed.certainty[t]
        score[0] += passed.residual[t] * certainty - (gain[:, None] * score).sum(axis=0)
        weighed = (information * gain).sum(axis=1)
        information[0] -= weighed
        information[:, 0] -= weighed
        information[0, 0] += (gain * weighed).sum(axis=0) + certainty
        fresh = lanes.fresh[t]
        if fresh.any():
            score[:, :, fresh] = 0
            information[:, :, fresh] = 0
        powers = _powers(lanes.step_s[t], order)
        _retreat(score, powers)
        _retreat(information, powers)
        _retreat(information.swapaxes(0, 1), powers)
    return passed.value, passed.rate, value_variance, rate_variance, passed.log_density
