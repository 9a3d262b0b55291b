"""The equation of motion, one step after another: classical Runge-Kutta of fourth order at 1 kHz.

The first seconds of a push run at 1 kHz, where thrust changes within hundredths of a second; later, where everything
changes over seconds, at 200 Hz (the error of a step goes with its fifth power).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from traceanalyze.trace import FloatArray

FINE_STEP_S = 0.001
COARSE_STEP_S = 0.005
#: How long a push runs at the fine step [s].
FINE_S = 4.0
#: No push is longer than this, whatever its ends say [s].
LONGEST_S = 120.0

Force = Callable[[float], float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ends:
    """A push ends at the first of these: a speed reached, a speed sunk to, a time, a length, a time at a speed."""

    lift_mps: float = math.inf
    floor_mps: float = -math.inf
    for_s: float = LONGEST_S
    run_m: float = math.inf
    held_mps: float = math.inf
    held_s: float = math.inf


@dataclass(frozen=True, slots=True, eq=False)
class Leg:
    """Knots of a stretch of motion: times from its own start [s], speed [m/s], acceleration [m/s^2] ((n+1,) each)."""

    t_s: FloatArray
    speed_mps: FloatArray
    accel_mps2: FloatArray

    @property
    def duration_s(self) -> float:
        """Time from the first to the last knot [s]."""
        return float(self.t_s[-1] - self.t_s[0])


def half_steps_s(duration_s: float, fine_s: float = FINE_S) -> FloatArray:
    """Return times at every half step over a duration [s]: fine at first, then coarse; an odd count."""
    fine = round(min(duration_s, fine_s) / FINE_STEP_S)
    coarse = max(0, math.ceil((duration_s - fine * FINE_STEP_S) / COARSE_STEP_S - 1e-9))
    first = np.arange(2 * fine + 1) * (FINE_STEP_S / 2)
    return np.concatenate([first, first[-1] + np.arange(1, 2 * coarse + 1) * (COARSE_STEP_S / 2)])


def roll(
    thrust: Force,
    resist: Force,
    inertia_kg: float,
    half_s: FloatArray,
    gain: FloatArray,
    v0_mps: float,
    ends: Ends,
) -> Leg:
    """Integrate `inertia dv/dt = gain(t) thrust(v) - resist(v)` until the first of the ends.

    Parameters
    ----------
    half_s : (2n+1,) float
        Times at every half step from 0 [s]; n steps at most are made.
    gain : (2n+1,) float
        At those times.
    """
    times, g = half_s.tolist(), gain.tolist()
    t, v, x, since = 0.0, v0_mps, 0.0, math.inf
    a = (g[0] * thrust(v) - resist(v)) / inertia_kg
    knots = [(t, v, a)]
    for i in range(0, len(g) - 2, 2):
        h = times[i + 2] - times[i]
        w = v + h / 2 * a
        a2 = (g[i + 1] * thrust(w) - resist(w)) / inertia_kg
        w = v + h / 2 * a2
        a3 = (g[i + 1] * thrust(w) - resist(w)) / inertia_kg
        w = v + h * a3
        a4 = (g[i + 2] * thrust(w) - resist(w)) / inertia_kg
        new = v + h / 6 * (a + 2 * (a2 + a3) + a4)
        if new <= ends.floor_mps:
            knots.append(_sunk(t, v, a, h * (v - ends.floor_mps) / (v - new), ends.floor_mps))
            break
        x += h / 2 * (v + new)
        t, v = times[i + 2], new
        a = (g[i + 2] * thrust(v) - resist(v)) / inertia_kg
        knots.append((t, v, a))
        if v >= ends.held_mps:
            since = min(since, t)
        if v >= ends.lift_mps or t >= ends.for_s - 1e-9 or x >= ends.run_m or t - since >= ends.held_s:
            break
    return Leg(*np.array(knots).T)


def _sunk(t: float, v: float, a: float, h: float, floor_mps: float) -> tuple[float, float, float]:
    """The knot that ends a leg exactly on its lowest speed, `h` after the knot before."""
    return t + h, floor_mps, 2 * (floor_mps - v) / h - a


def _held(speed_mps: float) -> float:
    return math.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class Slipping:
    """A clutch that slips: what drives engine and wheel apart from each other.

    Attributes
    ----------
    torque : Force
        Engine torque at full throttle [N m] over engine speed [rad/s].
    inertia_kgm2 : float
        Of the engine.
    engage2, gain_nms2 : float
        Clutch torque = gain * (w^2 - engage2) above zero.
    push_n : Force
        Thrust at the ground [N] for a clutch torque [N m] (ratio, losses, grip of the tyre).
    turns_radpm : float
        Engine angle for a metre travelled with the clutch locked [rad/m].
    """

    torque: Force
    inertia_kgm2: float
    engage2: float
    gain_nms2: float
    push_n: Force
    turns_radpm: float

    def rates(self, v: float, w: float, throttle: float, resist: Force, inertia_kg: float) -> tuple[float, float]:
        """Return the accelerations of vehicle [m/s^2] and engine [rad/s^2]; a vehicle at rest is not pushed back."""
        clutch_nm = max(0.0, self.gain_nms2 * (w * w - self.engage2))
        a = (self.push_n(clutch_nm) - resist(v)) / inertia_kg
        return (a if v > 0 or a > 0 else 0.0), (throttle * self.torque(w) - clutch_nm) / self.inertia_kgm2

    def step(
        self, v: float, w: float, h: float, throttle: tuple[float, float, float], resist: Force, inertia_kg: float
    ) -> tuple[float, float]:
        """Return speed and engine speed one Runge-Kutta step later; `throttle` at its start, middle and end."""
        a1, b1 = self.rates(v, w, throttle[0], resist, inertia_kg)
        a2, b2 = self.rates(v + h / 2 * a1, w + h / 2 * b1, throttle[1], resist, inertia_kg)
        a3, b3 = self.rates(v + h / 2 * a2, w + h / 2 * b2, throttle[1], resist, inertia_kg)
        a4, b4 = self.rates(v + h * a3, w + h * b3, throttle[2], resist, inertia_kg)
        return v + h / 6 * (a1 + 2 * (a2 + a3) + a4), w + h / 6 * (b1 + 2 * (b2 + b3) + b4)

    def standing_step(self, w: float, h: float, throttle: tuple[float, float, float]) -> float:
        """Return the engine speed one step later with the vehicle held at rest [rad/s]."""
        return self.step(0.0, w, h, throttle, _held, 1.0)[1]

    def pushes(self, w: float, resist_n: float) -> bool:
        """Whether the clutch pushes harder than a resistance [N]."""
        return self.push_n(max(0.0, self.gain_nms2 * (w * w - self.engage2))) > max(resist_n, 0.0)

    def locks(self, v: float, w: float) -> bool:
        """Whether the wheel has caught up with the engaged engine."""
        return w <= v * self.turns_radpm and w * w > self.engage2


def spin_up(
    clutch: Slipping, half_s: FloatArray, throttle: FloatArray, resist_n: float, w0_radps: float
) -> tuple[float, float]:
    """Return when the clutch first pushes harder than the resistance at rest [s], and the engine speed then.

    The vehicle stands until that moment: it is the exact onset of motion. NaN when it never does.
    """
    times, g, w = half_s.tolist(), throttle.tolist(), w0_radps
    for i in range(0, len(g) - 2, 2):
        h, open_ = times[i + 2] - times[i], (g[i], g[i + 1], g[i + 2])
        after = clutch.standing_step(w, h, open_)
        if clutch.pushes(after, resist_n):
            low, high = 0.0, h
            for _ in range(40):
                middle = (low + high) / 2
                if clutch.pushes(clutch.standing_step(w, middle, open_), resist_n):
                    high = middle
                else:
                    low = middle
            return times[i] + high, clutch.standing_step(w, high, open_)
        w = after
    return math.nan, w


def slip(
    clutch: Slipping,
    half_s: FloatArray,
    throttle: FloatArray,
    resist: Force,
    inertia_kg: float,
    start: tuple[float, float],
    ends: Ends,
) -> tuple[Leg, bool]:
    """Integrate vehicle and engine on both sides of a slipping clutch, until it locks or the first of the ends.

    Parameters
    ----------
    half_s, throttle : (2n+1,) float
        Times at every half step from 0 [s], and the opening then.
    start : (float, float)
        Speed [m/s] and engine speed [rad/s].

    Returns
    -------
    (leg, locked) : (Leg, bool)
    """
    times, g = half_s.tolist(), throttle.tolist()
    (v, w), x, t, locked = start, 0.0, 0.0, False
    knots = [(t, v, clutch.rates(v, w, g[0], resist, inertia_kg)[0])]
    for i in range(0, len(g) - 2, 2):
        h, open_ = times[i + 2] - times[i], (g[i], g[i + 1], g[i + 2])
        new = clutch.step(v, w, h, open_, resist, inertia_kg)
        locked = clutch.locks(*new)
        if locked:
            h = _lock_s(clutch, (v, w), h, open_, resist, inertia_kg)
            new = clutch.step(v, w, h, open_, resist, inertia_kg)
        x += h / 2 * (v + new[0])
        (v, w), t = new, t + h
        knots.append((t, v, clutch.rates(v, w, open_[2], resist, inertia_kg)[0]))
        if locked or v >= ends.lift_mps or t >= ends.for_s - 1e-9 or x >= ends.run_m:
            break
    return Leg(*np.array(knots).T), locked


def _lock_s(
    clutch: Slipping,
    at: tuple[float, float],
    h: float,
    throttle: tuple[float, float, float],
    resist: Force,
    inertia_kg: float,
) -> float:
    """Part of a step after which the clutch locks [s], by bisection."""
    low, high = 0.0, h
    for _ in range(40):
        middle = (low + high) / 2
        if clutch.locks(*clutch.step(*at, middle, throttle, resist, inertia_kg)):
            high = middle
        else:
            low = middle
    return high
