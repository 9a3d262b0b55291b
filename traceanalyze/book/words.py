"""The words of `book add` -> logs to be added: `SETUP=FILE,FILE` words, or one day sheet."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from traceanalyze.book.entries import Entry, entries_of_files, entries_of_sheet
from traceanalyze.errors import UsageError
from traceanalyze.results import RunSheet
from traceanalyze.session import Asked, measure_file
from traceanalyze.settings import BOOK_MEASURES
from traceanalyze.setups import files_of, is_sheet, named_files
from traceanalyze.sheet import Vehicle, read_sheet
from traceanalyze.units import parse_measure


@dataclass(frozen=True, slots=True, kw_only=True)
class Occasion:
    """What is said of logs that no day sheet speaks of; None where nothing is."""

    vehicle: str | None = None
    date: str | None = None
    place: str | None = None

    def day(self) -> datetime.date | None:
        """Return the date.

        Raises
        ------
        UsageError
            If it is none.
        """
        if self.date is None:
            return None
        try:
            return datetime.date.fromisoformat(self.date)
        except ValueError:
            raise UsageError(f"{self.date!r} is no date", advice="write it like --date 2026-05-17") from None


def entries_from_words(words: Sequence[str], asked: Asked, occasion: Occasion) -> tuple[list[Entry], list[str]]:
    """Return the logs to be added, measured, and the errors of logs that were refused.

    Every measure that the book keeps is measured, beside those asked for.

    Raises
    ------
    UsageError, SheetError
        If the words, the date or the sheet are wrong.
    """
    wide = replace(asked, measures=tuple(dict.fromkeys([*asked.measures, *map(parse_measure, BOOK_MEASURES)])))
    if is_sheet(words):
        return _from_sheet(words[0], wide, occasion)
    day = occasion.day()
    setups = {
        name: [(file, measure_file(file, wide)) for file in dict.fromkeys(files)]
        for name, files in named_files(words).items()
    }
    entries = entries_of_files(
        setups,
        vehicle=Vehicle(name=occasion.vehicle or ""),
        date=day,
        place=occasion.place or "",
        window=wide.window.label,
    )
    return entries, list(_errors(sheets for files in setups.values() for _, sheets in files))


def _from_sheet(path: str, asked: Asked, occasion: Occasion) -> tuple[list[Entry], list[str]]:
    if occasion != Occasion():
        raise UsageError(
            "--vehicle, --date and --place do not go with a day sheet", advice="write them in the sheet instead"
        )
    sheet = read_sheet(path)
    by_file = {file: measure_file(file, asked) for file in files_of(sheet)}
    return entries_of_sheet(sheet, by_file, window=asked.window.label), list(_errors(by_file.values()))


def _errors(groups: Iterable[Sequence[RunSheet]]) -> Iterator[str]:
    yield from dict.fromkeys(sheet.error for sheets in groups for sheet in sheets if sheet.error)
