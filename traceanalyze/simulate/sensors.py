"""What instruments make of a ride: a satellite receiver and an accelerometer, each with its own faults and clock.

A receiver states the length of a noisy velocity vector. Its noise has a white part and a slow one (first-order
Gauss-Markov, as positions and speeds of one receiver epoch after another share their errors); at rest its speed is
Rayleigh distributed. All numbers are options; none is the property of any product.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from traceanalyze.errors import UsageError
from traceanalyze.simulate.motion import Motion
from traceanalyze.simulate.places import Place, place, to_degrees
from traceanalyze.simulate.rides import Ride
from traceanalyze.trace import FloatArray
from traceanalyze.units import GRAVITY_MPS2

#: Grid on which a receiver's low-pass filter runs [s].
_FILTER_STEP_S = 0.005
#: Below this speed a receiver's course is a matter of luck, and it states none [m/s].
COURSE_MPS = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Receiver:
    """A satellite receiver.

    Attributes
    ----------
    rate_hz, phase_s : float
        Epochs are at `phase_s` + k / `rate_hz` of the ride, rounded to 1 ms as their stamps are.
    sigma_mps : float
        Standard deviation of one speed sample along each axis.
    slow_share, slow_tau_s : float
        Share of that variance which is slow, and its time constant.
    vertical : bool
        True adds a third noisy axis: speed in space instead of over ground.
    position_sigma_m, position_tau_s, position_white_m : float
        Slow and white part of the position error along each axis.
    low_pass_hz : float
        Corner of a second-order filter on velocity and position; 0 for none.
    delay_s : float
        How late the stated values are against their stamps.
    hold_mps : float
        Below this the receiver states a speed of exactly zero; 0 for none.
    """

    rate_hz: float = 10.0
    phase_s: float = 0.0
    sigma_mps: float = 0.05
    slow_share: float = 0.5
    slow_tau_s: float = 1.0
    vertical: bool = False
    position_sigma_m: float = 0.8
    position_tau_s: float = 60.0
    position_white_m: float = 0.02
    low_pass_hz: float = 0.0
    delay_s: float = 0.0
    hold_mps: float = 0.0

    def __post_init__(self) -> None:
        if not 0.1 <= self.rate_hz <= 100:
            raise UsageError(f"a receiver of {self.rate_hz:g} Hz", advice="give a rate of 0.1 to 100 Hz")
        if not (0 <= self.slow_share <= 1 and 0 <= self.sigma_mps <= 5):
            raise UsageError(
                f"speed noise of {self.sigma_mps:g} m/s, {self.slow_share:g} of it slow",
                advice="give a noise of 0 to 5 m/s and a slow share of 0 to 1",
            )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReceiverLog:
    """What a receiver states, one row an epoch, each (n,).

    Attributes
    ----------
    t_s : float
        Stamps [s] of the ride's clock.
    lat_deg, lon_deg, altitude_m, speed_mps, course_deg : float
        Course NaN where the receiver states none.
    fix : bool
        Whether the receiver had a position at all.
    """

    t_s: FloatArray
    lat_deg: FloatArray
    lon_deg: FloatArray
    altitude_m: FloatArray
    speed_mps: FloatArray
    course_deg: FloatArray
    fix: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class AccelerometerUnit:
    """An accelerometer on its own clock, mounted anyhow.

    Attributes
    ----------
    rate_hz : float
    roll_deg, pitch_deg, yaw_deg : float
        Mounting: turned about forward, then right, then down (axes of the vehicle: forward, right, down).
    bias_mps2, scale : tuple of 3 floats
        In the sensor's axes.
    noise_mps2 : float
        White, each axis.
    clock_offset_s, clock_drift_ppm : float
        Its stamp minus true time at the ride's beginning, and how fast its clock runs.
    vibration_mps2, vibration_hz : float, (float, float)
        Amplitude of the engine's shaking under way, and its frequency at rest and at 25 m/s.
    """

    rate_hz: float = 100.0
    roll_deg: float = 0.0
    pitch_deg: float = 0.0
    yaw_deg: float = 0.0
    bias_mps2: tuple[float, float, float] = (0.0, 0.0, 0.0)
    scale: tuple[float, float, float] = (1.0, 1.0, 1.0)
    noise_mps2: float = 0.05
    clock_offset_s: float = 0.0
    clock_drift_ppm: float = 0.0
    vibration_mps2: float = 1.5
    vibration_hz: tuple[float, float] = (40.0, 80.0)

    def __post_init__(self) -> None:
        if not 10 <= self.rate_hz <= 1000:
            raise UsageError(f"an accelerometer of {self.rate_hz:g} Hz", advice="give a rate of 10 to 1000 Hz")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AccelerometerLog:
    """Stamps on the sensor's clock (m,) [s] and specific force in its axes (m, 3) [m/s^2]."""

    t_s: FloatArray
    force_mps2: FloatArray


