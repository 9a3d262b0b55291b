"""A setup and what was measured in a log -> the runs of the log that belong to the setup."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from traceanalyze.results import Launch, Pass, RunSheet
from traceanalyze.sheet.logs import identity
from traceanalyze.sheet.nouns import Day, RunKind, Setup
from traceanalyze.trace import Remark

_DAY_S = 86400.0


def runs_in_window(sheet: RunSheet, setup: Setup, day: Day) -> RunSheet:
    """Return the sheet with only the runs that start inside the setup's clock window.

    A setup without a window keeps every run. The date is the sheet's; without one, every day that the log touches
    has its window. A log without a clock gives no run to a window, and a remark says so.
    """
    if not setup.by_clock or sheet.refused:
        return sheet
    if math.isnan(sheet.time_origin_utc_s) and (sheet.launches or sheet.passes):
        text = f"the log has no date and time, so none of its runs can belong to the clock window of {setup.name!r}"
        return replace(sheet, launches=(), passes=(), remarks=(*sheet.remarks, Remark("no-clock-for-window", text)))
    return replace(
        sheet,
        launches=tuple(one for one in sheet.launches if in_window(_launch_utc_s(sheet, one), setup, day)),
        passes=tuple(one for one in sheet.passes if in_window(sheet.time_origin_utc_s + one.start_s, setup, day)),
    )


def in_window(utc_s: float, setup: Setup, day: Day) -> bool:
    """Whether a moment [Unix s] lies in the setup's clock window; its end does not belong to it."""
    local_s = utc_s + day.utc_offset_s
    if not math.isfinite(local_s):
        return False
    if day.date is not None:
        midnight_s = datetime(day.date.year, day.date.month, day.date.day, tzinfo=UTC).timestamp()
    else:
        midnight_s = local_s - local_s % _DAY_S
    begin_s = 0.0 if math.isnan(setup.from_s) else setup.from_s
    end_s = _DAY_S if math.isnan(setup.to_s) else setup.to_s
    return begin_s <= local_s - midnight_s < end_s


def is_skipped(setup: Setup, file: str | Path, kind: RunKind, number: int) -> bool:
    """Whether the rider left a run of a file out of the setup."""
    asked = [skip for skip in setup.skip if (skip.kind, skip.number) == (kind, number)]
    return bool(asked) and identity(Path(file)) in [identity(skip.file) for skip in asked]


def without_skipped(sheet: RunSheet, setup: Setup, file: str | Path) -> RunSheet:
    """Return the sheet without the runs that the rider left out; a remark names a skip that fits no run of it."""
    return replace(
        sheet,
        launches=tuple(one for one in sheet.launches if not is_skipped(setup, file, "launch", one.number)),
        passes=tuple(one for one in sheet.passes if not is_skipped(setup, file, "pass", one.number)),
        remarks=sheet.remarks + _idle_skips(sheet, setup, file),
    )


def _idle_skips(sheet: RunSheet, setup: Setup, file: str | Path) -> tuple[Remark, ...]:
    there = {("launch", one.number) for one in sheet.launches} | {("pass", one.number) for one in sheet.passes}
    idle = [skip for skip in setup.skip if (skip.kind, skip.number) not in there]
    mine = [skip for skip in idle if identity(skip.file) == identity(Path(file))]
    return tuple(
        Remark("skip-fits-no-run", f"the day sheet skips {skip.kind} {skip.number}, which is no run of this setup")
        for skip in mine
    )


def _launch_utc_s(sheet: RunSheet, launch: Launch | Pass) -> float:
    """When a launch began [Unix s]: by the clock of its own stretch, else by the log's first moment."""
    own_s = getattr(launch, "start_utc_s", math.nan)
    return own_s if math.isfinite(own_s) else sheet.time_origin_utc_s + launch.start.value  # type: ignore[union-attr]
