"""Records <-> rows of the database, one table at a time."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import fields
from typing import Any, Final

from traceanalyze.book.checking import records
from traceanalyze.book.records import (
    CurveRecord,
    FittingRecord,
    LogRecord,
    RemarkRecord,
    ResultRecord,
    RunRecord,
    VehicleRecord,
)
from traceanalyze.errors import BookError

Row = dict[str, Any]

#: Fields of a record that are columns of its own table.
LOG_COLUMNS: Final = tuple(one.name for one in fields(LogRecord) if one.name not in ("runs", "remarks"))
_ELSEWHERE = ("vehicle", "setup", "date", "place", "results", "remarks", "curve")
RUN_COLUMNS: Final = tuple(one.name for one in fields(RunRecord) if one.name not in _ELSEWHERE)
RESULT_COLUMNS: Final = tuple(one.name for one in fields(ResultRecord))
REMARK_COLUMNS: Final = tuple(one.name for one in fields(RemarkRecord))
VEHICLE_COLUMNS: Final = tuple(one.name for one in fields(VehicleRecord))


def _insert(connection: sqlite3.Connection, table: str, row: Mapping[str, Any]) -> int:
    names = ", ".join(f'"{name}"' for name in row)
    marks = ", ".join("?" * len(row))
    done = connection.execute(f"INSERT INTO {table} ({names}) VALUES ({marks})", tuple(row.values()))
    return int(done.lastrowid or 0)


def _id_of(connection: sqlite3.Connection, table: str, row: Mapping[str, Any]) -> int:
    """Return the id of the row with these values, made when it is not there."""
    where = " AND ".join(f'"{name}" = ?' for name in row)
    found = connection.execute(f"SELECT id FROM {table} WHERE {where}", tuple(row.values())).fetchone()
    return int(found[0]) if found else _insert(connection, table, row)


def is_known(connection: sqlite3.Connection, log: LogRecord) -> bool:
    """Whether a log is in the book, by the bytes of its file."""
    sql = "SELECT 1 FROM logs WHERE sha256 = ? AND member = ?"
    return connection.execute(sql, (log.sha256, log.member)).fetchone() is not None


def insert_log(connection: sqlite3.Connection, log: LogRecord) -> None:
    """Add a log that is not known, with all that hangs on it."""
    row = {name: getattr(log, name) for name in LOG_COLUMNS} | {"skipped": _json(dict(log.skipped))}
    log_id = _insert(connection, "logs", row)
    for run in log.runs:
        _insert_run(connection, log_id, run)
    for remark in log.remarks:
        _insert(connection, "remarks", {"log_id": log_id, "code": remark.code, "text": remark.text})


def _insert_run(connection: sqlite3.Connection, log_id: int, run: RunRecord) -> None:
    setup_id, day_id = _setup_id(connection, run.vehicle, run.setup), _day_id(connection, run.date, run.place)
    row = {name: getattr(run, name) for name in RUN_COLUMNS}
    run_id = _insert(connection, "runs", {"log_id": log_id, "setup_id": setup_id, "day_id": day_id} | row)
    for result in run.results:
        _insert(connection, "results", {"run_id": run_id} | {name: getattr(result, name) for name in RESULT_COLUMNS})
    for remark in run.remarks:
        content = {"log_id": log_id, "run_id": run_id, "code": remark.code, "text": remark.text}
        _insert(connection, "remarks", content)
    if run.curve is not None:
        points = {one.name: getattr(run.curve, one.name) for one in fields(CurveRecord)}
        _insert(connection, "curves", {"run_id": run_id, "points": _json(points)})


def _setup_id(connection: sqlite3.Connection, vehicle: str, setup: str) -> int:
    return _id_of(
        connection, "setups", {"vehicle_id": _id_of(connection, "vehicles", {"name": vehicle}), "name": setup}
    )


def _day_id(connection: sqlite3.Connection, date: str, place: str) -> int:
    return _id_of(connection, "days", {"date": date, "place": place})


def note_vehicle(connection: sqlite3.Connection, vehicle: VehicleRecord) -> None:
    """Keep what is stated of a vehicle; what is not stated stays as it was."""
    vehicle_id = _id_of(connection, "vehicles", {"name": vehicle.name})
    for name in VEHICLE_COLUMNS[1:]:
        value = getattr(vehicle, name)
        if value is not None and value != ():
            stored = _json(value) if name == "teeth" else value
            connection.execute(f"UPDATE vehicles SET {name} = ? WHERE id = ?", (stored, vehicle_id))


def note_fitting(connection: sqlite3.Connection, fitting: FittingRecord) -> None:
    """Keep what is stated of a setup on a day; what was stated before and is not now stays."""
    setup_id = _setup_id(connection, fitting.vehicle, fitting.setup)
    day_id = _day_id(connection, fitting.date, fitting.place)
    sql = "SELECT facts FROM fittings WHERE setup_id = ? AND day_id = ?"
    found = connection.execute(sql, (setup_id, day_id)).fetchone()
    facts = _json((json.loads(found[0]) if found else {}) | dict(fitting.facts))
    if found:
        connection.execute("UPDATE fittings SET facts = ? WHERE setup_id = ? AND day_id = ?", (facts, setup_id, day_id))
    elif fitting.facts:
        _insert(connection, "fittings", {"setup_id": setup_id, "day_id": day_id, "facts": facts})


def delete_log(connection: sqlite3.Connection, log: LogRecord) -> None:
    """Take a log out with all that hangs on it, and setups, days and vehicles that nothing hangs on any more."""
    connection.execute("DELETE FROM logs WHERE sha256 = ? AND member = ?", (log.sha256, log.member))
    connection.execute(
        "DELETE FROM fittings WHERE NOT EXISTS (SELECT 1 FROM runs WHERE runs.setup_id = fittings.setup_id "
        "AND runs.day_id = fittings.day_id)"
    )
    for table, column, users in (
        ("setups", "setup_id", "runs"),
        ("days", "day_id", "runs"),
        ("vehicles", "vehicle_id", "setups"),
    ):
        connection.execute(f"DELETE FROM {table} WHERE id NOT IN (SELECT {column} FROM {users})")


# --- and back -------------------------------------------------------------------------------------------------------
def logs_of(connection: sqlite3.Connection) -> tuple[LogRecord, ...]:
    """Return every log with its runs, in the order they were added.

    Raises
    ------
    BookError
        If a value is not of its kind (somebody else wrote it, or the file is damaged).
    """
    return records(LogRecord, _parsed(lambda: list(_logs(connection))), "logs")


def vehicles_of(connection: sqlite3.Connection) -> tuple[VehicleRecord, ...]:
    """Return every vehicle, by name.

    Raises
    ------
    BookError
        As `logs_of`.
    """
    rows = connection.execute(f"SELECT {_quoted(VEHICLE_COLUMNS)} FROM vehicles ORDER BY name")
    named = _named(VEHICLE_COLUMNS, rows)
    teeth = _parsed(lambda: [{"teeth": json.loads(row["teeth"])} for row in named])
    return records(VehicleRecord, [row | more for row, more in zip(named, teeth, strict=True)], "vehicles")


def fittings_of(connection: sqlite3.Connection) -> tuple[FittingRecord, ...]:
    """Return what is known of each setup on each day, by vehicle, setup and day.

    Raises
    ------
    BookError
        As `logs_of`.
    """
    rows = connection.execute(
        """
        SELECT vehicles.name AS vehicle, setups.name AS setup, days.date, days.place, fittings.facts
        FROM fittings JOIN setups ON setups.id = fittings.setup_id JOIN vehicles ON vehicles.id = setups.vehicle_id
        JOIN days ON days.id = fittings.day_id ORDER BY 1, 2, 3, 4"""
    )
    names = ("vehicle", "setup", "date", "place")
    return records(
        FittingRecord,
        _parsed(lambda: [dict(zip(names, row, strict=False)) | {"facts": json.loads(row[4])} for row in rows]),
        "fittings",
    )


def _parsed(rows: Callable[[], list[Row]]) -> list[Row]:
    try:
        return rows()
    except (ValueError, TypeError, RecursionError):
        raise BookError("the run book holds a value that cannot be read", advice="restore a copy of it") from None


def _logs(connection: sqlite3.Connection) -> Iterator[Row]:
    """Yield every log as plain values."""
    remarks = _grouped(connection, "SELECT log_id, code, text FROM remarks WHERE run_id IS NULL ORDER BY id")
    runs: dict[int, list[Row]] = {}
    for log_id, run in _runs(connection):
        runs.setdefault(log_id, []).append(run)
    for log_id, *values in connection.execute(f"SELECT id, {_quoted(LOG_COLUMNS)} FROM logs ORDER BY id"):
        row = dict(zip(LOG_COLUMNS, values, strict=True))
        row["skipped"] = json.loads(row["skipped"])
        yield row | {"runs": runs.get(log_id, []), "remarks": _named(REMARK_COLUMNS, remarks.get(log_id, []))}


def _runs(connection: sqlite3.Connection) -> Iterator[tuple[int, Row]]:
    results = _grouped(connection, f"SELECT run_id, {_quoted(RESULT_COLUMNS)} FROM results ORDER BY id")
    remarks = _grouped(connection, "SELECT run_id, code, text FROM remarks WHERE run_id IS NOT NULL ORDER BY id")
    curves = dict(connection.execute("SELECT run_id, points FROM curves"))
    sql = f"""
        SELECT runs.id, runs.log_id, vehicles.name, setups.name, days.date, days.place, {_quoted(RUN_COLUMNS, "runs.")}
        FROM runs JOIN setups ON setups.id = runs.setup_id JOIN vehicles ON vehicles.id = setups.vehicle_id
        JOIN days ON days.id = runs.day_id ORDER BY runs.id"""
    for run_id, log_id, *values in connection.execute(sql):
        row = dict(zip(("vehicle", "setup", "date", "place", *RUN_COLUMNS), values, strict=True))
        row["levelled_off"] = None if row["levelled_off"] is None else row["levelled_off"] == 1
        row["results"] = _named(RESULT_COLUMNS, results.get(run_id, []))
        row["remarks"] = _named(REMARK_COLUMNS, remarks.get(run_id, []))
        row["curve"] = json.loads(curves[run_id]) if run_id in curves else None
        yield log_id, row


def _named(names: Iterable[str], rows: Iterable[Iterable[Any]]) -> list[Row]:
    return [dict(zip(names, row, strict=True)) for row in rows]


def _grouped(connection: sqlite3.Connection, sql: str) -> dict[int, list[tuple[Any, ...]]]:
    groups: dict[int, list[tuple[Any, ...]]] = {}
    for key, *values in connection.execute(sql):
        groups.setdefault(key, []).append(tuple(values))
    return groups


def _quoted(names: Iterable[str], table: str = "") -> str:
    return ", ".join(f'{table}"{name}"' for name in names)


def _json(value: Any) -> str:
    return json.dumps(value, sort_keys=True, allow_nan=False)
