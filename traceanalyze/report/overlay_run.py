"""The words of `overlay` -> one picture of two or more setups."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from traceanalyze.errors import FormatError
from traceanalyze.judge.groups import SetupCurves
from traceanalyze.plots.overlay import overlay_figure
from traceanalyze.plots.style import picture_kind
from traceanalyze.report.day import setup_groups
from traceanalyze.report.files import check_output
from traceanalyze.report.machine import engine_of, sheet_of
from traceanalyze.report.pictures import save_figure
from traceanalyze.session import Asked
from traceanalyze.setups import is_sheet, named_files, read_setups, refusals, sheets_read


def overlaid(words: Sequence[str], asked: Asked, out: Path, *, force: bool) -> tuple[list[SetupCurves], list[str]]:
    """Draw the setups that the words name, and return their curves and a line for each log that was refused.

    Raises
    ------
    UsageError, SheetError, FormatError, OutputError
        If the words or the sheet are wrong, no log has a launch, or the picture cannot be written.
    """
    picture_kind(out)
    logs = [] if is_sheet(words) else [name for names in named_files(words).values() for name in names]
    check_output(out, force=force, inputs=logs)
    setups = read_setups(words, asked)
    groups = setup_groups([(setup.name, setup.sheets) for setup in setups])
    drawn = [group for group in groups if group.runs]
    if not drawn:
        raise FormatError("no launch was found in these logs", advice="see what each log holds: traceanalyze measure")
    engine = engine_of(sheet_of(words), [group.name for group in drawn])
    inputs = [Path(sheet.path) for sheet in sheets_read(setups)]
    save_figure(overlay_figure(drawn, asked.system, engine), out, force=force, inputs=inputs)
    return groups, refusals(setups)
