"""Any mounting, shaking, bias and clock: the forward acceleration and the receiver's lag come out."""

from pathlib import Path

import numpy as np
import pytest

from traceanalyze.errors import SignalError
from traceanalyze.signal.accelerometer import forward_acceleration, forward_alone, speed_from_rest
from traceanalyze.signal.forces import blocks, calm_rests, integral, level_force
from traceanalyze.signal.lag import error_covariance
from traceanalyze.signal.motions import receiver_rests
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray

G_MPS2 = 9.80665  # exact, CGPM 1901
NOISE = SpeedNoise(0.05, 0.035, 1.0, 0.0, 0.0, 30.0, 0.2)


def drive(rate_hz: float = 100.0, launches: int = 3) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Make times, exact speed and acceleration: rest, pull at 3 m/s^2 for 4 s, brake at 2, rest."""
    t_s = np.arange(0, 6 + launches * 18, 1 / rate_hz)
    since = (t_s - 6) % 18
    pulls = (t_s >= 6) & (since < 4)
    brakes = (t_s >= 6) & (since >= 4) & (since < 10)
    accel = np.where(pulls, 3.0, np.where(brakes, -2.0, 0.0))
    return t_s, integral(t_s, accel), accel


def rotation(rng: np.random.Generator) -> FloatArray:
    """Return any turn of space, evenly (QR of a normal matrix; Stewart, SIAM J. Numer. Anal. 17 (1980) 403)."""
    q, r = np.linalg.qr(rng.normal(size=(3, 3)))
    return np.asarray(q * np.sign(np.diag(r)))


def worn(
    accel: FloatArray, t_s: FloatArray, seed: int = 0, shaking_mps2: float = 2.0, scale: float = 1.0
) -> FloatArray:
    """Return what a sensor mounted anyhow shows, shaken by an engine of 47 Hz, with noise and bias."""
    rng = np.random.default_rng(seed)
    body = np.stack([accel, np.zeros_like(accel), np.full_like(accel, -G_MPS2)], axis=1)
    body += shaking_mps2 * np.sin(2 * np.pi * 47.0 * t_s)[:, None] * [0.5, 0.3, 0.8]
    return body @ rotation(rng).T * scale + rng.normal(0, 0.1, 3) + rng.normal(0, 0.05, body.shape)


def seen(lag_s: float, seed: int = 1, rate_hz: float = 5.0) -> tuple[FloatArray, FloatArray]:
    """Return a receiver's times and speeds, late by `lag_s`."""
    t_s, speed, _ = drive()
    times = np.arange(2, t_s[-1], 1 / rate_hz)
    noisy = np.interp(times - lag_s, t_s, speed) + np.random.default_rng(seed).normal(0, 0.05, times.size)
    return times, np.abs(noisy)


@pytest.mark.parametrize("seed", range(4))
def test_the_forward_acceleration_of_any_mounting(seed: int) -> None:
    t_s, _, accel = drive()
    times, speeds = seen(0.2)
    found = forward_acceleration(t_s, worn(accel, t_s, seed), times, speeds, np.zeros(times.size, int), NOISE)
    steady = np.abs(np.interp(found.t_s - 0.5, t_s, accel) - np.interp(found.t_s + 0.5, t_s, accel)) < 1e-9
    # mean over steady stretches: the shaking, 2 m/s^2, is averaged out; 0.05 is 1.7 % of the pull
    for value in (3.0, -2.0, 0.0):
        here = steady & (np.abs(np.interp(found.t_s, t_s, accel) - value) < 1e-9)
        assert found.accel_mps2[here].mean() == pytest.approx(value, abs=0.05)


@pytest.mark.parametrize("lag_s", [-0.1, 0.0, 0.14, 0.3, 0.9])
def test_the_lag_of_the_receiver(lag_s: float) -> None:
    t_s, _, accel = drive()
    times, speeds = seen(lag_s)
    found = forward_acceleration(t_s, worn(accel, t_s), times, speeds, np.zeros(times.size, int), NOISE)
    assert found.lag_stderr_s < 0.01
    assert abs(found.lag_s - lag_s) < 4 * found.lag_stderr_s  # 1 in 16000 by chance, were it no true uncertainty
    assert f"{abs(found.lag_s):.3f} s" in found.remarks[0].text


