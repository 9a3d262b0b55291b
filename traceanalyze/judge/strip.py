"""How long a strip must be: run-up, pass, and room to stop."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

from traceanalyze import settings
from traceanalyze.errors import UsageError
from traceanalyze.results import number

#: Share of the final speed that a run-up ends at: the rest comes ever more slowly.
RUN_UP_SHARE: Final = 0.99
#: Shortest stretch a top speed is held over [m]: a measured base of 100 m (French decree of 27 March 1979, art. 2).
PASS_M: Final = 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """A strip in three parts.

    Attributes
    ----------
    purpose : str
        What is ridden on it.
    top_mps : float
        Highest speed on it [m/s].
    run_up_m, pass_m, stop_m : float
        Run-up, measured pass, reaction and braking [m].
    deceleration_mps2, reaction_s : float
        What the stop was reckoned with.
    basis : str
        What the run-up rests on.
    """

    purpose: str
    top_mps: float
    run_up_m: float
    pass_m: float
    stop_m: float
    deceleration_mps2: float
    reaction_s: float
    basis: str

    @property
    def total_m(self) -> float:
        """Length of the whole strip [m]."""
        return self.run_up_m + self.pass_m + self.stop_m

    def to_dict(self) -> dict[str, Any]:
        """Return it for JSON."""
        return {
            "purpose": self.purpose,
            "top_mps": number(self.top_mps),
            "run_up_m": number(self.run_up_m),
            "pass_m": number(self.pass_m),
            "stop_m": number(self.stop_m),
            "total_m": number(self.total_m),
            "deceleration_mps2": number(self.deceleration_mps2),
            "reaction_s": number(self.reaction_s),
            "basis": self.basis,
        }


def stopping_m(
    speed_mps: float,
    deceleration_mps2: float = settings.STOPPING_MPS2,
    reaction_s: float = settings.REACTION_S,
) -> float:
    """Return the length to stop from a speed: reaction at speed, then even braking, v t + v^2 / (2 a) [m]."""
    if not (deceleration_mps2 > 0 and reaction_s >= 0 and speed_mps >= 0):
        raise UsageError("a stop needs a deceleration above 0", advice="state it in m/s^2, such as 3.4")
    return speed_mps * reaction_s + speed_mps**2 / (2.0 * deceleration_mps2)


def strip_for_launches(
    target_mps: float,
    time_s: float,
    *,
    distance_m: float | None = None,
    deceleration_mps2: float = settings.STOPPING_MPS2,
    reaction_s: float = settings.REACTION_S,
) -> Strip:
    """Return the strip for standing starts to a speed.

    Without a measured `distance_m` the launch is taken to cover 2/3 v t: the length at constant power, the most that a
    falling acceleration of this kind covers.
    """
    covered = distance_m if distance_m is not None else target_mps * time_s * 2.0 / 3.0
    return Strip(
        purpose="standing starts",
        top_mps=target_mps,
        run_up_m=covered,
        pass_m=0.0,
        stop_m=stopping_m(target_mps, deceleration_mps2, reaction_s),
        deceleration_mps2=deceleration_mps2,
        reaction_s=reaction_s,
        basis="launches as measured" if distance_m is not None else "a launch at constant power in the stated time",
    )


def strip_for_top_speed(
    top_mps: float,
    target_mps: float,
    time_s: float,
    *,
    run_up_m: float | None = None,
    pass_m: float = PASS_M,
    deceleration_mps2: float = settings.STOPPING_MPS2,
    reaction_s: float = settings.REACTION_S,
) -> Strip:
    """Return the strip for a top-speed pass entered at 99 % of the final speed.

    Without a stated run-up: constant thrust against square drag, v = v_t tanh(a0 t / v_t), with the first acceleration
    a0 that reaches `target_mps` in `time_s`; distance to a share s of v_t: (v_t^2 / a0) ln cosh(artanh s).

    Raises
    ------
    UsageError
        If the top speed does not lie above the target.
    """
    if not (math.isfinite(top_mps) and top_mps > target_mps):
        raise UsageError(
            f"a top speed of {top_mps:g} m/s does not lie above {target_mps:g} m/s", advice="state a higher one"
        )
    basis = "as stated"
    if run_up_m is None:
        first_mps2 = top_mps * math.atanh(target_mps / top_mps) / time_s
        run_up_m = top_mps**2 / first_mps2 * math.log(math.cosh(math.atanh(RUN_UP_SHARE)))
        basis = "constant thrust against square drag, to 99 % of the final speed"
    return Strip(
        purpose="top speed",
        top_mps=top_mps,
        run_up_m=run_up_m,
        pass_m=pass_m,
        stop_m=stopping_m(top_mps, deceleration_mps2, reaction_s),
        deceleration_mps2=deceleration_mps2,
        reaction_s=reaction_s,
        basis=basis,
    )
