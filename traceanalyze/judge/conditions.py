"""Wind, air, slope and rider of two setups: what makes them hard to compare, and what is not known."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Protocol

from traceanalyze import settings
from traceanalyze.judge.sentences import name
from traceanalyze.trace import Remark
from traceanalyze.vehicle.air import relative_density

#: Setups ridden in air that differs by more than this share deserve a word: 2 % of density is about 1 % of the time
#: of a launch where thrust goes with density (arithmetic, no source).
_AIR_CHANGED = 0.02


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
    if abs(_density(one) - 1.0) > settings.AIR_DENSITY_OFF:
        text = f"air density is {100 * (_density(one) - 1):+.1f} % off 100 kPa and 20 degrees C"
        yield Remark("air-density", f"{text}: not comparable with other days without correction")


def _across_mps(one: RidingConditions, headings_deg: Sequence[float]) -> float:
    across = [
        abs(one.wind_mps * math.sin(math.radians(one.wind_from_deg - heading)))
        for heading in headings_deg
        if heading == heading
    ]
    return sum(across) / len(across) if across else math.nan


def _density(one: RidingConditions) -> float:
    """Density relative to that of the coast-down rules; NaN where temperature or pressure is not known."""
    return relative_density(one.air_temperature_c, 100 * one.pressure_hpa)


def _rider(names: tuple[str, str], conditions: tuple[RidingConditions, RidingConditions]) -> Iterator[Remark]:
    first, second = (one.rider_mass_kg for one in conditions)
    if abs(first - second) > settings.MASS_APART_KG:
        masses = f"{name(names[0])} was ridden with {first:g} kg, {name(names[1])} with {second:g} kg"
        yield Remark("rider-mass", f"{masses}: mass alone makes a difference")


def _density_change(conditions: tuple[RidingConditions, RidingConditions]) -> Iterator[Remark]:
    first, second = (_density(one) for one in conditions)
    if abs(first - second) > _AIR_CHANGED:
        yield Remark("air-changed", f"the air differs by {100 * abs(first - second):.1f} % between the setups")


def _unknown(conditions: tuple[RidingConditions, RidingConditions]) -> Iterator[Remark]:
    known = {
        "wind": [one.wind_mps for one in conditions],
        "air": [_density(one) for one in conditions],
        "rider mass": [one.rider_mass_kg for one in conditions],
    }
    missing = [word for word, values in known.items() if any(math.isnan(value) for value in values)]
    if missing:
        yield Remark("conditions-unknown", f"not known: {', '.join(missing)}")
