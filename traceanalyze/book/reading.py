"""The book -> its runs with their place in the day, runs to compare, the rider's own scatter."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from itertools import groupby
from typing import Final

from traceanalyze.book.opening import Book
from traceanalyze.book.records import FittingRecord, LogRecord, ResultRecord, RunRecord
from traceanalyze.book.tables import fittings_of, logs_of
from traceanalyze.comparison import Run
from traceanalyze.errors import BookError, shown
from traceanalyze.judge.directions import ways
from traceanalyze.judge.logs import own_scatter_of
from traceanalyze.judge.scatter import OwnScatter
from traceanalyze.units import Measure, parse_measure

#: Window of top speeds that are looked at when none is named.
USUAL_WINDOW: Final = "1 s"


@dataclass(frozen=True, slots=True, kw_only=True)
class BookRun:
    """One run with its place in the day.

    Attributes
    ----------
    run : RunRecord
    log : LogRecord
        The log it is from.
    order : int
        From 1 through the day, all setups of the vehicle counted, launches and passes apart, left-out ones too.
    direction : str
        Compass point of the way it went, as far as the day's headings tell two ways apart; empty when unknown.
    """

    run: RunRecord
    log: LogRecord
    order: int
    direction: str

    @property
    def block(self) -> str:
        """The day and place it is compared within."""
        return f"{self.run.date} {self.run.place}".strip()

    @property
    def file(self) -> str:
        """The file, with the name inside an archive."""
        return f"{self.log.path}:{self.log.member}" if self.log.member else self.log.path

    def result(self, measure: Measure, start_rule: str, window: str = USUAL_WINDOW) -> ResultRecord | None:
        """Return its number for a measure; None when it has none."""
        rule, held = start_rule if measure.from_rest else "", window if measure.kind == "top speed" else ""
        for one in self.run.results:
            if (one.measure, one.start_rule, one.window) == (measure.label, rule, held):
                return one
        return None


def all_runs(book: Book) -> tuple[BookRun, ...]:
    """Return every run by vehicle, day, kind and order.

    Raises
    ------
    BookError
        If the book holds what cannot be.
    """
    with book.look() as connection:
        pairs = [(run, log) for log in logs_of(connection) for run in log.runs]
    pairs.sort(key=lambda pair: _day_key(pair[0]))  # stable: within a day still in the order added
    return tuple(one for _, day in groupby(pairs, key=lambda pair: _day_key(pair[0])) for one in _in_order(list(day)))


def _day_key(run: RunRecord) -> tuple[str, str, str, str]:
    return run.vehicle, run.date, run.place, run.kind


def _in_order(day: list[tuple[RunRecord, LogRecord]]) -> Iterable[BookRun]:
    """Yield one day's runs of one kind: by the clock where every run has one, else as added."""
    if all(run.utc_s is not None for run, _ in day):
        day.sort(key=lambda pair: pair[0].utc_s or 0.0)
    labels = ways([math.nan if run.heading_deg is None else run.heading_deg for run, _ in day])
    for order, ((run, log), label) in enumerate(zip(day, labels, strict=True), start=1):
        yield BookRun(run=run, log=log, order=order, direction=label)


def all_fittings(book: Book) -> tuple[FittingRecord, ...]:
    """Return what is known of each setup on each day, by vehicle, setup and day.

    Raises
    ------
    BookError
        If the book holds what cannot be.
    """
    with book.look() as connection:
        return fittings_of(connection)


def vehicle_chosen(runs: Iterable[BookRun], vehicle: str | None) -> str:
    """Return the vehicle that is meant: the named one, or the only one.

    Raises
    ------
    BookError
        If it is not in the book, or none is named and there are several.
    """
    known = list(dict.fromkeys(one.run.vehicle for one in runs))
    if not known:
        raise BookError("the run book is empty", advice="add logs: traceanalyze book add")
    if vehicle is None and len(known) == 1:
        return known[0]
    if vehicle not in known:
        reason = f"no vehicle {vehicle!r} is in the run book" if vehicle else "the run book has several vehicles"
        raise BookError(reason, advice="name one: --vehicle; there are " + ", ".join(map(shown, known)))
    return vehicle


def chosen_runs(
    runs: Iterable[BookRun], *, vehicle: str | None = None, setup: str | None = None
) -> tuple[BookRun, ...]:
    """Return the runs of a vehicle and a setup, all where None is given.

    Raises
    ------
    BookError
        If there is none.
    """
    everything = tuple(runs)
    mine = everything if vehicle is None else tuple(one for one in everything if one.run.vehicle == vehicle)
    if vehicle is not None and not mine:
        vehicle_chosen(everything, vehicle)
    if setup is None:
        return mine
    known = sorted({one.run.setup for one in mine})
    if setup not in known:
        there = ", ".join(map(shown, known)) or "none"
        raise BookError(f"no setup {setup!r} is in the run book", advice=f"there are: {there}")
    return tuple(one for one in mine if one.run.setup == setup)


def runs_of(
    book: Book,
    setup: str,
    measure: Measure | str,
    *,
    vehicle: str | None = None,
    start_rule: str = "rollout",
    window: str = USUAL_WINDOW,
) -> tuple[Run, ...]:
    """Return the runs of a setup that have a number for a measure, to be compared: the day is their block.

    Runs that the rider left out are left out.

    Raises
    ------
    BookError
        If the setup is not in the book, or it is not clear which vehicle is meant.
    """
    runs = all_runs(book)
    chosen = vehicle_chosen(runs, vehicle)
    of_setup = chosen_runs(runs, vehicle=chosen, setup=setup)
    return tuple(run for _, run in compared_runs(of_setup, measure, start_rule=start_rule, window=window))


def compared_runs(
    runs: Iterable[BookRun], measure: Measure | str, *, start_rule: str = "rollout", window: str = USUAL_WINDOW
) -> list[tuple[BookRun, Run]]:
    """Return those runs that count and have a number for a measure, each as a run to compare."""
    measure = parse_measure(measure) if isinstance(measure, str) else measure
    found = []
    for one in runs:
        result = None if one.run.left_out else one.result(measure, start_rule, window)
        if result is not None and result.value > 0:
            found.append((one, as_run(one, result)))
    return found


def as_run(one: BookRun, result: ResultRecord) -> Run:
    """Return a run of the book as a run to compare."""
    return Run(
        setup=one.run.setup,
        value=result.value,
        stderr=result.stderr or 0.0,
        order=float(one.order),
        direction=one.direction,
        block=one.block,
        file=one.file,
        launch=one.run.number,
    )


def scatter(
    book: Book,
    measure: Measure | str,
    *,
    vehicle: str | None = None,
    setup: str | None = None,
    start_rule: str = "rollout",
    window: str = USUAL_WINDOW,
    without: Collection[str] = (),
) -> OwnScatter | None:
    """Return the rider's own run-to-run scatter: pooled within setup, day and direction; None when nothing repeats.

    Parameters
    ----------
    vehicle, setup : str, optional
        Only these runs. One vehicle must be meant: scatter in seconds of one is none of another.
    without : collection of str
        SHA-256 of logs to leave out: those that are judged against this scatter.

    Raises
    ------
    BookError
        If it is not clear which vehicle is meant.
    """
    runs = all_runs(book)
    mine = chosen_runs(runs, vehicle=vehicle_chosen(runs, vehicle), setup=setup)
    mine = tuple(one for one in mine if one.log.sha256 not in without)
    return own_scatter_of([run for _, run in compared_runs(mine, measure, start_rule=start_rule, window=window)])
