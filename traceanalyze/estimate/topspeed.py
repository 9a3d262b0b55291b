"""One top-speed pass: its sustained speed, whether it levelled off, how long it held, where it would have ended."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final, Protocol

import numpy as np

from traceanalyze.errors import SignalError
from traceanalyze.estimate.limit import limit_near, limiting_speed
from traceanalyze.estimate.path import grade_pct, heading_deg
from traceanalyze.estimate.summit import Summit, find_summit
from traceanalyze.results import Estimate, Pass
from traceanalyze.settings import (
    APPROACH_S,
    APPROACH_SHARE,
    HELD_SHARE,
    LEVEL_MPS2,
    LEVEL_SURE_MPS2,
    MEASURED_BASE_M,
    PASS_AT_LEAST_MPS,
    SUMMIT_AFTER_S,
    SUMMIT_BEFORE_S,
    SUMMIT_SLOPE_S,
    SUSTAINED_WIDENING,
)
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.signal.timebase import breaks
from traceanalyze.trace import FloatArray, Remark, Trace
from traceanalyze.units import Window

#: Slower than this no length of road is timed [m/s].
_CRAWL_MPS: Final = 0.1
#: Samples to either side of a top that tell its surroundings.
_NEAR: Final = 6


class Span(Protocol):
    """Places of a pass in its trace: first and last sample at speed, and the fastest."""

    @property
    def first(self) -> int: ...
    @property
    def top(self) -> int: ...
    @property
    def last(self) -> int: ...
    @property
    def remarks(self) -> tuple[Remark, ...]: ...


@dataclass(frozen=True, slots=True, eq=False)
class _Run:
    """Samples around a pass between two gaps."""

    t_s: FloatArray
    speed_mps: FloatArray


def measure_pass(trace: Trace, span: Span, noise: SpeedNoise, window: Window) -> Pass:
    """Return the pass of a span; `number` is 0.

    The sustained speed is the highest mean over any window of the length asked for, of the mean path through the
    samples rather than of the samples, so that noise is not picked for being high; see `summit` for the model.

    Parameters
    ----------
    trace : Trace
        Glitches already NaN.
    window : Window
        A duration, or a length of road; then the duration follows from the speed.

    Raises
    ------
    SignalError
        If no run of samples between two gaps is as long as the window.
    """
    run, guess_s, rough_mps = _run(trace, span, window)
    summit = _summit(run, noise, guess_s, _duration_s(window, rough_mps))
    sustained, begin_s, lasting_s = _sustained(summit, window, rough_mps)
    gain = _gain(summit)
    levelled = levelled_off(gain)
    length_m = window.length_m if window.length_m == window.length_m else sustained.value * lasting_s
    return Pass(
        number=0,
        start_s=float(trace.t_s[span.first]),
        end_s=float(trace.t_s[span.last]),
        heading_deg=heading_deg(trace, span.first, span.last),
        grade_pct=grade_pct(trace, span.first, span.last),
        window_s=lasting_s,
        window_m=length_m,
        window_start_s=begin_s,
        sustained=sustained,
        peak_mps=max(float(summit.mean_mps.max()), sustained.value),
        held_s=_held_s(run, summit, sustained.value),
        levelled_off=levelled,
        projected=_projected(run, noise, sustained, gain, _middle(*summit.close_s())),
        remarks=span.remarks + _remarks(levelled, gain, length_m),
    )


def _run(trace: Trace, span: Span, window: Window) -> tuple[_Run, float, float]:
    """Return the run of samples that holds the fastest window, the middle of that window [s] and its mean [m/s]."""
    begin_s, end_s = float(trace.t_s[span.first]), float(trace.t_s[span.last])
    longest_s = window.duration_s if window.duration_s == window.duration_s else window.length_m / PASS_AT_LEAST_MPS
    first = int(np.searchsorted(trace.t_s, begin_s - SUMMIT_BEFORE_S - 2 * longest_s))
    last = int(np.searchsorted(trace.t_s, end_s + SUMMIT_AFTER_S + 2 * longest_s))
    rows = first + np.flatnonzero(np.isfinite(trace.speed_mps[first:last]))
    cuts = np.flatnonzero(breaks(trace.t_s[rows], trace.stretch[rows])) + 1
    best: tuple[_Run, float, float] | None = None
    for part in np.split(rows, cuts):
        run = _Run(trace.t_s[part], np.abs(trace.speed_mps[part]))
        found = _rough_top(run, window, begin_s, end_s) if part.size >= 4 else None
        if found and (best is None or found[1] > best[2]):
            best = (run, *found)
    if best is None:
        raise SignalError(f"no {window.label} of this pass is free of gaps", advice="ask for a shorter window")
    return best


def _rough_top(run: _Run, window: Window, begin_s: float, end_s: float) -> tuple[float, float] | None:
    """Middle [s] and mean [m/s] of the fastest window of plain samples that touches the pass; None if none fits."""
    inside = (run.t_s >= begin_s) & (run.t_s <= end_s)
    if not inside.any():
        return None
    mean_mps = float(run.speed_mps[inside].max())
    way_m = np.concatenate(([0.0], np.cumsum(0.5 * (run.speed_mps[1:] + run.speed_mps[:-1]) * np.diff(run.t_s))))
    for _ in range(1 if window.duration_s == window.duration_s else 3):
        lasting_s = _duration_s(window, mean_mps)
        starts = run.t_s[(run.t_s + lasting_s <= run.t_s[-1]) & (run.t_s <= end_s) & (run.t_s + lasting_s >= begin_s)]
        if not starts.size:
            return None
        ways = np.interp(starts + lasting_s, run.t_s, way_m) - np.interp(starts, run.t_s, way_m)
        mean_mps = float(ways.max()) / lasting_s
    return float(starts[np.argmax(ways)]) + 0.5 * lasting_s, mean_mps


def _duration_s(window: Window, speed_mps: float) -> float:
    """How long the window lasts at a speed [s]."""
    return window.duration_s if window.duration_s == window.duration_s else window.length_m / max(speed_mps, _CRAWL_MPS)


def _summit(run: _Run, noise: SpeedNoise, top_s: float, window_s: float) -> Summit:
    """The speed around the top; where a log thins out, samples of that place's own rate count as near."""
    at = int(np.searchsorted(run.t_s, top_s))
    around = np.diff(run.t_s[max(at - _NEAR, 0) : at + _NEAR])
    step_s = max(noise.period_s, _middle(around))
    begin_s = top_s - max(SUMMIT_BEFORE_S, _NEAR * step_s) - 1.5 * window_s
    end_s = top_s + max(SUMMIT_AFTER_S, 0.5 * _NEAR * step_s) + 1.5 * window_s
    near = (run.t_s >= begin_s) & (run.t_s <= end_s)
    near[max(at - _NEAR, 0) : at + _NEAR] = True
    return find_summit(run.t_s[near], run.speed_mps[near], replace(noise, period_s=step_s), top_s, window_s)


