"""Where the run book lies, and how it is opened: to read (a copy in memory) or to write (one writer at a time).

The file keeps SQLite's rollback journal rather than write-ahead logging: at rest a book is then one file that can be
copied, it works on shared network folders and in folders that may only be read, and after a kill or power cut the
next opening rolls an unfinished change back (https://sqlite.org/atomiccommit.html, https://sqlite.org/wal.html
section 1). Writers take the lock before they read (BEGIN IMMEDIATE), so two of them queue and neither fails midway.
"""

from __future__ import annotations

import os
import sqlite3
import stat
import sys
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from pathlib import Path
from types import TracebackType
from typing import Final, Self

from traceanalyze.book.schema import (
    APPLICATION_ID,
    SCHEMA_VERSION,
    application_of,
    bring_up_to_date,
    is_laid_out,
    version_of,
)
from traceanalyze.errors import BookError

VARIABLE: Final = "TRACEANALYZE_BOOK"
_NAME: Final = ("traceanalyze", "runs.book")
#: How long to wait for another program that is writing [s].
PATIENCE_S: Final = 20.0
#: Largest book that is opened [bytes]; a launch takes about 10 kB.
MAX_BOOK_BYTES: Final = 1_000_000_000


class Book:
    """An open run book. A context manager; it closes itself.

    Attributes
    ----------
    path : Path
        Of the file.
    connection : sqlite3.Connection
        In autocommit; changes go through `change()`.
    """

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        self.path = path
        self.connection = connection

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, where: TracebackType | None
    ) -> None:
        self.connection.close()

    @contextmanager
    def look(self) -> Iterator[sqlite3.Connection]:
        """Look something up.

        Raises
        ------
        BookError
            If the book is damaged, or holds what cannot be.
        """
        with explained(self.path):
            yield self.connection

    @contextmanager
    def change(self) -> Iterator[sqlite3.Connection]:
        """Make a change whole or not at all, alone among all programs.

        Raises
        ------
        BookError
            If the book is locked for long, damaged, or the disk refuses.
        """
        with explained(self.path):
            self.connection.execute("BEGIN IMMEDIATE")
            try:
                yield self.connection
            except BaseException:
                self.connection.rollback()
                raise
            self.connection.execute("COMMIT")


def book_place(given: str | Path | None = None, environ: Mapping[str, str] | None = None) -> Path:
    """Return where the book lies: as given, else by the variable TRACEANALYZE_BOOK, else in the user's data folder.

    Raises
    ------
    BookError
        If nothing is given and the user has no home folder.
    """
    environ = os.environ if environ is None else environ
    if given is not None:
        return Path(given)
    if environ.get(VARIABLE):
        return Path(environ[VARIABLE])
    try:
        return data_folder(environ, sys.platform, Path.home()).joinpath(*_NAME)
    except RuntimeError:
        raise BookError("no home folder to keep the run book in", advice="name the book: --book FILE") from None


def data_folder(environ: Mapping[str, str], platform: str, home: Path) -> Path:
    """Return the folder a platform keeps users' data in.

    XDG Base Directory Specification 0.8 (a relative XDG_DATA_HOME is to be ignored) on Linux and others; Apple's File
    System Programming Guide, 'Application Support', on macOS; FOLDERID_LocalAppData on Windows.
    """
    if platform == "win32":
        return Path(environ.get("LOCALAPPDATA") or home / "AppData" / "Local")
    if platform == "darwin":
        return home / "Library" / "Application Support"
    stated = environ.get("XDG_DATA_HOME", "")
    return Path(stated) if stated.startswith("/") else home / ".local" / "share"


def open_book(path: str | Path) -> Book:
    """Return a copy of the book as it stands at this moment, to read from; nothing is written and no lock is kept.

    A book of an older layout is brought up to date in the copy only.

    Raises
    ------
    BookError
        If there is no book there, it is of a newer program, damaged, or not a book at all.
    """
    place = Path(path)
    with explained(place):
        _check_file(place)
        if not place.exists():
            raise BookError("no run book here", where=str(place), advice="traceanalyze book add makes one")
        with closing(_connected(place, "rw")) as source:
            source.execute("BEGIN")
            _check_book(source, place)
            copy = sqlite3.connect(":memory:", isolation_level=None)
            source.backup(copy)
        copy.execute("BEGIN")
        bring_up_to_date(copy)
        copy.execute("COMMIT")
        copy.execute("PRAGMA query_only = ON")
    return Book(place, copy)


