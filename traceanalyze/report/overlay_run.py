"""The words of `overlay` -> one picture of two or more setups."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from traceanalyze.errors import FormatError
from traceanalyze.judge.gather import gather
from traceanalyze.judge.groups import SetupCurves
from traceanalyze.judge.revs import over_limit_remarks
from traceanalyze.plots.overlay import overlay_figure
from traceanalyze.plots.style import picture_kind
from traceanalyze.report.day import setup_groups
from traceanalyze.report.files import check_output
from traceanalyze.report.machine import drive_trains, engine_of, sheet_of
from traceanalyze.report.pictures import save_figure
from traceanalyze.session import Asked
from traceanalyze.setups import is_sheet, named_files, read_setups, refusals, sheets_read
from traceanalyze.trace import Remark


class Overlaid(NamedTuple):
    """The curves of the setups, what is to be said of their engines, and a line for each log that was refused."""

    groups: list[SetupCurves]
    remarks: list[Remark]
    refused: list[str]


def overlaid(words: Sequence[str], asked: Asked, out: Path, *, force: bool) -> Overlaid:
    """Draw the setups that the words name, and return what was drawn.

    Raises
    ------
    UsageError, SheetError, FormatError, OutputError
        If the words or the sheet are wrong, no log has a launch, or the picture cannot be written.
    """
    picture_kind(out)
    logs = [] if is_sheet(words) else [name for names in named_files(words).values() for name in names]
    check_output(out, force=force, inputs=logs)
    setups = read_setups(words, asked)
    named_sheets = [(setup.name, setup.sheets) for setup in setups]
    groups = setup_groups(named_sheets)
    drawn = [group for group in groups if group.runs]
    if not drawn:
        raise FormatError("no launch was found in these logs", advice="see what each log holds: traceanalyze measure")
    sheet = sheet_of(words)
    engine = engine_of(sheet, [group.name for group in drawn])
    inputs = [Path(sheet.path) for sheet in sheets_read(setups)]
    save_figure(overlay_figure(drawn, asked.system, engine), out, force=force, inputs=inputs)
    remarks = list(over_limit_remarks(gather(named_sheets), drive_trains(sheet), asked.system))
    return Overlaid(groups, remarks, refusals(setups))
