"""Tables of numbers (CSV and its kin) from loggers, phones and spreadsheets -> Trace.

`layout` finds separator, decimal sign and header, `dialect` turns them into one dialect; `words` knows what a column's
name says, `choice` decides which column is what; `rows`, `blocks` and `decimals` read whole rows exactly; `stamps`,
`clock` and `timing` make one clock; `receiver`, `speeds` and `force` make SI arrays; `reader` puts them together.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from traceanalyze.parsers.options import ReadOptions
from traceanalyze.parsers.table.reader import read_bytes
from traceanalyze.parsers.table.sniffing import sniff
from traceanalyze.trace import Source, Trace

if TYPE_CHECKING:
    from traceanalyze.parsers.containers import Member

__all__ = ["read", "read_bytes", "sniff"]


def read(member: Member, source: Source, options: ReadOptions) -> Trace:
    """Return the trace of a table; see `read_bytes`."""
    return read_bytes(member.data(), source, options)
