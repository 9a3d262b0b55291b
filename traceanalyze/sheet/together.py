"""What only several setups can get wrong: none at all, one name twice, one run in two of them."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from traceanalyze.sheet.logs import identity
from traceanalyze.sheet.nouns import Setup
from traceanalyze.sheet.statements import Mistake
from traceanalyze.sheet.tables import Table, short

Pair = tuple[Table, Setup]


def mistakes_together(tables: Sequence[Table], setups: Sequence[Setup]) -> Iterator[Mistake]:
    """Yield what is wrong between setups, each with the line of the later one."""
    if not tables:
        yield Mistake(1, "no [[setup]] in it", "add a [[setup]] with a name and files for each thing tried")
    pairs = list(zip(tables, setups, strict=True))
    yield from _names_twice(pairs)
    yield from _runs_twice(pairs)


def _names_twice(pairs: Sequence[Pair]) -> Iterator[Mistake]:
    seen: dict[str, Table] = {}
    for table, setup in pairs:
        first = seen.setdefault(setup.name.casefold(), table)
        if setup.name and first is not table:
            yield Mistake(
                table.entries["name"].line,
                f"setup {short(setup.name)} stands there already, on line {first.line}",
                "put the files of both into one, or give another name",
            )


class _Share(NamedTuple):
    """A setup's share of the clock of one log."""

    begin_s: float
    end_s: float
    line: int
    told_line: int
    name: str


def _runs_twice(pairs: Sequence[Pair]) -> Iterator[Mistake]:
    """Yield the shares of one log that overlap."""
    shares: dict[object, list[_Share]] = defaultdict(list)
    for pair in pairs:
        for what, share in _shares(*pair):
            shares[what].append(share)
    for of_one_log in shares.values():
        of_one_log.sort()
        longest = of_one_log[0]
        for share in of_one_log[1:]:
            if share.begin_s < longest.end_s:
                yield _overlap(longest, share)
            longest = max(longest, share, key=lambda one: one.end_s)


def _overlap(one: _Share, other: _Share) -> Mistake:
    first, second = sorted((one, other), key=lambda share: share.line)
    return Mistake(
        second.told_line,
        f"{second.name} is in this setup and in that of line {first.line}",
        'give each its share of the clock, such as from = "14:05" and to = "14:30", or name a file once',
    )


def _shares(table: Table, setup: Setup) -> Iterator[tuple[object, _Share]]:
    entry = table.entries.get("files") or table.entries.get("from") or table.entries.get("to")
    begin_s = 0.0 if math.isnan(setup.from_s) else setup.from_s
    end_s = 86400.0 if math.isnan(setup.to_s) else setup.to_s
    if not setup.files and setup.by_clock:
        yield None, _Share(begin_s, end_s, table.line, entry.line if entry else table.line, "each log of the folder")
    for what, file in {identity(file): file for file in setup.files}.items():
        line = entry.line_of(file.name) if entry else table.line
        yield what, _Share(begin_s, end_s, table.line, line, _shown(file))


def _shown(file: Path) -> str:
    return short(file.name)
