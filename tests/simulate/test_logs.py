"""Recipes: the same one gives the same bytes, and its truth is what a look at the log shows."""

import json
import time

import numpy as np
import pytest

from traceanalyze.errors import UsageError
from traceanalyze.simulate import AccelerometerUnit, Faults, Practice, Receiver, Recipe, Strip, Surroundings, make_log
from traceanalyze.simulate.logs import recipe_of
from traceanalyze.simulate.machines import ConstantThrust, Vehicle
from traceanalyze.simulate.pushes import Go
from traceanalyze.simulate.rides import Brake, Coast, Creep, Shuffle, Turn, Wait, ride
from traceanalyze.simulate.truth import truth

SMALL = Practice(launches=2, passes=1, shuffles=1, aborted=1)
TINY = Practice(launches=1, passes=0)


def test_the_same_recipe_gives_the_same_bytes():
    first, second, other = (make_log(Recipe(random=r, practice=TINY)) for r in (5, 5, 6))
    assert first.data == second.data
    assert first.truth_bytes() == second.truth_bytes()
    assert first.data != other.data


def test_another_receiver_logs_the_very_same_ride():
    fast = make_log(Recipe(random=5, practice=TINY))
    slow = make_log(Recipe(random=5, practice=TINY, receiver=Receiver(rate_hz=1.0), log_format="gpx"))
    assert fast.truth["launches"] == slow.truth["launches"]


def test_truth_of_a_run_in_closed_form():
    """2.5 m/s^2 from rest at 5 s: every time and length by v = a t, x = a t^2 / 2; 1e-8 s is rounding."""
    car = Vehicle(drive=ConstantThrust(375.0), mass_kg=150, rotating_share=0, crr=0, cda_m2=0)
    made = ride(car, [Wait(5.0), Go(lift_mps=20.0, opening_s=0, shape="step"), Brake(), Wait(1.0)])
    launch = truth(made, zero_s=2.0)["launches"][0]
    assert launch["onset_s"] == 3.0
    assert launch["rollout_s"] == pytest.approx(3.0 + (2 * 0.3048 / 2.5) ** 0.5, abs=1e-8)
    assert launch["threshold_s"] == pytest.approx(3.0 + 1 / 3.6 / 2.5, abs=1e-8)
    found = {(t["measure"], t["start_rule"]): (t["elapsed_s"], t["distance_m"]) for t in launch["times"]}
    assert found["0-30 mph", "rest"] == pytest.approx((5.36448, 35.972057088), abs=1e-8)
    assert found["0-30 mph", "rollout"] == pytest.approx((4.870678420, 35.972057088 - 0.3048), abs=1e-8)
    assert found["60 ft", "rest"] == pytest.approx(((2 * 18.288 / 2.5) ** 0.5, 18.288), abs=1e-8)
    assert found["10-30 mph", None][0] == pytest.approx(20 * 0.44704 / 2.5, abs=1e-8)
    assert ("0-50 mph", "rest") not in found  # 22.4 m/s was not reached
    curve = launch["curve"]
    np.testing.assert_allclose(curve["accel_mps2"][:-1], 2.5, rtol=1e-9)
    np.testing.assert_allclose(np.diff(curve["time_s"]), 0.2, atol=1e-8)


def test_truth_of_a_pass():
    """Thrust 400 N against 0.36 v^2 (balance 33.33 m/s), throttle closed at 30 m/s, then coasting."""
    car = Vehicle(drive=ConstantThrust(400.0), mass_kg=150, rotating_share=0, crr=0, cda_m2=0.6)
    made = ride(car, [Wait(1.0), Go(kind="pass", lift_mps=30.0, opening_s=0, shape="step"), Coast(20.0), Brake()])
    one = truth(made)["passes"][0]
    assert one["peak_mps"] == pytest.approx(30.0, abs=0.003)
    assert one["balance_mps"] == pytest.approx(100 / 3, abs=1e-6)
    assert one["accel_at_lift_mps2"] == pytest.approx((400 - 0.36 * 900) / 150, abs=0.01)
    # brute force: the mean of every window of 1 s, started every 2 ms
    starts = np.arange(5.0, made.duration_s - 1, 0.002)
    brute = np.max(made.motion.distance_at(starts + 1) - made.motion.distance_at(starts))
    assert one["sustained_mps"] == pytest.approx(brute, abs=1e-6)
    assert one["sustained_mps"] >= brute
    assert one["sustained_3s_mps"] < one["sustained_mps"] < one["peak_mps"]


