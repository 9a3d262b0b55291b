"""Times, distances and the curve of speeds, read off paths jointly: each draw gives one answer, all give the spread."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

import numpy as np

from traceanalyze.estimate.crossings import Passage, at_distance, at_speed, at_speeds
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
    known = draws[np.isfinite(draws)] if math.isnan(np.add.reduce(draws)) else draws
    if not known.size:
        return Estimate(float("nan"), float("nan"))
    mean = float(np.add.reduce(known)) / known.size
    apart = known - mean
    return Estimate(mean, math.hypot(math.sqrt(float(apart @ apart) / known.size), beside))


def start_marks(paths: Paths) -> Mapping[str, Passage]:
    """Return where the clock of each start rule starts in each draw."""
    none = np.zeros(paths.onset_s.shape)
    return {
        "rollout": at_distance(paths, ROLLOUT_M),
        "rest": Passage(paths.onset_s, none, none),
        "threshold": at_speed(paths, THRESHOLD_MPS),
    }


def end_mark(paths: Paths, measure: Measure) -> Passage:
    """Return where each draw comes to the end of a measure of a climb."""
    if measure.kind == "distance":
        return at_distance(paths, measure.distance_m)
    return at_speed(paths, measure.to_mps)


def reached(draws: FloatArray) -> bool:
    """Return whether enough draws have a time."""
    return bool(np.mean(np.isfinite(draws)) >= _SHARE_REACHED)


def standing_times(
    marks: Mapping[str, Passage], end: Passage, measure: Measure, onset_sd_s: float
) -> tuple[TimeResult, ...]:
    """Return a measure from rest under every start rule; the rule moves the clock's start, never the target.

    `onset_sd_s` is what take-ups of other shapes add to the time from rest.
    """
    return tuple(
        time_between(marks[rule], end, measure, rule, onset_sd_s if rule == "rest" else 0.0) for rule in START_RULES
    )


def rolling_time(start: Passage, end: Passage, measure: Measure) -> TimeResult | None:
    """Return a measure between two rising speeds; None when the climb does not cover both."""
    return time_between(start, end, measure, None) if reached(end.time_s - start.time_s) else None


def time_between(start: Passage, end: Passage, measure: Measure, rule: str | None, beside: float = 0.0) -> TimeResult:
    """Return a measure between two passages; `beside` [s] is a standard deviation that the draws do not hold."""
    length = estimate(end.distance_m - start.distance_m)
    elapsed = estimate(end.time_s - start.time_s, beside)
    return TimeResult(measure=measure.label, start_rule=rule, elapsed=elapsed, distance_m=length.value)


def curve(paths: Paths, rollout: Passage) -> Curve:
    """Return the climb of one launch on the common grid of speeds; see `curves`."""
    one = Paths(*(getattr(paths, name)[None] for name in Paths._fields))
    return curves(one, Passage(rollout.time_s[None], rollout.distance_m[None], rollout.accel_mps2[None]))[0]


def curves(paths: Paths, rollout: Passage) -> list[Curve]:
    """Return the climb of each launch on the common grid of speeds, up to the highest that enough draws reach."""
    highest = np.sort(paths.speed_mps.max(axis=-1), axis=-1)
    tops_mps = highest[:, math.floor((1 - _SHARE_REACHED) * (highest.shape[-1] - 1))]
    levels = speed_grid_mps(CURVE_STEP_MPS, float(tops_mps.max()))
    at = at_speeds(paths, levels[1:])
    since_s = np.concatenate((paths.onset_s[..., None], at.time_s), axis=-1) - rollout.time_s[..., None]
    time_s, time_stderr_s = _moments(since_s)
    accel_mps2, accel_stderr_mps2 = _moments(_from_none(at.accel_mps2))
    distance_m, _ = _moments(_from_none(at.distance_m))
    sizes = [speed_grid_mps(CURVE_STEP_MPS, top).size for top in tops_mps.tolist()]
    return [
        Curve(
            speed_mps=levels[:n],
            time_s=time_s[k, :n],
            time_stderr_s=time_stderr_s[k, :n],
            accel_mps2=accel_mps2[k, :n],
            accel_stderr_mps2=accel_stderr_mps2[k, :n],
            distance_m=distance_m[k, :n],
        )
        for k, n in enumerate(sizes)
    ]


def _from_none(values: FloatArray) -> FloatArray:
    """Values at the levels (g, k, levels) with the zero of the onset before them."""
    return np.concatenate((np.zeros((*values.shape[:-1], 1)), values), axis=-1)


def _moments(draws: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean and standard deviation over the draws (g, k, levels) that have a value."""
    known = np.isfinite(draws)
    count = np.maximum(known.sum(axis=1), 1)
    mean = np.where(known, draws, 0.0).sum(axis=1) / count
    apart = np.where(known, draws - mean[:, None], 0.0)
    return mean, np.sqrt((apart * apart).sum(axis=1) / count)
