"""Where paths first reach a speed or have covered a distance, and where they are at a moment."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from traceanalyze.estimate.paths import Paths
from traceanalyze.trace import FloatArray

#: A crossing is found when the value is this near to the level [m/s or m], or after this many turns.
_CLOSE: Final = 1e-6
_TURNS: Final = 40


class Passage(NamedTuple):
    """When each path passes something, how far it has come and how it accelerates there; NaN where it never does.

    All are (..., k) or (..., k, levels).
    """

    time_s: FloatArray
    distance_m: FloatArray
    accel_mps2: FloatArray

    def of(self, launch: int) -> Passage:
        """Return that of one of several launches."""
        return Passage(self.time_s[launch], self.distance_m[launch], self.accel_mps2[launch])


def at_speed(paths: Paths, level_mps: float) -> Passage:
    """Return where each path first reaches a speed above zero."""
    over = paths.speed_mps >= level_mps
    column = np.where(over.any(axis=-1), np.argmax(over, axis=-1), over.shape[-1])
    return _first(_passage_at_speed(paths, column[..., None], np.array([level_mps])))


def at_speeds(paths: Paths, levels_mps: FloatArray) -> Passage:
    """Return where each path first reaches each of some rising speeds above zero."""
    size = levels_mps.size + 1
    highest = np.maximum.accumulate(paths.speed_mps, axis=-1).reshape(-1, paths.speed_mps.shape[-1])
    reached = np.searchsorted(levels_mps, highest, side="right")  # how many of the levels
    reached += size * np.arange(highest.shape[0])[:, None]
    count = np.bincount(reached.ravel(), minlength=size * highest.shape[0]).reshape(-1, size)
    column = np.cumsum(count[:, :-1], axis=1).reshape(*paths.onset_s.shape, levels_mps.size)
    return _passage_at_speed(paths, column, levels_mps)


def at_distance(paths: Paths, length_m: float) -> Passage:
    """Return where each path has covered a length above zero since its onset."""
    column = np.sum(paths.distance_m < length_m, axis=-1)[..., None]  # a distance never falls
    step = _step_at(paths, column)
    part = step.way.part_at(np.array([length_m]))
    return _first(Passage(step.moment_s(part), np.where(step.there, length_m, np.nan), step.accel_at(part)))


def _first(passage: Passage) -> Passage:
    """The passage of the first level."""
    return Passage(passage.time_s[..., 0], passage.distance_m[..., 0], passage.accel_mps2[..., 0])


def _passage_at_speed(paths: Paths, column: NDArray[np.intp], levels: FloatArray) -> Passage:
    """Passages through levels in the steps that end at some columns."""
    step = _step_at(paths, column)
    part = step.speed.part_at(levels)
    distance = np.where(step.there, step.way.at(part), np.nan)
    return Passage(step.moment_s(part), distance, step.accel_at(part))


class _Rise(NamedTuple):
    """A quantity over one step of each path: a polynomial in its part, or (bent) poly[0] + scale part^power."""

    poly: tuple[FloatArray, ...]
    bent: tuple[NDArray[np.intp], ...]
    scale: FloatArray
    power: FloatArray

    def at(self, part: FloatArray) -> FloatArray:
        """Return the value at a part of the step."""
        value = _value(self.poly, part)
        value[self.bent] = self.poly[0][self.bent] + self.scale * part[self.bent] ** self.power
        return value

    def part_at(self, level: FloatArray) -> FloatArray:
        """Return the part at which the value passes a level that lies between both ends."""
        part = _root(self.poly, level)
        share = (np.broadcast_to(level, part.shape)[self.bent] - self.poly[0][self.bent]) / self.scale
        part[self.bent] = np.clip(share, 0.0, 1.0) ** (1 / self.power)
        return part


def _value(poly: tuple[FloatArray, ...], part: FloatArray) -> FloatArray:
    total = poly[-1]
    for coefficient in poly[-2::-1]:
        total = coefficient + part * total
    return total


def _root(poly: tuple[FloatArray, ...], level: FloatArray) -> FloatArray:
    """Where polynomials pass a level between 0 and 1; a level beyond both ends counts as that of the nearer end.

    Two of Newton's steps from the chord are enough for nearly all; the others are looked at one step at a time.
    """
    gain = sum(poly[2:], poly[1])
    chord = np.clip((level - poly[0]) / np.maximum(gain, 1e-12), 0.0, 1.0)
    part = chord
    for _ in range(2):
        part = np.clip(part - (_value(poly, part) - level) / np.maximum(_tilt(poly, part), 1e-12), 0.0, 1.0)
    left = (np.abs(_value(poly, part) - level) > _CLOSE) & (chord > 0) & (chord < 1)
    if left.any():
        wanted = np.broadcast_to(level, part.shape)[left]
        part[left] = _bracketed(tuple(coefficient[left] for coefficient in poly), wanted, chord[left])
    return part


def _tilt(poly: tuple[FloatArray, ...], part: FloatArray) -> FloatArray:
    return _value(tuple(power * coefficient for power, coefficient in enumerate(poly))[1:], part)


def _bracketed(poly: tuple[FloatArray, ...], level: FloatArray, part: FloatArray) -> FloatArray:
    """Newton's steps, halving where one leaves the bracket that the values seen leave."""
    low, high = np.zeros(part.size), np.ones(part.size)
    for _ in range(_TURNS):
        miss = _value(poly, part) - level
        if np.abs(miss).max() < _CLOSE:
            break
        low, high = np.where(miss < 0, part, low), np.where(miss < 0, high, part)
        step = part - miss / np.maximum(_tilt(poly, part), 1e-12)
        part = np.where((step >= low) & (step <= high), step, (low + high) / 2)
    return part