def _sustained(summit: Summit, window: Window, rough_mps: float) -> tuple[Estimate, float, float]:
    """Highest mean over a window of the mean path, where that window begins [s], and how long it lasts [s]."""
    value = rough_mps
    for _ in range(1 if window.duration_s == window.duration_s else 3):
        lasting_s = _duration_s(window, value)
        share = window_share(lasting_s, float(summit.t_s[1] - summit.t_s[0]))
        if share.size > summit.t_s.size:
            raise SignalError("the samples around the top do not fill the window", advice="ask for a shorter window")
        means = np.correlate(summit.mean_mps, share, mode="valid")
        at = int(np.argmax(means))
        value = float(means[at])
    estimate = _mixed(*summit.told(summit.t_s[at : at + share.size, None], share[:, None]))
    return estimate, float(summit.t_s[at]), lasting_s


def window_share(window_s: float, step_s: float) -> FloatArray:
    """Return what speeds on an even grid count in the mean over a window that begins at the first of them.

    Exact for paths of straight pieces; the window's end may lie between two moments.
    """
    whole, part = divmod(window_s / step_s, 1.0)
    share = np.ones(int(whole) + 2)
    share[0] = 0.5
    share[-2:] = 0.5 + part - 0.5 * part**2, 0.5 * part**2
    return (share if part > 1e-9 else share[:-1]) * (step_s / window_s)


def _mixed(mean: FloatArray, variance: FloatArray, weight: FloatArray) -> Estimate:
    """Mean and spread of a mixture; all of one shape."""
    weight = weight / weight.sum()
    middle = float((weight * mean).sum())
    spread = float((weight * (variance + (mean - middle) ** 2)).sum())
    return Estimate(middle, SUSTAINED_WIDENING * math.sqrt(max(spread, 0.0)))


