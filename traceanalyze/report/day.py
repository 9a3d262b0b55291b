"""The logs of a day, each worked on by itself: here, by processes, or by any other executor."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from traceanalyze.errors import InputError
from traceanalyze.judge.groups import SetupCurves, launch_curves, setup_curves
from traceanalyze.plots.drive import drive_figure
from traceanalyze.plots.style import picture_bytes
from traceanalyze.report.files import write_atomically
from traceanalyze.results import RunSheet
from traceanalyze.session import Asked, refused_sheet, study_file

if TYPE_CHECKING:
    from concurrent.futures import Executor, Future


@dataclass(frozen=True, slots=True, kw_only=True)
class LogTask:
    """One log of the day, and where its picture goes; None for no picture."""

    path: Path
    asked: Asked
    picture: Path | None = None
    force: bool = False


def worked(task: LogTask) -> list[RunSheet]:
    """Read and measure one log and draw its picture; only the results come back."""
    studies = study_file(task.path, task.asked)
    read = [study for study in studies if study.trace is not None]
    for k, study in enumerate(read, start=1):
        if task.picture is None or study.trace is None:
            continue
        # no log's own name has a plus sign in it once it is made safe
        name = task.picture if len(read) == 1 else task.picture.with_stem(f"{task.picture.stem}+{k}")
        figure = drive_figure(study.trace, study.sheet, task.asked.system, task.asked.start_rule)
        write_atomically(name, picture_bytes(figure, "png"), force=task.force)
    return [study.sheet for study in studies]


def all_worked(
    tasks: Sequence[LogTask], executor: Executor | None, tick: Callable[[Path], None]
) -> dict[Path, list[RunSheet]]:
    """Return the sheets of every task, in the order given, whatever order an executor finishes them in.

    `executor` is any of `concurrent.futures`; None works here. `tick` is called with each path as it is finished.
    """
    if executor is None:
        return {task.path: _ticked(task, tick) for task in tasks}
    from concurrent.futures import as_completed  # 7 ms, with logging, that one worker does without

    largest_first = sorted(tasks, key=lambda task: -_size(task.path))
    futures = {_submitted(executor, task): task.path for task in largest_first}
    for future in as_completed(futures):
        tick(futures[future])
    found = {path: _result(future, path) for future, path in futures.items()}
    return {task.path: found[task.path] for task in tasks}


def _ticked(task: LogTask, tick: Callable[[Path], None]) -> list[RunSheet]:
    sheets = worked(task)
    tick(task.path)
    return sheets


def _submitted(executor: Executor, task: LogTask) -> Future[list[RunSheet]]:
    """The future of a task; one that has failed already where the executor broke under an earlier task."""
    from concurrent.futures import BrokenExecutor, Future

    try:
        return executor.submit(worked, task)
    except BrokenExecutor as error:
        failed: Future[list[RunSheet]] = Future()
        failed.set_exception(error)
        return failed


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except (OSError, ValueError):
        return 0


def _result(future: Future[list[RunSheet]], path: Path) -> list[RunSheet]:
    from concurrent.futures import BrokenExecutor

    try:
        return future.result()
    except BrokenExecutor:
        reason, advice = "the process that read it was stopped", "memory may have run out: repeat with --workers 1"
        return [refused_sheet(path, InputError(reason, advice=advice))]


def picture_names(paths: Sequence[Path], folder: Path) -> dict[Path, Path]:
    """Return a picture name for each log: its stem made safe, numbered where two would be alike."""
    return dict(zip(paths, (folder / f"{name}.png" for name in unlike([path.stem for path in paths])), strict=True))


def unlike(texts: Iterable[str]) -> list[str]:
    """Return each text as a file name that every system takes, numbered where two would be alike."""
    names: list[str] = []
    taken: set[str] = set()
    for text in texts:
        stem = re.sub(r"[^\w.-]+", "-", text).strip("-.")[:60] or "log"
        name, k = stem, 2
        while name.casefold() in taken:
            name, k = f"{stem}-{k}", k + 1
        taken.add(name.casefold())
        names.append(name)
    return names


def setup_groups(names_and_sheets: Sequence[tuple[str, Sequence[RunSheet]]]) -> list[SetupCurves]:
    """Return the curves of each setup."""
    return [
        setup_curves(name, launch_curves([launch for sheet in sheets for launch in sheet.launches]))
        for name, sheets in names_and_sheets
    ]
