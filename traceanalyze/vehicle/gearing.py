"""The plain arithmetic of teeth, tyre and engine speed.

`v = engine speed / ratio * tyre circumference`, ratio = product of driven / driving teeth (the published form is
V[km/h] = 0.06 D n R: French decree of 27 March 1979, article 2, with D metres a wheel turn and R = 1 / ratio). It
holds only where clutch and belt do not slip; below full engagement neither speed says anything about the other.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from traceanalyze.errors import UsageError
from traceanalyze.trace import FloatArray

Teeth = tuple[tuple[int, int], ...]
_TEETH_ADVICE = 'write driving and driven teeth such as "15/41", further stages after a comma: "18/48,15/36"'


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveTrain:
    """Engine to wheel.

    Attributes
    ----------
    teeth : tuple of (driving, driven)
        Each stage, from the engine to the wheel.
    tyre_circumference_m : float
        Length rolled in one turn of the driven wheel [m].
    max_engine_rpm : float
        The builder's own safe limit [1/min]; NaN when none is stated.
    engagement_rpm : float
        Engine speed above which clutch or belt no longer slips [1/min]; NaN when not stated.
    """

    teeth: Teeth
    tyre_circumference_m: float
    max_engine_rpm: float = math.nan
    engagement_rpm: float = math.nan

    def __post_init__(self) -> None:
        if not self.teeth or any(min(pair) < 1 for pair in self.teeth):
            raise UsageError("a drive train without teeth", advice=_TEETH_ADVICE)
        if not 0.1 < self.tyre_circumference_m < 10:
            raise UsageError(
                f"a tyre circumference of {self.tyre_circumference_m:g} m",
                advice="give the metres rolled in one turn of the driven wheel",
            )
        for rpm in (self.max_engine_rpm, self.engagement_rpm):
            if not (math.isnan(rpm) or 0 < rpm < 100_000):
                raise UsageError(f"an engine speed of {rpm:g} rpm", advice="give turns a minute, such as 6500")

    @property
    def ratio(self) -> float:
        """Engine turns for one turn of the wheel."""
        return math.prod(driven / driving for driving, driven in self.teeth)

    @property
    def engine_turns_per_m(self) -> float:
        """Engine turns for one metre travelled [1/m]."""
        return self.ratio / self.tyre_circumference_m


def speed_at_mps(train: DriveTrain, engine_rpm: FloatArray | float) -> FloatArray:
    """Return the road speed at an engine speed without slip [m/s]."""
    return np.asarray(engine_rpm, float) / 60 / train.engine_turns_per_m


def engine_rpm_at(train: DriveTrain, speed_mps: FloatArray | float) -> FloatArray:
    """Return the engine speed at a road speed without slip [1/min]."""
    return np.asarray(speed_mps, float) * train.engine_turns_per_m * 60


def over_limit(train: DriveTrain, engine_rpm: FloatArray | float) -> NDArray[np.bool_]:
    """Mark engine speeds above the builder's stated limit; none when no limit is stated."""
    return np.asarray(engine_rpm, float) > (train.max_engine_rpm if train.max_engine_rpm > 0 else math.inf)


def may_slip(train: DriveTrain, engine_rpm: FloatArray | float) -> NDArray[np.bool_]:
    """Mark engine speeds below full engagement, where the arithmetic does not hold; none when it is not stated."""
    return np.asarray(engine_rpm, float) < (train.engagement_rpm if train.engagement_rpm > 0 else -math.inf)


def with_teeth(train: DriveTrain, teeth: Teeth) -> DriveTrain:
    """Return the same machine with other sprockets."""
    return replace(train, teeth=teeth)


def parse_teeth(text: str) -> Teeth:
    """Return the stages that '15/41' or '18/48,15/36' names, driving before driven.

    Raises
    ------
    UsageError
        If the text is not of that form, or a number of teeth is not 3 to 1000.
    """
    stages = [re.fullmatch(r"\s*(\d{1,4})\s*[/:]\s*(\d{1,4})\s*", part, re.ASCII) for part in text.split(",")]
    teeth = tuple((int(found[1]), int(found[2])) for found in stages if found)
    if len(teeth) != len(stages) or any(not 3 <= tooth <= 1000 for pair in teeth for tooth in pair):
        raise UsageError(f"{text!r} names no sprockets", advice=_TEETH_ADVICE)
    return teeth


def teeth_text(teeth: Teeth) -> str:
    """Return stages as `parse_teeth` reads them."""
    return ",".join(f"{driving}/{driven}" for driving, driven in teeth)
