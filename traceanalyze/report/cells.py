"""Values -> cells of a CSV table that a spreadsheet takes as values, never as formulas."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

#: A text that begins with one of these can run as a formula in a spreadsheet: OWASP, 'CSV Injection' (page of the
#: OWASP community attack list), the six characters it names.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def safe_cell(value: Any) -> Any:
    """Return a value that is harmless in a spreadsheet: such a text gets an apostrophe in front; numbers stay."""
    return f"'{value}" if isinstance(value, str) and value.startswith(FORMULA_STARTS) else value


def csv_text(columns: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> str:
    """Return a CSV table (RFC 4180, but lines end in LF) with a header, columns in the given order.

    Missing, None, NaN and infinite values become empty cells; booleans `true` and `false`; floats keep every digit
    needed to read the same number back. No column is lost silently: a row with a key that is no column is an error.
    """
    known = set(columns)
    lines = _Lines()
    writer = csv.writer(lines, lineterminator="\r\n")  # with it both CR and LF inside a cell are quoted
    writer.writerow(columns)
    for row in rows:
        if not row.keys() <= known:
            raise KeyError(f"no column for {sorted(row.keys() - known)}")
        writer.writerow([_cell(row.get(name)) for name in columns])
    return "".join(lines)


class _Lines(list[str]):
    """What the writer writes to: keeps the rows, each ended by LF alone."""

    def write(self, row: str) -> None:
        self.append(row.removesuffix("\r\n") + "\n")


def _cell(value: Any) -> Any:
    if isinstance(value, str):
        return safe_cell(value)
    if isinstance(value, float):  # numpy's float64 is one; the writer gives a float every digit it needs
        return float(value) if math.isfinite(value) else ""
    return str(value).lower() if isinstance(value, bool) else value
