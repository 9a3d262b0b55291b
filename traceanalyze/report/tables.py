"""Rows of text -> an aligned table, plain enough to be piped, mailed or printed."""

from __future__ import annotations

from collections.abc import Sequence

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
    return f"{heading_deg % 360:.0f}° {point}"


def counted(count: int, singular: str, plural: str | None = None) -> str:
    """Return `1 launch`, `2 launches`, `no launches`."""
    return f"{count or 'no'} {singular if count == 1 else plural or singular + 's'}"
