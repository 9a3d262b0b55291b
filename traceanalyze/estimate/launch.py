"""Standing starts: their times under every start rule, their curves, and what to doubt about them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final, NamedTuple, Protocol

import numpy as np

from traceanalyze.errors import SignalError
from traceanalyze.estimate.crossings import Passage, at_speed
from traceanalyze.estimate.doubts import (
    crossing_remarks,
    gap_at,
    log_remarks,
    not_reached,
    start_remarks,
)
from traceanalyze.estimate.fit import Climb, batches, climb_of, fit_starts
from traceanalyze.estimate.paths import Paths
from traceanalyze.estimate.readout import (
    ONSET_SHAPE_SD_S,
    curves,
    end_mark,
    estimate,
    reached,
    standing_times,
    start_marks,
    time_between,
)
from traceanalyze.estimate.stops import stopping_time
from traceanalyze.results import Curve, Estimate, Launch, TimeResult
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


class _Run(NamedTuple):
    """Samples of one launch on a clock that starts with the first of them, and the climb they make."""

    span: Span
    zero_s: float
    t_s: FloatArray
    speed_mps: FloatArray
    climb: Climb


class _Reading(NamedTuple):
    """What the paths of one launch say: passages of the start rules and of both ends of each measure, the curve."""

    paths: Paths
    marks: Mapping[str, Passage]
    ends: Mapping[str, tuple[Passage, Passage]]
    curve: Curve | None


def measure_launch(trace: Trace, span: Span, noise: SpeedNoise, measures: tuple[Measure, ...]) -> Launch:
    """Return the launch of one span; see `measure_launches`.

    Raises
    ------
    SignalError
        If the span holds no climb from rest.
    """
    [found] = measure_launches(trace, (span,), noise, measures)
    if isinstance(found, SignalError):
        raise found
    return found


def measure_launches(
    trace: Trace, spans: Sequence[Span], noise: SpeedNoise, measures: tuple[Measure, ...], *, with_curves: bool = True
) -> list[Launch | SignalError]:
    """Return for each span its launch (onset, times, curve, remarks), or why it holds no climb from rest.

    In a launch `number` is 0 and heading and grade are NaN.

    Parameters
    ----------
    trace : Trace
        Glitches already NaN.
    spans : sequence of LaunchSpan
        Where in the trace.
    noise : SpeedNoise
        Of the receiver.
    measures : tuple of Measure
        What to time; a measure not reached is absent and a remark says so.
    with_curves : bool
        Whether the curves of speeds are wanted; they take a fifth of the time.
    """
    found: dict[int, Launch | SignalError] = {}
    runs: dict[int, _Run] = {}
    for place, span in enumerate(spans):
        try:
            runs[place] = _run(trace, span, noise, measures)
        except SignalError as error:
            found[place] = error
    places = list(runs)
    for batch in batches([run.climb for run in runs.values()]):
        together = [runs[places[k]] for k in batch]
        for k, run, reading in zip(batch, together, _readings(together, noise, measures, with_curves), strict=True):
            found[places[k]] = _launch(trace, run, noise, measures, reading)
    return [found[place] for place in range(len(spans))]


def _run(trace: Trace, span: Span, noise: SpeedNoise, measures: tuple[Measure, ...]) -> _Run:
    t_s, speed_mps = _climb(trace, span, noise, measures)
    if t_s.size < 4:
        raise SignalError("fewer than four samples of the climb have a speed", advice="use a faster logger")
    zero_s = float(t_s[0])
    t_s = t_s - zero_s
    return _Run(span, zero_s, t_s, speed_mps, climb_of(t_s, speed_mps, noise))


def _readings(
    runs: Sequence[_Run], noise: SpeedNoise, measures: tuple[Measure, ...], with_curves: bool
) -> list[_Reading]:
    """Fit several launches at once and read all of them off at once."""
    paths = fit_starts([run.climb for run in runs], noise)
    marks = start_marks(paths)
    ends = {
        one.label: (at_speed(paths, one.from_mps) if one.kind == "rolling" else marks["rest"], end_mark(paths, one))
        for one in measures
        if one.kind in ("standing", "distance", "rolling")
    }
    return [
        _Reading(
            paths=paths.of(k),
            marks={rule: mark.of(k) for rule, mark in marks.items()},
            ends={label: (start.of(k), end.of(k)) for label, (start, end) in ends.items()},
            curve=climb,
        )
        for k, climb in enumerate(curves(paths, marks["rollout"]) if with_curves else [None] * len(runs))
    ]


def _launch(trace: Trace, run: _Run, noise: SpeedNoise, measures: tuple[Measure, ...], reading: _Reading) -> Launch:
    span, paths = run.span, reading.paths
    onset = estimate(paths.onset_s, ONSET_SHAPE_SD_S)
    remarks = _by_code(span.remarks + log_remarks(noise) + start_remarks(run.t_s, run.speed_mps, onset, noise))
    rollout = estimate(reading.marks["rollout"].time_s)
    hole = gap_at(run.t_s, (onset.value, rollout.value), noise)
    times: list[TimeResult] = []
    for measure in measures:
        found, said = _one(trace, run, noise, measure, reading, hole is None)
        times.extend(found)
        remarks += said
    if any(remark.code == "creep" for remark in remarks):
        crept_s = float(trace.t_s[span.corner] - trace.t_s[span.onset])
        times = [_widened(time, crept_s) for time in times]
    zero_s = run.zero_s
    return Launch(
        number=0,
        start=replace(onset, value=onset.value + zero_s, low95=onset.low95 + zero_s, high95=onset.high95 + zero_s),
        end_s=float(trace.t_s[span.peak]),
        start_utc_s=float(trace.utc0_s[trace.stretch[span.onset]] + onset.value + zero_s),
        peak_speed_mps=float(paths.speed_mps.mean(axis=0).max()),
        times=tuple(times),
        curve=None if hole else reading.curve,
        remarks=tuple(dict.fromkeys(remarks + ((hole,) if hole else ()))),
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
    trace: Trace, run: _Run, noise: SpeedNoise, measure: Measure, reading: _Reading, start_seen: bool
) -> tuple[tuple[TimeResult, ...], tuple[Remark, ...]]:
    """Results of one measure and what is to be said about them."""
    if measure.kind == "top speed":
        return (), ()
    if measure.kind == "stopping":
        stop = stopping_time(trace, run.span, noise, measure)
        return ((stop,), ()) if stop else ((), (not_reached(measure),))
    start, end = reading.ends[measure.label]
    if not reached(end.time_s - start.time_s):
        return (), (not_reached(measure),)
    said = crossing_remarks(reading.paths, end.time_s, measure, run.t_s, noise)
    if measure.kind == "rolling":
        return (time_between(start, end, measure, None),), said
    if not start_seen:
        return (), said
    return standing_times(reading.marks, end, measure, ONSET_SHAPE_SD_S), said


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