def test_lags_are_as_uncertain_as_stated() -> None:
    t_s, _, accel = drive()
    misses = []
    for seed in range(24):
        times, speeds = seen(0.1, seed, rate_hz=2.0)
        found = forward_acceleration(t_s, worn(accel, t_s, seed), times, speeds, np.zeros(times.size, int), NOISE)
        misses.append((found.lag_s - 0.1) / found.lag_stderr_s)
    # 24 standard normal numbers have a root mean square of 0.6 to 1.4 in 999 of 1000 cases (chi-squared)
    assert 0.5 < np.sqrt(np.mean(np.square(misses))) < 1.4


@pytest.mark.parametrize("wander", [1e-5, 1e-2])
def test_how_much_the_bias_wanders(wander: float) -> None:
    t_s, _, accel = drive(launches=5)
    found = []
    for seed in range(4):
        rng = np.random.default_rng(seed)
        walk = np.cumsum(rng.normal(0, np.sqrt(wander * 0.01), t_s.size))  # a random walk of that density, at 100 Hz
        rests = accel == 0  # at rests it is seen and taken off
        walk -= np.interp(t_s, t_s[rests], walk[rests])
        speed = integral(t_s, accel)
        times = np.arange(2, t_s[-1], 0.2)
        seen_mps = np.abs(np.interp(times - 0.1, t_s, speed) + rng.normal(0, 0.05, times.size))
        force = worn(accel + walk, t_s, seed)
        found.append(forward_acceleration(t_s, force, times, seen_mps, np.zeros(times.size, int), NOISE).wander_m2ps5)
    # five stretches of ten seconds tell a variance to a factor of some; the two truths are 1000 apart
    assert 0.1 * wander < np.median(found) < 10 * wander + 2e-4


def test_a_wrong_scale_is_put_right() -> None:
    t_s, _, accel = drive()
    times, speeds = seen(0.1)
    force = worn(accel, t_s, scale=1.05)
    found = forward_acceleration(t_s, force, times, speeds, np.zeros(times.size, int), NOISE)
    assert found.scale == pytest.approx(1 / 1.05, abs=0.01)
    assert found.scale == pytest.approx(1 / 1.05, abs=4 * found.scale_stderr)


def test_a_sensor_that_shows_minus_the_force_reads_the_same() -> None:
    t_s, _, accel = drive()
    times, speeds = seen(0.1)
    part = np.zeros(times.size, int)
    force = worn(accel, t_s)
    plus = forward_acceleration(t_s, force, times, speeds, part, NOISE)
    minus = forward_acceleration(t_s, -force, times, speeds, part, NOISE)
    assert minus.accel_mps2 == pytest.approx(plus.accel_mps2, abs=1e-6)


class TestRefusals:
    def test_one_axis(self) -> None:
        t_s, _, accel = drive()
        force = np.column_stack([accel, np.full((t_s.size, 2), np.nan)])
        with pytest.raises(SignalError, match="hold three axes"):
            forward_alone(t_s, force)

    def test_no_gravity(self) -> None:
        t_s, _, accel = drive()
        with pytest.raises(SignalError, match="instead of gravity"):
            forward_alone(t_s, worn(accel, t_s) * 0.1)

    def test_too_slow(self) -> None:
        t_s, _, accel = drive(1.0)
        with pytest.raises(SignalError, match=r"1\.0 values a second"):
            forward_alone(t_s, worn(accel, t_s))

    def test_too_little_motion(self) -> None:
        t_s = np.arange(0, 30, 0.01)
        times = np.arange(0, 30, 0.2)
        with pytest.raises(SignalError, match="too little motion"):
            forward_acceleration(
                t_s, worn(np.zeros_like(t_s), t_s), times, np.full(times.size, 0.03), np.zeros(150, int), NOISE
            )

    def test_never_at_rest(self) -> None:
        t_s = np.arange(0, 30, 0.01)
        with pytest.raises(SignalError, match=r"never at rest, .*; stand still"):
            forward_alone(t_s, worn(3 * np.sin(t_s), t_s))

    def test_a_car_that_never_stops(self, open_data: Path) -> None:
        # a minute at 8 to 20 m/s by the fused truth of the same recording; its calmest three seconds look like a rest
        # to who asks only that the force stays as it is
        log = open_columns(open_data / "comma2k19" / "imu_accel_104hz.csv")
        with pytest.raises(SignalError, match="never at rest"):
            forward_alone(log[:, 0], log[:, 1:4])


