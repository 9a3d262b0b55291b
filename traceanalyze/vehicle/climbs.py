"""A measured climb through the speeds, step by step, so that it can be ridden again with another acceleration.

Within each step of the speed grid the acceleration counts as constant; the step's measured duration says how large it
is. So the sum of the steps is the measured time itself, and what is changed is only what was asked to change.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from traceanalyze.results import Curve
from traceanalyze.settings import ROLLOUT_M, THRESHOLD_MPS
from traceanalyze.trace import FloatArray
from traceanalyze.units import Measure, StartRule


@dataclass(frozen=True, slots=True, eq=False)
class Climb:
    """Speeds from rest upwards (m+1,) [m/s]; the time [s] and the way [m] of each step (m,). It ends at a gap."""

    speed_mps: FloatArray
    step_s: FloatArray
    step_m: FloatArray

    @property
    def middle_mps(self) -> FloatArray:
        """Speed in the middle of each step [m/s]."""
        return (self.speed_mps[1:] + self.speed_mps[:-1]) / 2

    @property
    def accel_mps2(self) -> FloatArray:
        """Acceleration over each step [m/s^2]."""
        return np.diff(self.speed_mps) / self.step_s

    @property
    def time_s(self) -> FloatArray:
        """Time from the onset to each speed [s]."""
        return np.concatenate([[0.0], np.cumsum(self.step_s)])

    @property
    def distance_m(self) -> FloatArray:
        """Distance from the onset to each speed [m]."""
        return np.concatenate([[0.0], np.cumsum(self.step_m)])


def climb_of(curve: Curve) -> Climb:
    """Return the climb of a launch's curve, up to the first speed that a gap hides or that took no time."""
    steps, ways = np.diff(curve.time_s), np.diff(curve.distance_m)
    hidden = np.flatnonzero(~((steps > 0) & (ways > 0)))
    end = int(hidden[0]) if hidden.size else steps.size
    return Climb(curve.speed_mps[: end + 1], steps[:end], ways[:end])


def ridden_again(climb: Climb, accel_mps2: FloatArray) -> Climb:
    """Return the climb with another acceleration in each step (m,), up to the first that is unknown or not positive."""
    stopped = np.flatnonzero(~(accel_mps2 > 0))
    end = int(stopped[0]) if stopped.size else accel_mps2.size
    step_s = np.diff(climb.speed_mps[: end + 1]) / accel_mps2[:end]
    return Climb(climb.speed_mps[: end + 1], step_s, climb.step_m[:end] * step_s / climb.step_s[:end])


def elapsed_s(climb: Climb, measure: Measure, rule: StartRule = "rollout") -> float:
    """Return the time of a measure [s]; NaN when the climb does not reach it. Lengths count from the point of rest."""
    if measure.kind == "rolling":
        return _at_speed_s(climb, measure.to_mps) - _at_speed_s(climb, measure.from_mps)
    end_s = (
        _at_distance_s(climb, measure.distance_m) if measure.kind == "distance" else _at_speed_s(climb, measure.to_mps)
    )
    marks = {"rest": 0.0, "rollout": _at_distance_s(climb, ROLLOUT_M), "threshold": _at_speed_s(climb, THRESHOLD_MPS)}
    return end_s - marks[rule]


def _at_speed_s(climb: Climb, speed_mps: float) -> float:
    if not speed_mps <= climb.speed_mps[-1]:
        return math.nan
    return float(np.interp(speed_mps, climb.speed_mps, climb.time_s))


def _at_distance_s(climb: Climb, distance_m: float) -> float:
    """Within a step the square of the speed grows in proportion to the distance (constant acceleration)."""
    way = climb.distance_m
    if not distance_m <= way[-1]:
        return math.nan
    k = max(int(np.searchsorted(way, distance_m)) - 1, 0)
    share = (distance_m - way[k]) / (way[k + 1] - way[k])
    low, high = climb.speed_mps[k : k + 2]
    speed_mps = math.sqrt(low**2 + share * (high**2 - low**2))
    return _at_speed_s(climb, speed_mps)