def receive(made: Ride, receiver: Receiver, rng: np.random.Generator) -> ReceiverLog:
    """Return what a receiver states of a ride."""
    count = math.floor((made.duration_s - receiver.phase_s) * receiver.rate_hz + 1e-9) + 1
    t_s = np.round(receiver.phase_s + np.arange(count) / receiver.rate_hz, 3)
    seen = _filtered(made, t_s - receiver.delay_s, receiver.low_pass_hz)
    east_mps = seen.east_mps + _velocity_noise(receiver, count, rng)
    north_mps = seen.north_mps + _velocity_noise(receiver, count, rng)
    up_mps = _velocity_noise(receiver, count, rng) if receiver.vertical else np.zeros(count)
    speed = np.sqrt(east_mps**2 + north_mps**2 + up_mps**2)
    held = speed < receiver.hold_mps
    speed[held] = 0.0
    course = np.degrees(np.arctan2(east_mps, north_mps)) % 360
    lat, lon = to_degrees(
        made.strip,
        seen.east_m + _position_noise(receiver, count, rng),
        seen.north_m + _position_noise(receiver, count, rng),
    )
    return ReceiverLog(
        t_s=t_s,
        lat_deg=lat,
        lon_deg=lon,
        altitude_m=made.strip.altitude_m + seen.up_m + 1.6 * _position_noise(receiver, count, rng),
        speed_mps=speed,
        course_deg=np.where(speed < COURSE_MPS, np.nan, course),
        fix=np.ones(count, bool),
    )


def gauss_markov(count: int, step_s: float, sigma: float, tau_s: float, rng: np.random.Generator) -> FloatArray:
    """Return a stationary first-order Gauss-Markov series: correlation exp(-step/tau) from one value to the next."""
    keep = math.exp(-step_s / tau_s) if tau_s > 0 else 0.0
    kicks = rng.standard_normal(count)
    kicks[1:] *= math.sqrt(1 - keep**2)
    value, series = 0.0, []
    for kick in kicks.tolist():
        value = keep * value + kick
        series.append(value)
    return sigma * np.array(series)


def _velocity_noise(receiver: Receiver, count: int, rng: np.random.Generator) -> FloatArray:
    sigma = receiver.sigma_mps * math.sqrt(receiver.slow_share)
    slow = gauss_markov(count, 1 / receiver.rate_hz, sigma, receiver.slow_tau_s, rng)
    return slow + receiver.sigma_mps * math.sqrt(1 - receiver.slow_share) * rng.standard_normal(count)


def _position_noise(receiver: Receiver, count: int, rng: np.random.Generator) -> FloatArray:
    slow = gauss_markov(count, 1 / receiver.rate_hz, receiver.position_sigma_m, receiver.position_tau_s, rng)
    return slow + receiver.position_white_m * rng.standard_normal(count)


