"""Columns of an accelerometer -> specific force in m/s^2 on its own clock; the unit is told by gravity."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from traceanalyze.order import median
from traceanalyze.trace import Accelerometer, FloatArray
from traceanalyze.units import GRAVITY_MPS2

#: Length of gravity as the sensor may show it, in g: a cheap sensor's scale and bias are off by a few percent, and a
#: rough ride adds a little even to means over a second.
_GRAVITY_RANGE = (0.85, 1.25)
FACTORS: Final = {"m/s2": 1.0, "g": GRAVITY_MPS2, "mg": GRAVITY_MPS2 / 1000}


#: Rows that the unit is told from: minutes of any logger.
_ROWS_WEIGHED = 50_000


def unit_by_gravity(t_s: FloatArray, axes: Sequence[FloatArray]) -> str:
    """Return the unit, `m/s2` or `g`, in which the mean force over a second has the length of gravity; else empty.

    Means over a second take engine vibration out; their median over minutes is gravity, in rides as at rest.
    """
    if len(axes) < 3:
        return ""
    first = slice(_ROWS_WEIGHED)
    known = np.flatnonzero(np.isfinite(t_s[first] + sum(axis[first] for axis in axes)))
    if not known.size:
        return ""
    second = np.floor(t_s[known] - t_s[known[0]])
    begin = np.flatnonzero(np.diff(second, prepend=np.nan) != 0)
    counts = np.diff(begin, append=known.size)
    length = np.sqrt(sum((np.add.reduceat(axis[known], begin) / counts) ** 2 for axis in axes))
    low, high = _GRAVITY_RANGE
    g = median(length) / GRAVITY_MPS2
    return next((unit for unit in ("m/s2", "g") if low <= g * FACTORS[unit] <= high), "")


def accelerometer_of(
    t_s: FloatArray, axes: Sequence[FloatArray | None], factor: float
) -> tuple[Accelerometer | None, int]:
    """Return the accelerometer of rows in file order, and how many rows repeat or precede an earlier time.

    Rows newest first are turned round. None when no row has a time and a force.
    """
    measured = [axis for axis in axes if axis is not None]
    known = np.isfinite(t_s + sum(measured))
    if not known.all():
        known = np.isfinite(t_s) & np.logical_or.reduce([np.isfinite(axis) for axis in measured])
    count = int(np.count_nonzero(known))
    if not count:
        return None, 0
    rows = slice(None) if count == t_s.size else np.flatnonzero(known)
    times = t_s[rows]
    rising = np.diff(times) > 0
    if not rising.all():
        rows, times = _rising_rows(np.arange(t_s.size)[rows], times)
    force_mps2 = np.full((times.size, 3), np.nan)
    for column, axis in enumerate(axes):
        if axis is not None:
            np.multiply(axis[rows], factor, out=force_mps2[:, column])
    return Accelerometer(t_s=times, force_mps2=force_mps2), count - times.size


def _rising_rows(rows: NDArray[np.intp], times: FloatArray) -> tuple[NDArray[np.intp], FloatArray]:
    """Return rows and times without those that repeat or precede an earlier time; turned round when newest first."""
    if (np.diff(times) < 0).sum() > times.size / 2:
        rows, times = rows[::-1], times[::-1]
    keep = np.concatenate([[True], times[1:] > np.maximum.accumulate(times)[:-1]])
    return rows[keep], times[keep]
