"""Remarks of a sheet -> notes to read: those that several runs share joined into one line."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from traceanalyze.report.tables import numbers_text
from traceanalyze.results import Launch, Pass, RunSheet

#: What the tables show already, as a `-`.
_SHOWN_ELSEWHERE: Final = frozenset({"not-reached"})
#: A number that stands by itself: neither end of `0-30`.
_NUMBER: Final = re.compile(r"(?<![\d.-])\d+(?:\.\d+)?(?![\d.-])")


def note_lines(sheet: RunSheet) -> list[str]:
    """Return the notes of a sheet: those of the log first, then those of launches and passes with their numbers."""
    of_log = [remark.text for remark in sheet.remarks]
    return [*of_log, *_of_runs("launch", "launches", sheet.launches), *_of_runs("pass", "passes", sheet.passes)]


def _of_runs(kind: str, kinds: str, runs: Sequence[Launch | Pass]) -> Iterator[str]:
    said: dict[str, dict[str, list[int]]] = {}
    for run in runs:
        for remark in run.remarks:
            if remark.code not in _SHOWN_ELSEWHERE:
                said.setdefault(_skeleton(remark.text), {}).setdefault(remark.text, []).append(run.number)
    for texts in said.values():
        for text, numbers in _joined(texts):
            if len(numbers) == len(runs) > 1:
                yield f"all {kinds}: {text}"
            else:
                yield f"{kind if len(numbers) == 1 else kinds} {numbers_text(numbers)}: {text}"


def _skeleton(text: str) -> str:
    """Return what texts have in common that differ in a number; a text that begins with a measure stays itself."""
    return text if text[:1].isdigit() else _NUMBER.sub("#", text)


def _joined(texts: dict[str, list[int]]) -> Iterable[tuple[str, list[int]]]:
    """Return texts of one skeleton as one, `12 to 15`, where they differ in one number only."""
    values = [_NUMBER.findall(text) for text in texts]
    differing = [k for k, column in enumerate(zip(*values, strict=True)) if len(set(column)) > 1]
    if len(differing) != 1:
        return texts.items()
    column = sorted((row[differing[0]] for row in values), key=float)
    first = next(iter(texts))
    place = list(_NUMBER.finditer(first))[differing[0]]
    text = f"{first[: place.start()]}{column[0]} to {column[-1]}{first[place.end() :]}"
    return [(text, sorted(number for numbers in texts.values() for number in numbers))]
