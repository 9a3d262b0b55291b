"""Cells of a table of runs -> checked rows; every mistake is told with its row and column."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Final

from traceanalyze.errors import SheetError, UsageError, shown
from traceanalyze.units import SPEED_UNITS, parse_measure, unit_name

#: Columns a table of runs may have; the first two must be there.
COLUMNS: Final = ("setup", "value", "stderr", "order", "direction", "measure", "unit", "day", "note", "file", "launch")
#: A plain decimal number with either mark, perhaps with a unit behind it.
_NUMBER: Final = re.compile(r"([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?)\s*([A-Za-z/]*)", re.ASCII)
_TIME_WORDS: Final = ("s", "sec", "second", "seconds")
#: Digits after which rounding no longer matters.
_FINE = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class TableRow:
    """One run as written: value and uncertainty in `unit` (empty: not said), `step` of its last digit.

    `order` is NaN when not given.
    """

    setup: str
    value: float
    stderr: float
    step: float
    order: float
    direction: str
    measure: str
    unit: str
    day: str
    note: str


def column_names(names: Sequence[str]) -> list[str]:
    """Return the column names in their one spelling.

    Raises
    ------
    SheetError
        If a needed column is missing, a name comes twice, or an unknown one looks like a slip of a known one.
    """
    plain = [" ".join(name.strip().lower().split()) for name in names]
    for name in plain:
        near = get_close_matches(name, COLUMNS, n=1, cutoff=0.8)
        if name not in COLUMNS and near and near[0] not in plain:
            raise SheetError(f"unknown column {name!r}", advice=f"the nearest known one is {near[0]!r}")
        if name in COLUMNS and plain.count(name) > 1:
            raise SheetError(f"two columns are called {name!r}", advice="keep one")
    for needed in COLUMNS[:2]:
        if needed not in plain:
            have = ", ".join(plain) or "none"
            raise SheetError(f"no column {needed!r}, only: {have}", advice="a table of runs needs setup and value")
    return plain


def checked_rows(cells: Sequence[tuple[int, Mapping[str, str]]]) -> tuple[TableRow, ...]:
    """Return the rows of numbered cells by column name; completely empty rows are passed over.

    Raises
    ------
    SheetError
        With every mistake found, a line each.
    """
    mistakes: list[str] = []
    rows: list[tuple[int, TableRow]] = []
    for number, cell in cells:
        if not any(cell.values()):
            continue
        try:
            rows.append((number, _row(number, cell)))
        except SheetError as error:
            mistakes.append(error.reason)
    mistakes += list(_order_mistakes(rows))
    if mistakes:
        raise SheetError(mistakes[0], others=tuple(mistakes[1:]))
    if not rows:
        raise SheetError("the table holds no run", advice="write one run a row under the header")
    return tuple(row for _, row in rows)


def _row(number: int, cell: Mapping[str, str]) -> TableRow:
    value, unit, step = _quantity(number, "value", cell)
    stderr = _quantity(number, "stderr", cell)[0] if cell.get("stderr") else 0.0
    if not value > 0:
        raise _mistake(number, "value", cell, "must be above 0")
    if stderr < 0:
        raise _mistake(number, "stderr", cell, "must not be below 0")
    if not cell.get("setup"):
        raise SheetError(f"row {number}, column setup: is empty")
    said = _unit(number, cell)
    if said and unit and said != unit:
        raise _mistake(number, "unit", cell, f"though the value says {unit}")
    measure, in_measure = _measure(number, cell)
    return TableRow(
        setup=cell["setup"],
        value=value,
        stderr=stderr,
        step=step,
        order=_order(number, cell),
        direction=cell.get("direction", ""),
        measure=measure,
        unit=said or unit or in_measure,
        day=cell.get("day", ""),
        note=cell.get("note", ""),
    )


def _mistake(number: int, column: str, cell: Mapping[str, str], problem: str) -> SheetError:
    return SheetError(f"row {number}, column {column}: {cell.get(column, '')!r} {problem}")


def _quantity(number: int, column: str, cell: Mapping[str, str]) -> tuple[float, str, float]:
    """Value, unit written behind it (or empty), and the step of the last digit."""
    text = cell.get(column, "")
    if not text:
        raise SheetError(f"row {number}, column {column}: is empty")
    found = _NUMBER.fullmatch(text)
    if found is None or not math.isfinite(float(found[1].replace(",", "."))):
        raise _mistake(number, column, cell, "is not a number such as 4.05")
    digits = found[1].replace(",", ".").lower()
    decimals = len(digits.partition(".")[2]) if "e" not in digits else _FINE
    try:
        unit = _known_unit(found[2])
    except UsageError:
        raise _mistake(number, column, cell, f"has an unknown unit {shown(found[2])!r}") from None
    return float(digits), unit, 10.0**-decimals if decimals < _FINE else 0.0


def _known_unit(word: str) -> str:
    if not word:
        return ""
    return "s" if word.lower() in _TIME_WORDS else unit_name(word, SPEED_UNITS)


def _unit(number: int, cell: Mapping[str, str]) -> str:
    try:
        return _known_unit(cell.get("unit", ""))
    except UsageError:
        raise _mistake(number, "unit", cell, "is none of s, mph, km/h, m/s, kn") from None


def _measure(number: int, cell: Mapping[str, str]) -> tuple[str, str]:
    """Measure and, for a top speed written like `top speed mph`, its unit."""
    text = " ".join(cell.get("measure", "").lower().replace("(", " ").replace(")", " ").split())
    if not text:
        return "", ""
    head, _, last = text.rpartition(" ")
    try:
        if head.startswith("top"):
            return parse_measure(head).label, unit_name(last, SPEED_UNITS)
        return parse_measure(text).label, ""
    except UsageError:
        pass
    try:
        return parse_measure(text).label, ""
    except UsageError:
        problem = 'is no measure such as "0-30 mph", "60 ft" or "top speed"'
        raise _mistake(number, "measure", cell, problem) from None


def _order(number: int, cell: Mapping[str, str]) -> float:
    text = cell.get("order", "")
    if not text:
        return math.nan
    found = _NUMBER.fullmatch(text)
    if found is None or found[2] or not 0 < float(found[1].replace(",", ".")) < 1e6:
        raise _mistake(number, "order", cell, "is no place in the day such as 3")
    return float(found[1].replace(",", "."))


def _order_mistakes(rows: Sequence[tuple[int, TableRow]]) -> Iterator[str]:
    """Orders given for some runs only, or one place for two runs of a measure."""
    given = [(number, row) for number, row in rows if row.order == row.order]
    if given and len(given) < len(rows):
        number = next(number for number, row in rows if row.order != row.order)
        yield f"row {number}, column order: is empty while others have one (number all runs of the day, or none)"
    places: dict[tuple[str, str, float], int] = {}
    for number, row in given:
        first = places.setdefault((row.measure, row.day, row.order), number)
        if first != number:
            yield (
                f"row {number}, column order: {row.order:g} stands in row {first} too "
                "(number the runs 1, 2, ... through the whole day, not per setup)"
            )
