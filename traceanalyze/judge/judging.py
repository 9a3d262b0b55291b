"""What is said about the judging, whatever the runs come from; and a table of runs judged by it."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from traceanalyze.comparison import Comparison
from traceanalyze.errors import TraceError
from traceanalyze.judge.quantity import Amount
from traceanalyze.judge.runs_csv import MAX_TABLE_BYTES, read_runs
from traceanalyze.judge.scatter import OwnScatter
from traceanalyze.judge.table import RunTable, compare_rows
from traceanalyze.parsers.files import opened, standard_input
from traceanalyze.settings import COMPARE_MEASURES
from traceanalyze.units import Measure, parse_measure


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
    history : mapping of measure label to OwnScatter
        The rider's own scatter of earlier days.
    """

    baseline: str | None = None
    changed: str | None = None
    measures: tuple[Measure, ...] = ()
    smallest: tuple[Amount, ...] = ()
    scatter: Amount | None = None
    scatter_df: float = 0.0
    skip: tuple[str, ...] = ()
    history: Mapping[str, OwnScatter] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WrittenRuns:
    """A table of times written down by hand, with where it is from."""

    path: str
    sha256: str
    table: RunTable

    def measures(self, judging: Judging) -> tuple[Measure, ...]:
        """Return what may be judged in it: what is asked for and what its rows name."""
        labels = (COMPARE_MEASURES[0], *self.table.measures)
        return tuple(dict.fromkeys([*judging.measures, *(parse_measure(label) for label in labels if label)]))


def read_written(path: str) -> WrittenRuns:
    """Return the table of runs in a CSV file; `-` reads standard input.

    Raises
    ------
    TraceError
        Naming the table.
    """
    try:
        data = _table_bytes(path)
        return WrittenRuns(path=path, sha256=hashlib.sha256(data).hexdigest(), table=read_runs(data))
    except TraceError as error:
        raise error.at(path) from None


def compare_written(written: WrittenRuns, judging: Judging) -> list[Comparison]:
    """Return the comparisons of the setups in a table of runs.

    Raises
    ------
    TraceError
        Naming the table.
    """
    try:
        return [
            compare_rows(
                written.table,
                baseline=first,
                changed=other,
                measures=[measure.label for measure in judging.measures],
                only=bool(judging.measures),
                smallest=judging.smallest,
                scatter=judging.scatter,
                scatter_df=judging.scatter_df,
                history=judging.history,
            )
            for first, other in _table_pairs(written.table.setups, judging)
        ]
    except TraceError as error:
        raise error.at(written.path) from None


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
