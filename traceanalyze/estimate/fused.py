"""One standing start timed with an accelerometer: together with the receiver, never worse than that alone; or alone."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from traceanalyze.errors import SignalError
from traceanalyze.estimate.crossings import at_speed
from traceanalyze.estimate.doubts import not_reached
from traceanalyze.estimate.inertial import fused_paths, inertial_paths
from traceanalyze.estimate.launch import Span, measure_launch, measure_launches
from traceanalyze.estimate.paths import Paths
from traceanalyze.estimate.readout import (
    curve,
    end_mark,
    estimate,
    reached,
    rolling_time,
    standing_times,
    start_marks,
)
from traceanalyze.results import Estimate, Launch, TimeResult
from traceanalyze.signal.accelerometer import ForwardAcceleration, forward_acceleration
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray, Remark, Trace
from traceanalyze.units import Measure

#: Worst knowledge of the receiver's lag that fusing is tried with [s]: it goes nearly whole into the time.
MOST_LAG_STDERR_S: Final = 0.04
#: Scales beyond these are no sensor's: the mounting or the unit is not understood.
SCALES: Final = (0.85, 1.18)
#: Rest before the onset that is handed on [s].
_REST_S: Final = 6.0
#: How far inside the rest after a ride the speed is surely zero [s].
_INTO_REST_S: Final = 0.4
#: Take-ups have more shapes than the few that are tried: what that adds to the onset [s], from simulated launches.
_ONSET_SHAPE_SD_S: Final = 0.008


def measure_launches_sensed(
    trace: Trace,
    forward: ForwardAcceleration,
    spans: Sequence[Span],
    noise: SpeedNoise,
    measures: tuple[Measure, ...],
) -> list[Launch | SignalError]:
    """Return for each span its launch, timed by the accelerometer, alone or beside a receiver, or why it is not."""
    if trace.speed_source == "accelerometer":
        return [_tried_alone(trace, forward, span, measures) for span in spans]
    received = measure_launches(trace, spans, noise, measures)
    return [
        one if isinstance(one, SignalError) else _sharpened(one, trace, forward, span, noise, measures)
        for one, span in zip(received, spans, strict=True)
    ]


def _tried_alone(
    trace: Trace, forward: ForwardAcceleration, span: Span, measures: tuple[Measure, ...]
) -> Launch | SignalError:
    try:
        return measure_launch_alone(trace, forward, span, measures)
    except SignalError as error:
        return error


def measure_launch_fused(
    trace: Trace, forward: ForwardAcceleration, span: Span, noise: SpeedNoise, measures: tuple[Measure, ...]
) -> Launch:
    """Return the launch of a span, timed with the accelerometer's help where that is sharper.

    Parameters
    ----------
    trace : Trace
        The receiver's, glitches already NaN.
    forward : ForwardAcceleration
        Of the accelerometer on the trace's clock, with the lag of the whole log.
    span : LaunchSpan
        Where in the trace.
    noise : SpeedNoise
        Of the receiver.
    measures : tuple of Measure

    Raises
    ------
    SignalError
        If the span holds no climb from rest.
    """
    return _sharpened(measure_launch(trace, span, noise, measures), trace, forward, span, noise, measures)


def _sharpened(
    alone: Launch,
    trace: Trace,
    forward: ForwardAcceleration,
    span: Span,
    noise: SpeedNoise,
    measures: tuple[Measure, ...],
) -> Launch:
    """The receiver's launch with the accelerometer's times where they are sharper."""
    if doubt := fusing_doubt(forward):
        return _said(alone, Remark("not-fused", f"timed by the receiver alone: {doubt}"))
    try:
        paths = fused_paths(forward, *_samples(trace, span), float(trace.t_s[span.onset]), noise)
    except SignalError as error:
        return _said(alone, Remark("not-fused", f"timed by the receiver alone: {error.reason}"))
    times = _times(paths, measures)
    if not _sharper(alone, times):
        return alone
    return _joined(alone, paths, times, float(trace.utc0_s[trace.stretch[span.onset]]))


def forward_of(trace: Trace, noise: SpeedNoise) -> ForwardAcceleration:
    """Return the forward acceleration of a trace's accelerometer, with the receiver's lag found over the whole log.

    Raises
    ------
    SignalError
        If the trace has no accelerometer, or it tells nothing (too slow, no gravity, too little motion).
    """
    if trace.accelerometer is None:
        raise SignalError("the log has no accelerometer")
    found = trace.accelerometer
    return forward_acceleration(found.t_s, found.force_mps2, trace.t_s, np.abs(trace.speed_mps), trace.stretch, noise)


def measure_launch_alone(
    trace: Trace, forward: ForwardAcceleration, span: Span, measures: tuple[Measure, ...]
) -> Launch:
    """Return the launch of a span of a trace whose speeds come from an accelerometer alone.

    The rest before the start, and the rest after the ride where there is one, hold the speed; between them its
    uncertainty grows, and the times' with it.

    Parameters
    ----------
    trace : Trace
        Speeds as `speed_from_rest` gives them: exactly zero at the rests.
    forward : ForwardAcceleration
        As `forward_alone` gives it.

    Raises
    ------
    SignalError
        If the accelerometer does not cover the launch, or shows no rest before it.
    """
    t_s = trace.t_s
    stop_s = float(t_s[span.last]) + _INTO_REST_S if trace.speed_mps[span.last] == 0 else float("nan")
    paths = inertial_paths(forward, float(t_s[span.first]), float(t_s[span.onset]), float(t_s[span.peak]), stop_s)
    times = _times(paths, measures)
    onset = estimate(paths.onset_s, _ONSET_SHAPE_SD_S)
    missing = tuple(not_reached(one) for one in measures if one.kind != "top speed" and not _has(times, one))
    return Launch(
        number=0,
        start=onset,
        end_s=float(t_s[span.peak]),
        start_utc_s=float(trace.utc0_s[trace.stretch[span.onset]]) + onset.value,
        peak_speed_mps=float(paths.speed_mps.mean(axis=0).max()),
        times=tuple(times.values()),
        curve=curve(paths, start_marks(paths)["rollout"]),
        remarks=(*span.remarks, *missing),
    )


def _has(times: dict[tuple[str, str | None], TimeResult], measure: Measure) -> bool:
    return any(label == measure.label for label, _ in times)


def fusing_doubt(forward: ForwardAcceleration) -> str:
    """Return why this accelerometer cannot help to time a launch; empty when it can."""
    if not math.isfinite(forward.lag_s):
        return "its lag is not known"
    if forward.lag_stderr_s > MOST_LAG_STDERR_S:
        return f"its lag is known to {forward.lag_stderr_s:.2f} s only; record more starts and brakings in one log"
    if not SCALES[0] <= forward.scale <= SCALES[1]:
        return f"the accelerometer shows {1 / forward.scale:.2f} times the acceleration; check its unit and mounting"
    return ""


def _said(launch: Launch, remark: Remark) -> Launch:
    return replace(launch, remarks=(*launch.remarks, remark))


def _samples(trace: Trace, span: Span) -> tuple[FloatArray, FloatArray]:
    first = max(span.first, int(np.searchsorted(trace.t_s, trace.t_s[span.onset] - _REST_S)))
    stop = min(span.peak + 2, span.last + 1)
    t_s, speed_mps = trace.t_s[first:stop], np.abs(trace.speed_mps[first:stop])
    has = np.isfinite(speed_mps)
    return t_s[has], speed_mps[has]


def _times(paths: Paths, measures: tuple[Measure, ...]) -> dict[tuple[str, str | None], TimeResult]:
    """Return every time that the paths give, by measure and start rule."""
    marks = start_marks(paths)
    found: list[TimeResult] = []
    for measure in measures:
        if measure.kind == "rolling":
            rolling = rolling_time(at_speed(paths, measure.from_mps), end_mark(paths, measure), measure)
            found += [rolling] if rolling else []
        elif measure.from_rest and reached((end := end_mark(paths, measure)).time_s):
            found += standing_times(marks, end, measure, _ONSET_SHAPE_SD_S)
    return {(one.measure, one.start_rule): one for one in found}


def _pairs(launch: Launch, times: dict[tuple[str, str | None], TimeResult]) -> list[tuple[Estimate, Estimate]]:
    """Return the receiver's and the fused time of every measure that both have, by the rules that depend least."""
    return [
        (one.elapsed, times[one.measure, one.start_rule].elapsed)
        for one in launch.times
        if one.start_rule in ("rollout", None) and (one.measure, one.start_rule) in times
    ]


def _sharper(launch: Launch, times: dict[tuple[str, str | None], TimeResult]) -> bool:
    pairs = _pairs(launch, times)
    if not pairs:
        return bool(times)
    return sum(ours.stderr**2 for _, ours in pairs) < sum(theirs.stderr**2 for theirs, _ in pairs)


def _joined(launch: Launch, paths: Paths, times: dict[tuple[str, str | None], TimeResult], utc0_s: float) -> Launch:
    """Return the launch with the fused times in place of the receiver's; what only the receiver timed stays."""
    order = [(one.measure, one.start_rule) for one in launch.times]
    kept = {(one.measure, one.start_rule): one for one in launch.times} | times
    onset = estimate(paths.onset_s, _ONSET_SHAPE_SD_S)
    remarks = tuple(remark for remark in launch.remarks if remark.code not in ("low-rate", "gap-over-start"))
    text = "timed by accelerometer and receiver together"
    return replace(
        launch,
        start=onset,
        start_utc_s=utc0_s + onset.value,
        times=tuple(kept[key] for key in dict.fromkeys([*order, *times])),
        curve=curve(paths, start_marks(paths)["rollout"]),
        remarks=(*remarks, Remark("fused", text)),
    )
