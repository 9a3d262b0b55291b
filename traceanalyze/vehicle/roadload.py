"""What holds a vehicle back, and how long it takes to roll out."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from traceanalyze.errors import UsageError
from traceanalyze.trace import FloatArray
from traceanalyze.units import GRAVITY_MPS2


@dataclass(frozen=True, slots=True, kw_only=True)
class RoadLoad:
    """Mass and resistance of a vehicle with its rider, each number with its standard uncertainty.

    Attributes
    ----------
    mass_kg : float
        With rider and fuel.
    rotating_share : float
        Inertia of what turns, as a share of the mass: 4 % in the motorcycle rules (UN GTR 2, Annex 7).
    crr : float
        Rolling resistance coefficient; 0.012-0.035 for small tyres (common practice, no source).
    cda_m2 : float
        Drag area; 40 CFR 86.529-98 implies 0.48 m^2 (100 kg) to 0.63 m^2 (340 kg) for motorcycles with rider.
    air_density_kgm3 : float
    mass_stderr_kg, crr_stderr, cda_stderr_m2 : float
    """

    mass_kg: float
    rotating_share: float = 0.04
    crr: float = 0.02
    cda_m2: float = 0.55
    air_density_kgm3: float = 1.2
    mass_stderr_kg: float = 1.0
    crr_stderr: float = 0.005
    cda_stderr_m2: float = 0.07

    def __post_init__(self) -> None:
        if not (10 < self.mass_kg < 3000 and 0 <= self.crr < 0.2 and 0 <= self.cda_m2 < 5):
            raise UsageError(
                "mass or resistance out of range", advice="mass in kg with rider, Crr below 0.2, CdA in m^2 below 5"
            )

    @property
    def inertia_kg(self) -> float:
        """Mass to be accelerated, what turns included [kg]."""
        return self.mass_kg * (1 + self.rotating_share)


def resistance_n(
    load: RoadLoad, speed_mps: FloatArray | float, *, grade_pct: float = 0.0, headwind_mps: float = 0.0
) -> FloatArray:
    """Return the resistance at road speeds [N]: Crr m g cos + rho CdA (v + w) |v + w| / 2 + m g sin."""
    angle = math.atan(grade_pct / 100)
    constant = load.mass_kg * GRAVITY_MPS2 * (load.crr * math.cos(angle) + math.sin(angle))
    air = np.asarray(speed_mps, float) + headwind_mps
    return constant + 0.5 * load.air_density_kgm3 * load.cda_m2 * air * np.abs(air)


def coast_speed_mps(t_s: FloatArray, v0_mps: float, constant_mps2: float, square_per_m: float) -> FloatArray:
    """Return the speed of a vehicle that rolls out, `dv/dt = -(a + c v^2)`, at times after `v0` [m/s].

    `v = (v0 - a s) / (1 + c v0 s)` with s = tan(r t) / r, r = sqrt(a c) (tanh for a < 0; s = t for a c = 0): the
    tangent's addition theorem applied to `v = sqrt(a/c) tan(atan(v0 sqrt(c/a)) - r t)`.
    """
    rate = math.sqrt(abs(constant_mps2 * square_per_m))
    if rate < 1e-12:
        stretched = np.asarray(t_s, float)
    elif constant_mps2 * square_per_m > 0:
        stretched = np.tan(np.minimum(rate * np.asarray(t_s), 1.57)) / rate
    else:
        stretched = np.tanh(rate * np.asarray(t_s)) / rate
    return np.asarray((v0_mps - constant_mps2 * stretched) / (1 + square_per_m * v0_mps * stretched))


def coast_time_s(from_mps: float, to_mps: float, constant_mps2: float, square_per_m: float) -> float:
    """Return how long `dv/dt = -(a + c v^2)` takes from one speed to a lower one [s], for a >= 0 and c >= 0."""
    if square_per_m <= 0:
        return (from_mps - to_mps) / constant_mps2
    if constant_mps2 <= 0:
        return (1 / to_mps - 1 / from_mps) / square_per_m
    scale = math.sqrt(square_per_m / constant_mps2)
    return (math.atan(from_mps * scale) - math.atan(to_mps * scale)) / math.sqrt(constant_mps2 * square_per_m)


def coast_distance_m(from_mps: float, to_mps: float, constant_mps2: float, square_per_m: float) -> float:
    """Return how far `dv/dt = -(a + c v^2)` takes from one speed to a lower one [m], for a, c >= 0."""
    if square_per_m <= 0:
        return (from_mps**2 - to_mps**2) / (2 * constant_mps2)
    high, low = (constant_mps2 + square_per_m * v * v for v in (from_mps, to_mps))
    return math.log(high / low) / (2 * square_per_m)
