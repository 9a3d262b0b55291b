"""Two setups of the book, whatever day they ran -> the whole comparison, each day a block of its own."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from statistics import median
from typing import Any

import numpy as np

from traceanalyze import settings
from traceanalyze.book.opening import Book
from traceanalyze.book.reading import (
    USUAL_WINDOW,
    BookRun,
    all_fittings,
    all_runs,
    chosen_runs,
    compared_runs,
    vehicle_chosen,
)
from traceanalyze.book.records import CurveRecord, FittingRecord
from traceanalyze.comparison import Comparison, CurveComparison, MeasureComparison, Run
from traceanalyze.errors import UsageError, shown
from traceanalyze.judge.conditions import condition_remarks
from traceanalyze.judge.curves import compare_curves
from traceanalyze.judge.logs import own_scatter_of
from traceanalyze.judge.quantity import parse_amount, quantity, shown_unit
from traceanalyze.judge.scatter import OwnScatter
from traceanalyze.judge.several import corrected
from traceanalyze.judge.verdict import compare_runs
from traceanalyze.results import Curve
from traceanalyze.sheet import Conditions
from traceanalyze.trace import Remark
from traceanalyze.units import Measure, System, parse_measure

#: Conditions that are looked at for warnings.
NUMBERS = (
    "air_temperature_c", "pressure_hpa", "humidity_pct", "wind_mps", "gust_mps", "wind_from_deg", "grade_pct",
    "rider_mass_kg",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class BookCase:
    """Runs of two setups of one vehicle, the runs of its other setups as the rider's history, and what is asked."""

    baseline: str
    changed: str
    runs: tuple[BookRun, ...]
    others: tuple[BookRun, ...]
    fittings: tuple[FittingRecord, ...] = ()
    start_rule: str = "rollout"
    window: str = USUAL_WINDOW
    system: System = "imperial"

    def timed(self, measure: Measure) -> list[tuple[BookRun, Run]]:
        """Runs that count and have a number for a measure."""
        return compared_runs(self.runs, measure, start_rule=self.start_rule, window=self.window)

    def history(self, measure: Measure) -> OwnScatter | None:
        """The rider's scatter in runs that are not judged here."""
        past = compared_runs(self.others, measure, start_rule=self.start_rule, window=self.window)
        return own_scatter_of([run for _, run in past])


def book_case(
    book: Book,
    baseline: str,
    changed: str,
    *,
    vehicle: str | None = None,
    start_rule: str = "rollout",
    window: str = USUAL_WINDOW,
    system: System = "imperial",
) -> BookCase:
    """Return the runs of two setups of the book.

    Raises
    ------
    BookError
        If a setup is not in the book, or it is not clear which vehicle is meant.
    UsageError
        If both are the same.
    """
    if baseline == changed:
        raise UsageError(f"{baseline!r} cannot be compared with itself", advice="name another setup")
    runs = all_runs(book)
    chosen = vehicle_chosen(runs, vehicle)
    mine = chosen_runs(runs, vehicle=chosen)
    pair = [one for name in (baseline, changed) for one in chosen_runs(mine, setup=name)]
    others = [one for one in mine if one.run.setup not in (baseline, changed)]
    return BookCase(
        baseline=baseline,
        changed=changed,
        runs=tuple(pair),
        others=tuple(others),
        fittings=tuple(one for one in all_fittings(book) if one.vehicle == chosen),
        start_rule=start_rule,
        window=window,
        system=system,
    )


def compare_book(
    case: BookCase, *, measures: Sequence[Measure] = (), smallest: Mapping[str, float] | None = None
) -> Comparison:
    """Return the verdict on each measure and on where in the speed range two setups differ.

    The rider's history is that of the vehicle's other setups: runs that are judged are never their own yardstick.

    Parameters
    ----------
    measures : sequence of Measure
        The first is the headline; by default the usual ones that both setups have, at least one.
    smallest : mapping of measure label to float, optional
        Smallest difference that matters, in s or m/s.
    """
    asked = list(measures) or _usual(case)
    verdicts = corrected([_verdict(case, measure, (smallest or {}).get(measure.label)) for measure in asked])
    return Comparison(
        baseline=case.baseline,
        changed=case.changed,
        measures=verdicts,
        curves=_curves(case, asked[0], verdicts[0]),
        remarks=tuple(_remarks(case)),
    )


