"""Second opinions from the textbook, which know nothing of direction, drift or history: t tests and permutation."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

import numpy as np

from traceanalyze.comparison import PlainTest, SecondOpinions
from traceanalyze.errors import SignalError
from traceanalyze.judge.distributions import t_quantile, t_two_sided

#: Most runs whose every division into two setups is counted (65,536 subsets).
MOST_PERMUTED = 16
#: Values are compared as whole millionths, so that ties are ties.
_PER_UNIT = 1_000_000


def second_opinions(baseline: Sequence[float], changed: Sequence[float]) -> SecondOpinions | None:
    """Return the plain tests; None where a setup has fewer than two runs or nothing varies."""
    if min(len(baseline), len(changed)) < 2 or np.ptp(baseline) + np.ptp(changed) == 0.0:
        return None
    count, total = permutation_count(baseline, changed) if len(baseline) + len(changed) <= MOST_PERMUTED else (0, 0)
    return SecondOpinions(
        welch=welch(baseline, changed),
        pooled=pooled_t(baseline, changed),
        permutation_count=count,
        permutation_of=total,
        permutation_least_p=float(least_permutation_p(len(baseline), len(changed))),
    )


def welch(baseline: Sequence[float], changed: Sequence[float]) -> PlainTest:
    """Return Welch's test of changed minus baseline (Welch, Biometrika 34 (1947) 28).

    Raises
    ------
    SignalError
        If a setup has fewer than two runs.
    """
    a, b = _moments(baseline), _moments(changed)
    parts = a[1] / a[2], b[1] / b[2]
    variance = sum(parts)
    df = variance**2 / (parts[0] ** 2 / (a[2] - 1) + parts[1] ** 2 / (b[2] - 1))
    return _test(b[0] - a[0], math.sqrt(variance), df)


def pooled_t(baseline: Sequence[float], changed: Sequence[float]) -> PlainTest:
    """Return Student's test of changed minus baseline with one variance for both.

    Raises
    ------
    SignalError
        If a setup has fewer than two runs.
    """
    a, b = _moments(baseline), _moments(changed)
    df = a[2] + b[2] - 2
    variance = ((a[2] - 1) * a[1] + (b[2] - 1) * b[1]) / df
    return _test(b[0] - a[0], math.sqrt(variance * (1 / a[2] + 1 / b[2])), df)


def _moments(values: Sequence[float]) -> tuple[float, float, int]:
    if len(values) < 2:
        raise SignalError("a test needs two runs of each setup", advice="make one more")
    return float(np.mean(values)), float(np.var(values, ddof=1)), len(values)


def _test(difference: float, stderr: float, df: float) -> PlainTest:
    half = t_quantile(0.975, df) * stderr
    return PlainTest(
        difference=difference,
        t=difference / stderr,
        df=df,
        p_value=t_two_sided(difference / stderr, df),
        low95=difference - half,
        high95=difference + half,
    )


def permutation_count(baseline: Sequence[float], changed: Sequence[float]) -> tuple[int, int]:
    """Return how many divisions of the runs differ at least as much in their means, and how many there are.

    Exact and two-sided: the size of the difference is counted, in whole numbers (doubling one tail, as some libraries
    do, can give another count).

    Raises
    ------
    SignalError
        If there are more than `MOST_PERMUTED` runs.
    """
    values = np.array([round(value * _PER_UNIT) for value in (*baseline, *changed)], dtype=np.int64)
    if values.size > MOST_PERMUTED:
        raise SignalError(f"{values.size} runs are too many to divide in every way", advice="use the t test")
    sums = np.zeros(1, dtype=np.int64)
    sizes = np.zeros(1, dtype=np.int64)
    for value in values:
        sums, sizes = np.concatenate([sums, sums + value]), np.concatenate([sizes, sizes + 1])
    n, m = len(baseline), len(changed)
    chosen = sums[sizes == n]
    # mean difference times n m: n (total - s) - m s
    spread = np.abs(n * (int(values.sum()) - chosen) - m * chosen)
    own = abs(n * int(values[n:].sum()) - m * int(values[:n].sum()))
    return int((spread >= own).sum()), int(chosen.size)


def least_permutation_p(n: int, m: int) -> Fraction:
    """Return the smallest two-sided p that a permutation test of n against m runs can be sure to reach.

    The most extreme division and its mirror image: with 3 runs each 1/10, so that no permutation test can ever show
    anything at 5 % with fewer than 4 runs each.
    """
    return Fraction(2, math.comb(n + m, n))
