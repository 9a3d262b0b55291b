"""Metres from positions, against GeographicLib (C. F. F. Karney, Algorithms for geodesics, J. Geodesy 87 (2013) 43)."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st

from traceanalyze.errors import SignalError
from traceanalyze.signal.geodesy import azimuth_deg, displacement_m, distance_m, local_east_north_m, radii_m

WGS84 = Geodesic.WGS84

anywhere = st.tuples(st.floats(-90, 90), st.floats(-180, 180))
strip_m = st.floats(0.05, 20_000)
direction_deg = st.floats(0, 360)


class TestPublishedValues:
    def test_ellipsoid(self) -> None:
        # NGA.STND.0036 (2014): e^2 = 6.694379990141e-3, b = 6356752.3142 m. At the equator the meridian's radius is
        # b^2/a, at the poles both are a^2/b; 1e-4 m: the digits printed
        a, b = 6378137.0, 6356752.314245
        np.testing.assert_allclose(radii_m(0.0), (b * b / a, a), rtol=0, atol=1e-4)
        np.testing.assert_allclose(radii_m([90.0, -90.0]), np.full((2, 2), a * a / b), rtol=0, atol=1e-4)

    def test_degrees_at_forty_north(self) -> None:
        # Computed with geographiclib 2.1: 39.5 to 40.5 N is 111034.638 m; a degree of longitude at 40 N as an arc of
        # the parallel 85393.857 m. The first to 1e-5 of it (chord correction at 111 km), the second by its radius
        assert distance_m(39.5, 0, 40.5, 0) == pytest.approx(111034.638, rel=1e-5)
        _, across = radii_m(40.0)
        assert across * np.cos(np.radians(40)) * np.radians(1) == pytest.approx(85393.857, abs=1e-3)

    def test_one_tenth_of_a_second_at_thirty_mph(self) -> None:
        # 1.34112 m due north and due east of (40, -75), computed with geographiclib 2.1; 1e-6 m is a ten-thousandth of
        # what tells an ellipsoid from a sphere here (0.14 %, 2 mm)
        east, north = displacement_m(40, -75, [40.000012078394, 40], [-75, -74.999984294889])
        np.testing.assert_allclose(east, [0, 1.34112], rtol=0, atol=1e-6)
        np.testing.assert_allclose(north, [1.34112, 0], rtol=0, atol=1e-6)

    def test_a_long_line(self) -> None:
        # Flinders Peak to Buninyong (Geoscience Australia's worked example on GRS 80, whose axes differ from WGS 84's
        # by 0.1 mm): 54972.271 m, 306 deg 52' 05.37". 1 cm is 2e-7 of it; a thousandth of a degree is a
        # metre across at its far end, eleven times longer than any strip
        here = -(37 + 57 / 60 + 3.72030 / 3600), 144 + 25 / 60 + 29.52440 / 3600
        there = -(37 + 39 / 60 + 10.15610 / 3600), 143 + 55 / 60 + 35.38390 / 3600
        assert distance_m(*here, *there) == pytest.approx(54972.271, abs=0.01)
        assert azimuth_deg(*here, *there) == pytest.approx(306 + 52 / 60 + 5.37 / 3600, abs=1e-3)


class TestAgainstGeographicLib:
    @settings(max_examples=150, deadline=None)
    @given(anywhere, direction_deg, strip_m)
    def test_distance_to_a_tenth_of_a_thousandth_of_a_percent(
        self, here: tuple[float, float], azimuth: float, length_m: float
    ) -> None:
        """Everywhere, poles and dateline included, up to 20 km: 1e-6 of it, and 1 um of rounding in degrees."""
        there = WGS84.Direct(*here, azimuth, length_m)
        assert distance_m(*here, there["lat2"], there["lon2"]) == pytest.approx(length_m, rel=1e-6, abs=1e-6)

    @settings(max_examples=100, deadline=None)
    @given(st.tuples(st.floats(-85, 85), st.floats(-180, 180)), direction_deg, st.floats(1, 5000))
    def test_direction(self, here: tuple[float, float], azimuth: float, length_m: float) -> None:
        """Up to 5 km and 85 degrees: 0.006 degrees is 0.01 % of a radian, and 1 um of rounding over the distance."""
        there = WGS84.Direct(*here, azimuth, length_m)
        found = azimuth_deg(*here, there["lat2"], there["lon2"])
        assert abs((found - azimuth + 180) % 360 - 180) < 0.006 + 6e-5 / length_m

    @pytest.mark.parametrize("lat", [0.0, 40.0, -60.0, 89.0])
    def test_a_strip_across_the_dateline(self, lat: float) -> None:
        line = WGS84.Line(lat, 179.99, 90)
        points = [line.Position(s) for s in np.arange(0, 3000, 10.0)]
        lon = np.array([p["lon2"] for p in points])
        assert lon.min() < -179.9 < 179.9 < lon.max()
        steps = np.hypot(*np.diff(local_east_north_m(np.array([p["lat2"] for p in points]), lon)))
        np.testing.assert_allclose(steps, 10.0, rtol=0, atol=1e-7)

    def test_over_the_pole(self) -> None:
        line = WGS84.Line(89.99, 20, 0)
        points = [line.Position(s) for s in np.arange(0, 2400, 7.0)]
        east, north = local_east_north_m(*(np.array([p[key] for p in points]) for key in ("lat2", "lon2")))
        np.testing.assert_allclose(np.hypot(np.diff(east), np.diff(north)), 7.0, rtol=0, atol=1e-7)

    def test_thirty_mph_round_a_course(self) -> None:
        """A closed course of 4 km at 40 N, one point every 0.1 s: speed right to 0.01 %, and the ends nearly meet.

        North at its east end is turned by 1.7e-4 from north at its west end, and 1.7e-4 of 1280 m is 0.2 m.
        """
        turn = np.linspace(0, 2 * np.pi, 3001)
        course = [WGS84.Direct(40, -75, float(np.degrees(u)), 640.0) for u in turn]
        lat, lon = (np.array([p[key] for p in course]) for key in ("lat2", "lon2"))
        length_m = WGS84.Inverse(lat[0], lon[0], lat[1], lon[1])["s12"]
        east, north = local_east_north_m(lat, lon)
        np.testing.assert_allclose(np.hypot(np.diff(east), np.diff(north)), length_m, rtol=1e-4)
        assert np.hypot(east[-1], north[-1]) < 0.25


def test_unknown_positions_stay_unknown() -> None:
    lat = np.array([np.nan, 40, np.nan, 40.00001, 40.00002])
    lon = np.array([-75, -75, -75, np.nan, -75])
    east, north = local_east_north_m(lat, lon)
    assert np.isnan(east).tolist() == [True, False, True, True, False]
    assert (east[1], north[1]) == (0.0, 0.0)
    assert north[4] == pytest.approx(2.2207, abs=1e-3)  # 2e-5 degrees of 111034.6 m


def test_no_distance_has_no_direction() -> None:
    assert np.isnan(azimuth_deg(40, -75, 40, -75))


def test_empty_and_unequal() -> None:
    assert local_east_north_m(np.empty(0), np.empty(0))[0].size == 0
    with pytest.raises(SignalError, match="2 latitudes and 1 longitudes differ"):
        local_east_north_m(np.zeros(2), np.zeros(1))
