"""The keys a sheet may hold, and what each must look like."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from datetime import date, datetime, time
from typing import Any, Final

Check = Callable[[Any], Any]


class WrongValueError(ValueError):
    """A value that its key cannot take: what it should be."""


def number(low: float, high: float, what: str) -> Check:
    """Return a check for a number of a stated range."""

    def check(value: Any) -> float:
        is_number = isinstance(value, int | float) and not isinstance(value, bool)
        if not (is_number and math.isfinite(value) and low <= value <= high):
            raise WrongValueError(f"give {what} as a number from {low:g} to {high:g}, without quotes")
        return float(value)

    return check


def text(what: str) -> Check:
    """Return a check for a text in quotes."""

    def check(value: Any) -> str:
        if not isinstance(value, str):
            raise WrongValueError(f"give {what} in quotes")
        return value.strip()

    return check


def name(value: Any) -> str:
    """Check a text that must say something."""
    if not isinstance(value, str) or not value.strip():
        raise WrongValueError("give a name in quotes")
    return value.strip()


def a_date(value: Any) -> date:
    """Check a date without a time."""
    if isinstance(value, str):
        try:
            value = date.fromisoformat(value.strip())
        except ValueError:
            value = None
    if not isinstance(value, date) or isinstance(value, datetime):
        raise WrongValueError("write the date as year-month-day, such as 2026-05-17")
    return value


def offset(value: Any) -> float:
    """Return an offset from UTC [s] written as in RFC 3339, such as '+02:00' or 'Z'."""
    found = re.fullmatch(r"([+-])(\d\d):?(\d\d)", value.strip(), re.ASCII) if isinstance(value, str) else None
    if isinstance(value, str) and value.strip() in ("Z", "UTC"):
        return 0.0
    # offsets in use run from -12:00 to +14:00 (IANA time zone database)
    if found is None or int(found[3]) > 59 or int(found[2]) * 60 + int(found[3]) > 14 * 60:
        raise WrongValueError('write what your clock is ahead of UTC, such as "+02:00" or "-05:00"')
    return float((1 if found[1] == "+" else -1) * (int(found[2]) * 3600 + int(found[3]) * 60))


def clock(value: Any) -> float:
    """Return a time of day [s after midnight] written '14:05' or '14:05:30'."""
    if isinstance(value, time):
        return value.hour * 3600 + value.minute * 60 + value.second + value.microsecond / 1e6
    found = re.fullmatch(r"(\d{1,2}):(\d\d)(?::(\d\d))?", value.strip(), re.ASCII) if isinstance(value, str) else None
    if found is None or int(found[2]) > 59 or int(found[3] or 0) > 59:
        raise WrongValueError('write a time of day, such as "14:05" or "14:05:30"')
    seconds = int(found[1]) * 3600 + int(found[2]) * 60 + int(found[3] or 0)
    if seconds > 86400:
        raise WrongValueError('write a time of day from "00:00" to "24:00"')
    return float(seconds)


def texts(value: Any) -> tuple[str, ...]:
    """Check a list of texts; one text alone is a list of one."""
    value = [value] if isinstance(value, str) else value
    if not isinstance(value, list) or not value or not all(isinstance(one, str) and one for one in value):
        raise WrongValueError('write a list of names in quotes, such as ["run1.nmea", "run2.nmea"]')
    return tuple(value)


def teeth(value: Any) -> tuple[tuple[int, int], ...]:
    """Check teeth: driving and driven, in pairs, one pair a stage."""
    pairs = value if isinstance(value, list) and all(isinstance(one, list) for one in value) else None
    flat = [tooth for pair in pairs for tooth in pair] if pairs else value
    whole = isinstance(flat, list) and all(type(tooth) is int and 3 <= tooth <= 1000 for tooth in flat)
    if not whole or not flat or len(flat) % 2 or any(len(pair) != 2 for pair in pairs or ()):
        raise WrongValueError("give whole numbers of teeth in pairs of driving and driven, such as [15, 41]")
    return tuple(zip(flat[::2], flat[1::2], strict=True))


def pressures(value: Any) -> tuple[float, ...]:
    """Check tyre pressures: one number, or front and rear [kPa above the air around]."""
    values = value if isinstance(value, list) else [value]
    one = number(10, 1000, "a tyre pressure in kPa (1 psi is 6.895 kPa)")
    if not 1 <= len(values) <= 2:
        raise WrongValueError("give one tyre pressure in kPa, or front and rear, such as [180, 200]")
    return tuple(one(pressure) for pressure in values)


# Ranges are wide enough for any rideable place and machine and tight enough to catch a wrong unit: the record
# pressures at the ground are 870 and 1084 hPa reduced to sea level (WMO archive of extremes); 500 hPa is a road at
# 5600 m. Bounds of machines: common practice, no source.
CONDITIONS: Final[dict[str, Check]] = {
    "air_temperature_c": number(-60, 60, "degrees Celsius"),
    "pressure_hpa": number(500, 1100, "the air pressure at the place in hPa (1 inHg is 33.86 hPa)"),
    "humidity_pct": number(0, 100, "the relative humidity in percent"),
    "wind_mps": number(0, 50, "the mean wind in m/s"),
    "gust_mps": number(0, 80, "the gusts in m/s"),
    "wind_from_deg": number(0, 360, "the direction the wind comes from in degrees"),
    "grade_pct": number(-30, 30, "the slope of the road in percent"),
    "surface": text("the surface of the road"),
    "tyre_pressure_kpa": pressures,
    "rider_mass_kg": number(10, 250, "the mass of the dressed rider in kg"),
    "posture": text("the posture of the rider"),
    "clothing": text("the clothing of the rider"),
}
MACHINE: Final[dict[str, Check]] = {
    "mass_kg": number(10, 2000, "the mass with rider and fuel in kg"),
    "tyre_circumference_m": number(0.2, 4, "the rolled length of one turn of the wheel in m"),
    "teeth": teeth,
    "max_engine_rpm": number(500, 30000, "the engine's safe limit in turns a minute"),
    "engagement_rpm": number(200, 30000, "the engine speed of full engagement in turns a minute"),
}
DAY: Final[dict[str, Check]] = {
    "date": a_date,
    "place": text("the place"),
    "notes": text("notes"),
    "utc_offset": offset,
    "files": texts,
} | CONDITIONS
VEHICLE: Final[dict[str, Check]] = {"name": name} | MACHINE
SETUP: Final[dict[str, Check]] = (
    {
        "name": name,
        "files": texts,
        "from": clock,
        "to": clock,
        "skip": texts,
        "notes": text("notes"),
    }
    | MACHINE
    | CONDITIONS
)
TABLES: Final = {"day": DAY, "vehicle": VEHICLE, "setup": SETUP}
