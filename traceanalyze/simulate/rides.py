"""A ride: what the rider does, one action after another, and the exact motion that comes of it.

The vehicle rides up and down one straight strip. Along its path the motion is exact (see `motion`); the path is
straight except for half-turns at both ends.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from traceanalyze.errors import UsageError
from traceanalyze.simulate.integrate import Leg
from traceanalyze.simulate.machines import Surroundings, Vehicle
from traceanalyze.simulate.motion import Motion
from traceanalyze.simulate.pushes import Go, coast, push
from traceanalyze.trace import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """Where the ride takes place.

    Attributes
    ----------
    lat_deg, lon_deg, altitude_m : float
        Where it begins.
    heading_deg : float
        Direction of the strip, clockwise from north.
    """

    lat_deg: float = 41.0
    lon_deg: float = -38.0
    altitude_m: float = 12.0
    heading_deg: float = 75.0


@dataclass(frozen=True, slots=True)
class Wait:
    """Stand still."""

    duration_s: float


@dataclass(frozen=True, slots=True)
class Shuffle:
    """Move a few centimetres (backwards when negative) and stand again."""

    distance_m: float
    duration_s: float = 1.2


@dataclass(frozen=True, slots=True)
class Creep:
    """Let a dragging clutch pull the vehicle up to a walking pace; it still rolls when the next action begins."""

    speed_mps: float
    duration_s: float


@dataclass(frozen=True, slots=True)
class Coast:
    """Roll with the drive cut, down to a speed."""

    to_mps: float


@dataclass(frozen=True, slots=True)
class Brake:
    """Brake to a speed; the deceleration builds up and, when it ends at rest, eases off."""

    decel_mps2: float = 2.5
    to_mps: float = 0.0


@dataclass(frozen=True, slots=True)
class Turn:
    """Half a turn at walking pace; from rest to rest, or rolling on when it begins rolling."""

    radius_m: float = 2.5
    speed_mps: float = 2.5


Action = Wait | Shuffle | Creep | Coast | Brake | Turn | Go


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One action as it happened.

    Attributes
    ----------
    action : Action
    start_s, end_s : float
        [s] of the ride; a push ends where the throttle closes.
    onset_s : float
        First motion of a push from rest; NaN otherwise.
    direction : int
        1 along the strip's heading, -1 against it.
    terminal_mps : float
        Speed where thrust and resistance balance; NaN unless a push.
    """

    action: Action
    start_s: float
    end_s: float
    onset_s: float = math.nan
    direction: int = 1
    terminal_mps: float = math.nan


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ride:
    """A finished ride: the motion, what was done when, and where.

    Attributes
    ----------
    motion : Motion
    events : tuple of Event
    turns : (k, 3) float
        Path coordinates of start and end of each half-turn [m], and its curvature [1/m], left negative.
    """

    motion: Motion
    events: tuple[Event, ...]
    vehicle: Vehicle
    around: Surroundings
    strip: Strip
    turns: FloatArray

    @property
    def duration_s(self) -> float:
        """Length of the ride [s]."""
        return float(self.motion.t_s[-1])


def ride(
    vehicle: Vehicle,
    actions: Sequence[Action],
    *,
    strip: Strip | None = None,
    around: Surroundings | None = None,
    rng: np.random.Generator | None = None,
) -> Ride:
    """Return the ride that a list of actions makes.

    Parameters
    ----------
    rng : Generator, optional
        For what a `Go` leaves to chance (its `wander`).

    Raises
    ------
    UsageError
        If an action cannot follow the one before (a `Wait` while rolling).
    """
    rider = _Rider(vehicle, around or Surroundings(), rng or np.random.default_rng(0))
    for action in actions:
        rider.do(action)
    if not rider.t:
        raise UsageError("a ride without any motion or wait", advice="give at least one action that lasts")
    motion = Motion(
        t_s=np.concatenate([[0.0], *rider.t]),
        speed_mps=np.concatenate([[0.0], *rider.v]),
        start_mps2=np.concatenate(rider.a0),
        end_mps2=np.concatenate(rider.a1),
    )
    return Ride(
        motion=motion,
        events=tuple(rider.events),
        vehicle=vehicle,
        around=rider.around,
        strip=strip or Strip(),
        turns=np.array(rider.turns).reshape(-1, 3),
    )