def smallest_differences(case: BookCase, measures: Sequence[Measure], words: Sequence[str]) -> dict[str, float]:
    """Return the smallest difference that matters of each measure, in s or m/s, from words such as `0.05`, `0.5 mph`.

    Raises
    ------
    UsageError
        If a word is none.
    """
    amounts = [parse_amount(word, "--smallest") for word in words]
    return {
        measure.label: amount.si(shown_unit(measure, case.system))
        for measure in measures
        for amount in amounts
        if amount.fits(measure, measures[0])
    }


def _usual(case: BookCase) -> list[Measure]:
    usual = [parse_measure(text) for text in settings.COMPARE_MEASURES]
    both = {case.baseline, case.changed}
    return [one for one in usual if {run.setup for _, run in case.timed(one)} == both] or usual[:1]


def _verdict(case: BookCase, measure: Measure, smallest: float | None) -> MeasureComparison:
    own = case.history(measure)
    return compare_runs(
        [run for _, run in case.timed(measure)],
        baseline=case.baseline,
        changed=case.changed,
        measure=measure,
        start_rule=case.start_rule if measure.from_rest else None,
        smallest=smallest,
        scatter=own.sd if own else None,
        scatter_df=own.df if own else 0.0,
        unit_shown=shown_unit(measure, case.system),
    )


def _curves(case: BookCase, headline: Measure, verdict: MeasureComparison) -> CurveComparison | None:
    pairs = [(run, _curve(one.run.curve)) for one, run in case.timed(headline) if one.run.curve is not None]
    own = case.history(headline)
    typical = [run.value for run, _ in pairs]
    share = OwnScatter(sd=own.sd / median(typical), df=own.df) if own and typical and headline.from_rest else None
    return compare_curves(
        pairs,
        baseline=case.baseline,
        top_mps=headline.to_mps if headline.kind in ("standing", "rolling") else math.nan,
        smallest_s=verdict.smallest_meaningful if quantity(headline).unit == "s" else settings.SMALLEST_TIME_S,
        own_share=share,
        system=case.system,
    )


def _curve(record: CurveRecord) -> Curve:
    columns = {one.name: np.array(getattr(record, one.name), dtype=np.float64) for one in fields(record)}
    return Curve(**columns)


def _remarks(case: BookCase) -> list[Remark]:
    remarks = []
    left_out = sum(bool(one.run.left_out) for one in case.runs)
    if left_out:
        remarks.append(Remark("left-out", f"{left_out} run{'s' * (left_out > 1)} left out by the rider's word"))
    days = sorted({one.block for one in case.runs})
    if len(days) > 1:
        text = f"runs of {len(days)} days ({', '.join(map(shown, days))}): each day is a block of its own"
        remarks.append(Remark("several-days", text))
    if case.others and case.history(parse_measure(settings.COMPARE_MEASURES[0])):
        remarks.append(Remark("own-history", "the rider's history is that of the vehicle's other setups in the book"))
    return [*remarks, *_about_conditions(case)]


def _about_conditions(case: BookCase) -> Iterator[Remark]:
    """Yield the warnings about each day that both setups ran on, with the day's name when there are several."""
    names = (case.baseline, case.changed)
    days = {one.block: (one.run.date, one.run.place) for one in case.runs}
    shared = [day for day in days.values() if {one.run.setup for one in case.runs if _day(one) == day} == set(names)]
    for day in shared:
        pair = (_conditions(case, names[0], day), _conditions(case, names[1], day))
        headings = [one.run.heading_deg for one in case.runs if _day(one) == day and one.run.heading_deg is not None]
        for remark in condition_remarks(names, pair, headings):
            yield remark if len(days) == 1 else Remark(remark.code, f"{shown(' '.join(day).strip())}: {remark.text}")


def _day(one: BookRun) -> tuple[str, str]:
    return one.run.date, one.run.place


def _conditions(case: BookCase, setup: str, day: tuple[str, str]) -> Conditions:
    """Return what the book knows of a setup on a day, as a day sheet would say it."""
    found = [one.facts for one in case.fittings if (one.setup, one.date, one.place) == (setup, *day)]
    stated = [(name, value) for one in found for name, value in one.items()]
    facts: dict[str, Any] = {name: value for name, value in stated if name in NUMBERS and isinstance(value, float)}
    return Conditions(**facts)
