"""How a table is written: separator, decimal sign, where its names stand and what its rows look like."""

from __future__ import annotations

import csv
import re
from typing import Final, NamedTuple

from traceanalyze.errors import FormatError
from traceanalyze.parsers.table.dialect import in_one_dialect, translation
from traceanalyze.parsers.table.words import known_unit, meaning

#: How much of the file is looked at to find its layout [bytes].
HEAD_BYTES: Final = 1 << 16
#: In this order: a table that can be read with an earlier one is not tried with a later one.
_SEPARATORS = (";", "\t", "|", ",", " ")
_COMMENTS = ("#", "%", "//")
_PREAMBLE_LINES = 100
_ROWS_LOOKED_AT = 50
_LONGEST_VALUE = 64
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_COMMA_NUMBER = re.compile(r"[+-]?\d*,\d+", re.ASCII)
_GROUPED = re.compile(r"[+-]?\d{1,3}([.,' \u00a0\u202f]\d{3})+([.,]\d+)?", re.ASCII)
_STAMP = re.compile(r"[\dTZ:./+ ,-]*\d[\dTZ:./+ ,-]*[:/-][\dTZ:./+ ,-]*", re.ASCII)
_BLANKS = frozenset(("", "-", "nan", "null", "none", "na", "n/a", "--"))


class Layout(NamedTuple):
    """How the table is written.

    Attributes
    ----------
    separator : str
        Between cells; a blank stands for any run of blanks.
    decimal : str
        Point or comma.
    names : tuple of str
        One a column; empty when the table has no header.
    units : tuple of str
        From a row of units under the header, one a column, or empty.
    width : int
        Cells in a row.
    start : int
        Where the first row begins [bytes].
    sample : tuple of tuple of str
        The first rows' cells.
    header_lines : tuple of bytes
        The header and row of units as they look in a block, to be recognised where they are repeated.
    translation : bytes or None
        Table that turns this dialect's separators into commas and its decimal sign into a point.
    """

    separator: str
    decimal: str
    names: tuple[str, ...]
    units: tuple[str, ...]
    width: int
    start: int
    sample: tuple[tuple[str, ...], ...]
    header_lines: tuple[bytes, ...]
    translation: bytes | None

    def quoted_number(self, cell: str) -> str:
        """Return a quoted cell with a point where this table writes a decimal comma."""
        return cell.replace(",", ".") if self.decimal == "," and _COMMA_NUMBER.fullmatch(cell) else cell

    def column_cells(self, column: int) -> list[str]:
        """Return the first rows' cells of one column that hold something."""
        return [row[column] for row in self.sample if row[column].lower() not in _BLANKS]


class _Line(NamedTuple):
    number: int
    begin: int
    end: int
    text: str


def find_layout(data: bytes) -> Layout:
    """Return the layout of a table.

    Raises
    ------
    FormatError
        If it is no table, its rows do not fit its header, or decimal commas cannot be told from separators.
    """
    lines = _lines(data)
    declared = lines[0].text.strip().lower() if lines else ""
    separators: tuple[str, ...] = _SEPARATORS
    if declared.startswith("sep=") and len(declared) == 5:  # as spreadsheets write it
        separators, lines = (declared[4],), lines[1:]
    failures = [FormatError("not a table of numbers", advice="a CSV needs a header line and rows with as many cells")]
    for separator in separators:
        try:
            layout = _try(data, lines, separator)
        except FormatError as error:
            failures.append(error)
            continue
        if layout is not None:
            return layout
    raise failures[:2][-1]


def _lines(data: bytes) -> list[_Line]:
    """Return the first lines that lie wholly in the head of the file."""
    head = data[:HEAD_BYTES]
    line_end = b"\n" if b"\n" in head else b"\r"
    lines: list[_Line] = []
    at = 3 if head.startswith(b"\xef\xbb\xbf") else 0
    while at < len(head) and len(lines) < _PREAMBLE_LINES + _ROWS_LOOKED_AT:
        stop = head.find(line_end, at)
        if stop < 0 and len(data) > len(head):
            break
        stop = stop if stop >= 0 else len(head)
        lines.append(_Line(len(lines), at, min(stop + 1, len(data)), decoded(head[at:stop]).strip("\r\n\0")))
        at = stop + 1
    return lines


def decoded(raw: bytes) -> str:
    """Return bytes as text: UTF-8 if they are, else Latin-1."""
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def split(text: str, separator: str) -> list[str]:
    """Return the cells of one line, quotes and blanks around them taken off; an open quote reads as plain text."""
    if separator == " ":
        return [cell.strip('"') for cell in text.split()]
    try:
        cells = next(csv.reader([text], delimiter=separator, skipinitialspace=True, strict=True), [])
    except csv.Error:
        cells = text.split(separator)
    return [cell.strip() for cell in cells]


def is_number(cell: str) -> bool:
    """Tell whether a cell is a number in either way of writing decimals."""
    return bool(_NUMBER.fullmatch(cell) or _COMMA_NUMBER.fullmatch(cell))


def _is_value(cell: str) -> bool:
    return len(cell) <= _LONGEST_VALUE and (is_number(cell) or bool(_STAMP.fullmatch(cell)))


def _is_comment(text: str) -> bool:
    return text.startswith(_COMMENTS)


def _is_row(cells: list[str]) -> bool:
    return len(cells) > 1 and any(_is_value(cell) for cell in cells)


def _is_bare_row(cells: list[str]) -> bool:
    filled = [cell for cell in cells if cell]
    return len(cells) > 1 and bool(filled) and all(_is_value(cell) for cell in filled)


