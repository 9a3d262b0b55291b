"""Receivers and accelerometers against the laws their noise is said to follow."""

import math

import numpy as np
import pytest

from traceanalyze.errors import UsageError
from traceanalyze.simulate.machines import ConstantThrust, Surroundings, Vehicle
from traceanalyze.simulate.rides import Brake, Go, Turn, Wait, ride
from traceanalyze.simulate.sensors import AccelerometerUnit, Receiver, feel, gauss_markov, mounting, receive
from traceanalyze.units import GRAVITY_MPS2

CAR = Vehicle(drive=ConstantThrust(450.0), mass_kg=150)
REST = ride(CAR, [Wait(4000.0)])
RUN = ride(CAR, [Wait(5.0), Go(lift_mps=12.0), Brake(), Wait(3.0), Turn(), Wait(2.0)])


def seen(made, seed=1, **receiver):
    return receive(made, Receiver(**receiver), np.random.default_rng(seed))


def test_speed_at_rest_follows_rayleigh():
    """Length of a vector with two normal components: mean sigma sqrt(pi/2), mean square 2 sigma^2 (Rayleigh).

    4000 s of white noise at 10 Hz: the mean of 40,000 values is known to 0.3 %, 1 % is three times that.
    """
    speed = seen(REST, sigma_mps=0.05, slow_share=0.0).speed_mps
    assert speed.mean() == pytest.approx(0.05 * math.sqrt(math.pi / 2), rel=0.01)
    assert (speed**2).mean() == pytest.approx(2 * 0.05**2, rel=0.02)
    # 95 % of it lies below sigma sqrt(-2 ln 0.05) = 0.1224 m/s
    assert np.quantile(speed, 0.95) == pytest.approx(0.1224, rel=0.015)


def test_a_third_axis_makes_the_rest_noisier():
    # Maxwell: mean 2 sigma sqrt(2 / pi)
    speed = seen(REST, sigma_mps=0.05, slow_share=0.0, vertical=True).speed_mps
    assert speed.mean() == pytest.approx(2 * 0.05 * math.sqrt(2 / math.pi), rel=0.01)


def test_slow_noise_has_the_correlation_of_gauss_and_markov():
    """Autocorrelation exp(-lag / tau) (first-order Gauss-Markov). 200,000 values, tau of 10: 3 % for each lag."""
    series = gauss_markov(200_000, 0.1, 0.7, 1.0, np.random.default_rng(5))
    assert series.std() == pytest.approx(0.7, rel=0.02)
    for lag in (1, 5, 10, 20):
        found = (series[lag:] * series[:-lag]).mean() / series.var()
        assert found == pytest.approx(math.exp(-0.1 * lag), abs=0.03)


def test_stated_speed_scatters_by_sigma_under_way():
    made = ride(CAR, [Wait(1.0), Go(lift_mps=30.0)])
    log = seen(made, rate_hz=25.0, sigma_mps=0.08, slow_share=0.5, slow_tau_s=0.3)
    fast = log.t_s > 5
    error = (log.speed_mps - made.motion.speed_at(log.t_s))[fast]
    assert error.std() == pytest.approx(0.08, rel=0.15)  # about 60 independent values: 9 %
    assert abs(error.mean()) < 0.03


@pytest.mark.parametrize(("rate", "phase"), [(1.0, 0.37), (7.0, 0.0), (18.0, 0.013), (25.0, 0.0)])
def test_epochs_come_at_any_rate_and_phase(rate, phase):
    log = seen(RUN, rate_hz=rate, phase_s=phase)
    assert log.t_s[0] == pytest.approx(phase)
    assert np.median(np.diff(log.t_s)) == pytest.approx(1 / rate, abs=0.001)
    np.testing.assert_array_equal(log.t_s, np.round(log.t_s, 3))
    assert log.t_s[-1] <= RUN.duration_s


def test_a_delay_makes_the_speed_late():
    clean = {"sigma_mps": 0.0, "position_sigma_m": 0.0, "position_white_m": 0.0}
    late = seen(RUN, delay_s=0.2, **clean)
    np.testing.assert_allclose(late.speed_mps, RUN.motion.speed_at(late.t_s - 0.2), atol=1e-12)


def test_a_low_pass_lags_a_ramp_by_its_group_delay():
    """A second-order low-pass (two equal poles) delays a ramp by 2 tau; tau = 1 / (2 pi 1.5538 f) for a corner f.

    Two cascaded first-order sections fall to 1/sqrt(2) where each has fallen to 2^(-1/4): at 0.6436 of its corner.
    """
    made = ride(Vehicle(drive=ConstantThrust(375.0), mass_kg=150, rotating_share=0, crr=0, cda_m2=0),
                [Wait(3.0), Go(lift_mps=20.0, opening_s=0, shape="step")])  # fmt: skip
    log = seen(made, low_pass_hz=1.0, sigma_mps=0.0)
    steady = (log.t_s > 6) & (log.t_s < 10)
    lag_s = log.t_s[steady] - (3.0 + log.speed_mps[steady] / 2.5)
    np.testing.assert_allclose(lag_s, 2 / (2 * math.pi * 1.5538), atol=0.001)
    onset = log.speed_mps[(log.t_s > 3.0) & (log.t_s < 3.15)]
    assert (onset > 0).all()
    assert (onset < 2.5 * 0.1).all()  # the corner is smeared


