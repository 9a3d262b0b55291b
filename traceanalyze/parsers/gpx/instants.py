"""Texts of xsd:dateTime -> whole Unix seconds and nanoseconds, many at once.

Source of the form: W3C, XML Schema Part 2: Datatypes, second edition (2004), 3.2.7. Read beyond it, since loggers
write it: a space or a small t for the T, a small z, an offset without its colon, and second 60 of a leap second.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Bytes = NDArray[np.uint8]
Ints = NDArray[np.int64]

_FORM: Final = re.compile(
    rb"(\d{4})-(\d\d)-(\d\d)[Tt ](\d\d):(\d\d):(\d\d)(?:[.,](\d{1,40}))?([Zz]|([+-])(\d\d):?(\d\d))?"
)
#: Different layouts (number of decimals, kind of zone) read many at a time; further ones are read one by one.
_LAYOUTS: Final = 40
_LONGEST: Final = 72
_DAYS_IN_MONTH: Final = np.array([0, 31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


@dataclass(frozen=True, slots=True)
class Instants:
    """Moments found in texts.

    Attributes
    ----------
    second : (n,) int64
        Whole Unix seconds (UTC).
    nanosecond : (n,) int64
        0 to 999,999,999 past them; digits beyond the ninth are cut off.
    known : (n,) bool
        False where the text is no moment.
    zoned : (n,) bool
        Whether the text names its zone; without one it is taken as UTC, as GPX means it.
    leap : (n,) bool
        Whether the text has second 60; such a second counts as the first of the next minute.
    """

    second: Ints
    nanosecond: Ints
    known: NDArray[np.bool_]
    zoned: NDArray[np.bool_]
    leap: NDArray[np.bool_]

    def __getitem__(self, rows: Any) -> Instants:
        return Instants(*(getattr(self, name)[rows] for name in self.__slots__))

    def put(self, rows: Ints, other: Instants) -> None:
        """Write the moments of `other` into these rows."""
        for name in self.__slots__:
            getattr(self, name)[rows] = getattr(other, name)


def nothing(count: int) -> Instants:
    """Return so many unknown moments."""
    flags = [np.zeros(count, bool) for _ in range(3)]
    return Instants(np.zeros(count, np.int64), np.zeros(count, np.int64), *flags)


def read_instants(text: Bytes, start: Ints, end: Ints) -> Instants:
    """Return the moments written in `text[start:end]` of each row; what is none is not `known`.

    Rows laid out like a row already understood (same length, same signs at the same places) are converted together.
    """
    found = nothing(start.size)
    width = end - start
    rest = np.flatnonzero((width >= 19) & (width <= _LONGEST))
    for _ in range(_LAYOUTS):
        if not rest.size:
            return found
        row = int(rest[0])
        same = rest[width[rest] == width[row]]
        cells = text[start[same][:, None] + np.arange(width[row])]
        same, cells = _laid_out_like_first(same, cells)
        if form := _FORM.fullmatch(cells[0].tobytes()):
            found.put(same, _moments(form, cells))
        rest = np.setdiff1d(rest, same, assume_unique=True)
    for row in rest.tolist():
        cells = text[start[row] : end[row]][None, :]
        if form := _FORM.fullmatch(cells[0].tobytes()):
            found.put(np.array([row]), _moments(form, cells))
    return found


def _laid_out_like_first(rows: Ints, cells: Bytes) -> tuple[Ints, Bytes]:
    digit = (cells >= ord("0")) & (cells <= ord("9"))
    like = (np.where(digit, ord("0"), cells) == np.where(digit[0], ord("0"), cells[0])).all(axis=1)
    return (rows, cells) if like.all() else (rows[like], cells[like])


def _moments(form: re.Match[bytes], cells: Bytes) -> Instants:
    """Convert rows of one layout, whose parts lie where `form` says."""

    def number(group: int) -> Any:
        first, last = form.span(group)
        total = np.zeros(len(cells), np.int64)
        for column in range(first, last):
            total = total * 10 + (cells[:, column] - ord("0"))
        return total

    year, month, day, hour, minute, second = (number(group) for group in range(1, 7))
    places = form.end(7) - form.start(7)
    nanosecond = _nanoseconds(cells[:, form.start(7) : form.end(7)]) if places else np.zeros(len(cells), np.int64)
    offset_min = number(10) * 60 + number(11) if form.group(9) else np.zeros(len(cells), np.int64)
    known = _possible(year, month, day, hour, minute, second, nanosecond) & (offset_min <= 14 * 60)
    if form.group(9):
        known &= number(11) < 60
        offset_min = -offset_min if form.group(9) == b"-" else offset_min
    moment = _days(year, month, day) * 86400 + hour * 3600 + (minute - offset_min) * 60 + second
    leap = second == 60
    known &= ~leap | _may_leap(moment)
    zoned = np.full(len(cells), form.group(8) is not None)
    return Instants(moment, nanosecond, known, zoned, leap)


def _nanoseconds(digits: Bytes) -> Ints:
    total = np.zeros(len(digits), np.int64)
    for column in range(9):
        total = total * 10 + (digits[:, column] - ord("0") if column < digits.shape[1] else 0)
    return total


def _possible(year: Ints, month: Ints, day: Ints, hour: Ints, minute: Ints, second: Ints, ns: Ints) -> Any:
    """Whether the parts are in range; 24:00:00 is the midnight that ends the day."""
    leap_year = (year % 4 == 0) & ((year % 100 != 0) | (year % 400 == 0))
    last = _DAYS_IN_MONTH[np.clip(month, 0, 12)] - ((month == 2) & ~leap_year)
    date = (year > 0) & (month >= 1) & (month <= 12) & (day >= 1) & (day <= last)
    midnight = (hour == 24) & (minute == 0) & (second == 0) & (ns == 0)
    return date & ((hour < 24) | midnight) & (minute < 60) & (second <= 60)


def _may_leap(moment: Ints) -> Any:
    """Whether a second 60 that reads as this moment may be a leap second: the end of a June or a December (UTC)."""
    days, rest = np.divmod(moment, 86400)
    date = days.astype("datetime64[D]")
    month = date.astype("datetime64[M]").astype(np.int64) % 12
    return (rest == 0) & (date == date.astype("datetime64[M]")) & ((month == 0) | (month == 6))


def _days(year: Ints, month: Ints, day: Ints) -> Ints:
    """Return days since 1970-01-01 of proleptic Gregorian dates (shifting the year's start to March)."""
    late = month <= 2
    year, month = year - late, month + 12 * late - 3
    return year * 365 + year // 4 - year // 100 + year // 400 + (153 * month + 2) // 5 + day - 719469
