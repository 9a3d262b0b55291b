"""What a day sheet's slope and air did to the times of each setup: corrected figures beside the raw ones.

No verdict rests on them. Wind is not corrected for: two ways with equal weight are what helps against it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import fmean
from typing import Any

from traceanalyze.judge.gather import Ridden, gather
from traceanalyze.report.machine import air_density_of
from traceanalyze.results import Curve, Estimate, Launch, number, round_half_up
from traceanalyze.setups import SetupRuns
from traceanalyze.sheet import DaySheet, Setup
from traceanalyze.units import Measure, StartRule
from traceanalyze.vehicle.air import RULE_K, RULE_PA, ZERO_C_K, air_density_kgm3
from traceanalyze.vehicle.corrections import Correction, level_road, reference_air
from traceanalyze.vehicle.roadload import RoadLoad

#: A slope written down by hand is known to a tenth of a per cent (standard uncertainty; common practice, no source).
GRADE_STDERR_PCT = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Corrected:
    """One measure of one setup.

    Attributes
    ----------
    setup, measure : str
    start_rule : str or None
    runs : int
        Launches it is the mean of.
    raw_s : float
        Mean as measured [s].
    level_road, reference_air : Estimate or None
        What a level road, and the reference air, would change in that mean [s], with the uncertainty of the
        correction alone; None where the sheet lacks the facts.
    """

    setup: str
    measure: str
    start_rule: str | None
    runs: int
    raw_s: float
    level_road: Estimate | None
    reference_air: Estimate | None

    def to_dict(self) -> dict[str, Any]:
        """Return it for JSON."""
        return {
            "setup": self.setup,
            "measure": self.measure,
            "start_rule": self.start_rule,
            "runs": self.runs,
            "raw_mean_s": number(self.raw_s),
            **_change("level_road", self.raw_s, self.level_road),
            **_change("reference_air", self.raw_s, self.reference_air),
        }


def _change(name: str, raw_s: float, change: Estimate | None) -> dict[str, float | None]:
    value, stderr = (change.value, change.stderr) if change else (math.nan, math.nan)
    return {
        f"{name}_mean_s": number(raw_s + value),
        f"{name}_change_s": number(value),
        f"{name}_change_stderr_s": number(stderr),
    }


def reference_density_kgm3() -> float:
    """Return the density of the reference air of the coast-down rules, dry, at 100 kPa and 293.15 K [kg/m^3]."""
    return air_density_kgm3(RULE_K - ZERO_C_K, RULE_PA, 0.0)


def corrected_times(
    setups: Sequence[SetupRuns], sheet: DaySheet | None, measures: Sequence[Measure], rule: StartRule
) -> tuple[Corrected, ...]:
    """Return the corrected means of every setup and measure that the sheet has the facts for; none without a sheet."""
    if sheet is None:
        return ()
    found = gather([(setup.name, setup.sheets) for setup in setups])
    first_deg = _first_heading_deg([*found.launches, *found.passes])
    timed = [measure for measure in dict.fromkeys(measures) if measure.kind in ("standing", "rolling", "distance")]
    corrected = []
    for setup in sheet.setups:
        mine = [one.what for one in found.launches if one.setup == setup.name and isinstance(one.what, Launch)]
        corrected += [_of_setup(setup, mine, measure, rule, first_deg) for measure in timed]
    return tuple(one for one in corrected if one is not None)


def _first_heading_deg(ridden: Sequence[Ridden]) -> float:
    """Heading of the first ride, which the sheet's slope is told for; NaN when it is not known."""
    dated = [one for one in ridden if math.isfinite(one.utc_s)]
    first = min(dated, key=lambda one: one.utc_s) if dated else next(iter(ridden), None)
    return first.what.heading_deg if first is not None else math.nan


def _of_setup(
    setup: Setup, launches: Sequence[Launch], measure: Measure, rule: StartRule, first_deg: float
) -> Corrected | None:
    """The corrected means of one measure; None where no launch was timed or nothing can be corrected."""
    started = rule if measure.from_rest else None
    timed = [(one, one.curve, result) for one in launches if (result := one.time(measure.label, started)) and one.curve]
    if not timed:
        return None
    ups = [_up(one.heading_deg, first_deg) for one, _, _ in timed]
    rides = [(curve, result.elapsed, up) for (_, curve, result), up in zip(timed, ups, strict=True)]
    level, air = _level_road(setup, rides, measure, rule), _reference_air(setup, rides, measure, rule)
    if level is None and air is None:
        return None
    raw_s = fmean(raw.value for _, raw, _ in rides)
    return Corrected(
        setup=setup.name, measure=measure.label, start_rule=started, runs=len(rides), raw_s=raw_s, level_road=level,
        reference_air=air,
    )  # fmt: skip


