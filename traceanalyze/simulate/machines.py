"""What drives and what holds back: engines, clutches, belts, road load. Everything here is invented or closed form."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from traceanalyze.errors import UsageError
from traceanalyze.trace import FloatArray
from traceanalyze.units import GRAVITY_MPS2

#: rad/s in one revolution a minute.
RPM = 2 * math.pi / 60
#: Speeds at which a thrust law is tabulated for fast look-up [m/s]: fine enough that straight lines between them
#: differ from any smooth law by less than 1e-6 of it.
TABLE_STEP_MPS = 0.02
TABLE_TOP_MPS = 80.0


class ThrustLaw(Protocol):
    """Thrust at the ground as a function of road speed alone, at full throttle."""

    def thrust_n(self, speed_mps: float) -> float:
        """Return the thrust [N] at a road speed [m/s]."""
        ...


@dataclass(frozen=True, slots=True)
class ConstantThrust:
    """The same push at every speed."""

    force_n: float

    def thrust_n(self, speed_mps: float) -> float:
        """Return the thrust [N] at a road speed [m/s]."""
        return self.force_n


@dataclass(frozen=True, slots=True)
class CappedPower:
    """Constant power, but never more than a force: min(force, power / speed)."""

    power_w: float
    force_n: float = math.inf

    def thrust_n(self, speed_mps: float) -> float:
        """Return the thrust [N] at a road speed [m/s]; a pure constant power has none at rest.

        Raises
        ------
        UsageError
            If the speed is zero and no force caps the thrust.
        """
        if speed_mps <= 0 or self.power_w >= self.force_n * speed_mps:
            if math.isinf(self.force_n):
                raise UsageError("constant power pushes without limit at rest", advice="cap it with a force_n")
            return self.force_n
        return self.power_w / speed_mps


@dataclass(frozen=True, slots=True, kw_only=True)
class Engine:
    """Full-throttle torque over engine speed, straight lines between the given points.

    Attributes
    ----------
    rpm, torque_nm : tuple of float
        Points of the torque curve.
    idle_rpm : float
        Speed it keeps with the throttle closed.
    inertia_kgm2 : float
        Of crankshaft, flywheel and clutch hub.
    """

    rpm: tuple[float, ...]
    torque_nm: tuple[float, ...]
    idle_rpm: float = 1500.0
    inertia_kgm2: float = 0.008

    def torque_at(self, speed_radps: FloatArray | float) -> FloatArray:
        """Return the torque [N m] at engine speeds [rad/s]."""
        return np.interp(np.asarray(speed_radps) / RPM, self.rpm, self.torque_nm)


@dataclass(frozen=True, slots=True, kw_only=True)
class CentrifugalClutch:
    """Shoes thrown outwards against a drum, held back by springs.

    The shoes lift when m r w^2 exceeds the spring force; beyond that the torque is
    `shoes * friction * drum_radius * (m r w^2 - spring)`. A stiffer spring engages at a higher speed.
    """

    spring_n: float
    shoes: int = 3
    shoe_mass_kg: float = 0.24
    shoe_radius_m: float = 0.050
    drum_radius_m: float = 0.055
    friction: float = 0.35

    @property
    def engagement_radps(self) -> float:
        """Engine speed at which the shoes touch the drum [rad/s]."""
        return math.sqrt(self.spring_n / (self.shoe_mass_kg * self.shoe_radius_m))

    @property
    def gain_nms2(self) -> float:
        """Torque per square of speed above engagement: torque = gain * (w^2 - engagement^2) [N m s^2]."""
        return self.shoes * self.friction * self.drum_radius_m * self.shoe_mass_kg * self.shoe_radius_m


@dataclass(frozen=True, slots=True, kw_only=True)
class Powertrain:
    """Engine, centrifugal clutch and one or more fixed ratios, or a belt that varies its ratio.

    Attributes
    ----------
    ratios : tuple of float
        Engine turns per wheel turn, one for each gear. With `belt_rpm`, two ends: shortest and longest.
    shift_rpm : float
        Engine speed at which the next gear is taken.
    shift_s : float
        How long the drive is cut for a shift.
    belt_rpm : float
        Engine speed a variable belt holds between its end ratios; 0 for plain gears.
    """

    engine: Engine
    clutch: CentrifugalClutch
    ratios: tuple[float, ...]
    wheel_radius_m: float
    efficiency: float = 0.88
    shift_rpm: float = math.inf
    shift_s: float = 0.25
    belt_rpm: float = 0.0

    def ratio_at(self, speed_mps: FloatArray, gear: int) -> FloatArray:
        """Return engine turns per wheel turn with the clutch fully engaged."""
        wheel_radps = np.maximum(speed_mps, 1e-9) / self.wheel_radius_m
        if self.belt_rpm:
            return np.clip(self.belt_rpm * RPM / wheel_radps, self.ratios[-1], self.ratios[0])
        return np.full_like(wheel_radps, self.ratios[gear])

    def engine_radps(self, speed_mps: FloatArray, gear: int) -> FloatArray:
        """Return the engine speed with the clutch fully engaged [rad/s]."""
        return self.ratio_at(speed_mps, gear) * speed_mps / self.wheel_radius_m

    def thrust_at(self, speed_mps: FloatArray, gear: int, strength: float) -> FloatArray:
        """Return the steady thrust with the clutch fully engaged [N]."""
        ratio = self.ratio_at(speed_mps, gear)
        torque_nm = strength * self.engine.torque_at(ratio * speed_mps / self.wheel_radius_m)
        return np.asarray(torque_nm * ratio * self.efficiency / self.wheel_radius_m)

    def inertia_share_kg(self, gear: int) -> float:
        """Return the engine's inertia as a mass at the ground [kg]; none while a belt holds the engine speed."""
        if self.belt_rpm:
            return 0.0
        return self.engine.inertia_kgm2 * self.efficiency * (self.ratios[gear] / self.wheel_radius_m) ** 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Vehicle:
    """Vehicle with rider.

    Attributes
    ----------
    drive : ThrustLaw or Powertrain
    mass_kg : float
    rotating_share : float
        Inertia of the wheels as a share of the mass (engine and clutch come with a `Powertrain`).
    crr, cda_m2 : float
        Rolling resistance coefficient, drag area.
    grip_n : float
        Most the driven tyre can push; above it the wheel spins and the push stays near this.
    """

    drive: ThrustLaw | Powertrain
    mass_kg: float = 142.0
    rotating_share: float = 0.04
    crr: float = 0.02
    cda_m2: float = 0.55
    grip_n: float = math.inf

    @property
    def inertia_kg(self) -> float:
        """Mass to be accelerated, wheels included [kg]."""
        return self.mass_kg * (1 + self.rotating_share)


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """Air and road as the strip has them.

    Attributes
    ----------
    wind_mps : float
        Wind along the strip, positive when it blows in the direction of the strip's heading.
    grade_pct : float
        Slope along the strip's heading, up positive.
    """

    air_density_kgm3: float = 1.2
    wind_mps: float = 0.0
    grade_pct: float = 0.0


