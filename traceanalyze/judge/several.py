"""Several measures of one comparison: the headline stands by itself, the others are corrected for being several."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from traceanalyze import settings
from traceanalyze.comparison import MeasureComparison
from traceanalyze.judge.quantity import quantity
from traceanalyze.judge.verdict import with_reason, worded
from traceanalyze.units import parse_measure


def holm(p_values: Sequence[float]) -> list[float]:
    """Return p-values adjusted for being several (Holm, Scand. J. Statist. 6 (1979) 65), in the same order.

    NaN (no p-value) stays NaN and counts for nothing.
    """
    known = sorted((p, i) for i, p in enumerate(p_values) if p == p)
    adjusted = [float("nan")] * len(p_values)
    highest = 0.0
    for rank, (p, i) in enumerate(known):
        highest = max(highest, min(1.0, p * (len(known) - rank)))
        adjusted[i] = highest
    return adjusted


def corrected(measures: Sequence[MeasureComparison]) -> tuple[MeasureComparison, ...]:
    """Return the measures with the first as headline; a claim of another that Holm does not let stand is withdrawn."""
    others = [replace(one, headline=False) for one in measures[1:]]
    adjusted = holm([one.p_value for one in others])
    return (*measures[:1], *(_held_to(one, p) for one, p in zip(others, adjusted, strict=True)))


def _held_to(one: MeasureComparison, p_adjusted: float) -> MeasureComparison:
    one = replace(one, p_adjusted=p_adjusted)
    if one.reason != "claim" or p_adjusted < settings.CLAIM_LEVEL:
        return one
    x = one.smallest_meaningful
    reason = "within" if -x < one.low90 and one.high90 < x else "several"
    withdrawn = with_reason(one, reason, terms=1, prior_df=0.0)
    return worded(withdrawn, quantity(parse_measure(one.measure)))