def test_a_hold_shows_exact_zeros_and_then_a_jump():
    log = seen(RUN, hold_mps=0.5)
    moving = log.speed_mps[log.speed_mps > 0]
    assert (log.speed_mps[log.t_s < 4] == 0).all()
    assert moving.min() >= 0.5
    assert np.isnan(log.course_deg[log.t_s < 4]).all()


def test_course_turns_about_with_the_vehicle():
    log = seen(RUN, sigma_mps=0.01)
    out = log.course_deg[(log.t_s > 7) & (log.t_s < 9)]
    np.testing.assert_allclose(out, 75.0, atol=1.0)


def test_position_error_is_slow():
    log = seen(REST, position_sigma_m=0.8, position_white_m=0.02, rate_hz=1.0)
    north_m = (log.lat_deg - log.lat_deg.mean()) * 111_000
    assert 0.5 < north_m.std() < 1.1  # 4000 s hold about 33 independent values of a 60 s process
    # from one second to the next: sqrt(2 (1 - exp(-1/60))) of sigma, and the white part
    assert np.diff(north_m).std() == pytest.approx(math.hypot(0.8 * math.sqrt(2 / 60), 0.02 * math.sqrt(2)), rel=0.1)


def test_impossible_receivers_are_refused():
    with pytest.raises(UsageError, match="a receiver of 0 Hz"):
        Receiver(rate_hz=0.0)
    with pytest.raises(UsageError, match=r"1\.5 of it slow"):
        Receiver(slow_share=1.5)
    with pytest.raises(UsageError, match="speed noise of nan"):
        Receiver(sigma_mps=math.nan)
    with pytest.raises(UsageError, match="an accelerometer of 5 Hz"):
        AccelerometerUnit(rate_hz=5.0)


QUIET = {"noise_mps2": 0.0, "vibration_mps2": 0.0}


def felt(made, seed=1, **unit):
    return feel(made, AccelerometerUnit(**unit), np.random.default_rng(seed))


def test_at_rest_an_accelerometer_feels_gravity_alone():
    log = felt(RUN, roll_deg=20, pitch_deg=-30, yaw_deg=50, **QUIET)
    still = log.force_mps2[log.t_s < 4]
    np.testing.assert_allclose(np.linalg.norm(still, axis=1), GRAVITY_MPS2, rtol=1e-12)


def test_under_way_it_feels_the_acceleration_forward():
    log = felt(RUN, **QUIET)
    np.testing.assert_allclose(log.force_mps2[:, 0], RUN.motion.accel_at(log.t_s), atol=1e-12)
    climbing = ride(CAR, [Wait(5.0), Go(lift_mps=5.0)], around=Surroundings(grade_pct=100 * math.tan(math.radians(1))))
    # 1 degree of slope feels like 0.171150 m/s^2 (g sin 1 degree)
    assert felt(climbing, **QUIET).force_mps2[0, 0] == pytest.approx(0.171150, abs=1e-6)


def test_mounting_is_a_rotation():
    turn = mounting(AccelerometerUnit(roll_deg=20, pitch_deg=-30, yaw_deg=50))
    np.testing.assert_allclose(turn @ turn.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(turn) == pytest.approx(1.0)
    # turned 90 degrees to the right about down: what was forward is now felt along the sensor's minus y
    np.testing.assert_allclose(mounting(AccelerometerUnit(yaw_deg=90)) @ [1, 0, 0], [0, -1, 0], atol=1e-12)


def test_bias_scale_and_clock_are_the_sensors_own():
    plain = felt(RUN, **QUIET)
    own = felt(RUN, bias_mps2=(0.1, 0.2, 0.3), scale=(1.1, 1.0, 1.0), clock_offset_s=0.14, clock_drift_ppm=50, **QUIET)
    np.testing.assert_allclose(own.force_mps2, plain.force_mps2 * [1.1, 1.0, 1.0] + [0.1, 0.2, 0.3])
    assert own.t_s[0] == pytest.approx(0.14)
    assert own.t_s[-1] - own.t_s[0] == pytest.approx((plain.t_s[-1] - plain.t_s[0]) * (1 + 50e-6))


def test_the_engine_shakes_between_40_and_80_hz():
    made = ride(CAR, [Wait(60.0)])
    log = felt(made, rate_hz=400.0, noise_mps2=0.0)
    power = np.abs(np.fft.rfft(log.force_mps2[:, 2] - log.force_mps2[:, 2].mean())) ** 2
    hz = np.fft.rfftfreq(log.t_s.size, 1 / 400)
    assert hz[power.argmax()] == pytest.approx(40.0, abs=0.5)  # at rest the lower end
