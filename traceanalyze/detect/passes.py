"""Top-speed passes: the stretches of a log in which the vehicle runs near its best."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from traceanalyze.detect.motion import Motion, Ranges, find_motion, ranges_of
from traceanalyze.settings import (
    PASS_AT_LEAST_MPS,
    PASS_DIP_SHARE,
    PASS_PULL_MPS2,
    PASS_TOP_SHARE,
    SUSTAINED_WINDOW_S,
)
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray, Remark, Trace


class PassSpan(NamedTuple):
    """Where one pass lies; all are places in the trace.

    Attributes
    ----------
    first, last : int
        First and last sample of the stretch at speed.
    top : int
        Fastest moment (by the mean over about a second).
    remarks : tuple of Remark
    """

    first: int
    top: int
    last: int
    remarks: tuple[Remark, ...] = ()


def find_passes(trace: Trace, noise: SpeedNoise, motion: Motion | None = None) -> tuple[PassSpan, ...]:
    """Return the top-speed passes of a trace, in order of time.

    A pass tops at `PASS_TOP_SHARE` of the best one-second mean of the file or more, and lies between dips below
    `PASS_DIP_SHARE` of that best; each direction of an out-and-back is a pass of its own, since turning needs slow
    speed. Launches cut short while still pulling hard are none where the file holds faster, levelled passes.
    """
    motion = motion or find_motion(trace, noise)
    if not motion.t_s.size:
        return ()
    mean_mps = second_means_mps(motion, noise.period_s)
    best_mps = float(mean_mps.max())
    if best_mps < PASS_AT_LEAST_MPS:
        return ()
    spans = ranges_of(mean_mps >= PASS_DIP_SHARE * best_mps, motion.pieces)
    tops = np.array([start + int(np.argmax(mean_mps[start:stop])) for start, stop in spans.tolist()])
    fast = mean_mps[tops] >= PASS_TOP_SHARE * best_mps
    spans, tops = spans[fast], tops[fast]
    kept = _not_cut_short(motion, mean_mps, spans, tops)
    return tuple(
        PassSpan(int(motion.row[start]), int(motion.row[top]), int(motion.row[stop - 1]))
        for (start, stop), top in zip(spans[kept].tolist(), tops[kept].tolist(), strict=True)
    )


def _not_cut_short(motion: Motion, mean_mps: FloatArray, spans: Ranges, tops: Ranges) -> NDArray[np.bool_]:
    """Mark the stretches that are no mere launches: those that ran out of pull, or that no such stretch beats."""
    pulls = np.array(
        [_pull_mps2(motion, mean_mps, int(start), int(top)) for start, top in zip(spans[:, 0], tops, strict=True)]
    )
    spent = pulls < PASS_PULL_MPS2
    return np.asarray(spent | (mean_mps[tops] > mean_mps[tops[spent]].max(initial=0.0)))


def _pull_mps2(motion: Motion, mean_mps: FloatArray, start: int, top: int) -> float:
    """Acceleration over the last twentieth of the speed before the top [m/s^2]."""
    below = np.flatnonzero(mean_mps[start : top + 1] < 0.95 * mean_mps[top])
    begin = start + (int(below[-1]) if below.size else 0)
    return float((mean_mps[top] - mean_mps[begin]) / max(motion.t_s[top] - motion.t_s[begin], 1e-9))


def second_means_mps(motion: Motion, period_s: float) -> FloatArray:
    """Mean of the samples within half a window of each [m/s]; 0 where a piece is too short for a whole window."""
    half = max(0, round(0.5 * SUSTAINED_WINDOW_S / period_s - 0.5)) if period_s > 0 else 0
    total = np.concatenate(([0.0], np.cumsum(motion.speed_mps)))
    mean = np.zeros(motion.t_s.size)
    for start, stop in motion.pieces.tolist():
        width = stop - start - 2 * half
        if width > 0:
            sums = total[start + 2 * half + 1 : stop + 1] - total[start : start + width]
            mean[start + half : stop - half] = sums / (2 * half + 1)
    return mean
