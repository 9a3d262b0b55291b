"""What a day consists of, its results, and what is written of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from traceanalyze import __version__
from traceanalyze.comparison import Comparison
from traceanalyze.errors import InputError
from traceanalyze.judge.logs import compare
from traceanalyze.report.compared import Compared
from traceanalyze.report.day import LogTask, all_worked
from traceanalyze.report.files import write_atomically
from traceanalyze.report.machine import drive_trains
from traceanalyze.report.measure_json import measure_document
from traceanalyze.results import RunSheet
from traceanalyze.session import Asked
from traceanalyze.setups import SetupRuns, files_of, logs_in, named, runs_of_sheet
from traceanalyze.sheet import DaySheet, read_sheet
from traceanalyze.sheet.starting import FoundLog, new_sheet_text

if TYPE_CHECKING:
    from concurrent.futures import Executor

#: Without a day sheet, logs stand in for setups as long as there are few enough to be told apart in one picture.
MOST_UNNAMED_SETUPS = 5
SHEET_NAME = "day.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class DayPlan:
    """The logs of a day and what will be done with them."""

    folder: Path
    sheet: DaySheet | None
    asked: Asked
    tasks: tuple[LogTask, ...]
    notes: tuple[str, ...] = ()

    @property
    def logs(self) -> list[Path]:
        """Every log of the day."""
        return [task.path for task in self.tasks]

    def with_pictures(self, pictures: Mapping[Path, Path], *, force: bool) -> DayPlan:
        """Return the plan with a picture for each log that `pictures` names one for."""
        tasks = (replace(task, picture=pictures.get(task.path), force=force) for task in self.tasks)
        return replace(self, tasks=tuple(tasks))

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

    def comparisons_dict(self) -> dict[str, Any]:
        """Return the comparisons for JSON, with engine speeds and corrected times as `compare` gives them."""
        setups = self.setups if self.comparisons else ()
        found = Compared(comparisons=self.comparisons, asked=self.plan.asked, setups=setups, sheet=self.plan.sheet)
        return {"comparisons": [one.to_dict() for one in self.comparisons], **found.vehicle_dict()}


def planned_day(place: Path, asked: Asked) -> DayPlan:
    """Return what a folder or a day sheet asks to be done.

    Raises
    ------
    InputError, SheetError
        If the place holds no log, or the sheet has mistakes.
    """
    if place.is_dir() and not (place / SHEET_NAME).is_file():
        return planned_folder(place, asked)
    if not place.is_dir() and place.suffix.lower() != ".toml":
        if not place.exists():
            raise InputError("there is no such folder or day sheet", where=str(place), advice="check the name")
        raise InputError(
            "is neither a folder nor a day sheet", where=str(place), advice="one log: traceanalyze measure"
        )
    sheet = read_sheet(place / SHEET_NAME if place.is_dir() else place)
    notes = (f"setups as {sheet.path} says",) if place.is_dir() else ()
    return DayPlan(folder=sheet.folder, sheet=sheet, asked=asked, tasks=_tasks(files_of(sheet), asked), notes=notes)


def planned_folder(place: Path, asked: Asked) -> DayPlan:
    """Return what a folder asks to be done when no day sheet says which log belongs to which setup.

    Raises
    ------
    InputError
        If it is no folder, or holds no log.
    """
    if not place.is_dir():
        raise InputError("is no folder", where=str(place), advice="name the folder of the logs")
    paths = logs_in(place)
    if not paths:
        raise InputError("no log in this folder", where=str(place), advice="logs end in .nmea, .gpx, .csv and the like")
    note = f"no {SHEET_NAME} here: each log stands for a setup; write one with: traceanalyze day {place} --new-sheet"
    return DayPlan(folder=place, sheet=None, asked=asked, tasks=_tasks(paths, asked), notes=(note,))


def _tasks(paths: Sequence[Path], asked: Asked) -> tuple[LogTask, ...]:
    return tuple(LogTask(path=path, asked=asked) for path in paths)


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
        measures=None if plan.asked.measures == Asked().measures else plan.asked.measures,  # the first named leads
        start_rule=plan.asked.start_rule,
        smallest=smallest,
        names=(first.name, other.name),
        conditions=(conditions[first.name], conditions[other.name]) if conditions else None,
        trains=drive_trains(plan.sheet),
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
        **results.comparisons_dict(),
    }


def new_sheet_path(plan: DayPlan, out: Path | None) -> Path:
    """Return where a new sheet goes: beside the logs, unless another place is named."""
    return plan.folder / SHEET_NAME if out is None else out


def write_new_sheet(
    plan: DayPlan, by_file: Mapping[Path, Sequence[RunSheet]], out: Path | None, *, force: bool
) -> Path:
    """Write a commented day sheet that lists the folder's logs, one setup each, and return its name."""
    path = new_sheet_path(plan, out)
    logs = [_found(path.name, sheet) for path, sheets in by_file.items() for sheet in sheets]
    write_atomically(path, new_sheet_text(logs), force=force, inputs=plan.logs)
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
