"""What `day` writes: tables, pictures of the comparisons, one page. The same input gives the same bytes."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from traceanalyze.errors import OutputError
from traceanalyze.judge.groups import SetupCurves
from traceanalyze.plots.comparison import comparison_figure
from traceanalyze.plots.overlay import overlay_figure
from traceanalyze.plots.style import picture_bytes
from traceanalyze.report.day import picture_names, setup_groups, unlike
from traceanalyze.report.day_run import DayResults
from traceanalyze.report.exports import results_csv
from traceanalyze.report.files import check_output, make_folder, write_atomically
from traceanalyze.report.machine import engine_of
from traceanalyze.report.measure_json import measure_document

PICTURES = "pictures"
TABLES = ("results.csv", "results.json", "comparisons.json")
OVERLAY, REPORT, COMPARISON = "overlay.png", "report.html", "compare-"


@dataclass(frozen=True, slots=True, kw_only=True)
class Outputs:
    """Where a day's results go, and which."""

    folder: Path
    pictures: bool = True
    force: bool = False

    def prepare(self, logs: Sequence[Path]) -> Mapping[Path, Path]:
        """Make the folders, refuse what could not be written, and return the picture of each log.

        Raises
        ------
        OutputError
            If a result is there already and may not be replaced, or the folder is that of the logs.
        """
        make_folder(self.folder, inputs=logs)
        if any(_same(self.folder, parent) for parent in {log.parent for log in logs}):
            advice = f"name one of its own, such as {self.folder / 'results'}"
            raise OutputError("is the folder of the logs", where=str(self.folder), advice=advice)
        old = [*self.folder.glob(f"{COMPARISON}*.png"), *(self.folder / name for name in (*TABLES, OVERLAY, REPORT))]
        pictures: Mapping[Path, Path] = {}
        if self.pictures:
            make_folder(self.folder / PICTURES, inputs=logs)
            pictures = picture_names(logs, self.folder / PICTURES)
        for path in (*sorted(old), *pictures.values()):
            if path.exists():
                check_output(path, force=self.force, inputs=logs)
        return pictures

    def write(self, results: DayResults) -> Iterator[str]:
        """Write everything but the logs' own pictures, yielding each name."""
        for name, content in _contents(results, pictures=self.pictures):
            write_atomically(self.folder / name, content, force=self.force, inputs=list(results.by_file))
            yield name


def _same(one: Path, other: Path) -> bool:
    try:
        return one.samefile(other)
    except OSError:
        return False


def _contents(results: DayResults, *, pictures: bool) -> Iterator[tuple[str, bytes]]:
    from traceanalyze.report.page import day_page

    sheets = [sheet for one in results.by_file.values() for sheet in one]
    groups = setup_groups([(setup.name, setup.sheets) for setup in results.setups])
    yield TABLES[0], results_csv([sheet for sheet in sheets if not sheet.refused])
    yield TABLES[1], _json_bytes(measure_document(sheets))
    if results.comparisons:
        yield TABLES[2], _json_bytes(results.comparisons_dict())
    if pictures:
        yield from _pictures(results, groups)
    yield REPORT, day_page(results, groups).encode("utf-8", "backslashreplace")


def _pictures(results: DayResults, groups: Sequence[SetupCurves]) -> Iterator[tuple[str, bytes]]:
    system, sheet = results.plan.asked.system, results.plan.sheet
    drawn = [group for group in groups if group.runs]
    if len(drawn) > 1:
        engine = engine_of(sheet, [group.name for group in drawn])
        yield OVERLAY, picture_bytes(overlay_figure(drawn, system, engine), "png")
    names = unlike(f"{one.changed}-against-{one.baseline}" for one in results.comparisons)
    for name, one in zip(names, results.comparisons, strict=True):
        figure = comparison_figure(one, system, engine_of(sheet, (one.baseline, one.changed)))
        yield f"{COMPARISON}{name}.png", picture_bytes(figure, "png")


def _json_bytes(document: dict[str, Any]) -> bytes:
    """Return a JSON document as bytes; NaN would be a mistake of ours."""
    return (json.dumps(document, indent=2, allow_nan=False) + "\n").encode()
