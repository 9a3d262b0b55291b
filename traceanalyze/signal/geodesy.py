"""Positions on the ellipsoid -> metres: displacement, distance and direction over a strip, anywhere on Earth.

Two positions become points of space on the ellipsoid's surface; the chord between them, looked at from the place half
way, has the east and north parts wanted. No case differs: the dateline and the poles are ordinary. The chord is
shorter than the geodesic by (s/R)^2/24 of it, 1e-8 over 3 km and 1e-5 over 100 km, and is lengthened by just that.

Source: B. Hofmann-Wellenhof, H. Lichtenegger, E. Wasle, GNSS (Springer 2008), section 8.2.1 (ellipsoidal to Cartesian
coordinates and radii of curvature); constants of WGS 84, NGA.STND.0036 (2014), table 3.1.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from traceanalyze.errors import SignalError
from traceanalyze.trace import FloatArray

SEMI_MAJOR_M: Final = 6378137.0
FLATTENING: Final = 1 / 298.257223563
#: First eccentricity squared.
ECCENTRICITY_2: Final = FLATTENING * (2 - FLATTENING)
#: Mean radius of the ellipsoid [m], to lengthen chords by.
_MEAN_RADIUS_M: Final = SEMI_MAJOR_M * (1 - FLATTENING / 3)


def radii_m(lat_deg: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return the radii of curvature [m] at latitudes [degrees]: in the meridian, and across it (prime vertical)."""
    w2 = 1 - ECCENTRICITY_2 * np.sin(np.radians(np.asarray(lat_deg, float))) ** 2
    across = SEMI_MAJOR_M / np.sqrt(w2)
    return np.asarray(across * (1 - ECCENTRICITY_2) / w2), np.asarray(across)


def displacement_m(
    from_lat_deg: ArrayLike, from_lon_deg: ArrayLike, to_lat_deg: ArrayLike, to_lon_deg: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Return how far east and north [m] one leads to the other; arrays broadcast, NaN stays NaN.

    East and north are those of the place half way. Good to 1e-5 of the distance up to 100 km.
    """
    lat1, lon1, lat2, lon2 = (np.asarray(v, float) for v in (from_lat_deg, from_lon_deg, to_lat_deg, to_lon_deg))
    chord = [there - here for here, there in zip(_in_space(lat1, lon1), _in_space(lat2, lon2), strict=True)]
    lat = np.radians((lat1 + lat2) / 2)
    lon = np.radians(lon1 + degrees_apart(lon1, lon2) / 2)
    east = -np.sin(lon) * chord[0] + np.cos(lon) * chord[1]
    outward = np.cos(lon) * chord[0] + np.sin(lon) * chord[1]
    north = -np.sin(lat) * outward + np.cos(lat) * chord[2]
    longer = 1 + (east**2 + north**2) / (24 * _MEAN_RADIUS_M**2)
    return east * longer, north * longer


def _in_space(lat_deg: FloatArray, lon_deg: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Earth-centred coordinates [m] of points on the ellipsoid."""
    lat, lon = np.radians(lat_deg), np.radians(lon_deg)
    _, across = radii_m(lat_deg)
    outward = across * np.cos(lat)
    return outward * np.cos(lon), outward * np.sin(lon), across * (1 - ECCENTRICITY_2) * np.sin(lat)


def degrees_apart(from_deg: ArrayLike, to_deg: ArrayLike) -> FloatArray:
    """Return the way from one angle to another [degrees], the short way round: -180 to 180."""
    return np.asarray((np.asarray(to_deg, float) - np.asarray(from_deg, float) + 180) % 360 - 180)


def distance_m(
    from_lat_deg: ArrayLike, from_lon_deg: ArrayLike, to_lat_deg: ArrayLike, to_lon_deg: ArrayLike
) -> FloatArray:
    """Return the length of the geodesic [m] between positions up to 100 km apart."""
    return np.hypot(*displacement_m(from_lat_deg, from_lon_deg, to_lat_deg, to_lon_deg))


def azimuth_deg(
    from_lat_deg: ArrayLike, from_lon_deg: ArrayLike, to_lat_deg: ArrayLike, to_lon_deg: ArrayLike
) -> FloatArray:
    """Return the direction to set out in, clockwise from true north [degrees, 0 to 360]; NaN for no distance.

    That of the half way less half the convergence of the meridians.
    """
    east, north = displacement_m(from_lat_deg, from_lon_deg, to_lat_deg, to_lon_deg)
    lat = np.radians((np.asarray(from_lat_deg, float) + np.asarray(to_lat_deg, float)) / 2)
    convergence = degrees_apart(from_lon_deg, to_lon_deg) * np.sin(lat)
    azimuth = (np.degrees(np.arctan2(east, north)) - convergence / 2) % 360
    return np.where((east == 0) & (north == 0), np.nan, azimuth)


def local_east_north_m(lat_deg: FloatArray, lon_deg: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return positions in a plane [m]: the track's steps laid end to end, from (0, 0) at its first known position.

    Every step has its true length and direction however long the track; only its far ends may be laid a little off,
    as no plane fits the Earth. NaN where a position is unknown.

    Raises
    ------
    SignalError
        If shapes differ.
    """
    if lat_deg.shape != lon_deg.shape or lat_deg.ndim != 1:
        raise SignalError(f"{lat_deg.size} latitudes and {lon_deg.size} longitudes differ")
    east, north = np.full(lat_deg.size, np.nan), np.full(lat_deg.size, np.nan)
    rows = np.flatnonzero(np.isfinite(lat_deg) & np.isfinite(lon_deg))
    if rows.size:
        lat, lon = lat_deg[rows], lon_deg[rows]
        for plane, steps in zip((east, north), displacement_m(lat[:-1], lon[:-1], lat[1:], lon[1:]), strict=True):
            plane[rows] = np.concatenate(([0.0], np.cumsum(steps)))
    return east, north
