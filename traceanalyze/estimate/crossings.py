"""Moments read off paths: first reaching a speed, having covered a distance; and where a path is at a moment."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from traceanalyze.estimate.paths import Paths
from traceanalyze.trace import FloatArray


def first_time_s(paths: Paths, level_mps: float) -> FloatArray:
    """Return when each path first reaches a speed [s]; NaN where it never does. (k,)"""
    over = paths.speed_mps >= level_mps
    column = np.where(over.any(axis=1), np.argmax(over, axis=1), paths.t_s.size)[:, None]
    return _times_in(paths, paths.speed_mps, column, np.array([level_mps]))[:, 0]


def first_times_s(paths: Paths, levels_mps: FloatArray) -> FloatArray:
    """Return when each path first reaches each of some rising speeds above zero [s]; NaN where never. (k, levels)"""
    highest = np.maximum.accumulate(paths.speed_mps, axis=1)
    column = np.stack([np.searchsorted(row, levels_mps) for row in highest])
    return _times_in(paths, paths.speed_mps, column, levels_mps)


def time_at_distance_s(paths: Paths, length_m: float) -> FloatArray:
    """Return when each path has covered a length since its onset [s]; NaN where it never does. (k,)"""
    column = np.sum(paths.distance_m < length_m, axis=1)[:, None]  # a distance never falls
    return _times_in(paths, paths.distance_m, column, np.array([length_m]))[:, 0]


def distance_at_m(paths: Paths, t_s: FloatArray) -> FloatArray:
    """Return how far each path has come at its own moment, (k,) or (k, levels); 0 before the onset, NaN for NaN."""
    wanted = t_s.reshape(t_s.shape[0], -1)
    column = np.clip(np.searchsorted(paths.t_s, wanted), 1, paths.t_s.size - 1)
    piece = _pieces(paths, column)
    part = np.clip((wanted - piece.start_s) / piece.step_s, 0.0, 1.0)
    value = np.where(np.isfinite(wanted), piece.distance_m(part), np.nan)
    return value.reshape(t_s.shape)


def accel_at_mps2(paths: Paths, t_s: FloatArray) -> FloatArray:
    """Return the acceleration of each path at its own moments [m/s^2], linear between; NaN for NaN. (k, levels)"""
    column = np.clip(np.searchsorted(paths.t_s, t_s), 1, paths.t_s.size - 1)
    rows = np.arange(t_s.shape[0])[:, None]
    start = np.maximum(paths.t_s[column - 1], paths.onset_s[:, None])
    part = np.clip((t_s - start) / np.maximum(paths.t_s[column] - start, 1e-9), 0.0, 1.0)
    low, high = paths.accel_mps2[rows, column - 1], paths.accel_mps2[rows, column]
    return np.asarray(low + part * (high - low))


class _Piece:
    """The cubic (or, in the step with the onset, the power law) of each path in one step; part runs from 0 to 1."""

    def __init__(
        self, start_s: FloatArray, step_s: FloatArray, v: tuple[FloatArray, FloatArray],
        a: tuple[FloatArray, FloatArray], x: FloatArray, power: FloatArray,
    ) -> None:  # fmt: skip
        self.start_s, self.step_s, self.x = start_s, step_s, x
        self.v0, self.power, self.v1 = v[0], power, v[1]
        d0, d1 = a[0] * step_s, a[1] * step_s
        rise = v[1] - v[0]
        self.c1, self.c2, self.c3 = d0, 3 * rise - 2 * d0 - d1, d0 + d1 - 2 * rise

    def speed_mps(self, part: FloatArray) -> FloatArray:
        cubic = self.v0 + part * (self.c1 + part * (self.c2 + part * self.c3))
        return np.where(self.power > 0, self.v1 * part ** np.maximum(self.power, 1), cubic)

    def distance_m(self, part: FloatArray) -> FloatArray:
        cubic = part * (self.v0 + part * (self.c1 / 2 + part * (self.c2 / 3 + part * self.c3 / 4)))
        power = self.v1 * part ** (np.maximum(self.power, 1) + 1) / (np.maximum(self.power, 1) + 1)
        return self.x + self.step_s * np.where(self.power > 0, power, cubic)


def _pieces(paths: Paths, column: NDArray[np.intp]) -> _Piece:
    """The step of each path that ends at a column."""
    rows = np.arange(paths.onset_s.size)[:, None]
    onset = paths.onset_s[:, None]
    start, stop = paths.t_s[column - 1], paths.t_s[column]
    first = (start <= onset) & (onset < stop)
    start = np.where(first, onset, start)
    v = (paths.speed_mps[rows, column - 1], paths.speed_mps[rows, column])
    a = (paths.accel_mps2[rows, column - 1], paths.accel_mps2[rows, column])
    bend = np.clip((stop - start) * a[1] / np.maximum(v[1], 1e-9), 1.0, 3.0)
    return _Piece(start, stop - start, v, a, paths.distance_m[rows, column - 1], np.where(first, bend, 0.0))


def _times_in(paths: Paths, values: FloatArray, column: NDArray[np.intp], levels: FloatArray) -> FloatArray:
    """Time within the step that ends at `column` at which the value passes the level, by guarded secants."""
    reached = (column < paths.t_s.size) & (column > 0)
    piece = _pieces(paths, np.clip(column, 1, paths.t_s.size - 1))
    value_at = piece.speed_mps if values is paths.speed_mps else piece.distance_m
    low, high = np.zeros(column.shape), np.ones(column.shape)
    f_low, f_high = value_at(low) - levels, value_at(high) - levels
    for turn in range(12):
        slope = f_high - f_low
        part = low - f_low * (high - low) / np.where(slope > 0, slope, 1.0)
        part = np.clip(part, low, high) if turn % 3 < 2 else (low + high) / 2
        f = value_at(part) - levels
        below = f < 0
        low, f_low = np.where(below, part, low), np.where(below, f, f_low)
        high, f_high = np.where(below, high, part), np.where(below, f_high, f)
    slope = f_high - f_low
    part = np.where(slope > 0, low - f_low * (high - low) / np.where(slope > 0, slope, 1.0), low)
    return np.where(reached, piece.start_s + part * piece.step_s, np.nan)
