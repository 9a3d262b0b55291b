"""Times of day and dates -> seconds on one clock: midnight, missing dates, dates 1024 weeks old, leap seconds."""

from __future__ import annotations

from collections import Counter
from datetime import date, timedelta
from itertools import pairwise
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
#: The clock runs on when the next time of day follows within this many seconds.
_RUNS_ON_S: Final = 10.0
#: So many dates may be late at midnight before it is worth a remark.
_LATE_ROWS: Final = 3


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
    known = day[np.isfinite(day)]
    if known.size and _is_one_day(time_of_day_s, known):
        days, repairs = _repaired(known[:1])
        return time_of_day_s, float(days[0]) * _DAY_S, repairs
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
    ahead, changes = _one_date_a_run(ahead, clock_s)
    days, repairs = _repaired(ahead + counted)
    first = days[0]
    return (
        _placed(time_s, rows, (days - first) * _DAY_S + clock_s + leap_s),
        float(first) * _DAY_S,
        changes + repairs + remarks,
    )


def _is_one_day(time_of_day_s: FloatArray, day: FloatArray) -> bool:
    """Whether all known dates are the same, and no midnight or leap second lies between: so it is with most logs."""
    steady = np.abs(np.diff(time_of_day_s)) < _DAY_S / 2
    return bool((day == day[0]).all() and steady.all() and np.max(time_of_day_s) < _DAY_S)


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


def _one_date_a_run(ahead: FloatArray, clock_s: FloatArray) -> tuple[FloatArray, tuple[Remark, ...]]:
    """Return the dates, as days ahead of the count of midnights, one for each stretch in which the clock runs on.

    A receiver that learns the date while it runs, or is an epoch late with it at midnight, changes it while the time
    of day goes on: the date of most rows holds for the stretch, of equally many the later.
    """
    begins = np.flatnonzero(np.diff(ahead, prepend=np.nan) != 0)
    if begins.size < 2:
        return ahead, ()
    step_s = np.mod(clock_s[begins[1:]] - clock_s[begins[1:] - 1], _DAY_S)
    stretches = [0, *(np.flatnonzero(step_s > _RUNS_ON_S) + 1).tolist(), begins.size]
    sizes = np.diff(begins, append=ahead.size)
    dates = ahead[begins].copy()
    for first, last in pairwise(stretches):
        if last - first > 1:
            dates[first:last] = _most_common(dates[first:last], sizes[first:last])
    corrected = np.repeat(dates, sizes)
    changed = int((corrected != ahead).sum())
    text = f"the date changes while the clock runs on: {changed} points have the date of the points beside them"
    return corrected, (Remark("date-corrected", text),) if changed > _LATE_ROWS else ()


def _most_common(dates: FloatArray, sizes: NDArray[np.intp]) -> float:
    """Return the date that most rows have; of equally common ones the later."""
    rows: Counter[float] = Counter()
    for date_of_run, size in zip(dates.tolist(), sizes.tolist(), strict=True):
        rows[date_of_run] += size
    return max(rows, key=lambda found: (rows[found], found))


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
