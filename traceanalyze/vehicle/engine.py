"""Engine speeds to be shown beside road speeds: one scale only where one gearing holds, and only where it is true."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from traceanalyze.errors import shown
from traceanalyze.vehicle.gearing import DriveTrain, engine_rpm_at, may_slip, over_limit, speed_at_mps

#: Gearings are one when they turn the engine alike to this share; a tyre's circumference is not known better.
_ALIKE = 1e-3
#: Engine speeds are shown in steps of this [1/min]: a wheel turn is known to some per mil at best.
STEP_RPM = 10
#: About so many numbers along a scale.
_TICKS = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class EngineSpeeds:
    """What may be shown of engine speed beside road speed.

    Attributes
    ----------
    train : DriveTrain or None
        The gearing that all setups share, with the highest full engagement and the lowest limit that any states; None
        when there is no such gearing.
    note : str
        What has to be said beside: where the numbers are true, or why there are none; empty when nothing is known.
    """

    train: DriveTrain | None = None
    note: str = ""

    def ticks(self, low_mps: float, high_mps: float) -> list[tuple[float, float]]:
        """Return round engine speeds between two road speeds, above full engagement, as (road speed [m/s], rpm)."""
        if self.train is None:
            return []
        train = self.train
        low, high = (float(engine_rpm_at(train, speed)) for speed in (max(low_mps, 0.0), high_mps))
        if not math.isnan(train.engagement_rpm):
            low = max(low, train.engagement_rpm)
        if not high > low:
            return []
        step = _round_step((high - low) / _TICKS)
        count = range(max(1, math.ceil(low / step - 1e-9)), math.floor(high / step + 1e-9) + 1)
        return [(float(speed_at_mps(train, k * step)), k * step) for k in count]

    def limit_mps(self) -> float:
        """Return the road speed at the builder's own limit [m/s]; NaN when there is none."""
        return math.nan if self.train is None else float(speed_at_mps(self.train, self.train.max_engine_rpm))

    def text(self, speed_mps: float) -> str:
        """Return the engine speed at a road speed as `rpm_text` has it; `-` where it is not known."""
        return rpm_text(self.train, speed_mps) if self.train is not None else "-"

    def range_text(self, from_mps: float, to_mps: float) -> str:
        """Return the engine speeds between two road speeds as text, as far as they are true; `-` where none is."""
        low, high = self.text(from_mps), self.text(to_mps)
        if high == "-":
            return "-"
        return f"up to {high}" if low in ("-", "0") else f"{low.partition(',')[0]} to {high}"

    def known_at(self, speed_mps: float) -> bool:
        """Whether the engine speed at a road speed is surely true: full engagement is stated, and reached."""
        if self.train is None or math.isnan(self.train.engagement_rpm):
            return False
        return not bool(may_slip(self.train, engine_rpm_at(self.train, speed_mps)))


#: Nothing is known of any drive train.
NO_ENGINE = EngineSpeeds()


def engine_speeds(trains: Mapping[str, DriveTrain | None]) -> EngineSpeeds:
    """Return what may be shown for setups by name; None stands for a setup whose drive train is not stated."""
    known = [train for train in trains.values() if train is not None]
    if not known:
        return NO_ENGINE
    unknown = [name for name, train in trains.items() if train is None]
    if unknown:
        return EngineSpeeds(note=f"no engine speeds: the drive train of {shown(unknown[0])[:40]} is not stated")
    turns = [train.engine_turns_per_m for train in known]
    if max(turns) > min(turns) * (1 + _ALIKE):
        return EngineSpeeds(note="no engine speeds beside the speeds: the setups are geared differently")
    engaged = [train.engagement_rpm for train in known]
    limits = [train.max_engine_rpm for train in known if not math.isnan(train.max_engine_rpm)]
    train = DriveTrain(
        teeth=known[0].teeth,
        tyre_circumference_m=known[0].tyre_circumference_m,
        engagement_rpm=math.nan if any(map(math.isnan, engaged)) else max(engaged),
        max_engine_rpm=min(limits, default=math.nan),
    )
    return EngineSpeeds(train=train, note=_where_true(train))


def _where_true(train: DriveTrain) -> str:
    if math.isnan(train.engagement_rpm):
        return "engine speeds follow from teeth and tyre: true only where clutch or belt does not slip"
    low = f"below {train.engagement_rpm:.0f} rpm"
    return f"engine speeds follow from teeth and tyre; {low} clutch or belt slips, and none are given"


def _round_step(rough: float) -> float:
    power = 10.0 ** math.floor(math.log10(rough))
    return next(k * power for k in (1, 2, 5, 10) if k * power >= rough * (1 - 1e-9))


def whole_rpm(train: DriveTrain, speed_mps: float) -> int:
    """Return the engine speed at a road speed in steps of `STEP_RPM` [1/min]."""
    return STEP_RPM * math.floor(float(engine_rpm_at(train, speed_mps)) / STEP_RPM + 0.5)


def rpm_text(train: DriveTrain, speed_mps: float) -> str:
    """Return the engine speed at a road speed, `above your limit` where it is; `-` below full engagement."""
    rpm = engine_rpm_at(train, speed_mps)
    if bool(may_slip(train, rpm)):
        return "-"
    text = str(whole_rpm(train, speed_mps))
    return f"{text}, above your limit" if bool(over_limit(train, rpm)) else text
