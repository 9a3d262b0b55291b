"""Curves that a perfect instrument would have measured of simulated launches."""

import math

import numpy as np

from traceanalyze.results import Curve
from traceanalyze.settings import CURVE_STEP_MPS
from traceanalyze.simulate import Go, Surroundings, Wait, ride
from traceanalyze.simulate.motion import arrival_s, rise_s


def launched(vehicle, lift_mps=16.0, around=None, **go):
    """A ride with one launch, and its event."""
    made = ride(vehicle, [Wait(1.0), Go(lift_mps=lift_mps, **go)], around=around or Surroundings())
    return made, made.events[1]


def true_curve(made, event, time_stderr_s=0.01, accel_stderr_mps2=0.05):
    """The launch on the common grid of speeds, exactly."""
    motion, onset = made.motion, event.onset_s
    start_m = float(motion.distance_at(onset))
    rollout = arrival_s(motion, start_m + 0.3048, onset, event.end_s)
    levels = np.arange(math.floor(float(motion.speed_at(event.end_s)) / CURVE_STEP_MPS) + 1) * CURVE_STEP_MPS
    when = np.array([onset, *(rise_s(motion, float(v), onset, event.end_s) for v in levels[1:])])
    return Curve(
        speed_mps=levels, time_s=when - rollout, time_stderr_s=np.full(levels.size, time_stderr_s),
        accel_mps2=motion.accel_at(when), accel_stderr_mps2=np.full(levels.size, accel_stderr_mps2),
        distance_m=motion.distance_at(when) - start_m,
    )  # fmt: skip


def true_time_s(made, event, to_mps=30 * 0.44704):
    """From the rollout mark to a speed."""
    motion, onset = made.motion, event.onset_s
    rollout = arrival_s(motion, float(motion.distance_at(onset)) + 0.3048, onset, event.end_s)
    return rise_s(motion, to_mps, onset, event.end_s) - rollout
