"""Text -> HTML that can hold any name or note without harm."""

from __future__ import annotations

import html
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
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
    """Return parts one after the other, escaped where they are not HTML; None is nothing."""
    return Markup("".join(escaped(part) for part in parts if part is not None))


def listing(lines: Iterable[object]) -> Markup:
    """Return a bulleted list; nothing when there are no lines."""
    items = [tag("li", line) for line in lines]
    return tag("ul", *items) if items else Markup("")


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Rows of a table that belong together; the first cell of each is its head.

    `ids` ties each row to the run of a chart, as far as there are any.
    """

    rows: Sequence[Sequence[object]]
    label: object = ""
    ids: Sequence[str] = ()


def table(
    caption: str, head: Sequence[object], rows: Sequence[Sequence[object]], row_ids: Sequence[str] = ()
) -> Markup:
    """Return a real table: caption, column heads, the first cell of each row as its head.

    `row_ids` ties a row to the run of a chart.
    """
    return grouped_table(caption, head, [Rows(rows=rows, ids=row_ids)])


def grouped_table(caption: str, head: Sequence[object], groups: Sequence[Rows]) -> Markup:
    """Return a table whose rows stand in groups, each under its label."""
    top = tag("thead", tag("tr", *(tag("th", cell, scope="col") for cell in head)))
    bodies = [tag("tbody", *_group(group, len(head))) for group in groups if group.rows]
    kind = "scroll" if sum(len(group.rows) for group in groups) > _SHORT else "scroll short"
    inner = tag("table", tag("caption", tag("span", caption)), top, *bodies)
    return tag("div", inner, class_=kind, tabindex="0", role="region", aria_label=caption)


#: A table of no more rows than this is kept on one sheet of paper.
_SHORT = 12


def _group(group: Rows, columns: int) -> Iterator[Markup]:
    if group.label:
        yield tag("tr", tag("th", group.label, colspan=columns, scope="rowgroup"), class_="group")
    for k, row in enumerate(group.rows):
        cells = (tag("td", cell) for cell in row[1:])
        yield tag("tr", tag("th", row[0], scope="row"), *cells, data_run=_at(group.ids, k))


def _at(values: Sequence[str], k: int) -> str | None:
    return (values[k] or None) if k < len(values) else None


def data_block(name: str, document: Any) -> Markup:
    """Return data for the page's script; no text in it can end the block."""
    text = json.dumps(document, allow_nan=False, separators=(",", ":"))
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return Markup(f'<script type="application/json" id="{escaped(name)}">{text}</script>')
