"""A ride goes where and when it was told, and its positions agree with an independent geodesic library."""

import math

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from traceanalyze.errors import UsageError
from traceanalyze.simulate.machines import CappedPower, ConstantThrust, Surroundings, Vehicle
from traceanalyze.simulate.motion import rise_s
from traceanalyze.simulate.places import place, to_degrees
from traceanalyze.simulate.rides import Brake, Coast, Creep, Go, Shuffle, Strip, Turn, Wait, ride

CAR = Vehicle(drive=CappedPower(4000.0, 450.0), mass_kg=150)


def test_actions_take_the_time_and_way_asked_for():
    made = ride(CAR, [Wait(5.0), Shuffle(0.2, 1.0), Wait(3.0), Shuffle(-0.1), Wait(2.0), Turn(radius_m=3.0), Wait(1.0)])
    spans = [(e.start_s, e.end_s) for e in made.events]
    assert spans[0] == (0.0, 5.0)
    assert spans[1] == pytest.approx((5.0, 6.0))
    way = [float(made.motion.distance_at(b) - made.motion.distance_at(a)) for a, b in spans]
    assert way[1] == pytest.approx(0.2, abs=1e-4)
    assert way[3] == pytest.approx(-0.1, abs=1e-4)
    assert way[5] == pytest.approx(math.pi * 3.0, abs=1e-9)  # half the circumference
    assert [e.direction for e in made.events] == [1, 1, 1, 1, 1, 1, -1]


def test_braking_ends_at_rest():
    made = ride(CAR, [Go(lift_mps=12.0), Brake(2.5), Wait(1.0), Go(lift_mps=0.8), Brake(2.5), Wait(2.0)])
    hard = made.events[1]
    assert float(made.motion.speed_at(hard.end_s)) == 0.0
    assert float(made.motion.accel_at(hard.start_s + 2.0)) == pytest.approx(-2.5)
    assert (made.motion.speed_mps >= 0).all()
    assert float(made.motion.speed_at(made.events[4].end_s)) == 0.0


def test_a_pass_is_held_near_the_balance_speed():
    made = ride(CAR, [Wait(1.0), Go(kind="pass", held_s=4.0), Coast(15.0), Brake()])
    event = made.events[1]
    near = rise_s(made.motion, 0.995 * event.terminal_mps, 0, event.end_s)
    assert event.end_s - near == pytest.approx(4.0, abs=0.01)
    assert float(made.motion.speed_at(made.events[2].end_s)) == pytest.approx(15.0, abs=1e-9)


def test_pushes_end_by_time_and_by_length():
    made = ride(CAR, [Go(for_s=3.0), Brake(), Wait(1.0), Go(run_m=50.0), Brake()])
    first, second = made.events[0], made.events[3]
    assert first.end_s - first.onset_s == pytest.approx(3.0, abs=0.002)
    way = float(made.motion.distance_at(second.end_s) - made.motion.distance_at(second.onset_s))
    assert way == pytest.approx(50.0, abs=0.1)


def test_a_creep_rolls_into_the_launch():
    made = ride(CAR, [Wait(2.0), Creep(0.3, 1.5), Go(lift_mps=10.0)])
    assert math.isnan(made.events[2].onset_s)
    assert float(made.motion.speed_at(3.4)) == pytest.approx(0.3)


def test_what_cannot_follow_is_refused():
    with pytest.raises(UsageError, match="cannot wait while rolling"):
        ride(CAR, [Go(lift_mps=5.0), Wait(1.0)])
    with pytest.raises(UsageError, match="a shuffle begins at rest"):
        ride(CAR, [Go(lift_mps=5.0), Shuffle(0.1)])
    with pytest.raises(UsageError, match="without any motion"):
        ride(CAR, [])


def test_two_half_turns_lead_back_to_the_line():
    made = ride(
        CAR, [Wait(1.0), Go(run_m=60.0), Brake(), Turn(), Wait(1.0), Go(run_m=60.0), Brake(), Turn(), Wait(1.0)]
    )
    here = place(made, np.array([0.0, made.events[4].start_s, made.duration_s]))
    axis = math.radians(75.0)
    across = here.east_m * math.cos(axis) - here.north_m * math.sin(axis)
    # each turn goes left, 2 x 2.5 m wide: out to the other lane, and back
    assert across == pytest.approx([0.0, -5.0, 0.0], abs=1e-9)
    assert np.degrees(here.heading_rad) % 360 == pytest.approx([75.0, 255.0, 75.0], abs=1e-9)


def test_velocity_is_the_change_of_place():
    made = ride(CAR, [Wait(1.0), Go(run_m=40.0), Brake(), Turn(), Go(run_m=30.0), Brake()])
    t = np.linspace(0.5, made.duration_s - 0.5, 400)
    ahead, behind, here = (place(made, t + d) for d in (1e-4, -1e-4, 0.0))
    # central difference over 0.2 ms; 2e-3 m/s where the acceleration jumps within it
    np.testing.assert_allclose((ahead.east_m - behind.east_m) / 2e-4, here.east_mps, atol=2e-3)
    np.testing.assert_allclose((ahead.north_m - behind.north_m) / 2e-4, here.north_mps, atol=2e-3)


@pytest.mark.parametrize(("lat", "heading"), [(41.0, 75.0), (-33.0, 200.0), (0.0, 0.0), (64.0, 310.0)])
def test_positions_against_a_geodesic_library(lat, heading):
    """GeographicLib (C. Karney, J. Geodesy 87, 2013): 1.5 km along a heading from the strip's start.

    5 mm is 3e-6 of the length, a hundredth of what a spherical earth would be wrong by.
    """
    strip = Strip(lat_deg=lat, lon_deg=-38.0, heading_deg=heading)
    way = 1500.0
    east, north = way * math.sin(math.radians(heading)), way * math.cos(math.radians(heading))
    found_lat, found_lon = to_degrees(strip, np.array([east]), np.array([north]))
    there = Geodesic.WGS84.Inverse(lat, -38.0, float(found_lat[0]), float(found_lon[0]))
    assert there["s12"] == pytest.approx(way, abs=0.005)
    middle_azimuth = Geodesic.WGS84.Line(lat, -38.0, there["azi1"]).Position(way / 2)["azi2"] % 360
    assert middle_azimuth == pytest.approx(heading, abs=0.01)  # grid north of the strip's middle


def test_the_road_rises_with_its_grade():
    vehicle = Vehicle(drive=ConstantThrust(450.0), mass_kg=150)
    made = ride(vehicle, [Go(run_m=100.0), Brake(), Turn()], around=Surroundings(grade_pct=1.0))
    end = made.events[0].end_s
    assert place(made, np.array([end])).up_m[0] == pytest.approx(0.01 * float(made.motion.distance_at(end)), rel=1e-9)


def test_the_same_random_numbers_give_the_same_ride():
    def one(seed):
        made = ride(CAR, [Wait(1), Go(lift_mps=10, wander=0.02)], rng=np.random.default_rng(seed))
        return made.motion.speed_mps

    np.testing.assert_array_equal(one(3), one(3))
    assert one(3).size != one(4).size or not np.array_equal(one(3), one(4))
