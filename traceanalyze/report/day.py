"""A day of logs -> a folder of results: tables, pictures, comparisons. The same input gives the same bytes."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor, as_completed
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from traceanalyze.comparison import Comparison
from traceanalyze.judge.groups import SetupCurves, launch_curves, setup_curves
from traceanalyze.plots.comparison import comparison_figure
from traceanalyze.plots.drive import drive_figure
from traceanalyze.plots.overlay import overlay_figure
from traceanalyze.plots.style import picture_bytes
from traceanalyze.report.exports import results_csv
from traceanalyze.report.files import write_atomically
from traceanalyze.report.measure_json import measure_document
from traceanalyze.results import RunSheet
from traceanalyze.session import Asked, study_file


@dataclass(frozen=True, slots=True, kw_only=True)
class LogTask:
    """One log of the day, and where its picture goes; None for no picture."""

    path: Path
    asked: Asked
    picture: Path | None
    force: bool
    inputs: tuple[Path, ...] = ()


def worked(task: LogTask) -> list[RunSheet]:
    """Read and measure one log and draw its picture; only the results come back."""
    studies = study_file(task.path, task.asked)
    read = [study for study in studies if study.trace is not None]
    for k, study in enumerate(read, start=1):
        if task.picture is None or study.trace is None:
            continue
        name = task.picture if len(read) == 1 else task.picture.with_stem(f"{task.picture.stem}-{k}")
        figure = drive_figure(study.trace, study.sheet, task.asked.system, task.asked.start_rule)
        write_atomically(name, picture_bytes(figure, "png"), force=task.force, inputs=task.inputs)
    return [study.sheet for study in studies]


def all_worked(
    tasks: Sequence[LogTask], executor: Executor | None, tick: Callable[[Path], None]
) -> dict[Path, list[RunSheet]]:
    """Return the sheets of every task, in the order given, whatever order an executor finishes them in.

    `tick` is called with each path as it is finished.
    """
    return dict(zip((task.path for task in tasks), _in_order(tasks, executor, tick), strict=True))


def _in_order(
    tasks: Sequence[LogTask], executor: Executor | None, tick: Callable[[Path], None]
) -> Iterator[list[RunSheet]]:
    if executor is None:
        for task in tasks:
            yield worked(task)
            tick(task.path)
        return
    futures = {executor.submit(worked, task): task.path for task in tasks}
    for future in as_completed(futures):
        tick(futures[future])
    yield from (future.result() for future in futures)


def picture_names(paths: Sequence[Path], folder: Path) -> dict[Path, Path]:
    """Return a picture name for each log: its stem made safe, numbered where two would be alike."""
    names: dict[Path, Path] = {}
    taken: set[str] = set()
    for path in paths:
        stem = safe_name(path.stem)
        name, k = stem, 2
        while name.lower() in taken:
            name, k = f"{stem}-{k}", k + 1
        taken.add(name.lower())
        names[path] = folder / f"{name}.png"
    return names


def safe_name(text: str) -> str:
    """Return a text as a file name that every system takes."""
    name = re.sub(r"[^\w.-]+", "-", text, flags=re.ASCII).strip("-.") or "log"
    return name[:60]


def day_files(
    by_file: Mapping[Path, Sequence[RunSheet]],
    groups: Sequence[SetupCurves],
    comparisons: Sequence[Comparison],
    asked: Asked,
    *,
    pictures: bool,
) -> Iterator[tuple[str, bytes]]:
    """Yield the name and content of each file of the day's folder, the logs' own pictures aside."""
    sheets = [sheet for one in by_file.values() for sheet in one]
    yield "results.csv", results_csv([sheet for sheet in sheets if not sheet.refused])
    yield "results.json", json_bytes(measure_document(sheets))
    if comparisons:
        yield "comparisons.json", json_bytes({"comparisons": [one.to_dict() for one in comparisons]})
    if not pictures:
        return
    if sum(bool(group.runs) for group in groups) > 0 and len(groups) > 1:
        yield "overlay.png", picture_bytes(overlay_figure(groups, asked.system), "png")
    for one in comparisons:
        name = safe_name(f"{one.changed}-against-{one.baseline}")
        yield f"compare-{name}.png", picture_bytes(comparison_figure(one, asked.system), "png")


def json_bytes(document: dict[str, Any]) -> bytes:
    """Return a JSON document as bytes; NaN would be a mistake of ours."""
    return (json.dumps(document, indent=2, allow_nan=False) + "\n").encode()


def setup_groups(names_and_sheets: Sequence[tuple[str, Sequence[RunSheet]]]) -> list[SetupCurves]:
    """Return the curves of each setup."""
    return [
        setup_curves(name, launch_curves([launch for sheet in sheets for launch in sheet.launches]))
        for name, sheets in names_and_sheets
    ]
