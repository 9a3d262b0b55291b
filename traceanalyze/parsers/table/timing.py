"""Which of the columns of times is the clock of the table."""

from __future__ import annotations

import numpy as np

from traceanalyze.errors import FormatError, UsageError
from traceanalyze.parsers.options import ReadOptions
from traceanalyze.parsers.table.choice import Choice, Named
from traceanalyze.parsers.table.clock import (
    Clock,
    clock_of,
    dated_by,
    is_running,
    of_parts,
    with_days,
    with_milliseconds,
    with_weeks,
)
from traceanalyze.parsers.table.decimals import Numbers
from traceanalyze.parsers.table.rows import Table
from traceanalyze.parsers.table.words import unit_word

_PARTS = ("year", "month", "day", "hour", "minute", "second")
#: A clock with at least this share of the moments of the finest one is as good.
_AS_FINE = 0.9


def best_clock(table: Table, choice: Choice, options: ReadOptions) -> tuple[Clock, str, tuple[int, ...]]:
    """Return the clock with most moments (a dated one, then one in UTC, of those as fine), its name and columns.

    A column that repeats one stamp over many rows is no clock for them when another column is finer; it may still
    give the date.

    Raises
    ------
    UsageError
        If the option for the unit of time is no unit.
    FormatError
        If no column holds times that can be read.
    """
    clocks, failures = _candidates(table, choice, options)
    if not clocks:
        raise (
            failures[0]
            if failures
            else FormatError(
                f"no column of times among {choice.listed()}",
                advice="name it: --column time=NAME --time-unit s (or ms, us, ns)",
            )
        )
    most = max(clock.moments for clock, _ in clocks)
    fine = [(clock, named) for clock, named in clocks if clock.moments >= _AS_FINE * most]
    clock, named = min(fine, key=lambda pair: (not pair[0].dated, "utc" not in pair[1].name.lower()))
    completed = _completed(clock, named, table, choice)
    for other, _ in clocks:
        completed = dated_by(completed, other)
    used = (named.column,) if named.column >= 0 else ()
    words = "" if named.asked and named.meaning.unit else f"time from {named.name!r} ({completed.words})"
    return completed, words, used


def _candidates(
    table: Table, choice: Choice, options: ReadOptions
) -> tuple[list[tuple[Clock, Named]], list[FormatError]]:
    unit = unit_word("time", options.time_unit) if options.time_unit else ""
    if options.time_unit and not unit:
        raise UsageError(f"unknown unit of time {options.time_unit!r}", advice="known are s, ms, us, ns")
    found: list[tuple[Clock, Named]] = []
    failures: list[FormatError] = []
    columns = choice.all("time") + tuple(named for named in choice.all("millisecond") if _runs(table, named))
    for named in columns or choice.all("date"):
        try:
            said = unit if named.asked or not named.meaning.unit else ""
            clock = clock_of(
                table.columns[named.column], named.name, said or named.meaning.unit, choice.first("ax") is not None
            )
        except FormatError as error:
            failures.append(error)
            continue
        if clock.valid.any():
            found.append((clock, named))
    parts = {role: part for role in _PARTS if (part := choice.first(role)) is not None}
    if len(parts) == len(_PARTS):
        clock = of_parts({role: table.numbers(named.column) for role, named in parts.items()})
        found += [(clock, parts["second"]._replace(column=-1))] if clock.valid.any() else []
    return found, failures


def _runs(table: Table, named: Named) -> bool:
    column = table.columns[named.column]
    return isinstance(column, Numbers) and is_running(column)


def _completed(clock: Clock, named: Named, table: Table, choice: Choice) -> Clock:
    """Return the clock with date, week and milliseconds of other columns added where it lacks them."""
    week, dates, fraction = choice.first("week"), choice.first("date"), choice.first("millisecond")
    if week is not None and not clock.dated:
        clock = with_weeks(clock, table.numbers(week.column), week.name)
    if dates is not None and dates.column != named.column and not clock.dated and _is_time_of_day(clock):
        clock = with_days(clock, table.columns[dates.column], dates.name)
    if fraction is not None and fraction.column != named.column:
        clock = with_milliseconds(clock, table.numbers(fraction.column), fraction.name)
    return clock


def _is_time_of_day(clock: Clock) -> bool:
    return clock.words.startswith(("time of day", "hhmmss")) and bool(np.min(clock.ns[clock.valid]) >= 0)
