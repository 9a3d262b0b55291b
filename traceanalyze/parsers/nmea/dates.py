"""Times of day and dates -> seconds on one clock: midnight, missing dates, dates 1024 weeks old, leap seconds."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Final

import numpy as np
from numpy.typing import NDArray

from traceanalyze.trace import FloatArray, Remark

_DAY_S: Final = 86_400
_EPOCH: Final = date(1970, 1, 1)
#: The week number of GPS has ten bits: a receiver that lost count is this many days behind (rollovers on 1999-08-22,
#: 2019-04-07 and 2038-11-21).
_ROLLOVER_DAYS: Final = 1024 * 7
#: Valid fixes dated from the first day to before the second are read as 1024 weeks later, 2019-04-07 to 2027-02-13: a
#: receiver that has lost count since the last rollover shows no date before the first, and a log of today's rides is
#: likelier than one twenty years old. The second date has to move on with the years.
_STALE_FROM: Final = date(1999, 8, 22)
_STALE_BEFORE: Final = date(2007, 7, 1)
#: A date that differs for at most this many rows from both its neighbours, which agree, is theirs: some receivers
#: are an epoch late with the new date at midnight.
_SHORT_RUN: Final = 3


def one_clock(time_of_day_s: FloatArray, day: FloatArray) -> tuple[FloatArray, float, tuple[Remark, ...]]:
    """Return seconds on one clock, the Unix time of its zero, and what there is to remark.

    Parameters
    ----------
    time_of_day_s : (n,) float
        UTC time of day [s]; NaN where unknown. A leap second is 86400 or more.
    day : (n,) float
        Days since 1970; NaN where the log has no date.

    Returns
    -------
    time_s : (n,) float
        Counted from midnight of the first row's day; a leap second inside the log counts, so differences are
        elapsed time.
    epoch_s : float
        Unix time of that midnight; NaN for a log without any date.
    remarks : tuple of Remark
        Dates that are missing, were repaired, or cannot be right; leap seconds.
    """
    rows = np.flatnonzero(np.isfinite(time_of_day_s))
    time_s = np.full(time_of_day_s.size, np.nan)
    if not rows.size:
        return time_s, float("nan"), ()
    clock_s = time_of_day_s[rows]
    counted = _midnights(clock_s)
    leap_s = np.cumsum((np.diff(clock_s, prepend=clock_s[0]) < 0) & (np.roll(clock_s, 1) >= _DAY_S))
    ahead = _filled(day[rows] - counted)
    remarks = _leap_remarks(int(leap_s[-1]))
    if np.isnan(ahead[0]):
        note = Remark("no-date", "the log has no date: its times are times of day")
        return _placed(time_s, rows, counted * _DAY_S + clock_s + leap_s), float("nan"), (note, *remarks)
    days, date_remarks = _repaired(_without_short_runs(ahead) + counted)
    first = days[0]
    return (
        _placed(time_s, rows, (days - first) * _DAY_S + clock_s + leap_s),
        float(first) * _DAY_S,
        date_remarks + remarks,
    )


def _placed(target: FloatArray, rows: NDArray[np.intp], values: FloatArray) -> FloatArray:
    target[rows] = values
    return target


def _midnights(clock_s: FloatArray) -> FloatArray:
    """Return how many midnights lie before each row: steps of more than half a day back, less those forward."""
    step_s = np.diff(clock_s, prepend=clock_s[0])
    return np.cumsum((step_s < -_DAY_S / 2) * 1.0 - (step_s > _DAY_S / 2))


def _filled(values: FloatArray) -> FloatArray:
    """Return values where each unknown one is the last known before it, or else the first known."""
    known = np.isfinite(values)
    if known.all() or not known.any():
        return values
    source = np.maximum.accumulate(np.where(known, np.arange(values.size), -1))
    return values[np.where(source < 0, np.argmax(known), source)]


def _without_short_runs(ahead: FloatArray) -> FloatArray:
    """Return the dates, as days ahead of the count of midnights, without short deviations."""
    begins = np.flatnonzero(np.diff(ahead, prepend=np.nan) != 0)
    if begins.size < 3:
        return ahead
    ends = np.append(begins[1:], ahead.size)
    run = ahead[begins]
    for k in range(1, begins.size - 1):
        if ends[k] - begins[k] <= _SHORT_RUN and run[k - 1] == run[k + 1]:
            run[k] = run[k - 1]
    return np.repeat(run, ends - begins)


def _repaired(days: FloatArray) -> tuple[FloatArray, tuple[Remark, ...]]:
    """Return the days with those that must be 1024 weeks old repaired."""
    begin, end = ((day - _EPOCH).days for day in (_STALE_FROM, _STALE_BEFORE))
    stale = (days >= begin) & (days < end)
    remarks: list[Remark] = []
    if stale.any():
        found = int(days[np.argmax(stale)])
        text = (
            f"the date {_text(found)} is 1024 weeks old, as receivers write that lost count of the weeks: "
            f"read as {_text(found + _ROLLOVER_DAYS)}; wrong only if the log is from before {_STALE_BEFORE.isoformat()}"
        )
        remarks.append(Remark("date-1024-weeks", text))
    if (days < begin).any():
        text = f"the date {_text(int(days[days < begin][0]))} is older than any log should be: left as it is"
        remarks.append(Remark("old-date", text))
    return days + stale * _ROLLOVER_DAYS, tuple(remarks)


def _text(day: int) -> str:
    return (_EPOCH + timedelta(days=day)).isoformat()


def _leap_remarks(leap_seconds: int) -> tuple[Remark, ...]:
    if not leap_seconds:
        return ()
    text = "the log runs through a leap second: times are elapsed times, so clock times after it read one second late"
    return (Remark("leap-second", text),)
