"""Accelerometer of any mounting -> forward acceleration, and how late the receiver is against it.

Gravity at rest gives down, the receiver's changes of speed (or the first push of every start) give forward; bias is
what the rests show, scale and the receiver's lag come from all starts and brakings of the log together (see `lag`).
Engine vibration is averaged out in blocks of 20 ms, which keep the area under every push.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from traceanalyze.errors import SignalError
from traceanalyze.signal.forces import (
    Blocks,
    blocks,
    calm_rests,
    forward_of_pushes,
    integral,
    level_force,
    white_density,
)
from traceanalyze.signal.lag import LagFit, error_covariance, fit_lag
from traceanalyze.signal.motions import receiver_rests, stretches
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray, Remark

#: Above this the rests found by the receiver's clock are moved by the lag and all is done once more [s].
_LAG_MATTERS_S: Final = 0.3
#: Without a receiver: bias left after a rest [m/s^2], its wandering [m^2/s^5] and the scale's uncertainty. A vehicle
#: that squats by 1 degree under 3 m/s^2 shows 0.17 m/s^2 (6 %) too much; common practice, no source.
_BIAS_MPS2: Final = 0.08
_WANDER: Final = 3e-3
_SCALE_SD: Final = 0.06
#: Speed gained since the last rest below which a calm time may be a rest [m/s], whatever the sensor is worth.
_ROLLS_MPS: Final = 1.0
#: Steps between blocks longer than this are gaps [s].
_GAP_S: Final = 0.2
#: A speed less certain than this [m/s] is none.
_WORTHLESS_MPS: Final = 2.0
#: Slower than this an accelerometer tells nothing about a start [Hz].
LEAST_RATE_HZ: Final = 8.0


@dataclass(frozen=True, slots=True, eq=False)
class ForwardAcceleration:
    """Acceleration along the track, from an accelerometer.

    Attributes
    ----------
    t_s : (m,) float
        Middle of each block, on the accelerometer's clock made to run as fast as the receiver's [s].
    accel_mps2 : (m,) float
        Mean over the block; gravity and the bias seen at the rests taken off, scale corrected.
    sigma_mps2 : (m,) float
        Standard deviation of its white part.
    lag_s, lag_stderr_s : float
        How late the receiver's stamps are against this clock [s]; NaN without a receiver.
    scale, scale_stderr : float
        Factor that corrected the sensor (contained in `accel_mps2`), and its standard uncertainty.
    bias_mps2, wander_m2ps5 : float
        Standard deviation of the bias left after a rest, and the spectral density of its wandering.
    remarks : tuple of Remark
    """

    t_s: FloatArray
    accel_mps2: FloatArray
    sigma_mps2: FloatArray
    lag_s: float
    lag_stderr_s: float
    scale: float
    scale_stderr: float
    bias_mps2: float
    wander_m2ps5: float
    remarks: tuple[Remark, ...] = ()

    @property
    def white_m2ps3(self) -> float:
        """Spectral density of the white part [m^2/s^3]."""
        return float(np.median(self.sigma_mps2) ** 2 * np.median(np.diff(self.t_s)))


def forward_acceleration(
    t_s: FloatArray,
    force_mps2: FloatArray,
    receiver_t_s: FloatArray,
    receiver_mps: FloatArray,
    part: NDArray[np.integer[Any]],
    noise: SpeedNoise,
) -> ForwardAcceleration:
    """Return the forward acceleration of an accelerometer that rode along with a receiver.

    Parameters
    ----------
    t_s, force_mps2 : (m,), (m, 3) float
        The accelerometer's clock [s] and specific force in its own axes [m/s^2].
    receiver_t_s, receiver_mps, part : (n,)
        The receiver's times [s], speeds [m/s] (NaN where missing) and stretch numbers.

    Raises
    ------
    SignalError
        If axes are missing, gravity is not in it, it is too slow, or too little motion is seen by both.
    """
    found = _checked(blocks(t_s, force_mps2))
    rests = receiver_rests(receiver_t_s, receiver_mps, noise)
    driven = stretches(receiver_t_s, receiver_mps, part, rests, noise)
    level, _ = level_force(found, rests)
    fit = fit_lag(found, level, driven, noise)
    if abs(fit.lag_s) > _LAG_MATTERS_S:
        level, _ = level_force(found, [(begin - fit.lag_s, end - fit.lag_s) for begin, end in rests])
        fit = fit_lag(found, level, driven, noise)
    return _of_fit(found, level, fit)


def _checked(found: Blocks) -> Blocks:
    if 1 / found.step_s < LEAST_RATE_HZ:
        raise SignalError(
            f"the accelerometer gives {1 / found.step_s:.1f} values a second",
            advice=f"{LEAST_RATE_HZ:g} a second are the least that help, 100 are good",
        )
    return found


def _of_fit(found: Blocks, level: FloatArray, fit: LagFit) -> ForwardAcceleration:
    side = "behind" if fit.lag_s >= 0 else "ahead of"
    text = f"the receiver's clock is {abs(fit.lag_s):.3f} s (± {fit.lag_stderr_s:.3f} s) {side} the accelerometer's"
    return ForwardAcceleration(
        t_s=found.t_s + fit.drift * (found.t_s - fit.middle_s),
        accel_mps2=level @ fit.forward,
        sigma_mps2=np.full(found.t_s.size, np.sqrt(fit.white / found.step_s)),
        lag_s=fit.lag_s,
        lag_stderr_s=fit.lag_stderr_s,
        scale=fit.scale,
        scale_stderr=fit.scale_stderr,
        bias_mps2=fit.bias_mps2,
        wander_m2ps5=fit.wander,
        remarks=(Remark("receiver-lag", text),),
    )


def forward_alone(t_s: FloatArray, force_mps2: FloatArray) -> tuple[ForwardAcceleration, list[tuple[float, float]]]:
    """Return the forward acceleration of an accelerometer without a receiver, and begin and end of its rests [s].

    Parameters
    ----------
    t_s, force_mps2 : (m,), (m, 3) float
        Clock [s] and specific force in the sensor's own axes [m/s^2].

    Raises
    ------
    SignalError
        If axes are missing, gravity is not in it, it is too slow, or no start from rest is in it.
    """
    found = _checked(blocks(t_s, force_mps2))
    calm = calm_rests(found)
    if not calm:
        raise SignalError("the accelerometer is never at rest, and without a rest it tells no speed", advice=_STAND)
    level, _ = level_force(found, calm)
    accel = level @ forward_of_pushes(found, level, calm)
    white = white_density(level, found.step_s)
    forward = ForwardAcceleration(
        t_s=found.t_s,
        accel_mps2=accel,
        sigma_mps2=np.full(found.t_s.size, np.sqrt(white / found.step_s)),
        lag_s=0.0,
        lag_stderr_s=0.0,
        scale=1.0,
        scale_stderr=_SCALE_SD,
        bias_mps2=_BIAS_MPS2,
        wander_m2ps5=_WANDER,
        remarks=(_ALONE,),
    )
    return forward, _true_rests(forward, calm)


_STAND: Final = "stand still for some seconds before every start and after it, engine idling or off"
_ALONE = Remark(
    "accelerometer-only",
    "no receiver: speeds are integrated from rest to rest, and their uncertainty grows with every second between",
)


def _true_rests(forward: ForwardAcceleration, calm: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Leave out calm times at which the speed gained since the last rest cannot be zero: a steady roll is calm too."""
    total = integral(forward.t_s, forward.accel_mps2)
    rests = calm[:1]
    for begin_s, end_s in calm[1:]:
        took = np.array([begin_s - rests[-1][1]])
        gained = float(np.interp(begin_s, forward.t_s, total) - np.interp(rests[-1][1], forward.t_s, total))
        sd = float(np.sqrt(_drift(forward, took, took)[0]))
        if abs(gained) < max(_ROLLS_MPS, 4 * sd):
            rests.append((begin_s, end_s))
    return rests


