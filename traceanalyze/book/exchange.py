"""The whole book as one JSON document and back, exactly; its results as rows of a table."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from traceanalyze import __version__
from traceanalyze.book.checking import records
from traceanalyze.book.opening import MAX_BOOK_BYTES, Book
from traceanalyze.book.reading import all_runs
from traceanalyze.book.records import FittingRecord, LogRecord, VehicleRecord, plain
from traceanalyze.book.tables import fittings_of, insert_log, is_known, logs_of, note_fitting, note_vehicle, vehicles_of
from traceanalyze.errors import BookError
from traceanalyze.parsers.files import blocks, opened, standard_input, too_large
from traceanalyze.trace import utc_text

SCHEMA: Final = "traceanalyze.book/1"
#: Columns of the table of results, one row per number of each run.
RESULT_TABLE: Final = (
    "vehicle", "setup", "date", "place", "file", "sha256", "kind", "number", "left_out", "order", "direction",
    "start_utc", "heading_deg", "grade_pct", "measure", "start_rule", "window", "value", "stderr", "low95", "high95",
    "unit", "distance_m", "remarks",
)  # fmt: skip


def book_document(book: Book) -> dict[str, Any]:
    """Return everything in the book as one JSON document.

    Raises
    ------
    BookError
        If the book holds what cannot be.
    """
    with book.look() as connection:
        return {
            "schema": SCHEMA,
            "version": __version__,
            "vehicles": [plain(one) for one in vehicles_of(connection)],
            "fittings": [plain(one) for one in fittings_of(connection)],
            "logs": [plain(one) for one in logs_of(connection)],
        }


def result_rows(book: Book) -> list[dict[str, Any]]:
    """Return one row per number of each run (see `RESULT_TABLE`), unrounded, SI units.

    Raises
    ------
    BookError
        If the book holds what cannot be.
    """
    rows = []
    for one in all_runs(book):
        run = one.run
        common = {
            "vehicle": run.vehicle, "setup": run.setup, "date": run.date, "place": run.place, "file": one.file,
            "sha256": one.log.sha256, "kind": run.kind, "number": run.number, "left_out": run.left_out,
            "order": one.order, "direction": one.direction, "heading_deg": run.heading_deg, "grade_pct": run.grade_pct,
            "start_utc": utc_text(run.utc_s) if run.utc_s is not None else None,
            "remarks": " | ".join(remark.text for remark in run.remarks),
        }  # fmt: skip
        rows += [common | plain(result) for result in run.results]
    return rows


def read_export(file: str) -> str:
    """Return the text of an export; `-` is standard input.

    Raises
    ------
    InputError
        If it cannot be opened or read.
    LimitError
        If it is larger than any book.
    BookError
        If it is not UTF-8.
    """
    if file == "-":
        data = standard_input(MAX_BOOK_BYTES)
    else:
        with opened(Path(file)) as source:
            size = os.fstat(source.fileno()).st_size
            if size > MAX_BOOK_BYTES:
                raise too_large(size, MAX_BOOK_BYTES)
        data = b"".join(blocks(Path(file)))
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BookError("not a JSON document", advice="import what book export wrote") from None


@dataclass(frozen=True, slots=True, kw_only=True)
class Imported:
    """How many logs were added, and how many were in the book already."""

    added: int
    known: int


def import_document(book: Book, text: str) -> Imported:
    """Add what another book's JSON export holds, all of it or nothing; logs that are known change nothing.

    What this book says of a vehicle or a day stays; only what it does not say is filled in.

    Raises
    ------
    BookError
        Naming what in the document cannot be, or why the book cannot be written.
    """
    document = _parsed(text)
    logs = records(LogRecord, document.get("logs"), "logs")
    vehicles = records(VehicleRecord, document.get("vehicles", []), "vehicles")
    fittings = records(FittingRecord, document.get("fittings", []), "fittings")
    for place, log in enumerate(logs):
        _check_once(f"logs[{place}] holds a run", [(run.kind, run.number) for run in log.runs])
        for run in log.runs:
            keys = [(one.measure, one.start_rule, one.window) for one in run.results]
            _check_once(f"logs[{place}] {run.kind} {run.number} holds a measure", keys)
    with book.change() as connection:
        own_vehicles, own_fittings = vehicles_of(connection), fittings_of(connection)
        fresh = 0
        for log in logs:
            if not is_known(connection, log):
                insert_log(connection, log)
                fresh += 1
        for vehicle in (*vehicles, *own_vehicles):
            note_vehicle(connection, vehicle)
        for fitting in (*fittings, *own_fittings):
            note_fitting(connection, fitting)
    return Imported(added=fresh, known=len(logs) - fresh)


def _check_once(what: str, keys: Sequence[object]) -> None:
    if len(set(keys)) < len(keys):
        raise BookError(f"{what} twice", advice="import what book export wrote")


def _parsed(text: str) -> Mapping[str, Any]:
    """Return the document of a text.

    Raises
    ------
    BookError
        If it is not JSON, or not of this kind.
    """
    try:
        document: Any = json.loads(text, parse_constant=_refuse)
    except (ValueError, RecursionError):
        raise BookError("not a JSON document", advice="import what book export wrote") from None
    document = document if isinstance(document, dict) else {}
    schema = document.get("schema")
    if isinstance(schema, str) and schema.startswith("traceanalyze.book/") and schema != SCHEMA:
        raise BookError(f"the export is of a newer program ({schema[:60]!r})", advice="update traceanalyze")
    if schema != SCHEMA:
        raise BookError("not the export of a run book", advice="import what book export wrote")
    return dict(document)


def _refuse(word: str) -> float:
    raise ValueError(word)
