"""The words of `compare` -> comparisons of setups with their logs, of a day sheet's setups, of times by hand."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from traceanalyze.comparison import Comparison
from traceanalyze.errors import FormatError, UsageError
from traceanalyze.judge.gather import without_skipped
from traceanalyze.judge.judging import Judging, WrittenRuns, compare_document, compare_written, read_written
from traceanalyze.judge.logs import compare
from traceanalyze.judge.quantity import shown_unit
from traceanalyze.judge.scatter import OwnScatter
from traceanalyze.report.corrected import Corrected, corrected_times
from traceanalyze.report.machine import drive_trains, engine_of, sheet_of
from traceanalyze.report.own_scatter import BookWish, history_for
from traceanalyze.results import number
from traceanalyze.session import Asked
from traceanalyze.settings import COMPARE_MEASURES
from traceanalyze.setups import SetupRuns, named, read_setups, refusals, sheets_read
from traceanalyze.sheet import DaySheet
from traceanalyze.trace import Remark
from traceanalyze.units import Measure, parse_measure
from traceanalyze.vehicle.engine import EngineSpeeds
from traceanalyze.vehicle.gearing import engine_rpm_at


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Compared:
    """Comparisons with a common baseline, and what they were made from.

    Attributes
    ----------
    comparisons : tuple of Comparison
        At least one.
    asked : Asked
    setups : tuple of SetupRuns
        Those compared, without the runs left out; empty for times by hand.
    sheet : DaySheet or None
    written : WrittenRuns or None
        The table of times by hand.
    refused : tuple of str
        One line for each log that could not be read.
    """

    comparisons: tuple[Comparison, ...]
    asked: Asked
    setups: tuple[SetupRuns, ...] = ()
    sheet: DaySheet | None = None
    written: WrittenRuns | None = None
    refused: tuple[str, ...] = ()

    @property
    def inputs(self) -> list[Path]:
        """Every file that was read, never to be written over."""
        read = [one.path for one in sheets_read(self.setups)]
        read += [self.written.path] if self.written else []
        read += [str(self.sheet.path)] if self.sheet else []
        return [Path(path) for path in read if path != "-"]

    def engine(self, comparison: Comparison) -> EngineSpeeds:
        """Return what may be shown of engine speed beside the road speeds of one comparison."""
        return engine_of(self.sheet, (comparison.baseline, comparison.changed))

    def corrected(self) -> tuple[Corrected, ...]:
        """Return the times corrected for slope and air, beside the raw ones, as far as the day sheet has the facts."""
        labels = dict.fromkeys(one.measure for comparison in self.comparisons for one in comparison.measures)
        measures = [parse_measure(label) for label in labels]
        return corrected_times(self.setups, self.sheet, measures, self.asked.start_rule)

    def corrected_headline(self) -> list[Corrected]:
        """Return the corrected times of the measure that leads."""
        head = self.comparisons[0].headline.measure
        return [one for one in self.corrected() if one.measure == head]

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON document."""
        return compare_document(self.comparisons) | self.vehicle_dict()

    def vehicle_dict(self) -> dict[str, Any]:
        """Return what the day sheet's vehicle adds to the JSON: engine speeds and corrected times."""
        return {
            "engine_speeds": [_engine_dict(self.engine(one)) for one in self.comparisons],
            "corrected": [one.to_dict() for one in self.corrected()],
        }


def _engine_dict(engine: EngineSpeeds) -> dict[str, Any]:
    train = engine.train
    return {
        "rpm_per_mps": number(float(engine_rpm_at(train, 1.0))) if train else None,
        "engagement_rpm": number(train.engagement_rpm) if train else None,
        "max_engine_rpm": number(train.max_engine_rpm) if train else None,
        "note": engine.note,
    }


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
