"""One log through all rooms; several logs through any executor. A failure is a result, not an exception."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, NamedTuple, TypeVar

import numpy as np

from traceanalyze.detect.launches import LaunchSpan, find_launches, untimed_launches
from traceanalyze.detect.motion import Motion, find_motion
from traceanalyze.detect.passes import find_passes
from traceanalyze.errors import LimitError, SignalError, TraceError
from traceanalyze.estimate.launch import measure_launches
from traceanalyze.estimate.pairs import direction_remarks, pair_passes
from traceanalyze.estimate.path import grade_pct, heading_deg
from traceanalyze.estimate.smeared import smeared
from traceanalyze.estimate.topspeed import measure_pass
from traceanalyze.parsers import read_all
from traceanalyze.parsers.options import ReadOptions
from traceanalyze.prepare import Prepared, prepared
from traceanalyze.results import Estimate, Launch, Pass, RunSheet
from traceanalyze.settings import DEFAULT_MEASURES, LAUNCH_SPEED_MPS, SUSTAINED_WINDOW_S
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import Remark, Trace
from traceanalyze.units import SPEED_UNITS, Measure, StartRule, System, Window, parse_measure, speed_unit

if TYPE_CHECKING:
    from concurrent.futures import Executor
    from pathlib import Path

Task = TypeVar("Task")
Result = TypeVar("Result")


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What is asked of every log of a session.

    Without `curves`, launches timed by a receiver come without their curves of speeds: nobody draws or compares them.
    """

    measures: tuple[Measure, ...] = tuple(parse_measure(text) for text in DEFAULT_MEASURES)
    start_rule: StartRule = "rollout"
    window: Window = Window(duration_s=SUSTAINED_WINDOW_S)
    system: System = "imperial"
    curves: bool = True
    read: ReadOptions = field(default_factory=ReadOptions)


class Study(NamedTuple):
    """A log after all rooms: what was measured, and the cleaned trace and noise it was measured on.

    `trace` and `noise` are None when the log was refused.
    """

    sheet: RunSheet
    trace: Trace | None = None
    noise: SpeedNoise | None = None


def study_files(paths: Iterable[str | Path], asked: Asked | None = None) -> list[Study]:
    """Return one study per log, in order; a zip of several logs gives several."""
    return [study for path in paths for study in study_file(path, asked)]


def study_file(path: str | Path, asked: Asked | None = None) -> list[Study]:
    """Return the studies of one file's logs; a log that cannot be read or measured gives a refused study.

    So does one that memory is too small for, or that trips over a fault of ours: the others still get their results.
    """
    asked = asked or Asked()
    try:
        traces = read_all(path, asked.read)
    except Exception as error:
        return [Study(sheet=refused_sheet(path, told(error)))]
    return [_study(trace, asked) for trace in traces]


def _study(trace: Trace, asked: Asked) -> Study:
    try:
        return study_trace(trace, asked)
    except Exception as error:
        return Study(sheet=refused_sheet(trace.source.path, told(error)))


def told(error: Exception) -> TraceError:
    """Return an error as one of the tree; one that nobody foresaw as a line that says where it happened."""
    if isinstance(error, TraceError):
        return error
    if isinstance(error, MemoryError):
        return LimitError("it is too large for the memory here", advice="split it into shorter logs")
    from pathlib import Path  # 4 ms to load, and faults are rare

    last = error.__traceback__
    while last is not None and last.tb_next is not None:
        last = last.tb_next
    place = f"{Path(last.tb_frame.f_code.co_filename).name}, line {last.tb_lineno}" if last is not None else "unknown"
    reason = f"a fault in this program ({type(error).__name__} in {place}: {error})"
    return TraceError(reason, advice="please report it together with the log")


def measure_files(
    paths: Iterable[str | Path], asked: Asked | None = None, executor: Executor | None = None
) -> Iterator[list[RunSheet]]:
    """Yield the sheets of each file in order, worked on by any `concurrent.futures` executor.

    Only results travel back from workers, never traces.
    """
    tasks = [(path, asked or Asked()) for path in paths]
    yield from in_order(_sheets, tasks, executor)


def in_order(work: Callable[[Task], Result], tasks: Sequence[Task], executor: Executor | None) -> Iterator[Result]:
    """Yield `work(task)` for each task in order, here or by an executor."""
    if executor is None:
        yield from map(work, tasks)
        return
    for future in [executor.submit(work, task) for task in tasks]:
        yield future.result()


def measure_file(path: str | Path, asked: Asked | None = None) -> list[RunSheet]:
    """Return the sheets of one file's logs (several for a zip of several logs)."""
    return [study.sheet for study in study_file(path, asked)]


def _sheets(task: tuple[str | Path, Asked]) -> list[RunSheet]:
    return measure_file(*task)


