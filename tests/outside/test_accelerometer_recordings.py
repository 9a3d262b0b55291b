"""Accelerometers of open recordings against the fused and inertial reference speeds recorded beside them.

comma2k19: Schafer, Santana, Haden & Biasini, A commute in data, arXiv:1812.05752 (2018); accelerometer, receiver,
vehicle and fused pose on one host clock. Kingston: a road test with accelerometer, receiver and inertial reference,
from the repository hanymragab/Full_IMU_Mechanization.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from traceanalyze.signal.accelerometer import forward_acceleration
from traceanalyze.signal.cleaning import clean_speed
from traceanalyze.signal.forces import integral
from traceanalyze.signal.noise import estimate_noise


def columns(path: Path, *names: str) -> list[np.ndarray]:
    with path.open(newline="") as file:
        rows = list(csv.DictReader(file))
    return [np.array([float(row[name]) for row in rows]) for name in names]


def best_lag_s(late_s: np.ndarray, late: np.ndarray, true_s: np.ndarray, true: np.ndarray) -> float:
    """Find the lag that leaves the least scatter between two recorded speeds: no accelerometer in it."""
    lags = np.arange(-0.3, 0.6, 0.005)
    inside = (late_s > true_s[0] + 0.6) & (late_s < true_s[-1] - 0.3)
    scatter = [np.std(late[inside] - np.interp(late_s[inside] - lag, true_s, true)) for lag in lags]
    return float(lags[int(np.argmin(scatter))])


def test_the_receiver_lag_of_comma2k19(open_data: Path) -> None:
    folder = open_data / "comma2k19"
    t_s, *axes = columns(folder / "imu_accel_104hz.csv", "t_s", "fwd", "right", "down")
    receiver_s, receiver = columns(folder / "gnss_ublox_10hz.csv", "t_s", "speed_mps")
    fused_s, fused = columns(folder / "fused_pose_speed_20hz.csv", "t_s", "speed_mps")
    reference_s = best_lag_s(receiver_s, receiver, fused_s, fused)
    assert reference_s == pytest.approx(0.14, abs=0.03)
    force = np.stack(axes, axis=1)
    zero = np.zeros(receiver_s.size, int)
    found = forward_acceleration(
        t_s - t_s[0], force, receiver_s - t_s[0], receiver, zero, estimate_noise(receiver_s, receiver, zero)
    )
    # the car never rests and the ramp slopes, so gravity comes from the mean and the scale is known to 5 % only
    assert found.lag_s == pytest.approx(reference_s, abs=2.5 * found.lag_stderr_s)
    assert found.lag_stderr_s < 0.03
    zero = np.zeros(fused_s.size, int)
    none = forward_acceleration(
        t_s - t_s[0], force, fused_s - t_s[0], fused, zero, estimate_noise(fused_s, fused, zero)
    )
    assert none.lag_s == pytest.approx(0.0, abs=0.03)  # the fused pose is on the accelerometer's clock


def test_the_forward_acceleration_of_kingston(open_data: Path) -> None:
    folder = open_data / "kingston2008"
    t_s, *axes = columns(folder / "imu_10hz.csv", "t_s", "fx", "fy", "fz")
    receiver_s, receiver = columns(folder / "gnss_vel_1hz.csv", "t_s", "hor_speed_mps")
    reference_s, north, east = columns(folder / "ins_ref_1hz.csv", "t_s", "vn_mps", "ve_mps")
    unknown, zero = np.full(receiver_s.size, np.nan), np.zeros(receiver_s.size, int)
    glitch, _ = clean_speed(receiver_s, receiver, unknown, unknown, zero)
    receiver = np.where(glitch, np.nan, receiver)
    found = forward_acceleration(
        t_s - t_s[0],
        np.stack(axes, axis=1),
        receiver_s - t_s[0],
        receiver,
        zero,
        estimate_noise(receiver_s, receiver, zero),
    )
    gained = np.interp(reference_s - t_s[0], found.t_s, integral(found.t_s, found.accel_mps2))
    ours, theirs = (speed[5:] - speed[:-5] for speed in (gained, np.hypot(north, east)))  # over 5 s each
    braking_or_pulling = np.abs(theirs) > 3
    # slopes of 1 % add 0.5 m/s in 5 s; without the right axis or sign there is no correlation at all
    assert np.corrcoef(ours[braking_or_pulling], theirs[braking_or_pulling])[0, 1] > 0.99
    assert np.median(ours[braking_or_pulling] / theirs[braking_or_pulling]) == pytest.approx(1.0, abs=0.05)
    assert np.median(np.abs(ours - theirs)) < 0.5
