"""What a day sheet states of the machine and the air, setup by setup, ready to be calculated with."""

from __future__ import annotations

import math
from collections.abc import Sequence

from traceanalyze.setups import is_sheet
from traceanalyze.sheet import DaySheet, Setup, read_sheet
from traceanalyze.vehicle.air import air_density_kgm3
from traceanalyze.vehicle.engine import EngineSpeeds, engine_speeds
from traceanalyze.vehicle.gearing import DriveTrain

#: Relative humidity that stands in where none is written down [%]: from dry to wet, air of 20 degrees differs by 1 %.
USUAL_HUMIDITY_PCT = 50.0


def sheet_of(words: Sequence[str]) -> DaySheet | None:
    """Return the day sheet that the words of a command are, or None.

    Raises
    ------
    SheetError
        If it has mistakes.
    """
    return read_sheet(words[0]) if is_sheet(words) else None


def drive_train(setup: Setup) -> DriveTrain | None:
    """Return the drive train of a setup; None when teeth or tyre are not stated."""
    stated = setup.vehicle
    if not stated.teeth or math.isnan(stated.tyre_circumference_m):
        return None
    return DriveTrain(
        teeth=stated.teeth,
        tyre_circumference_m=stated.tyre_circumference_m,
        max_engine_rpm=stated.max_engine_rpm,
        engagement_rpm=stated.engagement_rpm,
    )


def drive_trains(sheet: DaySheet | None) -> dict[str, DriveTrain]:
    """Return the stated drive trains by the names of their setups."""
    setups = sheet.setups if sheet else ()
    return {setup.name: train for setup in setups if (train := drive_train(setup)) is not None}


def engine_of(sheet: DaySheet | None, names: Sequence[str]) -> EngineSpeeds:
    """Return what may be shown of engine speed beside the road speeds of the named setups."""
    trains = drive_trains(sheet)
    return engine_speeds({name: trains.get(name) for name in names})


def air_density_of(setup: Setup) -> float:
    """Return the density of the air a setup was ridden in [kg/m^3]; NaN without temperature and pressure."""
    air = setup.conditions
    if math.isnan(air.air_temperature_c) or math.isnan(air.pressure_hpa):
        return math.nan
    humidity_pct = USUAL_HUMIDITY_PCT if math.isnan(air.humidity_pct) else air.humidity_pct
    return air_density_kgm3(air.air_temperature_c, 100 * air.pressure_hpa, humidity_pct / 100)
