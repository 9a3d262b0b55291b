"""Fields of many sentences of one type at once: strict ASCII patterns, exact values, damage noted for each sentence.

A decimal field is read as the whole number of its digits divided by a power of ten. Both are exact in double
precision up to 15 digits, and division rounds once, so the value equals `float()` of the text. Eight digits become
a number by three multiplications of a 64-bit word (D. Lemire, Quickly parsing eight digits, 2018; from memory).
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from traceanalyze.parsers.nmea.framing import Block, BoolArray, ByteArray, IndexArray, Sentences, WordArray
from traceanalyze.trace import FloatArray

WholeArray = NDArray[np.int64]

BLANK: Final = 0  #: `letter` of an empty field
_SEVERAL: Final = 255  #: `letter` of a field longer than one byte
_NO_POINT: Final = -1
#: Digits that a field may have in all, so that they make a 64-bit number.
_MOST_DIGITS: Final = 18
_POWER: Final = np.array([10**places for places in range(17)], np.int64)

_ZEROS: Final = np.uint64(0x3030303030303030)
_OVER_NINE: Final = np.uint64(0x7676767676767676)
_HIGH_BITS: Final = np.uint64(0x8080808080808080)
_KEEP: Final = np.array([(0xFFFFFFFFFFFFFFFF << 8 * (8 - size)) & 0xFFFFFFFFFFFFFFFF for size in range(9)], np.uint64)
_TEN, _EIGHT, _SIXTEEN, _THIRTY_TWO = (np.uint64(number) for number in (10, 8, 16, 32))
_PAIRS: Final = np.uint64(0x000000FF000000FF)
_FIRST: Final = np.uint64(100 + (1_000_000 << 32))
_SECOND: Final = np.uint64(1 + (10_000 << 32))


class Decimals(NamedTuple):
    """One decimal field of `k` sentences, its digits as whole numbers.

    Attributes
    ----------
    whole, part : (k,) int
        The digits before and after the point; 0 where the field is empty.
    pairs : (k,) uint64
        The digits before the point two by two: the last two in bits 48 to 55, the two before in bits 32 to 39.
    scale : (k,) or (1,) int
        What `part` is to be divided by.
    size : (k,) int
        Number of digits before the point.
    blank : (k,) bool
        Whether the field is empty.
    """

    whole: WholeArray
    part: WholeArray
    pairs: WordArray
    scale: WholeArray
    size: IndexArray
    blank: BoolArray

    def value(self) -> FloatArray:
        """Return the value; NaN where the field is empty."""
        value = (self.whole * self.scale + self.part) / self.scale
        if self.blank.any():
            value[self.blank] = np.nan
        return value

    def pair(self, number: int) -> WholeArray:
        """Return two digits before the point as a number: the last two are number 0."""
        return ((self.pairs >> np.uint64(48 - 16 * number)) & np.uint64(0xFF)).view(np.int64)


class Fields:
    """The fields of `k` sentences of one type, numbered from 1 after the tag.

    Reading a field notes in `malformed` and `outside` which sentences hold there what is no value of its kind, or
    an impossible one. A field that a sentence does not have is empty.

    Attributes
    ----------
    count : (k,) int
        Number of fields.
    begin, end : (reach + 1, k) int
        Where each field begins and ends, the tag being field 0; a missing field ends before it begins.
    malformed, outside : (k,) bool
        What was noted so far.
    """

    def __init__(self, sentences: Sentences, rows: IndexArray, reach: int) -> None:
        first, last = sentences.first[rows], sentences.last[rows]
        self._block = sentences.block
        self.count = last - first - 1
        marks = first + np.arange(reach + 2)[:, np.newaxis]
        edges = sentences.marks[np.minimum(marks, last) if (self.count < reach).any() else marks]
        self.begin, self.end = edges[:-1] + 1, edges[1:]
        self.malformed = np.zeros(rows.size, bool)
        self.outside = np.zeros(rows.size, bool)

    def letter(self, number: int) -> ByteArray:
        """Return a field of one byte: `BLANK` when it is empty, 255 when it is longer."""
        width = self.end[number] - self.begin[number]
        found: ByteArray = self._block.text.take(self.begin[number])
        found[width > 1] = _SEVERAL
        found[width < 1] = BLANK
        return found

    def letters(self, number: int) -> WordArray:
        """Return the last eight bytes of a field; zero bytes stand before them where it is shorter."""
        width = self.end[number] - self.begin[number]
        keep: WordArray = _KEEP.take(width, mode="clip")
        return self._block.before(self.end[number]) & keep

    def decimals(self, *numbers: int) -> list[Decimals]:
        """Return decimal fields without sign; read together, since many short arrays cost more than a long one."""
        return self._decimals(self.begin[list(numbers)], self.end[list(numbers)])

    def signed_value(self, number: int) -> FloatArray:
        """Return a decimal field that may have a minus sign; NaN where it is empty."""
        begin, end = self.begin[[number]], self.end[[number]]
        minus = (self._block.text[begin] == ord("-")) & (end - begin > 1)
        value = self._decimals(begin + minus, end)[0].value()
        return np.where(minus[0], -value, value)

    def clock(self, digits: Decimals) -> FloatArray:
        """Return `hhmmss.sss` as seconds of the day, 23:59:60 included; NaN where it is empty."""
        hour, minute, second = digits.pair(2), digits.pair(1), digits.pair(0)
        self.malformed |= (digits.size != 6) & ~digits.blank
        last_minute = (hour == 23) & (minute == 59)
        self.outside |= (hour > 23) | (minute > 59) | (second > 59 + last_minute)
        return digits._replace(whole=(hour * 60 + minute) * 60 + second).value()

    def angle(self, digits: Decimals, side: ByteArray, limit_deg: int, sides: bytes) -> FloatArray:
        """Return `dddmm.mmmm` as degrees, negative on the second of two `sides`; NaN where it is empty."""
        minutes = digits.pair(0)
        value = (digits.whole - minutes) / 100 + digits._replace(whole=minutes).value() / 60
        self.malformed |= ~digits.blank & (side != sides[0]) & (side != sides[1])
        self.outside |= (minutes > 59) | (value > limit_deg)
        return np.where(side == sides[1], -value, value)

    def _decimals(self, begin: IndexArray, end: IndexArray) -> list[Decimals]:
        """Read (f, k) fields: first as if all those of a row had as many decimals as the first one of it has."""
        blank = begin >= end
        if not begin.size:
            return [_nothing(row) for row in blank]
        sample = np.argmin(blank, axis=1, keepdims=True)
        edges = (np.take_along_axis(edge, sample, 1).ravel().tolist() for edge in (begin, end))
        places = np.array([[_places(self._block.cut_out(*pair))] for pair in zip(*edges, strict=True)])
        whole, part, pairs, size, fits, _ = _fixed(self._block, begin, end, places)
        if blank.any():
            whole[blank], part[blank], pairs[blank] = 0, 0, 0
            fits |= blank
        rows = zip(whole, part, pairs, _POWER[np.maximum(places, 0)], size, blank, strict=True)
        return [
            Decimals(*row) if fits[k].all() else self._mixed(begin[k], end[k], blank[k]) for k, row in enumerate(rows)
        ]

    def _mixed(self, begin: IndexArray, end: IndexArray, blank: BoolArray) -> Decimals:
        """Read fields with any numbers of decimals, those with equally many together."""
        out = _nothing(blank)
        rows = np.flatnonzero(~blank)
        for places in (*range(_POWER.size), _NO_POINT):
            read = _fixed if places <= 8 else _long
            *found, fits, pointed = read(self._block, begin[rows], end[rows], places)
            done = rows[fits]
            for target, values in zip((out.whole, out.part, out.pairs, out.size), found, strict=True):
                target[done] = values[fits]
            out.scale[done] = _POWER[max(places, 0)]
            self.malformed[rows[pointed & ~fits]] = True
            rows = rows[~(pointed | fits)]
            if not rows.size:
                break
        self.malformed[rows] = True
        return out


#: Of decimal fields: digits before and after the point, the former in pairs, their number, which fields are of the
#: stated form, and which have at least a point in the stated place.
_Parts = tuple[WholeArray, WholeArray, WordArray, IndexArray, BoolArray, BoolArray]


def _nothing(blank: BoolArray) -> Decimals:
    whole, part, size = np.zeros((3, blank.size), np.int64)
    return Decimals(whole, part, np.zeros(blank.size, np.uint64), np.ones(blank.size, np.int64), size, blank)


def _places(text: bytes) -> int:
    """Return how many bytes follow the point of a field, up to eight; `_NO_POINT` when it has none."""
    _, point, after = text.partition(b".")
    return len(after) if point and len(after) <= 8 else _NO_POINT


def _fixed(block: Block, begin: IndexArray, end: IndexArray, places: int | IndexArray) -> _Parts:
    """Read decimal fields with a stated number of digits after the point, up to eight."""
    point = end - (places + 1)
    size = point - begin
    pointed = (size >= 0) & (block.text[point] == ord("."))
    whole, pairs, fits = _eight_digits(block, point, size)
    fits &= (size <= 8) & (size + np.maximum(places, 0) > 0) & (pointed | (places < 0))
    part, _, digits = _eight_digits(block, end, places)
    return whole, part, pairs, size, fits & digits, pointed


def _long(block: Block, begin: IndexArray, end: IndexArray, places: int) -> _Parts:
    """Read decimal fields with 9 to 16 digits after the point."""
    whole, part, pairs, size, fits, pointed = _fixed(block, begin, end - 8, places - 8)
    low, _, digits = _eight_digits(block, end, 8)
    fits &= digits & (size + places <= _MOST_DIGITS)
    return whole, part * _POWER[8] + low, pairs, size, fits, pointed


def _eight_digits(block: Block, end: IndexArray, size: int | IndexArray) -> tuple[WholeArray, WordArray, BoolArray]:
    """Return the number that the last `size` bytes before each place make, its pairs, and whether all are digits."""
    word = block.before(end)
    word ^= _ZEROS
    word &= _KEEP.take(size, mode="clip")
    fits = (((word + _OVER_NINE) | word) & _HIGH_BITS) == 0
    pairs = word * _TEN + (word >> _EIGHT)
    word = ((pairs & _PAIRS) * _FIRST + ((pairs >> _SIXTEEN) & _PAIRS) * _SECOND) >> _THIRTY_TWO
    return word.view(np.int64), pairs, fits
