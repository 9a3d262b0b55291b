"""Coast-downs: stretches in which the vehicle rolls out with closed throttle and without braking."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from traceanalyze.detect.motion import Motion, find_motion, ranges_of
from traceanalyze.settings import (
    COAST_AT_LEAST_S,
    COAST_DECELERATION_MPS2,
    COAST_EASES_SHARE,
    COAST_LOSES_MPS,
    COAST_SLOPE_S,
)
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray, Trace


class CoastSpan(NamedTuple):
    """Where one coast-down lies: places of its first and last sample in the trace."""

    first: int
    last: int


def find_coastdowns(trace: Trace, noise: SpeedNoise) -> tuple[CoastSpan, ...]:
    """Return the coast-downs of a trace, in order of time.

    Speed falls without a break, no faster than rolling resistance and air drag make it fall, and ever more gently
    (road load grows with speed: SAE J1263 fits it by f0 + f2 v^2, from memory). Braking is harder, or does not ease.
    """
    motion = find_motion(trace, noise)
    slope_mps2 = slopes_mps2(motion, noise.period_s)
    least, most = COAST_DECELERATION_MPS2
    falling = (slope_mps2 < -least) & (slope_mps2 > -most) & (motion.smooth_mps > motion.rest_mps)
    return tuple(
        CoastSpan(int(motion.row[start]), int(motion.row[stop - 1]))
        for start, stop in ranges_of(falling, motion.pieces).tolist()
        if _rolls_out(motion, slope_mps2, start, stop)
    )


def slopes_mps2(motion: Motion, period_s: float) -> FloatArray:
    """Return the slope of the smoothed speed over about `COAST_SLOPE_S` around each sample [m/s^2]; NaN at ends."""
    slope = np.full(motion.t_s.size, np.nan)
    half = max(1, round(0.5 * COAST_SLOPE_S / period_s)) if period_s > 0 else 1
    t_s, v = motion.t_s, motion.smooth_mps
    for start, stop in motion.pieces.tolist():
        if stop - start > 2 * half:
            rise = v[start + 2 * half : stop] - v[start : stop - 2 * half]
            slope[start + half : stop - half] = rise / (t_s[start + 2 * half : stop] - t_s[start : stop - 2 * half])
    return slope


def _rolls_out(motion: Motion, slope_mps2: FloatArray, start: int, stop: int) -> bool:
    """Tell whether a fall of speed is long, deep and easing enough to be a coast-down."""
    long = motion.t_s[stop - 1] - motion.t_s[start] >= COAST_AT_LEAST_S
    deep = motion.smooth_mps[start] - motion.smooth_mps[stop - 1] >= COAST_LOSES_MPS
    if not (long and deep):
        return False
    third = max(1, (stop - start) // 3)
    early, late = slope_mps2[start : start + third].mean(), slope_mps2[stop - third : stop].mean()
    return bool(late > early * COAST_EASES_SHARE)
