"""Cells of digits -> exact numbers, many at once: an integer mantissa and a count of decimals.

A mantissa below 2^53 and a power of ten up to 10^22 are both exact in a double, so their quotient is the correctly
rounded value that `float()` gives (W. D. Clinger, How to read floating point numbers accurately, PLDI 1990, section 3).
Eight digits at a time are turned into a number by three multiplications on one 64-bit word.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal
from functools import cached_property
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from traceanalyze.trace import FloatArray

#: Zeros in front of a block, so that looking back from its first cell stays inside it.
PADDING: Final = 32
NUMBER, BLANK, BAD = 0, 1, 2  #: state of a cell
_NOTHING = np.empty(0, np.int64)  # not a slice, which would keep the whole alive

_WORD = np.uint64
_ZEROS = _WORD(0x3030303030303030)  # eight times the character 0
_Words = NDArray[np.uint64]
_Places = NDArray[np.intp]
_MOST_DIGITS = 18  # 10^18 - 1 fits a signed 64-bit integer, and so do 19 digits that do not begin with a 9
_INTEGER_TENS = 10 ** np.arange(_MOST_DIGITS + 1, dtype=np.int64)
_TENS = 10.0 ** np.arange(23)
_WIDE = np.finfo(np.longdouble).nmant >= 63
_ODD_NUMBER = re.compile(rb"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?")
_BLANK_WORDS = frozenset(
    b"nan null none na n/a #n/a nil - -- --- . .. ? -nan +nan nan(ind) -nan(ind) nat undefined".split()
)


class Cells(NamedTuple):
    """Cells of one column in one block of text.

    Attributes
    ----------
    text : (b,) uint8
        The block, after `PADDING` zeros.
    start, end : (n,) int
        Where each cell begins, and the place after its last byte.
    dot : (n,) int
        Where its decimal point stands; `end` without one.
    sign : (n,) uint8
        Its first byte if that is a sign, else 0.
    plain : (n,) bool
        Whether the cell is a sign at most, digits, and a point at most.
    """

    text: NDArray[np.uint8]
    start: NDArray[np.intp]
    end: NDArray[np.intp]
    dot: NDArray[np.intp]
    sign: NDArray[np.uint8]
    plain: NDArray[np.bool_]

    def bytes_of(self, row: int) -> bytes:
        """Return the bytes of one cell without spaces around it."""
        return self.text[self.start[row] : self.end[row]].tobytes().strip()


class Decimals(NamedTuple):
    """Numbers in the cells of one block.

    Attributes
    ----------
    value : (n,) float
        As `float()` reads them; NaN where there is none.
    mantissa : (n,) int64
    places : (n,) uint8
        The number is exactly `mantissa / 10**places`.
    state : (n,) uint8
        `NUMBER`, `BLANK` or `BAD`.
    """

    value: FloatArray
    mantissa: NDArray[np.int64]
    places: NDArray[np.uint8]
    state: NDArray[np.uint8]

    def rounded(self) -> Decimals:
        """Return the values without the digits they stand for, in half the memory."""
        return self._replace(mantissa=_NOTHING, places=_NOTHING.astype(np.uint8))


class Numbers:
    """The numbers of one column, block after block; each array is joined when it is first asked for.

    Parameters
    ----------
    blocks : sequence of Decimals
    """

    def __init__(self, blocks: Sequence[Decimals]) -> None:
        names = ("value", "mantissa", "places", "state")
        self._parts = {name: [getattr(block, name) for block in blocks] for name in names}

    def _joined(self, name: str, kind: type) -> NDArray[Any]:
        return np.concatenate([np.empty(0, kind), *self._parts.pop(name)])

    @cached_property
    def value(self) -> FloatArray:
        """(n,) float: as `float()` reads them; NaN where there is none."""
        return self._joined("value", np.float64)

    @cached_property
    def mantissa(self) -> NDArray[np.int64]:
        """(n,) int64: the number is exactly `mantissa / 10**places`."""
        return self._joined("mantissa", np.int64)

    @cached_property
    def places(self) -> NDArray[np.uint8]:
        """(n,) uint8"""
        return self._joined("places", np.uint8)

    @cached_property
    def state(self) -> NDArray[np.uint8]:
        """(n,) uint8: `NUMBER`, `BLANK` or `BAD`."""
        return self._joined("state", np.uint8)


def decimals(cells: Cells) -> Decimals:
    """Return the numbers in the cells; what is no number is `BLANK` or `BAD`, never a guess."""
    places = cells.end - cells.dot
    digits = cells.end - cells.start
    pointed = places > 0
    places -= pointed
    digits -= pointed
    digits -= cells.sign != 0
    most = int(digits.max(initial=0))
    fits = cells.plain & (digits > 0)
    if most > _MOST_DIGITS or not fits.all():
        first = cells.text[np.minimum(cells.start + (cells.sign != 0), cells.text.size - 1)]
        fits &= (digits <= _MOST_DIGITS) | (
            (digits == _MOST_DIGITS + 1) & (first < ord("9")) & (places <= _MOST_DIGITS)
        )
        digits[~fits] = places[~fits] = 0
    words = np.ndarray((cells.text.size - 7,), "<u8", cells.text.data, 0, (1,))  # eight bytes from every byte on
    mantissa = _sixteen_digits(words, cells, digits, places)
    if most > 16 or places.max(initial=0) > 8:
        long = np.flatnonzero((digits > 16) | (places > 8))
        mantissa[long] = _any_digits(words, cells.end[long], cells.dot[long], digits[long], places[long])
    mantissa *= 1 - 2 * (cells.sign == ord("-")).view(np.int8)
    numbers = Decimals(
        mantissa / _TENS[_one_for_all(places)], mantissa, places.astype(np.uint8), np.zeros(places.size, np.uint8)
    )
    _settle_long(numbers, cells)
    if not fits.all():
        numbers.state[~fits] = BAD
        numbers.state[cells.start == cells.end] = BLANK
        _settle_odd(numbers, cells)
    return numbers


def _one_for_all(values: NDArray[Any]) -> NDArray[Any]:
    """Return the first value only when all are equal, which arithmetic spreads over all again."""
    return values[:1] if values.size and values.min() == values.max() else values


def _sixteen_digits(words: _Words, cells: Cells, digits: _Places, places: _Places) -> NDArray[np.int64]:
    """Return the mantissas of cells with at most 16 digits, 8 of them behind the point.

    The last eight digits are put together from the word that ends at the point and the one that ends the cell.
    """
    before, behind = words[cells.dot - 8], words[cells.end - 8]
    before ^= _ZEROS
    behind ^= _ZEROS
    moved = (_one_for_all(places) << 3).view(_WORD)
    unused = _WORD(64) - moved
    behind >>= unused
    behind <<= unused
    before >>= moved
    before |= behind
    mantissa = _eight_digits(_last_bytes(before, digits))
    if digits.max(initial=0) > 8:
        higher = words[cells.dot + places - 16] ^ _ZEROS
        mantissa += _eight_digits(_last_bytes(higher, np.maximum(digits - 8, 0))) * 10**8
    return mantissa


def _any_digits(words: _Words, end: _Places, dot: _Places, digits: _Places, places: _Places) -> NDArray[np.int64]:
    """Return the mantissas of cells of any length."""
    return _digits(words, dot, digits - places) * _INTEGER_TENS[places] + _digits(words, end, places)


def _digits(words: _Words, end: _Places, count: _Places) -> NDArray[np.int64]:
    """Return the number made by the `count` digits before `end`."""
    total = np.zeros(end.size, np.int64)
    for done in range(0, int(count.max(initial=0)), 8):
        word = _last_bytes(words[end - done - 8] ^ _ZEROS, np.maximum(count - done, 0))
        total += _eight_digits(word) * 10**done
    return total


def _last_bytes(word: _Words, count: _Places) -> _Words:
    """Return words with all but their `count` highest bytes zero (none with 8 or more); they are changed in place."""
    unused = (np.maximum(8 - count, 0) << 3).view(_WORD)
    word >>= unused
    word <<= unused
    return word


def _eight_digits(word: NDArray[np.uint64]) -> NDArray[np.int64]:
    """Return the number that eight bytes of digit values make, the lowest byte most significant; words are used up."""
    pairs = word >> _WORD(8)
    word *= _WORD(10)
    word += pairs
    mask = _WORD(0x000000FF000000FF)
    low = word >> _WORD(16)
    word &= mask
    low &= mask
    word *= _WORD(100 + (1_000_000 << 32))
    low *= _WORD(1 + (10_000 << 32))
    word += low
    word >>= _WORD(32)
    return word.view(np.int64)


def _settle_long(numbers: Decimals, cells: Cells) -> None:
    """Round correctly where the mantissa is too long for a double."""
    if numbers.mantissa.min(initial=0) >= -(2**53) and numbers.mantissa.max(initial=0) <= 2**53:
        return
    rows = np.flatnonzero(np.abs(numbers.mantissa) > 2**53)
    doubtful = rows
    if _WIDE:  # 64 bits hold the mantissa; only a quotient half way between two doubles needs a second look
        quotient = numbers.mantissa[rows].astype(np.longdouble) / np.longdouble(10) ** numbers.places[rows]
        value = quotient.astype(np.float64)
        numbers.value[rows] = value
        off = np.abs(quotient - value) / np.spacing(np.abs(value))
        doubtful = rows[(off == 0.5) | (off == 0.25)]  # the gap below a power of two is half as wide
    for row in doubtful.tolist():
        numbers.value[row] = float(cells.bytes_of(row))


def _settle_odd(numbers: Decimals, cells: Cells) -> None:
    """Read one by one the cells that are not plain digits: blank words, exponents, very long numbers."""
    known: dict[bytes, tuple[Any, ...]] = {}
    for row in np.flatnonzero(numbers.state == BAD).tolist():
        cell = cells.bytes_of(row)
        if cell not in known:
            known[cell] = odd_number(cell)
        numbers.value[row], numbers.mantissa[row], numbers.places[row], numbers.state[row] = known[cell]
    numbers.value[numbers.state != NUMBER] = np.nan


def odd_number(cell: bytes) -> tuple[float, int, int, int]:
    """Return value, mantissa, decimals and state of one cell that is not plain digits."""
    if not cell or cell.lower() in _BLANK_WORDS:
        return float("nan"), 0, 0, BLANK
    if len(cell) > 400 or not _ODD_NUMBER.fullmatch(cell):
        return float("nan"), 0, 0, BAD
    exact = Decimal(cell.decode("ascii"))
    if abs(exact) >= 2**63:
        return float("nan"), 0, 0, BAD
    room = max(0, _MOST_DIGITS - max(exact.adjusted() + 1, 0))
    places = min(room, max(0, -int(exact.as_tuple().exponent)))
    return float(cell), int(exact.scaleb(places).to_integral_value()), places, NUMBER
