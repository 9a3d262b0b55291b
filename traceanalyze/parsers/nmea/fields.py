"""Fields of many sentences of one type at once: strict ASCII patterns, exact values, damage noted for each sentence.

A decimal field is read as the whole number of its digits divided by a power of ten. Both are exact in double
precision up to 15 digits, and division rounds once, so the value equals `float()` of the text. Eight digits become
a number by three multiplications of a 64-bit word (D. Lemire, Quickly parsing eight digits, 2018; from memory).
"""

from __future__ import annotations

from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from traceanalyze.parsers.nmea.framing import Block, BoolArray, ByteArray, IndexArray, Sentences, WordArray
from traceanalyze.trace import FloatArray

WholeArray = NDArray[np.int64]

BLANK: Final = 0  #: `letter` of an empty field
SEVERAL: Final = 255  #: `letter` of a field longer than one byte
POWER: Final = np.array([10**places for places in range(17)], np.int64)
#: For 0 to 8: a word of which the last so many bytes are kept.
KEEP: Final = np.array([(0xFFFFFFFFFFFFFFFF << 8 * (8 - size)) & 0xFFFFFFFFFFFFFFFF for size in range(9)], np.uint64)
ZEROS: Final = np.uint64(0x3030303030303030)
_NO_POINT: Final = -1
#: Digits that a field may have in all, so that they make a 64-bit number.
_MOST_DIGITS: Final = 18
_OVER_NINE: Final = np.uint64(0x7676767676767676)
_HIGH_BITS: Final = np.uint64(0x8080808080808080)
_TEN, _EIGHT, _SIXTEEN, _THIRTY_TWO = (np.uint64(number) for number in (10, 8, 16, 32))
_PAIRS: Final = np.uint64(0x000000FF000000FF)
_FIRST: Final = np.uint64(100 + (1_000_000 << 32))
_SECOND: Final = np.uint64(1 + (10_000 << 32))


class Decimals(NamedTuple):
    """One decimal field of `k` sentences, its digits as whole numbers. Arrays of shape (1,) hold for all.

    Attributes
    ----------
    whole, part : (k,) int
        The digits before and after the point; 0 where the field is empty.
    scale : (k,) int
        What `part` is to be divided by.
    size : (k,) int
        Number of digits before the point.
    blank : (k,) bool
        Whether the field is empty.
    """

    whole: WholeArray
    part: WholeArray
    scale: WholeArray
    size: IndexArray
    blank: BoolArray

    def value(self) -> FloatArray:
        """Return the value; NaN where the field is empty."""
        value = (self.whole * self.scale + self.part) / self.scale
        return np.where(self.blank, np.nan, value) if self.blank.any() else value


class Sixties(NamedTuple):
    """One field of `k` sentences that ends in seconds or minutes: `hhmmss.sss`, `dddmm.mmmm`.

    Attributes
    ----------
    lead : (k,) int
        What stands before the seconds or minutes, as one number; 0 where the field is empty.
    last : (k,) int
        The seconds or minutes times `scale`; 0 where the field is empty.
    scale, size, blank
        As in `Decimals`.
    """

    lead: NDArray[np.integer[Any]]
    last: WholeArray
    scale: WholeArray
    size: IndexArray
    blank: BoolArray


def digits_of(word: WordArray) -> WholeArray:
    """Return the number that the eight digits of each word make."""
    pairs = word * _TEN
    pairs += word >> _EIGHT
    high = (pairs >> _SIXTEEN) & _PAIRS
    high *= _SECOND
    low = pairs & _PAIRS
    low *= _FIRST
    low += high
    low >>= _THIRTY_TWO
    return low.view(np.int64)


