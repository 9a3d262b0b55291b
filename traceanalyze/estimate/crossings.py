"""Moments read off paths: first reaching a speed, having covered a distance; and where a path is at a moment."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from traceanalyze.estimate.paths import Paths
from traceanalyze.trace import FloatArray

#: A crossing is found when the value is this near to the level [m/s or m], or after this many turns.
_CLOSE: Final = 1e-9
_TURNS: Final = 40


def first_time_s(paths: Paths, level_mps: float) -> FloatArray:
    """Return when each path first reaches a speed [s]; NaN where it never does. (k,)"""
    over = paths.speed_mps >= level_mps
    column = np.where(over.any(axis=1), np.argmax(over, axis=1), paths.t_s.size)[:, None]
    return _times_in(paths, "speed_mps", column, np.array([level_mps]))[:, 0]


def first_times_s(paths: Paths, levels_mps: FloatArray) -> FloatArray:
    """Return when each path first reaches each of some rising speeds above zero [s]; NaN where never. (k, levels)"""
    highest = np.maximum.accumulate(paths.speed_mps, axis=1)
    column = np.stack([np.searchsorted(row, levels_mps) for row in highest])
    return _times_in(paths, "speed_mps", column, levels_mps)


def time_at_distance_s(paths: Paths, length_m: float) -> FloatArray:
    """Return when each path has covered a length since its onset [s]; NaN where it never does. (k,)"""
    column = np.sum(paths.distance_m < length_m, axis=1)[:, None]  # a distance never falls
    return _times_in(paths, "distance_m", column, np.array([length_m]))[:, 0]


def distance_at_m(paths: Paths, t_s: FloatArray) -> FloatArray:
    """Return how far each path has come at its own moment, (k,) or (k, levels); 0 before the onset, NaN for NaN."""
    wanted = t_s.reshape(t_s.shape[0], -1)
    column = np.clip(np.searchsorted(paths.t_s, wanted), 1, paths.t_s.size - 1)
    piece = _pieces(paths, np.arange(wanted.shape[0])[:, None], column)
    part = np.clip((wanted - piece.start_s) / piece.step_s, 0.0, 1.0)
    value = np.where(np.isfinite(wanted), piece.distance_m.at(part), np.nan)
    return value.reshape(t_s.shape)


def accel_at_mps2(paths: Paths, t_s: FloatArray) -> FloatArray:
    """Return the acceleration of each path at its own moments [m/s^2], linear between; NaN for NaN. (k, levels)"""
    column = np.clip(np.searchsorted(paths.t_s, t_s), 1, paths.t_s.size - 1)
    rows = np.arange(t_s.shape[0])[:, None]
    start = np.maximum(paths.t_s[column - 1], paths.onset_s[:, None])
    part = np.clip((t_s - start) / np.maximum(paths.t_s[column] - start, 1e-9), 0.0, 1.0)
    low, high = paths.accel_mps2[rows, column - 1], paths.accel_mps2[rows, column]
    return np.asarray(low + part * (high - low))


@dataclass(frozen=True, slots=True, eq=False)
class _Rise:
    """A quantity over one step of each path: a polynomial in its part, or (power > 0) poly[0] + scale part^power."""

    poly: tuple[FloatArray, ...]
    scale: FloatArray
    power: FloatArray

    def at(self, part: FloatArray) -> FloatArray:
        """Return the value at a part of the step."""
        value = np.asarray(_value(self.poly, part))
        bent = self.power > 0
        value[bent] = self.poly[0][bent] + self.scale[bent] * part[bent] ** self.power[bent]
        return value

    def part_at(self, level: FloatArray) -> FloatArray:
        """Return the part at which the value passes a level that lies between both ends."""
        part = _root(self.poly, level)
        bent = self.power > 0
        share = (level[bent] - self.poly[0][bent]) / np.maximum(self.scale[bent], 1e-12)
        part[bent] = np.clip(share, 0.0, 1.0) ** (1 / self.power[bent])
        return part


def _value(poly: tuple[FloatArray, ...], part: FloatArray) -> FloatArray:
    total = poly[-1]
    for coefficient in poly[-2::-1]:
        total = coefficient + part * total
    return total


def _root(poly: tuple[FloatArray, ...], level: FloatArray) -> FloatArray:
    """Where rising polynomials pass a level between 0 and 1: Newton's steps, halving where one leaves its bracket."""
    low, high = np.zeros(level.shape), np.ones(level.shape)
    tilt = tuple(power * coefficient for power, coefficient in enumerate(poly))[1:]
    part = np.clip((level - poly[0]) / np.maximum(_value(poly, high) - poly[0], 1e-12), 0.0, 1.0)
    for _ in range(_TURNS):
        miss = _value(poly, part) - level
        if np.abs(miss).max(initial=0.0) < _CLOSE:
            break
        low, high = np.where(miss < 0, part, low), np.where(miss < 0, high, part)
        step = part - miss / np.maximum(_value(tilt, part), 1e-12)
        part = np.where((step >= low) & (step <= high), step, (low + high) / 2)
    return part


@dataclass(frozen=True, slots=True, eq=False)
class _Piece:
    """One step of each path: when it starts, how long it is, how speed and distance rise in it."""

    start_s: FloatArray
    step_s: FloatArray
    speed_mps: _Rise
    distance_m: _Rise


def _pieces(paths: Paths, rows: NDArray[np.intp], column: NDArray[np.intp]) -> _Piece:
    """The step that ends at a column of some paths: a cubic, or the power law of the step with the onset."""
    onset = paths.onset_s[rows]
    start, stop = paths.t_s[column - 1], paths.t_s[column]
    first = (start <= onset) & (onset < stop)
    start = np.where(first, onset, start)
    step = stop - start
    v0, v1 = paths.speed_mps[rows, column - 1], paths.speed_mps[rows, column]
    d0, d1 = paths.accel_mps2[rows, column - 1] * step, paths.accel_mps2[rows, column] * step
    power = np.where(first, np.clip(d1 / np.maximum(v1, 1e-9), 1.0, 3.0), 0.0)
    cubic = (v0, d0, 3 * (v1 - v0) - 2 * d0 - d1, d0 + d1 - 2 * (v1 - v0))
    way = (paths.distance_m[rows, column - 1], *(step * part / (k + 1) for k, part in enumerate(cubic)))
    return _Piece(start, step, _Rise(cubic, v1, power), _Rise(way, step * v1 / (power + 1), power + first))


def _times_in(
    paths: Paths, name: Literal["speed_mps", "distance_m"], column: NDArray[np.intp], levels: FloatArray
) -> FloatArray:
    """Time within the step that ends at `column` at which a quantity passes its level; NaN where there is no step."""
    rows, at = np.nonzero((column < paths.t_s.size) & (column > 0))
    piece = _pieces(paths, rows, column[rows, at])
    rise: _Rise = getattr(piece, name)
    out = np.full(column.shape, np.nan)
    out[rows, at] = piece.start_s + rise.part_at(levels[at]) * piece.step_s
    return out
