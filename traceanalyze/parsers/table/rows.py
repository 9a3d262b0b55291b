"""Bytes of a table -> columns: whole rows only, block by block; damaged lines repaired or counted, never shifted."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from traceanalyze.errors import FormatError, LimitError
from traceanalyze.parsers.table.blocks import Alike, Marked, alike, marked, padded
from traceanalyze.parsers.table.decimals import PADDING, Cells, Decimals, Numbers, decimals
from traceanalyze.parsers.table.dialect import in_one_dialect
from traceanalyze.parsers.table.layout import Layout

#: Bytes worked on at a time: small enough for the processor's cache, large enough that a call costs nothing.
BLOCK_BYTES: Final = 1 << 18
#: Most rows of a table: a day and night at 45 Hz. Each costs up to 200 bytes of memory.
MOST_ROWS: Final = 4_000_000
#: Longest text of a time stamp kept [bytes].
_TEXT_BYTES = 40
_NO_NUMBER = b"\x01"  # a byte that nothing readable holds


class Texts(NamedTuple):
    """Cells of one column kept as text.

    Attributes
    ----------
    text : (n, w) uint8
        Each cell from its first byte on, zeros behind its end.
    """

    text: NDArray[np.uint8]

    def cell(self, row: int) -> str:
        """Return one cell as text."""
        cell: bytes = self.text[row].tobytes()
        return cell.rstrip(b"\0").decode("latin-1").strip()


Column = Numbers | Texts


class Table(NamedTuple):
    """Columns of a table, all of `rows` rows, with the count of what was left out by kind."""

    rows: int
    columns: Mapping[int, Column]
    tally: Counter[str]

    def numbers(self, column: int) -> Numbers:
        """Return a column read as numbers.

        Raises
        ------
        FormatError
            If it holds text.
        """
        found = self.columns[column]
        if not isinstance(found, Numbers):
            raise FormatError(f"column {column + 1} holds text where numbers are needed", advice="name another column")
        return found


def read_table(data: bytes, layout: Layout, numeric: Mapping[int, bool], textual: tuple[int, ...]) -> Table:
    """Return the asked columns of every whole row.

    Parameters
    ----------
    data : bytes
        The whole table; rows begin at `layout.start`.
    numeric : mapping of int to bool
        Places of the columns to read as numbers, and whether their digits are wanted besides the values.
    textual : tuple of int
        Places of the columns to keep as text.
    """
    tally: Counter[str] = Counter()
    numbers: dict[int, list[Decimals]] = {column: [] for column in numeric}
    texts: dict[int, list[NDArray[np.uint8]]] = {column: [] for column in textual}
    rows = 0
    for chunk in _chunks(data, layout, tally, frozenset((*numeric, *textual))):
        block = _whole_rows(chunk, layout, tally)
        rows += block.rows
        if rows > MOST_ROWS:
            raise LimitError(f"more than {MOST_ROWS} rows", advice="cut the log into parts")
        for column, found in numbers.items():
            read = decimals(block.cells(column))
            found.append(read if numeric[column] else read.rounded())
        for column, cells in texts.items():
            cells.append(_texts(block.cells(column)))
    columns: dict[int, Column] = {column: Numbers(found) for column, found in numbers.items()}
    return Table(rows, columns | {column: _joined(cells) for column, cells in texts.items()}, tally)


def _joined(cells: list[NDArray[np.uint8]]) -> Texts:
    width = max((text.shape[1] for text in cells), default=1)
    return Texts(np.concatenate([np.empty((0, width), np.uint8), *(_widened(text, width) for text in cells)]))


def _widened(text: NDArray[np.uint8], width: int) -> NDArray[np.uint8]:
    return np.pad(text, ((0, 0), (0, width - text.shape[1])))


def _whole_rows(chunk: bytes, layout: Layout, tally: Counter[str]) -> Alike | Marked:
    """Return a block in which every line is a row with as many cells as it should have."""
    text = padded(chunk)
    if (fast := alike(text, layout.width)) is not None:
        return fast
    text = padded(_without_blank_lines(chunk))
    block = marked(text, layout.width, b"".join(line[:1] for line in layout.header_lines))
    if not block.good.all():
        block = marked(padded(_repaired(block, layout, tally)), layout.width)
    if not block.good.all():
        tally["malformed"] += int((~block.good).sum())
        block = marked(padded(_good_lines(block)), layout.width)
    return block


def _chunks(data: bytes, layout: Layout, tally: Counter[str], used: frozenset[int]) -> Iterator[bytes]:
    """Yield blocks of whole lines in one dialect: commas between cells, decimal points, lines ending in a line feed."""
    at, size = layout.start, len(data)
    line_end = b"\n" if data.find(b"\n", at) >= 0 else b"\r"
    last = data.rfind(line_end) + 1
    while at < last:
        stop = data.rfind(line_end, at, min(at + BLOCK_BYTES, last)) + 1
        if not stop:  # no row is as long as a block
            tally["malformed"] += 1
        else:
            yield _dialect(data[at:stop], layout)
        at = stop or data.find(line_end, at) + 1
    if size > max(last, layout.start):
        yield from _last_line(data[max(last, layout.start) :], data[:last], layout, tally, used)


def _dialect(chunk: bytes, layout: Layout) -> bytes:
    return in_one_dialect(chunk, layout.separator, layout.translation)


def _without_blank_lines(chunk: bytes) -> bytes:
    while b"\n\n" in chunk:
        chunk = chunk.replace(b"\n\n", b"\n")
    return chunk.removeprefix(b"\n")


def _last_line(
    line: bytes, before: bytes, layout: Layout, tally: Counter[str], used: frozenset[int]
) -> Iterator[bytes]:
    """Yield a last line without its line end if nothing that is used can have been cut off; else count it."""
    if not line.strip(b"\0 \t\r\n"):
        return
    row = _dialect(line, layout).strip()
    cut = layout.width - 1 in used and _decimals_differ(row.rpartition(b",")[2], before, layout)
    if row.count(b",") != layout.width - 1 or cut:
        tally["truncated"] += 1
        return
    yield _dialect(line, layout) + b"\n"


def _decimals_differ(cell: bytes, before: bytes, layout: Layout) -> bool:
    """Tell whether a cell has another number of decimals than the last cells of the lines before (or none to tell)."""
    lines = _dialect(before[-4096:], layout).split(b"\n")[1:-1]
    counts = {len(line.rpartition(b",")[2].partition(b".")[2]) for line in lines}
    return counts != {len(cell.partition(b".")[2])} or counts == {0}


def _texts(cells: Cells) -> NDArray[np.uint8]:
    width = int(min(max(int((cells.end - cells.start).max(initial=1)), 1), _TEXT_BYTES))
    place = cells.start[:, None] + np.arange(width)
    inside = place < cells.end[:, None]
    return np.where(inside, cells.text[np.minimum(place, cells.text.size - 1)], 0).astype(np.uint8)


def _good_lines(block: Marked) -> bytes:
    begins, ends = block.spans()
    text = block.text.tobytes()
    return b"".join(text[begins[line] : ends[line] + 1] for line in np.flatnonzero(block.good).tolist())


def _repaired(block: Marked, layout: Layout, tally: Counter[str]) -> bytes:
    """Return the block with its odd lines put right where that is certain, and left out and counted where not."""
    begins, ends = block.spans()
    text = block.text.tobytes()
    kept, at = [], PADDING
    for line in np.flatnonzero(~block.good).tolist():
        kept.append(text[at : begins[line]])
        at = int(ends[line]) + 1
        kept.append(_repaired_line(text[begins[line] : ends[line]], layout, tally))
    kept.append(text[at:])
    return b"".join(kept)


def _repaired_line(line: bytes, layout: Layout, tally: Counter[str]) -> bytes:
    """Return a line as it can be read, its line end included, or nothing; a wrong number of cells is left wrong."""
    if not line.strip(b"\0, \t"):
        return b""
    if line.lstrip(b"\0").startswith((b"#", b"%", b"//", b";")):
        return b""
    if line + b"\n" in layout.header_lines:
        tally["repeated_header"] += line + b"\n" == layout.header_lines[0]
        return b""
    cells = _unquoted(line, layout)
    if cells is None:
        tally["malformed"] += 1
        return b""
    if len(cells) > layout.width and not any(cells[layout.width :]):
        cells = cells[: layout.width]
    return b",".join(cells) + b"\n"


def _unquoted(line: bytes, layout: Layout) -> list[bytes] | None:
    """Return the cells of a line without quotes, None with an open one; a separator in quotes makes it unreadable."""
    if b'"' not in line:
        return line.split(b",")
    try:
        cells = next(csv.reader([line.decode("latin-1")], strict=True), [])
    except csv.Error:
        return None
    plain = [layout.quoted_number(cell.strip()).encode("latin-1") for cell in cells]
    return [_NO_NUMBER if b"," in cell or b'"' in cell or b"\n" in cell else cell for cell in plain]
