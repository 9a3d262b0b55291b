"""How many runs show a difference, and how small a difference some runs can show: the noncentral t."""

from __future__ import annotations

import math

from traceanalyze import settings
from traceanalyze.judge.distributions import noncentrality_for, t_power

#: Beyond this nobody rides; the answer is then 'not by riding'.
MOST_RUNS = 500


def smallest_shown(runs_each: int, *, terms: int = 0, prior_df: float = 0.0, power: float = settings.POWER) -> float:
    """Return the smallest true difference shown with this power, in units of the run-to-run standard deviation.

    Parameters
    ----------
    runs_each : int
        Runs of each of two setups.
    terms : int
        Terms fitted beside the two means (direction, drift), each at the cost of one degree of freedom.
    prior_df : float
        Degrees of freedom known beforehand.

    Returns
    -------
    float
        Two-sided at 5 %; infinity when no degree of freedom is left.
    """
    df = 2 * runs_each - 2 - terms + prior_df
    return noncentrality_for(power, df, settings.CLAIM_LEVEL) * math.sqrt(2.0 / runs_each) if df > 0 else math.inf


def runs_needed(difference: float, scatter: float, *, terms: int = 0, prior_df: float = 0.0) -> int:
    """Return how many runs of each setup show `difference` with 80 % power, at least 2; `MOST_RUNS` if beyond it."""
    for n in range(2, MOST_RUNS):
        if smallest_shown(n, terms=terms, prior_df=prior_df) * scatter <= difference:
            return n
    return MOST_RUNS


def more_runs_each(
    difference: float, scatter: float, *, have: tuple[int, int], terms: int = 0, prior_df: float = 0.0
) -> int:
    """Return about how many more runs of each setup would show `difference` with 80 % power, at least 1.

    `have` holds the runs made so far of both; the new ones are taken to balance direction and order.
    """
    for k in range(1, MOST_RUNS):
        a, b = have[0] + k, have[1] + k
        df = a + b - 2 - terms + prior_df
        if df > 0 and t_power(difference / (scatter * math.sqrt(1 / a + 1 / b)), df) >= settings.POWER:
            return k
    return MOST_RUNS
