"""Times written down by hand -> the comparison: a pandas frame or a CSV table of runs."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from traceanalyze import settings
from traceanalyze.comparison import SHOWN_UNITS, Comparison, Run
from traceanalyze.errors import SheetError, UsageError, shown
from traceanalyze.judge.quantity import Amount
from traceanalyze.judge.rows import COLUMNS, TableRow, checked_rows, column_names
from traceanalyze.judge.scatter import OwnScatter
from traceanalyze.judge.several import corrected
from traceanalyze.judge.verdict import compare_runs
from traceanalyze.trace import Remark
from traceanalyze.units import Measure, parse_measure

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RunTable:
    """A table of runs without a mistake.

    Attributes
    ----------
    rows : tuple of TableRow
    has_order : bool
        Whether the runs are numbered.
    remarks : tuple of Remark
        On columns that are not used.
    """

    rows: tuple[TableRow, ...]
    has_order: bool
    remarks: tuple[Remark, ...] = field(default=())

    @property
    def setups(self) -> list[str]:
        """Names of the setups in order of first use."""
        return list(dict.fromkeys(row.setup for row in self.rows))

    @property
    def measures(self) -> list[str]:
        """Labels of the measures in order of first use; an empty label where a row names none."""
        return list(dict.fromkeys(row.measure for row in self.rows))


def compare_table(
    frame: pd.DataFrame,
    baseline: str | None = None,
    measure: str = "0-30 mph",
    smallest: float | None = None,
    scatter: float | None = None,
    scatter_df: float = 0.0,
    *,
    changed: str | None = None,
) -> Comparison:
    """Return the verdicts on a table of runs.

    Parameters
    ----------
    frame : DataFrame
        Columns `setup` and `value`, and as known `stderr` (standard uncertainty, same unit), `order` (1, 2, ... through
        the day), `direction` (any label), `measure`, `unit`, `day` (any label: runs are compared within it) and `note`.
        Times are in s. Top speeds are in the unit that `unit` names (mph, km/h, m/s, kn), else in m/s.
    baseline, changed : str, optional
        Setups to compare: the first seen, and the only other one.
    measure : str
        What a row without `measure` timed; the headline when the table has several.
    smallest, scatter, scatter_df
        Smallest difference that matters and the rider's own scatter of the headline, in the table's unit.

    Returns
    -------
    Comparison
        In s and m/s.

    Raises
    ------
    SheetError
        Naming row and column of a mistake.
    UsageError
        If a number or a setup's name is not usable.

    Row numbers in messages count from 1.
    """
    names = column_names([str(name) for name in frame.columns])
    cells = [
        (number, {name: _cell(value) for name, value in zip(names, record, strict=True)})
        for number, record in enumerate(frame.itertuples(index=False, name=None), start=1)
    ]
    return compare_rows(
        table_of(cells, names),
        baseline=baseline,
        changed=changed,
        measures=(measure,),
        only=False,
        smallest=[] if smallest is None else [Amount(smallest)],
        scatter=None if scatter is None else Amount(scatter),
        scatter_df=scatter_df,
    )


def _cell(value: Any) -> str:
    """A frame's cell as text: missing (None, NaN, NaT) is empty, a whole float loses its `.0`."""
    if value is None or value != value:
        return ""
    return repr(float(value)) if isinstance(value, float) else str(value).strip()


def table_of(cells: Sequence[tuple[int, Mapping[str, str]]], names: Sequence[str]) -> RunTable:
    """Return the checked table of numbered rows of cells by column name.

    Raises
    ------
    SheetError
        Naming row and column of a mistake.
    """
    rows = checked_rows(cells)
    unused = [name for name in names if name not in COLUMNS]
    remarks = [Remark("column-not-used", f"not used: column {', '.join(map(shown, unused))}")] if unused else []
    has_order = any(row.order == row.order for row in rows)
    if not has_order:
        text = "no order given: the rows are taken as ridden one after another as listed; number them if they were not"
        remarks.append(Remark("order-as-listed", text))
    return RunTable(rows=rows, has_order=has_order, remarks=tuple(remarks))


