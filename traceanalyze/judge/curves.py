"""Curves of two setups' launches -> the difference over the speed range, with bands that hold at once.

Two answers, each right as a whole 95 times in 100: a table of neighbouring ranges of speed with the total
(Bonferroni), and a band around the whole curve (Kac-Rice; see `distributions.curve_quantile`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from traceanalyze import settings
from traceanalyze.comparison import BandResult, CurveComparison, Run, Verdict
from traceanalyze.judge.bands import Wording, band_sentence
from traceanalyze.judge.distributions import curve_quantile
from traceanalyze.judge.model import Fit, Layout, fit, layout
from traceanalyze.judge.scatter import OwnScatter, working_scatter
from traceanalyze.results import Curve
from traceanalyze.trace import FloatArray, Remark
from traceanalyze.units import System
from traceanalyze.vehicle.engine import NO_ENGINE, EngineSpeeds

#: Ranges of speed in the table.
BANDS = 3
#: Fewest residual degrees of freedom for a band around the whole curve; below, its length cannot be estimated.
_LEAST_CURVE_DF = 3
#: A launch whose curve is hidden by gaps at more than this share of the speeds is left out.
_HIDDEN_SHARE = 0.1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bundle:
    """Curves on one grid of speeds, laid out for comparison.

    `time_s` and the others have one row a run, one column a speed; the speeds all lie above the start mark.
    """

    runs: tuple[Run, ...]
    plan: Layout
    speed_mps: FloatArray
    time_s: FloatArray
    time_stderr_s: FloatArray
    accel_mps2: FloatArray
    accel_stderr_mps2: FloatArray

    def enough(self) -> bool:
        """Whether there are two runs of each setup and some speeds."""
        changed = int(self.plan.changed.sum())
        return min(changed, len(self.runs) - changed) >= 2 and self.speed_mps.size >= 2


def compare_curves(
    pairs: Sequence[tuple[Run, Curve]],
    *,
    baseline: str,
    top_mps: float,
    smallest_s: float = settings.SMALLEST_TIME_S,
    own_share: OwnScatter | None = None,
    system: System = "imperial",
    engine: EngineSpeeds = NO_ENGINE,
) -> CurveComparison | None:
    """Return the comparison over speed; None with fewer than two usable launches of a setup.

    Parameters
    ----------
    pairs : sequence of (Run, Curve)
        Launches of exactly two setups; the values of the runs are not looked at.
    top_mps : float
        Where the table of ranges ends [m/s]; NaN for the highest speed all reached.
    own_share : OwnScatter, optional
        The rider's own scatter as a share of the time.
    system, engine
        Units, and engine speeds where both setups share a gearing, that the sentence is written with.
    """
    bundle, remarks = bundled(pairs, baseline)
    if not bundle.enough():
        return None
    if not bundle.plan.separable:
        return replace(
            _means_only(bundle),
            sentence="Over the speed range nothing can be told: the setup cannot be told from direction or day.",
            remarks=remarks,
        )
    edges = band_edges(bundle, top_mps)
    bands = tuple(_band(bundle, edges[i], edges[i + 1], smallest_s, own_share) for i in range(len(edges) - 1))
    total = _band(bundle, edges[0], edges[-1], smallest_s, own_share)
    return replace(
        _with_curves(bundle, own_share),
        bands=bands,
        total=total,
        sentence=band_sentence(bands, total, smallest_s, Wording(system, engine)),
        model=f"{len(bundle.runs)} launches; bands hold jointly",
        remarks=remarks,
    )


def bundled(pairs: Sequence[tuple[Run, Curve]], baseline: str) -> tuple[Bundle, tuple[Remark, ...]]:
    """Return the curves over the speeds that all of them reached, and remarks on those left out."""
    ordered = sorted(pairs, key=lambda pair: (pair[0].block, pair[0].order))
    low, high = _common_range([curve for _, curve in ordered])
    kept = [(run, curve) for run, curve in ordered if _hidden(curve, low, high) <= _HIDDEN_SHARE]
    left = len(ordered) - len(kept)
    text = f"{left} launch{'es' if left > 1 else ''} with gaps left out over the speed range"
    remarks = (Remark("curve-left-out", text),) if left else ()

    def rows(name: str) -> FloatArray:
        values = [getattr(curve, name)[low:high] for _, curve in kept]
        return np.array(values).reshape(len(kept), high - low)

    columns = {name: rows(name) for name in ("time_s", "time_stderr_s", "accel_mps2", "accel_stderr_mps2")}
    seen = np.all([np.isfinite(values).all(axis=0) for values in columns.values()], axis=0)
    speed = kept[0][1].speed_mps[low:high][seen] if kept else np.empty(0)
    runs = tuple(run for run, _ in kept)
    bundle = Bundle(
        runs=runs,
        plan=layout(runs, baseline),
        speed_mps=speed,
        **{name: values[:, seen] for name, values in columns.items()},
    )
    return bundle, remarks


def _common_range(curves: Sequence[Curve]) -> tuple[int, int]:
    """First and one past the last index of the speeds that every launch passed after its start mark."""
    high = min((curve.speed_mps.size for curve in curves), default=0)
    low = 0
    for curve in curves:
        early = np.flatnonzero(curve.time_s[:high] <= 0.0)
        low = max(low, int(early[-1]) + 1 if early.size else 0)
    return low, max(low, high)


def _hidden(curve: Curve, low: int, high: int) -> float:
    part = curve.time_s[low:high]
    return float(np.mean(~np.isfinite(part))) if part.size else 1.0


def _fitted(bundle: Bundle, values: FloatArray, stderrs: FloatArray, own_share: OwnScatter | None) -> Fit:
    """Fit one quantity of all runs; its usual scatter and drift are shares of its size."""
    size = max(float(np.abs(values).mean()), 1e-6)
    own = OwnScatter(sd=own_share.sd * size, df=own_share.df) if own_share else None
    start = working_scatter(size, settings.GENERIC_TIME_SCATTER, own)
    return fit(values, stderrs, bundle.plan, start, settings.DRIFT_TIME_PER_RUN * size)


def _doubt(plan: Layout) -> float:
    return settings.DRIFT_DOUBT if plan.order_r2 > settings.ORDER_CONFOUNDED_R2 else 1.0


def band_edges(bundle: Bundle, top_mps: float) -> list[float]:
    """Return the speeds between which the table compares [m/s]: thirds of the range from rest."""
    highest = float(bundle.speed_mps[-1])
    top = top_mps if math.isfinite(top_mps) and top_mps <= highest + settings.CURVE_STEP_MPS else highest
    edges = [top * i / BANDS for i in range(BANDS + 1)]
    return [0.0, *(edge for edge in edges[1:] if edge > bundle.speed_mps[0])]


def _band(
    bundle: Bundle, from_mps: float, to_mps: float, smallest_s: float, own_share: OwnScatter | None
) -> BandResult:
    begin, begin_u = _at(bundle, from_mps)
    end, end_u = _at(bundle, to_mps)
    found = _fitted(bundle, end - begin, np.hypot(begin_u, end_u), own_share)
    chance = 1.0 - settings.CLAIM_LEVEL / (BANDS + 1)
    low, high = found.interval(chance)
    sure_low, sure_high = found.interval(chance, _doubt(bundle.plan))
    verdict: Verdict = "cannot tell yet"
    if low > 0.0 or high < 0.0:
        verdict = "better" if high < 0.0 else "worse"
        if sure_low <= 0.0 <= sure_high:
            verdict = "confounded"
    elif max(-low, high) < smallest_s and _doubt(bundle.plan) == 1.0:
        verdict = "no meaningful difference"
    return BandResult(
        from_mps=from_mps,
        to_mps=to_mps,
        difference_s=found.difference,
        low95_s=low,
        high95_s=high,
        verdict=verdict,
    )


def _at(bundle: Bundle, speed_mps: float) -> tuple[FloatArray, FloatArray]:
    """Time and its uncertainty of every run at a speed [s]; the start mark itself at 0."""
    if speed_mps == 0.0:
        return np.zeros(len(bundle.runs)), np.zeros(len(bundle.runs))
    grid = bundle.speed_mps
    time = [np.interp(speed_mps, grid, row) + _beyond(speed_mps, grid, row) for row in bundle.time_s]
    return np.array(time), np.array([np.interp(speed_mps, grid, row) for row in bundle.time_stderr_s])


def _beyond(speed_mps: float, grid: FloatArray, time_s: FloatArray) -> float:
    """What continuing the last step adds for a speed less than one step past the grid."""
    past = speed_mps - grid[-1]
    return float((time_s[-1] - time_s[-2]) / (grid[-1] - grid[-2]) * past) if past > 0.0 else 0.0


def _with_curves(bundle: Bundle, own_share: OwnScatter | None) -> CurveComparison:
    time = _curve(bundle, bundle.time_s, bundle.time_stderr_s, own_share, decay_less=0.0)
    accel = _curve(bundle, bundle.accel_mps2, bundle.accel_stderr_mps2, None, decay_less=1.0)
    return CurveComparison(
        speed_mps=bundle.speed_mps,
        baseline_time_s=time[0],
        changed_time_s=time[0] + time[1],
        time_difference_s=time[1],
        time_low95_s=time[1] - time[2],
        time_high95_s=time[1] + time[2],
        baseline_accel_mps2=accel[0],
        changed_accel_mps2=accel[0] + accel[1],
        accel_difference_mps2=accel[1],
        accel_low95_mps2=accel[1] - accel[2],
        accel_high95_mps2=accel[1] + accel[2],
    )


def _means_only(bundle: Bundle) -> CurveComparison:
    """Plain means of both setups where nothing can be fitted; no band."""
    changed = bundle.plan.changed == 1.0
    none = np.full(bundle.speed_mps.size, np.nan)
    times = [bundle.time_s[mine].mean(axis=0) for mine in (~changed, changed)]
    accels = [bundle.accel_mps2[mine].mean(axis=0) for mine in (~changed, changed)]
    return CurveComparison(
        speed_mps=bundle.speed_mps,
        baseline_time_s=times[0],
        changed_time_s=times[1],
        time_difference_s=times[1] - times[0],
        time_low95_s=none,
        time_high95_s=none,
        baseline_accel_mps2=accels[0],
        changed_accel_mps2=accels[1],
        accel_difference_mps2=accels[1] - accels[0],
        accel_low95_mps2=none,
        accel_high95_mps2=none,
    )


def _curve(
    bundle: Bundle, values: FloatArray, stderrs: FloatArray, own_share: OwnScatter | None, *, decay_less: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the baseline's fitted mean, the difference, and half the width of the band around it.

    Times lie apart mostly as a whole, accelerations wiggle on their own: `decay_less` is 0 for the first, 1 for the
    second (see `curve_quantile`).
    """
    fits = [_fitted(bundle, v, u, own_share) for v, u in zip(values.T, stderrs.T, strict=True)]
    difference = np.array([one.difference for one in fits])
    baseline = values.mean(axis=0) - difference * bundle.plan.changed.mean()
    if bundle.plan.residual_df < _LEAST_CURVE_DF:
        return baseline, difference, np.full_like(difference, np.nan)
    stderr = np.array([one.total(_doubt(bundle.plan))[0] for one in fits])
    df = min(one.scatter_df for one in fits)
    length = arc_length(np.array([one.scaled_residuals for one in fits]))
    return baseline, difference, curve_quantile(length, df, decay_df=df - decay_less) * stderr


def arc_length(residuals: FloatArray) -> float:
    """Return the length of the path that the residuals, scaled to length 1 at every speed, draw on the sphere.

    `residuals` has one row a speed, one column a run. For independent Gaussian residual curves the expected length is
    that of the standardised error curve itself, whatever the degrees of freedom from 2 (the mean of chi_{n-1} / chi_n
    between the derivative across and the length is 1).
    """
    length = np.linalg.norm(residuals, axis=1, keepdims=True)
    unit = residuals / np.maximum(length, 1e-300)
    chords = np.linalg.norm(np.diff(unit, axis=0), axis=1)
    return float(2.0 * np.arcsin(np.minimum(chords / 2.0, 1.0)).sum())
