"""Lines laid out alike read as one table: where digits stand in the first, they stand in all.

A receiver writes each sentence type in a few layouts: the same signs and letters at the same places, digits between.
Lines of one layout need no search for their fields, only one check that they are of it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import accumulate, islice
from typing import Final

import numpy as np

from traceanalyze.parsers.nmea.fields import (
    BLANK,
    KEEP,
    POWER,
    SEVERAL,
    Decimals,
    Fields,
    Sixties,
    WholeArray,
    digits_of,
)
from traceanalyze.parsers.nmea.framing import (
    Block,
    BoolArray,
    ByteArray,
    IndexArray,
    WordArray,
    find_sentences,
)
from traceanalyze.trace import FloatArray

#: Fewest lines that are worth a table of their own; fewer are read field by field.
_FEWEST: Final = 24
#: Fewest sentences that are worth sorting into layouts at all.
_WORTH_SORTING: Final = 300
#: Layouts into which lines of one length are sorted before the rest is read field by field.
_MOST_LAYOUTS: Final = 8
#: Longest line that is sorted so [bytes]; the standard allows 82.
_LONGEST: Final = 160
#: Bytes of `$`, tag and comma.
_HEAD: Final = 7
_ZERO: Final = np.uint8(ord("0"))
_EIGHT: Final = np.uint64(8)
_ALL_TRUE: Final = np.uint64(0x0101010101010101)
#: The largest value that a byte may differ by from the pattern: 9 for a digit, 0 for any other byte.
_LARGEST: Final = bytes(9 if code == _ZERO else 0 for code in range(256))
_DIGITS_ALIKE: Final = bytes.maketrans(b"123456789", b"000000000")
#: Arrays of one value that holds for all: 0 to 8, the powers of ten of these, and no.
_COUNTS: Final = [np.array([count]) for count in range(9)]
_SCALES: Final = [POWER[[places]] for places in range(9)]
_FALSE: Final = np.zeros(1, bool)
_DECIMAL: Final = re.compile(rb"(0{0,8})(?:(\.)(0{0,8}))?")
_TOO_LONG: Final = re.compile(rb"0{9}")


class Layout(Fields):
    """The fields of `k` sentences of one layout.

    Parameters
    ----------
    rows : (k, n) uint8
        What precedes the `*` of each sentence: the value of every digit, and 0 for every other byte.
    pattern : bytes
        What stands in all of them from the first field on, with 0 for every digit.
    """

    def __init__(self, rows: ByteArray, pattern: bytes) -> None:
        self._rows = rows
        texts = pattern.split(b",")
        ends = accumulate((len(text) + 1 for text in texts), initial=rows.shape[1] - len(pattern) - 1)
        self._fields = dict(enumerate(zip(texts, islice(ends, 1, None), strict=True), start=1))
        self.count = np.array([len(texts)])
        self.malformed = np.zeros(rows.shape[0], bool)
        self.outside = np.zeros(rows.shape[0], bool)

    def letter(self, number: int) -> ByteArray:
        """Return a field of one byte: `BLANK` when it is empty, 255 when it is longer."""
        text, end = self._field(number)
        if text == b"0":  # a digit: each line has its own
            return self._rows[:, end - 1] + _ZERO
        return np.array([SEVERAL if len(text) > 1 else text[0] if text else BLANK], np.uint8)

    def letters(self, number: int) -> WordArray:
        """Return the last eight bytes of a field; zero bytes stand before them where it is shorter."""
        return np.array([int.from_bytes(self._field(number)[0][-8:].rjust(8, b"\0"), "little")], np.uint64)

    def digits(self, number: int) -> Decimals:
        """Return a decimal field without sign."""
        text, end = self._field(number)
        found = _DECIMAL.fullmatch(text)
        if not (found and text.strip(b".")):
            self.malformed |= bool(text)
            return _nothing(not text)
        places = len(found[3] or b"")
        whole = self._number(end - places - len(found[2] or b""), len(found[1]))
        part = self._number(end, places) if places else _COUNTS[0]
        return Decimals(whole, part, _SCALES[places], _COUNTS[len(found[1])], _FALSE)

    def value(self, number: int) -> FloatArray:
        """Return the value of a decimal field without sign; NaN where it is empty."""
        text, end = self._field(number)
        if not 2 <= len(text) <= 8 or not _DECIMAL.fullmatch(text):
            return self.digits(number).value()
        return self._joined(text, end) / float(POWER[_places(text)])

    def sixties(self, number: int) -> Sixties:
        """Return a field that ends in seconds or minutes."""
        text, end = self._field(number)
        places, size = _places(text), len(text.partition(b".")[0])
        last = text[size - 2 :]
        if not (3 <= size <= 6 and len(last) <= 8 and _DECIMAL.fullmatch(text)):
            return super().sixties(number)
        lead = np.zeros(1, np.uint16)
        for column in range(end - len(text), end - len(last)):
            lead = lead * np.uint16(10) + self._rows[:, column]
        return Sixties(lead, self._joined(last, end), _SCALES[places], _COUNTS[size], _FALSE)

    def signed_value(self, number: int) -> FloatArray:
        """Return the value of a decimal field that may have a minus sign; NaN where it is empty."""
        text, end = self._field(number)
        if not text.startswith(b"-") or len(text) < 2:
            return self.value(number)
        self._fields[number] = text[1:], end
        return -self.value(number)

    def move(self, which: BoolArray, source: int, target: int) -> None:
        """Let a field be what another one is."""
        if which.all():
            self._fields[target] = self._field(source)

    def _field(self, number: int) -> tuple[bytes, int]:
        return self._fields.get(number, (b"", self._rows.shape[1]))

    def _words(self, end: int) -> WordArray:
        """Return the eight bytes before a place in each row."""
        return np.ndarray(self._rows.shape[:1], "<u8", self._rows, end - 8, self._rows.strides[:1])

    def _number(self, end: int, size: int) -> WholeArray:
        return digits_of(self._words(end) & KEEP[size])

    def _joined(self, text: bytes, end: int) -> WholeArray:
        """Return the digits of a decimal of at most eight bytes as one number."""
        after = KEEP[_places(text)]
        word = self._words(end)
        before = word & (KEEP[len(text)] ^ after)
        return digits_of((word & after) | (before << _EIGHT if b"." in text else before))  # they move up over the point


def _places(text: bytes) -> int:
    return len(text.partition(b".")[2])


def _nothing(blank: bool) -> Decimals:
    zero = _COUNTS[0]
    return Decimals(zero, zero, _SCALES[0], zero, np.array([blank]))


def fields_of(block: Block, begin: IndexArray, end: IndexArray, reach: int) -> Iterator[tuple[IndexArray, Fields]]:
    """Yield the fields of sentences of one type, as tables where that is possible, and which sentences are in each.

    Parameters
    ----------
    begin, end : (k,) int
        Places of the `$`, and of the `*` or line end, of each sentence.
    reach : int
        The last field that is looked at.
    """
    left = np.ones(begin.size, bool)
    for which, layout in sort_by_layout(block, begin, end) if begin.size >= _WORTH_SORTING else ():
        left[which] = False
        yield which, layout
    rest = np.flatnonzero(left)
    if rest.size:
        own = block.excerpt(begin[rest], end[rest] + 1)
        sentences = find_sentences(own.block)
        yield rest, Fields(sentences, np.searchsorted(own.origin(sentences.begin), begin[rest]), reach)


def sort_by_layout(block: Block, begin: IndexArray, star: IndexArray) -> Iterator[tuple[IndexArray, Layout]]:
    """Yield the layouts of lines of one type, and which lines are of each; rare and odd lines are in none."""
    lengths = star - begin
    counts = np.bincount(lengths, minlength=1)[: _LONGEST + 1]
    for length in np.flatnonzero(counts >= _FEWEST).tolist():
        rows = np.flatnonzero(lengths == length)
        yield from _layouts(block, rows, star[rows], length)


def _layouts(block: Block, rows: IndexArray, star: IndexArray, length: int) -> Iterator[tuple[IndexArray, Layout]]:
    """Yield the layouts of lines of one length."""
    width = (length + 7) // 8 * 8 + 8
    before = np.ndarray((block.text.size - width + 1,), f"V{width}", block.text, 0, (1,))
    text = before[star - width].view(np.uint8).reshape(-1, width)
    left = np.ones(rows.size, bool)
    for _ in range(_MOST_LAYOUTS):
        first = int(np.argmax(left))
        pattern = text[first, width - length :].tobytes().translate(_DIGITS_ALIKE)
        digits, alike = _compared(text, pattern)
        count = np.count_nonzero(alike)
        if count >= _FEWEST and not _TOO_LONG.search(pattern):
            fields = pattern[_HEAD:]
            yield (rows, Layout(digits, fields)) if count == rows.size else (rows[alike], Layout(digits[alike], fields))
        left &= ~alike
        if np.count_nonzero(left) < _FEWEST:
            return


def _compared(text: ByteArray, pattern: bytes) -> tuple[ByteArray, BoolArray]:
    """Return what differs from the pattern, which is the value of each digit, and which rows differ in nothing else."""
    width = text.shape[1]
    shape = np.frombuffer(pattern.rjust(width, b"\0"), np.uint8)
    most = np.frombuffer(pattern.translate(_LARGEST).rjust(width, b"\xff"), np.uint8)  # what precedes does not matter
    digits = text ^ shape
    fits = digits <= most
    if fits.all():
        return digits, np.ones(digits.shape[0], bool)
    words = fits.view("<u8")
    alike = words[:, 0].copy()
    for column in range(1, words.shape[1]):
        alike &= words[:, column]
    return digits, alike == _ALL_TRUE