def open_columns(path: Path) -> FloatArray:
    return np.asarray(np.genfromtxt(path, delimiter=",", skip_header=1))


@pytest.fixture(scope="module")
def city(open_data: Path) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Accelerometer (time, force) of an hour in a city, and times and speeds of its inertial truth."""
    force = open_columns(open_data / "kingston2008" / "imu_10hz.csv")[:, :4]
    truth = open_columns(open_data / "kingston2008" / "ins_ref_1hz.csv")
    return force, truth[:, 0], np.hypot(truth[:, 4], truth[:, 5])


class TestAnHourInACity:
    def test_rests_are_rests(self, city: tuple[FloatArray, FloatArray, FloatArray]) -> None:
        force, t_s, speed_mps = city
        rests = calm_rests(blocks(force[:, 0], force[:, 1:]))
        at_s = np.concatenate([np.arange(begin + 0.5, end - 0.5, 0.5) for begin, end in rests])
        shown = np.interp(at_s, t_s, speed_mps)
        assert np.mean(shown > 0.5) < 0.02  # creeping; steady driving would be at 10 m/s
        assert shown.max() < 1.5
        stands = np.interp(force[:, 0], t_s, speed_mps) < 0.05
        held = sum(((force[:, 0] > begin) & (force[:, 0] < end) & stands).sum() for begin, end in rests)
        assert held > 0.9 * stands.sum()

    def test_speeds_are_as_uncertain_as_stated(self, city: tuple[FloatArray, FloatArray, FloatArray]) -> None:
        force, t_s, speed_mps = city
        found = speed_from_rest(*forward_alone(force[:, 0], force[:, 1:]))
        known = np.isfinite(found.speed_mps)
        true = np.interp(found.t_s[known], t_s, speed_mps)
        hit = np.abs(found.speed_mps[known] - true) <= 2 * found.stderr_mps[known]
        # 0.89; hills that the sensor takes for thrust make two stretches of fifty miss. Rests taken on the road: 0.12
        assert hit[true > 1.0].mean() > 0.85
        assert known.mean() > 0.4  # an hour of which half is too long after a rest to tell anything


class TestAlone:
    def test_speed_from_rest_to_rest(self) -> None:
        t_s, speed, accel = drive()
        forward, rests = forward_alone(t_s, worn(accel, t_s))
        found = speed_from_rest(forward, rests)
        known = np.isfinite(found.speed_mps)
        miss = found.speed_mps[known] - np.interp(found.t_s[known], t_s, speed)
        assert len(rests) == 4
        assert known.mean() > 0.95
        assert np.sqrt(np.mean(miss**2)) < 0.15  # of 12 m/s; without the rest at the end the bias alone makes 0.3
        assert np.mean(np.abs(miss) <= 2 * found.stderr_mps[known] + 0.05) > 0.95

    def test_the_rest_at_the_end_holds_the_speed(self) -> None:
        t_s, _, accel = drive(launches=1)
        force = worn(accel, t_s)
        found = [speed_from_rest(*forward_alone(t_s[:end], force[:end])) for end in (t_s.size, 1300)]
        at_s = 12.0
        stderr = [float(np.interp(at_s, one.t_s, one.stderr_mps)) for one in found]
        assert stderr[0] < stderr[1]
        assert np.all(np.diff(found[1].stderr_mps[(found[1].t_s > 6.5) & (found[1].t_s < 10)]) > 0)  # through the pull

    def test_what_is_left_at_the_end_is_shared_out(self) -> None:
        t_s, speed, accel = drive(launches=1)
        seat = np.where(accel != 0, 0.1, 0.0)  # a sensor that tilts by 0.6 degrees while the vehicle moves
        found = speed_from_rest(*forward_alone(t_s, worn(accel + seat, t_s)))
        miss = np.interp(t_s, found.t_s, found.speed_mps) - speed
        before_stop = (t_s > 15.5) & (t_s < 15.8)
        assert np.abs(miss[before_stop]).max() < 0.15  # of 1 m/s that the tilt adds in ten seconds

    def test_a_steady_roll_is_no_rest(self) -> None:
        t_s = np.arange(0, 40, 0.01)
        accel = np.where((t_s > 5) & (t_s < 9), 2.5, np.where((t_s > 19) & (t_s < 24), -2.0, 0.0))
        _, rests = forward_alone(t_s, worn(accel, t_s))
        assert [round(begin) for begin, _ in rests] == [0, 24]

    def test_nothing_is_integrated_over_a_gap(self) -> None:
        t_s, _, accel = drive(launches=1)
        keep = (t_s < 8) | (t_s > 9)
        found = speed_from_rest(*forward_alone(t_s[keep], worn(accel, t_s)[keep]))
        assert np.isfinite(found.speed_mps[found.t_s < 8]).all()
        assert np.isnan(found.speed_mps[(found.t_s > 9) & (found.t_s < 15)]).all()


def test_blocks_keep_the_area_and_split_at_gaps() -> None:
    t_s = np.concatenate([np.arange(0, 1, 0.005), np.arange(3, 4, 0.005)])
    force = np.random.default_rng(2).normal(size=(t_s.size, 3))
    found = blocks(t_s, force)
    assert found.t_s.size == 100  # four samples of 200 Hz each
    assert found.force_mps2.mean(axis=0) == pytest.approx(force.mean(axis=0))
    assert np.bincount(found.run).tolist() == [50, 50]


def test_rests_of_both_kinds() -> None:
    t_s, _, accel = drive()
    times, speeds = seen(0.0)
    by_receiver = receiver_rests(times, speeds, NOISE)
    by_force = calm_rests(blocks(t_s, worn(accel, t_s)))
    # a rest begins 16, 34, 52 s after the start; half a second is what both can tell
    assert [begin for begin, _ in by_receiver[1:]] == pytest.approx([16, 34, 52], abs=0.5)
    assert [begin for begin, _ in by_force[1:]] == pytest.approx([16, 34, 52], abs=0.6)


def test_level_axes_are_square_to_gravity() -> None:
    t_s, _, accel = drive()
    found = blocks(t_s, worn(accel, t_s))
    level, axes = level_force(found, calm_rests(found))
    down = found.force_mps2[:100].mean(axis=0)
    assert down @ axes == pytest.approx(np.zeros(2), abs=0.05 * G_MPS2)
    assert np.hypot(*level.T).max() < 6


def test_error_covariance_is_that_of_its_parts() -> None:
    # integrated Wiener process: E[x(s) x(t)] = s^2 (t - s/3) / 2 for s < t (Rasmussen & Williams, Gaussian Processes
    # for Machine Learning (2006), section 6.3.1)
    s, t = np.array([2.0]), np.array([5.0])
    assert error_covariance(s, t, 0.0, 1.0, 0.0)[0] == pytest.approx(2**2 * (5 - 2 / 3) / 2)
    assert error_covariance(s, t, 0.1, 0.0, 0.0)[0] == pytest.approx(0.1**2 * 10)
    assert error_covariance(s, t, 0.0, 0.0, 0.3)[0] == pytest.approx(0.3 * 2)
