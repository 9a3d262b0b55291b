"""Heading and grade of a stretch."""

import math

import numpy as np
import pytest

from traceanalyze.estimate.path import grade_pct, heading_deg, travelled_m
from traceanalyze.trace import FloatArray, Trace, make_trace

RATE_HZ = 10


def straight(azimuth_deg: float, length_m: float = 120.0, lat: float = 52.0, lon: float = 13.0, **columns) -> Trace:
    """A drive at 12 m/s along a geodesic, positions by GeographicLib (C. F. F. Karney, J. Geodesy 87 (2013) 43)."""
    from geographiclib.geodesic import Geodesic

    t_s = np.arange(0, length_m / 12.0 + 1e-9, 1 / RATE_HZ)
    points = [Geodesic.WGS84.Direct(lat, lon, azimuth_deg, 12.0 * t) for t in t_s]
    columns = {name: values[: t_s.size] for name, values in columns.items()}
    return make_trace(
        t_s,
        speed_mps=np.full(t_s.size, 12.0),
        lat_deg=[p["lat2"] for p in points],
        lon_deg=[p["lon2"] for p in points],
        **columns,
    )


@pytest.mark.parametrize("azimuth_deg", [0.5, 45.0, 91.0, 180.0, 271.0, 359.0])
@pytest.mark.parametrize(("lat", "lon"), [(52.0, 13.0), (-37.9, 144.4), (0.0, 179.9995), (69.0, -150.0)])
def test_heading_against_geodesics(azimuth_deg: float, lat: float, lon: float) -> None:
    trace = straight(azimuth_deg, lat=lat, lon=lon)
    # over 120 m meridians converge by 0.003 degrees at 69 N
    assert heading_deg(trace, 0, trace.points - 1) == pytest.approx(azimuth_deg, abs=0.005)


def test_a_round_has_no_heading() -> None:
    t_s = np.arange(0, 60, 0.1)
    angle = 2 * math.pi * t_s / 60
    trace = make_trace(
        t_s, speed_mps=np.full(t_s.size, 12.0), lat_deg=50 + 1e-3 * np.sin(angle), lon_deg=8 + 1.5e-3 * np.cos(angle)
    )
    assert math.isnan(heading_deg(trace, 0, trace.points - 1))


def test_courses_stand_in_for_positions_and_wrap_at_north() -> None:
    t_s = np.arange(0, 10, 0.1)
    course = np.where(np.arange(t_s.size) % 2, 359.0, 3.0)
    trace = make_trace(t_s, speed_mps=np.full(t_s.size, 10.0), course_deg=course)
    assert heading_deg(trace, 0, 99) == pytest.approx(1.0, abs=1e-6)
    slow = make_trace(t_s, speed_mps=np.full(t_s.size, 1.0), course_deg=course)
    assert math.isnan(heading_deg(slow, 0, 99))


def test_nothing_known_is_not_a_direction() -> None:
    trace = make_trace(np.arange(5.0), speed_mps=np.full(5, 10.0))
    assert math.isnan(heading_deg(trace, 0, 4))
    assert math.isnan(grade_pct(trace, 0, 4))
    unknown = make_trace(np.arange(5.0))
    assert math.isnan(heading_deg(unknown, 0, 4))


def wandering(n: int, sigma_m: float, seed: int) -> FloatArray:
    """Altitude errors that change slowly, as a receiver's do: first-order Gauss-Markov with 15 s."""
    rng = np.random.default_rng(seed)
    keep = math.exp(-1 / RATE_HZ / 15)
    error = np.empty(n)
    error[0] = rng.normal()
    for k in range(1, n):
        error[k] = keep * error[k - 1] + math.sqrt(1 - keep**2) * rng.normal()
    return sigma_m * error


@pytest.mark.parametrize("slope_pct", [-2.0, 0.0, 0.3, 1.5])
@pytest.mark.parametrize("seed", range(3))
def test_grade_of_a_slope(slope_pct: float, seed: int) -> None:
    metres = 1.2 * np.arange(301)
    altitude = 40 + slope_pct / 100 * metres + wandering(301, 0.2, seed)
    trace = straight(90.0, 360.0, altitude_m=np.round(altitude, 1))
    # atol: 0.2 m of wander over 360 m is 0.06 % a standard deviation of its ends; twice the stated limit guards 0.3 %
    assert grade_pct(trace, 0, trace.points - 1) == pytest.approx(slope_pct, abs=0.25)


def test_grade_is_silent_when_altitude_cannot_tell() -> None:
    short = straight(90.0, 30.0, altitude_m=np.linspace(40, 41, 400))
    assert math.isnan(grade_pct(short, 0, short.points - 1))
    rough = straight(90.0, 120.0, altitude_m=40 + wandering(400, 3.0, 5))
    assert math.isnan(grade_pct(rough, 0, rough.points - 1))
    fixed = straight(90.0, 360.0, altitude_m=np.full(400, 40.0))
    assert math.isnan(grade_pct(fixed, 0, fixed.points - 1))


def test_way_travelled_is_the_area_under_speed() -> None:
    t_s = np.array([0.0, 1.0, 2.0, 4.0])
    assert travelled_m(t_s, np.array([0.0, 2.0, np.nan, 8.0])) == pytest.approx([0, 1, 4, 16], abs=1e-12)
    assert travelled_m(t_s, np.full(4, np.nan)).tolist() == [0, 0, 0, 0]
