"""Speed along a path as a chain of cubic pieces: every question about it has an exact answer.

Each piece is the cubic through the speeds and accelerations at both its ends (Hermite); distance is its exact
integral. The accelerations of neighbouring pieces may differ, so a push can begin with a step. A ride made of such
pieces *is* the truth: nothing about it has to be estimated.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from traceanalyze.errors import SignalError
from traceanalyze.trace import FloatArray

#: A bracket is cut into so many parts, so many times: 2^-48 of a piece of 10 s is below the rounding of its time.
_PARTS, _ROUNDS = 64, 8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Motion:
    """A chain of n pieces.

    Attributes
    ----------
    t_s : (n+1,) float
        Ends of the pieces [s], strictly increasing.
    speed_mps : (n+1,) float
        Speed along the path at those times [m/s]; below zero when rolling backwards.
    start_mps2, end_mps2 : (n,) float
        Acceleration at both ends of each piece [m/s^2].
    distance_m : (n+1,) float
        Path coordinate [m], 0 at the first time.
    """

    t_s: FloatArray
    speed_mps: FloatArray
    start_mps2: FloatArray
    end_mps2: FloatArray
    distance_m: FloatArray = field(init=False)

    def __post_init__(self) -> None:
        h = np.diff(self.t_s)
        if not (h > 0).all():
            raise SignalError("the pieces of a motion do not follow one another in time")
        mean = (self.speed_mps[:-1] + self.speed_mps[1:]) / 2 + h * (self.start_mps2 - self.end_mps2) / 12
        object.__setattr__(self, "distance_m", np.concatenate([[0.0], np.cumsum(h * mean)]))

    def speed_at(self, t_s: FloatArray | float) -> FloatArray:
        """Return the speed along the path at given times [m/s]; held at both ends of the ride."""
        _, u, c = self._piece(t_s)
        return np.asarray(c[0] + u * (c[1] + u * (c[2] + u * c[3])))

    def accel_at(self, t_s: FloatArray | float) -> FloatArray:
        """Return the acceleration along the path at given times [m/s^2]."""
        k, u, c = self._piece(t_s)
        h = self.t_s[k + 1] - self.t_s[k]
        return np.asarray((c[1] + u * (2 * c[2] + 3 * u * c[3])) / h)

    def distance_at(self, t_s: FloatArray | float) -> FloatArray:
        """Return the path coordinate at given times [m]."""
        k, u, c = self._piece(t_s)
        h = self.t_s[k + 1] - self.t_s[k]
        rolled = u * (c[0] + u * (c[1] / 2 + u * (c[2] / 3 + u * c[3] / 4)))
        return np.asarray(self.distance_m[k] + h * rolled)

    def _piece(self, t_s: FloatArray | float) -> tuple[FloatArray, FloatArray, tuple[FloatArray, ...]]:
        t = np.clip(np.asarray(t_s, float), self.t_s[0], self.t_s[-1])
        k = np.clip(np.searchsorted(self.t_s, t, side="right") - 1, 0, self.t_s.size - 2)
        h = self.t_s[k + 1] - self.t_s[k]
        v0, v1 = self.speed_mps[k], self.speed_mps[k + 1]
        a0, a1 = h * self.start_mps2[k], h * self.end_mps2[k]
        cubic = (v0, a0, 3 * (v1 - v0) - 2 * a0 - a1, 2 * (v0 - v1) + a0 + a1)
        return k, (t - self.t_s[k]) / h, cubic


def rise_s(motion: Motion, level_mps: float, after_s: float, before_s: float) -> float:
    """Return when the speed first reaches a level within a span of time [s]; NaN when it does not."""
    return _reached(motion, motion.speed_mps, motion.speed_at, level_mps, after_s, before_s)


def arrival_s(motion: Motion, distance_m: float, after_s: float, before_s: float) -> float:
    """Return when the path coordinate first reaches a value within a span of time [s]; NaN when it does not."""
    return _reached(motion, motion.distance_m, motion.distance_at, distance_m, after_s, before_s)


def fall_s(motion: Motion, level_mps: float, after_s: float, before_s: float) -> float:
    """Return when the speed first sinks to a level within a span of time [s]; NaN when it does not."""

    def sunk(t_s: FloatArray | float) -> FloatArray:
        return -motion.speed_at(t_s)

    return _reached(motion, -motion.speed_mps, sunk, -level_mps, after_s, before_s)


def _reached(
    motion: Motion,
    knots: FloatArray,
    at: Callable[[FloatArray | float], FloatArray],
    level: float,
    after_s: float,
    before_s: float,
) -> float:
    """First time within [after_s, before_s] at which `at` is at or above `level`, by sections of the first piece."""
    first = int(np.searchsorted(motion.t_s, after_s, side="right"))
    last = int(np.searchsorted(motion.t_s, before_s, side="right"))
    if float(at(after_s)) >= level:
        return after_s
    above = np.flatnonzero(knots[first:last] >= level)
    if above.size:
        high_k = first + int(above[0])
        low, high = max(after_s, float(motion.t_s[high_k - 1])), float(motion.t_s[high_k])
    elif float(at(before_s)) >= level:
        low, high = max(after_s, float(motion.t_s[last - 1])), before_s
    else:
        return float("nan")
    for _ in range(_ROUNDS):
        tried = np.linspace(low, high, _PARTS + 1)
        there = at(tried[1:]) >= level
        if not there.any():  # the knot itself has the level, the cubic falls short of it by rounding
            break
        k = int(np.argmax(there)) + 1
        low, high = float(tried[k - 1]), float(tried[k])
    return high


def best_mean(motion: Motion, window_s: float, after_s: float, before_s: float) -> tuple[float, float]:
    """Return the highest mean speed over any window of a duration within a span, and where that window begins.

    Returns
    -------
    (mean_mps, start_s) : (float, float)
        NaN both when the span is shorter than the window.

    Notes
    -----
    The mean is stationary where the speeds at both ends of the window are equal, so an error of the found
    start of 1e-4 s changes the mean by about 1e-9 m/s.
    """
    if before_s - after_s < window_s:
        return float("nan"), float("nan")
    low, high = after_s, before_s - window_s
    for _ in range(3):  # each round narrows the place of the maximum 200-fold
        starts = np.linspace(low, high, 401)
        means = (motion.distance_at(starts + window_s) - motion.distance_at(starts)) / window_s
        k = int(np.argmax(means))
        low, high = float(starts[max(k - 1, 0)]), float(starts[min(k + 1, 400)])
    return float(means[k]), float(starts[k])
