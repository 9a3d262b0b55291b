"""What the run book shows a person: aligned tables, every number with its uncertainty."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any

from traceanalyze.book.overview import MeasureMean, SetupSummary
from traceanalyze.book.reading import USUAL_WINDOW, BookRun
from traceanalyze.book.records import FittingRecord, ResultRecord
from traceanalyze.book.store import Added
from traceanalyze.errors import shown
from traceanalyze.judge.scatter import OwnScatter
from traceanalyze.report.tables import counted, heading_text, table_text
from traceanalyze.results import Estimate
from traceanalyze.trace import utc_text
from traceanalyze.units import SPEED_UNITS, Measure, System, speed_unit


def added_text(logs: Sequence[Added]) -> str:
    """Return what became of each log, a line each."""
    return "\n".join(map(_added_line, logs)) or "no log was added"


def _added_line(log: Added) -> str:
    runs = f"{counted(log.launches, 'launch', 'launches')}, {counted(log.passes, 'pass', 'passes')}"
    whose = f"{', '.join(map(shown, log.setups))} ({', '.join(log.dates)})"
    left_out = f" ({log.left_out} left out)" if log.left_out else ""
    words = {
        "added": f"added {runs}{left_out} to {whose}",
        "known": f"in the book already, as {whose}: nothing added",
        "empty": "no launch and no pass of it belongs to a setup: nothing added",
        "removed": f"removed {runs} of {whose}",
    }
    return f"{shown(log.path)}: {words[log.status]}"


def list_text(setups: Sequence[SetupSummary], system: System, start_rule: str, *, bold: bool = False) -> str:
    """Return every setup with its runs and means, a table for each vehicle."""
    if not setups:
        return "the run book is empty"
    parts = []
    for vehicle, group in groupby(setups, key=lambda one: one.vehicle):
        rows = list(group)
        head = ["setup", "days", "logs", "launches", "passes", *(_mean_title(one, system) for one in rows[0].means)]
        cells = [[shown(one.setup), *_counts(one), *(_mean_cell(mean, system) for mean in one.means)] for one in rows]
        parts.append(f"{shown(vehicle)}\n{table_text(head, cells, bold=bold)}")
    note = (
        f"Plain means with their standard uncertainty; times by the {start_rule} rule. Days differ: use book compare."
    )
    return "\n\n".join([*parts, note])


def _counts(one: SetupSummary) -> list[str]:
    return [str(len(one.days)), str(one.logs), str(one.launches), str(one.passes)]


def _mean_title(mean: MeasureMean, system: System) -> str:
    return f"{mean.measure} [{_unit(mean.unit, system)}]"


def _mean_cell(mean: MeasureMean, system: System) -> str:
    if not mean.runs:
        return "-"
    return f"{_uncertain(mean.mean, mean.unit, system)} (n = {mean.runs})"


def _unit(unit: str, system: System) -> str:
    return speed_unit(system) if unit == "m/s" else unit


def _uncertain(estimate: Estimate, unit: str, system: System) -> str:
    return estimate.text(SPEED_UNITS[speed_unit(system)] if unit == "m/s" else 1.0)


def show_text(
    runs: Sequence[BookRun],
    fittings: Sequence[FittingRecord],
    measures: Sequence[Measure],
    system: System,
    start_rule: str,
    window: str = USUAL_WINDOW,
    *,
    bold: bool = False,
) -> str:
    """Return every run by day, with what is known of the day."""
    parts = []
    for (vehicle, setup), group in groupby(sorted(runs, key=_setup_key), key=_setup_key):
        parts.append(f"{shown(setup)} ({shown(vehicle)})")
        for block, day in groupby(group, key=lambda one: one.block):
            members = list(day)
            parts.append(f"  {shown(block)}{_facts_text(members[0], fittings)}")
            for kind, found in groupby(members, key=lambda one: one.run.kind):
                asked = [one for one in measures if (one.kind == "top speed") == (kind == "pass")]
                parts.append(_day_table(list(found), asked, system, start_rule, window, bold=bold))
    return "\n".join(parts) if parts else "no run"


def _setup_key(one: BookRun) -> tuple[str, str]:
    return one.run.vehicle, one.run.setup


def _facts_text(one: BookRun, fittings: Sequence[FittingRecord]) -> str:
    run = one.run
    for fitting in fittings:
        whose = (fitting.vehicle, fitting.setup, fitting.date, fitting.place)
        if whose == (run.vehicle, run.setup, run.date, run.place) and fitting.facts:
            return ": " + ", ".join(f"{shown(key)} {_fact(value)}" for key, value in fitting.facts.items())
    return ""


def _fact(value: Any) -> str:
    if isinstance(value, list):
        return "/".join(map(_fact, value))
    return f"{value:g}" if isinstance(value, float) else shown(value)


def _day_table(
    runs: Sequence[BookRun], measures: Sequence[Measure], system: System, start_rule: str, window: str, *, bold: bool
) -> str:
    kind = runs[0].run.kind
    titles = [f"{one.label} [{_unit('m/s' if one.kind == 'top speed' else 's', system)}]" for one in measures]
    rows = [
        [
            str(one.order),
            _clock(one),
            heading_text(math.nan if one.run.heading_deg is None else one.run.heading_deg),
            f"{shown(one.file)}#{'p' if kind == 'pass' else ''}{one.run.number}",
            *(_result_text(one.result(measure, start_rule, window), system) for measure in measures),
            "; ".join(_notes(one)),
        ]
        for one in runs
    ]
    return table_text(["order", "UTC", "heading", kind, *titles, "notes"], rows, indent="    ", bold=bold)


def _clock(one: BookRun) -> str:
    text = utc_text(one.run.utc_s) if one.run.utc_s is not None else None
    return text[11:19] if text else "-"


def _result_text(result: ResultRecord | None, system: System) -> str:
    if result is None:
        return "-"
    stderr = math.nan if result.stderr is None else result.stderr
    return _uncertain(Estimate(result.value, stderr), result.unit, system)


def _notes(one: BookRun) -> Iterator[str]:
    if one.run.left_out:
        yield f"left out: {shown(one.run.left_out)}"
    yield from (shown(remark.code) for remark in one.run.remarks)


def scatter_text(measure: Measure, found: OwnScatter | None, system: System, start_rule: str) -> str:
    """Return the rider's own scatter in one sentence, with its uncertainty and what stands behind it."""
    rule = f" ({start_rule})" if measure.from_rest else ""
    if found is None:
        return (
            f"{measure.label}{rule}: the run-to-run scatter cannot be told yet; "
            "it needs two runs of one setup the same way on one day"
        )
    unit = "m/s" if measure.kind == "top speed" else "s"
    # standard uncertainty of a standard deviation of normal values, about sd / sqrt(2 df): JCGM 100:2008, E.4.3
    text = _uncertain(Estimate(found.sd, found.sd / math.sqrt(2 * found.df)), unit, system)
    df = f"{found.df:g} degrees of freedom"
    return f"{measure.label}{rule}: run-to-run standard deviation {text} {_unit(unit, system)}, {df}"
