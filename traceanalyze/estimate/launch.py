"""One standing start: its times under every start rule, its curve, and what to doubt about them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Final, Protocol

import numpy as np

from traceanalyze.errors import SignalError
from traceanalyze.estimate.doubts import (
    crossing_remarks,
    gap_at,
    log_remarks,
    not_reached,
    start_remarks,
)
from traceanalyze.estimate.fit import fit_start
from traceanalyze.estimate.paths import Paths
from traceanalyze.estimate.readout import (
    ONSET_SHAPE_SD_S,
    curve,
    end_marks_s,
    estimate,
    reached,
    rolling_time,
    standing_times,
    start_marks_s,
)
from traceanalyze.estimate.stops import stopping_time
from traceanalyze.results import Estimate, Launch, TimeResult
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray, Remark, Trace
from traceanalyze.units import Measure

#: Rest before the onset that is handed to the fit [s].
_REST_S: Final = 12.0
#: Periods above this [s] may hide the highest speed between the highest sample and the next.
_SPARSE_S: Final = 0.3
#: ... by this much at most [m/s].
_NEAR_MPS: Final = 2.0
#: A creeping vehicle has no defined start; its times are widened by this standard deviation [s]: errors of 0.3 s
#: are seen with clutches that drag.
_CREEP_SD_S: Final = 0.3


class Span(Protocol):
    """Indices of a launch in its trace: start of the rest before, last sample at rest, highest speed, last of all.

    `corner` is the last sample before the climb proper, later than `onset` when the vehicle crept in between.
    """

    @property
    def first(self) -> int: ...
    @property
    def onset(self) -> int: ...
    @property
    def corner(self) -> int: ...
    @property
    def peak(self) -> int: ...
    @property
    def last(self) -> int: ...
    @property
    def remarks(self) -> tuple[Remark, ...]: ...


def measure_launch(trace: Trace, span: Span, noise: SpeedNoise, measures: tuple[Measure, ...]) -> Launch:
    """Return the launch of a span: onset, times, curve and remarks; `number` is 0 and heading and grade are NaN.

    Parameters
    ----------
    trace : Trace
        Glitches already NaN.
    span : LaunchSpan
        Where in the trace.
    noise : SpeedNoise
        Of the receiver.
    measures : tuple of Measure
        What to time; a measure not reached is absent and a remark says so.

    Raises
    ------
    SignalError
        If the span holds no climb from rest.
    """
    t_s, speed_mps = _climb(trace, span, noise, measures)
    if t_s.size < 4:
        raise SignalError("fewer than four samples of the climb have a speed", advice="use a faster logger")
    zero_s = float(t_s[0])
    t_s = t_s - zero_s
    paths = fit_start(t_s, speed_mps, noise)
    marks = start_marks_s(paths)
    onset = estimate(paths.onset_s, ONSET_SHAPE_SD_S)
    remarks = _by_code(span.remarks + log_remarks(noise) + start_remarks(t_s, speed_mps, onset, noise))
    hole = gap_at(t_s, (onset.value, float(np.nanmean(marks["rollout"]))), noise)
    if hole is not None:
        remarks += (hole,)
        marks = {}
    times: list[TimeResult] = []
    for measure in measures:
        found, said = _one(trace, span, noise, measure, paths, marks, t_s)
        times.extend(found)
        remarks += said
    if any(remark.code == "creep" for remark in remarks):
        crept_s = float(trace.t_s[span.corner] - trace.t_s[span.onset])
        times = [_widened(time, crept_s) for time in times]
    return Launch(
        number=0,
        start=replace(onset, value=onset.value + zero_s, low95=onset.low95 + zero_s, high95=onset.high95 + zero_s),
        end_s=float(trace.t_s[span.peak]),
        start_utc_s=float(trace.utc0_s[trace.stretch[span.onset]] + onset.value + zero_s),
        peak_speed_mps=float(paths.speed_mps.mean(axis=0).max()),
        times=tuple(times),
        curve=curve(paths, marks["rollout"]) if marks else None,
        remarks=tuple(dict.fromkeys(remarks)),
    )


def _by_code(remarks: tuple[Remark, ...]) -> tuple[Remark, ...]:
    """The first remark of each code."""
    first: dict[str, Remark] = {}
    for remark in remarks:
        first.setdefault(remark.code, remark)
    return tuple(first.values())


def _climb(trace: Trace, span: Span, noise: SpeedNoise, measures: tuple[Measure, ...]) -> tuple[FloatArray, FloatArray]:
    """Samples with a speed from the rest before the onset to the highest, and the next if a target may lie between."""
    first = max(span.first, int(np.searchsorted(trace.t_s, trace.t_s[span.onset] - _REST_S)))
    beyond = [measure.to_mps - abs(float(trace.speed_mps[span.peak])) for measure in measures]
    near = noise.period_s > _SPARSE_S and any(-4 * noise.sigma_mps < rest < _NEAR_MPS for rest in beyond)
    stop = span.peak + (2 if near and span.peak < span.last else 1)
    t_s, speed_mps = trace.t_s[first:stop], np.abs(trace.speed_mps[first:stop])
    has = np.isfinite(speed_mps)
    return t_s[has], speed_mps[has]


def _one(
    trace: Trace,
    span: Span,
    noise: SpeedNoise,
    measure: Measure,
    paths: Paths,
    marks: Mapping[str, FloatArray],
    t_s: FloatArray,
) -> tuple[tuple[TimeResult, ...], tuple[Remark, ...]]:
    """Results of one measure and what is to be said about them."""
    if measure.kind == "top speed":
        return (), ()
    if measure.kind == "stopping":
        stop = stopping_time(trace, span, noise, measure)
        return ((stop,), ()) if stop else ((), (not_reached(measure),))
    end_s = end_marks_s(paths, measure)
    if not reached(end_s):
        return (), (not_reached(measure),)
    said = crossing_remarks(paths, end_s, measure, t_s, noise)
    if measure.kind == "rolling":
        rolling = rolling_time(paths, measure)
        return ((rolling,), said) if rolling else ((), (not_reached(measure),))
    if not marks:
        return (), ()
    return standing_times(paths, marks, end_s, measure), said


def _widened(time: TimeResult, crept_s: float) -> TimeResult:
    """The time with room for a start anywhere in the creep before the climb."""
    if time.start_rule is None:
        return time
    old = time.elapsed
    return replace(
        time,
        elapsed=Estimate(
            old.value,
            math.hypot(old.stderr, _CREEP_SD_S, crept_s / 2),
            old.low95 - 2 * _CREEP_SD_S,
            old.high95 + 2 * _CREEP_SD_S + crept_s,
        ),
    )
