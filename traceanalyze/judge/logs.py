"""Measured logs of two setups -> the whole comparison."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from statistics import median

from traceanalyze import settings
from traceanalyze.comparison import Comparison, CurveComparison, MeasureComparison, Run
from traceanalyze.errors import UsageError
from traceanalyze.judge.conditions import RidingConditions, condition_remarks
from traceanalyze.judge.curves import compare_curves
from traceanalyze.judge.gather import Gathered, gather
from traceanalyze.judge.quantity import quantity, shown_unit
from traceanalyze.judge.revs import over_limit_remarks
from traceanalyze.judge.scatter import OwnScatter
from traceanalyze.judge.sentences import name
from traceanalyze.judge.several import corrected
from traceanalyze.judge.verdict import compare_runs
from traceanalyze.results import RunSheet
from traceanalyze.trace import Remark
from traceanalyze.units import Measure, StartRule, System, parse_measure
from traceanalyze.vehicle.engine import EngineSpeeds, engine_speeds
from traceanalyze.vehicle.gearing import DriveTrain

#: Remarks of a launch that make its time doubtful; named in the comparison.
_DOUBTFUL = frozenset(
    {"creep", "rolling-start", "short-rest", "gap-over-start", "gap-at-target", "grazes-target", "launch-in-gap"}
)


def compare(
    baseline: RunSheet | Iterable[RunSheet],
    changed: RunSheet | Iterable[RunSheet],
    *,
    measures: Sequence[Measure | str] | None = None,
    start_rule: StartRule = "rollout",
    smallest: float | Mapping[str, float] | None = None,
    scatter: float | Mapping[str, OwnScatter] | None = None,
    scatter_df: float = 0.0,
    names: tuple[str, str] = ("baseline", "changed"),
    skip: Iterable[str] = (),
    conditions: tuple[RidingConditions, RidingConditions] | None = None,
    trains: Mapping[str, DriveTrain] | None = None,
    system: System = "imperial",
) -> Comparison:
    """Return the verdict on each measure of two setups, and on where in the speed range they differ.

    Runs count in the order of the clock where every log has one, else as given; more than 8 hours apart they are of
    different days. The way ridden comes from the headings.

    Parameters
    ----------
    baseline, changed : RunSheet or several
        As `measure` gives them. Refused ones are passed over.
    measures : sequence, optional
        The first is the headline: the one named beforehand. By default 0-30 mph, 0-20 mph, 60 ft and top speed as far
        as both setups have them.
    smallest : float or mapping of measure label to float, optional
        Smallest difference that matters, in s or m/s; a bare number goes for the headline and all in its unit.
    scatter, scatter_df
        The rider's own run-to-run standard deviation of the headline with its degrees of freedom, or a mapping of
        measure label to `OwnScatter`.
    names : (str, str)
        Of the setups.
    skip : iterable of str
        Runs left out by the rider's word: `FILE#NUMBER` for a launch, `FILE#pNUMBER` for a pass.
    conditions : pair, optional
        Those of baseline and changed setup (for instance `sheet.Conditions`), for warnings.
    trains : mapping, optional
        Drive trains by the names of the setups, for engine speeds in words and for warnings about them.
    system : str
        Units that sentences are written in: `imperial` or `metric`.

    Raises
    ------
    UsageError
        If a measure, a skip or a number is not usable, or one run stands in both setups.
    """
    if names[0] == names[1]:
        raise UsageError(f"both setups are called {names[0]!r}", advice="give them different names")
    groups = [[group] if isinstance(group, RunSheet) else list(group) for group in (baseline, changed)]
    found = gather(list(zip(names, groups, strict=True)), skip)
    asked = _asked(found, measures, start_rule, names)
    own = scatter if isinstance(scatter, Mapping) else _headline_scatter(asked[0], scatter, scatter_df)
    verdicts = corrected(
        [
            _one(found, measure, names, start_rule, _smallest(measure, asked[0], smallest), own, system)
            for measure in asked
        ]
    )
    stated = {setup: train for setup, train in (trains or {}).items() if setup in names}
    engine = engine_speeds({setup: stated.get(setup) for setup in names})
    curves = _curves(found, asked[0], names, start_rule, verdicts[0], own, (system, engine))
    revs = over_limit_remarks(found, stated, system)
    notes = [*revs, *found.remarks, *_about_slope(found), *_about_conditions(found, names, conditions)]
    return Comparison(baseline=names[0], changed=names[1], measures=verdicts, curves=curves, remarks=tuple(notes))


def _asked(
    found: Gathered, measures: Sequence[Measure | str] | None, start_rule: StartRule, names: tuple[str, str]
) -> list[Measure]:
    """What was asked, in order; else the usual measures that both setups have, at least one."""
    given = settings.COMPARE_MEASURES if measures is None else measures
    parsed = list(dict.fromkeys(parse_measure(one) if isinstance(one, str) else one for one in given))
    if not parsed:
        raise UsageError("no measure is asked for", advice='name one, such as "0-30 mph"')
    if measures is not None:
        return parsed
    have = [one for one in parsed if {run.setup for run in found.runs(one, start_rule)} == set(names)]
    return have or parsed[:1]


def _headline_scatter(headline: Measure, scatter: float | None, df: float) -> dict[str, OwnScatter]:
    return {} if scatter is None else {headline.label: OwnScatter(sd=scatter, df=df)}


def _smallest(measure: Measure, headline: Measure, smallest: float | Mapping[str, float] | None) -> float | None:
    if isinstance(smallest, Mapping):
        return smallest.get(measure.label)
    return smallest if quantity(measure).unit == quantity(headline).unit else None


def _one(
    found: Gathered,
    measure: Measure,
    names: tuple[str, str],
    start_rule: StartRule,
    smallest: float | None,
    own: Mapping[str, OwnScatter],
    system: System,
) -> MeasureComparison:
    mine = own.get(measure.label)
    result = compare_runs(
        found.runs(measure, start_rule),
        baseline=names[0],
        changed=names[1],
        measure=measure,
        start_rule=start_rule if measure.from_rest else None,
        smallest=smallest,
        scatter=mine.sd if mine else None,
        scatter_df=mine.df if mine else 0.0,
        unit_shown=shown_unit(measure, system),
    )
    extra = (*_untimed(found, measure, start_rule, names), *_doubtful(found, measure, start_rule))
    return replace(result, remarks=result.remarks + extra)


def _untimed(found: Gathered, measure: Measure, start_rule: StartRule, names: tuple[str, str]) -> list[Remark]:
    """How many launches of each setup have no time for a measure."""
    if measure.kind in ("top speed", "stopping"):
        return []
    remarks = []
    for setup in names:
        count = sum(one.setup == setup and one.run(measure, start_rule) is None for one in found.launches)
        if count:
            text = f"{count} launch{'es' if count > 1 else ''} of {name(setup)} without a time for {measure.label}"
            remarks.append(Remark("not-timed", f"{text}: not counted, though trying counts as riding"))
    return remarks


def _doubtful(found: Gathered, measure: Measure, start_rule: StartRule) -> list[Remark]:
    """Launches that are counted though their own remarks make them doubtful."""
    if not measure.from_rest:
        return []
    return [
        Remark("doubtful-run", f"{name(one.sheet.path)} #{one.what.number} ({name(one.setup)}): {remark.text}")
        for one in found.launches
        if one.run(measure, start_rule) is not None
        for remark in one.what.remarks
        if remark.code in _DOUBTFUL
    ]


def _curves(
    found: Gathered,
    headline: Measure,
    names: tuple[str, str],
    start_rule: StartRule,
    verdict: MeasureComparison,
    own: Mapping[str, OwnScatter],
    wording: tuple[System, EngineSpeeds],
) -> CurveComparison | None:
    typical = [run.value for run in (*verdict.baseline_runs, *verdict.changed_runs)]
    mine = own.get(headline.label)
    share = OwnScatter(sd=mine.sd / median(typical), df=mine.df) if mine and typical and headline.from_rest else None
    return compare_curves(
        found.curves(headline, start_rule),
        baseline=names[0],
        top_mps=headline.to_mps if headline.kind in ("standing", "rolling") else math.nan,
        smallest_s=verdict.smallest_meaningful if verdict.unit == "s" else settings.SMALLEST_TIME_S,
        own_share=share,
        system=wording[0],
        engine=wording[1],
    )


def _about_slope(found: Gathered) -> list[Remark]:
    """Whether the strip is steeper than test practice allows, by the runs' own altitudes."""
    grades = [abs(one.what.grade_pct) for one in (*found.launches, *found.passes) if math.isfinite(one.what.grade_pct)]
    if not grades or median(grades) <= settings.GRADE_PCT:
        return []
    return [Remark("slope", f"a slope of about {median(grades):.1f} % is above {settings.GRADE_PCT:g} %")]


def _about_conditions(
    found: Gathered, names: tuple[str, str], conditions: tuple[RidingConditions, RidingConditions] | None
) -> Sequence[Remark]:
    if conditions is None:
        return [Remark("conditions-unknown", "not known: wind, air, rider mass (a day sheet holds them)")]
    ridden = found.launches or found.passes
    return condition_remarks(names, conditions, [one.what.heading_deg for one in ridden])


def own_scatter_of(runs: Sequence[Run]) -> OwnScatter | None:
    """Return the scatter that one comparison's runs give for later days: pooled within setup, day and direction."""
    groups: dict[tuple[str, str, str], list[float]] = {}
    for run in runs:
        groups.setdefault((run.setup, run.block, run.direction), []).append(run.value)
    df = sum(len(values) - 1 for values in groups.values())
    squares = sum((x - sum(values) / len(values)) ** 2 for values in groups.values() for x in values)
    return OwnScatter(sd=math.sqrt(squares / df), df=float(df)) if df > 0 and squares > 0 else None
