"""Road load and roll-outs against closed forms and a published table."""

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceanalyze.errors import SignalError, UsageError
from traceanalyze.simulate.machines import ConstantThrust, Surroundings, Vehicle
from traceanalyze.simulate.pushes import coast
from traceanalyze.simulate.sensors import gauss_markov
from traceanalyze.units import GRAVITY_MPS2, KMH
from traceanalyze.vehicle.coastdown import CoastDown, fit_coastdowns
from traceanalyze.vehicle.roadload import RoadLoad, coast_distance_m, coast_speed_mps, coast_time_s, resistance_n


def test_resistance_by_hand():
    load = RoadLoad(mass_kg=150, crr=0.015, cda_m2=0.6)
    # 0.015 * 150 * 9.80665 + 0.36 * 400 = 22.06496 + 144
    assert float(resistance_n(load, 20.0)) == pytest.approx(166.0649625)
    assert float(resistance_n(load, 20.0, headwind_mps=3.0)) == pytest.approx(22.0649625 + 0.36 * 529)
    angle = math.atan(0.01)
    uphill = 150 * GRAVITY_MPS2 * (0.015 * math.cos(angle) + math.sin(angle))
    assert float(resistance_n(load, 0.0, grade_pct=1.0)) == pytest.approx(uphill)
    with pytest.raises(UsageError, match="out of range"):
        RoadLoad(mass_kg=0)


def test_rolling_out_in_closed_form():
    # m dv/dt = -(A + C v^2), A 22.07 N, C 0.36 kg/m, 150 kg, 15 to 5 m/s: 27.7468750657 s and 249.826176176 m
    # (formula and adaptive quadrature of scipy 1.17 agree to 1e-9)
    a, c = 22.07 / 150, 0.36 / 150
    assert coast_time_s(15, 5, a, c) == pytest.approx(27.7468750657, abs=1e-9)
    assert coast_distance_m(15, 5, a, c) == pytest.approx(249.826176176, abs=1e-8)
    assert float(coast_speed_mps(np.array([27.7468750657]), 15, a, c)[0]) == pytest.approx(5.0, abs=1e-9)


def test_limits_of_the_closed_form():
    assert coast_time_s(15, 5, 0.2, 0.0) == pytest.approx(50.0)  # constant deceleration
    assert coast_distance_m(15, 5, 0.2, 0.0) == pytest.approx(500.0)
    assert coast_time_s(15, 5, 0.0, 0.01) == pytest.approx((1 / 5 - 1 / 15) / 0.01)  # square drag alone
    downhill = coast_speed_mps(np.array([1e4]), 15, -0.2, 0.002)
    assert float(downhill[0]) == pytest.approx(10.0)  # balance at sqrt(0.2 / 0.002)


@given(st.floats(0.02, 0.4), st.floats(1e-4, 5e-3), st.floats(8, 30))
def test_speed_and_time_of_a_roll_out_are_inverse(a, c, v0):
    t = coast_time_s(v0, 0.4 * v0, a, c)
    assert float(coast_speed_mps(np.array([t]), v0, a, c)[0]) == pytest.approx(0.4 * v0, rel=1e-9)


def test_published_coast_down_times(open_data):
    """40 CFR 86.529-98 Figure F98-9, 70 to 60 km/h; 0.015 s as its times are printed to 0.01 s. Row 160 kg is a
    misprint there (its time contradicts its own tolerance band)."""
    for row in json.loads((open_data / "golden" / "cfr86_529_98.json").read_text())["rows"]:
        mass, square = row["mass_kg"], row["C_N_per_kmh2"] * 3.6**2
        found = coast_time_s(70 * KMH, 60 * KMH, row["A_N"] / mass, square / mass)
        if mass != 160:
            assert found == pytest.approx(row["t_target_s"], abs=0.015), mass


