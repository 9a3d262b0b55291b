"""Engines, clutches, belts and tyres against the physics they are built on."""

import math

import numpy as np
import pytest

from traceanalyze.errors import UsageError
from traceanalyze.simulate.integrate import Ends, Slipping, half_steps_s, slip
from traceanalyze.simulate.machines import (
    RPM,
    CappedPower,
    CentrifugalClutch,
    ConstantThrust,
    Engine,
    Powertrain,
    Surroundings,
    Vehicle,
    gripped,
    looked_up,
)
from traceanalyze.simulate.motion import rise_s
from traceanalyze.simulate.presets import MAX_ENGINE_RPM, pit_bike
from traceanalyze.simulate.pushes import SHAPES, Go, push
from traceanalyze.simulate.rides import Wait, ride

FLAT = Engine(rpm=(0, 9000), torque_nm=(12.0, 12.0))


def straight_train(**changes):
    return Powertrain(
        **(
            {"engine": FLAT, "clutch": CentrifugalClutch(spring_n=500.0), "ratios": (6.0,), "wheel_radius_m": 0.2}
            | changes
        )
    )


def first_push(vehicle, **go):
    rng = np.random.default_rng(0)
    return push(vehicle, Surroundings(), 1, 0.0, Go(**({"lift_mps": 12.0, "opening_s": 0.2} | go)), rng)


def test_shoes_lift_when_the_centrifugal_force_exceeds_the_spring():
    # m r w^2 = F (Newton): 0.24 kg at 0.05 m against 500 N lift at sqrt(500 / 0.012) = 204.124 rad/s = 1949.2 rpm
    clutch = CentrifugalClutch(spring_n=500.0)
    assert clutch.engagement_radps == pytest.approx(204.124145, abs=1e-6)
    assert clutch.engagement_radps / RPM == pytest.approx(1949.242, abs=0.001)
    stiffer = CentrifugalClutch(spring_n=660.0)
    assert stiffer.engagement_radps / clutch.engagement_radps == pytest.approx(math.sqrt(660 / 500), rel=1e-12)


def test_engagement_of_the_invented_springs():
    # 1800-2400 rpm: common practice of small engines, no source
    for spring in ("standard", "stiff"):
        assert 1800 < pit_bike(spring).drive.clutch.engagement_radps / RPM < 2400
    with pytest.raises(UsageError, match="no clutch spring 'soft'"):
        pit_bike("soft")


def test_a_slipping_clutch_pushes_with_the_engines_torque():
    """While it slips at a steady engine speed, all torque goes through: thrust = T * ratio * efficiency / radius."""
    vehicle = Vehicle(drive=straight_train(), mass_kg=150, rotating_share=0, crr=0, cda_m2=0)
    leg = first_push(vehicle).legs[0]
    steady = leg.accel_mps2[(leg.t_s > 0.5) & (leg.t_s < leg.t_s[-1] - 0.01)]
    # 1e-3: what is left of the engine's spin-up half a second after the onset
    np.testing.assert_allclose(steady, 12.0 * 6.0 * 0.88 / 0.2 / 150, rtol=1e-3)


def test_energy_is_lost_in_a_slipping_clutch_and_nowhere_else():
    """Engine work = kinetic energy of the vehicle + of the engine + heat; heat is torque times slip.

    A wheel without losses, no resistance: a balance over the whole slip, to the accuracy of the trapezoid (1e-4).
    """
    ratio, radius, mass, inertia = 6.0, 0.2, 150.0, 0.02
    clutch = Slipping(
        torque=lambda w: 12.0, inertia_kgm2=inertia, engage2=200.0**2, gain_nms2=7e-4,
        push_n=lambda nm: nm * ratio / radius, turns_radpm=ratio / radius,
    )  # fmt: skip
    times = half_steps_s(10.0)
    leg, locked = slip(clutch, times, np.ones_like(times), lambda v: 0.0, mass, (0.0, 200.0), Ends())
    assert locked
    v, t, thrust = leg.speed_mps, leg.t_s, leg.accel_mps2 * mass
    torque = thrust * radius / ratio
    w = np.sqrt(200.0**2 + torque / 7e-4)
    assert w[-1] == pytest.approx(v[-1] * ratio / radius, rel=1e-6)  # locked: both sides turn alike
    engine_work = np.trapezoid(12.0 * w, t)
    heat = np.trapezoid(torque * (w - v * ratio / radius), t)
    kinetic = mass * v[-1] ** 2 / 2 + inertia * (w[-1] ** 2 - 200.0**2) / 2
    assert engine_work == pytest.approx(kinetic + heat, rel=1e-4)


def test_once_locked_the_engines_inertia_counts_as_mass():
    # m_eff = m + J * efficiency * (ratio / r)^2: 12 N m through 6:1 on 0.2 m radius, J 0.05 kg m^2
    drive = straight_train(engine=Engine(rpm=(0, 9000), torque_nm=(12.0, 12.0), inertia_kgm2=0.05))
    vehicle = Vehicle(drive=drive, mass_kg=150, rotating_share=0, crr=0, cda_m2=0)
    locked = first_push(vehicle, opening_s=0.05, lift_mps=14.0).legs[-1]
    expected = 12.0 * 6 * 0.88 / 0.2 / (150 + 0.05 * 0.88 * 30**2)
    np.testing.assert_allclose(locked.accel_mps2[5:], expected, rtol=1e-9)


