"""Which runs of which log belong to which setup: what is given to the book to be kept."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from traceanalyze.errors import UsageError
from traceanalyze.results import RunSheet
from traceanalyze.sheet import DaySheet, Setup, Vehicle
from traceanalyze.sheet.choosing import is_skipped, runs_in_window


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Share:
    """The runs of one log that belong to one setup.

    Attributes
    ----------
    setup : Setup
        Its name, machine, conditions, notes.
    sheet : RunSheet
        The log's sheet with this setup's launches and passes only.
    left_out : frozenset of (kind, number)
        Runs that the rider leaves out of everything computed.
    """

    setup: Setup
    sheet: RunSheet
    left_out: frozenset[tuple[str, int]] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Entry:
    """One log to be added.

    Attributes
    ----------
    sheet : RunSheet
        Everything measured in it.
    file : str
        The file it was read from; differs from the sheet's path for one of several logs in an archive.
    shares : tuple of Share
    vehicle : Vehicle
        As the day has it, before any setup changed it.
    date : date or None
        The day as the rider has it; None takes the log's own.
    place : str
    utc_offset_s : float
        What the rider's clock was ahead of UTC [s]; NaN when not known (the log's date is then that of UTC).
    window : str
        Label of the window that top speeds were sustained over.
    """

    sheet: RunSheet
    file: str
    shares: tuple[Share, ...]
    vehicle: Vehicle = field(default_factory=Vehicle)
    date: date | None = None
    place: str = ""
    utc_offset_s: float = math.nan
    window: str = "1 s"

    @property
    def member(self) -> str:
        """Name inside an archive of several logs; empty for a log that is a file of its own."""
        return self.sheet.path.removeprefix(f"{self.file}:") if self.sheet.path != self.file else ""


def entries_of_files(
    setups: Mapping[str, Iterable[tuple[str, Sequence[RunSheet]]]],
    *,
    vehicle: Vehicle,
    date: date | None,
    place: str,
    window: str,
) -> list[Entry]:
    """Return the logs of named setups, each wholly of its setup; refused ones are passed over.

    Parameters
    ----------
    setups : mapping of setup name to (file, sheets)

    Raises
    ------
    UsageError
        If one log is given to two setups.
    """
    entries: dict[tuple[str, str], Entry] = {}
    for name, files in setups.items():
        for file, sheets in files:
            for sheet in sheets:
                if sheet.refused:
                    continue
                share = Share(setup=Setup(name=name, vehicle=vehicle), sheet=sheet)
                entry = Entry(
                    sheet=sheet,
                    file=file,
                    shares=(share,),
                    vehicle=vehicle,
                    date=date,
                    place=place,
                    window=window,
                )
                other = entries.setdefault((sheet.sha256, entry.member), entry)
                if other.shares[0].setup.name != name:
                    raise UsageError(
                        f"{sheet.path} is in setup {other.shares[0].setup.name!r} and in {name!r}",
                        advice="give each log to one setup, or share it out by the clock with a day sheet",
                    )
    return list(entries.values())


def entries_of_sheet(sheet: DaySheet, by_file: Mapping[Path, Sequence[RunSheet]], *, window: str) -> list[Entry]:
    """Return the logs of a day sheet with the runs of each setup, left-out ones marked; refused ones are passed over.

    Parameters
    ----------
    by_file : mapping of path to sheets
        Of every file the sheet speaks of; a setup without files looks at every one.
    """
    return [
        Entry(
            sheet=log,
            file=str(file),
            shares=tuple(_share(setup, sheet, file, log) for setup in sheet.setups if file in (setup.files or by_file)),
            vehicle=sheet.vehicle,
            date=sheet.day.date,
            place=sheet.day.place,
            utc_offset_s=sheet.day.utc_offset_s,
            window=window,
        )
        for file, logs in by_file.items()
        for log in logs
        if not log.refused
    ]


def _share(setup: Setup, sheet: DaySheet, file: Path, log: RunSheet) -> Share:
    mine = runs_in_window(log, setup, sheet.day)
    left_out = {("launch", one.number) for one in mine.launches if is_skipped(setup, file, "launch", one.number)}
    left_out |= {("pass", one.number) for one in mine.passes if is_skipped(setup, file, "pass", one.number)}
    return Share(setup=setup, sheet=mine, left_out=frozenset(left_out))