def compare_rows(
    table: RunTable,
    *,
    baseline: str | None = None,
    changed: str | None = None,
    measures: Sequence[str] = (),
    only: bool = False,
    smallest: Sequence[Amount] = (),
    scatter: Amount | None = None,
    scatter_df: float = 0.0,
    history: Mapping[str, OwnScatter] = MappingProxyType({}),
) -> Comparison:
    """Return the verdicts on a checked table.

    Parameters
    ----------
    measures : sequence of str
        The first is what a row without a measure timed, and the headline if the table has it.
    only : bool
        Leave out measures of the table that `measures` does not name.
    smallest : sequence of Amount
        Smallest differences that matter; one without a unit is in the table's. The last that fits a measure holds.
    scatter, scatter_df
        The rider's own scatter of the headline.
    history : mapping of measure label to OwnScatter
        The rider's own scatter of earlier days, for measures of which nothing is stated.
    """
    names = _setups(table, baseline, changed)
    default = parse_measure(measures[0]) if measures else parse_measure(settings.COMPARE_MEASURES[0])
    by_measure = _grouped(table.rows, default)
    ordered = _ordered(list(by_measure), [parse_measure(text) for text in measures], only=only)
    verdicts = []
    for measure in ordered:
        rows = [row for row in by_measure[measure] if row.setup in names]
        unit = _unit(rows, measure)
        matters = [amount.si(unit) for amount in smallest if amount.fits(measure, ordered[0])]
        own = history.get(measure.label)
        if scatter is not None and measure == ordered[0]:
            own = OwnScatter(sd=scatter.si(unit), df=scatter_df)
        result = compare_runs(
            _runs(rows, SHOWN_UNITS[unit], ordered=table.has_order),
            baseline=names[0],
            changed=names[1],
            measure=measure,
            smallest=matters[-1] if matters else None,
            scatter=own.sd if own else None,
            scatter_df=own.df if own else 0.0,
            unit_shown=unit,
        )
        verdicts.append(result)
    return Comparison(baseline=names[0], changed=names[1], measures=corrected(verdicts), remarks=table.remarks)


def _setups(table: RunTable, baseline: str | None, changed: str | None) -> tuple[str, str]:
    known = table.setups
    for name in (baseline, changed):
        if name is not None and name not in known:
            raise UsageError(f"no run of setup {name!r} is in the table", advice="there are: " + ", ".join(known))
    first = baseline if baseline is not None else next((x for x in known if x != changed), known[0])
    others = [name for name in known if name != first]
    if changed is None and len(others) != 1:
        found = ", ".join(known)
        raise UsageError(f"two setups are compared, the table has: {found}", advice="name both, baseline and changed")
    second = changed if changed is not None else others[0]
    if second == first:
        raise UsageError(f"{first!r} cannot be compared with itself", advice="name another setup")
    return first, second


def _grouped(rows: Iterable[TableRow], default: Measure) -> dict[Measure, list[TableRow]]:
    groups: dict[Measure, list[TableRow]] = {}
    for row in rows:
        groups.setdefault(parse_measure(row.measure) if row.measure else default, []).append(row)
    return groups


def _ordered(have: list[Measure], wanted: Sequence[Measure], *, only: bool) -> list[Measure]:
    """The measures to judge, wanted ones first."""
    first = [measure for measure in dict.fromkeys(wanted) if measure in have]
    if only:
        if not first:
            there = ", ".join(measure.label for measure in have)
            raise UsageError(f"no run of {wanted[0].label} is in the table", advice=f"it has: {there}")
        return first
    return first + [measure for measure in have if measure not in first]


def _unit(rows: Sequence[TableRow], measure: Measure) -> str:
    """The unit a measure's values are written in."""
    fallback = "m/s" if measure.kind == "top speed" else "s"
    units = list(dict.fromkeys(row.unit or fallback for row in rows))
    if len(units) > 1:
        raise SheetError(f"{measure.label} is given in {' and '.join(units)}", advice="use one unit for a measure")
    unit = units[0] if units else fallback
    if (unit == "s") != (measure.kind != "top speed"):
        raise SheetError(
            f"{measure.label} cannot be in {unit}", advice="times are in s, top speeds in mph, km/h or m/s"
        )
    return unit


def _runs(rows: Sequence[TableRow], factor: float, *, ordered: bool) -> list[Run]:
    """Rows in SI. A value written without its uncertainty has at least that of its last digit: its step / sqrt(12)."""
    step = min((row.step for row in rows), default=0.0)  # the finest: 4.1 among hundredths is 4.10
    return [
        Run(
            setup=row.setup,
            value=row.value * factor,
            stderr=(row.stderr or step / math.sqrt(12.0)) * factor,
            order=row.order if ordered else math.nan,
            direction=row.direction,
            block=row.day,
            note=row.note,
        )
        for row in rows
    ]