def open_book_to_write(path: str | Path) -> Book:
    """Return the book to write to; it is made when it is not there, and brought up to date when it is older.

    The folder of a book in the user's data folder is made too; any other must exist.

    Raises
    ------
    BookError
        As `open_book`, and if it cannot be written.
    """
    place = Path(path)
    with explained(place):
        _check_file(place)
        _make_own_folder(place)
        connection = _connected(place, "rwc")
        book = Book(place, connection)
        try:
            connection.execute("PRAGMA journal_mode = DELETE")
            connection.execute("PRAGMA synchronous = EXTRA")  # also flushes the folder: the change outlives a power cut
            connection.execute("PRAGMA fullfsync = ON")  # macOS: fsync alone leaves it in the drive's cache
            connection.execute("PRAGMA foreign_keys = ON")
            with book.change():
                _check_book(connection, place)
                bring_up_to_date(connection)
        except BaseException:
            connection.close()
            raise
    return book


@contextmanager
def explained(path: Path) -> Iterator[None]:
    """Turn what SQLite and the system say into one line."""
    try:
        yield
    except BookError as error:
        raise error.at(str(path)) from None
    except sqlite3.Error as error:
        raise _book_error(str(error), path) from None
    except UnicodeDecodeError:  # SQLite quotes what it found, and that is no text
        raise _book_error("malformed", path) from None
    except OSError as error:
        raise BookError(
            f"cannot be opened: {(error.strerror or str(error)).lower()}",
            where=str(path),
            advice="check the name, the disk and the permissions",
        ) from None


#: Part of what SQLite says -> what to say and to advise.
_WORDS: Final = {
    "locked": ("the run book is in use by another program", "try again when that has ended"),
    "not a database": ("is not a run book", "give the file of a run book, or a new name"),
    "decode": ("the run book is damaged", "restore a copy, or import its JSON export into a new one"),
    "malformed": ("the run book is damaged", "restore a copy, or import its JSON export into a new one"),
    "disk is full": ("the disk is full; nothing was changed", "make room and try again"),
    "readonly": ("the run book cannot be written", "check the permissions of the file and its folder"),
    "unable to open": ("the run book cannot be opened", "check the name, the folder and the permissions"),
    "disk i/o": ("the disk refuses", "check the disk; nothing was changed"),
}


def _book_error(said: str, path: Path) -> BookError:
    for part, (reason, advice) in _WORDS.items():
        if part in said.lower():
            return BookError(reason, where=str(path), advice=advice)
    return BookError(f"the run book cannot be read: {said}", where=str(path), advice="restore a copy of it")


def _check_file(path: Path) -> None:
    """Refuse what is no ordinary file."""
    if "\0" in str(path):
        raise BookError("is no file name", where=str(path), advice="name a file")
    try:
        found = path.stat()
    except FileNotFoundError:
        return
    if not stat.S_ISREG(found.st_mode):
        raise BookError("is a folder or a device", where=str(path), advice="name the file of a run book")
    if found.st_size > MAX_BOOK_BYTES:
        raise BookError("is larger than any run book", where=str(path), advice="start a new one")


def _make_own_folder(path: Path) -> None:
    if path.parent.is_dir():
        return
    if path.parent.name != _NAME[0]:
        raise BookError("its folder does not exist", where=str(path), advice="make the folder first")
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)


def _connected(path: Path, mode: str) -> sqlite3.Connection:
    """Return a connection. Even to read, the file is opened for both: only so is an unfinished change rolled back."""
    address = f"{path.absolute().as_uri()}?mode={mode}"
    connection = sqlite3.connect(address, uri=True, timeout=PATIENCE_S, isolation_level=None)
    connection.execute("PRAGMA trusted_schema = OFF")
    connection.execute("PRAGMA cell_size_check = ON")
    return connection


def _check_book(connection: sqlite3.Connection, path: Path) -> None:
    """Refuse what is no book, and a book of a newer program; an empty file is a new book."""
    version = version_of(connection)
    empty = not connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if empty and version == 0 and application_of(connection) in (0, APPLICATION_ID):
        return
    if application_of(connection) != APPLICATION_ID:
        raise _book_error("not a database", path)
    if version > SCHEMA_VERSION:
        raise BookError(
            f"the run book is of a newer program (layout {version}, this program knows {SCHEMA_VERSION})",
            where=str(path),
            advice="update traceanalyze",
        )
    if version < 1 or not is_laid_out(connection):
        raise BookError("the run book is not laid out as it was made", where=str(path), advice="restore a copy of it")
