"""Rows of text -> an aligned table, plain enough to be piped, mailed or printed."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

from traceanalyze.errors import shown

#: Columns that text is wrapped to where no terminal says its own.
WIDTH = 100
BOLD, PLAIN = "\x1b[1m", "\x1b[0m"


def table_text(head: Sequence[str], rows: Sequence[Sequence[str]], *, indent: str = "  ", bold: bool = False) -> str:
    """Return the table; columns of numbers (all but the first that are not plain words) are set to the right."""
    widths = [max(len(row[k]) for row in [head, *rows]) for k in range(len(head))]
    right = [bool(rows) and all(not row[k] or row[k][0] in "-0123456789+" for row in rows) for k in range(len(head))]
    lines = [indent + "  ".join(_cell(*triple) for triple in zip(row, widths, right, strict=True)).rstrip()
             for row in [head, *rows]]  # fmt: skip
    if bold:
        lines[0] = f"{BOLD}{lines[0]}{PLAIN}"
    return "\n".join(lines)


def _cell(text: str, width: int, right: bool) -> str:
    return text.rjust(width) if right else text.ljust(width)


def wrapped(text: str, *, width: int = WIDTH, first: str = "  ", rest: str = "  ") -> str:
    """Return a sentence as lines of at most `width` columns, long names whole; `first` and `rest` begin the lines."""
    return textwrap.fill(
        shown(text), width, initial_indent=first, subsequent_indent=rest, break_long_words=False, break_on_hyphens=False
    )


def listed(texts: Iterable[str], *, width: int = WIDTH) -> str:
    """Return sentences as a list, each wrapped under its own dash."""
    return "\n".join(wrapped(text, width=width, first="  - ", rest="    ") for text in texts)


def numbers_text(numbers: Sequence[int]) -> str:
    """Return rising whole numbers as `1, 3-5, 8`."""
    parts: list[list[int]] = []
    for number in numbers:
        if parts and number == parts[-1][-1] + 1:
            parts[-1].append(number)
        else:
            parts.append([number])
    return ", ".join(f"{part[0]}-{part[-1]}" if len(part) > 2 else ", ".join(map(str, part)) for part in parts)


def duration_text(time_s: float) -> str:
    """Return a length of time in words: `57 s`, `2 min 24 s`, `3 h 5 min`, `27 days`."""
    seconds = round(time_s)
    if seconds < 100:
        return f"{seconds} s"
    if seconds < 7200:
        return f"{seconds // 60} min {seconds % 60} s"
    minutes = round(time_s / 60)
    return f"{minutes // 60} h {minutes % 60} min" if minutes < 48 * 60 else f"{round(time_s / 86400)} days"


def clock_text(time_s: float) -> str:
    """Return a time into the log as minutes and seconds: `4:05.3`."""
    tenths = round(time_s * 10)
    minutes, tenths = divmod(tenths, 600)
    hours, minutes = divmod(minutes, 60)
    tail = f"{minutes:02d}:{tenths // 10:02d}.{tenths % 10}" if hours else f"{minutes}:{tenths // 10:02d}.{tenths % 10}"
    return f"{hours}:{tail}" if hours else tail


def heading_text(heading_deg: float) -> str:
    """Return a direction as degrees and the nearest of eight compass points: `75° E`; `-` when unknown."""
    if heading_deg != heading_deg:
        return "-"
    point = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")[round(heading_deg / 45) % 8]
    return f"{round(heading_deg) % 360}° {point}"


def counted(count: int, singular: str, plural: str | None = None) -> str:
    """Return `1 launch`, `2 launches`, `no launches`."""
    return f"{count or 'no'} {singular if count == 1 else plural or singular + 's'}"