@dataclass(eq=False)
class _Rider:
    """Does one action after another and notes the pieces of motion."""

    vehicle: Vehicle
    around: Surroundings
    rng: np.random.Generator
    now_s: float = 0.0
    speed_mps: float = 0.0
    accel_mps2: float = 0.0
    path_m: float = 0.0
    direction: int = 1
    t: list[FloatArray] = field(default_factory=list)
    v: list[FloatArray] = field(default_factory=list)
    a0: list[FloatArray] = field(default_factory=list)
    a1: list[FloatArray] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    turns: list[tuple[float, float, float]] = field(default_factory=list)

    def do(self, action: Action) -> None:
        """Do one action and note it."""
        start_s, direction = self.now_s, self.direction
        noted: dict[str, Any] = _DEEDS[type(action)](self, action) or {}
        self.events.append(Event(action=action, start_s=start_s, end_s=self.now_s, direction=direction, **noted))

    def add(self, leg: Leg) -> None:
        """Append a leg that begins with the present speed."""
        h = np.diff(leg.t_s)
        v, a = leg.speed_mps, leg.accel_mps2
        self.t.append(self.now_s + (leg.t_s[1:] - leg.t_s[0]))
        self.v.append(v[1:])
        self.a0.append(a[:-1])
        self.a1.append(a[1:])
        self.path_m += float((h * (v[1:] + v[:-1]) / 2 + h**2 * (a[:-1] - a[1:]) / 12).sum())
        self.now_s, self.speed_mps, self.accel_mps2 = float(self.t[-1][-1]), float(v[-1]), float(a[-1])

    def ramps(self, *ramps: tuple[float, float, float]) -> None:
        """Append stretches of straight-line acceleration: (duration, acceleration at its start, at its end)."""
        for duration_s, a0, a1 in ramps:
            if duration_s > 1e-9:
                v1 = self.speed_mps + duration_s * (a0 + a1) / 2
                v1 = 0.0 if abs(v1) < 1e-9 else v1
                self.add(Leg(np.array([0.0, duration_s]), np.array([self.speed_mps, v1]), np.array([a0, a1])))

    def wait(self, action: Wait) -> None:
        """Stand still."""
        if self.speed_mps != 0:
            raise UsageError("the rider cannot wait while rolling", advice="brake first")
        self.ramps((action.duration_s, 0.0, 0.0))

    def shuffle(self, action: Shuffle) -> None:
        """Speed up and slow down over a sine wave of acceleration."""
        self._at_rest("shuffle")
        s = np.linspace(0, 1, 41)
        peak_mps = 2 * action.distance_m / action.duration_s
        v = peak_mps * np.sin(np.pi * s) ** 2
        a = peak_mps * np.pi / action.duration_s * np.sin(2 * np.pi * s)
        v[-1] = 0.0
        self.add(Leg(s * action.duration_s, v, a))

    def creep(self, action: Creep) -> None:
        """Half a second up to the pace, then steady."""
        self._at_rest("creep")
        rise_s = min(0.5, action.duration_s)
        a = 2 * action.speed_mps / rise_s
        self.ramps((rise_s / 2, 0.0, a), (rise_s / 2, a, 0.0), (action.duration_s - rise_s, 0.0, 0.0))

    def coast(self, action: Coast) -> None:
        """Roll on without drive."""
        if self.speed_mps > action.to_mps:
            self.add(coast(self.vehicle, self.around, self.direction, self.speed_mps, action.to_mps))

    def brake(self, action: Brake) -> None:
        """Build up over 0.4 s, hold, and ease off over 0.5 s when it ends at rest."""
        drop_mps, d = self.speed_mps - action.to_mps, action.decel_mps2
        ease_s, left = (0.5, 0.3 * d) if action.to_mps == 0 else (0.2, 0.0)
        begin = min(max(-self.accel_mps2, 0.0), d)
        hold_s = (drop_mps - 0.4 * (begin + d) / 2 - ease_s * (d + left) / 2) / d
        if hold_s < 0:
            self.ramps((drop_mps / d, -d, -d))
        else:
            self.ramps((0.4, -begin, -d), (hold_s, -d, -d), (ease_s, -d, -left))
        self.speed_mps = action.to_mps
        self.v[-1][-1] = action.to_mps

    def turn(self, action: Turn) -> None:
        """Half a circle; from rest it begins and ends standing."""
        start_m, length_m = self.path_m, math.pi * action.radius_m
        if self.speed_mps > 0:
            self.ramps((length_m / self.speed_mps, 0.0, 0.0))
        else:
            a, v = 1.2, min(action.speed_mps, math.sqrt(1.2 * length_m))
            cruise_s = length_m / v - v / a
            self.ramps((v / a, a, a), (cruise_s, 0.0, 0.0), (v / a, -a, -a))
            self.speed_mps = self.v[-1][-1] = 0.0
        self.turns.append((start_m, self.path_m, -1 / action.radius_m))  # always left: the second leads back
        self.direction = -self.direction

    def go(self, action: Go) -> dict[str, float]:
        """Open the throttle."""
        from_rest = self.speed_mps == 0
        made = push(self.vehicle, self.around, self.direction, self.speed_mps, action, self.rng)
        if from_rest:
            self.ramps((made.wait_s, 0.0, 0.0))
        onset_s = self.now_s if from_rest else math.nan
        for leg in made.legs:
            self.add(leg)
        return {"onset_s": onset_s, "terminal_mps": made.terminal_mps}

    def _at_rest(self, what: str) -> None:
        if self.speed_mps != 0:
            raise UsageError(f"a {what} begins at rest, the rider rolls", advice="brake first")


_DEEDS: dict[type, Callable[..., dict[str, float] | None]] = {
    Wait: _Rider.wait,
    Shuffle: _Rider.shuffle,
    Creep: _Rider.creep,
    Coast: _Rider.coast,
    Brake: _Rider.brake,
    Turn: _Rider.turn,
    Go: _Rider.go,
}
