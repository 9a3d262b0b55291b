"""What a launch would have taken on a level road, in reference air: always shown beside the raw time, never instead."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from traceanalyze.errors import UsageError
from traceanalyze.results import Curve, Estimate
from traceanalyze.trace import Remark
from traceanalyze.units import GRAVITY_MPS2, Measure, StartRule
from traceanalyze.vehicle.air import engine_share
from traceanalyze.vehicle.climbs import Climb, climb_of, elapsed_s, ridden_again
from traceanalyze.vehicle.roadload import RoadLoad, resistance_n


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """A raw time and what it would have been: both [s]; the uncertainty of the second includes the correction's."""

    measure: str
    start_rule: str | None
    raw: Estimate
    corrected: Estimate
    remarks: tuple[Remark, ...]


def level_road(
    curve: Curve,
    raw: Estimate,
    measure: Measure,
    grade_pct: Estimate,
    *,
    rotating_share: float = 0.04,
    rule: StartRule = "rollout",
) -> Correction:
    """Return the time on a level road: the integral of dv / (a(v) + g sin(grade) / (1 + k)).

    Raises
    ------
    UsageError
        If the grade is not known.
    """
    if not math.isfinite(grade_pct.value):
        raise UsageError("a slope that is not known cannot be corrected for", advice="state grade_pct in the day sheet")
    climb = climb_of(curve)

    def changed_s(grade: float) -> float:
        fall_mps2 = GRAVITY_MPS2 * math.sin(math.atan(grade / 100)) / (1 + rotating_share)
        return _changed_s(climb, ridden_again(climb, climb.accel_mps2 + fall_mps2), measure, rule)

    change = changed_s(grade_pct.value)
    doubt = abs(changed_s(grade_pct.value + grade_pct.stderr) - change) if grade_pct.stderr > 0 else 0.0
    text = f"corrected to a level road from a slope of {grade_pct.value:+.2f} %"
    return _beside(raw, change, doubt, measure, rule, Remark("level-road", text))


def reference_air(
    curve: Curve,
    raw: Estimate,
    measure: Measure,
    load: RoadLoad,
    reference_kgm3: float,
    *,
    rule: StartRule = "rollout",
) -> Correction:
    """Return the time in air of another density; `load` holds the density of the day.

    Drag goes with density (physics); thrust too (assumption: an engine without a blower, at full throttle). A tenth of
    the correction counts as its uncertainty.
    """
    climb = climb_of(curve)
    middle = climb.middle_mps
    thrust = load.inertia_kg * climb.accel_mps2 + resistance_n(load, middle)
    drag = 0.5 * load.cda_m2 * middle**2 * (reference_kgm3 - load.air_density_kgm3)
    share = engine_share(reference_kgm3, load.air_density_kgm3)
    accel = (share * thrust - resistance_n(load, middle) - drag) / load.inertia_kg
    change = _changed_s(climb, ridden_again(climb, accel), measure, rule)
    text = f"corrected from {load.air_density_kgm3:.3f} to {reference_kgm3:.3f} kg/m^3, thrust taken to go with density"
    return _beside(raw, change, 0.1 * abs(change), measure, rule, Remark("reference-air", text))


def _changed_s(before: Climb, after: Climb, measure: Measure, rule: StartRule) -> float:
    return elapsed_s(after, measure, rule) - elapsed_s(before, measure, rule)


def _beside(
    raw: Estimate, change_s: float, doubt_s: float, measure: Measure, rule: StartRule, remark: Remark
) -> Correction:
    stderr = math.hypot(raw.stderr, doubt_s)
    half = np.array([raw.low95 - raw.value, raw.high95 - raw.value]) * (stderr / raw.stderr if raw.stderr else 1.0)
    value = raw.value + change_s
    return Correction(
        measure=measure.label,
        start_rule=rule if measure.from_rest else None,
        raw=raw,
        corrected=Estimate(value, stderr, value + float(half[0]), value + float(half[1])),
        remarks=(remark,),
    )