class _Step(NamedTuple):
    """One step of each path: when it starts, how long it is, how speed, distance and acceleration go in it.

    `there` is False where there is no such step; what is said of it then means nothing.
    """

    there: NDArray[np.bool_]
    start_s: FloatArray
    length_s: FloatArray
    speed: _Rise
    way: _Rise
    accel_mps2: tuple[FloatArray, FloatArray]

    def moment_s(self, part: FloatArray) -> FloatArray:
        """Return when a part of the step is over [s]; NaN where there is none."""
        return np.where(self.there, self.start_s + part * self.length_s, np.nan)

    def accel_at(self, part: FloatArray) -> FloatArray:
        """Return the acceleration at a part of the step, linear between its ends; NaN where there is none."""
        low, high = self.accel_mps2
        return np.where(self.there, low + part * (high - low), np.nan)


def _step_at(paths: Paths, column: NDArray[np.intp]) -> _Step:
    """The step of each path that ends at a column (..., k, levels): a cubic, or a power law where the onset lies."""
    size = paths.speed_mps.shape[-1]
    there = (column > 0) & (column < size)
    column = np.clip(column, 1, size - 1)
    at = column + size * np.arange(paths.onset_s.size).reshape(*paths.onset_s.shape, 1)
    clock = column + size * np.arange(paths.t_s.size // size).reshape(*paths.t_s.shape[:-1], 1, 1)
    start, stop = np.take(paths.t_s, clock - 1), np.take(paths.t_s, clock)
    onset = paths.onset_s[..., None]
    first = there & (start <= onset) & (onset < stop)
    start = np.where(first, onset, start)
    length = stop - start
    v0, v1 = np.take(paths.speed_mps, at - 1), np.take(paths.speed_mps, at)
    a0, a1 = np.take(paths.accel_mps2, at - 1), np.take(paths.accel_mps2, at)
    d0, d1 = a0 * length, a1 * length
    gain = v1 - v0
    cubic = (v0, d0, 3 * gain - 2 * d0 - d1, d0 + d1 - 2 * gain)
    way = (np.take(paths.distance_m, at - 1), *(length * part / (k + 1) for k, part in enumerate(cubic)))
    bent = np.nonzero(first)
    end = np.maximum(v1[bent], 1e-9)
    power = np.clip(d1[bent] / end, 1.0, 3.0)
    speed = _Rise(cubic, bent, end, power)
    return _Step(there, start, length, speed, _Rise(way, bent, length[bent] * end / (power + 1), power + 1), (a0, a1))
