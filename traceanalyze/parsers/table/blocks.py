"""Where the cells of a block of lines stand: in one step when all lines are alike, else by counting in every cell."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from traceanalyze.parsers.table.decimals import PADDING, Cells

_COMMA, _POINT, _LINE_END, _MINUS, _PLUS, _ZERO, _NINE = b",.\n-+09"
_STARTS_COMMENT = np.isin(np.arange(256), np.frombuffer(b"#%/;", np.uint8))
Places = NDArray[np.intp]


def padded(chunk: bytes) -> NDArray[np.uint8]:
    """Return the bytes of a block after `PADDING` zeros, with eight more behind it."""
    return np.frombuffer(b"".join((b"0" * PADDING, chunk, b"0" * 8)), np.uint8)


class Alike(NamedTuple):
    """A block of lines alike: points in the same columns, minus signs in front only, all else digits.

    Attributes
    ----------
    text : (b,) uint8
    place : (marks, rows) int
        Where each comma, point and line end stands.
    separator : (width,) int
        Which mark of a line ends each cell.
    pattern : bytes
        The marks of a line.
    """

    text: NDArray[np.uint8]
    place: Places
    separator: Places
    pattern: bytes

    @property
    def rows(self) -> int:
        """Number of lines."""
        return int(self.place.shape[1])

    def cells(self, column: int) -> Cells:
        """Return the cells of one column."""
        at = int(self.separator[column])
        end = self.place[at]
        dot = self.place[at - 1] if self.pattern[at - 1] == _POINT else end
        start = self.place[self.separator[column - 1]] + 1
        if not column:
            start[1:] = start[:-1]
            start[0] = PADDING
        first = self.text[start]
        return Cells(self.text, start, end, dot, first * (first == _MINUS), np.ones(end.size, bool))


def alike(text: NDArray[np.uint8], width: int) -> Alike | None:
    """Return the block if all its lines are alike, else None."""
    minus = text == _MINUS
    low = text < _ZERO
    low ^= minus
    mark = np.flatnonzero(low)
    kind = text[mark]
    marks = int((kind == _LINE_END).argmax()) + 1
    pattern = kind[:marks].tobytes()
    if mark.size % marks or pattern.count(b",") != width - 1 or pattern.strip(b",.\n") or b".." in pattern:
        return None
    if (kind.reshape(-1, marks) != kind[:marks]).any() or text.max() > _NINE:
        return None
    place, separator = np.ascontiguousarray(mark.reshape(-1, marks).T), np.flatnonzero(kind[:marks] != _POINT)
    in_front = np.count_nonzero(minus[place[separator] + 1]) + int(minus[PADDING])
    if np.count_nonzero(minus) != in_front:
        return None
    return Alike(text, place, separator, pattern)


class Marked(NamedTuple):
    """A block of any lines.

    Attributes
    ----------
    text : (b,) uint8
    mark : (m,) int
        Where each byte stands that is no digit.
    kind : (m,) uint8
        That byte.
    separator : (s,) int
        Which marks are commas and line ends.
    line_end : (lines,) int
        Which separators are line ends.
    good : (lines,) bool
        Lines with the right number of cells, no quote, and no comment sign in front.
    width : int
    """

    text: NDArray[np.uint8]
    mark: Places
    kind: NDArray[np.uint8]
    separator: Places
    line_end: Places
    good: NDArray[np.bool_]
    width: int

    @property
    def rows(self) -> int:
        """Number of lines."""
        return int(self.line_end.size)

    def spans(self) -> tuple[Places, Places]:
        """Return where each line begins and where its line end stands."""
        end = self.mark[self.separator[self.line_end]]
        begin = np.empty_like(end)
        begin[:1], begin[1:] = PADDING, end[:-1] + 1
        return begin, end

    def cells(self, column: int) -> Cells:
        """Return the cells of one column of a block of good lines."""
        at = self.separator[column :: self.width]
        before = np.empty_like(at)
        if column:
            before[:] = self.separator[column - 1 :: self.width]
        else:
            before[:1], before[1:] = -1, self.separator[self.width - 1 : -1 : self.width]
        end = self.mark[at]
        start = self.mark[before] + 1
        if not column:
            start[:1] = PADDING
        inside = at - before - 1  # bytes in the cell that are no digits
        pointed = (self.kind[at - 1] == _POINT) & (inside > 0)
        first = self.text[start]
        sign = first * ((first == _MINUS) | (first == _PLUS))
        dot = np.where(pointed, self.mark[at - 1], end)
        inside -= pointed
        inside -= sign != 0
        return Cells(self.text, start, end, dot, sign, inside == 0)


def marked(text: NDArray[np.uint8], width: int, odd_first: bytes = b"") -> Marked:
    """Return a block of any lines; lines that begin with one of the bytes of `odd_first` are not taken for good."""
    mark = np.flatnonzero((text - np.uint8(_ZERO)) > _NINE - _ZERO)
    kind = text[mark]
    separator = np.flatnonzero((kind == _COMMA) | (kind == _LINE_END))
    line_end = np.flatnonzero(kind[separator] == _LINE_END)
    good = np.diff(line_end, prepend=-1) == width
    block = Marked(text, mark, kind, separator, line_end, good, width)
    begin, end = block.spans()
    first = text[begin]
    odd = _STARTS_COMMENT.copy()
    odd[list(odd_first)] = True
    good &= ~odd[first]
    good[np.searchsorted(end, mark[kind == ord('"')])] = False
    return block
