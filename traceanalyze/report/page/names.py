"""Paths of logs -> names short enough for a table, and never two alike."""

from __future__ import annotations

import re
from collections.abc import Iterable

_ENDING = re.compile(r"\.[A-Za-z]{2,5}$")


def file_names(paths: Iterable[str]) -> dict[str, str]:
    """Return a name for each path: its last part, with as many folders before it as it takes to tell all apart."""
    parts = {path: path.replace("\\", "/").split("/") for path in dict.fromkeys(paths)}
    for count in range(1, max(map(len, parts.values()), default=1) + 1):
        names = {path: "/".join(steps[-count:]) for path, steps in parts.items()}
        if len(set(names.values())) == len(names):
            return names
    return {path: path for path in parts}


def log_names(paths: Iterable[str]) -> dict[str, str]:
    """Return a shorter name for each log: without its ending, where that leaves no two alike."""
    names = file_names(paths)
    short = {path: _ENDING.sub("", name) or name for path, name in names.items()}
    return short if len(set(short.values())) == len(short) else names
