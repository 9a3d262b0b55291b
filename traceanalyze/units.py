"""Exact factors, and the words of the trade for measures: '0-30 mph', '60 ft', 'top speed'.

Numbers are SI everywhere else; they are converted here and at the borders only.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final, Literal

from traceanalyze.errors import UsageError

MILE_M: Final = 1609.344  #: international mile, exact (40 CFR 1066.20(b)(4))
FOOT_M: Final = 0.3048  #: international foot, exact
NAUTICAL_MILE_M: Final = 1852.0  #: international nautical mile, exact
MPH: Final = MILE_M / 3600  #: m/s in 1 mph: 0.44704
KMH: Final = 1 / 3.6  #: m/s in 1 km/h
KNOT: Final = NAUTICAL_MILE_M / 3600  #: m/s in 1 knot
GRAVITY_MPS2: Final = 9.80665  #: standard acceleration of free fall, exact (CGPM 1901)

SPEED_UNITS: Final = {"m/s": 1.0, "mph": MPH, "km/h": KMH, "kn": KNOT}
LENGTH_UNITS: Final = {"m": 1.0, "ft": FOOT_M, "km": 1000.0, "mi": MILE_M}
_OTHER_WORDS: Final = {
    "kmh": "km/h", "kph": "km/h", "kmph": "km/h", "mps": "m/s", "ms": "m/s", "kt": "kn", "kts": "kn", "knot": "kn",
    "knots": "kn", "foot": "ft", "feet": "ft", "mile": "mi", "miles": "mi", "metre": "m", "metres": "m", "meter": "m",
    "meters": "m",
}  # fmt: skip

Kind = Literal["standing", "rolling", "stopping", "distance", "top speed"]
StartRule = Literal["rollout", "rest", "threshold"]
System = Literal["imperial", "metric"]
START_RULES: Final[tuple[StartRule, ...]] = ("rollout", "rest", "threshold")


@dataclass(frozen=True, slots=True)
class Measure:
    """One thing to time.

    Attributes
    ----------
    label : str
        As the trade writes it, in one spelling: `0-30 mph`, `60 ft`, `1/8 mi`, `top speed`.
    kind : str
        `standing` (from rest to a speed), `rolling` (between two speeds, rising), `stopping` (between
        two speeds, falling), `distance` (from rest over a length) or `top speed`.
    from_mps, to_mps : float
        Speeds at both ends [m/s]; NaN where the kind has none.
    distance_m : float
        Length [m] of a `distance`; NaN otherwise.
    """

    label: str
    kind: Kind
    from_mps: float = float("nan")
    to_mps: float = float("nan")
    distance_m: float = float("nan")

    @property
    def from_rest(self) -> bool:
        """Whether a start rule belongs to it."""
        return self.kind in ("standing", "distance")


_NUMBER = r"(\d+(?:\.\d+)?)"
_SPEEDS = re.compile(rf"{_NUMBER}\s*(?:-|–|to)\s*{_NUMBER}\s*([a-z/]+)", re.ASCII)
_LENGTH = re.compile(rf"(?:(\d+)\s*/\s*(\d+)|{_NUMBER})\s*([a-z]+)", re.ASCII)
_EXAMPLES = 'write it like "0-30 mph", "0-50 km/h", "20-40 mph", "30-0 mph", "60 ft", "100 m", "1/8 mi" or "top speed"'


def unit_name(word: str, table: dict[str, float]) -> str:
    """Return the one spelling of a unit that `table` knows.

    Raises
    ------
    UsageError
        If the word is no unit of that table.
    """
    name = word.strip().lower()
    name = _OTHER_WORDS.get(name, name)
    if name not in table:
        raise UsageError(f"unknown unit {word!r}", advice="known are " + ", ".join(table))
    return name


def parse_measure(text: str) -> Measure:
    """Return the measure that a text such as '0-30 mph' or '60 ft' names; case and spaces don't matter.

    Raises
    ------
    UsageError
        If the text is none of the known forms.
    """
    words = " ".join(text.lower().split())
    if words.replace("-", " ").replace(" ", "") in ("topspeed", "top"):
        return Measure("top speed", "top speed")
    if found := _SPEEDS.fullmatch(words):
        return _speeds(float(found[1]), float(found[2]), unit_name(found[3], SPEED_UNITS), text)
    if found := _LENGTH.fullmatch(words):
        unit = unit_name(found[4], LENGTH_UNITS)
        if found[1] and int(found[2]) == 0:
            raise UsageError(f"{text!r} divides by zero", advice=_EXAMPLES)
        number = int(found[1]) / int(found[2]) if found[1] else float(found[3])
        if not 0 < number * LENGTH_UNITS[unit] < 1e5:
            raise UsageError(f"{text!r} is no length that can be timed", advice=_EXAMPLES)
        shown = f"{int(found[1])}/{int(found[2])}" if found[1] else f"{number:g}"
        return Measure(f"{shown} {unit}", "distance", distance_m=number * LENGTH_UNITS[unit])
    raise UsageError(f"{text!r} is not a known measure", advice=_EXAMPLES)


def _speeds(low: float, high: float, unit: str, text: str) -> Measure:
    if low == high or max(low, high) * SPEED_UNITS[unit] > 500:
        raise UsageError(f"{text!r} is no range of speeds that can be timed", advice=_EXAMPLES)
    kind: Kind = "standing" if low == 0 else "rolling" if low < high else "stopping"
    return Measure(f"{low:g}-{high:g} {unit}", kind, low * SPEED_UNITS[unit], high * SPEED_UNITS[unit])


@dataclass(frozen=True, slots=True)
class Window:
    """The window a sustained speed is held over: a duration or a length, the other NaN."""

    duration_s: float = float("nan")
    length_m: float = float("nan")

    @property
    def label(self) -> str:
        """As it was asked for: `1 s` or `100 m`."""
        return f"{self.duration_s:g} s" if self.duration_s == self.duration_s else f"{self.length_m:g} m"


def parse_window(text: str) -> Window:
    """Return the window that '1s', '3 s' or '100m' names.

    Raises
    ------
    UsageError
        If it is neither a time of 0.2 to 60 s nor a length of 1 m to 2 km.
    """
    found = re.fullmatch(rf"{_NUMBER}\s*([a-z]+)", text.strip().lower(), re.ASCII)
    advice = 'write a time such as "1s" or "3s" (0.2 to 60 s), or a length such as "100m" (1 to 2000 m)'
    if not found:
        raise UsageError(f"{text!r} is not a window", advice=advice)
    if found[2] in ("s", "sec", "second", "seconds"):
        if 0.2 <= float(found[1]) <= 60:
            return Window(duration_s=float(found[1]))
        raise UsageError(f"a window of {text!r} is out of range", advice=advice)
    length_m = float(found[1]) * LENGTH_UNITS[unit_name(found[2], LENGTH_UNITS)]
    if 1 <= length_m <= 2000:
        return Window(length_m=length_m)
    raise UsageError(f"a window of {text!r} is out of range", advice=advice)


def speed_unit(system: System) -> str:
    """Return the unit speeds are shown in: `mph` or `km/h`."""
    return "mph" if system == "imperial" else "km/h"


def length_unit(system: System) -> str:
    """Return the unit lengths are shown in: `ft` or `m`."""
    return "ft" if system == "imperial" else "m"
