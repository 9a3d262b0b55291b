"""A day sheet on disk -> DaySheet, or every mistake in it at once."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import fields, replace
from pathlib import Path
from typing import Any, Final

from traceanalyze.errors import InputError, SheetError
from traceanalyze.sheet.fields import TABLES, WrongValueError
from traceanalyze.sheet.logs import identity, nearest, trouble
from traceanalyze.sheet.nouns import Conditions, Day, DaySheet, RunKind, Setup, Skip, Vehicle
from traceanalyze.sheet.statements import Mistake
from traceanalyze.sheet.tables import MOST_MISTAKES, Entry, Table, TableReader, short
from traceanalyze.sheet.together import mistakes_together

#: Largest sheet [bytes]: a sheet of a hundred setups has 50 kB; anything above this is a log given by mistake.
MAX_SHEET_BYTES: Final = 250_000
#: Files of one setup; a long day has a few dozen.
MOST_FILES: Final = 1000
_SKIP: Final = re.compile(r"(.+)#\s*(p(?:ass\s*)?)?([1-9]\d{0,5})", re.DOTALL | re.ASCII)

Values = dict[str, Any]


def read_sheet(path: str | Path) -> DaySheet:
    """Return a day sheet whose every key, value and file has been checked.

    File names start from the sheet's folder and are taken as written: no `~`, pattern, variable or address is
    understood in them.

    Raises
    ------
    InputError
        If the sheet itself cannot be opened.
    SheetError
        With every mistake found: each has its line, what was found, and what to do. One mistake makes one line of
        text, several make several.
    """
    return SheetReader(Path(path)).read(_text(Path(path)))


def _text(path: Path) -> str:
    """Return the text of the sheet; editors that write UTF-16 or a byte order mark are understood.

    Raises
    ------
    InputError, SheetError
    """
    try:
        if not path.is_file():
            reason = "is a folder or a device" if path.exists() else "no such file"
            raise InputError(reason, where=str(path), advice="give the name of a day sheet (TOML)")
        with path.open("rb") as file:
            data = file.read(MAX_SHEET_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or "cannot be opened").lower()
        raise InputError(reason, where=str(path), advice="check the name and the permissions") from None
    if len(data) > MAX_SHEET_BYTES:
        raise SheetError("is too large for a day sheet", where=str(path), advice="give logs by themselves")
    encoding = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        return data.decode(encoding).replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise SheetError(
            f"line {line}: not UTF-8 text", where=str(path), advice="save the sheet as UTF-8 (or it is no day sheet)"
        ) from None


class SheetReader:
    """Reads one sheet, gathering mistakes as it goes on.

    Parameters
    ----------
    path : Path
        Of the sheet; its folder is where file names start from.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.mistakes: list[Mistake] = []
        self._knows_offset = False

    def read(self, text: str) -> DaySheet:
        """Return the sheet that a text describes.

        Raises
        ------
        SheetError
            With every mistake found.
        """
        reader = TableReader(TABLES)
        tables = reader.read(text)
        self.mistakes += reader.mistakes
        if not tables and len(self.mistakes) > 5:
            raise SheetError("is no day sheet", where=str(self.path), advice="give a log by itself, without a sheet")
        values = {id(table): self._values(table) for table in tables}
        self._knows_offset = any(table.name == "day" and table.mentions("utc_offset") for table in tables)
        day = self._day(tables, values)
        vehicle = self._vehicle(tables, values)
        shared = self._shared_files(tables, values)
        own = [table for table in tables if table.name == "setup"]
        setups = tuple(self._setup(table, values[id(table)], day, vehicle, shared) for table in own)
        if own or not self.mistakes:
            self.mistakes += mistakes_together(own, setups)
        if self.mistakes:
            raise self._error()
        return DaySheet(path=self.path, day=day, vehicle=vehicle, setups=setups)

    def _error(self) -> SheetError:
        first, *others = sorted(self.mistakes, key=lambda mistake: mistake.line)[:MOST_MISTAKES]
        return SheetError(
            f"line {first.line}: {first.reason}",
            where=str(self.path),
            advice=first.advice,
            others=tuple(map(str, others)),
        )

    def _tell(self, line: int, reason: str, advice: str) -> None:
        self.mistakes.append(Mistake(line, reason, advice))

    def _values(self, table: Table) -> Values:
        """Return the entries of a table that are what their key asks for."""
        good: Values = {}
        for key, entry in table.entries.items():
            try:
                good[key] = TABLES[table.name][key](entry.value)
            except WrongValueError as error:
                self._tell(entry.line, f"{key} cannot be {short(entry.value)}", str(error))
        return good

    def _day(self, tables: list[Table], values: Mapping[int, Values]) -> Day:
        found = next((values[id(table)] for table in tables if table.name == "day"), {})
        return Day(
            date=found.get("date"),
            place=found.get("place", ""),
            notes=found.get("notes", ""),
            utc_offset_s=found.get("utc_offset", math.nan),
            conditions=replace(Conditions(), **_named(Conditions, found)),
        )

    def _vehicle(self, tables: list[Table], values: Mapping[int, Values]) -> Vehicle:
        found = next((values[id(table)] for table in tables if table.name == "vehicle"), {})
        return replace(Vehicle(), **_named(Vehicle, found))

    def _shared_files(self, tables: list[Table], values: Mapping[int, Values]) -> tuple[Path, ...]:
        """Return the logs that `[day]` names for every setup without files of its own."""
        table = next((table for table in tables if table.name == "day"), None)
        if table is None or "files" not in values[id(table)]:
            return ()
        return self._files(values[id(table)]["files"], table.entries["files"])

    def _setup(self, table: Table, values: Values, day: Day, vehicle: Vehicle, shared: tuple[Path, ...]) -> Setup:
        if not table.mentions("name"):
            self._tell(table.line, "a [[setup]] without a name", 'add a line such as name = "standard spring"')
        own = self._files(values["files"], table.entries["files"]) if "files" in values else ()
        changes = {key: value for key, value in _named(Vehicle, values).items() if key != "name"}
        setup = Setup(
            name=values.get("name", ""),
            files=own or shared,
            from_s=values.get("from", math.nan),
            to_s=values.get("to", math.nan),
            vehicle=replace(vehicle, **changes),
            conditions=replace(day.conditions, **_named(Conditions, values)),
            notes=values.get("notes", ""),
        )
        self._check_window(table, setup)
        if not any(map(table.mentions, ("files", "from", "to"))):
            self._tell(table.line, "a [[setup]] without files", 'add files = ["run1.nmea"], or from and to')
        skips = [self._skip(word, setup, table.entries["skip"]) for word in values.get("skip", ())]
        return replace(setup, skip=tuple(skip for skip in skips if skip is not None))

    def _check_window(self, table: Table, setup: Setup) -> None:
        if setup.by_clock and not self._knows_offset:
            entry = table.entries.get("from") or table.entries["to"]
            self._tell(
                entry.line,
                "a clock window, but [day] does not say what the clock is ahead of UTC, which the logs hold",
                'add utc_offset = "+02:00" (your own) to [day]',
            )
        if setup.to_s <= setup.from_s:
            self._tell(table.entries["to"].line, "to is not later than from", "give the earlier time as from")

    def _files(self, names: tuple[str, ...], entry: Entry) -> tuple[Path, ...]:
        """Return the paths of named files; those that cannot be read are told."""
        found: dict[object, Path] = {}
        for name in names[:MOST_FILES]:
            path = self.path.parent / name
            wrong = trouble(path, name) if len(self.mistakes) < MOST_MISTAKES else None
            if wrong:
                self._tell(entry.line_of(name), *wrong)
            if identity(path) in found:
                self._tell(entry.line_of(name), f"{short(name)} stands twice in one list", "keep one")
            found[identity(path)] = path
        if len(names) > MOST_FILES:
            self._tell(entry.line, f"{len(names)} files in one setup", f"a setup holds at most {MOST_FILES}")
        return tuple(found.values())

    def _skip(self, word: str, setup: Setup, entry: Entry) -> Skip | None:
        found = _SKIP.fullmatch(word)
        if found is None:
            advice = 'write the file, # and the number of the launch, such as "run3.nmea#2" (a pass: "run3.nmea#p2")'
            self._tell(entry.line_of(word), f"{short(word)} names no run to skip", advice)
            return None
        file = self.path.parent / found[1]
        file = file if file.exists() else self.path.parent / found[1].strip()
        if setup.files and identity(file) not in map(identity, setup.files):
            near = nearest(found[1], [other.name for other in setup.files])
            self._tell(
                entry.line_of(word), f"{short(word)} is of no file of this setup", f"the nearest is {short(near)}"
            )
        kind: RunKind = "pass" if found[2] else "launch"
        return Skip(file, kind, int(found[3]))


def _named(kind: type, values: Values) -> Values:
    """Return the values that are fields of a noun."""
    names = {one.name for one in fields(kind)}
    return {key: value for key, value in values.items() if key in names}