def resistance(vehicle: Vehicle, around: Surroundings, direction: int) -> Callable[[float], float]:
    """Return the force that holds the moving vehicle back [N] as a function of its speed [m/s].

    `Crr m g cos + m g sin + rho CdA (v - w) |v - w| / 2`, with w the wind from behind.

    Parameters
    ----------
    direction : int
        1 along the strip's heading, -1 against it.
    """
    angle = math.atan(direction * around.grade_pct / 100)
    constant_n = vehicle.mass_kg * GRAVITY_MPS2 * (vehicle.crr * math.cos(angle) + math.sin(angle))
    drag = 0.5 * around.air_density_kgm3 * vehicle.cda_m2
    tailwind_mps = direction * around.wind_mps

    def force_n(speed_mps: float) -> float:
        air_mps = speed_mps - tailwind_mps
        return constant_n + drag * air_mps * abs(air_mps)

    return force_n


def gripped(thrust_n: FloatArray, grip_n: float) -> FloatArray:
    """Return what reaches the ground when the tyre carries no more than `grip_n`, with a soft knee of 5 %."""
    if math.isinf(grip_n):
        return thrust_n
    width_n = 0.05 * grip_n
    return np.asarray(thrust_n - width_n * np.logaddexp(0.0, (thrust_n - grip_n) / width_n))


def looked_up(values: FloatArray, step: float) -> Callable[[float], float]:
    """Return a function that reads evenly spaced values (from 0, `step` apart) by straight lines; quick for one place.

    Below 0 the first value holds, above the last the last straight line goes on.
    """
    held: list[float] = values.tolist()
    last = len(held) - 2

    def read(place: float) -> float:
        place /= step
        if place <= 0:
            return held[0]
        k = int(place)
        if k > last:
            k = last
        low = held[k]
        return low + (place - k) * (held[k + 1] - low)

    return read


def table_speeds_mps() -> FloatArray:
    """Return the speeds at which a thrust is tabulated [m/s]."""
    return np.arange(round(TABLE_TOP_MPS / TABLE_STEP_MPS) + 1, dtype=np.float64) * TABLE_STEP_MPS


def terminal_mps(thrust: Callable[[float], float], resist: Callable[[float], float]) -> float:
    """Return the speed at which thrust and resistance balance [m/s], by bisection; inf when thrust always wins."""
    low, high = 1.0, TABLE_TOP_MPS
    if thrust(high) > resist(high):
        return math.inf
    while thrust(low) < resist(low) and low > 1e-3:
        low /= 2
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if thrust(middle) > resist(middle) else (low, middle)
    return low
