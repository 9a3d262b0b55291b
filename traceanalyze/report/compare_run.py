"""The words of `compare` -> comparisons of setups with their logs, of a day sheet's setups, of times by hand."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from traceanalyze.comparison import Comparison
from traceanalyze.errors import FormatError, UsageError
from traceanalyze.judge.gather import without_skipped
from traceanalyze.judge.judging import Judging, compare_written, read_written
from traceanalyze.judge.logs import compare
from traceanalyze.judge.quantity import shown_unit
from traceanalyze.judge.scatter import OwnScatter
from traceanalyze.report.compared import Compared
from traceanalyze.report.machine import drive_trains, sheet_of
from traceanalyze.report.own_scatter import BookWish, history_for
from traceanalyze.session import Asked
from traceanalyze.settings import COMPARE_MEASURES
from traceanalyze.setups import SetupRuns, named, read_setups, refusals, sheets_read
from traceanalyze.sheet import DaySheet
from traceanalyze.trace import Remark
from traceanalyze.units import Measure, parse_measure


def compare_times(path: str, asked: Asked, judging: Judging, book: BookWish) -> Compared:
    """Return the comparisons of the setups in a table of times by hand.

    Only a book that was asked for is looked at: times by hand vary by more than its logged ones do.

    Raises
    ------
    TraceError
        Naming the table, or the book.
    """
    written = read_written(path)
    remarks: tuple[Remark, ...] = ()
    if book.path is not None:
        history = history_for(book, written.measures(judging), asked)
        judging, remarks = replace(judging, history=history.scatter), history.remarks
    found = [_noted(one, remarks) for one in compare_written(written, judging)]
    return Compared(comparisons=tuple(found), asked=asked, written=written)


def compare_logs(words: Sequence[str], asked: Asked, judging: Judging, book: BookWish) -> Compared:
    """Return the comparisons of the setups that the words name.

    Raises
    ------
    UsageError, SheetError, FormatError, BookError
        If the words or the sheet are wrong, or no setup or only one is left to compare.
    """
    setups = read_setups(words, asked)
    if len(setups) < 2:
        have = setups[0].name if setups else "none"
        raise UsageError(f"two setups are compared, here is one: {have}", advice='add another: "NAME=FILE,FILE"')
    if not any(setup.launches or setup.passes for setup in setups):
        raise FormatError("no launch and no pass was found in these logs", advice="see each: traceanalyze measure")
    sheet = sheet_of(words)
    measures = judging.measures or tuple(map(parse_measure, COMPARE_MEASURES))
    history = history_for(
        book,
        measures,
        asked,
        stated_vehicle=sheet.vehicle.name if sheet else "",
        without=[one.sha256 for one in sheets_read(setups)],
    )
    judging = replace(judging, history=history.scatter)
    pairs = list(_pairs(setups, judging))
    found = [_noted(_compared(first, other, asked, judging, sheet), history.remarks) for first, other in pairs]
    return Compared(
        comparisons=tuple(found),
        asked=asked,
        setups=_counted_runs([pairs[0][0], *(other for _, other in pairs)], judging.skip),
        sheet=sheet,
        refused=tuple(refusals(setups)),
    )


def _noted(comparison: Comparison, remarks: Sequence[Remark]) -> Comparison:
    return replace(comparison, remarks=(*comparison.remarks, *remarks))


def _counted_runs(setups: Sequence[SetupRuns], skip: Sequence[str]) -> tuple[SetupRuns, ...]:
    """The setups without the runs that the rider leaves out."""
    return tuple(
        replace(setup, sheets=tuple(without_skipped(one, skip) for one in setup.sheets)) if skip else setup
        for setup in setups
    )


def _pairs(setups: Sequence[SetupRuns], judging: Judging) -> Iterator[tuple[SetupRuns, SetupRuns]]:
    first = named(setups, judging.baseline)
    if judging.changed is not None:
        yield first, named(setups, judging.changed)
        return
    yield from ((first, other) for other in setups if other is not first)


def _compared(first: SetupRuns, other: SetupRuns, asked: Asked, judging: Judging, sheet: DaySheet | None) -> Comparison:
    conditions = {one.name: one.conditions for one in sheet.setups} if sheet else {}
    return compare(
        first.sheets,
        other.sheets,
        measures=judging.measures or None,
        start_rule=asked.start_rule,
        smallest=_smallest(asked, judging),
        scatter=_scatter(asked, judging),
        names=(first.name, other.name),
        skip=judging.skip,
        conditions=(conditions[first.name], conditions[other.name]) if conditions else None,
        trains=drive_trains(sheet),
        system=asked.system,
    )


def _headline(asked: Asked, judging: Judging) -> Measure:
    return judging.measures[0] if judging.measures else asked.measures[0]


def _smallest(asked: Asked, judging: Judging) -> dict[str, float]:
    """The smallest difference that matters by measure, as far as one is stated."""
    measures = judging.measures or (*asked.measures, Measure("top speed", "top speed"))
    return {
        measure.label: amount.si(shown_unit(measure, asked.system))
        for measure in measures
        for amount in judging.smallest
        if amount.fits(measure, _headline(asked, judging))
    }


def _scatter(asked: Asked, judging: Judging) -> Mapping[str, OwnScatter]:
    """The rider's own scatter by measure: what is stated for the headline comes before what a book knows."""
    if judging.scatter is None:
        return judging.history
    headline = _headline(asked, judging)
    stated = OwnScatter(sd=judging.scatter.si(shown_unit(headline, asked.system)), df=judging.scatter_df)
    return {**judging.history, headline.label: stated}
