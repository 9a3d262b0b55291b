"""What a day consists of, its results, and what is written of them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from traceanalyze import __version__
from traceanalyze.comparison import Comparison
from traceanalyze.errors import InputError
from traceanalyze.judge.logs import compare
from traceanalyze.report.day import LogTask, all_worked, day_files, picture_names, setup_groups
from traceanalyze.report.files import check_output, make_folder, write_atomically
from traceanalyze.report.measure_json import measure_document
from traceanalyze.results import RunSheet
from traceanalyze.session import Asked
from traceanalyze.setups import SetupRuns, files_of, logs_in, named, runs_of_sheet
from traceanalyze.sheet import DaySheet, read_sheet
from traceanalyze.sheet.starting import FoundLog, new_sheet_text

#: Without a day sheet, logs stand in for setups as long as there are few enough to be told apart in one picture.
MOST_UNNAMED_SETUPS = 5
SHEET_NAME = "day.toml"
PICTURES = "pictures"


@dataclass(frozen=True, slots=True, kw_only=True)
class DayPlan:
    """The logs of a day and what will be done with them."""

    folder: Path
    sheet: DaySheet | None
    asked: Asked
    tasks: tuple[LogTask, ...]
    notes: tuple[str, ...] = ()

    def worked(self, executor: Executor | None, tick: Callable[[Path], None]) -> dict[Path, list[RunSheet]]:
        """Return the sheets of every log; `executor` is any of `concurrent.futures`, None works here."""
        return all_worked(self.tasks, executor, tick)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DayResults:
    """Everything found on a day."""

    plan: DayPlan
    by_file: Mapping[Path, Sequence[RunSheet]]
    setups: tuple[SetupRuns, ...]
    comparisons: tuple[Comparison, ...]


def planned_day(place: Path, asked: Asked, *, out: Path | None, force: bool) -> DayPlan:
    """Return what a folder or a day sheet asks to be done; the folder for outputs is made here.

    Raises
    ------
    InputError, SheetError, OutputError
        If the place holds no log, the sheet has mistakes, or the outputs cannot be written.
    """
    sheet, folder, notes = _sheet_of(place)
    paths = files_of(sheet) if sheet is not None else logs_in(folder)
    if not paths:
        raise InputError("no log in this folder", where=str(place), advice="logs end in .nmea, .gpx, .csv and the like")
    pictures: Mapping[Path, Path] = {}
    if out is not None:
        make_folder(out, inputs=paths)
        make_folder(out / PICTURES, inputs=paths)
        pictures = picture_names(paths, out / PICTURES)
        for picture in pictures.values():
            check_output(picture, force=force, inputs=paths)
    tasks = tuple(
        LogTask(path=path, asked=asked, picture=pictures.get(path), force=force, inputs=tuple(paths)) for path in paths
    )
    return DayPlan(folder=folder, sheet=sheet, asked=asked, tasks=tasks, notes=notes)


def _sheet_of(place: Path) -> tuple[DaySheet | None, Path, tuple[str, ...]]:
    if place.is_dir():
        if (place / SHEET_NAME).is_file():
            return read_sheet(place / SHEET_NAME), place, (f"setups as {place / SHEET_NAME} says",)
        note = (
            f"no {SHEET_NAME} here: each log stands for a setup; write one with: traceanalyze day {place} --new-sheet"
        )
        return None, place, (note,)
    if place.suffix.lower() == ".toml":
        return read_sheet(place), place.parent, ()
    if not place.exists():
        raise InputError("there is no such folder or day sheet", where=str(place), advice="check the name")
    raise InputError("is neither a folder nor a day sheet", where=str(place), advice="one log: traceanalyze measure")


def day_results(
    plan: DayPlan, by_file: Mapping[Path, Sequence[RunSheet]], *, baseline: str | None, smallest: float | None
) -> DayResults:
    """Return the day's setups and the comparison of each with the baseline (the first, unless named)."""
    setups = runs_of_sheet(plan.sheet, by_file) if plan.sheet is not None else _setups_of_logs(by_file)
    comparisons: list[Comparison] = []
    if len(setups) > 1:
        first = named(setups, baseline)
        others = [setup for setup in setups if setup is not first]
        comparisons = [_compared(first, other, plan, smallest) for other in others if _have_runs(first, other)]
    return DayResults(plan=plan, by_file=by_file, setups=tuple(setups), comparisons=tuple(comparisons))


def _have_runs(*setups: SetupRuns) -> bool:
    return all(setup.launches or setup.passes for setup in setups)


def _compared(first: SetupRuns, other: SetupRuns, plan: DayPlan, smallest: float | None) -> Comparison:
    conditions = {setup.name: setup.conditions for setup in plan.sheet.setups} if plan.sheet is not None else {}
    return compare(
        first.sheets,
        other.sheets,
        start_rule=plan.asked.start_rule,
        smallest=smallest,
        names=(first.name, other.name),
        conditions=(conditions[first.name], conditions[other.name]) if conditions else None,
        system=plan.asked.system,
    )


def _setups_of_logs(by_file: Mapping[Path, Sequence[RunSheet]]) -> list[SetupRuns]:
    """One setup a log, named by its file; none when there are too many to tell apart."""
    setups = [
        SetupRuns(name=path.stem, sheets=tuple(sheets))
        for path, sheets in by_file.items()
        if any(sheet.launches for sheet in sheets)
    ]
    return setups if len(setups) <= MOST_UNNAMED_SETUPS else []


def write_day(results: DayResults, out: Path, *, pictures: bool, force: bool) -> Iterator[Path]:
    """Write the day's tables, pictures and page, yielding each name; the folder is made if need be."""
    from traceanalyze.report.page import day_page

    inputs = [task.path for task in results.plan.tasks]
    make_folder(out, inputs=inputs)
    groups = setup_groups([(setup.name, setup.sheets) for setup in results.setups])
    files = day_files(results.by_file, groups, results.comparisons, results.plan.asked, pictures=pictures)
    for name, content in [*files, ("report.html", day_page(results, groups).encode("utf-8", "backslashreplace"))]:
        write_atomically(out / name, content, force=force, inputs=inputs)
        yield out / name


def day_document(results: DayResults) -> dict[str, Any]:
    """Return the JSON document of `day`: every log's results and the comparisons."""
    sheets = [sheet for one in results.by_file.values() for sheet in one]
    return {
        "schema": "traceanalyze.day/1",
        "version": __version__,
        "files": measure_document(sheets)["files"],
        "setups": [
            {
                "name": setup.name,
                "launches": sum(len(sheet.launches) for sheet in setup.sheets),
                "passes": sum(len(sheet.passes) for sheet in setup.sheets),
            }
            for setup in results.setups
        ],
        "comparisons": [one.to_dict() for one in results.comparisons],
    }


def write_new_sheet(
    plan: DayPlan, by_file: Mapping[Path, Sequence[RunSheet]], out: Path | None, *, force: bool
) -> Path:
    """Write a commented day sheet that lists the folder's logs, one setup each, and return its name."""
    path = plan.folder / SHEET_NAME if out is None else out
    logs = [_found(path.name, sheet) for path, sheets in by_file.items() for sheet in sheets]
    write_atomically(path, new_sheet_text(logs), force=force, inputs=[task.path for task in plan.tasks])
    return path


def _found(name: str, sheet: RunSheet) -> FoundLog:
    return FoundLog(
        name=name,
        start_utc_s=sheet.time_origin_utc_s,
        duration_s=sheet.duration_s,
        launches=len(sheet.launches),
        passes=len(sheet.passes),
        error=sheet.error or "",
    )
