"""Times, distances and the curve of speeds, read off paths jointly: each draw gives one answer, all give the spread."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

import numpy as np

from traceanalyze.estimate.crossings import (
    accel_at_mps2,
    distance_at_m,
    first_time_s,
    first_times_s,
    time_at_distance_s,
)
from traceanalyze.estimate.paths import Paths
from traceanalyze.results import Curve, Estimate, TimeResult, speed_grid_mps
from traceanalyze.settings import CURVE_STEP_MPS, ROLLOUT_M, THRESHOLD_MPS
from traceanalyze.trace import FloatArray
from traceanalyze.units import START_RULES, Measure

#: A time is given when at least this share of the draws have one.
_SHARE_REACHED: Final = 0.5
#: Take-ups have more shapes than the few that are tried: what that adds to the onset [s], from simulated launches
#: with others. It cancels in the rollout mark.
ONSET_SHAPE_SD_S: Final = 0.03


def estimate(draws: FloatArray, beside: float = 0.0) -> Estimate:
    """Return mean and standard deviation of draws, with the normal 95 % interval; NaN draws are left out.

    `beside` is a standard deviation that the draws do not hold and that is added to theirs. Quantiles of the draws,
    or an interval bent by their skewness, cover less (91 % for 1 Hz logs in the accuracy benchmark): the tails of a
    posterior are its least trustworthy part.
    """
    known = draws[np.isfinite(draws)]
    if not known.size:
        return Estimate(float("nan"), float("nan"))
    return Estimate(float(known.mean()), math.hypot(float(known.std()), beside))


def start_marks_s(paths: Paths) -> Mapping[str, FloatArray]:
    """Return when the clock of each start rule starts, for each draw [s]."""
    return {
        "rollout": time_at_distance_s(paths, ROLLOUT_M),
        "rest": paths.onset_s,
        "threshold": first_time_s(paths, THRESHOLD_MPS),
    }


def reached(draws: FloatArray) -> bool:
    """Return whether enough draws have a time."""
    return bool(np.mean(np.isfinite(draws)) >= _SHARE_REACHED)


def end_marks_s(paths: Paths, measure: Measure) -> FloatArray:
    """Return when each draw comes to the end of a measure of a climb [s]; NaN where it never does."""
    if measure.kind == "distance":
        return time_at_distance_s(paths, measure.distance_m)
    return first_time_s(paths, measure.to_mps)


def standing_times(
    paths: Paths, marks: Mapping[str, FloatArray], end_s: FloatArray, measure: Measure
) -> tuple[TimeResult, ...]:
    """Return a measure from rest under every start rule; the rule moves the clock's start, never the target.

    `end_s` are its end marks in the draws.
    """
    way = distance_at_m(paths, end_s)
    return tuple(
        TimeResult(
            measure=measure.label,
            start_rule=rule,
            elapsed=estimate(end_s - marks[rule], ONSET_SHAPE_SD_S if rule == "rest" else 0.0),
            distance_m=float(np.nanmean(way - distance_at_m(paths, marks[rule]))),
        )
        for rule in START_RULES
    )


def rolling_time(paths: Paths, measure: Measure) -> TimeResult | None:
    """Return a measure between two rising speeds; None when the climb does not cover both."""
    start_s, end_s = first_time_s(paths, measure.from_mps), first_time_s(paths, measure.to_mps)
    elapsed = end_s - start_s
    if not reached(elapsed):
        return None
    length = np.nanmean(distance_at_m(paths, end_s) - distance_at_m(paths, start_s))
    return TimeResult(measure=measure.label, start_rule=None, elapsed=estimate(elapsed), distance_m=float(length))


def curve(paths: Paths, rollout_s: FloatArray) -> Curve:
    """Return the climb on the common grid of speeds, up to the highest that enough draws reach."""
    top = float(np.quantile(paths.speed_mps.max(axis=1), 1 - _SHARE_REACHED))
    levels = speed_grid_mps(CURVE_STEP_MPS, top)
    times = np.concatenate((paths.onset_s[:, None], first_times_s(paths, levels[1:])), axis=1)
    accel, way = accel_at_mps2(paths, times), distance_at_m(paths, times)
    since = times - rollout_s[:, None]
    return Curve(
        speed_mps=levels,
        time_s=np.nanmean(since, axis=0),
        time_stderr_s=np.nanstd(since, axis=0),
        accel_mps2=np.nanmean(accel, axis=0),
        accel_stderr_mps2=np.nanstd(accel, axis=0),
        distance_m=np.nanmean(way, axis=0),
    )
