"""What the commands print: results to standard output, notes and errors to standard error."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from typing import Any

from traceanalyze.errors import shown


def print_text(text: str) -> None:
    """Print a result made for people; characters that the terminal's encoding lacks are replaced by plain ones."""
    if not text:
        return
    encoding = sys.stdout.encoding or "utf-8"
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        text = text.translate(_PLAIN)
    sys.stdout.write(text.rstrip("\n") + "\n")


#: Stand-ins for a terminal without UTF-8.
_PLAIN = str.maketrans(
    {"±": "+-", "°": " deg", "–": "-", "—": "-", "·": ".", "●": "o", "○": "o", "■": "x", "□": "x", "│": "|",
     "─": "-", "├": "|", "┤": "|", "▲": "^", "Δ": "d", "≤": "<=", "≥": ">=", "×": "x",
     "→": "->", "☐": "[ ]"}
)  # fmt: skip


def print_json(document: dict[str, Any]) -> None:
    """Print one JSON document."""
    sys.stdout.write(json_text(document))


def json_text(document: dict[str, Any]) -> str:
    """Return one JSON document as text; NaN and infinities would be a mistake of ours, and are refused."""
    import json  # text needs none

    return json.dumps(document, indent=2, ensure_ascii=True, allow_nan=False) + "\n"


def complain(lines: Iterable[str]) -> None:
    """Print errors, one line each, to standard error."""
    for line in lines:
        sys.stderr.write(f"traceanalyze: {shown(line)}\n")


def note(text: str, quiet: bool) -> None:
    """Print a note for people to standard error, unless they asked for quiet."""
    if not quiet:
        sys.stderr.write(f"{shown(text)}\n")


def colour_wanted(no_color: bool) -> bool:
    """Whether bold and colour may be used: on a terminal, unless switched off (https://no-color.org)."""
    return not (no_color or os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb") and sys.stdout.isatty()


def columns_wanted() -> int:
    """How wide text may be: the terminal's columns within reason; 100 when the output goes elsewhere."""
    try:
        columns = os.get_terminal_size(sys.stdout.fileno()).columns
    except (OSError, ValueError):
        return 100
    return min(max(columns, 60), 120)
