"""Finished bytes -> a file: all of it or none of it, never over an input, never over anything unasked."""

from __future__ import annotations

import os
import secrets
import shutil
import stat
from collections.abc import Collection, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from traceanalyze.errors import OutputError, shown

#: Beginning and end of the temporary name. Hidden, and short whatever the output is called, since a name may already
#: be as long as the file system allows.
_TEMPORARY = (".traceanalyze-", ".part")


def write_atomically(
    path: str | Path, data: bytes | str, *, force: bool = False, inputs: Collection[str | Path] = ()
) -> None:
    """Write a file whole or not at all: to a temporary name in the same folder, flushed, then renamed.

    A link is followed, and what it points to is replaced. Folders are never made here (see `make_folder`).

    Parameters
    ----------
    path : path
        Where to write.
    data : bytes or str
        Text is written as UTF-8, line ends as they stand; what UTF-8 cannot hold becomes an escape.
    force : bool
        Whether a file that is there already may be replaced.
    inputs : collection of paths
        What was read; none of them is ever replaced, under any name or link, `force` or not.

    Raises
    ------
    OutputError
        If the folder is missing, the path is taken, names an input, a folder or a device, or the disk refuses.
    """
    check_output(path, force=force, inputs=inputs)
    content = data.encode("utf-8", "backslashreplace") if isinstance(data, str) else data
    with _explained(path):
        target = Path(os.path.realpath(path))
        temporary = target.with_name(secrets.token_hex(6).join(_TEMPORARY))
        try:
            _write_through(temporary, content)
            _put_in_place(temporary, target, force)
        finally:
            with suppress(OSError):
                temporary.unlink(missing_ok=True)
        _flush_folder(target.parent)


def check_output(path: str | Path, *, force: bool = False, inputs: Collection[str | Path] = ()) -> None:
    """Refuse an output that could not be written, before the work that would fill it.

    Raises
    ------
    OutputError
        As `write_atomically`, as far as it can be told beforehand.
    """
    with _explained(path):
        if not Path(os.path.realpath(path)).parent.is_dir():
            raise OutputError(
                "cannot be written: its folder does not exist", where=str(path), advice="make the folder first"
            )
        _refuse_inputs(path, inputs)
        try:
            mode = Path(path).stat().st_mode
        except FileNotFoundError:
            return
        if stat.S_ISDIR(mode):
            raise OutputError("is a folder", where=str(path), advice="give the name of a file in it")
        if not stat.S_ISREG(mode):
            raise OutputError("is a device or a pipe, not a file", where=str(path), advice="give the name of a file")
        if not force:
            raise _taken(path)


def make_folder(path: str | Path, *, inputs: Collection[str | Path] = ()) -> None:
    """Make one folder for outputs, or accept the one that is there; the folder above it must exist.

    Raises
    ------
    OutputError
        If something else has that name, or the folder above is missing or closed.
    """
    with _explained(path):
        _refuse_inputs(path, inputs)
        if Path(path).is_dir():
            return
        try:
            Path(path).mkdir()
        except FileExistsError:
            if not Path(path).is_dir():  # else another process made it in the meantime
                raise OutputError("is there and is no folder", where=str(path), advice="name another folder") from None
        except FileNotFoundError:
            raise OutputError(
                "cannot be made: the folder above it does not exist", where=str(path), advice="make that folder first"
            ) from None


@contextmanager
def _explained(path: str | Path) -> Iterator[None]:
    """Turn what the system says into one line."""
    try:
        yield
    except OSError as error:
        raise OutputError(
            f"cannot be written: {(error.strerror or str(error)).lower()}",
            where=str(path),
            advice="check the disk and the permissions, or name another place",
        ) from None
    except ValueError:  # a NUL in the name
        raise OutputError("is no file name", where=str(path), advice="give the name of a file") from None


def _refuse_inputs(path: str | Path, inputs: Collection[str | Path]) -> None:
    for one in inputs:
        if _same_file(path, one):
            raise OutputError(
                f"is the same file as the input {shown(one)}", where=str(path), advice="name another output"
            )


def _same_file(first: str | Path, second: str | Path) -> bool:
    """Whether two names reach one file, through links of either kind."""
    try:
        return Path(first).samefile(second)
    except (OSError, ValueError):
        return os.path.realpath(first) == os.path.realpath(second)


def _taken(path: str | Path) -> OutputError:
    return OutputError("exists already", where=str(path), advice="name another output, or add --force")


def _write_through(path: Path, content: bytes) -> None:
    with path.open("xb", buffering=0) as file:
        view = memoryview(content)
        while view.nbytes:
            view = view[file.write(view) :]
        os.fsync(file.fileno())


def _put_in_place(temporary: Path, target: Path, force: bool) -> None:
    """Give the finished file its name. Without `force` the name is taken by a link, which cannot replace anything."""
    if force:
        with suppress(OSError):
            shutil.copymode(target, temporary)
        temporary.replace(target)
        return
    try:
        os.link(temporary, target)
    except FileExistsError:
        raise _taken(target) from None
    except OSError:  # a file system without hard links
        if target.exists():
            raise _taken(target) from None
        temporary.replace(target)


def _flush_folder(folder: Path) -> None:
    """Make the new name itself last, where the system can (a folder cannot be opened on Windows)."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
