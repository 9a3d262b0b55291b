"""The rider's own run-to-run scatter from the run book, and in words where it came from."""

from __future__ import annotations

import os
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from traceanalyze.book.history import own_history
from traceanalyze.book.opening import VARIABLE, book_place, open_book
from traceanalyze.book.reading import all_runs, chosen_runs, compared_runs, vehicle_chosen
from traceanalyze.comparison import SHOWN_UNITS, Run
from traceanalyze.errors import BookError, shown
from traceanalyze.judge.quantity import shown_unit
from traceanalyze.judge.scatter import OwnScatter
from traceanalyze.results import round_half_up
from traceanalyze.session import Asked
from traceanalyze.trace import Remark
from traceanalyze.units import Measure, System


@dataclass(frozen=True, slots=True, kw_only=True)
class BookWish:
    """Which run book is asked for its scatter, and of which machine; None where nothing was said."""

    path: Path | None = None
    vehicle: str | None = None

    @property
    def place(self) -> Path | None:
        """Where the book is that is wished for, or that the environment names; None when there is neither."""
        return book_place(self.path) if self.path is not None or os.environ.get(VARIABLE) else None


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """The rider's own scatter by the labels of measures, and a remark on where it is from; empty without a book."""

    scatter: Mapping[str, OwnScatter] = field(default_factory=dict)
    remarks: tuple[Remark, ...] = ()


def history_for(
    wish: BookWish,
    measures: Sequence[Measure],
    asked: Asked,
    *,
    stated_vehicle: str = "",
    without: Collection[str] = (),
) -> History:
    """Return the scatter that the wished book knows; without a wish, that of the book which the environment names.

    No other book is ever looked at. One that only the environment names may be missing or of other machines: it is
    then not used, and a remark says why.

    Parameters
    ----------
    measures : sequence of Measure
    stated_vehicle : str
        Machine that a day sheet names; the wish comes before it.
    without : collection of str
        SHA-256 of the logs that are judged: never their own yardstick.

    Raises
    ------
    BookError
        If the wished book cannot be used.
    """
    if (path := wish.place) is None:
        return History()
    vehicle = wish.vehicle or stated_vehicle or None
    try:
        known = own_history(
            path,
            measures,
            vehicle=vehicle,
            start_rule=asked.start_rule,
            window=asked.window.label,
            without=without,
        )
    except BookError as error:
        if wish.path is not None:
            raise
        return History(remarks=(Remark("book-not-used", _not_used(error)),))
    return History(scatter=known, remarks=(_source(path, measures, known, asked.system),))


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlierRuns:
    """The runs of a book by the labels of measures, and in words where they are from; empty without a book."""

    runs: Mapping[str, Sequence[Run]] = field(default_factory=dict)
    source: str = ""


def earlier_runs(
    wish: BookWish, measures: Sequence[Measure], asked: Asked, *, without: Collection[str] = ()
) -> EarlierRuns:
    """Return the runs that the wished book holds; without a wish, as `history_for` chooses a book.

    Parameters
    ----------
    without : collection of str
        SHA-256 of logs that are at hand already.

    Raises
    ------
    BookError
        If the wished book cannot be used.
    """
    if (path := wish.place) is None:
        return EarlierRuns()
    try:
        with open_book(path) as book:
            everything = all_runs(book)
            mine = chosen_runs(everything, vehicle=vehicle_chosen(everything, wish.vehicle))
    except BookError as error:
        if wish.path is not None:
            raise
        return EarlierRuns(source=_not_used(error))
    kept = [one for one in mine if one.log.sha256 not in without]
    found = {
        one.label: [run for _, run in compared_runs(kept, one, start_rule=asked.start_rule, window=asked.window.label)]
        for one in measures
    }
    return EarlierRuns(runs=found, source=f"Reckoned with the runs of {mine[0].run.vehicle} in the run book {path}")


def _not_used(error: BookError) -> str:
    text = f"The run book that {VARIABLE} names was not used: {error.reason}"
    return f"{text}; {error.advice}" if error.advice else text


def _source(path: Path, measures: Sequence[Measure], known: Mapping[str, OwnScatter], system: System) -> Remark:
    place = f"the run book {shown(path)}"
    if not known:
        return Remark("scatter-from-book", f"{place} has no other runs that repeat: the usual scatter stands in")
    said = [scatter_words(measure, known[measure.label], system) for measure in measures if measure.label in known]
    return Remark("scatter-from-book", f"your own scatter of other runs, from {place}: {', '.join(said)}")


def scatter_words(measure: Measure, own: OwnScatter, system: System) -> str:
    """Return a scatter as `0-30 mph 0.07 s (12 degrees of freedom)`."""
    unit = shown_unit(measure, system)
    return f"{measure.label} {round_half_up(own.sd / SHOWN_UNITS[unit], 2)} {unit} ({own.df:g} degrees of freedom)"
