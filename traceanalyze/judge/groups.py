"""The launches of one setup -> its mean curve with the band the mean lies in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from traceanalyze.judge.distributions import t_quantile
from traceanalyze.results import Curve, Launch
from traceanalyze.trace import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SetupCurves:
    """One setup's launches and their mean, over the speeds that all of them reached.

    Attributes
    ----------
    name : str
    runs : tuple of Curve
    speed_mps : (m,) float
        Grid of speeds [m/s].
    time_s, time_low_s, time_high_s : (m,) float
        Mean time since the start mark and the 95 % band of that mean at each speed [s]; the band is NaN for one run.
    accel_mps2, accel_low_mps2, accel_high_mps2 : (m,) float
        The same for acceleration [m/s^2].
    """

    name: str
    runs: tuple[Curve, ...]
    speed_mps: FloatArray
    time_s: FloatArray
    time_low_s: FloatArray
    time_high_s: FloatArray
    accel_mps2: FloatArray
    accel_low_mps2: FloatArray
    accel_high_mps2: FloatArray


def setup_curves(name: str, runs: Sequence[Curve]) -> SetupCurves:
    """Return the mean of a setup's curves; an empty grid when there is no run."""
    m = min((run.speed_mps.size for run in runs), default=0)
    time, time_low, time_high = _mean_and_band(
        [run.time_s[:m] for run in runs], [run.time_stderr_s[:m] for run in runs]
    )
    accel, low, high = _mean_and_band([run.accel_mps2[:m] for run in runs], [run.accel_stderr_mps2[:m] for run in runs])
    return SetupCurves(
        name=name,
        runs=tuple(runs),
        speed_mps=runs[0].speed_mps[:m] if runs else np.empty(0),
        time_s=time,
        time_low_s=time_low,
        time_high_s=time_high,
        accel_mps2=accel,
        accel_low_mps2=low,
        accel_high_mps2=high,
    )


def _mean_and_band(rows: list[FloatArray], errors: list[FloatArray]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean over runs and the Student band of that mean, never narrower than the runs' own uncertainties allow."""
    if not rows:
        return np.empty(0), np.empty(0), np.empty(0)
    values = np.array(rows)
    n = values.shape[0]
    mean = values.mean(axis=0)
    if n < 2:
        return mean, np.full_like(mean, np.nan), np.full_like(mean, np.nan)
    scatter = values.std(axis=0, ddof=1) / np.sqrt(n)
    own = np.sqrt((np.array(errors) ** 2).sum(axis=0)) / n
    half = np.maximum(t_quantile(0.975, n - 1) * scatter, 1.96 * own)
    return mean, mean - half, mean + half


def launch_curves(launches: Sequence[Launch]) -> list[Curve]:
    """Return the curves of the launches that have one."""
    return [launch.curve for launch in launches if launch.curve is not None and np.isfinite(launch.curve.time_s).any()]
