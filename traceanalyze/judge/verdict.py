"""Runs of two setups -> the verdict on one measure; the first line of the table that fits wins.

    fewer than two runs of a setup                          cannot tell yet
    setup and direction (or day) inseparable                confounded, no interval
    setup nearly follows the order, claim dies with 3 drift confounded
    interval excludes no difference                         better or worse
    90 % interval within the smallest that matters,
        order not confounded                                no meaningful difference
    else                                                    cannot tell yet

The 90 % interval inside both bounds is the test of equivalence by two one-sided tests at 5 % (Schuirmann, J.
Pharmacokin. Biopharm. 15 (1987) 657).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from traceanalyze import settings
from traceanalyze.comparison import MeasureComparison, Run, Verdict
from traceanalyze.errors import UsageError
from traceanalyze.judge.case import Case, prepare
from traceanalyze.judge.hints import hints
from traceanalyze.judge.model import Fit, Layout
from traceanalyze.judge.power import more_runs_each
from traceanalyze.judge.quantity import Quantity, shown_unit
from traceanalyze.judge.scatter import OwnScatter, WorkingScatter
from traceanalyze.judge.sentences import next_step, why
from traceanalyze.judge.textbook import second_opinions
from traceanalyze.units import Measure, parse_measure


def compare_runs(
    runs: Sequence[Run],
    *,
    baseline: str,
    measure: Measure | str = "0-30 mph",
    changed: str | None = None,
    start_rule: str | None = None,
    smallest: float | None = None,
    scatter: float | None = None,
    scatter_df: float = 0.0,
    unit_shown: str | None = None,
) -> MeasureComparison:
    """Return the verdict on one measure of two setups.

    Parameters
    ----------
    runs : sequence of Run
        Of both setups; values in s or m/s.
    baseline, changed : str
        Names of the setups; `changed` may be left out when there is only one other.
    smallest : float, optional
        Smallest difference that matters, in s or m/s.
    scatter, scatter_df : float
        The rider's own run-to-run standard deviation and the degrees of freedom behind it.

    Raises
    ------
    UsageError
        If a value, the scatter or the setups are not usable.
    """
    measure = parse_measure(measure) if isinstance(measure, str) else measure
    own = OwnScatter(sd=scatter, df=scatter_df) if scatter is not None else None
    case = prepare(runs, baseline=baseline, measure=measure, changed=changed, own=own)
    judged = judge(case, smallest=smallest, start_rule=start_rule, unit_shown=unit_shown)
    values = [[run.value for run in runs] for runs in (judged.baseline_runs, judged.changed_runs)]
    return replace(judged, remarks=hints(case, judged), plain=second_opinions(*values))


def judge(
    case: Case, *, smallest: float | None = None, start_rule: str | None = None, unit_shown: str | None = None
) -> MeasureComparison:
    """Return the verdict on runs that are laid out, without remarks and second opinions; see `compare_runs`."""
    nature = case.nature
    smallest = nature.smallest if smallest is None else smallest
    if not smallest > 0:
        raise UsageError(f"a smallest difference of {smallest:g} is not possible", advice="give a number above 0")
    baseline_runs, changed_runs = case.of(case.baseline), case.of(case.changed)
    blank = MeasureComparison(
        measure=case.measure.label,
        start_rule=start_rule,
        unit=nature.unit,
        shown_unit=unit_shown or shown_unit(case.measure, "imperial"),
        smaller_is_better=nature.smaller_is_better,
        baseline=case.baseline,
        changed=case.changed,
        baseline_runs=baseline_runs,
        changed_runs=changed_runs,
        baseline_mean=_mean(baseline_runs),
        changed_mean=_mean(changed_runs),
        difference=_mean(changed_runs) - _mean(baseline_runs),
        smallest_meaningful=smallest,
        verdict="cannot tell yet",
    )
    return worded(_judged(blank, case), nature)


def worded(found: MeasureComparison, nature: Quantity) -> MeasureComparison:
    """Return the comparison with its sentences."""
    return replace(found, why=why(found, nature), next_step=next_step(found))


def _mean(runs: Sequence[Run]) -> float:
    return float(np.mean([run.value for run in runs])) if runs else float("nan")


def _judged(blank: MeasureComparison, case: Case) -> MeasureComparison:
    counts = len(blank.baseline_runs), len(blank.changed_runs)
    if min(counts) < 2:
        more = more_runs_each(blank.smallest_meaningful, case.start.sd, have=counts, terms=2)
        model = "nothing fitted: one run of a setup says nothing about how much runs vary"
        return replace(blank, reason="few runs", more_runs_each=more, run_scatter=case.start.sd, model=model)
    if not case.plan.separable:
        reason = "day" if case.plan.day_r2 > settings.CONFOUNDED_R2 else "direction"
        model = f"nothing fitted: the setup cannot be told from the {reason}"
        return replace(blank, verdict="confounded", reason=reason, more_runs_each=max(counts), model=model)
    return _with_fit(blank, case, case.fit())


def _with_fit(blank: MeasureComparison, case: Case, found: Fit) -> MeasureComparison:
    stderr, df = found.total()
    low95, high95 = found.interval()
    low90, high90 = found.interval(0.90)
    numbers = replace(
        blank,
        difference=found.difference,
        stderr=stderr,
        df=df,
        low95=low95,
        high95=high95,
        low90=low90,
        high90=high90,
        p_value=found.p_value(),
        p_adjusted=found.p_value(),
        order_r2=case.plan.order_r2,
        run_scatter=found.scatter,
        scatter_df=found.scatter_df,
        model=model_words(case.plan, case.start, found),
    )
    doubtful = case.plan.order_r2 > settings.ORDER_CONFOUNDED_R2
    survives = found.p_value(settings.DRIFT_DOUBT) < settings.CLAIM_LEVEL
    reason = _reason(numbers, order_confounded=doubtful, survives=survives)
    return with_reason(numbers, reason, terms=case.plan.parameters - 2, prior_df=case.start.prior_df(99))


def _reason(numbers: MeasureComparison, *, order_confounded: bool, survives: bool) -> str:
    claim = numbers.p_value < settings.CLAIM_LEVEL
    if claim and order_confounded and not survives:
        return "order"
    if claim:
        return "claim"
    x = numbers.smallest_meaningful
    return "within" if -x < numbers.low90 and numbers.high90 < x and not order_confounded else "open"


def with_reason(numbers: MeasureComparison, reason: str, *, terms: int, prior_df: float) -> MeasureComparison:
    """Return the comparison with the verdict that a line of the table gives."""
    verdicts: dict[str, Verdict] = {
        "order": "confounded",
        "claim": "better" if numbers.gain > 0 else "worse",
        "within": "no meaningful difference",
    }
    have = len(numbers.baseline_runs), len(numbers.changed_runs)
    more = 0
    if reason == "order":
        more = have[1]
    elif reason in ("open", "several"):
        more = more_runs_each(
            numbers.smallest_meaningful, numbers.run_scatter, have=have, terms=terms, prior_df=prior_df
        )
        if numbers.order_r2 > settings.FIT_DRIFT_R2:  # fewer could not undo that one setup ran later
            more = max(more, min(have))
    return replace(numbers, verdict=verdicts.get(reason, "cannot tell yet"), reason=reason, more_runs_each=more)


def model_words(plan: Layout, start: WorkingScatter, found: Fit) -> str:
    """Return which terms were fitted and what the scatter rests on."""
    terms = [
        *(["day"] if plan.days.shape[1] > 1 else []),
        *(["direction"] if plan.fits_direction else []),
        *(["drift"] if plan.fits_drift else []),
    ]
    fitted = f"fitted beside the setup: {', '.join(terms)}" if terms else "nothing fitted beside the setup"
    allowed = "; usual drift allowed for" if found.lever > 1e-9 else ""
    return f"{fitted}{allowed}; {start.source(plan.residual_df)}"
