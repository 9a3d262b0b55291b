"""The bytes of a CSV table of runs -> its cells, strictly: nothing is shifted, guessed or dropped."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from traceanalyze.errors import SheetError
from traceanalyze.judge.rows import column_names
from traceanalyze.judge.table import RunTable, table_of

#: No hand writes more; a larger file is not a table of runs.
MAX_TABLE_BYTES = 2_000_000


def read_runs(data: bytes) -> RunTable:
    """Return the checked table in a CSV text.

    Fields are separated by comma, semicolon or tab, whichever the header uses; with the latter two a decimal comma is
    understood. UTF-8, UTF-16 with its mark, else Windows-1252. Lines that begin with `#` are comments.

    Raises
    ------
    SheetError
        Naming row and column.
    """
    if len(data) > MAX_TABLE_BYTES:
        raise SheetError("is too large to be a table of runs", advice="a log is measured: traceanalyze measure")
    if b"\0" in data and not data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise SheetError("is not a text", advice="save the table as CSV")
    lines = _lines(_text(data))
    if not lines:
        raise SheetError("is empty", advice="the first line names the columns: setup,value,order,direction")
    sign = _separator(lines[0][1])
    records = [(number, _fields(number, line, sign)) for number, line in lines]
    names = column_names(records[0][1])
    return table_of([(number, _cells(number, fields, names)) for number, fields in records[1:]], names)


def _text(data: bytes) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def _lines(text: str) -> list[tuple[int, str]]:
    """Lines with their number from 1, without comments and empty ones at either end."""
    lines = list(enumerate(io.StringIO(text, newline=None).read().split("\n"), start=1))
    return [(number, line) for number, line in lines if line.strip() and not line.lstrip().startswith("#")]


def _separator(header: str) -> str:
    return max(("\t", ";", ","), key=header.count)


def _fields(number: int, line: str, sign: str) -> list[str]:
    try:
        return [field.strip() for field in next(csv.reader([line], delimiter=sign, strict=True))]
    except (csv.Error, StopIteration):
        raise SheetError(f"row {number}: a quote is not closed", advice="close it, or leave quotes out") from None


def _cells(number: int, fields: Sequence[str], names: Sequence[str]) -> dict[str, str]:
    extra = [field for field in fields[len(names) :] if field]
    if extra:
        raise SheetError(
            f"row {number}: {len(fields)} cells under {len(names)} columns",
            advice="a decimal comma needs semicolons between the cells, or quotes around the number",
        )
    return dict(zip(names, [*fields, *[""] * len(names)], strict=False))
