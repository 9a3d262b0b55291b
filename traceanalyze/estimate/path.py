"""Which way a stretch runs, and how steeply."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from traceanalyze.signal.geodesy import displacement_m
from traceanalyze.trace import FloatArray, Trace

#: Shortest chord that has a direction [m]: several times what positions wander in a few seconds.
_CHORD_M: Final = 8.0
#: A way that bends more than this (chord over way travelled) has no one direction.
_STRAIGHT_SHARE: Final = 0.7
#: Below this a receiver's course is noise [m/s].
_COURSE_MPS: Final = 2.0
#: Shortest stretch whose slope is looked for [m], and the standard uncertainty up to which it is told [%].
_GRADE_OVER_M: Final = 40.0
_GRADE_STDERR_PCT: Final = 0.5
#: A receiver's altitude wanders by this against itself within seconds, even with the steadiest fix [m]; common
#: practice, no source. Its errors last so long [s] that a stretch of that length holds but three independent ones.
_ALTITUDE_SIGMA_M: Final = 0.15
_ALTITUDE_MEMORY_S: Final = 10.0
#: Places of a log at which its altitudes are compared.
_PLACES: Final = 5000


def heading_deg(trace: Trace, first: int, last: int) -> float:
    """Return the direction of travel from one place of a trace to another, clockwise from true north [degrees].

    From the positions at both ends; from the receiver's courses, weighted by speed, where there are none. NaN when
    neither is known, or when the way bends so much that it has no one direction.
    """
    part = slice(first, last + 1)
    lat, lon = trace.lat_deg[part], trace.lon_deg[part]
    known = np.flatnonzero(np.isfinite(lat) & np.isfinite(lon))
    way_m = travelled_m(trace.t_s[part], trace.speed_mps[part])
    if known.size > 1:
        ends = known[[0, -1]]
        east_m, north_m = (float(way) for way in displacement_m(lat[ends[0]], lon[ends[0]], lat[ends[1]], lon[ends[1]]))
        chord_m = math.hypot(north_m, east_m)
        between_m = float(way_m[known[-1]] - way_m[known[0]])
        if chord_m >= max(_CHORD_M, _STRAIGHT_SHARE * between_m):
            return math.degrees(math.atan2(east_m, north_m)) % 360.0
        if between_m >= 2 * _CHORD_M:
            return math.nan
    return _mean_course_deg(trace.course_deg[part], trace.speed_mps[part])


def _mean_course_deg(course_deg: FloatArray, speed_mps: FloatArray) -> float:
    use = np.isfinite(course_deg) & (np.nan_to_num(speed_mps) > _COURSE_MPS)
    if not use.any():
        return math.nan
    weight = speed_mps[use]
    pointing = np.sum(weight * np.exp(1j * np.radians(course_deg[use]))) / weight.sum()
    return (
        math.degrees(math.atan2(pointing.imag, pointing.real)) % 360.0 if abs(pointing) > _STRAIGHT_SHARE else math.nan
    )


def travelled_m(t_s: FloatArray, speed_mps: FloatArray) -> FloatArray:
    """Return the way travelled since the first sample [m], bridging missing speeds by a straight line."""
    known = np.isfinite(speed_mps)
    if not known.any():
        return np.zeros(t_s.size)
    filled = np.interp(t_s, t_s[known], np.abs(speed_mps[known]))
    return np.concatenate(([0.0], np.cumsum(0.5 * (filled[1:] + filled[:-1]) * np.diff(t_s))))


def grade_pct(trace: Trace, first: int, last: int) -> float:
    """Return the mean slope between two places of a trace, up positive [%]; NaN where altitude cannot tell.

    A straight line of altitude over the way travelled. Told only when its standard uncertainty, from the scatter
    about the line, the rounding and a receiver's slow wander, is half a percent or less: the largest slope that
    road-load rules let pass (40 CFR 1066.310, SAE J1263 7.4).
    """
    part = slice(first, last + 1)
    altitude = trace.altitude_m[part]
    known = np.isfinite(altitude)
    if known.sum() < 4 or (np.ptp(altitude[known]) == 0 and _flat(trace.altitude_m)):
        return math.nan
    way_m, z_m, t_s = (
        travelled_m(trace.t_s[part], trace.speed_mps[part])[known],
        altitude[known],
        trace.t_s[part][known],
    )
    length_m = float(np.ptp(way_m))
    if length_m < _GRADE_OVER_M:
        return math.nan
    from_mean = way_m - way_m.mean()
    slope = float(from_mean @ z_m / (from_mean @ from_mean))
    scatter_m = float(np.std(z_m - z_m.mean() - slope * from_mean))
    sigma_m = math.sqrt(max(scatter_m, _ALTITUDE_SIGMA_M) ** 2 + _step_m(altitude) ** 2 / 12)
    independent = max(3.0, float(np.ptp(t_s)) / _ALTITUDE_MEMORY_S)
    stderr = sigma_m / (float(np.std(way_m)) * math.sqrt(independent))
    return 100.0 * slope if 100.0 * stderr <= _GRADE_STDERR_PCT else math.nan


def _flat(altitude_m: FloatArray) -> bool:
    """Whether a whole log holds one altitude only: a receiver without a height, or a made-up one.

    Looked at in thousands of places, since every launch and pass of a long log asks.
    """
    known = altitude_m[:: 1 + altitude_m.size // _PLACES]
    known = known[np.isfinite(known)]
    return not known.size or float(np.ptp(known)) == 0.0


def _step_m(altitude_m: FloatArray) -> float:
    """Rounding step of altitudes [m]: the smallest difference between neighbours that recurs."""
    steps = np.abs(np.diff(altitude_m[np.isfinite(altitude_m)]))
    steps = steps[steps > 1e-6]
    few = steps.size // 20
    return float(np.partition(steps, few)[few]) if steps.size else 0.0
