"""The clock of a log: how often it samples, how evenly, where it has gaps, and its continuous runs."""

from __future__ import annotations

from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from traceanalyze.errors import SignalError
from traceanalyze.trace import FloatArray

#: A step of more than this many nominal periods is a gap: two samples lost, and room for jitter.
GAP_PERIODS: Final = 2.5
#: How many steps on each side of a long one are looked at, to tell a gap from a slower rate.
_NEIGHBOURS: Final = 8


class Timebase(NamedTuple):
    """The clock of a log.

    Attributes
    ----------
    period_s : float
        Nominal time between samples [s]; NaN for fewer than two samples of one stretch.
    jitter_s : float
        Standard deviation of the steps that are no gaps [s].
    runs : (k, 2) int
        Continuous runs of samples, `start` to `stop` (exclusive); a new stretch or a gap begins a new run.
    gap_s : (k - 1,) float
        Time between neighbouring runs [s].
    """

    period_s: float
    jitter_s: float
    runs: NDArray[np.int64]
    gap_s: FloatArray

    @property
    def rate_hz(self) -> float:
        """Samples a second; NaN when unknown."""
        return 1.0 / self.period_s


def timebase(t_s: FloatArray, stretch: NDArray[Any]) -> Timebase:
    """Return the clock of increasing times [s]; steps from one stretch to the next belong to no period.

    Raises
    ------
    SignalError
        If shapes differ or times do not increase.
    """
    t_s, stretch = np.asarray(t_s, float), np.asarray(stretch)
    if t_s.shape != stretch.shape or t_s.ndim != 1:
        raise SignalError(f"{t_s.size} times and {stretch.size} stretch numbers differ")
    steps = np.diff(t_s)
    if (steps <= 0).any():
        raise SignalError("times do not increase")
    period_s = nominal_period_s(t_s, stretch)
    broken = breaks(t_s, stretch)
    even = steps[~broken]
    edges = np.concatenate(([0], np.flatnonzero(broken) + 1, [t_s.size]))
    runs = np.column_stack((edges[:-1], edges[1:])) if t_s.size else np.empty((0, 2), np.int64)
    return Timebase(period_s, float(even.std()) if even.size > 1 else 0.0, runs, steps[broken])


def at_rows(rows: NDArray[np.intp], *columns: NDArray[Any]) -> tuple[NDArray[Any], ...]:
    """Return columns at different, rising rows; where these are all, the columns themselves, which is cheaper."""
    return columns if rows.size == columns[0].size else tuple(column[rows] for column in columns)


def nominal_period_s(t_s: FloatArray, stretch: NDArray[Any]) -> float:
    """Return the usual time between samples of one stretch [s]; NaN when no stretch has two.

    The mean of the steps near the median: the median withstands gaps and stray stamps, the mean undoes the rounding
    of stamps (18 Hz stamped in hundredths has steps of 0.05 and 0.06 s).
    """
    steps = np.diff(t_s)
    one_stretch = stretch[1:] == stretch[:-1]
    steps = steps if one_stretch.all() else steps[one_stretch]
    if not steps.size:
        return float("nan")
    middle = np.sort(steps)[(steps.size - 1) // 2]  # one of the steps, never between two
    usual = np.abs(steps - middle) <= 0.5 * middle
    return float((steps if usual.all() else steps[usual]).mean())


def breaks(t_s: FloatArray, stretch: NDArray[Any]) -> NDArray[np.bool_]:
    """Mark the steps (n - 1,) over which samples are not continuous: a new stretch, or a gap.

    A step is a gap when it is longer than `GAP_PERIODS` nominal periods and than as many of the usual steps on
    either side, so that a log that changes its rate is not torn to single samples.
    """
    steps = np.diff(t_s)
    other = stretch[1:] != stretch[:-1]
    period_s = nominal_period_s(t_s, stretch)
    if not np.isfinite(period_s):
        return np.asarray(other)
    long = np.flatnonzero((steps > GAP_PERIODS * period_s) & ~other)
    local_s = np.maximum(_usual_step_s(steps, long, -1), _usual_step_s(steps, long, 1))
    gap = other.copy()
    gap[long[steps[long] > GAP_PERIODS * local_s]] = True
    return np.asarray(gap)


def _usual_step_s(steps: FloatArray, at: NDArray[np.int64], side: int) -> FloatArray:
    """Median of the steps on one side of each place [s]; 0 where there are too few to tell."""
    index = at[:, None] + side * np.arange(1, _NEIGHBOURS + 1)
    inside = (index >= 0) & (index < steps.size)
    near = np.sort(np.where(inside, steps[np.clip(index, 0, max(steps.size - 1, 0))], np.inf), axis=1)
    middle = near[:, _NEIGHBOURS // 2] if at.size else np.empty(0)
    return np.where(np.isfinite(middle), middle, 0.0)
