"""Wind, air, slope and rider of two setups: what makes them hard to compare, and what is not known."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Protocol

from traceanalyze import settings
from traceanalyze.judge.sentences import name
from traceanalyze.trace import Remark

#: Reference of the relative air density: 100 kPa and 293.15 K (German StVZO, coast-down rule 3.9.2.3).
_REFERENCE_HPA, _REFERENCE_K, _ZERO_C_K = 1000.0, 293.15, 273.15


class RidingConditions(Protocol):
    """What is looked at, in the units a day sheet is written in; NaN where nothing was written."""

    @property
    def air_temperature_c(self) -> float: ...
    @property
    def pressure_hpa(self) -> float: ...
    @property
    def wind_mps(self) -> float: ...
    @property
    def gust_mps(self) -> float: ...
    @property
    def wind_from_deg(self) -> float: ...
    @property
    def grade_pct(self) -> float: ...
    @property
    def rider_mass_kg(self) -> float: ...


def condition_remarks(
    names: tuple[str, str],
    conditions: tuple[RidingConditions, RidingConditions],
    headings_deg: Sequence[float] = (),
) -> tuple[Remark, ...]:
    """Return warnings about the conditions of baseline and changed setup, each once; none changes a number.

    `headings_deg` are those of the runs, for the wind across.
    """
    both = [text for one in conditions for text in _of_one(one, headings_deg)]
    between = [*_rider(names, conditions), *_density_change(conditions), *_unknown(conditions)]
    return tuple(dict.fromkeys([*both, *between]))


def _of_one(one: RidingConditions, headings_deg: Sequence[float]) -> Iterator[Remark]:
    if one.wind_mps > settings.WIND_MEAN_MPS:
        yield Remark("wind", f"mean wind {one.wind_mps:g} m/s is above {settings.WIND_MEAN_MPS:g} m/s")
    if one.gust_mps > settings.WIND_GUST_MPS:
        yield Remark("gusts", f"gusts of {one.gust_mps:g} m/s are above {settings.WIND_GUST_MPS:g} m/s")
    across = _across_mps(one, headings_deg)
    if across > settings.WIND_CROSS_MPS:
        yield Remark("cross-wind", f"wind across the strip {across:.1f} m/s is above {settings.WIND_CROSS_MPS:g} m/s")
    if abs(one.grade_pct) > settings.GRADE_PCT:
        yield Remark("slope", f"a slope of {one.grade_pct:g} % is above {settings.GRADE_PCT:g} %")
    if abs(relative_density(one) - 1.0) > settings.AIR_DENSITY_OFF:
        text = f"air density is {100 * (relative_density(one) - 1):+.1f} % off 100 kPa and 20 degrees C"
        yield Remark("air-density", f"{text}: not comparable with other days without correction")


def _across_mps(one: RidingConditions, headings_deg: Sequence[float]) -> float:
    across = [
        abs(one.wind_mps * math.sin(math.radians(one.wind_from_deg - heading)))
        for heading in headings_deg
        if heading == heading
    ]
    return sum(across) / len(across) if across else math.nan


def relative_density(one: RidingConditions) -> float:
    """Return the density of the air relative to 100 kPa and 293.15 K, as the coast-down rules take it (dry)."""
    return one.pressure_hpa / _REFERENCE_HPA * _REFERENCE_K / (one.air_temperature_c + _ZERO_C_K)


def _rider(names: tuple[str, str], conditions: tuple[RidingConditions, RidingConditions]) -> Iterator[Remark]:
    first, second = (one.rider_mass_kg for one in conditions)
    if abs(first - second) > settings.MASS_APART_KG:
        masses = f"{name(names[0])} was ridden with {first:g} kg, {name(names[1])} with {second:g} kg"
        yield Remark("rider-mass", f"{masses}: mass alone makes a difference")


def _density_change(conditions: tuple[RidingConditions, RidingConditions]) -> Iterator[Remark]:
    first, second = (relative_density(one) for one in conditions)
    if abs(first - second) > 0.02:
        yield Remark("air-changed", f"the air differs by {100 * abs(first - second):.1f} % between the setups")


def _unknown(conditions: tuple[RidingConditions, RidingConditions]) -> Iterator[Remark]:
    known = {
        "wind": [one.wind_mps for one in conditions],
        "air": [relative_density(one) for one in conditions],
        "rider mass": [one.rider_mass_kg for one in conditions],
    }
    missing = [word for word, values in known.items() if any(math.isnan(value) for value in values)]
    if missing:
        yield Remark("conditions-unknown", f"not known: {', '.join(missing)}")
