"""Student's t, the noncentral t, and the critical value of a whole curve: plain floats in, plain floats out.

scipy.special carries the functions themselves and is imported where it is used: it is heavy, and plain
measuring never needs it. scipy.stats, three times as heavy, is not needed at all.
"""

from __future__ import annotations

import math
from collections.abc import Callable

#: Largest degrees of freedom told apart from infinity; t and normal then agree to better than 1e-6.
_MANY = 1e7


def t_cdf(t: float, df: float) -> float:
    """Return P(T <= t) for Student's t with `df` > 0 degrees of freedom (not necessarily whole)."""
    from scipy.special import stdtr

    return float(stdtr(min(df, _MANY), t))


def t_two_sided(t: float, df: float) -> float:
    """Return the two-sided p-value P(|T| >= |t|)."""
    return 2.0 * t_cdf(-abs(t), df)


def t_quantile(probability: float, df: float) -> float:
    """Return the t whose cumulative probability is `probability`, by Student's t with `df` degrees of freedom."""
    from scipy.special import stdtrit

    return float(stdtrit(min(df, _MANY), probability))


def t_power(noncentrality: float, df: float, level: float = 0.05) -> float:
    """Return the chance that a two-sided t test at `level` shows an effect of this noncentrality.

    `noncentrality` is the true effect divided by its true standard error (Cohen, Statistical Power Analysis
    for the Behavioral Sciences, 1988, chapter 2; the noncentral t distribution itself by scipy.special.nctdtr).
    """
    from scipy.special import nctdtr

    critical = t_quantile(1.0 - level / 2.0, df)
    size = abs(noncentrality)
    missed = float(nctdtr(df, size, critical))
    wrong_way = float(nctdtr(df, size, -critical)) if size < 4.0 else 0.0  # below 1e-6 from there
    return 1.0 - missed + wrong_way if missed == missed else 1.0  # scipy says NaN where it underflows, far out


def noncentrality_for(power: float, df: float, level: float = 0.05) -> float:
    """Return the noncentrality that a two-sided t test at `level` shows with this power."""
    return rising_root(lambda size: t_power(size, df, level) - power, 0.0, 4.0)


def curve_quantile(arc_length: float, df: float, *, decay_df: float | None = None, level: float = 0.05) -> float:
    """Return the critical value c with which a whole t curve stays inside its band with chance 1 - `level`.

    Solves 2 [P(T > c) + L / (2 pi) (1 + c^2/df)^(-d/2)] = level by the expected number of upcrossings (Kac-Rice), where
    L is the arc length of the standardised error curve. Infinite when nothing is estimated (df or d not above 0).

    Parameters
    ----------
    arc_length : float
        L, at least 0.
    df : float
        Degrees of freedom of the variance at each point.
    decay_df : float, optional
        The exponent d. `df` (the default) is right when all points share one variance estimate up to scale (Liebl &
        Reimherr, arXiv:1910.00131, 2023), as with curves that lie apart mostly as a whole; `df` - 1 when each point
        estimates its own (Telschow & Schwartzman, arXiv:1901.06386, after Worsley, Adv. Appl. Prob. 26 (1994) 13), as
        with rough curves.
    """
    decay = df if decay_df is None else decay_df
    if df <= 0.0 or decay <= 0.0:
        return math.inf

    def leaving(c: float) -> float:
        crossings = arc_length / (2.0 * math.pi) * math.exp(-decay / 2.0 * math.log1p(c * c / df))
        return 2.0 * (t_cdf(-c, df) + crossings)

    return rising_root(lambda c: level - leaving(c), 0.0, 8.0)


def rising_root(function: Callable[[float], float], low: float, high: float) -> float:
    """Return where a rising function passes zero, widening `high` as needed, to 1e-12 relative; inf if nowhere."""
    while function(high) < 0.0:
        low, high = high, high * 2.0
        if high > 1e9:
            return math.inf
    for _ in range(200):
        middle = (low + high) / 2.0
        if high - low <= 1e-12 * max(1.0, high):
            break
        low, high = (low, middle) if function(middle) >= 0.0 else (middle, high)
    return (low + high) / 2.0
