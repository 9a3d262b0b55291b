"""The time of a ride along a picture: long pauses cut out, holes kept open, no more points than can be seen."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import overload

import numpy as np

from traceanalyze.trace import FloatArray, Trace

#: More points than this across a picture cannot be seen; the envelope of the rest is drawn.
MOST_POINTS = 6000
#: Room along a picture that a digit of a launch's number takes, and that numbers keep off each other, as its shares.
DIGIT_SHARE, OFF_SHARE = 0.0125, 0.001
#: A pause longer than this [s] and than this share of what was recorded is cut down to `PAUSE_SHARE` of it.
LONG_PAUSE_S, LONG_PAUSE_SHARE, PAUSE_SHARE = 300.0, 0.5, 0.03


@dataclass(frozen=True, slots=True, eq=False)
class MinuteAxis:
    """Where moments of a log lie along the picture.

    Attributes
    ----------
    knots_s, places_s : (k,) float
        Moments of the log and where they are drawn [s], both rising.
    unit_s : float
        Seconds in one unit of the axis.
    label : str
        Of the axis.
    """

    knots_s: FloatArray
    places_s: FloatArray
    unit_s: float
    label: str

    @overload
    def at(self, time_s: float) -> float: ...
    @overload
    def at(self, time_s: FloatArray) -> FloatArray: ...
    def at(self, time_s: float | FloatArray) -> float | FloatArray:
        """Return the places of moments [s] in units of the axis."""
        return np.interp(time_s, self.knots_s, self.places_s) / self.unit_s

    @property
    def length(self) -> float:
        """Length of the axis, in its units."""
        return max(float(self.places_s[-1]) / self.unit_s, 1e-9)


def minute_axis(trace: Trace) -> MinuteAxis:
    """Return the axis of a log: minutes from its start, hours when it is long, long pauses cut short."""
    t_s = trace.t_s if trace.points else np.zeros(1)
    steps_s = np.diff(t_s)
    long = np.zeros(steps_s.size, bool)
    if steps_s.size:
        usual_s = max(LONG_PAUSE_S, 20 * float(np.median(steps_s)))
        recorded_s = float(steps_s[steps_s <= usual_s].sum())
        long = steps_s > max(usual_s, LONG_PAUSE_SHARE * recorded_s)
        steps_s = np.where(long, PAUSE_SHARE * recorded_s, steps_s)
    ends = np.flatnonzero(long)
    knots = np.unique(np.concatenate([[0], ends, ends + 1, [t_s.size - 1]]))
    places_s = np.concatenate([[0.0], np.cumsum(steps_s)])
    unit_s, unit = (3600.0, "h") if places_s[-1] > 10 * 3600 else (60.0, "min")
    note = f"time from the start of the log [{unit}]"
    if count := int(long.sum()):
        note = f"time [{unit}], " + ("a long pause" if count == 1 else f"{count} long pauses") + " cut out"
    return MinuteAxis(t_s[knots], places_s[knots], unit_s, note)


def with_breaks(trace: Trace) -> tuple[FloatArray, FloatArray]:
    """Return times and speeds with a NaN where the record has a hole, so that no line is drawn across it."""
    t_s, speed_mps = trace.t_s, trace.speed_mps
    if t_s.size < 3:
        return t_s, speed_mps
    step_s = np.diff(t_s)
    holes = np.flatnonzero((step_s > 3.5 * np.median(step_s)) | (np.diff(trace.stretch) > 0)) + 1
    return np.insert(t_s, holes, t_s[holes]), np.insert(speed_mps, holes, np.nan)


def thinned(t_s: FloatArray, speed_mps: FloatArray, most: int = MOST_POINTS) -> tuple[FloatArray, FloatArray]:
    """Return about `most` points: the lowest and the highest of each slice, in order of time, and the first hole."""
    if t_s.size <= most:
        return t_s, speed_mps
    size = -(-t_s.size * 2 // most)
    whole = t_s.size // size * size
    slices = speed_mps[:whole].reshape(-1, size)
    low = np.argmin(np.where(np.isfinite(slices), slices, np.inf), axis=1)
    high = np.argmax(np.where(np.isfinite(slices), slices, -np.inf), axis=1)
    offset = np.arange(slices.shape[0]) * size
    missing = np.isnan(slices)
    hole = (offset + np.argmax(missing, axis=1))[missing.any(axis=1)]
    keep = np.unique(np.concatenate([offset + low, offset + high, hole, np.arange(whole, t_s.size)]))
    return t_s[keep], speed_mps[keep]


def roomy(x: FloatArray, y: FloatArray, room: tuple[float, float], *, first: Iterable[int] | None = None) -> list[int]:
    """Return which labels can stand without overlapping, those that come first in `first` (or by place) kept first.

    Parameters
    ----------
    x, y : (n,) float
        Places, as shares of the width and the height of the axes.
    room : tuple of float
        Width and height of one label, likewise.
    """
    kept: list[int] = []
    for k in range(x.size) if first is None else first:
        if all(abs(x[k] - x[j]) > room[0] or abs(y[k] - y[j]) > room[1] for j in kept):
            kept.append(int(k))
    return kept


def roomy_numbers(x: FloatArray, numbers: Sequence[int]) -> list[int]:
    """Return which numbers of launches can stand in one line at places `x` (shares of its length)."""
    digits = max((len(str(number)) for number in numbers), default=0)
    return roomy(x, np.zeros(x.size), (OFF_SHARE + DIGIT_SHARE * digits, 1.0))