def _middle(values: FloatArray, weight: FloatArray | None = None) -> float:
    """Median, weighted; one of the values."""
    order = np.argsort(values)
    share = np.cumsum(np.ones(values.size) if weight is None else weight[order])
    return float(values[order[int(np.searchsorted(share, 0.5 * share[-1]))]])


def _gain(summit: Summit) -> Estimate:
    """Acceleration over the last two seconds before the throttle closes [m/s^2]; NaN when less than one is seen."""
    close_s, weight = summit.close_s()
    back_s = np.maximum(close_s - SUMMIT_SLOPE_S, summit.t_s[0])
    long = close_s - back_s >= 0.5 * SUMMIT_SLOPE_S
    if weight[long].sum() < 0.5:
        return Estimate(math.nan, math.nan)
    apart_s = np.where(long, close_s - back_s, 1.0)
    mean, variance, share = summit.told(np.stack((close_s, back_s)), np.stack((1 / apart_s, -1 / apart_s)))
    return _mixed(mean[:, long], variance[:, long], share[:, long])


def levelled_off(gain: Estimate) -> bool | None:
    """Tell whether an acceleration is compatible with zero: True, False (surely gaining) or None (cannot tell)."""
    if gain.low95 > LEVEL_MPS2:
        return False
    return True if gain.high95 < LEVEL_SURE_MPS2 else None


def _projected(run: _Run, noise: SpeedNoise, top: Estimate, gain: Estimate, close_s: float) -> Estimate:
    """Where acceleration would have reached zero [m/s]: just above a levelled top, else from how the pull fades."""
    if levelled_off(gain):
        return limit_near(top, gain)
    return limiting_speed(*_approach(run, close_s, top.value), noise)


def _approach(run: _Run, close_s: float, top_mps: float) -> tuple[FloatArray, FloatArray]:
    """Samples at open throttle on the way to the top, from `APPROACH_SHARE` of it."""
    slow = run.t_s[(run.t_s < close_s) & (run.speed_mps < APPROACH_SHARE * top_mps)]
    from_s = max(close_s - APPROACH_S, float(slow[-1]) if slow.size else -np.inf)
    near = (run.t_s > from_s) & (run.t_s <= close_s)
    return run.t_s[near], run.speed_mps[near]


def _held_s(run: _Run, summit: Summit, top_mps: float) -> float:
    """How long speed stayed within `HELD_SHARE` of the top without a break around it [s]."""
    calm_mps = _calmed(run)
    inside = (run.t_s >= summit.t_s[0]) & (run.t_s <= summit.t_s[-1])
    mean_mps = summit.mean_mps
    t_s = np.concatenate((run.t_s[~inside], summit.t_s))
    order = np.argsort(t_s)
    t_s, v = t_s[order], np.concatenate((calm_mps[~inside], mean_mps))[order] - (1 - HELD_SHARE) * top_mps
    top = int(np.searchsorted(t_s, summit.t_s[int(np.argmax(mean_mps))]))
    low = np.flatnonzero(v < 0)
    after, before = low[low > top], low[low < top]
    end_s = _crossing_s(t_s, v, int(after[0]) - 1, int(after[0])) if after.size else float(t_s[-1])
    begin_s = _crossing_s(t_s, v, int(before[-1]), int(before[-1]) + 1) if before.size else float(t_s[0])
    return max(end_s - begin_s, 0.0)


def _crossing_s(t_s: FloatArray, v: FloatArray, a: int, b: int) -> float:
    return float(t_s[a] + (t_s[b] - t_s[a]) * v[a] / (v[a] - v[b]))


def _calmed(run: _Run) -> FloatArray:
    """Speed averaged over about two seconds, weights falling to either side [m/s]."""
    half = max(1, round(1.0 / _middle(np.diff(run.t_s))))
    weights = 1.0 - np.abs(np.arange(-half, half + 1)) / (half + 1)
    padded = np.pad(run.speed_mps, half, mode="edge")
    return np.convolve(padded, weights / weights.sum(), mode="valid")


def _remarks(levelled: bool | None, gain: Estimate, length_m: float) -> tuple[Remark, ...]:
    said = []
    if levelled is False:
        text = f"still gaining {gain.value:.2f} m/s every second when the throttle closed: more would have come"
        said.append(Remark("still-accelerating", text))
    if length_m < MEASURED_BASE_M:
        text = f"the window covers {length_m:.0f} m of road; type-approval rules take 100 m or more"
        said.append(Remark("short-window", text))
    return tuple(said)
