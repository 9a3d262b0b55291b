"""What can go wrong while a file is read, made to happen."""

import io
import os
import stat
from pathlib import Path

import pytest

from traceanalyze.errors import InputError
from traceanalyze.parsers import files


def _fails(*_: object, **__: object) -> bytes:
    raise OSError(5, "Input/output error")


class Bad(io.FileIO):
    """A file that opens and cannot be read."""

    read = _fails


@pytest.fixture
def log(tmp_path: Path) -> Path:
    path = tmp_path / "log"
    path.write_bytes(b"x" * 1000)
    return path


def test_a_card_that_fails_while_the_hash_is_made(log: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    found = files.LogFile(log, 10_000)
    monkeypatch.setattr(io, "FileIO", Bad)
    with pytest.raises(InputError, match=r"it cannot be read \(input/output error\); copy it again"):
        assert found.sha256


def test_a_card_that_fails_while_bytes_are_read(log: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(io, "FileIO", Bad)
    for read in (files.blocks, lambda path: files.LogFile(path, 10_000).blocks()):
        with pytest.raises(InputError, match="input/output error"):
            list(read(log))


def test_a_file_that_cannot_be_looked_at_is_closed_again(log: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = set(os.listdir("/dev/fd"))  # noqa: PTH208  # its own handle comes and goes
    with monkeypatch.context() as patch:
        patch.setattr(stat, "S_ISREG", _fails)
        with pytest.raises(InputError, match="input/output error"):
            files.opened(log)
    assert len(set(os.listdir("/dev/fd")) - before) <= 1  # noqa: PTH208


def test_a_folder_that_cannot_even_be_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> int:  # as Windows does for folders
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(InputError, match="it is a folder"):
        files.opened(tmp_path)


def test_a_name_that_cannot_even_be_asked_about(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Path, "is_dir", _fails)
    with pytest.raises(InputError, match="no such file"):
        files.opened(Path("nowhere/at all"))