class Fields:
    """The fields of `k` sentences of one type, numbered from 1 after the tag.

    Reading a field notes in `malformed` and `outside` which sentences hold there what is no value of its kind, or
    an impossible one. A field that a sentence does not have is empty. Results of shape (1,) hold for all.

    Attributes
    ----------
    count : (k,) int
        Number of fields.
    malformed, outside : (k,) bool
        What was noted so far.
    """

    def __init__(self, sentences: Sentences, rows: IndexArray, reach: int) -> None:
        first, last = sentences.first[rows], sentences.last[rows]
        edges = sentences.marks[np.minimum(first + np.arange(reach + 2)[:, np.newaxis], last)]
        self._block = sentences.block
        self._begin, self._end = edges[:-1] + 1, edges[1:].copy()
        self.count = last - first - 1
        self.malformed = np.zeros(rows.size, bool)
        self.outside = np.zeros(rows.size, bool)

    def letter(self, number: int) -> ByteArray:
        """Return a field of one byte: `BLANK` when it is empty, 255 when it is longer."""
        width = self._end[number] - self._begin[number]
        found: ByteArray = self._block.text.take(self._begin[number])
        found[width > 1] = SEVERAL
        found[width < 1] = BLANK
        return found

    def letters(self, number: int) -> WordArray:
        """Return the last eight bytes of a field; zero bytes stand before them where it is shorter."""
        width = self._end[number] - self._begin[number]
        keep: WordArray = KEEP.take(width, mode="clip")
        return self._block.before(self._end[number]) & keep

    def digits(self, number: int) -> Decimals:
        """Return a decimal field without sign."""
        return self._decimals(self._begin[number], self._end[number])

    def value(self, number: int) -> FloatArray:
        """Return the value of a decimal field without sign; NaN where it is empty."""
        return self.digits(number).value()

    def signed_value(self, number: int) -> FloatArray:
        """Return the value of a decimal field that may have a minus sign; NaN where it is empty."""
        begin, end = self._begin[number], self._end[number]
        minus = (self._block.text[begin] == ord("-")) & (end - begin > 1)
        value = self._decimals(begin + minus, end).value()
        return np.where(minus, -value, value)

    def clock(self, number: int) -> FloatArray:
        """Return `hhmmss.sss` as seconds of the day, 23:59:60 included; NaN where it is empty."""
        lead, last, scale, size, blank = self.sixties(number)
        hour, minute = lead // 100, lead % 100
        self.malformed |= (size != 6) & ~blank
        last_minute = (hour == 23) & (minute == 59)
        self.outside |= (hour > 23) | (minute > 59) | (last >= (60 + last_minute) * scale)
        time_s = ((hour * np.int64(60) + minute) * 60 * scale + last) / scale
        return np.where(blank, np.nan, time_s) if blank.any() else time_s

    def angle(self, number: int, limit_deg: int, sides: bytes) -> FloatArray:
        """Return `dddmm.mmmm` and the side in the next field as degrees, negative on the second side; NaN if empty."""
        (lead, last, scale, _, blank), side = self.sixties(number), self.letter(number + 1)
        value = lead + last / scale / 60
        self.malformed |= ~blank & (side != sides[0]) & (side != sides[1])
        self.outside |= (last >= 60 * scale) | (value > limit_deg)
        value = np.where(blank, np.nan, value) if blank.any() else value
        return np.where(side == sides[1], -value, value) if (side == sides[1]).any() else value

    def sixties(self, number: int) -> Sixties:
        """Return a field that ends in seconds or minutes."""
        whole, part, scale, size, blank = self.digits(number)
        return Sixties(whole // 100, whole % 100 * scale + part, scale, size, blank)

    def move(self, which: BoolArray, source: int, target: int) -> None:
        """Let a field of some sentences be what another one of theirs is."""
        self._begin[target, which], self._end[target, which] = self._begin[source, which], self._end[source, which]

    def _decimals(self, begin: IndexArray, end: IndexArray) -> Decimals:
        """Read fields with any numbers of decimals, those with equally many together."""
        blank = begin >= end
        whole, part, size = np.zeros((3, blank.size), np.int64)
        scale = np.ones(blank.size, np.int64)
        places_of = _places(self._block, begin, end)
        for places in set(places_of[~blank].tolist()):
            rows = np.flatnonzero((places_of == places) & ~blank)
            found, fits = _fixed(self._block, begin[rows], end[rows], places)
            self.malformed[rows[~fits]] = True
            for target, values in zip((whole, part, size), found, strict=True):
                target[rows] = np.where(fits, values, 0)
            scale[rows] = POWER[max(places, 0)]
        return Decimals(whole, part, scale, size, blank)


#: Of decimal fields: digits before and after the point, and the number of the former.
_Parts = tuple[WholeArray, WholeArray, IndexArray]


def _places(block: Block, begin: IndexArray, end: IndexArray) -> IndexArray:
    """Return how many bytes follow the last point of each field; `_NO_POINT` where it has none."""
    last = end[:, np.newaxis] - 1 - np.arange(POWER.size)
    point = (block.text[np.maximum(last, 0)] == ord(".")) & (last >= begin[:, np.newaxis])
    return np.where(point.any(axis=1), np.argmax(point, axis=1), _NO_POINT)


def _fixed(block: Block, begin: IndexArray, end: IndexArray, places: int) -> tuple[_Parts, BoolArray]:
    """Return the parts of decimal fields with `places` bytes after the point, and which of them are all digits."""
    point = end - (places + 1)
    size = point - begin
    whole, fits = _last_digits(block, point, np.minimum(size, 8))
    fits &= (size <= 8) & (size + max(places, 0) > 0) & (size + places <= _MOST_DIGITS)
    part = np.zeros(begin.size, np.int64)
    for at in range(0, places, 8):  # the last eight decimals, and those before them
        low, digits = _last_digits(block, end - at, np.full(begin.size, min(places - at, 8)))
        part += low * POWER[at]
        fits &= digits
    return (whole, part, size), fits


def _last_digits(block: Block, end: IndexArray, size: IndexArray) -> tuple[WholeArray, BoolArray]:
    """Return the number that the last `size` bytes before each place make, and whether all are digits."""
    word = block.before(end)
    word ^= ZEROS
    word &= KEEP.take(size, mode="clip")
    fits: BoolArray = (((word + _OVER_NINE) | word) & _HIGH_BITS) == 0
    return digits_of(word), fits
