"""What a day sheet says: the day, the machine, and which runs belong to which setup."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Literal

NAN = float("nan")
RunKind = Literal["launch", "pass"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """Air, wind, road and rider, in the units that the sheet is written in; NaN or empty where it says nothing.

    Attributes
    ----------
    air_temperature_c : float
        [degrees Celsius]
    pressure_hpa : float
        Pressure of the air at the place itself, not reduced to sea level [hPa].
    humidity_pct : float
        Relative humidity [%].
    wind_mps, gust_mps : float
        Mean wind and gusts [m/s].
    wind_from_deg : float
        Where the wind comes from, clockwise from true north [degrees].
    grade_pct : float
        Slope of the road, positive uphill in the direction ridden first [%].
    surface : str
        Of the road.
    tyre_pressure_kpa : tuple of float
        Above the air around [kPa]: one for all tyres, or front and rear.
    rider_mass_kg : float
        The rider as dressed [kg].
    posture, clothing : str
    """

    air_temperature_c: float = NAN
    pressure_hpa: float = NAN
    humidity_pct: float = NAN
    wind_mps: float = NAN
    gust_mps: float = NAN
    wind_from_deg: float = NAN
    grade_pct: float = NAN
    surface: str = ""
    tyre_pressure_kpa: tuple[float, ...] = ()
    rider_mass_kg: float = NAN
    posture: str = ""
    clothing: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Vehicle:
    """The machine, as one setup has it.

    Attributes
    ----------
    name : str
    mass_kg : float
        With rider and fuel [kg].
    tyre_circumference_m : float
        Length rolled in one turn of the driven wheel [m].
    teeth : tuple of (driving, driven)
        Teeth of each stage, from the engine to the wheel.
    max_engine_rpm : float
        The builder's own safe limit [1/min].
    engagement_rpm : float
        Engine speed above which the clutch or belt no longer slips [1/min].
    """

    name: str = ""
    mass_kg: float = NAN
    tyre_circumference_m: float = NAN
    teeth: tuple[tuple[int, int], ...] = ()
    max_engine_rpm: float = NAN
    engagement_rpm: float = NAN


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """One day at one place.

    Attributes
    ----------
    date : date or None
    place, notes : str
    utc_offset_s : float
        What the clocks of the sheet are ahead of UTC [s]; NaN when not said.
    conditions : Conditions
    """

    date: date | None = None
    place: str = ""
    notes: str = ""
    utc_offset_s: float = NAN
    conditions: Conditions = field(default_factory=Conditions)


@dataclass(frozen=True, slots=True)
class Skip:
    """One run that the rider leaves out, for a reason other than its time."""

    file: Path
    kind: RunKind
    number: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """One state of the machine and the runs ridden with it.

    Attributes
    ----------
    name : str
    files : tuple of Path
        The sheet's folder joined with each name as written; empty: every log of the sheet's folder, by the clock.
    from_s, to_s : float
        Clock window [s after local midnight]: a run belongs to it that starts at `from_s` or later and before
        `to_s`; NaN for an end that is left open.
    skip : tuple of Skip
    vehicle : Vehicle
        The day's vehicle with what this setup changes.
    conditions : Conditions
        The day's conditions with what this setup changes.
    notes : str
    """

    name: str
    files: tuple[Path, ...] = ()
    from_s: float = NAN
    to_s: float = NAN
    skip: tuple[Skip, ...] = ()
    vehicle: Vehicle = field(default_factory=Vehicle)
    conditions: Conditions = field(default_factory=Conditions)
    notes: str = ""

    @property
    def by_clock(self) -> bool:
        """Whether a clock window chooses its runs."""
        return not (math.isnan(self.from_s) and math.isnan(self.to_s))


@dataclass(frozen=True, slots=True, kw_only=True)
class DaySheet:
    """A day sheet without a mistake.

    Attributes
    ----------
    path : Path
    day : Day
    vehicle : Vehicle
    setups : tuple of Setup
        In the order written; the first is the baseline unless told otherwise.
    """

    path: Path
    day: Day = field(default_factory=Day)
    vehicle: Vehicle = field(default_factory=Vehicle)
    setups: tuple[Setup, ...] = ()

    @property
    def folder(self) -> Path:
        """Folder that the sheet's file names start from."""
        return self.path.parent

    @property
    def files(self) -> tuple[Path, ...]:
        """Every file it names, once, in order."""
        return tuple(dict.fromkeys(file for setup in self.setups for file in setup.files))
