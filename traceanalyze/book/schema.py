"""The layout of a run book, version by version, and how an older one becomes the newest.

A new book is made by the same steps that bring an old one up to date. A step, once released, is never edited.
"""

from __future__ import annotations

import sqlite3
from functools import cache
from typing import Final

#: Marks the file as a run book (PRAGMA application_id, https://sqlite.org/fileformat2.html section 1.3): 'TAbk'.
APPLICATION_ID: Final = 0x5441626B

_VERSION_1: Final = (
    """
CREATE TABLE vehicles (
  id INTEGER PRIMARY KEY,
  name TEXT NOT NULL UNIQUE,
  mass_kg REAL,
  tyre_circumference_m REAL,
  teeth TEXT NOT NULL DEFAULT '[]', -- JSON: [[driving, driven], ...]
  max_engine_rpm REAL,
  engagement_rpm REAL
)""",
    """
CREATE TABLE setups (
  id INTEGER PRIMARY KEY,
  vehicle_id INTEGER NOT NULL REFERENCES vehicles (id),
  name TEXT NOT NULL,
  UNIQUE (vehicle_id, name)
)""",
    """
CREATE TABLE days (
  id INTEGER PRIMARY KEY,
  date TEXT NOT NULL, -- year-month-day
  place TEXT NOT NULL DEFAULT '',
  UNIQUE (date, place)
)""",
    """
CREATE TABLE logs (
  id INTEGER PRIMARY KEY,
  sha256 TEXT NOT NULL, -- of the file as it lay on disk
  member TEXT NOT NULL DEFAULT '', -- name inside an archive of several logs
  path TEXT NOT NULL,
  format TEXT NOT NULL DEFAULT '',
  status TEXT NOT NULL,
  time_origin_utc_s REAL, -- Unix seconds of its first point
  points INTEGER NOT NULL,
  duration_s REAL NOT NULL,
  rate_hz REAL,
  speed_source TEXT NOT NULL DEFAULT '',
  speed_noise_mps REAL,
  max_speed_mps REAL,
  skipped TEXT NOT NULL DEFAULT '{}', -- JSON: what was left out of the log, by kind
  version TEXT NOT NULL, -- of the program that measured it
  UNIQUE (sha256, member)
)""",
    """
CREATE TABLE runs (
  id INTEGER PRIMARY KEY,
  log_id INTEGER NOT NULL REFERENCES logs (id) ON DELETE CASCADE,
  setup_id INTEGER NOT NULL REFERENCES setups (id),
  day_id INTEGER NOT NULL REFERENCES days (id),
  kind TEXT NOT NULL CHECK (kind IN ('launch', 'pass')),
  number INTEGER NOT NULL, -- in the log
  start_s REAL NOT NULL, -- seconds after the log's first point
  start_stderr_s REAL,
  end_s REAL,
  utc_s REAL, -- Unix seconds of its start
  heading_deg REAL,
  grade_pct REAL,
  peak_mps REAL,
  window_s REAL,
  window_m REAL,
  window_start_s REAL,
  held_s REAL,
  levelled_off INTEGER,
  projected_mps REAL,
  projected_stderr_mps REAL,
  UNIQUE (log_id, kind, number)
)""",
    """
CREATE TABLE results (
  id INTEGER PRIMARY KEY,
  run_id INTEGER NOT NULL REFERENCES runs (id) ON DELETE CASCADE,
  measure TEXT NOT NULL,
  start_rule TEXT NOT NULL DEFAULT '', -- '' for what does not start from rest
  "window" TEXT NOT NULL DEFAULT '', -- of a top speed
  value REAL NOT NULL,
  stderr REAL, -- standard uncertainty of the value
  low95 REAL,
  high95 REAL,
  unit TEXT NOT NULL, -- s or m/s
  distance_m REAL,
  UNIQUE (run_id, measure, start_rule, "window")
)""",
    """
CREATE TABLE remarks (
  id INTEGER PRIMARY KEY,
  log_id INTEGER NOT NULL REFERENCES logs (id) ON DELETE CASCADE,
  run_id INTEGER REFERENCES runs (id) ON DELETE CASCADE,
  code TEXT NOT NULL,
  text TEXT NOT NULL
)""",
    "CREATE INDEX runs_of_setup ON runs (setup_id, day_id)",
    "CREATE INDEX remarks_of_log ON remarks (log_id)",
)

#: Runs left out by the rider's word, the curve of each launch, what was fitted and how the day was; a view to read.
_VERSION_2: Final = (
    "ALTER TABLE runs ADD COLUMN left_out TEXT NOT NULL DEFAULT ''",
    """
CREATE TABLE curves (
  run_id INTEGER PRIMARY KEY REFERENCES runs (id) ON DELETE CASCADE,
  points TEXT NOT NULL -- JSON: lists of equal length by name, null where a gap hides a point
)""",
    """
CREATE TABLE fittings (
  id INTEGER PRIMARY KEY,
  setup_id INTEGER NOT NULL REFERENCES setups (id),
  day_id INTEGER NOT NULL REFERENCES days (id),
  facts TEXT NOT NULL, -- JSON: machine, air, wind, road and rider of this setup on this day
  UNIQUE (setup_id, day_id)
)""",
    """
CREATE VIEW all_results AS
SELECT vehicles.name AS vehicle, setups.name AS setup, days.date, days.place, logs.path AS file, logs.member,
  runs.kind, runs.number, runs.left_out, datetime(runs.utc_s, 'unixepoch') AS start_utc, runs.heading_deg,
  runs.grade_pct, results.measure, results.start_rule, results."window", results.value, results.stderr,
  results.low95, results.high95, results.unit, results.distance_m
FROM results
JOIN runs ON runs.id = results.run_id
JOIN logs ON logs.id = runs.log_id
JOIN setups ON setups.id = runs.setup_id
JOIN vehicles ON vehicles.id = setups.vehicle_id
JOIN days ON days.id = runs.day_id""",
)

STEPS: Final = (_VERSION_1, _VERSION_2)
#: The newest layout, which this program writes.
SCHEMA_VERSION: Final = len(STEPS)


def version_of(connection: sqlite3.Connection) -> int:
    """Return the layout's version; 0 for an empty file."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def application_of(connection: sqlite3.Connection) -> int:
    """Return the mark of the program that a database file belongs to."""
    return int(connection.execute("PRAGMA application_id").fetchone()[0])


def bring_up_to_date(connection: sqlite3.Connection, version: int = SCHEMA_VERSION) -> None:
    """Take every step from the layout a book has to `version`, inside the transaction that is open."""
    for number, step in enumerate(STEPS[:version], start=1):
        if number > version_of(connection):
            for statement in step:
                connection.execute(statement)
            connection.execute(f"PRAGMA user_version = {number:d}")
    if application_of(connection) != APPLICATION_ID:
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID:d}")


def is_laid_out(connection: sqlite3.Connection) -> bool:
    """Whether everything that a book of its version holds is there as it was made, and nothing that acts by itself."""
    found = _layout(connection)
    return _expected(version_of(connection)) <= found and not any(kind == "trigger" for kind, _, _ in found)


def _layout(connection: sqlite3.Connection) -> frozenset[tuple[str, str, str]]:
    rows = connection.execute("SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL")
    return frozenset((kind, name, " ".join(sql.split())) for kind, name, sql in rows)


@cache
def _expected(version: int) -> frozenset[tuple[str, str, str]]:
    connection = sqlite3.connect(":memory:", isolation_level=None)
    bring_up_to_date(connection, version)
    layout = _layout(connection)
    connection.close()
    return layout
