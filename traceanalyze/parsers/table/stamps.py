"""Time stamps written as text -> nanoseconds: dates and times in any usual order, time zones, week:second."""

from __future__ import annotations

import re
from datetime import date
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from traceanalyze.parsers.table.rows import Texts

NS: Final = 1_000_000_000
DAY_NS: Final = 86_400 * NS
WEEK_NS: Final = 7 * DAY_NS
#: 6 January 1980, the first day of GPS week 0 (IS-GPS-200, section 3.3.4), as Unix time.
_GPS_START_NS = (date(1980, 1, 6) - date(1970, 1, 1)).days * DAY_NS
#: Days on which GPS time went one more second ahead of UTC (IERS Bulletin C; the last step was on 1 January 2017).
_LEAP_DAYS = """
    1981-07-01 1982-07-01 1983-07-01 1985-07-01 1988-01-01 1990-01-01 1991-01-01 1992-07-01 1993-07-01 1994-07-01
    1996-01-01 1997-07-01 1999-01-01 2006-01-01 2009-01-01 2012-07-01 2015-07-01 2017-01-01
"""
#: Shapes of stamps tried before the remaining cells are given up as unreadable.
_MOST_SHAPES = 64
_MONTHS = "jan feb mar apr may jun jul aug sep oct nov dec"

_YEAR_FIRST = r"(?P<y>\d{4})[-/.](?P<m>\d{1,2})[-/.](?P<d>\d{1,2})"
_YEAR_LAST = r"(?P<a>\d{1,2})(?P<sep>[-/.])(?P<b>\d{1,2})[-/.](?P<y>\d{4}|\d{2})"
_MONTH_NAME = r"(?P<d>\d{1,2})[- ](?P<name>[A-Za-z]{3})[- ](?P<y>\d{4})"
_COMPACT = r"(?P<y>\d{4})(?P<m>\d{2})(?P<d>\d{2})"
_CLOCK = r"(?P<H>\d{1,2}):(?P<M>\d{2})(?::(?P<S>\d{2})(?:[.,](?P<f>\d{1,12}))?)?(?: ?(?P<half>[AaPp][Mm]))?"
_COMPACT_CLOCK = r"(?P<H>\d{2})(?P<M>\d{2})(?P<S>\d{2})(?:\.(?P<f>\d{1,12}))?"
_ZONE = r"(?: ?(?P<zone>Z|z|UTC|GMT|[+-]\d{2}:?\d{2}|[+-]\d{2}))?"
_SHAPES = tuple(
    re.compile(shape, re.ASCII)
    for shape in (
        *(rf"{day}(?:[T ]+{_CLOCK}{_ZONE})?" for day in (_YEAR_FIRST, _YEAR_LAST, _MONTH_NAME)),
        rf"{_CLOCK}{_ZONE}",
        rf"{_COMPACT}[T_ -]{_COMPACT_CLOCK}{_ZONE}",
        r"(?P<week>\d{3,4}):(?P<sow>\d{1,6})(?:\.(?P<f>\d{1,12}))?",
        r"(?P<minutes>\d{1,3}):(?P<S>\d{2})\.(?P<f>\d{1,12})",
    )
)


class Stamps(NamedTuple):
    """Times of one column of text.

    Attributes
    ----------
    day : (n,) int64
        Days since 1970-01-01; 0 where the text has no date.
    clock_ns : (n,) int64
        Nanoseconds into the day, zone taken off (for week:second the whole time since 1970).
    readable : (n,) bool
    dated : bool
        Whether the texts hold a date that is certain.
    zoned : bool
        Whether they state a time zone (or are GPS time).
    doubt : str
        The first date that can be read two ways; empty without any.
    """

    day: NDArray[np.int64]
    clock_ns: NDArray[np.int64]
    readable: NDArray[np.bool_]
    dated: bool
    zoned: bool
    doubt: str = ""


