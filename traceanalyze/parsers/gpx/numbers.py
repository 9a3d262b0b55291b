"""Texts of xsd:decimal and xsd:double -> doubles, many at once, each equal to what `float()` reads.

A mantissa below 2^53 and a power of ten up to 10^22 are both exact in a double, so their quotient is rounded once and
rightly (W. D. Clinger, How to read floating point numbers accurately, PLDI 1990, section 3). Longer ones go through a
quotient of 64 bits where there is one, and through `float()` where that lies half way between two doubles.
"""

from __future__ import annotations

import re
from typing import Final

import numpy as np
from numpy.typing import NDArray

from traceanalyze.trace import FloatArray

Bytes = NDArray[np.uint8]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

#: Widest text read many at a time [bytes]; the text needs as many bytes behind its last cell.
WIDEST: Final = 24
#: Longest text that may be a number at all [bytes].
_LONGEST: Final = 400
_EXACT: Final = 2**53
_MOST_DIGITS: Final = 18  # 10^18 - 1 fits a signed 64-bit integer
_TENS: Final = 10.0 ** np.arange(23)
_WIDE_TENS: Final = np.longdouble(10) ** np.arange(23)
_HAS_WIDE: Final = np.finfo(np.longdouble).nmant >= 63
_NUMBER: Final = re.compile(rb"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_REFERENCE: Final = re.compile(rb"&(?:#([0-9]{1,7})|#x([0-9A-Fa-f]{1,6}));")


def read_numbers(text: Bytes, start: Ints, end: Ints) -> FloatArray:
    """Return the numbers in `text[start:end]` of each row, none of them empty; infinite where it is no number."""
    width = end - start
    columns = min(int(width.max(initial=1)), WIDEST)
    windows = np.ndarray((text.size - columns + 1, columns), np.uint8, text.data, 0, (1, 1))
    cell = np.ascontiguousarray(windows[start].T)  # one row a place in the text, one column a number
    inside = np.arange(columns)[:, None] < width
    digit = ((cell - np.uint8(ord("0"))) < 10) & inside
    dot = (cell == ord(".")) & inside
    negative = cell[0] == ord("-")
    ours = digit | dot
    ours[0] |= negative | (cell[0] == ord("+"))
    count = digit.sum(axis=0, dtype=np.uint8)
    plain = (ours == inside).all(axis=0) & (dot.sum(axis=0, dtype=np.uint8) < 2) & (width <= WIDEST) & (count > 0)
    fits = plain & (count <= _MOST_DIGITS)
    places = np.where(dot.any(axis=0) & fits, width - 1 - dot.argmax(axis=0), 0)
    mantissa = _mantissa(cell, digit)
    value = _quotient(mantissa, places)
    value[negative] *= -1
    doubtful = ~fits | _doubtful(mantissa, places, value)
    for row in np.flatnonzero(doubtful & plain).tolist():
        value[row] = float(text[start[row] : end[row]].tobytes())
    for row in np.flatnonzero(~plain).tolist():
        value[row] = odd_number(text[start[row] : min(end[row], start[row] + _LONGEST + 1)].tobytes())
    return value


def _mantissa(cell: Bytes, digit: Flags) -> Ints:
    """Return the number all digits of each column make; it wraps round where there are too many."""
    total = np.zeros(cell.shape[1], np.int64)
    for row, here in zip(cell, digit, strict=True):
        longer = total * 10 + (row & 15)
        total = longer if here.all() else np.where(here, longer, total)
    return total


def _quotient(mantissa: Ints, places: Ints) -> FloatArray:
    value = mantissa / _TENS[places]
    rows = np.flatnonzero(np.abs(mantissa) > _EXACT)
    value[rows] = mantissa[rows].astype(np.longdouble) / _WIDE_TENS[places[rows]]
    return value


def _doubtful(mantissa: Ints, places: Ints, value: FloatArray) -> Flags:
    """Whether a quotient may have been rounded wrongly: too long a mantissa and, in 64 bits, half way between doubles.

    The gap below a power of two is half as wide, hence a quarter too.
    """
    doubt = np.abs(mantissa) > _EXACT
    rows = np.flatnonzero(doubt)
    if rows.size and _HAS_WIDE:
        quotient = mantissa[rows].astype(np.longdouble) / _WIDE_TENS[places[rows]]
        off = np.abs(quotient - np.abs(value[rows])) / np.spacing(np.abs(value[rows]))
        doubt[rows] = (off == 0.5) | (off == 0.25)
    return doubt


def odd_number(text: bytes) -> float:
    """Return one number as `float()` reads it, character references resolved; infinite where it is none."""
    text = resolved(text).strip()
    return float(text) if len(text) <= _LONGEST and _NUMBER.fullmatch(text) else float("inf")


def resolved(text: bytes) -> bytes:
    """Return a text with its character references replaced by what they stand for (`\\xff` beyond ASCII)."""
    return _REFERENCE.sub(lambda m: bytes((min(int(m[1]) if m[1] else int(m[2], 16), 255),)), text)
