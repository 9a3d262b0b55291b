"""Names in a sheet -> the files they mean, and what keeps one from being read."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from itertools import islice
from pathlib import Path
from typing import Final

from traceanalyze.sheet.tables import short

#: Names looked at for the nearest one; a folder may hold any number.
_NAMES_SEARCHED: Final = 500


def identity(path: Path) -> object:
    """Return what two names have in common when they reach one file, through links too."""
    try:
        found = path.stat()
    except (OSError, ValueError):
        return path
    return (found.st_dev, found.st_ino)


def trouble(path: Path, name: str) -> tuple[str, str] | None:
    """Return what keeps a named file from being read, and the advice; None when nothing does."""
    try:
        if path.is_file():
            return None
        if path.exists():
            return f"{short(name)} is a folder or a device", "name the logs themselves"
        beside = [one.name for one in islice(path.parent.iterdir(), _NAMES_SEARCHED) if one.is_file()]
    except (OSError, ValueError):
        beside = []
    if any(ord(char) < 32 for char in name):
        return f"no file {short(name)}", "a \\ in double quotes is an escape: write / between folders"
    near = difflib.get_close_matches(path.name[:200], sorted(beside), n=1)
    return (
        f"no file {short(name)}",
        f"the nearest there is {short(near[0])}" if near else "names start from the sheet's folder",
    )


def nearest(word: str, names: Iterable[str]) -> str:
    """Return the name most like a word."""
    return max(names, key=lambda name: difflib.SequenceMatcher(None, word[:200], name).ratio())
