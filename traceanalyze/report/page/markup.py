"""Text -> HTML that can hold any name or note without harm."""

from __future__ import annotations

import html
import json
from collections.abc import Iterable, Sequence
from typing import Any

from traceanalyze.errors import shown


class Markup(str):
    """Text that is HTML already; everything else is escaped."""

    __slots__ = ()


def escaped(text: object) -> Markup:
    """Return a text as HTML: control characters as escapes, then `& < > " '` as entities."""
    return text if isinstance(text, Markup) else Markup(html.escape(shown(text), quote=True))


def tag(name: str, /, *content: object, **attributes: object) -> Markup:
    """Return an element; a trailing underscore in an attribute's name is dropped, others become hyphens."""
    words = "".join(
        f" {key.rstrip('_').replace('_', '-')}" + ("" if value is True else f'="{escaped(value)}"')
        for key, value in attributes.items()
        if value is not None and value is not False
    )
    inner = "".join(escaped(part) for part in content if part is not None)
    if name in _VOID:
        return Markup(f"<{name}{words}>")
    return Markup(f"<{name}{words}>{inner}</{name}>")


_VOID = frozenset({"meta", "br", "hr", "input", "col"})


def joined(parts: Iterable[object]) -> Markup:
    """Return parts one after the other, escaped where they are not HTML."""
    return Markup("".join(escaped(part) for part in parts))


def listing(lines: Iterable[object]) -> Markup:
    """Return a bulleted list; nothing when there are no lines."""
    items = [tag("li", line) for line in lines]
    return tag("ul", *items) if items else Markup("")


def table(
    caption: str, head: Sequence[object], rows: Sequence[Sequence[object]], row_ids: Sequence[str] = ()
) -> Markup:
    """Return a real table: caption, column heads, the first cell of each row as its head.

    `row_ids` ties a row to the run of a chart.
    """
    body = [
        tag("tr", tag("th", row[0], scope="row"), *(tag("td", cell) for cell in row[1:]), data_run=_at(row_ids, k))
        for k, row in enumerate(rows)
    ]
    top = tag("thead", tag("tr", *(tag("th", cell, scope="col") for cell in head)))
    inner = tag("table", tag("caption", caption), top, tag("tbody", *body))
    return tag("div", inner, class_="scroll", tabindex="0", role="region", aria_label=caption)


def _at(values: Sequence[str], k: int) -> str | None:
    return values[k] if k < len(values) else None


def data_block(name: str, document: Any) -> Markup:
    """Return data for the page's script; no text in it can end the block."""
    text = json.dumps(document, allow_nan=False, separators=(",", ":"))
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return Markup(f'<script type="application/json" id="{escaped(name)}">{text}</script>')
