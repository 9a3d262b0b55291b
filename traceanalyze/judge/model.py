"""Runs -> the difference between two setups, by weighted least squares with direction, day and drift.

    value_i = mean of the day + difference * changed_i + direction_i + slope * (order_i - mean) + error_i

Weighted least squares and its covariance: Seber & Lee, Linear Regression Analysis, 2nd ed. (2003), 3.10.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from traceanalyze import settings
from traceanalyze.comparison import Run
from traceanalyze.judge.distributions import t_quantile, t_two_sided
from traceanalyze.judge.scatter import WorkingScatter
from traceanalyze.trace import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layout:
    """Which run was which: what can be told apart by these runs, before any value is looked at.

    Attributes
    ----------
    changed : (n,) float
        1 for the changed setup, 0 for the baseline.
    order : (n,) float
        Place in the day minus the mean of its day.
    days : (n, k) float
        One column a day, 1 where the run belongs to it.
    directions : (n, j) float
        Columns that tell the directions apart; none when all runs went the same way.
    direction_names : tuple of str
        Labels met, in order of first use.
    day_r2, direction_r2, order_r2 : float
        Squared (multiple) correlation of the setup with the day; with day and direction; with the order.
    fits_drift : bool
    """

    changed: FloatArray
    order: FloatArray
    days: FloatArray
    directions: FloatArray
    direction_names: tuple[str, ...]
    day_r2: float
    direction_r2: float
    order_r2: float
    fits_drift: bool

    @property
    def columns(self) -> FloatArray:
        """The design matrix; the difference is its first column."""
        drift = [self.order] if self.fits_drift else []
        return np.column_stack([self.changed, self.days, self.directions, *drift])

    @property
    def parameters(self) -> int:
        """Number of terms fitted."""
        return int(1 + self.days.shape[1] + self.directions.shape[1] + int(self.fits_drift))

    @property
    def residual_df(self) -> int:
        """Runs minus terms."""
        return self.changed.size - self.parameters

    @property
    def fits_direction(self) -> bool:
        """Whether direction is a term."""
        return bool(self.directions.shape[1] > 0)

    @property
    def separable(self) -> bool:
        """Whether the setup can be told from direction and day."""
        return self.direction_r2 <= settings.CONFOUNDED_R2


def layout(runs: Sequence[Run], baseline: str) -> Layout:
    """Return what these runs, all of two setups, can tell apart."""
    changed = np.array([0.0 if run.setup == baseline else 1.0 for run in runs])
    days = _indicator([run.block for run in runs])
    names = tuple(dict.fromkeys(run.direction for run in runs))
    known = directions_known(runs)
    directions = _indicator([run.direction for run in runs])[:, 1:] if known else np.empty((len(runs), 0))
    directions = _independent(days, directions)
    order = np.array([run.order for run in runs], dtype=np.float64)
    order = order - days @ (days.T @ order / days.sum(axis=0))
    direction_r2 = _r2(changed, np.column_stack([days, directions]))
    order_r2 = _correlation2(changed - days @ (days.T @ changed / days.sum(axis=0)), order)
    spare = len(runs) - 2 - days.shape[1] - directions.shape[1]
    fits_drift = (
        order_r2 <= settings.FIT_DRIFT_R2 + 1e-9
        and spare >= settings.LEAST_DF
        and _tells_apart(changed, np.column_stack([days, directions]), order)
    )
    return Layout(
        changed=changed,
        order=order,
        days=days,
        directions=directions,
        direction_names=names if known else (),
        day_r2=_r2(changed, days),
        direction_r2=direction_r2,
        order_r2=order_r2,
        fits_drift=fits_drift,
    )


def directions_known(runs: Sequence[Run]) -> bool:
    """Whether direction can be looked at: each setup has a run whose way is known (others count as one more way)."""
    return {run.setup for run in runs if run.direction} == {run.setup for run in runs}


def _indicator(labels: Sequence[str]) -> FloatArray:
    names = list(dict.fromkeys(labels))
    table = [float(label == name) for label in labels for name in names]
    return np.array(table, dtype=np.float64).reshape(len(labels), len(names))


def _independent(fixed: FloatArray, more: FloatArray) -> FloatArray:
    """Return those columns of `more` that `fixed` and the columns before do not already say."""
    kept = fixed
    for column in more.T:
        if np.linalg.matrix_rank(np.column_stack([kept, column])) > np.linalg.matrix_rank(kept):
            kept = np.column_stack([kept, column])
    return kept[:, fixed.shape[1] :]


def _tells_apart(changed: FloatArray, fixed: FloatArray, order: FloatArray) -> bool:
    """Whether drift, setup and the fixed terms are all distinct enough to be fitted together."""
    both = np.column_stack([fixed, order])
    return _r2(order, fixed) <= settings.CONFOUNDED_R2 and _r2(changed, both) <= settings.CONFOUNDED_R2


def _r2(target: FloatArray, columns: FloatArray) -> float:
    total = float(((target - target.mean()) ** 2).sum()) if target.size else 0.0
    if total == 0.0:
        return 1.0
    fitted = columns @ np.linalg.lstsq(columns, target, rcond=None)[0]
    return 1.0 - float(((target - fitted) ** 2).sum()) / total


def _correlation2(a: FloatArray, b: FloatArray) -> float:
    size = float((a @ a) * (b @ b))
    return float(a @ b) ** 2 / size if size > 1e-12 else 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fit:
    """The difference and its standard error, drift that could not be fitted kept apart.

    Attributes
    ----------
    difference : float
    stderr : float
        Without any allowance for drift.
    df : float
    lever : float
        Shift of the difference per unit of slope: what a drift that was not fitted does; 0 when it was.
    drift_per_run : float
        Standard deviation of the slope to be allowed for.
    scatter, scatter_df : float
        Run-to-run standard deviation found, pooled with what it was started from.
    residuals, scaled_residuals : (n,) float
        In the unit of the values, and times the square root of the weights.
    coefficients : (p,) float
        In the order of `Layout.columns`.
    """

    difference: float
    stderr: float
    df: float
    lever: float
    drift_per_run: float
    scatter: float
    scatter_df: float
    residuals: FloatArray
    scaled_residuals: FloatArray
    coefficients: FloatArray

    def total(self, doubt: float = 1.0) -> tuple[float, float]:
        """Return standard error and degrees of freedom with `doubt` times the usual drift allowed for.

        se_tot^2 = se^2 + (lever tau)^2; df_tot = df (se_tot^2 / se^2)^2, the allowance being known without error
        (Welch-Satterthwaite: JCGM 100:2008, G.4.1).
        """
        if self.stderr == 0.0:
            return 0.0, self.df
        total2 = self.stderr**2 + (self.lever * doubt * self.drift_per_run) ** 2
        return math.sqrt(total2), self.df * (total2 / self.stderr**2) ** 2

    def interval(self, chance: float = 0.95, doubt: float = 1.0) -> tuple[float, float]:
        """Return the ends of the interval that holds the true difference with this chance."""
        stderr, df = self.total(doubt)
        half = t_quantile(0.5 + chance / 2.0, df) * stderr
        return self.difference - half, self.difference + half

    def p_value(self, doubt: float = 1.0) -> float:
        """Return the two-sided p-value of no difference."""
        stderr, df = self.total(doubt)
        if stderr == 0.0:
            return 1.0 if self.difference == 0.0 else 0.0
        return t_two_sided(self.difference / stderr, df)


def fit(values: FloatArray, stderrs: FloatArray, plan: Layout, scatter: WorkingScatter, drift_per_run: float) -> Fit:
    """Return the fitted difference of one quantity.

    Parameters
    ----------
    values, stderrs : (n,) float
        The quantity of each run and its own standard uncertainty.
    plan : Layout
        Must be separable.
    scatter : WorkingScatter
        Gives the weights 1 / (sd^2 + stderr^2); its prior degrees of freedom steady the residual variance. The
        scatter already holds the runs' own uncertainties: they are never added again, only kept as a floor.
    drift_per_run : float
        Same unit as the values.
    """
    columns = plan.columns
    weights = 1.0 / (scatter.sd**2 + stderrs**2)
    covariance = np.linalg.inv(columns.T @ (weights[:, None] * columns))
    solver = covariance @ (columns.T * weights)
    coefficients = solver @ values
    residuals = values - columns @ coefficients
    prior_df = scatter.prior_df(plan.residual_df)
    squares = float(weights @ residuals**2)
    if squares < 1e-18 and prior_df == 0.0:  # runs that repeat exactly are rounding, not skill
        prior_df = settings.GENERIC_DF
    known_df = prior_df + plan.residual_df
    q = (prior_df + squares) / known_df
    found2, own2 = q * float(covariance[0, 0]), float(solver[0] ** 2 @ stderrs**2)
    # A floor that is known needs no estimating: where it holds, the degrees of freedom grow as for any known part. In
    # simulated days with loggers of 0.02 to 0.10 s this brings false claims from 0.3-3.8 to 1.9-5.3 % (nominal 5).
    df = known_df * max(1.0, own2 / found2) ** 2 if found2 > 0.0 else math.inf
    lever2 = 0.0 if plan.fits_drift else sum(float(solver[0] @ (plan.order * day)) ** 2 for day in plan.days.T)
    return Fit(
        difference=float(coefficients[0]),
        stderr=math.sqrt(max(found2, own2)),
        df=df,
        lever=math.sqrt(lever2),
        drift_per_run=drift_per_run,
        scatter=math.sqrt(q / float(weights.mean())),
        scatter_df=known_df,
        residuals=residuals,
        scaled_residuals=np.sqrt(weights) * residuals,
        coefficients=coefficients,
    )