def _up(heading_deg: float, first_deg: float) -> float:
    """1 for a launch along the way ridden first, -1 against it; NaN when a heading is not known."""
    along = math.cos(math.radians(heading_deg - first_deg))
    return math.nan if math.isnan(along) else math.copysign(1.0, along)


#: A launch's curve, its time as measured, and 1 where it went the way the slope is told for, else -1.
_Ride = tuple[Curve, Estimate, float]


def _level_road(setup: Setup, rides: Sequence[_Ride], measure: Measure, rule: StartRule) -> Estimate | None:
    """Mean change [s]; its uncertainty is what the uncertainty of the slope, one and the same for all, makes of it."""
    grade = setup.conditions.grade_pct
    if math.isnan(grade) or any(math.isnan(up) for _, _, up in rides):
        return None

    def change_s(grade_pct: float) -> float:
        slopes = [Estimate(up * grade_pct, 0.0) for _, _, up in rides]
        return _mean_change_s(
            level_road(curve, raw, measure, slope, rule=rule)
            for (curve, raw, _), slope in zip(rides, slopes, strict=True)
        )

    change = change_s(grade)
    return _known(change, abs(change_s(grade + GRADE_STDERR_PCT) - change))


def _reference_air(setup: Setup, rides: Sequence[_Ride], measure: Measure, rule: StartRule) -> Estimate | None:
    density, mass_kg = air_density_of(setup), setup.vehicle.mass_kg
    if math.isnan(density) or math.isnan(mass_kg):
        return None
    load = RoadLoad(mass_kg=mass_kg, air_density_kgm3=density)
    found = [reference_air(curve, raw, measure, load, reference_density_kgm3(), rule=rule) for curve, raw, _ in rides]
    doubts = [math.sqrt(max(one.corrected.stderr**2 - one.raw.stderr**2, 0.0)) for one in found]
    return _known(_mean_change_s(found), fmean(doubts))


def _mean_change_s(corrections: Iterable[Correction]) -> float:
    return fmean(one.corrected.value - one.raw.value for one in corrections)


def _known(change_s: float, stderr_s: float) -> Estimate | None:
    return Estimate(change_s, stderr_s) if math.isfinite(change_s) else None


def assumptions(setups: Iterable[Corrected]) -> str:
    """Return in words what the corrections take for granted."""
    usual = RoadLoad(mass_kg=100.0)
    parts = []
    if any(one.level_road for one in setups):
        parts.append(f"level road: the stated slope, known to {GRADE_STDERR_PCT:g} %")
    if any(one.reference_air for one in setups):
        parts.append(
            f"reference air: 100 kPa, 20 °C, dry, {reference_density_kgm3():.3f} kg/m³; thrust taken to go "
            f"with density, drag area {usual.cda_m2:g} m², rolling resistance {usual.crr:g}"
        )
    return "; ".join(parts)


#: Head of a table of `corrected_cells`, after a column of setups.
CORRECTED_HEAD = ("as measured", "on a level road", "in reference air")


def corrected_caption(corrected: Sequence[Corrected]) -> str:
    """Return what stands above such a table."""
    return (
        f"Mean times [s] as measured, and corrected; no verdict rests on the corrected ones ({assumptions(corrected)})"
    )


def corrected_cells(one: Corrected) -> list[str]:
    """Return the mean as measured, on a level road and in reference air, each with its change; `-` where unknown."""
    return [round_half_up(one.raw_s, 2), _cell(one.raw_s, one.level_road), _cell(one.raw_s, one.reference_air)]


def _cell(raw_s: float, change: Estimate | None) -> str:
    if change is None:
        return "-"
    sign, stderr = "" if change.value < 0 else "+", round_half_up(change.stderr, 3)
    doubt = f" ± {stderr}" if float(stderr) else ""
    return f"{round_half_up(raw_s + change.value, 2)} ({sign}{round_half_up(change.value, 3)}{doubt})"
