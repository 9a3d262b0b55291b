"""Where a ride takes it: positions and velocities over ground, metres on the strip and degrees on the ellipsoid."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from traceanalyze.simulate.rides import Ride, Strip
from traceanalyze.trace import FloatArray

#: WGS-84 ellipsoid (NIMA TR8350.2): semi-major axis [m] and square of the first eccentricity.
WGS84_A_M = 6378137.0
WGS84_E2 = 0.00669437999014


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """Where the vehicle is and how it moves at some times, each (n,).

    East and north of the strip's start [m], height above it [m], signed velocity east and north [m/s], heading of
    the vehicle clockwise from north [radians].
    """

    east_m: FloatArray
    north_m: FloatArray
    up_m: FloatArray
    east_mps: FloatArray
    north_mps: FloatArray
    heading_rad: FloatArray


def place(made: Ride, t_s: FloatArray) -> Place:
    """Return position and velocity at given times [s]."""
    along_m = made.motion.distance_at(t_s)
    speed_mps = made.motion.speed_at(t_s)
    heading, east, north = (np.zeros_like(along_m) for _ in range(3))
    at_m, at_heading, at_east, at_north = -math.inf, math.radians(made.strip.heading_deg), 0.0, 0.0
    base_m = 0.0
    for start_m, end_m, bend in [*made.turns.tolist(), (math.inf, math.inf, 0.0)]:
        on = (along_m >= at_m) & (along_m < start_m)
        _straight(on, along_m - base_m, at_heading, (at_east, at_north), (heading, east, north))
        if math.isinf(start_m):
            break
        at_east += (start_m - base_m) * math.sin(at_heading)
        at_north += (start_m - base_m) * math.cos(at_heading)
        on = (along_m >= start_m) & (along_m < end_m)
        _bent(on, along_m - start_m, at_heading, bend, (at_east, at_north), (heading, east, north))
        new = at_heading + bend * (end_m - start_m)
        at_east += (math.cos(at_heading) - math.cos(new)) / bend
        at_north += (math.sin(new) - math.sin(at_heading)) / bend
        at_m = base_m = end_m
        at_heading = new
    axis = math.radians(made.strip.heading_deg)
    up = made.around.grade_pct / 100 * (east * math.sin(axis) + north * math.cos(axis))
    return Place(east, north, up, speed_mps * np.sin(heading), speed_mps * np.cos(heading), heading)


Out = tuple[FloatArray, FloatArray, FloatArray]


def _straight(on: Any, s: FloatArray, heading: float, at: tuple[float, float], out: Out) -> None:
    out[0][on] = heading
    out[1][on] = at[0] + s[on] * math.sin(heading)
    out[2][on] = at[1] + s[on] * math.cos(heading)


def _bent(on: Any, s: FloatArray, heading: float, bend: float, at: tuple[float, float], out: Out) -> None:
    turned = heading + bend * s[on]
    out[0][on] = turned
    out[1][on] = at[0] + (math.cos(heading) - np.cos(turned)) / bend
    out[2][on] = at[1] + (np.sin(turned) - math.sin(heading)) / bend


def to_degrees(strip: Strip, east_m: FloatArray, north_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return latitude and longitude [degrees] of places east and north of the strip's start [m].

    The local metric of the WGS-84 ellipsoid, its curvature taken midway to each place: within 1 mm of the
    geodesic for strips of 2 km.
    """
    lat = np.full_like(north_m, math.radians(strip.lat_deg))
    for _ in range(2):
        middle = (lat + math.radians(strip.lat_deg)) / 2
        w2 = 1 - WGS84_E2 * np.sin(middle) ** 2
        lat = math.radians(strip.lat_deg) + north_m * w2**1.5 / (WGS84_A_M * (1 - WGS84_E2))
    middle = (lat + math.radians(strip.lat_deg)) / 2
    w2 = 1 - WGS84_E2 * np.sin(middle) ** 2
    lon = math.radians(strip.lon_deg) + east_m * np.sqrt(w2) / (WGS84_A_M * np.cos(middle))
    return np.degrees(lat), np.degrees(lon)
