"""The speed column and its unit: stated, given, or told by the distance between positions; else refused."""

from __future__ import annotations

from typing import Final

import numpy as np

from traceanalyze.errors import FormatError
from traceanalyze.order import distinct, median
from traceanalyze.trace import FloatArray
from traceanalyze.units import SPEED_UNITS

#: Mean radius of the Earth [m] (IUGG 1980); a sphere is right to 0.5 %, units differ by 15 % at least.
_EARTH_M: Final = 6_371_008.8
#: Time and distance over which speed is compared with positions [s, m], and how many such stretches it takes.
_STRETCH_S, _STRETCH_M, _STRETCHES = 3.0, 10.0, 10
_ROWS_COMPARED: Final = 200_000  #: hours of any receiver
#: How far the ratio of distances may be from a unit's.
_NEAR = 0.05


def unit_by_positions(t_s: FloatArray, speed: FloatArray, lat_deg: FloatArray, lon_deg: FloatArray) -> str:
    """Return the unit in which speed, integrated, agrees with the distance between positions; empty if none does.

    Parameters
    ----------
    t_s, speed, lat_deg, lon_deg : (n,) float
        In file order; speed in the unknown unit. Rows without any of them are left out.
    """
    known = np.flatnonzero(np.isfinite(t_s) & np.isfinite(speed) & np.isfinite(lat_deg) & np.isfinite(lon_deg))
    known = known[:_ROWS_COMPARED]
    t_s, speed, lat_deg, lon_deg = t_s[known], speed[known], np.radians(lat_deg[known]), np.radians(lon_deg[known])
    step_s = np.diff(t_s)
    if not (step_s > 0).any():
        return ""
    lag = max(1, round(_STRETCH_S / median(step_s[step_s > 0])))
    if t_s.size <= lag:
        return ""
    covered = np.concatenate([[0.0], np.cumsum((speed[1:] + speed[:-1]) / 2 * step_s)])
    took_s, integral = t_s[lag:] - t_s[:-lag], covered[lag:] - covered[:-lag]
    east = (lon_deg[lag:] - lon_deg[:-lag]) * np.cos(lat_deg[lag:])
    chord_m = _EARTH_M * np.hypot(east, lat_deg[lag:] - lat_deg[:-lag])
    usable = (chord_m >= _STRETCH_M) & (took_s > 0) & (took_s <= 2 * _STRETCH_S) & (integral > 0)
    if usable.sum() < _STRETCHES:
        return ""
    ratio = median(integral[usable] / chord_m[usable])
    return next((unit for unit, factor in SPEED_UNITS.items() if abs(ratio * factor - 1) <= _NEAR), "")


def unit_refusal(name: str, listed: str) -> FormatError:
    """Return the refusal of a speed column whose unit nobody states."""
    return FormatError(
        f"the unit of the speed column {name!r} is not stated (columns: {listed})",
        advice=f"say it, or name another column: --column speed={name} --speed-unit m/s (or km/h, mph, kn)",
    )


def magnitudes(speed: FloatArray) -> tuple[FloatArray, str]:
    """Return speeds without a sign, and what was done about negative ones.

    One negative value used again and again (-1, -999) stands for 'no speed' and becomes NaN; other negative
    values are the speed of a vehicle in reverse.
    """
    negative = speed < 0
    if not negative.any():
        return speed, ""
    values = distinct(speed[negative])
    if values.size == 1 and values[0] <= -1:
        return np.where(negative, np.nan, speed), f"{int(negative.sum())} speeds of {values[0]:g} mean none"
    low = float(values[0])
    return np.abs(speed), f"negative speeds (to {low:.3g}) are read without their sign" if low < -0.5 else ""


def is_sorted_copy(speed: FloatArray) -> bool:
    """Tell whether speeds never fall over a long file: a recording of a drive does, a sorted column does not."""
    values = speed[np.isfinite(speed)]
    return values.size >= 200 and bool((np.diff(values) >= 0).all()) and distinct(values).size > 20