def read_stamps(texts: Texts) -> Stamps:
    """Return the times that the cells of a column hold.

    Stamps of one shape (the same signs between digits) are read together; every field is checked against its range.
    A date such as 04/05/2024 is read as day/month or month/day only if other rows of the column decide it;
    with points (04.05.2024) the day comes first (common practice, no source).
    """
    parts = _read_all(texts)
    day_first, doubt = _day_order(parts, texts)
    day = np.where(day_first, parts["b"] * 100 + parts["a"], parts["a"] * 100 + parts["b"])
    month, day_of_month = (
        np.where(parts["a"] > 0, day // 100, parts["m"]),
        np.where(parts["a"] > 0, day % 100, parts["d"]),
    )
    has_date = (parts["y"] > 0) | (parts["week"] > 0)
    days, valid = _days(parts["y"], month, day_of_month)
    clock = parts["clock"] - parts["zone"]
    gps = parts["week"] > 0
    clock = np.where(gps, _utc_of_gps(parts["week"] * WEEK_NS + clock), clock)
    readable = parts["ok"] & (valid | ~has_date | gps)
    dated = bool(has_date[readable].all() and readable.any()) and not doubt
    zoned = bool(((parts["zoned"] > 0) | gps)[readable].all())
    return Stamps(np.where(has_date & ~gps & dated, days, 0), clock, readable, dated, zoned, doubt)


def _read_all(texts: Texts) -> dict[str, NDArray[Any]]:
    """Return the fields of every cell, read shape by shape."""
    n = texts.text.shape[0]
    fields: dict[str, NDArray[Any]] = {
        name: np.zeros(n, np.int64) for name in ("y", "m", "d", "a", "b", "week", "clock", "zone", "zoned", "point")
    }
    fields["ok"] = np.zeros(n, bool)
    left = np.flatnonzero(texts.text[:, 0] != 0)
    for _ in range(_MOST_SHAPES):
        if not left.size:
            break
        same = _same_shape(texts.text[left], texts.text[left[0]])
        for name, values in _fields_of_shape(texts.text[left[same]]).items():
            fields[name][left[same]] = values
        left = left[~same]
    return fields


def _same_shape(text: NDArray[np.uint8], template: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Mark the cells that differ from the template in their digits only."""
    digit = (template - np.uint8(48)) <= 9
    digits = (((text - np.uint8(48)) <= 9) == digit).all(axis=1)
    return np.asarray(digits & (text[:, ~digit] == template[~digit]).all(axis=1), bool)


def _fields_of_shape(text: NDArray[np.uint8]) -> dict[str, NDArray[Any]]:
    """Return the fields of cells that differ from the first one in their digits only; nothing when it is no stamp."""
    template = text[0].tobytes().rstrip(b"\0").decode("latin-1")
    found = next((match for shape in _SHAPES if (match := shape.fullmatch(template))), None)
    if found is None:
        return {}
    said = {name: value for name, value in found.groupdict().items() if value is not None}
    zero = np.zeros(text.shape[0], np.int64)
    field = {name: _number(text, found.span(name)) for name, value in said.items() if value.isdigit()}
    seconds, ok = _seconds(field, zero, said.get("half", ""))
    out = {name: values for name, values in field.items() if name in ("y", "m", "d", "a", "b", "week")}
    if "y" in out:
        out["y"] = np.where(out["y"] < 100, out["y"] + 2000, out["y"])
    if "name" in said:
        out["m"] = zero + (_MONTHS.split().index(said["name"].lower()) + 1 if said["name"].lower() in _MONTHS else 99)
    clock = seconds * NS + _fraction_ns(field.get("f"), found)
    zone = _zone_ns(text, found) if said.get("zone", "Z")[0] in "+-" else zero
    zoned, point = zero + ("zone" in said), zero + (said.get("sep") == ".")
    return out | {"clock": clock, "zone": zone, "zoned": zoned, "point": point, "ok": ok}


def _seconds(
    field: dict[str, NDArray[np.int64]], zero: NDArray[np.int64], half: str
) -> tuple[NDArray[np.int64], NDArray[Any]]:
    """Return whole seconds into the day (or week, or hour), and where every field is in its range."""
    hour, minute, second, into_week = (field.get(name, zero) for name in ("H", "M", "S", "sow"))
    ok = (hour <= 23) & (minute <= 59) & (second <= 60) & (into_week < 604_800)
    if half:
        ok &= (hour >= 1) & (hour <= 12)
        hour = hour % 12 + (12 if half.lower() == "pm" else 0)
    return hour * 3600 + minute * 60 + second + into_week + field.get("minutes", zero) * 60, ok


def _number(text: NDArray[np.uint8], span: tuple[int, int]) -> NDArray[np.int64]:
    digits = text[:, span[0] : span[1]].astype(np.int64) - 48
    total: NDArray[np.int64] = digits @ 10 ** np.arange(span[1] - span[0] - 1, -1, -1, dtype=np.int64)
    return total


def _fraction_ns(fraction: NDArray[np.int64] | None, found: re.Match[str]) -> NDArray[np.int64]:
    if fraction is None:
        return np.zeros(1, np.int64)
    places = found.end("f") - found.start("f")
    ns: NDArray[np.int64] = fraction * 10 ** max(0, 9 - places) // 10 ** max(0, places - 9)
    return ns


def _zone_ns(text: NDArray[np.uint8], found: re.Match[str]) -> NDArray[np.int64]:
    """Return how far local time is ahead of UTC [ns], from a zone such as +02:00, +0200 or +02."""
    begin, end = found.span("zone")
    minutes = _number(text, (begin + 1, begin + 3)) * 60
    if end - begin > 3:
        minutes = minutes + _number(text, (end - 2, end))
    return minutes * 60 * NS * (-1 if found["zone"][0] == "-" else 1)


def _day_order(parts: dict[str, NDArray[Any]], texts: Texts) -> tuple[bool, str]:
    """Tell whether the day stands before the month in dates with the year last, and name a date that leaves doubt."""
    dates = parts["ok"] & (parts["a"] > 0)
    if not dates.any() or parts["point"][dates].all() or (parts["a"][dates] > 12).any():
        return True, ""
    if (parts["b"][dates] > 12).any():
        return False, ""
    unlike = np.flatnonzero(dates & (parts["a"] != parts["b"]))
    return True, texts.cell(int(unlike[0])) if unlike.size else ""


def _days(
    year: NDArray[np.int64], month: NDArray[np.int64], day: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[Any]]:
    """Return days since 1970-01-01, and which dates exist."""
    sane = (year >= 1970) & (year <= 2200) & (month >= 1) & (month <= 12) & (day >= 1)
    months = np.where(sane, (year - 1970) * 12 + month - 1, 0)
    first = months.astype("M8[M]").astype("M8[D]").astype(np.int64)
    length = (months + 1).astype("M8[M]").astype("M8[D]").astype(np.int64) - first
    return first + np.where(sane, day - 1, 0), sane & (day <= length)


def gps_ns(week: NDArray[np.int64], into_week_ns: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the Unix time [ns] of a moment given by GPS week (counted since 1980) and time into it."""
    return _utc_of_gps(week * WEEK_NS + into_week_ns)


def _utc_of_gps(since_1980_ns: NDArray[np.int64]) -> NDArray[np.int64]:
    gps = since_1980_ns + _GPS_START_NS
    steps = (
        np.array([date.fromisoformat(day).toordinal() - date(1970, 1, 1).toordinal() for day in _LEAP_DAYS.split()])
        * DAY_NS
    )
    return gps - np.searchsorted(steps + np.arange(1, steps.size + 1) * NS, gps, side="right") * NS


def compact_dates(values: NDArray[np.int64], places: int) -> tuple[NDArray[np.int64], NDArray[Any]]:
    """Return days since 1970 of dates written as bare digits, and which exist.

    `places` is 8 for yyyymmdd and 6 for ddmmyy (the order of NMEA 0183 RMC).
    """
    if places == 8:
        return _days(values // 10_000, values // 100 % 100, values % 100)
    return _days(values % 100 + 2000, values // 100 % 100, values // 10_000)
