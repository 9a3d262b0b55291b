"""Which runs belong to which setup: from `SETUP=FILE,FILE` words, or from a day sheet with clock windows and skips."""

from __future__ import annotations

import glob
import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from traceanalyze.errors import UsageError, shown
from traceanalyze.results import Launch, Pass, RunSheet
from traceanalyze.session import Asked, measure_file
from traceanalyze.sheet import DaySheet, read_sheet
from traceanalyze.sheet.choosing import runs_in_window, without_skipped


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SetupRuns:
    """One setup and the sheets of its logs, each holding only the launches and passes that belong to it."""

    name: str
    sheets: tuple[RunSheet, ...]

    @property
    def launches(self) -> tuple[Launch, ...]:
        """All launches, in the order of the logs."""
        return tuple(launch for sheet in self.sheets for launch in sheet.launches)

    @property
    def passes(self) -> tuple[Pass, ...]:
        """All passes, in the order of the logs."""
        return tuple(one for sheet in self.sheets for one in sheet.passes)


def named_files(words: Sequence[str]) -> dict[str, list[str]]:
    """Return the files of each setup that words such as `stiff spring=run3.nmea,run4.nmea` name, in order.

    The same name again adds files. A name with commas is split only when no file of that whole name exists. Patterns
    and `~`, which no shell expands behind a `=`, are understood.

    Raises
    ------
    UsageError
        If a word has no `=`, no setup name or no file.
    """
    setups: dict[str, list[str]] = {}
    for word in words:
        name, sign, files = word.partition("=")
        if not (sign and name.strip() and files.strip()):
            raise UsageError(
                f"{word!r} does not name a setup and its logs",
                advice='write it like "stiff spring=run3.nmea,run4.nmea", or give a day sheet (.toml)',
            )
        parts = [files] if _exists(files) else [part.strip() for part in files.split(",") if part.strip()]
        setups.setdefault(name.strip(), []).extend(file for part in parts for file in _expanded(part))
    return setups


def _exists(name: str) -> bool:
    try:
        return Path(name).exists()
    except (OSError, ValueError):
        return False


def _expanded(name: str) -> list[str]:
    """Return the files that a name or a pattern means; one that means none is kept as it is."""
    if _exists(name):
        return [name]
    home = os.path.expanduser(name)  # noqa: PTH111 - may be a pattern
    found = sorted(glob.glob(home)) if any(sign in home for sign in "*?[") else []  # noqa: PTH207 - keeps the name
    return found or [home]


def is_sheet(words: Sequence[str]) -> bool:
    """Whether the words are one day sheet rather than setups with files."""
    return len(words) == 1 and words[0].lower().endswith(".toml") and "=" not in Path(words[0]).name


def read_setups(words: Sequence[str], asked: Asked) -> list[SetupRuns]:
    """Return the runs of the setups that the words of a command name: `SETUP=FILE,...` words or one day sheet.

    Raises
    ------
    UsageError, SheetError
        If the words or the sheet are wrong; a log that is refused is a sheet with its error.
    """
    if not is_sheet(words):
        return runs_of_files(named_files(words), lambda file: measure_file(file, asked))
    sheet = read_sheet(words[0])
    return runs_of_sheet(sheet, {file: measure_file(file, asked) for file in files_of(sheet)})


def files_of(sheet: DaySheet) -> list[Path]:
    """Return every log a day sheet speaks of: the named ones, and its folder's when a setup names none."""
    named_ones = list(sheet.files)
    if all(setup.files for setup in sheet.setups):
        return named_ones
    return list(dict.fromkeys([*named_ones, *logs_in(sheet.folder)]))


#: Endings of logs in a folder; a file with another is left alone unless it is named (its content still decides).
LOG_ENDINGS = (
    ".nmea", ".nme", ".log", ".txt", ".gps", ".gpx", ".csv", ".tsv", ".dat", ".gga", ".rmc", ".ubx", ".gz", ".zip",
)  # fmt: skip


def logs_in(folder: Path) -> list[Path]:
    """Return the logs of a folder, sorted by name; hidden files and folders within it are left alone."""
    return sorted(
        path
        for path in folder.iterdir()
        if path.suffix.lower() in LOG_ENDINGS and not path.name.startswith(".") and path.is_file()
    )


def runs_of_files(
    setups: Mapping[str, Sequence[str]], measured: Callable[[str], Iterable[RunSheet]]
) -> list[SetupRuns]:
    """Return the runs of each named setup; `measured` gives the sheets of one file."""
    return [
        SetupRuns(name=name, sheets=tuple(sheet for file in files for sheet in measured(file)))
        for name, files in setups.items()
    ]


def runs_of_sheet(sheet: DaySheet, by_file: Mapping[Path, Sequence[RunSheet]]) -> list[SetupRuns]:
    """Return the runs of each setup of a day sheet, its clock windows and skips applied.

    Parameters
    ----------
    sheet : DaySheet
    by_file : mapping
        The sheets of every log, under the path as `files_of` gives it; a setup without files looks at every one.
    """
    return [
        SetupRuns(
            name=setup.name,
            sheets=tuple(
                without_skipped(runs_in_window(one, setup, sheet.day), setup, file)
                for file in (setup.files or tuple(by_file))
                for one in by_file.get(file, ())
            ),
        )
        for setup in sheet.setups
    ]


def sheets_read(setups: Iterable[SetupRuns]) -> list[RunSheet]:
    """Return every sheet that was read, each log once."""
    return list({sheet.path: sheet for setup in setups for sheet in setup.sheets if not sheet.refused}.values())


def refusals(setups: Iterable[SetupRuns]) -> list[str]:
    """Return the one-line error of every log that was refused, once."""
    errors = [sheet.error for setup in setups for sheet in setup.sheets if sheet.error]
    return list(dict.fromkeys(errors))


def named(setups: Sequence[SetupRuns], name: str | None) -> SetupRuns:
    """Return the setup of that name, or the first when no name is given.

    Raises
    ------
    UsageError
        If no setup has that name.
    """
    if name is None:
        return setups[0]
    for setup in setups:
        if setup.name == name:
            return setup
    known = ", ".join(shown(setup.name) for setup in setups)
    raise UsageError(f"no setup is called {name!r}", advice=f"there are: {known}")
