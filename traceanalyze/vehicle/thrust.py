"""Thrust at the ground from measured launches, and what other sprockets would make of it.

Thrust = inertia * acceleration + resistance. At another ratio the engine meets each thrust at another road speed: with
s = new ratio / old ratio, `thrust_new(v) = s * thrust_old(s v)`; the power at one engine speed stays what it was. This
holds as well while a centrifugal clutch slips, since its torque depends on engine speed alone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from traceanalyze.errors import SignalError
from traceanalyze.results import Curve
from traceanalyze.trace import FloatArray
from traceanalyze.vehicle.climbs import Climb, climb_of, ridden_again
from traceanalyze.vehicle.gearing import DriveTrain
from traceanalyze.vehicle.roadload import RoadLoad, resistance_n

#: Over this time the errors of a measured acceleration are alike [s]: the window it is estimated in.
ERROR_TIME_S = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """A vehicle as far as its launches can be calculated.

    Attributes
    ----------
    load : RoadLoad
    train : DriveTrain
    engine_inertia_kgm2 : float
        Of crankshaft, flywheel and clutch hub [kg m^2]; 0 when not known. Geared shorter, it weighs more.
    """

    load: RoadLoad
    train: DriveTrain
    engine_inertia_kgm2: float = 0.0

    @property
    def inertia_kg(self) -> FloatArray:
        """Mass to be accelerated with the clutch engaged [kg]."""
        turns = 2 * math.pi * self.train.engine_turns_per_m
        return np.asarray(self.load.inertia_kg + self.engine_inertia_kgm2 * turns**2)


@dataclass(frozen=True, slots=True, eq=False)
class Pull:
    """Thrust of one launch for each step of its climb: (m,) [N], and the covariance (m, m) of its error [N^2]."""

    climb: Climb
    thrust_n: FloatArray
    covariance_n2: FloatArray


def inertia_over_kg(machine: Machine, speed_mps: FloatArray) -> FloatArray:
    """Return the mass to be accelerated at each speed [kg]: the engine's inertia counts only above full engagement."""
    engaged = machine.train.engagement_rpm / 60 / machine.train.engine_turns_per_m
    locked = ~(speed_mps < engaged)
    return np.where(locked, machine.inertia_kg, machine.load.inertia_kg)


def pull_of(curve: Curve, machine: Machine) -> Pull:
    """Return the thrust of one launch on a level road in still air.

    Raises
    ------
    SignalError
        If the curve has fewer than 4 known steps.
    """
    climb = climb_of(curve)
    if climb.step_s.size < 4:
        raise SignalError("a launch without a curve", advice="use a log whose launches were measured without a gap")
    middle = climb.middle_mps
    inertia = inertia_over_kg(machine, middle)
    thrust = inertia * climb.accel_mps2 + resistance_n(machine.load, middle)
    stderr = np.nan_to_num((curve.accel_stderr_mps2[1:] + curve.accel_stderr_mps2[:-1])[: middle.size] / 2) * inertia
    when = (climb.time_s[1:] + climb.time_s[:-1]) / 2
    alike = np.exp(-np.abs(when[:, None] - when[None, :]) / ERROR_TIME_S)
    return Pull(climb, thrust, stderr[:, None] * alike * stderr[None, :])


def regeared(pull: Pull, machine: Machine, train: DriveTrain) -> Climb:
    """Return the same launch with another drive train; it ends where the engine would turn faster than measured."""
    return regeared_thrust(pull.climb, pull.thrust_n, machine, train)


def regeared_thrust(climb: Climb, thrust_n: FloatArray, machine: Machine, train: DriveTrain) -> Climb:
    """As `regeared`, for any thrust over the steps of a climb (m,) [N]."""
    shift = train.engine_turns_per_m / machine.train.engine_turns_per_m
    middle = climb.middle_mps
    moved = shift * np.interp(shift * middle, middle, thrust_n)
    moved[shift * middle > climb.speed_mps[-1]] = np.nan
    changed = replace(machine, train=train)
    net = moved - resistance_n(machine.load, middle)
    before = thrust_n - resistance_n(machine.load, middle)
    inertia = inertia_over_kg(machine, middle) / inertia_over_kg(changed, middle)
    return ridden_again(climb, climb.accel_mps2 * net / before * inertia)


def mean_thrust(pulls: Sequence[Pull]) -> tuple[FloatArray, FloatArray]:
    """Return the mean thrust of several launches over the steps that all reached: speeds [m/s] and thrust [N]."""
    count = min(pull.thrust_n.size for pull in pulls)
    return pulls[0].climb.middle_mps[:count], np.mean([pull.thrust_n[:count] for pull in pulls], axis=0)
