"""The words of `compare` -> comparisons of setups with their logs, or of a day sheet's setups."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from traceanalyze.comparison import Comparison
from traceanalyze.errors import FormatError, UsageError
from traceanalyze.judge.conditions import RidingConditions
from traceanalyze.judge.judging import Judging
from traceanalyze.judge.logs import compare
from traceanalyze.judge.quantity import shown_unit
from traceanalyze.judge.scatter import OwnScatter
from traceanalyze.session import Asked
from traceanalyze.setups import SetupRuns, is_sheet, named, read_setups, refusals
from traceanalyze.sheet import read_sheet
from traceanalyze.units import Measure


def compare_logs(words: Sequence[str], asked: Asked, judging: Judging) -> tuple[list[Comparison], list[str]]:
    """Return the comparisons of the setups that the words name, and the errors of logs that were refused.

    Raises
    ------
    UsageError, SheetError, FormatError
        If the words or the sheet are wrong, or no setup or only one is left to compare.
    """
    setups = read_setups(words, asked)
    if len(setups) < 2:
        have = setups[0].name if setups else "none"
        raise UsageError(f"two setups are compared, here is one: {have}", advice='add another: "NAME=FILE,FILE"')
    refused = refusals(setups)
    if not any(setup.launches or setup.passes for setup in setups):
        raise FormatError("no launch and no pass was found in these logs", advice="see each: traceanalyze measure")
    conditions = _sheet_conditions(words)
    pairs = list(_pairs(setups, judging))
    return [_compared(first, other, asked, judging, conditions) for first, other in pairs], refused


def _pairs(setups: Sequence[SetupRuns], judging: Judging) -> Iterator[tuple[SetupRuns, SetupRuns]]:
    first = named(setups, judging.baseline)
    if judging.changed is not None:
        yield first, named(setups, judging.changed)
        return
    yield from ((first, other) for other in setups if other is not first)


def _sheet_conditions(words: Sequence[str]) -> dict[str, RidingConditions]:
    return {one.name: one.conditions for one in read_sheet(words[0]).setups} if is_sheet(words) else {}


def _compared(
    first: SetupRuns,
    other: SetupRuns,
    asked: Asked,
    judging: Judging,
    conditions: dict[str, RidingConditions],
) -> Comparison:
    measures = judging.measures
    headline = measures[0] if measures else asked.measures[0]
    smallest = {
        measure.label: amount.si(shown_unit(measure, asked.system))
        for measure in measures or (*asked.measures, Measure("top speed", "top speed"))
        for amount in judging.smallest
        if amount.fits(measure, headline)
    }
    own = {}
    if judging.scatter is not None:
        sd = judging.scatter.si(shown_unit(headline, asked.system))
        own = {headline.label: OwnScatter(sd=sd, df=judging.scatter_df)}
    return compare(
        first.sheets,
        other.sheets,
        measures=measures or None,
        start_rule=asked.start_rule,
        smallest=smallest,
        scatter=own,
        names=(first.name, other.name),
        skip=judging.skip,
        conditions=(conditions[first.name], conditions[other.name]) if conditions else None,
        system=asked.system,
    )
