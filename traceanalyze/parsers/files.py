"""Reads files as users drop them: only regular files, never for ever, with one clear line when it cannot be done."""

from __future__ import annotations

import errno
import hashlib
import io
import os
import stat
import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from traceanalyze.errors import InputError, LimitError, TraceError

if TYPE_CHECKING:
    from pathlib import Path

#: Bytes read at a time: large enough for array work, small enough for the processor's cache.
CHUNK_BYTES: Final = 1 << 18
#: First bytes that are kept: a text's first 64 KiB in any encoding.
START_BYTES: Final = 1 << 18


def too_large(size: int, limit: int) -> LimitError:
    """Return the error that says a log holds more bytes than are allowed."""
    found = "unpacks to more than" if size == limit + 1 else f"holds {size / 1e6:,.0f} MB, more than"
    return LimitError(f"it {found} the {limit / 1e6:,.0f} MB allowed", advice="split it, or raise the limit")


def opened(path: str | Path) -> io.FileIO:
    """Open a regular file for reading, unbuffered; a pipe never blocks.

    Raises
    ------
    InputError
        If it is anything else, or cannot be opened.
    """
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    except (OSError, ValueError) as error:
        raise _unreadable(path, error) from None
    try:
        mode = os.fstat(handle).st_mode
        if not stat.S_ISREG(mode):
            raise _wrong_kind(mode)
        return io.FileIO(handle)
    except (TraceError, OSError) as error:
        os.close(handle)
        raise (error if isinstance(error, TraceError) else _unreadable(path, error)) from None


def blocks(path: str | Path) -> Iterator[bytes]:
    """Yield a file's bytes, some hundred kilobytes at a time.

    Raises
    ------
    InputError
        If it cannot be opened or read.
    """
    with opened(path) as file:
        try:
            while block := file.read(CHUNK_BYTES):
                yield block
        except OSError as error:
            raise _unreadable(path, error) from None


class LogFile:
    """A regular file that is hashed while it is read for the first time.

    Parameters
    ----------
    path : path-like
        Where it is.
    limit : int
        Most bytes that it may hold.

    Attributes
    ----------
    size : int
        How many bytes it holds.
    start : bytes
        The first of them.

    Raises
    ------
    InputError
        If it cannot be opened or read.
    LimitError
        If it holds more than `limit` bytes.
    """

    __slots__ = ("_sha256", "path", "size", "start")

    def __init__(self, path: str | Path, limit: int) -> None:
        self.path, self._sha256 = path, ""
        with opened(path) as file:
            self.size = os.fstat(file.fileno()).st_size
            if self.size > limit:
                raise too_large(self.size, limit)
            try:
                self.start = file.read(START_BYTES)
            except OSError as error:
                raise _unreadable(path, error) from None

    def blocks(self) -> Iterator[bytes]:
        """Yield its bytes, some hundred kilobytes at a time; InputError if it can no longer be read."""
        if self._sha256:
            yield from blocks(self.path)
            return
        digest = hashlib.sha256()
        for block in blocks(self.path):
            digest.update(block)
            yield block
        self._sha256 = digest.hexdigest()

    @property
    def sha256(self) -> str:
        """The SHA-256 of its bytes, in hexadecimal; it is read only if it was not read to its end before."""
        if not self._sha256:
            for _ in self.blocks():
                pass
        return self._sha256


def standard_input(limit: int) -> bytes:
    """Return everything that standard input holds.

    Raises
    ------
    InputError
        If it is closed or cannot be read.
    LimitError
        If it holds more than `limit` bytes.
    """
    try:
        data = sys.stdin.buffer.read(limit + 1)
    except (OSError, AttributeError, ValueError) as error:
        raise InputError("standard input cannot be read", advice="name a file instead") from error
    if len(data) > limit:
        raise too_large(len(data), limit)
    return data


def _unreadable(path: str | Path, error: OSError | ValueError) -> InputError:
    try:
        if stat.S_ISDIR(os.stat(path).st_mode):  # noqa: PTH116 - without pathlib, which takes 4 ms to load
            return _wrong_kind(stat.S_IFDIR)
    except (OSError, ValueError):
        pass
    match error:
        case FileNotFoundError() | NotADirectoryError():
            return InputError("no such file", advice="check the name and the folder")
        case PermissionError():
            return InputError("no permission to read it", advice="copy it to a folder of your own")
        case OSError(errno=errno.ELOOP):
            return InputError("a link that leads back to itself", advice="name the log itself")
        case OSError():
            return InputError(
                f"it cannot be read ({(error.strerror or 'unknown cause').lower()})", advice="copy it again"
            )
        case _:
            return InputError("not a file name", advice="check the name")


def _wrong_kind(mode: int) -> InputError:
    if stat.S_ISDIR(mode):
        return InputError("it is a folder", advice="name the logs in it, or use the command `day` for all of them")
    kind = "a pipe" if stat.S_ISFIFO(mode) else "a socket" if stat.S_ISSOCK(mode) else "a device"
    return InputError(f"it is {kind}, not a file", advice="give a file, or `-` to read standard input")