def study_trace(trace: Trace, asked: Asked | None = None) -> Study:
    """Clean a trace, find its launches and passes, and measure them.

    Raises
    ------
    SignalError
        If the log holds nothing that a speed can be had from.
    """
    asked = asked or Asked()
    ready = prepared(trace)
    cleaned, noise = ready.trace, ready.noise
    motion = find_motion(cleaned, noise)
    launches = _launches(ready, motion, asked)
    passes = _passes(cleaned, noise, motion, asked)
    remarks = (
        *untimed_launches(cleaned, noise, _lowest_target_mps(asked), motion),
        *direction_remarks(passes),
        *_day_remarks(cleaned, asked, len(launches) + len(passes)),
    )
    return Study(sheet=_sheet(cleaned, noise, launches, passes, remarks), trace=cleaned, noise=noise)


def refused_sheet(path: str | Path, error: TraceError) -> RunSheet:
    """Return the sheet of a log that could not be read: its one-line error and nothing else."""
    return RunSheet(path=str(path), status="refused", error=str(error.at(str(path))))


def _launches(ready: Prepared, motion: Motion, asked: Asked) -> tuple[Launch, ...]:
    trace = ready.trace
    spans = find_launches(trace, ready.noise, _lowest_target_mps(asked), motion)
    timed = _timed(ready, spans, asked)
    return tuple(
        replace(
            _untimed(ready, span, found) if isinstance(found, SignalError) else found,
            number=number,
            heading_deg=heading_deg(trace, span.onset, span.peak),
            grade_pct=grade_pct(trace, span.onset, span.peak),
        )
        for number, (span, found) in enumerate(zip(spans, timed, strict=True), 1)
    )


def _untimed(ready: Prepared, span: LaunchSpan, error: SignalError) -> Launch:
    """The launch of a span that was seen but cannot be timed."""
    trace = ready.trace
    first_s = float(trace.t_s[span.onset])
    return Launch(
        number=0,
        start=Estimate(first_s, ready.noise.period_s),
        end_s=float(trace.t_s[span.peak]),
        start_utc_s=trace.utc_s(span.onset),
        peak_speed_mps=float(np.nanmax(trace.speed_mps[span.onset : span.peak + 1])),
        remarks=(*span.remarks, Remark("not-timed", f"cannot be timed: {error.reason}")),
    )


def _timed(ready: Prepared, spans: Sequence[LaunchSpan], asked: Asked) -> list[Launch | SignalError]:
    """Time launches with what the log has: a receiver, a receiver and an accelerometer, or an accelerometer alone."""
    if ready.forward is None:
        timed = measure_launches(ready.trace, spans, ready.noise, asked.measures, with_curves=asked.curves)
        return [one if isinstance(one, SignalError) else smeared(one, ready.smear_s) for one in timed]
    from traceanalyze.estimate.fused import measure_launches_sensed  # few logs have one: see DEVELOPERS.md

    return measure_launches_sensed(ready.trace, ready.forward, spans, ready.noise, asked.measures)


def _lowest_target_mps(asked: Asked) -> float:
    return min((m.to_mps for m in asked.measures if m.kind == "standing"), default=float("inf"))


def _passes(trace: Trace, noise: SpeedNoise, motion: Motion, asked: Asked) -> tuple[Pass, ...]:
    found: list[Pass] = []
    for span in find_passes(trace, noise, motion):
        try:
            one = measure_pass(trace, span, noise, asked.window)
        except SignalError:
            continue
        found.append(replace(one, number=len(found) + 1))
    return tuple(found)


def _sheet(
    trace: Trace,
    noise: SpeedNoise,
    launches: tuple[Launch, ...],
    passes: tuple[Pass, ...],
    remarks: tuple[Remark, ...],
) -> RunSheet:
    known = trace.speed_mps[np.isfinite(trace.speed_mps)]
    return RunSheet(
        path=trace.source.path,
        status="partial" if trace.damaged else "ok",
        format=trace.source.format,
        sha256=trace.source.sha256,
        time_origin_utc_s=trace.utc_s(0) if trace.points else float("nan"),
        points=trace.points,
        duration_s=trace.duration_s,
        rate_hz=1 / noise.period_s,
        speed_source=trace.speed_source,
        speed_noise_mps=noise.sigma_mps,
        skipped=dict(trace.tally),
        max_speed_mps=max([one.peak_mps for one in passes], default=float(known.max()) if known.size else float("nan")),
        launches=launches,
        passes=passes,
        pairs=pair_passes(passes),
        remarks=trace.remarks + remarks,
    )


def _day_remarks(trace: Trace, asked: Asked, runs: int) -> tuple[Remark, ...]:
    """What is missing, in words: no speed, no motion, no launch."""
    if runs:
        return ()
    known = trace.speed_mps[np.isfinite(trace.speed_mps)]
    if not known.size:
        return (Remark("no-speed", "no speed could be had from this log"),)
    level_mps = min(_lowest_target_mps(asked), LAUNCH_SPEED_MPS)
    unit = speed_unit(asked.system)
    level = f"{level_mps / SPEED_UNITS[unit]:.0f} {unit}"
    if known.max() < level_mps:
        return (Remark("no-launch", f"no launch: the speed stays below {level}, the least for one"),)
    text = f"no launch: one starts from rest (a second or more) and passes {level} without stopping"
    return (Remark("no-launch", text),)
