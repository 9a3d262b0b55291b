"""What `day` shows a person: the verdicts first, then a line per log."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from traceanalyze.comparison import Comparison
from traceanalyze.errors import shown
from traceanalyze.report.measure_text import headline_measure
from traceanalyze.report.tables import WIDTH, counted, table_text, wrapped
from traceanalyze.results import RunSheet, round_half_up
from traceanalyze.session import Asked
from traceanalyze.units import SPEED_UNITS, speed_unit


def day_text(
    by_file: Mapping[Path, Sequence[RunSheet]],
    comparisons: Sequence[Comparison],
    asked: Asked,
    *,
    bold: bool = False,
    width: int = WIDTH,
) -> str:
    """Return the whole screen."""
    sheets = [sheet for one in by_file.values() for sheet in one]
    launches = sum(len(sheet.launches) for sheet in sheets)
    passes = sum(len(sheet.passes) for sheet in sheets)
    refused = sum(sheet.refused for sheet in sheets)
    parts = [
        f"{counted(len(sheets), 'log').capitalize()}: {counted(launches, 'launch', 'launches')}, "
        f"{counted(passes, 'pass', 'passes')}" + (f"; {refused} could not be read" if refused else "") + "."
    ]
    parts += [_verdict_lines(one, width) for one in comparisons]
    parts.append(_log_table(sheets, asked, bold))
    return "\n\n".join(parts)


def _verdict_lines(one: Comparison, width: int) -> str:
    lines = [wrapped(f"{one.changed} against {one.baseline}: {one.headline.why}", width=width, first="")]
    if one.curves is not None and one.curves.sentence:
        lines.append(wrapped(one.curves.sentence, width=width))
    if one.headline.next_step:
        lines.append(wrapped(f"Next: {one.headline.next_step}", width=width))
    lines += [wrapped(remark.text, width=width) for remark in one.remarks if remark.code == "engine-above-limit"]
    return "\n".join(lines)


def _log_table(sheets: Sequence[RunSheet], asked: Asked, bold: bool) -> str:
    unit = speed_unit(asked.system)
    rows = []
    for sheet in sheets:
        measure = headline_measure(sheet, asked)
        times = [r.elapsed.value for x in sheet.launches if measure and (r := x.time(measure, asked.start_rule))]
        best = max((one.sustained.value for one in sheet.passes), default=None)
        rows.append(
            [
                shown(Path(sheet.path).name)[:48],
                {"ok": "read", "partial": "read, in part damaged", "refused": "not read"}[sheet.status],
                str(len(sheet.launches)) if not sheet.refused else "-",
                f"{round_half_up(sum(times) / len(times), 2)} ({len(times)})" if times else "-",
                str(len(sheet.passes)) if not sheet.refused else "-",
                round_half_up(best / SPEED_UNITS[unit], 1) if best is not None else "-",
            ]
        )
    label = next((m.label for m in asked.measures if m.label == "0-30 mph"), asked.measures[0].label)
    head = ["log", "status", "launches", f"mean {label} [s] (n)", "passes", f"best pass [{unit}]"]
    return table_text(head, rows, bold=bold)
