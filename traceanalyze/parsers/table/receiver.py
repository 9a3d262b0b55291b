"""Columns of the receiver -> arrays in SI units: speed, position, course, quality; void fixes and held values."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from traceanalyze.errors import FormatError
from traceanalyze.order import median
from traceanalyze.parsers.options import ReadOptions
from traceanalyze.parsers.table.choice import Choice, Named
from traceanalyze.parsers.table.decimals import Numbers
from traceanalyze.parsers.table.rows import Table, Texts
from traceanalyze.parsers.table.speeds import is_sorted_copy, magnitudes, unit_by_positions, unit_refusal
from traceanalyze.trace import FloatArray
from traceanalyze.units import FOOT_M, SPEED_UNITS, unit_name

_ANGLES: Final = {"": 1.0, "deg": 1.0, "rad": 180.0 / np.pi, "e7": 1e-7}
_LENGTHS: Final = {"": 1.0, "m": 1.0, "ft": FOOT_M}
_GOOD = frozenset(("a", "1", "true", "valid", "yes", "ok", "d", "2d", "3d", "fix", "2", "3"))
_VOID = frozenset(("v", "0", "false", "invalid", "void", "no", "n", "nofix", "no fix", "none"))


class Receiver(NamedTuple):
    """What the receiver's columns hold, one value a row.

    Attributes
    ----------
    columns : mapping of str to (n,) arrays
        Attributes of `Trace`.
    present : (n,) bool
        Whether the row holds a speed or a position.
    void : (n,) bool
        Whether the row says that there is no fix; its values are taken out.
    session : (n,) int or None
        Number of the drive, rising.
    speed_source, words, position_words : str
    notes : tuple of (code, text)
    """

    columns: Mapping[str, NDArray[Any]]
    present: NDArray[np.bool_]
    void: NDArray[np.bool_]
    session: NDArray[np.int64] | None
    speed_source: str
    words: str
    position_words: str
    notes: tuple[tuple[str, str], ...]


def read_receiver(table: Table, choice: Choice, options: ReadOptions, t_s: FloatArray) -> Receiver:
    """Return the receiver's columns in SI units.

    Raises
    ------
    FormatError
        If there is no speed, position or accelerometer, or the unit of the speed is not told.
    UsageError
        If the option for the unit of speed is no unit.
    """
    if not any(choice.all(role) for role in ("speed", "vn", "lat")) and choice.all("ax"):
        nothing = np.zeros(table.rows, bool)
        return Receiver({}, nothing, nothing, None, "accelerometer", "", "", ())
    lat_deg, lon_deg, position_words, notes = _positions(table, choice)
    speed = _speed(table, choice, options, t_s, lat_deg, lon_deg)
    speed_mps, words, speed_notes = speed or (np.full(table.rows, np.nan), "", [])
    notes += speed_notes
    void = _void(table, choice) | ((lat_deg == 0) & (lon_deg == 0))
    for values in (speed_mps, lat_deg, lon_deg):
        values[void] = np.nan
    columns: dict[str, NDArray[Any]] = {"speed_mps": speed_mps, "lat_deg": lat_deg, "lon_deg": lon_deg}
    columns |= _secondary(table, choice)
    located = np.isfinite(lat_deg) & np.isfinite(lon_deg)
    measured = np.isfinite(speed_mps)
    if speed is None and not located.any() and choice.first("ax") is None:
        raise FormatError(
            f"no column of speeds among {choice.listed()}", advice="name it: --column speed=NAME --speed-unit m/s"
        )
    return Receiver(
        columns,
        measured | located,
        void,
        _sessions(table, choice.first("drive")),
        "receiver" if speed is not None else "positions",
        words,
        position_words,
        tuple(notes),
    )


def _values(table: Table, named: Named | None) -> FloatArray:
    return np.full(table.rows, np.nan) if named is None else table.numbers(named.column).value.copy()


def _positions(table: Table, choice: Choice) -> tuple[FloatArray, FloatArray, str, list[tuple[str, str]]]:
    lat, lon = choice.first("lat"), choice.first("lon")
    nothing = np.full(table.rows, np.nan)
    if lat is None or lon is None:
        return nothing, nothing.copy(), "", []
    lat_deg, lon_deg = _values(table, lat), _values(table, lon)
    lat_deg *= _ANGLES[lat.meaning.unit]
    lon_deg *= _ANGLES[lon.meaning.unit]
    outside = (np.abs(lat_deg) > 90) | (np.abs(lon_deg) > 360)
    if outside.sum() > np.isfinite(lat_deg).sum() / 2:
        note = ("positions-unreadable", f"{lat.name!r} and {lon.name!r} hold no degrees: positions are left out")
        return nothing, nothing.copy(), "", [note]
    lat_deg[outside] = lon_deg[outside] = np.nan
    notes = [("positions-out-of-range", f"{int(outside.sum())} positions lie off the globe")] if outside.any() else []
    lon_deg[lon_deg > 180] -= 360
    return lat_deg, lon_deg, f"position from {lat.name!r} and {lon.name!r}", notes


def _speed(
    table: Table, choice: Choice, options: ReadOptions, t_s: FloatArray, lat_deg: FloatArray, lon_deg: FloatArray
) -> tuple[FloatArray, str, list[tuple[str, str]]] | None:
    """Return speed [m/s], what it was taken from unless options say it, and notes; None without any speed."""
    columns = choice.all("speed")
    vehicle_only = all(named.meaning.rank == 3 and not named.asked for named in columns)
    north, east = choice.first("vn"), choice.first("ve")
    if vehicle_only and north is not None and east is not None:
        speed = np.hypot(_values(table, north), _values(table, east))
        label = f"{north.name!r} and {east.name!r} (horizontal)"
        named = north
    elif columns:
        named, speed, label = _best_column(table, columns)
    else:
        return None
    unit, why, notes = _unit(named, options, choice, (t_s, speed, lat_deg, lon_deg))
    speed, sign_note = magnitudes(speed)
    notes += [("speed-sign", sign_note)] if sign_note else []
    if named.meaning.rank == 3 and not named.asked:
        notes.append(("vehicle-speed", f"the speed {named.name!r} comes from the vehicle, not from a receiver"))
    others = [other.name for other in columns if other is not named]
    also = f"; other speeds, not used: {', '.join(map(repr, others))}" if others else ""
    words = "" if named.asked and options.speed_unit else f"speed from {label} ({unit}{why}{also})"
    return speed * SPEED_UNITS[unit], words, notes


def _best_column(table: Table, columns: tuple[Named, ...]) -> tuple[Named, FloatArray, str]:
    """Return the most trusted column that holds numbers and is not sorted, when there is one."""
    filled = [named for named in columns if np.isfinite(table.numbers(named.column).value).any()] or [columns[0]]
    unsorted = [named for named in filled if named.asked or not is_sorted_copy(table.numbers(named.column).value)]
    named = (unsorted or filled)[0]
    label = repr(named.name) + ("" if unsorted else ", which never falls (is it a sorted copy?)")
    return named, table.numbers(named.column).value.copy(), label


def _unit(
    named: Named, options: ReadOptions, choice: Choice, drive: tuple[FloatArray, FloatArray, FloatArray, FloatArray]
) -> tuple[str, str, list[tuple[str, str]]]:
    """Return the unit of the speed, how it is known, and notes."""
    stated = unit_name(options.speed_unit, SPEED_UNITS) if options.speed_unit else named.meaning.unit
    measured = unit_by_positions(*drive)
    if not stated and not measured:
        raise unit_refusal(named.name, choice.listed())
    if not stated:
        return measured, ", by the distance between positions", []
    if measured and measured != stated:
        text = f"the speed {named.name!r} is read as {stated}, but the distance between positions says {measured}"
        return stated, "", [("unit-doubtful", text)]
    return stated, "", []


def _void(table: Table, choice: Choice) -> NDArray[np.bool_]:
    """Mark rows whose quality, fix or status says that there is no fix."""
    void = np.zeros(table.rows, bool)
    for role in ("quality", "fix"):
        named = choice.first(role)
        if named is not None:
            void |= table.numbers(named.column).value == 0
    named = choice.first("valid")
    if named is not None:
        column = table.columns[named.column]
        assert isinstance(column, Texts)
        words, which = np.unique(column.text, axis=0, return_inverse=True)
        cells = [Texts(words).cell(row).lower() for row in range(len(words))]
        if set(cells) <= _GOOD | _VOID | {""}:
            void |= np.array([cell in _VOID for cell in cells])[which.reshape(-1)]
    return void


def _secondary(table: Table, choice: Choice) -> dict[str, NDArray[Any]]:
    """Return the columns that the table has besides speed and position."""
    columns: dict[str, NDArray[Any]] = {
        role: table.numbers(named.column).value
        for role in ("hdop", "satellites")
        if (named := choice.first(role)) is not None
    }
    if (named := choice.first("altitude")) is not None:
        columns["altitude_m"] = table.numbers(named.column).value * _LENGTHS[named.meaning.unit]
    if (named := choice.first("course")) is not None:
        columns["course_deg"] = (table.numbers(named.column).value * _ANGLES[named.meaning.unit]) % 360.0
    if (named := choice.first("quality")) is not None:
        code = table.numbers(named.column).value
        columns["quality"] = np.where((code >= 0) & (code <= 9), code, -1).astype(np.int8)
    return columns


def _sessions(table: Table, named: Named | None) -> NDArray[np.int64] | None:
    """Return rising numbers that change where the drive's name changes; None without such a column."""
    if named is None:
        return None
    column = table.columns[named.column]
    if isinstance(column, Numbers):
        value = np.where(np.isnan(column.value), -1.0, column.value)
        changed = np.diff(value, prepend=value[:1]) != 0
    else:
        changed = np.zeros(table.rows, bool)
        changed[1:] = (column.text[1:] != column.text[:-1]).any(axis=1)
    return np.cumsum(changed)


def updates(t_s: FloatArray, receiver: Receiver, rows: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Mark the rows in which the receiver gave a new fix, where a faster sensor's rows repeat its last one.

    A receiver that gives a fix every k rows shows it: while it moves, its values change every k rows. Rows between
    changes are repeats, not samples; within a long rest every k-th row counts.
    """
    fresh = np.ones(rows.size, bool)
    if rows.size < 20:
        return fresh
    values = np.stack([receiver.columns[name][rows] for name in ("speed_mps", "lat_deg", "lon_deg")])
    same = (values[:, 1:] == values[:, :-1]) | (np.isnan(values[:, 1:]) & np.isnan(values[:, :-1]))
    changed = np.flatnonzero(np.concatenate([[True], ~same.all(axis=0)]))
    lengths = np.diff(changed)
    if lengths.size < 10:
        return fresh
    stride = int(median(lengths))
    if stride < 2 or (lengths == 1).mean() > 0.1:
        return fresh
    since = np.arange(rows.size) - changed[np.searchsorted(changed, np.arange(rows.size), side="right") - 1]
    return np.asarray(since % stride == 0, bool)
