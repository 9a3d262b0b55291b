"""Statements -> the tables of a sheet, each entry with its line; what stands in no known table is told."""

from __future__ import annotations

import difflib
import reprlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from traceanalyze.sheet.statements import Mistake, Statement, parsed, statements

#: Mistakes told at once; a file with more is no day sheet, and looking up each would take long.
MOST_MISTAKES = 200


@dataclass(frozen=True, slots=True)
class Entry:
    """A value and the statement it was written in."""

    value: Any
    statement: Statement

    @property
    def line(self) -> int:
        """Line that the statement begins on."""
        return self.statement.line

    def line_of(self, word: str) -> int:
        """Line on which a text of the value stands (in a list over several lines)."""
        return self.statement.line_of(word)


@dataclass(frozen=True, slots=True)
class Table:
    """One `[day]`, `[vehicle]` or `[[setup]]`: its name, its line, its entries by key, and keys that were not TOML."""

    name: str
    line: int
    entries: dict[str, Entry] = field(default_factory=dict)
    broken: set[str] = field(default_factory=set)

    def mentions(self, key: str) -> bool:
        """Whether a key was written, rightly or not."""
        return key in self.entries or key in self.broken

    @property
    def title(self) -> str:
        """As it is written in the sheet."""
        return f"[[{self.name}]]" if self.name == "setup" else f"[{self.name}]"


class TableReader:
    """Gathers the tables of one sheet and every mistake in its form.

    Parameters
    ----------
    known : mapping of str to collection of str
        The keys of each table.
    """

    def __init__(self, known: Mapping[str, Iterable[str]]) -> None:
        self.known = {name: tuple(keys) for name, keys in known.items()}
        self.tables: list[Table] = []
        self.mistakes: list[Mistake] = []
        self._current: Table | None = None
        self._unknown_table = False

    def read(self, text: str) -> list[Table]:
        """Return the tables of a text; the mistakes are in `mistakes`."""
        for statement in statements(text):
            if len(self.mistakes) >= MOST_MISTAKES:
                self._tell(statement.line, "too many mistakes to go on", "correct those above first")
                break
            content = parsed(statement)
            if isinstance(content, Mistake):
                self.mistakes.append(content)
                self._unknown_table |= statement.is_header
                if self._current is not None and not self._unknown_table:
                    self._current.broken.add(statement.key)
            elif statement.is_header:
                self._open(content, statement)
            else:
                self._take(content, statement)
        if not self.mistakes:
            self._ask_the_standard(text)
        return self.tables

    def _open(self, content: dict[str, Any], statement: Statement) -> None:
        """Begin the table that a header names."""
        (name, inner), *_ = content.items()
        listed = isinstance(inner, list)
        below = inner[0] if listed else inner
        self._unknown_table = name not in self.known or bool(below)
        if name not in self.known:
            self._tell(
                statement.line, f"unknown table {short(name)}", f"the nearest known one is {_title(self._near(name))}"
            )
        elif below:
            self._tell(statement.line, *self._unknown_key(next(iter(below)), name))
        else:
            if listed != (name == "setup"):
                self._tell(statement.line, f"{name} has the wrong brackets", f"write it as {_title(name)}")
            self._current = self._begun(name, statement.line)

    def _begun(self, name: str, line: int) -> Table:
        """Return a new table; a second `[day]` is told and goes on filling the first."""
        for table in self.tables if name != "setup" else ():
            if table.name == name:
                self._tell(line, f"{table.title} stands there already, on line {table.line}", "put both together")
                return table
        self.tables.append(Table(name, line))
        return self.tables[-1]

    def _take(self, content: dict[str, Any], statement: Statement) -> None:
        """Put one `key = value` into the table it belongs to."""
        if self._unknown_table:
            return
        if self._current is not None:
            self._fill(self._current, content, statement)
            return
        for name, value in content.items():  # before any header: whole tables, written inline or dotted
            if name == "setup" and isinstance(value, dict):
                self._tell(statement.line, "setup has the wrong form", "write it as [[setup]], with its keys below")
            elif name in self.known and isinstance(value, dict):
                self._fill(self._inline(name, statement.line), value, statement)
            elif name == "setup" and isinstance(value, list) and all(isinstance(one, dict) for one in value):
                for one in value:
                    self._fill(self._begun(name, statement.line), one, statement)
            else:
                self._tell(statement.line, f"{short(name)} stands before any table", self._home(name))

    def _inline(self, name: str, line: int) -> Table:
        """Return the table that `day.place = ...` before any header belongs to."""
        return next((table for table in self.tables if table.name == name), None) or self._begun(name, line)

    def _fill(self, table: Table, content: dict[str, Any], statement: Statement) -> None:
        for key, value in content.items():
            if key not in self.known[table.name]:
                self._tell(statement.line_of(key), *self._unknown_key(key, table.name))
            elif key in table.entries:
                first = table.entries[key].line
                self._tell(statement.line, f"{key!r} stands in {table.title} already, on line {first}", "keep one")
            else:
                table.entries[key] = Entry(value, statement)

    def _unknown_key(self, key: str, table: str) -> tuple[str, str]:
        nearest = max(self.known[table], key=lambda known: _likeness(key, known))
        others = [name for name, keys in self.known.items() if key in keys]
        advice = f"it belongs in {_title(others[0])}" if others else f"the nearest known key is {nearest!r}"
        return f"unknown key {short(key)} in {_title(table)}", advice

    def _home(self, key: str) -> str:
        for name, keys in self.known.items():
            if key in keys:
                return f"put it under {_title(name)}"
        keys_of = {known: name for name, keys in self.known.items() for known in keys}
        nearest = max(keys_of, key=lambda known: _likeness(key, known))
        return f"the nearest known key is {nearest!r}, under {_title(keys_of[nearest])}"

    def _near(self, name: str) -> str:
        return max(self.known, key=lambda known: _likeness(name, known))

    def _tell(self, line: int, reason: str, advice: str) -> None:
        self.mistakes.append(Mistake(line, reason, advice))

    def _ask_the_standard(self, text: str) -> None:
        """Whatever was understood here piece by piece must be TOML as a whole too."""
        import tomllib  # a day without a sheet needs none

        try:
            tomllib.loads(text)
        except (ValueError, RecursionError) as error:
            self._tell(text.count("\n") + 1, f"not TOML: {error}", "write each table once, and its keys below it")


_SHORT = reprlib.Repr()
_SHORT.maxstring = _SHORT.maxother = _SHORT.maxlong = 60


def _likeness(word: str, known: str) -> float:
    return difflib.SequenceMatcher(None, word[:60].lower(), known).ratio()


def short(value: object) -> str:
    """Return a value as Python writes it, cut where nobody would read on, however deep or long it is."""
    return _SHORT.repr(value)


def _title(name: str) -> str:
    return Table(name, 0).title
