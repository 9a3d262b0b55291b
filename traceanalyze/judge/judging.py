"""What is said about the judging, whatever the runs come from; and a table of runs judged by it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from traceanalyze.comparison import Comparison
from traceanalyze.errors import TraceError
from traceanalyze.judge.quantity import Amount
from traceanalyze.judge.runs_csv import MAX_TABLE_BYTES, read_runs
from traceanalyze.judge.table import compare_rows
from traceanalyze.parsers.files import opened, standard_input
from traceanalyze.units import Measure


@dataclass(frozen=True, slots=True, kw_only=True)
class Judging:
    """What is said about the judging, whatever the runs come from.

    Attributes
    ----------
    baseline, changed : str or None
        Names of setups; without `changed`, every other setup is compared with the baseline in turn.
    measures : tuple of Measure
        As asked; empty for the usual ones.
    smallest : tuple of Amount
    scatter, scatter_df
        The rider's own run-to-run standard deviation of the headline.
    skip : tuple of str
        Runs left out by the rider's word.
    """

    baseline: str | None = None
    changed: str | None = None
    measures: tuple[Measure, ...] = ()
    smallest: tuple[Amount, ...] = ()
    scatter: Amount | None = None
    scatter_df: float = 0.0
    skip: tuple[str, ...] = ()


def compare_csv(path: str, judging: Judging) -> list[Comparison]:
    """Return the comparisons of the setups in a CSV table of runs; `-` reads standard input.

    Raises
    ------
    TraceError
        Naming the table.
    """
    try:
        table = read_runs(_table_bytes(path))
        pairs = _table_pairs(table.setups, judging)
        return [
            compare_rows(
                table,
                baseline=first,
                changed=other,
                measures=[measure.label for measure in judging.measures],
                only=bool(judging.measures),
                smallest=judging.smallest,
                scatter=judging.scatter,
                scatter_df=judging.scatter_df,
            )
            for first, other in pairs
        ]
    except TraceError as error:
        raise error.at(path) from None


def _table_bytes(path: str) -> bytes:
    if path == "-":
        return standard_input(MAX_TABLE_BYTES)
    with opened(Path(path)) as file:
        return file.read(MAX_TABLE_BYTES + 1)


def _table_pairs(setups: Sequence[str], judging: Judging) -> list[tuple[str | None, str | None]]:
    if judging.changed is not None or len(setups) < 3:
        return [(judging.baseline, judging.changed)]
    first = judging.baseline if judging.baseline is not None else setups[0]
    return [(first, other) for other in setups if other != first]


def compare_document(comparisons: Sequence[Comparison]) -> dict[str, Any]:
    """Return the JSON document: the first comparison, those of further setups under `others`."""
    first, *others = [one.to_dict() for one in comparisons]
    return first | {"others": others} if others else first
