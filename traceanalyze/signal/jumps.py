"""Positions no vehicle can have had: spikes, positions held while the ride went on, shifts of all that follow."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from traceanalyze.order import distinct, median
from traceanalyze.settings import MAX_SPEED_MPS
from traceanalyze.trace import FloatArray

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]

#: No ground vehicle of this kind changes its speed faster [m/s^2]: tyres on asphalt hold about 1 g. A step beyond it,
#: and beyond so many standard deviations of the positions' noise, is a jump of the receiver.
_LIMIT_MPS2: Final = 10.0
_JUMP_SIGMAS: Final = 12.0
#: Most positions in a row that are left out as a spike; more are taken for a shift of the whole.
_SPIKE_SAMPLES: Final = 4
#: A position repeated after faster motion than this [m/s], and up to a jump, was held by the receiver.
_HELD_ABOVE_MPS: Final = 3.0
#: Steps on each side from whose median a step is foretold.
_NEIGHBOURS: Final = np.array([-3, -2, -1, 1, 2, 3])
#: Times that is looked again at what is left.
_ROUNDS: Final = 4
#: Positions noisier than this [m] are taken to be no noisier: what is left of a log at rest may be its jumps alone.
_NOISIEST_M: Final = 3.0
#: Median absolute third difference of white noise over its standard deviation: 0.67449 sqrt(20).
_THIRD_DIFFERENCE: Final = 3.016411


@dataclass(frozen=True, slots=True, eq=False)
class Screened:
    """A track without its jumps.

    Attributes
    ----------
    plane_m : (n, 2) float
        The positions, later ones moved back by each shift [m].
    left_out : (n,) bool
        Positions not to be used.
    jump_m2 : (n,) float
        Variance [m^2] of what is not known of the shift before a position; 0 where there is none.
    """

    plane_m: FloatArray
    left_out: BoolArray
    jump_m2: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Steps:
    """Impossible steps of a track.

    Attributes
    ----------
    at : (k,) int
        Number of the position before each.
    run : (k,) int
        Run it belongs to.
    excess_m : (k, 2) float
        What it goes beyond the steps around it [m].
    limit_m : (k,) float
        How far it could have gone beyond them [m].
    repeats : (k,) int
        How often the position before it was repeated after motion.
    """

    at: IntArray
    run: IntArray
    excess_m: FloatArray
    limit_m: FloatArray
    repeats: IntArray


def screen(step_s: FloatArray, plane_m: FloatArray, fresh: BoolArray) -> Screened:
    """Return a track [m] of steps [s] without its jumps; `fresh` marks where its runs begin."""
    left_out = np.zeros(step_s.size, bool)
    t, run = np.cumsum(np.where(fresh, 0.0, step_s)), np.cumsum(fresh, dtype=np.int64)
    rows = np.arange(step_s.size)
    steps = _impossible_steps(t, plane_m, run)
    for _ in range(_ROUNDS):
        out = _held_or_spikes(steps)
        if not out.size:
            break
        left_out[rows[out]] = True
        rows = np.flatnonzero(~left_out)
        steps = _impossible_steps(t[rows], plane_m[rows], run[rows])
    shift_m, jump_m2 = np.zeros_like(plane_m), np.zeros(step_s.size)
    after = rows[steps.at + 1]
    shift_m[after], jump_m2[after] = steps.excess_m, steps.limit_m**2
    return Screened(plane_m - np.cumsum(shift_m, axis=0), left_out, jump_m2)


def _impossible_steps(t: FloatArray, plane_m: FloatArray, run: IntArray) -> _Steps:
    joined = np.diff(run) == 0
    step_s = np.where(joined, np.diff(t), np.inf)
    way_m = np.diff(plane_m, axis=0)
    velocity = way_m / step_s[:, None]
    usual_s = median(step_s[joined]) if joined.any() else 1.0
    with np.errstate(invalid="ignore"):
        limit_m = _LIMIT_MPS2 * step_s * np.maximum(step_s, usual_s) + _JUMP_SIGMAS * _noise_m(plane_m, run)
        change_m = np.hypot(*np.diff(velocity, axis=0).T) * np.maximum(step_s[1:], step_s[:-1])
    doubtful = np.flatnonzero(change_m > 0.5 * np.minimum(limit_m[1:], limit_m[:-1]))
    at = distinct(np.concatenate((doubtful, doubtful + 1)))
    at = at[joined[at]]
    excess_m = way_m[at] - _foretold(velocity, run, joined, at) * step_s[at, None]
    far = np.hypot(*excess_m.T) > limit_m[at]
    at = at[far]
    return _Steps(at, run[at], excess_m[far], limit_m[at], _repeats(way_m, velocity, run, at))


def _noise_m(plane_m: FloatArray, run: IntArray) -> float:
    """Noise of one position [m] from third differences, which smooth motion hardly has; where it moves at all."""
    if run.size < 8:
        return 0.0
    moved = (plane_m[3:] != plane_m[:-3]).any(axis=1)
    third = np.abs(np.diff(plane_m, 3, axis=0))[moved & (run[3:] == run[:-3])]
    return min(median(third) / _THIRD_DIFFERENCE, _NOISIEST_M) if third.size else 0.0


def _foretold(velocity: FloatArray, run: IntArray, joined: BoolArray, at: IntArray) -> FloatArray:
    """Median velocity (k, 2) of the steps around each, of its own run; its own where there are fewer than two."""
    if not at.size:
        return np.empty((0, 2))
    index = at[:, None] + _NEIGHBOURS
    inside = (index >= 0) & (index < joined.size)
    index = np.clip(index, 0, joined.size - 1)
    inside &= joined[index] & (run[index] == run[at][:, None])
    few = inside.sum(axis=1) < 2
    near = np.where(inside[..., None], velocity[index], np.nan)
    near[few] = velocity[at[few]][:, None]
    return np.asarray(np.nanmedian(near, axis=1))


def _repeats(way_m: FloatArray, velocity: FloatArray, run: IntArray, at: IntArray) -> IntArray:
    """How often in a row the position before each step was repeated, where the vehicle moved before."""
    moved = (way_m != 0).any(axis=1)
    latest = np.maximum.accumulate(np.where(moved, np.arange(moved.size), -1))
    before = np.where(at > 0, latest[np.maximum(at - 1, 0)], -1)
    speed_mps = np.hypot(*velocity[before].T)
    rode = (before >= 0) & (run[before] == run[at]) & (speed_mps > _HELD_ABOVE_MPS) & (speed_mps < MAX_SPEED_MPS)
    return np.where(rode, at - 1 - before, 0)


def _held_or_spikes(steps: _Steps) -> IntArray:
    """Return the positions to leave out: repeats before a step, and those between two steps that undo each other."""
    out = [np.arange(at - many + 1, at + 1) for at, many in zip(steps.at, steps.repeats, strict=True) if many]
    if out:
        return np.concatenate(out)
    size_m = np.hypot(*steps.excess_m.T)
    undone = np.hypot(*(steps.excess_m[1:] + steps.excess_m[:-1]).T) < 0.5 * np.maximum(size_m[1:], size_m[:-1])
    near = (np.diff(steps.at) <= _SPIKE_SAMPLES) & (np.diff(steps.run) == 0)
    taken = -1
    for k in np.flatnonzero(undone & near).tolist():
        if k > taken:  # a step undoes one other only
            out.append(np.arange(steps.at[k] + 1, steps.at[k + 1] + 1))
            taken = k + 1
    return np.concatenate(out) if out else np.empty(0, np.int64)
