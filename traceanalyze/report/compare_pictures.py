"""Comparisons -> picture files."""

from __future__ import annotations

from pathlib import Path

from traceanalyze.plots.comparison import comparison_figure
from traceanalyze.report.compared import Compared
from traceanalyze.report.files import check_output
from traceanalyze.report.pictures import numbered, save_figure


def save_comparison_pictures(found: Compared, path: Path, *, force: bool) -> list[Path]:
    """Write one picture per comparison; with several their numbers are put before the ending.

    Raises
    ------
    OutputError
        If one of them could not be written; none is, then.
    """
    names = numbered(path, len(found.comparisons))
    for name in names:
        check_output(name, force=force, inputs=found.inputs)
    for comparison, name in zip(found.comparisons, names, strict=True):
        figure = comparison_figure(comparison, found.asked.system, found.engine(comparison))
        save_figure(figure, name, force=force, inputs=found.inputs)
    return names