def _drift(forward: ForwardAcceleration, u_s: FloatArray, v_s: FloatArray) -> FloatArray:
    return error_covariance(u_s, v_s, forward.bias_mps2, forward.wander_m2ps5, forward.white_m2ps3)


@dataclass(frozen=True, slots=True, eq=False)
class InertialSpeed:
    """Speed from an accelerometer alone.

    Attributes
    ----------
    t_s, speed_mps, stderr_mps : (m,) float
        Zero at the rests; NaN before the first, where the record has a gap since the last, and where too little is
        known (2 m/s).
    """

    t_s: FloatArray
    speed_mps: FloatArray
    stderr_mps: FloatArray


def speed_from_rest(forward: ForwardAcceleration, rests: list[tuple[float, float]]) -> InertialSpeed:
    """Return the speed that an accelerometer alone shows, starting from rest.

    Between two rests the integral is corrected so that it ends at zero (zero-velocity update) in the way a bias that
    wanders would have done it; after the last rest the uncertainty only grows.

    Parameters
    ----------
    forward, rests
        As `forward_alone` returns them.
    """
    t_s = forward.t_s
    total = integral(t_s, forward.accel_mps2)
    gaps_s = t_s[np.flatnonzero(np.diff(t_s) > _GAP_S)]
    speed, stderr = np.full(t_s.size, np.nan), np.full(t_s.size, np.nan)
    for (begin_s, end_s), next_s in zip(rests, [*(begin for begin, _ in rests[1:]), np.inf], strict=True):
        at_rest = (t_s >= begin_s) & (t_s <= end_s)
        speed[at_rest], stderr[at_rest] = 0.0, 0.0
        after = gaps_s[gaps_s >= end_s]
        until_s = min(next_s, float(after[0]) if after.size else np.inf)
        moving = np.flatnonzero((t_s > end_s) & (t_s <= until_s) & (t_s < next_s))
        gained = total[moving] - float(np.interp(end_s, t_s, total))
        left = (
            float(np.interp(next_s, t_s, total) - np.interp(end_s, t_s, total)) if until_s == next_s < np.inf else None
        )
        speed[moving], stderr[moving] = _bridged(forward, t_s[moving] - end_s, gained, next_s - end_s, left)
    known = stderr < _WORTHLESS_MPS
    return InertialSpeed(t_s, np.where(known, np.abs(speed), np.nan), np.where(known, stderr, np.nan))


def _bridged(
    forward: ForwardAcceleration, u_s: FloatArray, gained_mps: FloatArray, end_s: float, left_mps: float | None
) -> tuple[FloatArray, FloatArray]:
    """Return speed and its standard uncertainty at times after leaving rest, zero at the end when that is known."""
    variance = _drift(forward, u_s, u_s)
    if left_mps is None:
        return gained_mps, np.sqrt(variance + (forward.scale_stderr * gained_mps) ** 2)
    shared = _drift(forward, u_s, np.full_like(u_s, end_s))
    whole = float(_drift(forward, np.array([end_s]), np.array([end_s]))[0])
    speed = gained_mps - shared / whole * left_mps
    return speed, np.sqrt(np.maximum(variance - shared**2 / whole, 0.0) + (forward.scale_stderr * speed) ** 2)
