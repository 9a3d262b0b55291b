"""Whether the first bytes of a file look like a table."""

from __future__ import annotations

import re

from traceanalyze.errors import FormatError
from traceanalyze.parsers.table.layout import find_layout
from traceanalyze.parsers.table.words import meaning

_SENTENCE = re.compile(rb"^[^\r\n]{0,64}[$!][A-Z]{2,5},", re.MULTILINE)


def sniff(head: bytes) -> float:
    """Return how surely a file with this head is a table: 0 not, 0.3 some table, 0.8 with a time and a quantity.

    Lines that hold NMEA sentences and anything that begins with a tag are left to other readers.
    """
    if head.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<") or _SENTENCE.search(head):
        return 0.0
    try:
        layout = find_layout(head)
    except FormatError as error:
        return 0.3 if "decimal" in str(error) or "names" in str(error) else 0.0
    units = layout.units or ("",) * len(layout.names)
    roles = {said.role for name, unit in zip(layout.names, units, strict=True) if (said := meaning(name, unit))}
    clocks = roles & {"time", "date", "second", "millisecond"}
    return 0.8 if clocks and roles & {"speed", "vn", "lat", "ax"} else 0.3
