"""Remarks on logs and their runs -> as few notes as say it all: those that differ only in numbers become one."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from traceanalyze.report.page.names import log_names
from traceanalyze.report.tables import numbers_text
from traceanalyze.results import RunSheet
from traceanalyze.trace import Remark

#: What the tables show already, as a `-`.
_SHOWN_ELSEWHERE: Final = frozenset({"not-reached"})
#: A number that stands by itself: neither end of `0-30`.
_NUMBER: Final = re.compile(r"(?<![\d.-])\d+(?:\.\d+)?(?![\d.-])")
_KINDS: Final = {"launch": "launches", "pass": "passes"}


@dataclass(frozen=True, slots=True)
class _Said:
    """One remark and where it was made: the log, and the run in it (an empty kind for the log itself)."""

    remark: Remark
    log: str
    kind: str = ""
    number: int = 0


def log_notes(sheets: Sequence[RunSheet]) -> list[str]:
    """Return the notes on the logs and runs of a page, each once, with whom it concerns."""
    groups: dict[tuple[str, str, str], list[_Said]] = {}
    names = log_names(sheet.path for sheet in sheets)
    for one in (said for sheet in sheets for said in _remarks(sheet, names[sheet.path])):
        groups.setdefault((one.kind, one.remark.code, _NUMBER.sub("#", one.remark.text)), []).append(one)
    return [note for group in groups.values() for note in _notes(group, sheets)]


def merged_texts(texts: Iterable[str]) -> list[str]:
    """Return texts with those that differ in a single number as one, `22 to 23`; the others as they are, once."""
    groups: dict[str, list[str]] = {}
    for text in dict.fromkeys(texts):
        groups.setdefault(_NUMBER.sub("#", text), []).append(text)
    return [text for group in groups.values() for text, _ in _merged([(text, None) for text in group])]


def _remarks(sheet: RunSheet, log: str) -> Iterator[_Said]:
    yield from (_Said(remark, log) for remark in sheet.remarks)
    for kind, runs in (("launch", sheet.launches), ("pass", sheet.passes)):
        for run in runs:
            yield from (_Said(one, log, kind, run.number) for one in run.remarks if one.code not in _SHOWN_ELSEWHERE)


def _notes(group: Sequence[_Said], sheets: Sequence[RunSheet]) -> Iterator[str]:
    for text, whose in _merged([(one.remark.text, one) for one in group]):
        yield f"{_whom([one for one in whose if one is not None], sheets)}: {text}"


def _merged(pairs: Sequence[tuple[str, _Said | None]]) -> Iterator[tuple[str, list[_Said | None]]]:
    """Texts of one skeleton as one where they differ in one number only, else each by itself; with all it is from."""
    by_text: dict[str, list[_Said | None]] = {}
    for text, one in pairs:
        by_text.setdefault(text, []).append(one)
    columns = list(zip(*(_NUMBER.findall(text) for text in by_text), strict=True))
    differing = [k for k, column in enumerate(columns) if len(set(column)) > 1]
    if len(differing) != 1:
        yield from by_text.items()
        return
    values = sorted(columns[differing[0]], key=float)
    first = next(iter(by_text))
    place = list(_NUMBER.finditer(first))[differing[0]]
    text = f"{first[: place.start()]}{values[0]} to {values[-1]}{first[place.end() :]}"
    yield text, [one for whose in by_text.values() for one in whose]


def _whom(group: Sequence[_Said], sheets: Sequence[RunSheet]) -> str:
    """In words which logs and runs are meant, as shortly as it goes."""
    kind = group[0].kind
    logs = list(dict.fromkeys(one.log for one in group))
    if not kind:
        return "all logs" if len(logs) == len(sheets) > 1 else ", ".join(logs)
    count = sum(len(sheet.launches if kind == "launch" else sheet.passes) for sheet in sheets)
    if len(group) == count > 1:
        return f"all {_KINDS[kind]}"
    return "; ".join(_runs_of(log, kind, sorted({one.number for one in group if one.log == log})) for log in logs)


def _runs_of(log: str, kind: str, numbers: list[int]) -> str:
    return f"{log} {kind if len(numbers) == 1 else _KINDS[kind]} {numbers_text(numbers)}"
