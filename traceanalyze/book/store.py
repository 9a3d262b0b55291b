"""Adding logs to the book and taking them out, each whole or not at all."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from traceanalyze.book.entries import Entry
from traceanalyze.book.opening import Book
from traceanalyze.book.recording import EntryRecords, entry_records
from traceanalyze.book.records import LogRecord
from traceanalyze.book.tables import delete_log, insert_log, is_known, logs_of, note_fitting, note_vehicle
from traceanalyze.errors import BookError, TraceError
from traceanalyze.parsers.files import LogFile
from traceanalyze.settings import MAX_PLAIN_BYTES


@dataclass(frozen=True, slots=True, kw_only=True)
class Added:
    """What became of one log.

    Attributes
    ----------
    path : str
    status : str
        `added`; `known` (its bytes are in the book already: nothing was changed); `empty` (no launch and no pass of
        it belongs to a setup: nothing to keep); `removed`.
    setups, dates : tuple of str
        Whose runs they are, and of which day.
    launches, passes, left_out : int
    """

    path: str
    status: Literal["added", "known", "empty", "removed"]
    setups: tuple[str, ...] = ()
    dates: tuple[str, ...] = ()
    launches: int = 0
    passes: int = 0
    left_out: int = 0


def add_entry(book: Book, entry: Entry) -> Added:
    """Add one log in one transaction: after a kill or power cut at any moment it is wholly in the book or not at all.

    Raises
    ------
    BookError
        If nobody says which day it was, or the book cannot be written.
    """
    return add_records(book, entry_records(entry), entry.sheet.path)


def add_entries(book: Book, entries: Iterable[Entry]) -> tuple[list[Added], list[str]]:
    """Add logs one by one; one that nobody dated never stops the rest. Return what became of each, and the errors.

    Raises
    ------
    BookError
        If the book cannot be written.
    """
    added, errors = [], []
    for entry in entries:
        try:
            found = entry_records(entry)
        except BookError as error:
            errors.append(str(error))
        else:
            added.append(add_records(book, found, entry.sheet.path))
    return added, errors


def add_records(book: Book, found: EntryRecords, path: str) -> Added:
    """Add one log's records in one transaction; `path` is what the log is called in the answer.

    Raises
    ------
    BookError
        If the book cannot be written.
    """
    with book.change() as connection:
        if is_known(connection, found.log):
            return _told(_stored(connection, found.log), "known", path)
        if not found.log.runs:
            return Added(path=path, status="empty")
        insert_log(connection, found.log)
        note_vehicle(connection, found.vehicle)
        for fitting in found.fittings:
            note_fitting(connection, fitting)
    return _told(found.log, "added", path)


def remove_logs(book: Book, *, sha256: str = "", path: str = "") -> list[Added]:
    """Take out every log with these bytes, or, when none has them, those that were added under this path.

    Raises
    ------
    BookError
        If there is none, or the book cannot be written.
    """
    with book.change() as connection:
        logs = logs_of(connection)
        found = [log for log in logs if sha256 and log.sha256 == sha256] or [log for log in logs if log.path == path]
        if not found:
            raise BookError(
                f"no log {path!r} is in the run book", where=str(book.path), advice="see traceanalyze book show"
            )
        for log in found:
            delete_log(connection, log)
    return [_told(log, "removed", log.path) for log in found]


def fingerprint_of(path: str) -> str:
    """Return the SHA-256 of a file's bytes; empty when there is no such file any more."""
    try:
        return LogFile(path, MAX_PLAIN_BYTES).sha256
    except TraceError:
        return ""


def _stored(connection: sqlite3.Connection, log: LogRecord) -> LogRecord:
    return next(one for one in logs_of(connection) if (one.sha256, one.member) == (log.sha256, log.member))


def _told(log: LogRecord, status: Literal["added", "known", "removed"], path: str) -> Added:
    return Added(
        path=path,
        status=status,
        setups=tuple(dict.fromkeys(run.setup for run in log.runs)),
        dates=tuple(dict.fromkeys(run.date for run in log.runs)),
        launches=sum(run.kind == "launch" for run in log.runs),
        passes=sum(run.kind == "pass" for run in log.runs),
        left_out=sum(bool(run.left_out) for run in log.runs),
    )
