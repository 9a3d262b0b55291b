"""A table of receiver and accelerometer rows -> one Trace."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from traceanalyze.errors import FormatError, UsageError
from traceanalyze.parsers.assembly import assemble
from traceanalyze.parsers.options import ReadOptions
from traceanalyze.parsers.table.choice import Choice, chosen
from traceanalyze.parsers.table.clock import Clock
from traceanalyze.parsers.table.decimals import BAD, Numbers
from traceanalyze.parsers.table.force import FACTORS, accelerometer_of, unit_by_gravity
from traceanalyze.parsers.table.layout import Layout, find_layout, is_number
from traceanalyze.parsers.table.receiver import Receiver, read_receiver, updates
from traceanalyze.parsers.table.rows import Table, read_table
from traceanalyze.parsers.table.stamps import NS
from traceanalyze.parsers.table.timing import best_clock
from traceanalyze.parsers.table.words import unit_word
from traceanalyze.trace import Accelerometer, FloatArray, Remark, Source, Trace

_OVERRIDE_SPEED = "override with --column speed=NAME --speed-unit UNIT"
_OVERRIDE = "override with --column WHAT=NAME, where WHAT is time, speed, lat, lon, ax, ay, az, ..."
_AXES = ("ax", "ay", "az")
_MAYBE_TEXT = ("time", "date", "drive")
#: Quantities whose every digit counts: nanoseconds since 1970 have 19.
_EXACT = ("time", "date", "week", "millisecond", "year", "month", "day", "hour", "minute", "second")
#: Share of rows sharing a stamp above which a remark says so.
_SHARED = 0.2


def read_bytes(data: bytes, source: Source, options: ReadOptions | None = None) -> Trace:
    """Return the trace that a table (CSV and its kin) holds.

    What was taken for what, where no option said it, is stated in one remark (`columns-guessed`).

    Raises
    ------
    FormatError
        If it is no table, has no time, no usable quantity, or a unit that nothing tells; the message names the option.
    UsageError
        If an option names an unknown quantity or unit.
    """
    parts = _read(data, options or ReadOptions())  # what only reading needs is let go of before the trace is made
    return assemble(**parts, source=replace(source, format="csv"))


def _read(data: bytes, options: ReadOptions) -> dict[str, Any]:
    """Return what a trace is assembled from."""
    layout = find_layout(data)
    choice = chosen(layout, options)
    table = _table(data, layout, choice)
    clock, clock_words, clock_columns = best_clock(table, choice, options)
    kept = _kept_rows(table, layout, choice, clock, clock_columns)
    origin_ns = _origin_ns(clock, kept)
    t_s = (clock.ns - origin_ns) / NS
    t_s[~(clock.valid & kept)] = np.nan
    receiver = read_receiver(table, choice, options, t_s)
    accelerometer, lost, force_words = _accelerometer(table, choice, options, t_s, receiver)
    rows = _receiver_rows(t_s, kept, receiver, accelerometer)
    if accelerometer is None and not receiver.present[rows].any():
        raise FormatError("no row holds a time with a speed or a position", advice=f"its columns are {choice.listed()}")
    all_rows = rows.size == table.rows  # then nothing is picked, which would hold every column twice
    time_s = t_s if all_rows else t_s[rows]
    words = [receiver.words, clock_words, receiver.position_words, force_words]
    damage = {"malformed": int((~kept).sum()), "out_of_order": lost, "void_fix": int((receiver.void & kept).sum())}
    return {
        "time_s": time_s,
        "epoch_s": origin_ns / NS if clock.dated else float("nan"),
        "columns": {name: v if all_rows else v[rows] for name, v in receiver.columns.items()} if rows.size else {},
        "session": receiver.session[rows] if receiver.session is not None and rows.size else None,
        "accelerometer": accelerometer,
        "speed_source": receiver.speed_source if rows.size else "accelerometer",
        "tally": Counter(table.tally) + Counter(damage),
        "remarks": _remarks(choice, words, clock, receiver, time_s),
    }


def _receiver_rows(
    t_s: FloatArray, kept: NDArray[np.bool_], receiver: Receiver, accelerometer: Accelerometer | None
) -> NDArray[np.intp]:
    """Return the rows that are points of the receiver: beside an accelerometer, those with a new fix."""
    if accelerometer is None:
        return np.flatnonzero(kept & ~(np.isnan(t_s) & ~receiver.present))
    rows = np.flatnonzero(kept & receiver.present)
    return rows[updates(t_s[rows], receiver, rows)]


def _table(data: bytes, layout: Layout, choice: Choice) -> Table:
    """Read the columns that may be used: as numbers, or as text where their first cells are text."""
    columns = {named.column: role for role, all_named in choice.by_role.items() for named in all_named}
    textual = {column for column, role in columns.items() if role == "valid" or _holds_text(layout, column, role)}
    numeric = {column: columns[column] in _EXACT for column in sorted(set(columns) - textual)}
    table = read_table(data, layout, numeric, tuple(sorted(textual)))
    if not table.rows:
        raise FormatError("the table has a header but no whole row", advice="record longer, or check the copy")
    return table


def _holds_text(layout: Layout, column: int, role: str) -> bool:
    cells = layout.column_cells(column)
    return role in _MAYBE_TEXT and sum(is_number(cell) for cell in cells) < max(1, len(cells)) / 2


def _kept_rows(
    table: Table, layout: Layout, choice: Choice, clock: Clock, clock_columns: tuple[int, ...]
) -> NDArray[np.bool_]:
    """Mark the rows whose time, speed, position and force are readable or blank; refuse a table of unreadable ones.

    A row with something unreadable where a number should be is left out whole.
    """
    roles = ("speed", "vn", "ve", "lat", "lon", *_AXES)
    columns = [*clock_columns, *(named.column for role in roles if (named := choice.first(role)) is not None)]
    bad = np.zeros(table.rows, bool)
    for column in columns:
        found = table.columns[column]
        bad |= found.state == BAD if isinstance(found, Numbers) else ~clock.valid & (found.text[:, 0] != 0)
    if bad.mean() > 0.5:
        cells = [(column, cell) for column in columns for cell in layout.column_cells(column)]
        column, cell = next(((c, cell) for c, cell in cells if not is_number(cell)), (columns[0], ""))
        raise FormatError(
            f"most rows hold something unreadable, such as {cell[:40]!r} in column {choice.names[column]!r}",
            advice="write plain numbers without thousands separators, or name another column: --column WHAT=NAME",
        )
    return ~bad


def _origin_ns(clock: Clock, kept: NDArray[np.bool_]) -> int:
    """Return a whole second near the first time, so that seconds counted from it keep nanoseconds."""
    first = np.flatnonzero(clock.valid & kept)
    return int(clock.ns[first[0]]) // NS * NS if first.size else 0


def _accelerometer(
    table: Table, choice: Choice, options: ReadOptions, t_s: FloatArray, receiver: Receiver
) -> tuple[Accelerometer | None, int, str]:
    """Return the accelerometer, how many of its rows repeat a time, and what was taken for it.

    Raises
    ------
    FormatError
        If its unit is not told and the file holds nothing else.
    """
    axes = [choice.first(role) for role in _AXES]
    names = [named for named in axes if named is not None]
    if not names:
        return None, 0, ""
    force = [table.numbers(named.column).value if named else None for named in axes]
    unit, words = _force_unit(t_s, [axis for axis in force if axis is not None], names[0].meaning.unit, options)
    listed = ", ".join(repr(named.name) for named in names)
    if not unit:
        advice = "give it: --accel-unit g or m/s2"
        reason = f"the unit of the accelerometer ({listed}) is not stated and its length is not that of gravity"
        if not receiver.present.any():
            raise FormatError(reason, advice=advice)
        return None, 0, f"no accelerometer: {reason} ({advice})"
    found, lost = accelerometer_of(t_s, force, FACTORS[unit])
    return found, lost, f"accelerometer from {listed} ({words})" if found is not None else ""


def _force_unit(t_s: FloatArray, force: Sequence[FloatArray], stated: str, options: ReadOptions) -> tuple[str, str]:
    """Return the unit of the accelerometer and how it is known: by the option, else by gravity, else by its name."""
    if options.accel_unit:
        unit = unit_word("ax", options.accel_unit)
        if not unit:
            raise UsageError(f"unknown unit of acceleration {options.accel_unit!r}", advice="known are g, m/s2 and mg")
        return unit, unit
    weighed = unit_by_gravity(t_s, force)
    if weighed and stated and weighed != stated:
        return weighed, f"{weighed} by the length of gravity, though its name says {stated}"
    return (stated, stated) if stated else (weighed, f"{weighed} by the length of gravity")


def _remarks(choice: Choice, words: list[str], clock: Clock, receiver: Receiver, t_s: FloatArray) -> tuple[Remark, ...]:
    remarks = []
    if guessed := "; ".join(word for word in words if word):
        left = f"; not used: {', '.join(map(repr, choice.left))} (made from other columns)" if choice.left else ""
        override = _OVERRIDE_SPEED if receiver.words else _OVERRIDE
        remarks.append(Remark("columns-guessed", f"{guessed}{left}; {override}"))
    if clock.doubt:
        remarks.append(Remark("date-unclear", clock.doubt))
    remarks += [Remark(code, text) for code, text in receiver.notes]
    timed = t_s[np.isfinite(t_s)]
    if timed.size and (shared := float((np.diff(timed) == 0).sum()) / timed.size) > _SHARED:
        text = (
            f"{1 / (1 - shared):.0f} rows share each time stamp: the first row of each is kept; "
            "let the logger write fractions of a second"
        )
        remarks.append(Remark("shared-stamps", text))
    return tuple(remarks)
