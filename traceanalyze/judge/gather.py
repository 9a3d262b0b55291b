"""Sheets of logs -> the runs of two setups: who ran when, which way, on which day, and with what time."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import PurePath

import numpy as np

from traceanalyze import settings
from traceanalyze.comparison import Run
from traceanalyze.errors import UsageError, shown
from traceanalyze.judge.directions import ways
from traceanalyze.results import Curve, Launch, Pass, RunSheet
from traceanalyze.trace import Remark, utc_text
from traceanalyze.units import Measure


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ridden:
    """One launch or pass of one setup with its place in the day.

    `order` counts all of the same kind, timed or not, from 1 in each block (day).
    """

    setup: str
    sheet: RunSheet
    what: Launch | Pass
    utc_s: float
    order: float = math.nan
    block: str = ""
    direction: str = ""

    @property
    def key(self) -> tuple[str, float]:
        """The same for the same ride under whatever name."""
        start_s = self.what.start.value if isinstance(self.what, Launch) else self.what.start_s
        return self.sheet.sha256 or self.sheet.path, start_s

    def run(self, measure: Measure, start_rule: str) -> Run | None:
        """Return it as a run of a measure; None when it was not timed."""
        if isinstance(self.what, Pass):
            estimate = self.what.sustained
        else:
            result = self.what.time(measure.label, start_rule if measure.from_rest else None)
            if result is None:
                return None
            estimate = result.elapsed
        if not (math.isfinite(estimate.value) and estimate.value > 0):
            return None
        return Run(
            setup=self.setup,
            value=estimate.value,
            stderr=estimate.stderr if math.isfinite(estimate.stderr) else 0.0,
            order=self.order,
            direction=self.direction,
            block=self.block,
            file=self.sheet.path,
            launch=self.what.number,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Gathered:
    """All launches and passes of two setups, and what was noticed while gathering them."""

    launches: tuple[Ridden, ...]
    passes: tuple[Ridden, ...]
    remarks: tuple[Remark, ...] = ()

    def of(self, measure: Measure) -> tuple[Ridden, ...]:
        """Return what a measure is read from."""
        return self.passes if measure.kind == "top speed" else self.launches

    def runs(self, measure: Measure, start_rule: str) -> list[Run]:
        """Return the timed runs of a measure."""
        return [run for one in self.of(measure) if (run := one.run(measure, start_rule)) is not None]

    def curves(self, measure: Measure, start_rule: str) -> list[tuple[Run, Curve]]:
        """Return the curves of the launches that a measure from rest was timed on, each with its run.

        For a top speed: of all launches.
        """
        found = []
        for one in self.launches:
            if not isinstance(one.what, Launch) or one.what.curve is None:
                continue
            run = one.run(measure, start_rule) if measure.kind != "top speed" else replace(_blank(one), value=1.0)
            if run is not None:
                found.append((run, one.what.curve))
        return found


def _blank(one: Ridden) -> Run:
    return Run(setup=one.setup, value=1.0, order=one.order, direction=one.direction, block=one.block)


def gather(setups: Sequence[tuple[str, Iterable[RunSheet]]], skip: Iterable[str] = ()) -> Gathered:
    """Return every launch and pass of the setups, in the order ridden.

    Parameters
    ----------
    setups : sequence of (name, sheets)
        Refused sheets are passed over.
    skip : iterable of str
        Launches left out by the rider's word, as `FILE#NUMBER` (a pass: `FILE#pNUMBER`).

    Raises
    ------
    UsageError
        If a skip names no run, or a run stands in two setups.
    """
    sheets = [(name, sheet) for name, group in setups for sheet in group if not sheet.refused]
    wanted = {word: _skipped(word) for word in skip}
    launches = [
        Ridden(setup=name, sheet=sheet, what=one, utc_s=_launch_utc_s(sheet, one))
        for name, sheet in sheets
        for one in sheet.launches
    ]
    passes = [
        Ridden(setup=name, sheet=sheet, what=one, utc_s=sheet.time_origin_utc_s + one.start_s)
        for name, sheet in sheets
        for one in sheet.passes
    ]
    _check_skips(wanted, [*launches, *passes])
    kept = [_once([one for one in group if not _is_skipped(one, wanted.values())]) for group in (launches, passes)]
    remarks = [
        *_skip_remarks(wanted),
        *_order_remarks([*kept[0], *kept[1]]),
        *_source_remarks(sheets),
        *_overlap_remarks(sheets),
    ]
    return Gathered(launches=_placed(kept[0]), passes=_placed(kept[1]), remarks=tuple(remarks))


def without_skipped(sheet: RunSheet, skip: Iterable[str]) -> RunSheet:
    """Return the sheet of a log without the runs that the rider leaves out (see `gather`)."""
    wanted = [_skipped(word) for word in skip]

    def kept(kind: type, number: int) -> bool:
        return not any(_names(entry, sheet, kind, number) for entry in wanted)

    return replace(
        sheet,
        launches=tuple(one for one in sheet.launches if kept(Launch, one.number)),
        passes=tuple(one for one in sheet.passes if kept(Pass, one.number)),
    )


def _launch_utc_s(sheet: RunSheet, launch: Launch) -> float:
    known = launch.start_utc_s == launch.start_utc_s
    return launch.start_utc_s if known else sheet.time_origin_utc_s + launch.start.value


def _once(group: list[Ridden]) -> list[Ridden]:
    """Drop a ride that was given twice for one setup; refuse one that stands in two."""
    seen: dict[tuple[str, float], Ridden] = {}
    for one in group:
        other = seen.setdefault(one.key, one)
        if other.setup != one.setup:
            raise UsageError(
                f"run {one.what.number} of {one.sheet.path} stands in both {other.setup!r} and {one.setup!r}",
                advice="give each log, or each clock window of one log, to one setup",
            )
    return list(seen.values())


def _placed(group: list[Ridden]) -> tuple[Ridden, ...]:
    """Fill in order, day and direction: by the clock where every run has one, else as given."""
    if not group:
        return ()
    labels = ways([one.what.heading_deg for one in group])
    group = [replace(one, direction=label) for one, label in zip(group, labels, strict=True)]
    if not all(math.isfinite(one.utc_s) for one in group):
        return tuple(replace(one, order=float(i)) for i, one in enumerate(group, start=1))
    group.sort(key=lambda one: one.utc_s)
    gaps = np.diff([one.utc_s for one in group], prepend=group[0].utc_s)
    days = np.cumsum(gaps > settings.DAY_GAP_S)
    placed: list[Ridden] = []
    for day in range(int(days[-1]) + 1):
        members = [one for one, mine in zip(group, days, strict=True) if mine == day]
        block = (utc_text(members[0].utc_s) or str(day))[:10] if days[-1] else ""
        placed += [replace(one, order=float(i), block=block) for i, one in enumerate(members, start=1)]
    return tuple(placed)


def _skipped(word: str) -> tuple[str, type, int]:
    file, sign, place = word.rpartition("#")
    kind, digits = (Pass, place[1:]) if place[:1] in "pP" and place else (Launch, place)
    if not (sign and file and digits.isdecimal() and digits.isascii()):
        raise UsageError(f"{word!r} names no run to leave out", advice="write FILE#NUMBER, such as run3.nmea#2")
    return file, kind, int(digits)


def _is_skipped(one: Ridden, wanted: Iterable[tuple[str, type, int]]) -> bool:
    return any(_fits(one, entry) for entry in wanted)


def _fits(one: Ridden, entry: tuple[str, type, int]) -> bool:
    return _names(entry, one.sheet, type(one.what), one.what.number)


def _names(entry: tuple[str, type, int], sheet: RunSheet, kind: type, number: int) -> bool:
    """Whether an entry means the run of a kind and number in a log."""
    return entry[0] in (sheet.path, PurePath(sheet.path).name) and entry[1:] == (kind, number)


def _check_skips(wanted: dict[str, tuple[str, type, int]], group: Sequence[Ridden]) -> None:
    for word, entry in wanted.items():
        if not any(_fits(one, entry) for one in group):
            raise UsageError(f"{word!r} names no run of these logs", advice="see their numbers: traceanalyze measure")


def _skip_remarks(wanted: Iterable[str]) -> list[Remark]:
    words = list(wanted)
    return [Remark("left-out", f"left out by the rider's word: {', '.join(map(shown, words))}")] if words else []


def _order_remarks(group: Sequence[Ridden]) -> list[Remark]:
    if not group or all(math.isfinite(one.utc_s) for one in group):
        return []
    text = "not every log has a clock date, so runs are taken as ridden in the order the logs were given"
    return [Remark("order-as-given", text)]


def _source_remarks(sheets: Sequence[tuple[str, RunSheet]]) -> list[Remark]:
    sources = sorted(
        {sheet.speed_source for _, sheet in sheets if sheet.speed_source and (sheet.launches or sheet.passes)}
    )
    if len(sources) < 2:
        return []
    text = f"the speeds rest on different things ({', '.join(sources)}), whose errors do not cancel: use one logger"
    return [Remark("mixed-sources", text)]


def _overlap_remarks(sheets: Sequence[tuple[str, RunSheet]]) -> list[Remark]:
    """Logs of one vehicle cannot overlap in time: a second logger on the same runs, or a clock that is wrong."""
    dated = {
        sheet.sha256 or sheet.path: sheet
        for _, sheet in sheets
        if math.isfinite(sheet.time_origin_utc_s) and (sheet.launches or sheet.passes)
    }
    ordered = sorted(dated.values(), key=lambda sheet: sheet.time_origin_utc_s)
    for one, other in pairwise(ordered):
        if other.time_origin_utc_s < one.time_origin_utc_s + one.duration_s:
            text = (
                f"{shown(one.path)} and {shown(other.path)} overlap in time: two loggers on the same runs count twice"
            )
            return [Remark("logs-overlap", f"{text}, and a wrong clock spoils the order")]
    return []
