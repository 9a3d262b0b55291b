"""Machines and launches of many kinds, left to chance: so that no estimator is tried on one sort of start alone."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

import numpy as np

from traceanalyze.errors import UsageError
from traceanalyze.simulate.machines import (
    CappedPower,
    CentrifugalClutch,
    ConstantThrust,
    Engine,
    Powertrain,
    Vehicle,
)
from traceanalyze.simulate.presets import pit_bike
from traceanalyze.simulate.pushes import SHAPES, Go, Shape


def _between(rng: np.random.Generator, low: float, high: float) -> float:
    return float(rng.uniform(low, high))


def _engine(rng: np.random.Generator) -> Engine:
    """A small engine: torque rises to a hump and falls beyond it."""
    peak_nm, hump_rpm = _between(rng, 9, 22), _between(rng, 3000, 5000)
    rpm = np.arange(0, 10_001, 500.0)
    torque = peak_nm * np.clip(1 - 0.55 * ((rpm - hump_rpm) / hump_rpm) ** 2, 0, None)
    return Engine(
        rpm=tuple(rpm.tolist()),
        torque_nm=tuple(torque.tolist()),
        inertia_kgm2=_between(rng, 0.004, 0.02),
        idle_rpm=1500.0,
    )


def _with_clutch(rng: np.random.Generator) -> Vehicle:
    drive = Powertrain(
        engine=_engine(rng),
        clutch=CentrifugalClutch(spring_n=_between(rng, 430, 800), friction=_between(rng, 0.2, 0.4)),
        ratios=(_between(rng, 5.5, 8.0),),
        wheel_radius_m=0.21,
    )
    return Vehicle(drive=drive, mass_kg=_between(rng, 110, 180))


def _with_gears(rng: np.random.Generator) -> Vehicle:
    first = _between(rng, 8.5, 10.5)
    drive = Powertrain(
        engine=_engine(rng),
        clutch=CentrifugalClutch(spring_n=_between(rng, 430, 650)),
        ratios=(first, 0.7 * first, 0.55 * first),
        wheel_radius_m=0.21,
        shift_rpm=_between(rng, 4500, 5500),
        shift_s=_between(rng, 0.12, 0.35),
    )
    return Vehicle(drive=drive, mass_kg=_between(rng, 110, 170))


def _with_belt(rng: np.random.Generator) -> Vehicle:
    drive = Powertrain(
        engine=_engine(rng),
        clutch=CentrifugalClutch(spring_n=_between(rng, 430, 650)),
        ratios=(_between(rng, 9, 11), _between(rng, 4, 5)),
        wheel_radius_m=0.21,
        efficiency=0.8,
        belt_rpm=_between(rng, 3600, 4400),
    )
    return Vehicle(drive=drive, mass_kg=_between(rng, 110, 170))


def _spinning(rng: np.random.Generator) -> Vehicle:
    mass_kg = _between(rng, 100, 160)
    return Vehicle(
        drive=CappedPower(_between(rng, 6000, 12000), 3000.0), mass_kg=mass_kg, grip_n=mass_kg * _between(rng, 2.5, 4.5)
    )


def _by_thrust(rng: np.random.Generator) -> Vehicle:
    mass_kg = _between(rng, 100, 180)
    return Vehicle(drive=ConstantThrust(mass_kg * _between(rng, 2.0, 5.5)), mass_kg=mass_kg)


def _by_power(rng: np.random.Generator) -> Vehicle:
    mass_kg = _between(rng, 100, 180)
    force_n = mass_kg * _between(rng, 2.5, 6.0)
    return Vehicle(drive=CappedPower(force_n * _between(rng, 6, 12), force_n), mass_kg=mass_kg)


def _sample_bike(rng: np.random.Generator) -> Vehicle:
    return pit_bike(("standard", "stiff")[int(rng.integers(2))])


KINDS: Final[dict[str, Callable[[np.random.Generator], Vehicle]]] = {
    "clutch": _with_clutch,
    "gears": _with_gears,
    "belt": _with_belt,
    "wheelspin": _spinning,
    "thrust": _by_thrust,
    "power": _by_power,
    "pit bike": _sample_bike,
}


def varied_vehicle(rng: np.random.Generator, kind: str | None = None) -> Vehicle:
    """Return a machine of a kind, or of any kind; each reaches 15 m/s on a level road.

    Raises
    ------
    UsageError
        If there is no such kind.
    """
    if kind is not None and kind not in KINDS:
        raise UsageError(f"no kind of machine is called {kind!r}", advice="known are " + ", ".join(KINDS))
    return KINDS[kind or list(KINDS)[int(rng.integers(len(KINDS)))]](rng)


def varied_launch(rng: np.random.Generator, lift_mps: float = 15.0) -> Go:
    """Return a launch by a hand of any kind: how fast the throttle opens, in which shape, how steady it stays."""
    shapes: list[Shape] = [shape for shape in SHAPES if shape != "step"]  # type: ignore[misc]
    return Go(
        lift_mps=lift_mps,
        opening_s=math.exp(_between(rng, math.log(0.06), math.log(0.5))),
        shape=shapes[int(rng.integers(len(shapes)))],
        wander=_between(rng, 0.0, 0.03),
    )
