"""Columns of times -> one clock in whole nanoseconds, and what was assumed to read it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from traceanalyze.errors import FormatError
from traceanalyze.order import median
from traceanalyze.parsers.table.decimals import NUMBER, Numbers
from traceanalyze.parsers.table.rows import Texts
from traceanalyze.parsers.table.stamps import DAY_NS, NS, WEEK_NS, Stamps, compact_dates, gps_ns, read_stamps
from traceanalyze.trace import FloatArray

NsArray = NDArray[np.int64]
_EXPONENT: Final = {"s": 9, "ms": 6, "us": 3, "ns": 0}  #: a unit is 10 to this many nanoseconds
#: Unix times of this size are dates from 1979 to 2128; smaller or larger numbers of seconds are none.
_UNIX_S = (3e8, 5e9)
#: Steps between rows of a logger [s]: 1 kHz to one a minute. Others mean that the unit is not what it seems.
_FACE_STEP = 10  #: most seconds between rows whose times are written hhmmss
_ROWS_WEIGHED: Final = 20_000  #: rows that sizes and steps are judged by
_STEPS_S = (0.0009, 61.0)
#: Steps of an unlabelled column that can only be one unit, for a receiver (1 to 50 Hz; one fix in up to 5 s) and
#: for a file with an accelerometer (to 500 Hz): unit, least, most.
_RECEIVER_STEPS = (("s", 0.0009, 5.01), ("ms", 19.9, 2001), ("us", 19_900, 2_001_000), ("ns", 1.99e7, 2.01e9))
_FORCE_STEPS = (("s", 0.0009, 1.01), ("ms", 1.99, 1001), ("us", 1990, 1_001_000), ("ns", 1.99e6, 1.01e9))


@dataclass(frozen=True, slots=True)
class Clock:
    """The time of each row.

    Attributes
    ----------
    ns : (n,) int64
        Nanoseconds; since 1970 when `dated`.
    valid : (n,) bool
        Whether the row has a time.
    dated : bool
    words : str
        What it was taken for.
    doubt : str
        What a reader should know about the date; empty without.
    """

    ns: NsArray
    valid: NDArray[np.bool_]
    dated: bool
    words: str
    doubt: str = ""

    @property
    def moments(self) -> int:
        """Number of times that differ from the one before."""
        known = self.ns if self.valid.all() else self.ns[self.valid]
        return int(np.count_nonzero(known[1:] != known[:-1]))

    def whole_seconds(self) -> bool:
        """Tell whether every time is a whole second."""
        return not (self.ns[self.valid] % NS).any()


def clock_of(column: Numbers | Texts, name: str, unit: str, with_force: bool) -> Clock:
    """Return the clock that one column holds.

    Parameters
    ----------
    unit : str
        Of a column of numbers: `s`, `ms`, `us`, `ns`, or empty to decide by size and step.
    with_force : bool
        Whether the file also holds an accelerometer, whose rows may come faster than a receiver's.

    Raises
    ------
    FormatError
        If the unit cannot be told, or is told and makes no sense.
    """
    if isinstance(column, Texts):
        return _of_stamps(read_stamps(column))
    valid = column.state == NUMBER
    if not unit and _is_clock_face(column.value[valid]):
        return Clock(_unrolled(_face_ns(column), valid, DAY_NS), valid, False, "hhmmss")
    unit, why = (unit, "") if unit else _unit_by_size(column.value[valid], name, with_force)
    ns, fits = _to_ns(column, _EXPONENT[unit])
    valid &= fits
    first = ns[:_ROWS_WEIGHED][valid[:_ROWS_WEIGHED]]
    _check_step(first, name, unit)
    seconds = _usual_size(first) / NS
    dated = _UNIX_S[0] <= seconds <= _UNIX_S[1]
    if not dated:
        ns = _unrolled(ns, valid, WEEK_NS)
    return Clock(ns, valid, dated, f"{unit}{' since 1970' if dated else ''}{why}")


def _of_stamps(stamps: Stamps) -> Clock:
    ns = np.where(stamps.readable, stamps.day * DAY_NS + stamps.clock_ns, 0)
    if not stamps.dated:
        ns = _unrolled(ns, stamps.readable, DAY_NS)
    words = "date and time" if stamps.dated else "time of day"
    doubt = ""
    if stamps.doubt:
        doubt = f"the date {stamps.doubt!r} can be read two ways: times are kept without a date"
    elif stamps.dated and not stamps.zoned:
        words += ", taken as UTC"
    return Clock(ns, stamps.readable, stamps.dated, words, doubt)


def _to_ns(column: Numbers, exponent: int) -> tuple[NsArray, NDArray[np.bool_]]:
    """Return exact nanoseconds (rounded where the column is finer), and which of them a 64-bit integer holds."""
    places: NDArray[Any] = column.places
    if places.size and places.min() == places.max():
        places = places[:1]  # one power of ten for all
    shift = exponent - places.astype(np.int64)
    up, down = 10 ** np.clip(shift, 0, 18), 10 ** np.clip(-shift, 0, 18)
    fits = np.abs(column.mantissa) <= 2**62 // up
    ns: NsArray = column.mantissa * up if fits.all() else column.mantissa * (up * fits)
    return (ns if (down == 1).all() else (ns + down // 2) // down), fits


def _is_clock_face(value: FloatArray) -> bool:
    """Tell whether numbers are hours, minutes and seconds written together: 095959.9 is followed by 100000.0."""
    if value.size < 2 or value.min() < 0 or value.max() >= 240_000:
        return False
    minutes = value // 100
    if not 0 < _usual_step(value) <= _FACE_STEP:
        return False
    return bool((value % 100 < 60).all() and (minutes % 100 < 60).all() and np.ptp(minutes) >= 1)


def _face_ns(column: Numbers) -> NsArray:
    ns, fits = _to_ns(column, 9)
    seconds, fraction = np.divmod(np.where(fits, ns, 0), NS)
    face_ns: NsArray = (seconds // 10_000 * 3600 + seconds // 100 % 100 * 60 + seconds % 100) * NS + fraction
    return face_ns


def _unit_by_size(value: FloatArray, name: str, with_force: bool) -> tuple[str, str]:
    """Return the unit of unlabelled times, and why: by the size of a date, else by the step between rows."""
    size = _usual_size(value)
    step = _usual_step(value)
    for unit, exponent in _EXPONENT.items():
        factor = 10.0 ** (9 - exponent)
        if _UNIX_S[0] <= size / factor <= _UNIX_S[1] and _STEPS_S[0] <= step / factor <= _STEPS_S[1]:
            return unit, ""
    for unit, least, most in _FORCE_STEPS if with_force else _RECEIVER_STEPS:
        if least <= step <= most:
            return unit, f" by its step of {step:.4g}"
    raise FormatError(
        f"the unit of the time column {name!r} is not stated and its step of {step:.4g} does not tell",
        advice="name it: --time-unit s, ms, us or ns (another column: --column time=NAME)",
    )


def _usual_size(value: NDArray[Any]) -> float:
    """Return the median of the first times; 0 without any."""
    return median(np.abs(value[:_ROWS_WEIGHED])) if value.size else 0.0


def _usual_step(value: NDArray[Any]) -> float:
    """Return the median step between times that rise; 0 when none does."""
    rising = np.diff(value[:_ROWS_WEIGHED])
    rising = rising[rising > 0]
    return median(rising) if rising.size else 0.0


def _check_step(ns: NsArray, name: str, unit: str) -> None:
    step_s = _usual_step(ns) / NS
    if step_s and not _STEPS_S[0] <= step_s <= _STEPS_S[1]:
        raise FormatError(
            f"the time column {name!r} read as {unit} has steps of {step_s:.4g} s, which no logger has",
            advice="name its unit: --time-unit s, ms, us or ns (another column: --column time=NAME)",
        )


def _unrolled(ns: NsArray, valid: NDArray[np.bool_], longest_ns: int) -> NsArray:
    """Carry a time of day over midnight, or a time of week over its end: the count goes on instead of back to zero."""
    kept = ns[valid]
    if not kept.size or kept.min() < 0:
        return ns
    turn = next((turn for turn in (DAY_NS, WEEK_NS) if kept.max() <= turn <= longest_ns), None)
    if turn is None:
        return ns
    out = ns.copy()
    out[valid] = kept + np.cumsum(np.diff(kept, prepend=kept[0]) < -turn // 2) * turn
    return out


def with_days(clock: Clock, dates: Numbers | Texts, name: str) -> Clock:
    """Return a clock of times of day with the days of a date column added."""
    if isinstance(dates, Texts):
        stamps = read_stamps(dates)
        day, readable, dated, doubt = stamps.day, stamps.readable, stamps.dated, stamps.doubt
    else:
        places = 8 if np.nanmax(dates.value, initial=0) > 1e6 else 6
        day, readable = compact_dates(dates.mantissa, places)
        readable, dated, doubt = readable & (dates.state == NUMBER), True, ""
    if not dated:
        return (
            replace(clock, doubt=f"the date {doubt!r} can be read two ways: times are kept without a date")
            if doubt
            else clock
        )
    valid = clock.valid & readable
    ns = np.where(valid, day * DAY_NS + clock.ns % DAY_NS, 0)
    return replace(clock, ns=ns, valid=valid, dated=True, words=f"{clock.words}, date from {name!r}")


def with_weeks(clock: Clock, weeks: Numbers, name: str) -> Clock:
    """Return a clock of GPS time of week with the weeks of another column added, as UTC."""
    number = weeks.value
    valid = clock.valid & (weeks.state == NUMBER) & (number >= 0) & (number < 10_000)
    if clock.dated or not valid.any() or np.max(np.abs(clock.ns[valid])) > WEEK_NS:
        return clock
    ns = np.where(valid, gps_ns(np.where(valid, number, 0).astype(np.int64), clock.ns), 0)
    return replace(clock, ns=ns, valid=valid, dated=True, words=f"GPS time of week, week from {name!r}")


def with_milliseconds(clock: Clock, milliseconds: Numbers, name: str) -> Clock:
    """Return a clock of whole seconds with a column of milliseconds (0 to 999) added."""
    valid = clock.valid & (milliseconds.state == NUMBER)
    values = milliseconds.value[valid]
    if not values.size or values.min() < 0 or values.max() > 999 or not clock.whole_seconds():
        return clock
    extra = np.where(valid, milliseconds.value, 0).astype(np.int64) * 1_000_000
    return replace(clock, ns=clock.ns + extra, valid=valid, words=f"{clock.words}, milliseconds from {name!r}")


def of_parts(parts: dict[str, Numbers]) -> Clock:
    """Return the clock of columns for year, month, day, hour, minute and second."""
    valid = np.logical_and.reduce([part.state == NUMBER for part in parts.values()])
    whole = {name: np.where(valid, part.value, 0).astype(np.int64) for name, part in parts.items()}
    day, exists = compact_dates(whole["year"] * 10_000 + whole["month"] * 100 + whole["day"], 8)
    second_ns, fits = _to_ns(parts["second"], 9)
    sane = (whole["hour"] < 24) & (whole["minute"] < 60) & (second_ns < 61 * NS) & (second_ns >= 0)
    valid &= exists & fits & sane & (whole["hour"] >= 0) & (whole["minute"] >= 0)
    ns = day * DAY_NS + (whole["hour"] * 3600 + whole["minute"] * 60) * NS + second_ns
    return Clock(np.where(valid, ns, 0), valid, True, "in columns from year to second")


def dated_by(clock: Clock, other: Clock) -> Clock:
    """Return a fine clock without a date, set to the date of a coarser one that has it."""
    both = clock.valid & other.valid
    if clock.dated or not other.dated or not both.any():
        return clock
    ahead = other.ns[both] - clock.ns[both]
    if np.ptp(ahead) > 3 * NS:
        return clock
    # a time cut to whole seconds lags by up to one: the greatest lead is the nearest
    return replace(clock, ns=clock.ns + int(ahead.max()), dated=True, words=f"{clock.words}, dated by another column")


def is_running(milliseconds: Numbers) -> bool:
    """Tell whether milliseconds count on (a clock of its own) rather than from 0 to 999 again and again."""
    values = milliseconds.value[milliseconds.state == NUMBER]
    return bool(values.size and values.max() > 999)
