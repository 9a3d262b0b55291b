"""An invented pit bike, and an invented rider's practice day. No real machine, place or person stands behind them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from traceanalyze.errors import UsageError
from traceanalyze.simulate.machines import CentrifugalClutch, Engine, Powertrain, Vehicle
from traceanalyze.simulate.pushes import Go, Shape
from traceanalyze.simulate.rides import Action, Brake, Coast, Creep, Shuffle, Turn, Wait

#: Teeth of the invented drive train, driving and driven of each stage, from the engine to the wheel.
TEETH: Final = ((18, 48), (15, 36))
WHEEL_CIRCUMFERENCE_M: Final = 1.32
#: What the invented builder states as the engine's limit.
MAX_ENGINE_RPM: Final = 6500.0
#: Force of each clutch spring with the shoes at rest [N].
SPRINGS_N: Final = {"standard": 500.0, "stiff": 660.0}
MASS_KG: Final = 142.0

_ENGINE = Engine(
    rpm=(0, 1500, 2000, 2500, 3000, 3500, 4000, 4500, 5000, 5500, 6000, 6500, 7000, 7500),
    torque_nm=(6.0, 10.5, 12.2, 13.4, 14.4, 15.0, 15.1, 14.6, 13.6, 12.1, 10.0, 7.0, 3.0, 0.0),
)
#: Pushes of a centrifugal clutch start softly by themselves; the rider's hand adds one of these.
_HANDS: Final[tuple[Shape, ...]] = ("smooth", "linear", "quick", "settling", "double")


def pit_bike(spring: str = "standard", *, mass_kg: float = MASS_KG) -> Vehicle:
    """Return the invented pit bike with one of its two clutch springs, `standard` or `stiff`.

    Raises
    ------
    UsageError
        If there is no such spring.
    """
    if spring not in SPRINGS_N:
        raise UsageError(f"no clutch spring {spring!r}", advice="use one of " + ", ".join(SPRINGS_N))
    ratio = float(np.prod([driven / driving for driving, driven in TEETH]))
    drive = Powertrain(
        engine=_ENGINE,
        clutch=CentrifugalClutch(spring_n=SPRINGS_N[spring]),
        ratios=(ratio,),
        wheel_radius_m=WHEEL_CIRCUMFERENCE_M / (2 * np.pi),
    )
    return Vehicle(drive=drive, mass_kg=mass_kg, crr=0.02, cda_m2=0.55)


@dataclass(frozen=True, slots=True, kw_only=True)
class Practice:
    """What a rider means to do, in this order.

    Attributes
    ----------
    launches : int
        Standing starts, in turn along the strip and against it.
    passes : int
        Out-and-back pairs of passes at top speed, entered rolling.
    shuffles, aborted : int
        How many of the launches follow a shuffle of some centimetres; how many a start that was broken off.
    lift_mps : float
        Speed at which the rider lifts after a launch.
    held_s : float
        How long top speed is held on a pass.
    rest_s : float
        Rest before each launch.
    scatter : float
        Relative standard deviation of the thrust from run to run.
    wander : float
        Relative standard deviation of slow changes of the thrust within a run.
    """

    launches: int = 4
    passes: int = 2
    shuffles: int = 1
    aborted: int = 0
    lift_mps: float = 16.0
    held_s: float = 3.0
    rest_s: float = 10.0
    scatter: float = 0.02
    wander: float = 0.01

    def __post_init__(self) -> None:
        if not (0 <= self.launches <= 200 and 0 <= self.passes <= 100 and self.launches + self.passes):
            raise UsageError("nothing to ride", advice="ask for 1 to 200 launches, or 1 to 100 pairs of passes")
        if not 0 <= self.shuffles + self.aborted <= self.launches:
            raise UsageError("more shuffles and broken-off starts than launches", advice="ask for fewer")


def actions(practice: Practice, rng: np.random.Generator) -> list[Action]:
    """Return what the rider does: launches in alternating directions, then the pairs of passes."""
    done: list[Action] = []
    before = ["shuffle"] * practice.shuffles + ["aborted"] * practice.aborted
    before += [""] * (practice.launches - len(before))
    for k, extra in enumerate(rng.permutation(np.array(before, dtype="U8")).tolist()):
        done += [Wait(practice.rest_s + float(rng.uniform(0, 3))), *_extra(str(extra), practice, rng)]
        rolling_on = k == practice.launches - 1 and practice.passes > 0
        done += [_go("launch", practice, rng, lift_mps=practice.lift_mps + float(rng.uniform(-0.4, 0.4)))]
        done += _rolling_turn(rng) if rolling_on else [*_stop(rng), Turn()]
    if not practice.launches:
        done += [Wait(practice.rest_s), Creep(2.5, 4.0)]
    for k in range(2 * practice.passes):
        done += [_go("pass", practice, rng, held_s=practice.held_s), Coast(18.0)]
        done += _stop(rng) if k == 2 * practice.passes - 1 else _rolling_turn(rng)
    return [*done, Wait(practice.rest_s)]


def _go(kind: str, practice: Practice, rng: np.random.Generator, **ends: float) -> Go:
    return Go(
        kind="pass" if kind == "pass" else "aborted" if kind == "aborted" else "launch",
        opening_s=float(rng.uniform(0.12, 0.45)),
        shape=_HANDS[int(rng.integers(len(_HANDS)))],
        strength=1 + practice.scatter * float(np.clip(rng.standard_normal(), -2.5, 2.5)),
        wander=practice.wander,
        **ends,
    )


def _extra(kind: str, practice: Practice, rng: np.random.Generator) -> list[Action]:
    """What comes between the rest and a launch: a shuffle, or a start that was broken off; rest again."""
    if kind == "shuffle":
        return [Shuffle(float(rng.uniform(0.08, 0.35)), float(rng.uniform(0.8, 1.6))), Wait(float(rng.uniform(2, 4)))]
    if kind == "aborted":
        start = _go("aborted", practice, rng, lift_mps=float(rng.uniform(1.5, 4.0)))
        return [start, Brake(2.0), Wait(practice.rest_s)]
    return []


def _stop(rng: np.random.Generator) -> list[Action]:
    return [Brake(float(rng.uniform(2.0, 3.2))), Wait(float(rng.uniform(1.5, 3)))]


def _rolling_turn(rng: np.random.Generator) -> list[Action]:
    """Brake to a walking pace and turn without stopping."""
    return [Brake(float(rng.uniform(2.0, 3.2)), to_mps=2.5), Turn()]