def test_what_is_no_launch_is_listed_apart():
    car = Vehicle(drive=ConstantThrust(450.0), mass_kg=150)
    made = ride(
        car,
        [
            Wait(3.0), Shuffle(0.2), Wait(2.0), Go(kind="aborted", lift_mps=3.0), Brake(), Wait(2.0),
            Go(lift_mps=10.0), Brake(to_mps=2.5), Turn(), Go(lift_mps=9.0), Brake(), Wait(2.0), Creep(0.3, 1.0),
            Go(lift_mps=9.0), Brake(),
        ],
    )  # fmt: skip
    known = truth(made)
    assert len(known["launches"]) == 1
    assert [one["kind"] for one in known["other"]] == [
        "shuffle", "aborted start", "rolling start", "creep", "rolling start",
    ]  # fmt: skip
    assert known["launches"][0]["heading_deg"] == 75.0


def test_directions_and_road_as_each_run_met_them():
    around = Surroundings(wind_mps=2.0, grade_pct=0.4)
    made = make_log(Recipe(practice=SMALL, strip=Strip(heading_deg=200.0), around=around))
    assert [one["heading_deg"] for one in made.truth["launches"]] == [200.0, 20.0]
    assert [one["heading_deg"] for one in made.truth["passes"]] == [200.0, 20.0]
    assert [one["tailwind_mps"] for one in made.truth["passes"]] == [2.0, -2.0]
    assert [one["grade_pct"] for one in made.truth["launches"]] == [0.4, -0.4]
    out, back = (one["balance_mps"] for one in made.truth["passes"])
    assert out - back > 0.5  # 2 m/s from behind, then from ahead; strengths scatter by 0.1


def test_a_log_shows_the_launches_of_its_truth():
    """Speeds of the log against the truth: 30 mph is passed within two samples of when it should be."""
    made = make_log(Recipe(practice=SMALL))
    rows = [line.split(b",") for line in made.data.split(b"\r\n") if line.startswith(b"$GNRMC")]
    speed = np.array([float(row[7]) for row in rows]) * 1852 / 3600
    clock = np.arange(speed.size) * 0.1
    for launch in made.truth["launches"]:
        after = (clock > launch["onset_s"]) & (clock < launch["lift_s"])
        seen_s = clock[after][np.argmax(speed[after] >= 13.4112)]
        elapsed = next(t for t in launch["times"] if t["measure"] == "0-30 mph" and t["start_rule"] == "rest")
        assert seen_s == pytest.approx(launch["onset_s"] + elapsed["elapsed_s"], abs=0.2)


def test_times_count_from_the_logs_first_stamp():
    late = make_log(Recipe(practice=TINY, receiver=Receiver(rate_hz=1.0, phase_s=0.6)))
    whole = make_log(Recipe(practice=TINY))
    assert late.truth["time_zero_utc"] == "2026-05-17T09:00:00.600000Z"
    moved = whole.truth["launches"][0]["onset_s"] - late.truth["launches"][0]["onset_s"]
    assert moved == pytest.approx(0.6, abs=1e-8)


def test_what_cannot_be_written_is_said():
    with pytest.raises(UsageError, match="nmea has no place for an accelerometer"):
        Recipe(accelerometer=AccelerometerUnit())
    with pytest.raises(UsageError, match="without any instrument"):
        Recipe(receiver=None)
    with pytest.raises(UsageError, match="nothing to ride"):
        Practice(launches=0, passes=0)
    with pytest.raises(UsageError, match="more shuffles"):
        Practice(launches=1, shuffles=2)
    with pytest.raises(UsageError, match="out of range"):
        recipe_of(
            log_format="nmea", setup="standard", ride=(1, 0, 0), receiver=(10, 0.05), accelerometer_hz=0,
            road=(50, 0), faults=0, random=1,
        )  # fmt: skip


def test_an_accelerometer_alone_and_a_spoilt_log():
    alone = make_log(Recipe(practice=TINY, receiver=None, accelerometer=AccelerometerUnit(), log_format="csv"))
    assert alone.data.startswith(b"unix_time_s,ax_mps2")
    spoilt = make_log(Recipe(practice=TINY, faults=Faults(gaps=1, lost_fixes=1, spikes=1, freezes=1, flipped=2, cut=2)))
    assert spoilt.data != make_log(Recipe(practice=TINY)).data
    assert json.loads(spoilt.truth_bytes())["faults"]["gaps"] == 1


def test_passes_without_launches_start_rolling():
    only = make_log(Recipe(practice=Practice(launches=0, passes=1, shuffles=0)))
    assert not only.truth["launches"]
    assert len(only.truth["passes"]) == 2


def test_ten_minutes_are_made_quickly():
    # a ride of ten minutes takes about a second on a slow core; 20 s would be another method
    begin = time.process_time()
    made = make_log(Recipe(practice=Practice(launches=10, passes=5)))
    assert made.truth["duration_s"] > 560
    assert time.process_time() - begin < 20
