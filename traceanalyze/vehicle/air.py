"""Air: its density, what altitude that density stands for, and how far it is from the reference of the test rules.

Nothing here changes a measured number. Engine-power factors are for dynamometers; they are not applied to times or
top speeds anywhere.
"""

from __future__ import annotations

import math

from traceanalyze.errors import UsageError

ZERO_C_K = 273.15
#: Reference of the coast-down rules: 100 kPa and 293.2 K (German StVZO, 3.9.2.3).
RULE_PA, RULE_K = 100_000.0, 293.15
#: US Standard Atmosphere 1976, troposphere: temperature [K], pressure [Pa], density [kg/m^3] at sea level, lapse
#: [K/m], earth radius [m], exponent g M / (R L).
_T0_K, _P0_PA, _RHO0, _LAPSE, _RADIUS_M = 288.15, 101_325.0, 1.2250, 0.0065, 6_356_766.0
_EXPONENT = 9.80665 * 0.0289644 / (8.31432 * _LAPSE)


def saturation_pressure_pa(temperature_c: float) -> float:
    """Return the pressure of saturated water vapour over water [Pa] (CIPM-2007, equation A1.1)."""
    t = temperature_c + ZERO_C_K
    return math.exp(1.2378847e-5 * t * t - 1.9121316e-2 * t + 33.93711047 - 6.3431645e3 / t)


def air_density_kgm3(
    temperature_c: float, pressure_pa: float, humidity: float = 0.5, carbon_dioxide: float = 400e-6
) -> float:
    """Return the density of moist air [kg/m^3] by the CIPM-2007 equation.

    Picard, Davis, Glaser, Fujii: Metrologia 45 (2008) 149-155. Made for 15-27 degrees and 600-1100 hPa; outside it
    is still far better than a rider's barometer.

    Parameters
    ----------
    pressure_pa : float
        At the place itself, not reduced to sea level.
    humidity : float
        Relative, 0 to 1.

    Raises
    ------
    UsageError
        If a value is none that air on a riding day can have.
    """
    if not (-50 <= temperature_c <= 60 and 30_000 <= pressure_pa <= 115_000 and 0 <= humidity <= 1):
        raise UsageError(
            f"no air of {temperature_c:g} degrees C, {pressure_pa / 100:g} hPa and {100 * humidity:g} % humidity",
            advice="give the pressure at the place in hPa, the temperature in degrees C, the humidity in %",
        )
    t, temperature_k = temperature_c, temperature_c + ZERO_C_K
    enhancement = 1.00062 + 3.14e-8 * pressure_pa + 5.6e-7 * t * t
    vapour = humidity * enhancement * saturation_pressure_pa(t) / pressure_pa
    z = _compressibility(t, temperature_k, pressure_pa, vapour)
    dry = (3.483740 + 1.4446 * (carbon_dioxide - 400e-6)) * 1e-3
    return dry * pressure_pa / (z * temperature_k) * (1 - 0.3780 * vapour)


def _compressibility(t: float, temperature_k: float, pressure_pa: float, vapour: float) -> float:
    """CIPM-2007, equation A1.4."""
    first = 1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t * t
    second = (5.707e-6 - 2.051e-8 * t) * vapour + (1.9898e-4 - 2.376e-6 * t) * vapour**2
    share = pressure_pa / temperature_k
    return 1 - share * (first + second) + share**2 * (1.83e-11 - 0.765e-8 * vapour**2)


def standard_atmosphere(altitude_m: float) -> tuple[float, float, float]:
    """Return temperature [K], pressure [Pa], density [kg/m^3] of the US Standard Atmosphere 1976 at an altitude [m].

    Geometric altitude in the troposphere (equations 18, 23, 33a, 42).
    """
    height = _RADIUS_M * altitude_m / (_RADIUS_M + altitude_m)
    temperature = _T0_K - _LAPSE * height
    pressure = _P0_PA * (temperature / _T0_K) ** _EXPONENT
    return temperature, pressure, _RHO0 * pressure / _P0_PA * _T0_K / temperature


def density_altitude_m(density_kgm3: float) -> float:
    """Return the geopotential altitude at which the US Standard Atmosphere 1976 has this density [m] (troposphere)."""
    return float(_T0_K / _LAPSE * (1 - (density_kgm3 / _RHO0) ** (1 / (_EXPONENT - 1))))


def relative_density(temperature_c: float, pressure_pa: float) -> float:
    """Return the density relative to 100 kPa and 293.15 K as the coast-down rules take it: (p / p0) (T0 / T)."""
    return pressure_pa / RULE_PA * RULE_K / (temperature_c + ZERO_C_K)


def engine_share(density_kgm3: float, reference_kgm3: float) -> float:
    """Return engine power in this air as a share of that in reference air.

    An assumption, not a law: an engine without a blower breathes the same volume, so its power goes with density.
    """
    return density_kgm3 / reference_kgm3


def power_factor_iso_1585(temperature_c: float, dry_pressure_pa: float) -> float:
    """Return the factor that takes power measured on a dynamometer to 25 degrees and 99 kPa dry (ISO 1585, petrol).

    `(99 kPa / p)^1.2 (T / 298 K)^0.6`; the standard allows 0.93 to 1.07. For engines on test benches, never for times.
    """
    return float((99_000 / dry_pressure_pa) ** 1.2 * ((temperature_c + ZERO_C_K) / 298) ** 0.6)


def power_factor_sae_j1349(temperature_c: float, dry_pressure_pa: float) -> float:
    """Return the dynamometer factor of SAE J1349 for petrol engines: 1.18 ca - 0.18 at 85 % mechanical efficiency."""
    return 1.18 * (99_000 / dry_pressure_pa) * math.sqrt((temperature_c + ZERO_C_K) / 298.15) - 0.18
