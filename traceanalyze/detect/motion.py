"""Rest and motion: where a trace stands, where it moves, and over which gaps nobody can tell."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from traceanalyze.settings import (
    BRAKE_MPS2,
    LEAVE_MPS2,
    MOTION_SMOOTHING_S,
    REST_AT_LEAST_S,
    REST_LEVEL_MPS,
    REST_SIGMAS,
    STAND_LEVEL_MPS,
    STAND_SIGMAS,
)
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.signal.timebase import at_rows, breaks
from traceanalyze.trace import FloatArray, Trace

Ranges = NDArray[np.int64]


class Motion(NamedTuple):
    """The samples of a trace that have a speed, cut into pieces, and the stops among them.

    Attributes
    ----------
    row : (m,) int
        Place of each sample in the trace.
    t_s, speed_mps : (m,) float
        Its time [s] and speed [m/s].
    smooth_mps : (m,) float
        Speed averaged over about half a second [m/s]; the speed itself at low rates.
    pieces : (k, 2) int
        Ranges of samples, stop exclusive, within which the vehicle cannot have stopped or started unseen.
    stops : (j, 2) int
        Ranges of samples at rest (creeping included), each within one piece.
    rest_mps : float
        Level below which the vehicle is at rest [m/s].
    """

    row: Ranges
    t_s: FloatArray
    speed_mps: FloatArray
    smooth_mps: FloatArray
    pieces: Ranges
    stops: Ranges
    rest_mps: float

    def piece_of(self, sample: int) -> tuple[int, int]:
        """Return the range of the piece a sample lies in."""
        k = int(np.searchsorted(self.pieces[:, 0], sample, side="right")) - 1
        return int(self.pieces[k, 0]), int(self.pieces[k, 1])


def find_motion(trace: Trace, noise: SpeedNoise) -> Motion:
    """Return where a trace stands and moves; points without a speed are passed over.

    At rest a receiver's speed is the length of a noise vector (Rayleigh's law: 1.25 sigma in the mean, above 2.5
    sigma one time in twenty), so the levels rise with the noise of this very log.
    """
    row = np.flatnonzero(np.isfinite(trace.speed_mps))
    t_s, speed_mps, stretch = at_rows(row, trace.t_s, np.abs(trace.speed_mps), trace.stretch)
    pieces = _pieces(t_s, speed_mps, stretch)
    smooth_mps = _smoothed(speed_mps, pieces, noise.period_s)
    rest_mps = max(REST_LEVEL_MPS, REST_SIGMAS * noise.rest_sigma_mps)
    stand_mps = max(STAND_LEVEL_MPS, STAND_SIGMAS * noise.rest_sigma_mps)
    stops = _stops(t_s, smooth_mps, pieces, rest_mps, stand_mps)
    return Motion(
        row=row, t_s=t_s, speed_mps=speed_mps, smooth_mps=smooth_mps, pieces=pieces, stops=stops, rest_mps=rest_mps
    )


def _pieces(t_s: FloatArray, speed_mps: FloatArray, stretch: NDArray[Any]) -> Ranges:
    """Cut at new stretches, and at gaps long enough to brake to rest from one side and leave again to the other."""
    if not t_s.size:
        return np.empty((0, 2), np.int64)
    cut = np.flatnonzero(breaks(t_s, stretch))
    enough_s = speed_mps[cut] / BRAKE_MPS2 + speed_mps[cut + 1] / LEAVE_MPS2
    cut = cut[(t_s[cut + 1] - t_s[cut] > enough_s) | (stretch[cut + 1] != stretch[cut])]
    edges = np.concatenate(([0], cut + 1, [t_s.size]))
    return np.column_stack((edges[:-1], edges[1:]))


def _smoothed(speed_mps: FloatArray, pieces: Ranges, period_s: float) -> FloatArray:
    """Centred mean over about `MOTION_SMOOTHING_S`, narrower towards the ends of a piece."""
    half = int(0.5 * MOTION_SMOOTHING_S / period_s) if period_s > 0 else 0
    if not half:
        return speed_mps
    total, mean_mps = np.concatenate(([0.0], np.cumsum(speed_mps))), np.empty(speed_mps.size)
    width = 2 * half + 1
    mean_mps[half : speed_mps.size - half] = (total[width:] - total[:-width]) / width
    start, stop = pieces.T
    for near in range(half):  # the first and the last samples of pieces
        for at in (start + near, stop - 1 - near):
            inside = at[(start <= at - near) & (at + near < stop)]
            mean_mps[inside] = (total[inside + near + 1] - total[inside - near]) / (2 * near + 1)
    return mean_mps


def _stops(t_s: FloatArray, smooth_mps: FloatArray, pieces: Ranges, rest_mps: float, stand_mps: float) -> Ranges:
    """Ranges that stay below the standing level, touch rest, and last; with hysteresis, so that noise cuts none."""
    runs = ranges_of(smooth_mps <= stand_mps, pieces)
    if not runs.size:
        return runs
    lowest = np.minimum.reduceat(smooth_mps, runs.ravel()[: -1 if runs[-1, 1] == smooth_mps.size else None])[::2]
    return runs[(lowest <= rest_mps) & (_lasting_s(t_s, smooth_mps, runs, pieces, stand_mps) >= REST_AT_LEAST_S)]


def _lasting_s(t_s: FloatArray, smooth_mps: FloatArray, runs: Ranges, pieces: Ranges, level_mps: float) -> FloatArray:
    """Time each range stays below a level [s], its ends interpolated where the neighbours are of the same piece."""
    first, last = runs[:, 0], runs[:, 1] - 1
    lasting = t_s[last] - t_s[first]
    for inner, outer in ((first, first - 1), (last, last + 1)):
        outer = np.clip(outer, 0, t_s.size - 1)
        joined = (piece_number(pieces, inner) == piece_number(pieces, outer)) & (outer != inner)
        rise = np.maximum(np.abs(smooth_mps[outer] - smooth_mps[inner]), 1e-12)
        part = np.clip((level_mps - smooth_mps[inner]) / rise, 0, 1)
        lasting += np.where(joined, part * np.abs(t_s[outer] - t_s[inner]), 0.0)
    return lasting


def piece_number(pieces: Ranges, sample: Ranges) -> Ranges:
    """Return the number of the piece each sample lies in."""
    return np.searchsorted(pieces[:, 0], sample, side="right") - 1


def ranges_of(mask: NDArray[np.bool_], pieces: Ranges) -> Ranges:
    """Return the ranges (k, 2), stop exclusive, over which a mask holds, cut at the ends of pieces."""
    if not mask.any():
        return np.empty((0, 2), np.int64)
    begins = np.zeros(mask.size, bool)
    begins[pieces[:, 0]] = True
    ends = np.zeros(mask.size, bool)
    ends[pieces[:, 1] - 1] = True
    before, after = np.concatenate(([False], mask[:-1])), np.concatenate((mask[1:], [False]))
    start = np.flatnonzero(mask & (begins | ~before))
    stop = np.flatnonzero(mask & (ends | ~after)) + 1
    return np.column_stack((start, stop))