def rolled_out(direction=1, crr=0.018, cda=0.6, mass=150.0, v0=22.0, to=5.0, **around):
    """A roll-out by the simulator's own integrator, which knows nothing of the closed form."""
    vehicle = Vehicle(drive=ConstantThrust(1.0), mass_kg=mass, rotating_share=0.04, crr=crr, cda_m2=cda)
    leg = coast(vehicle, Surroundings(air_density_kgm3=1.2, **around), direction, v0, to)
    t = np.arange(0, leg.t_s[-1], 0.1)
    return CoastDown(t_s=t, speed_mps=np.interp(t, leg.t_s, leg.speed_mps), direction=direction)


def test_the_fit_finds_what_was_simulated():
    fit = fit_coastdowns([rolled_out()], mass_kg=150)
    assert fit.crr.value == pytest.approx(0.018, rel=1e-4)
    assert fit.cda_m2.value == pytest.approx(0.6, rel=1e-4)
    assert math.isnan(fit.headwind_mps.value)
    assert [remark.code for remark in fit.remarks] == ["one-direction"]


def test_the_fit_gives_back_a_row_of_the_published_table():
    # 40 CFR 86.529-98, 200 kg: A 8.69 N, C 0.0252 N/(km/h)^2; 1e-4 of each, noise-free
    mass, a, c = 200.0, 8.69, 0.0252 * 3.6**2
    t = np.arange(0, 40, 0.2)
    run = CoastDown(t_s=t, speed_mps=coast_speed_mps(t, 75 * KMH, a / mass, c / mass))
    fit = fit_coastdowns([run], mass_kg=mass, rotating_share=0.0)
    assert fit.constant_n.value == pytest.approx(8.69, rel=1e-4)
    assert fit.square_kgpm.value / 3.6**2 == pytest.approx(0.0252, rel=1e-4)


def test_two_directions_tell_wind_and_slope_apart():
    runs = [rolled_out(d, wind_mps=-2.0, grade_pct=0.3) for d in (1, -1)]
    fit = fit_coastdowns(runs, mass_kg=150)
    assert fit.crr.value == pytest.approx(0.018, rel=2e-3)
    assert fit.cda_m2.value == pytest.approx(0.6, rel=2e-3)
    assert fit.headwind_mps.value == pytest.approx(2.0, abs=0.01)
    assert fit.grade_pct.value == pytest.approx(0.3, abs=0.002)
    assert not fit.remarks
    one = fit_coastdowns(runs[:1], mass_kg=150)
    assert abs(one.crr.value - 0.018) > 0.002  # what a single direction hides


def test_the_stated_uncertainty_is_true():
    """60 noisy pairs of roll-outs: errors over stated uncertainties scatter by 1, +-0.3 (3 sd of that scatter)."""
    rng = np.random.default_rng(7)
    clean = [rolled_out(d, to=8.0) for d in (1, -1)]
    scaled = []
    for _ in range(60):
        noisy = [
            CoastDown(
                t_s=run.t_s,
                speed_mps=run.speed_mps
                + gauss_markov(run.t_s.size, 0.1, 0.05 * math.sqrt(0.5), 1.0, rng)
                + 0.05 * math.sqrt(0.5) * rng.standard_normal(run.t_s.size),
                direction=run.direction,
            )
            for run in clean
        ]
        fit = fit_coastdowns(noisy, mass_kg=150)
        scaled.append([(fit.crr.value - 0.018) / fit.crr.stderr, (fit.cda_m2.value - 0.6) / fit.cda_m2.stderr])
    np.testing.assert_allclose(np.std(scaled, axis=0), 1.0, atol=0.3)
    assert np.abs(np.mean(scaled, axis=0)).max() < 0.4


def test_what_cannot_be_fitted():
    with pytest.raises(SignalError, match="no roll-out"):
        fit_coastdowns([], mass_kg=150)
    short = CoastDown(t_s=np.arange(5.0), speed_mps=np.linspace(10, 5, 5))
    with pytest.raises(SignalError, match="too short"):
        fit_coastdowns([short], mass_kg=150)
    narrow = fit_coastdowns([rolled_out(v0=20.0, to=15.0)], mass_kg=150)
    assert "narrow-span" in [remark.code for remark in narrow.remarks]
