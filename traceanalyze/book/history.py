"""The rider's own scatter of earlier days, for a comparison or a plan of runs that are not in the book."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from pathlib import Path

from traceanalyze.book.opening import open_book
from traceanalyze.book.reading import USUAL_WINDOW, scatter
from traceanalyze.judge.scatter import OwnScatter
from traceanalyze.units import Measure


def own_history(
    path: str | Path,
    measures: Iterable[Measure],
    *,
    vehicle: str | None = None,
    start_rule: str = "rollout",
    window: str = USUAL_WINDOW,
    without: Collection[str] = (),
) -> dict[str, OwnScatter]:
    """Return the run-to-run scatter that a book knows of each measure, by label; measures without any are absent.

    Parameters
    ----------
    path : path
        Of the book.
    vehicle : str, optional
        Needed when the book has several.
    without : collection of str
        SHA-256 of the logs that are judged: they may be in the book already, and are never their own yardstick.

    Raises
    ------
    BookError
        If there is no book there, it cannot be read, or it is not clear which vehicle is meant.
    """
    with open_book(path) as book:
        found = {
            one.label: scatter(book, one, vehicle=vehicle, start_rule=start_rule, window=window, without=without)
            for one in measures
        }
    return {label: known for label, known in found.items() if known is not None}