def _filtered(made: Ride, t_s: FloatArray, corner_hz: float) -> Place:
    """Position and velocity at given times, smeared by two equal first-order low-passes one after the other.

    Each has its corner at 1.554 times the stated one, so that both together reach 1/sqrt(2) there.
    """
    if not corner_hz:
        return place(made, t_s)
    tau_s = 1 / (2 * math.pi * corner_hz * 1.5538)
    reach = math.ceil(12 * tau_s / _FILTER_STEP_S)
    lag_s = np.arange(reach + 1) * _FILTER_STEP_S
    weight = lag_s / tau_s * np.exp(-lag_s / tau_s)
    weight /= weight.sum()
    grid = np.arange(math.floor(t_s[0] / _FILTER_STEP_S) - reach - 1, math.ceil(t_s[-1] / _FILTER_STEP_S) + 2)
    fine = place(made, grid * _FILTER_STEP_S)
    fields = (fine.east_m, fine.north_m, fine.up_m, fine.east_mps, fine.north_mps)
    east, north, up, east_mps, north_mps = (
        np.interp(t_s, grid[reach:] * _FILTER_STEP_S, np.convolve(one, weight, mode="valid")) for one in fields
    )
    return Place(east, north, up, east_mps, north_mps, np.full(t_s.size, np.nan))


def feel(made: Ride, unit: AccelerometerUnit, rng: np.random.Generator) -> AccelerometerLog:
    """Return what an accelerometer senses of a ride: specific force, gravity included, in its own axes."""
    count = math.floor(made.duration_s * unit.rate_hz + 1e-9) + 1
    t_s = np.arange(count) / unit.rate_hz
    motion = made.motion
    angle = np.arctan(made.around.grade_pct / 100 * np.cos(place(made, t_s).heading_rad - _axis(made)))
    side = motion.speed_at(t_s) ** 2 * _bend_at(made, motion.distance_at(t_s))
    upright = GRAVITY_MPS2 * np.cos(angle)
    forward = motion.accel_at(t_s) + GRAVITY_MPS2 * np.sin(angle)
    body = np.stack([forward, np.zeros(count), -np.hypot(upright, side)], axis=1)  # a rider leans into the turn
    body += _vibration(motion, t_s, unit, rng)
    force = body @ mounting(unit).T * np.array(unit.scale) + np.array(unit.bias_mps2)
    force += unit.noise_mps2 * rng.standard_normal((count, 3))
    stamps = unit.clock_offset_s + t_s * (1 + unit.clock_drift_ppm * 1e-6)
    return AccelerometerLog(t_s=stamps, force_mps2=force)


def mounting(unit: AccelerometerUnit) -> FloatArray:
    """Return the rotation (3, 3) that takes a vector from the vehicle's axes into the sensor's."""
    r, p, y = np.radians([unit.roll_deg, unit.pitch_deg, unit.yaw_deg])
    about_x = np.array([[1, 0, 0], [0, math.cos(r), math.sin(r)], [0, -math.sin(r), math.cos(r)]])
    about_y = np.array([[math.cos(p), 0, -math.sin(p)], [0, 1, 0], [math.sin(p), 0, math.cos(p)]])
    about_z = np.array([[math.cos(y), math.sin(y), 0], [-math.sin(y), math.cos(y), 0], [0, 0, 1]])
    return np.asarray(about_x @ about_y @ about_z)


def _axis(made: Ride) -> float:
    return math.radians(made.strip.heading_deg)


def _bend_at(made: Ride, along_m: FloatArray) -> FloatArray:
    bend = np.zeros_like(along_m)
    for start_m, end_m, one in made.turns.tolist():
        bend[(along_m >= start_m) & (along_m < end_m)] = one
    return bend


def _vibration(motion: Motion, t_s: FloatArray, unit: AccelerometerUnit, rng: np.random.Generator) -> FloatArray:
    """Engine shaking along one direction, faster and stronger with speed; a weaker second harmonic."""
    share = np.clip(motion.speed_at(t_s) / 25.0, 0, 1)
    hz = unit.vibration_hz[0] + share * (unit.vibration_hz[1] - unit.vibration_hz[0])
    phase = 2 * np.pi * np.cumsum(hz) / unit.rate_hz + rng.uniform(0, 2 * np.pi)
    strength = unit.vibration_mps2 * (0.25 + 0.75 * np.sqrt(share))
    wave = strength * (np.sin(phase) + 0.4 * np.sin(2 * phase + 1.0))
    return np.asarray(wave[:, None] * np.array([0.5, 0.3, 0.8]))