def test_a_stiffer_spring_helps_only_while_the_clutch_slips():
    curves = {}
    for spring in ("standard", "stiff"):
        made = ride(pit_bike(spring), [Wait(1.0), Go(lift_mps=16.0)])
        onset = made.events[1].onset_s
        curves[spring] = [rise_s(made.motion, v, onset, 100.0) - onset for v in (1.0, 6.7056, 9.5, 13.4112, 15.6)]
    gain = np.array(curves["standard"]) - np.array(curves["stiff"])
    # the difference the samples are meant to have: 0.15-0.25 s, nearly all of it below 15 mph (6.7 m/s)
    assert 0.15 < gain[3] < 0.25
    assert gain[1] > 0.6 * gain[3]
    assert abs(gain[4] - gain[2]) < 0.005


def test_gears_are_changed_at_the_shift_speed():
    drive = straight_train(ratios=(9.0, 6.0), shift_rpm=5000.0, shift_s=0.3)
    vehicle = Vehicle(drive=drive, mass_kg=150, rotating_share=0, crr=0.02, cda_m2=0.5)
    made = first_push(vehicle, lift_mps=15.0)
    slipping, first, cut, second = made.legs
    shift_mps = 5000 * RPM * 0.2 / 9.0  # v = w r / ratio
    assert first.speed_mps[-1] == pytest.approx(shift_mps, abs=0.01)
    assert cut.speed_mps[-1] < cut.speed_mps[0]
    assert cut.duration_s == pytest.approx(0.3, abs=0.006)
    assert second.speed_mps[-1] >= 15.0
    assert slipping.speed_mps[0] == 0.0


def test_a_belt_holds_the_engine_speed_between_its_end_ratios():
    drive = straight_train(ratios=(12.0, 4.0), belt_rpm=4000.0)
    v = np.array([1.0, 10.0, 30.0])
    # 4000 rpm at 10 m/s on 0.2 m: ratio 4000 * 2 pi / 60 * 0.2 / 10 = 8.37758; outside it the ends hold
    np.testing.assert_allclose(drive.ratio_at(v, 0), [12.0, 8.377580, 4.0], rtol=1e-6)
    assert drive.engine_radps(v, 0)[1] / RPM == pytest.approx(4000)
    # constant engine speed: thrust times speed is constant (power)
    v = np.array([8.0, 12.0])
    power = drive.thrust_at(v, 0, 1.0) * v
    assert power[0] == pytest.approx(power[1])


def test_a_spinning_wheel_pushes_no_more_than_its_grip():
    thrust = np.linspace(0, 1000, 101)
    felt = gripped(thrust, 400.0)
    assert (np.diff(felt) >= 0).all()
    assert felt[-1] == pytest.approx(400.0, abs=0.1)
    assert felt[20] == pytest.approx(200.0, abs=0.1)  # half the grip: nothing lost
    made = ride(
        Vehicle(drive=ConstantThrust(900.0), mass_kg=150, rotating_share=0, crr=0, cda_m2=0, grip_n=400.0),
        [Wait(1.0), Go(lift_mps=10.0, opening_s=0, shape="step")],
    )
    assert float(made.motion.accel_at(3.0)) == pytest.approx(400.0 / 150, rel=1e-3)
    by_engine = Vehicle(drive=straight_train(), mass_kg=150, rotating_share=0, crr=0, cda_m2=0, grip_n=150.0)
    assert first_push(by_engine).legs[0].accel_mps2.max() == pytest.approx(1.0, rel=0.01)


def test_a_look_up_is_a_straight_line_between_its_values():
    read = looked_up(np.array([1.0, 3.0, 2.0]), 0.5)
    assert [read(x) for x in (-1.0, 0.0, 0.25, 0.5, 0.75, 1.0, 1.25)] == [1.0, 1.0, 2.0, 3.0, 2.5, 2.0, 1.5]


def test_pure_power_cannot_start_from_rest():
    with pytest.raises(UsageError, match="without limit at rest"):
        ride(Vehicle(drive=CappedPower(4000.0)), [Go(lift_mps=5.0)])


def test_a_hill_too_steep_is_said():
    with pytest.raises(UsageError, match="never overcomes the resistance"):
        ride(Vehicle(drive=ConstantThrust(100.0)), [Go(lift_mps=5.0)], around=Surroundings(grade_pct=20))
    with pytest.raises(UsageError, match="never overcomes the resistance"):
        ride(pit_bike(), [Go(lift_mps=5.0)], around=Surroundings(grade_pct=40))


@pytest.mark.parametrize("shape", SHAPES)
def test_every_push_grows_from_its_onset(shape):
    """The onset is where thrust first exceeds the resistance at rest; the acceleration there is zero unless a step."""
    vehicle = Vehicle(drive=ConstantThrust(450.0), mass_kg=150, crr=0.02)
    made = ride(vehicle, [Wait(2.0), Go(lift_mps=8.0, opening_s=0.3, shape=shape)])
    event = made.events[1]
    assert 2.0 <= event.onset_s < 2.3
    assert float(made.motion.speed_at(event.onset_s)) == 0.0
    just_after = float(made.motion.accel_at(event.onset_s + 1e-4))
    full = (450.0 - 150 * 9.80665 * 0.02) / (150 * 1.04)
    assert just_after == pytest.approx(full, rel=0.01) if shape == "step" else 0 <= just_after < 0.3
    assert float(made.motion.accel_at(event.onset_s + 1.5)) == pytest.approx(full, rel=0.02)


def test_a_push_needs_an_end_and_a_known_shape():
    with pytest.raises(UsageError, match="without an end"):
        Go()
    with pytest.raises(UsageError, match="no push grows as 'jerky'"):
        Go(lift_mps=5.0, shape="jerky")


def test_the_bike_stays_below_its_builders_limit():
    bike = pit_bike()
    made = first_push(bike, lift_mps=math.inf, held_s=1.0)
    top_rpm = float(bike.drive.engine_radps(np.array([made.terminal_mps]), 0)[0]) / RPM
    assert 0.9 * MAX_ENGINE_RPM < top_rpm < MAX_ENGINE_RPM
