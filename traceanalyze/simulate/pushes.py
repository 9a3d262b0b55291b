"""From an opening throttle to the legs of motion that follow: clutch slip, lock-up, gear changes, lift."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from traceanalyze.errors import UsageError
from traceanalyze.simulate.integrate import Ends, Force, Leg, Slipping, half_steps_s, roll, slip, spin_up
from traceanalyze.simulate.machines import (
    RPM,
    TABLE_STEP_MPS,
    Powertrain,
    Surroundings,
    Vehicle,
    gripped,
    looked_up,
    resistance,
    table_speeds_mps,
    terminal_mps,
)
from traceanalyze.trace import FloatArray

Shape = Literal["step", "linear", "smooth", "quick", "slow", "settling", "bite", "double"]

#: How a push grows from 0 to 1 while its clock s goes from 0 to 1; deliberately unlike one another.
SHAPES: dict[str, Callable[[FloatArray], FloatArray]] = {
    "step": lambda s: np.ones_like(s),
    "linear": lambda s: np.minimum(s, 1.0),
    "smooth": lambda s: np.sin(np.minimum(s, 1.0) * np.pi / 2) ** 2,
    "quick": lambda s: 1 - (1 - np.minimum(s, 1.0)) ** 2,
    "slow": lambda s: np.minimum(s, 1.0) ** 2,
    "settling": lambda s: -np.expm1(-3 * s),
    "bite": lambda s: np.interp(s, [0.0, 0.5, 0.7, 1.0], [0.0, 1.12, 1.12, 1.0]),
    "double": lambda s: np.interp(s, [0.0, 0.3, 0.7, 1.0], [0.0, 0.55, 0.6, 1.0]),
}
#: Share of the terminal speed from which on a pass counts as held.
HELD_SHARE = 0.995
#: How long the drive takes to come back after a gear change [s].
_SHIFT_RETURN_S = 0.2
#: Slow changes of the push are made of this many sines, of these frequencies [Hz].
_WANDER_SINES = 6
_WANDER_HZ = (0.2, 3.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Go:
    """Open the throttle, and keep it open until the first of the ends.

    Attributes
    ----------
    kind : str
        `launch`, `pass` or `aborted`: what the rider means it to be.
    lift_mps, for_s, run_m, held_s : float
        Ends: a speed reached; a time; a length; a time within 0.5 % of the speed where thrust and drag balance.
    opening_s, shape : float, str
        How long the throttle takes to open and by which of `SHAPES`.
    strength : float
        Factor on the thrust of this run (the scatter of a day).
    wander : float
        Relative standard deviation of slow changes of the thrust within the run.
    """

    kind: Literal["launch", "pass", "aborted"] = "launch"
    lift_mps: float = math.inf
    for_s: float = math.inf
    run_m: float = math.inf
    held_s: float = math.inf
    opening_s: float = 0.25
    shape: Shape = "smooth"
    strength: float = 1.0
    wander: float = 0.0

    def __post_init__(self) -> None:
        if all(math.isinf(end) for end in (self.lift_mps, self.for_s, self.run_m, self.held_s)):
            raise UsageError("a push without an end", advice="give lift_mps, for_s, run_m or held_s")
        if self.shape not in SHAPES:
            raise UsageError(f"no push grows as {self.shape!r}", advice="known are " + ", ".join(SHAPES))


@dataclass(frozen=True, slots=True, eq=False)
class Push:
    """What came of a `Go`: the wait from the throttle to the onset [s], the legs, the balance speed [m/s]."""

    wait_s: float
    legs: tuple[Leg, ...]
    terminal_mps: float


def push(
    vehicle: Vehicle, around: Surroundings, direction: int, v0_mps: float, go: Go, rng: np.random.Generator
) -> Push:
    """Return the motion after the throttle opens at a speed.

    Raises
    ------
    UsageError
        If the thrust never overcomes the resistance at rest.
    """
    resist = resistance(vehicle, around, direction)
    opening = _opening(go, rng)
    drive = vehicle.drive
    gears = len(drive.ratios) if isinstance(drive, Powertrain) and not drive.belt_rpm else 1
    thrusts = [_full_thrust(vehicle, gear) for gear in range(gears)]
    top_mps = max(terminal_mps(_scaled(thrust, go.strength), resist) for thrust in thrusts)
    ends = Ends(
        lift_mps=go.lift_mps,
        for_s=min(go.for_s, Ends().for_s),
        run_m=go.run_m,
        held_mps=HELD_SHARE * top_mps,
        held_s=go.held_s,
    )
    if isinstance(drive, Powertrain):
        wait_s, legs = _by_engine(drive, vehicle, thrusts, resist, opening, v0_mps, ends)
    else:
        wait_s = 0.0 if v0_mps > 0 else _law_onset_s(go, opening, thrusts[0](0.0), resist(0.0))
        legs = [_rolled(thrusts[0], resist, vehicle.inertia_kg, opening, wait_s, v0_mps, ends)]
    if math.isnan(wait_s):
        raise UsageError("the thrust never overcomes the resistance at rest", advice="less grade or more thrust")
    return Push(wait_s, tuple(legs), top_mps)


def coast(vehicle: Vehicle, around: Surroundings, direction: int, v0_mps: float, to_mps: float) -> Leg:
    """Return the motion with the drive cut, down to a speed [m/s]."""
    times = half_steps_s(Ends().for_s)
    resist = resistance(vehicle, around, direction)
    return roll(resist, resist, vehicle.inertia_kg, times, np.zeros_like(times), v0_mps, Ends(floor_mps=to_mps))


Opening = Callable[[FloatArray], FloatArray]


def _opening(go: Go, rng: np.random.Generator) -> Opening:
    """The factor on full thrust as a function of the time since the throttle began to open."""
    grow = SHAPES[go.shape]
    hz = np.exp(rng.uniform(math.log(_WANDER_HZ[0]), math.log(_WANDER_HZ[1]), _WANDER_SINES))
    phase = rng.uniform(0, 2 * np.pi, _WANDER_SINES)
    size = go.wander * math.sqrt(2 / _WANDER_SINES)

    def opening(t_s: FloatArray) -> FloatArray:
        grown = go.strength * grow(t_s / go.opening_s if go.opening_s > 0 else np.ones_like(t_s))
        if not go.wander:
            return grown
        wave = sum(np.sin(2 * np.pi * f * t_s + p) for f, p in zip(hz, phase, strict=True))
        return np.asarray(grown * (1 + size * wave))

    return opening


def _full_thrust(vehicle: Vehicle, gear: int) -> Force:
    """Thrust at the ground at full throttle, clutch locked: exact for a law, tabulated for an engine or a tyre."""
    drive = vehicle.drive
    if isinstance(drive, Powertrain):
        values = drive.thrust_at(table_speeds_mps(), gear, 1.0)
    elif math.isinf(vehicle.grip_n):
        return drive.thrust_n
    else:
        values = np.array([drive.thrust_n(v) for v in np.maximum(table_speeds_mps(), 1e-6)])
    return looked_up(gripped(values, vehicle.grip_n), TABLE_STEP_MPS)


def _scaled(force: Force, factor: float) -> Force:
    return lambda speed_mps: factor * force(speed_mps)


def _law_onset_s(go: Go, opening: Opening, thrust_n: float, resist_n: float) -> float:
    """When a growing push first exceeds the resistance at rest [s], by bisection; NaN if it never does."""

    def pushes(t_s: float) -> bool:
        return float(opening(np.array([t_s]))[0]) * thrust_n > max(resist_n, 0.0)

    if pushes(0.0):
        return 0.0
    times = half_steps_s(3 * go.opening_s + 1)
    beyond = np.flatnonzero(opening(times) * thrust_n > max(resist_n, 0.0))
    if not beyond.size:
        return math.nan
    low, high = float(times[beyond[0] - 1]), float(times[beyond[0]])
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if pushes(middle) else (middle, high)
    return high


def _rolled(
    thrust: Force, resist: Force, inertia_kg: float, opening: Opening, since_s: float, v0_mps: float, ends: Ends
) -> Leg:
    """One leg of `roll`, beginning `since_s` after the throttle began to open."""
    times = half_steps_s(ends.for_s)
    return roll(thrust, resist, inertia_kg, times, opening(since_s + times), v0_mps, ends)


def _by_engine(
    drive: Powertrain,
    vehicle: Vehicle,
    thrusts: list[Force],
    resist: Force,
    opening: Opening,
    v0_mps: float,
    ends: Ends,
) -> tuple[float, list[Leg]]:
    """Spin up, slip, lock, then the gears."""
    clutch = _slipping(drive, vehicle)
    engine_radps = max(drive.engine.idle_rpm * RPM, 0.0)
    wait_s, legs = 0.0, []
    if v0_mps == 0:
        times = half_steps_s(5.0)
        wait_s, engine_radps = spin_up(clutch, times, opening(times), resist(0.0), engine_radps)
    if math.isnan(wait_s):
        return wait_s, []
    times = half_steps_s(ends.for_s)
    if not clutch.locks(v0_mps, v0_mps * clutch.turns_radpm):
        start = (v0_mps, engine_radps)
        leg, locked = slip(clutch, times, opening(wait_s + times), resist, vehicle.inertia_kg, start, ends)
        legs.append(leg)
        if not locked:
            return wait_s, legs
    return wait_s, legs + _in_gears(drive, vehicle, thrusts, resist, opening, wait_s, legs, v0_mps, ends)


def _slipping(drive: Powertrain, vehicle: Vehicle) -> Slipping:
    ratio, engine = drive.ratios[0], drive.engine
    per_nm = ratio * drive.efficiency / drive.wheel_radius_m
    grip_n = vehicle.grip_n

    def push_n(clutch_nm: float) -> float:
        force_n = clutch_nm * per_nm
        if math.isinf(grip_n):
            return force_n
        over = (force_n - grip_n) / (0.05 * grip_n)
        return force_n - 0.05 * grip_n * (max(over, 0.0) + math.log1p(math.exp(-abs(over))))

    grid = np.arange(1600.0)
    return Slipping(
        torque=looked_up(engine.torque_at(grid), 1.0),
        inertia_kgm2=engine.inertia_kgm2,
        engage2=drive.clutch.engagement_radps**2,
        gain_nms2=drive.clutch.gain_nms2,
        push_n=push_n,
        turns_radpm=ratio / drive.wheel_radius_m,
    )


def _in_gears(
    drive: Powertrain,
    vehicle: Vehicle,
    thrusts: list[Force],
    resist: Force,
    opening: Opening,
    wait_s: float,
    before: list[Leg],
    v0_mps: float,
    ends: Ends,
) -> list[Leg]:
    """Legs with the clutch locked, one for each gear and one for each shift, until the ends are met."""
    legs: list[Leg] = []
    fade: Opening = opening
    for gear, thrust in enumerate(thrusts):
        done = before + legs
        used_s = sum(leg.duration_s for leg in done)
        left = _left(ends, done, used_s)
        v = float(done[-1].speed_mps[-1]) if done else v0_mps
        last = gear == len(thrusts) - 1
        shift_mps = math.inf if last else drive.shift_rpm * RPM * drive.wheel_radius_m / drive.ratios[gear]
        inertia_kg = vehicle.inertia_kg + drive.inertia_share_kg(gear)
        until = replace(left, lift_mps=min(left.lift_mps, shift_mps))
        legs.append(_rolled(thrust, resist, inertia_kg, fade, wait_s + used_s, v, until))
        v = float(legs[-1].speed_mps[-1])
        if last or v >= ends.lift_mps or v < shift_mps:
            break
        legs.append(_cut(resist, vehicle.inertia_kg, v, drive.shift_s))
        fade = _returning(opening, wait_s + sum(leg.duration_s for leg in before + legs))
    return legs


def _left(ends: Ends, done: list[Leg], used_s: float) -> Ends:
    """What remains of the ends after some legs."""
    used_m = sum(float(np.trapezoid(leg.speed_mps, leg.t_s)) for leg in done)
    return replace(ends, for_s=max(ends.for_s - used_s, 0.01), run_m=ends.run_m - used_m)


def _cut(resist: Force, inertia_kg: float, v_mps: float, for_s: float) -> Leg:
    """A leg without drive."""
    times = half_steps_s(for_s)
    return roll(resist, resist, inertia_kg, times, np.zeros_like(times), v_mps, Ends(for_s=for_s))


def _returning(opening: Opening, from_s: float) -> Opening:
    """The same opening, coming back smoothly after a gear change at `from_s`."""
    grow = SHAPES["smooth"]
    return lambda t_s: opening(t_s) * grow(np.maximum(t_s - from_s, 0.0) / _SHIFT_RETURN_S)