def _is_header(cells: list[str]) -> bool:
    filled = [cell for cell in cells if cell]
    return len(filled) > 1 and not any(_is_value(cell) for cell in filled)


def _try(data: bytes, lines: list[_Line], separator: str) -> Layout | None:
    """Return the layout with this separator, or None when the lines do not look like it."""
    if not any(separator in line.text for line in lines):
        return None
    split_lines = [(line, split(line.text, separator)) for line in lines if line.text.strip()]
    plain = [(line, cells) for line, cells in split_lines if not _is_comment(line.text)]
    at = _start(plain)
    if at is None:
        return None
    line, cells = plain[at]
    after = plain[at + 1 :]
    header: tuple[_Line, ...]
    if _is_bare_row(cells):
        names, header = _names_elsewhere(split_lines, line, len(cells), separator)
        return _layout(data, separator, names, [], plain[at:], header, line.begin)
    units: list[str] = []
    header = (line,)
    if after and _is_units(after[0][1], len(cells)):
        units, header, after = after[0][1], (line, after[0][0]), after[1:]
    return _layout(data, separator, cells, units, after, header, header[-1].end)


def _start(lines: list[tuple[_Line, list[str]]]) -> int | None:
    """Return the line that the table begins with: the header that says most of those above the rows, else a row."""
    cells = [row for _, row in lines]
    first_row = next((k for k, row in enumerate(cells) if _is_bare_row(row)), len(cells))
    known = {k: sum(meaning(cell) is not None for cell in cells[k]) for k in range(first_row) if _is_header(cells[k])}
    fitting = [k for k, count in known.items() if count or _rows_alike(cells, k)]
    if fitting:
        return max(fitting, key=lambda k: known[k])
    return first_row if first_row < len(cells) and _rows_alike(cells, first_row) else None


def _rows_alike(lines: list[list[str]], at: int) -> bool:
    """Tell whether most of the lines after one are rows of about as many cells."""
    after = lines[at + 1 : at + 22]
    alike = sum(_is_row(row) and abs(len(row) - len(lines[at])) <= 1 for row in after)
    return alike >= len(after) / 2 and (alike > 0 or _is_bare_row(lines[at]))


def _names_elsewhere(
    lines: list[tuple[_Line, list[str]]], first: _Line, width: int, separator: str
) -> tuple[list[str], tuple[_Line, ...]]:
    """Return the names of a table that begins with a row: from the comment above it, or from a header further down."""
    above = [line for line, _ in lines if line.number < first.number and _is_comment(line.text)]
    names = split(above[-1].text.lstrip("#%/ \t"), separator) if above else []
    if len(names) == width and _is_header(names):
        return names, ()
    below = ((line, cells) for line, cells in lines if line.number > first.number and not _is_comment(line.text))
    found = next((pair for pair in below if len(pair[1]) == width and _is_header(pair[1])), None)
    return (found[1], (found[0],)) if found else ([], ())


def _is_units(cells: list[str], width: int) -> bool:
    """Tell whether a line under the header holds units: short words, none of them a number."""
    return len(cells) in (width, width - 1) and _is_header(cells) and any(known_unit(cell) for cell in cells)


def _layout(
    data: bytes,
    separator: str,
    names: list[str],
    units: list[str],
    rows: list[tuple[_Line, list[str]]],
    header: tuple[_Line, ...],
    start: int,
) -> Layout:
    rows = rows[:_ROWS_LOOKED_AT]
    width = _width(names, [cells for _, cells in rows])
    sample = [tuple(cells[:width]) for _, cells in rows if len(cells) >= width and not any(cells[width:])]
    decimal = _decimal(sample, separator)
    table = translation(separator, decimal)
    return Layout(
        separator=separator,
        decimal=decimal,
        names=tuple(name[:_LONGEST_VALUE] for name in (names + [""] * width)[:width]) if names else (),
        units=tuple((units + [""] * width)[:width]) if units else (),
        width=width,
        start=start,
        sample=tuple(sample),
        header_lines=tuple(in_one_dialect(data[line.begin : line.end], separator, table) for line in header),
        translation=table,
    )


def _width(names: list[str], rows: list[list[str]]) -> int:
    """Return the cells of a row, allowing for one blank cell too many at the end of the header or of every row."""
    counts = [len(cells) for cells in rows]
    usual = max(set(counts), key=counts.count) if counts else len(names)
    if not names or usual == len(names):
        return usual
    one_more = usual == len(names) + 1 and all(not cells[-1] for cells in rows if len(cells) == usual)
    one_less = usual == len(names) - 1 and not names[-1]
    if one_more or one_less:
        return usual
    if usual > len(names) or len(names) not in counts:
        raise FormatError(
            f"the header names {len(names)} columns but the rows hold {usual} cells",
            advice="give every column a name; with decimal commas, separate cells by semicolons",
        )
    return len(names)


def _decimal(sample: list[tuple[str, ...]], separator: str) -> str:
    """Return the decimal sign of the sampled cells."""
    cells = [cell for row in sample for cell in row]
    commas = [cell for cell in cells if _COMMA_NUMBER.fullmatch(cell)]
    points = sum(bool(_NUMBER.fullmatch(cell)) and "." in cell for cell in cells)
    sure = [cell for cell in commas if not _GROUPED.fullmatch(cell)]
    grouped = [cell for cell in commas if _GROUPED.fullmatch(cell)]
    if sure and points:
        raise FormatError(
            "numbers are written with decimal points and with decimal commas", advice="write them all one way"
        )
    if grouped and (points or (separator == "," and not sure)):
        return "."  # such cells hold thousands separators and are refused where they are used
    return "," if commas else "."
