"""Remarks that change no number: flukes, a baseline that did not repeat, a cold first run, best runs, unequal means."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from statistics import median

import numpy as np

from traceanalyze import settings
from traceanalyze.comparison import SHOWN_UNITS, MeasureComparison, Run
from traceanalyze.errors import shown
from traceanalyze.judge.case import Case
from traceanalyze.judge.distributions import t_two_sided
from traceanalyze.judge.model import Fit, directions_known
from traceanalyze.judge.sentences import amount, name
from traceanalyze.results import round_half_up
from traceanalyze.trace import FloatArray, Remark

#: A first run slower than expected by this many standard deviations is worth a word: one in fifteen by chance.
_COLD_SD = 1.5


def hints(case: Case, found: MeasureComparison) -> tuple[Remark, ...]:
    """Return everything about the runs of a measure that a careful friend would point out."""
    return (*_about_directions(case), *_about_order(case, found), *_about_loggers(case), *_about_runs(case, found))


def _about_runs(case: Case, found: MeasureComparison) -> Iterator[Remark]:
    if not (found.stderr == found.stderr and len(case.runs) >= 4):
        return
    fitted = case.fit()
    off = studentised(case, fitted)
    yield from _flukes(case, found, off)
    yield from _cold_start(case, found, off)
    yield from _baseline_repeats(case, found, fitted)
    yield from _bests(case, found)
    if case.measure.kind == "top speed":
        yield from _tops_apart(case)


def studentised(case: Case, fitted: Fit) -> FloatArray:
    """Return how far each run lies from what the other runs lead to expect, in its standard errors.

    Externally studentised residuals (Cook & Weisberg, Residuals and Influence in Regression, 1982, 2.2.1), the
    residual variance steadied by the usual scatter so that they mean something for very few runs.
    """
    columns = case.plan.columns
    weights = 1.0 / (case.start.sd**2 + np.array([run.stderr for run in case.runs]) ** 2)
    covariance = np.linalg.inv(columns.T @ (weights[:, None] * columns))
    spare = 1.0 - weights * np.einsum("ij,jk,ik->i", columns, covariance, columns)
    spare = np.where(spare > 1e-9, spare, np.inf)  # a run that alone fixes a term cannot be judged
    own = weights * fitted.residuals**2 / spare
    prior = max(case.start.prior_df(case.plan.residual_df), settings.GENERIC_DF)
    rest = (prior + float(weights @ fitted.residuals**2) - own) / (prior + case.plan.residual_df - 1)
    off: FloatArray = np.sign(fitted.residuals) * np.sqrt(own / np.maximum(rest, 1e-12))
    return off


def _flukes(case: Case, found: MeasureComparison, off: FloatArray) -> Iterator[Remark]:
    prior = max(case.start.prior_df(case.plan.residual_df), settings.GENERIC_DF)
    df = prior + case.plan.residual_df - 1
    for i, t in enumerate(off):
        if t_two_sided(float(t), df) < settings.CLAIM_LEVEL / len(off):
            yield Remark("run-far-off", _fluke_words(case, found, i, float(t)))


def _fluke_words(case: Case, found: MeasureComparison, i: int, t: float) -> str:
    run = case.runs[i]
    way = case.nature.worse if (t > 0) == case.nature.smaller_is_better else case.nature.better
    text = f"{run_words(run, found)} is far {way} than the other runs lead to expect{_without(case, found, i)}"
    return f"{text}; it is kept, drop it only for a reason other than its time"


def _without(case: Case, found: MeasureComparison, i: int) -> str:
    """What the difference would be without one run, in words; nothing when too few would be left."""
    rest = case.without(i)
    if min(len(rest.of(case.baseline)), len(rest.of(case.changed))) < 2 or not rest.plan.separable:
        return ""
    fitted = rest.fit()
    low, high = fitted.interval()
    factor = SHOWN_UNITS[found.shown_unit]
    said = [round_half_up(x / factor, 2) for x in (fitted.difference, low, high)]
    return f"; without it the difference would be {said[0]} {found.shown_unit} ({said[1]} to {said[2]})"


def run_words(run: Run, found: MeasureComparison) -> str:
    """Return a run as a person would point at it."""
    place = (
        f"{shown(run.file)} #{run.launch}" if run.file else f"run {run.order:g}" if run.order == run.order else "a run"
    )
    return f"{place} ({name(run.setup)}, {amount(run.value, found, 2)})"


def _cold_start(case: Case, found: MeasureComparison, off: FloatArray) -> Iterator[Remark]:
    first = case.runs[0]
    slow = float(off[0]) if case.nature.smaller_is_better else -float(off[0])
    if first.order == 1 and slow > _COLD_SD:
        text = f"the first run of the day, {run_words(first, found)}, is slow, as after a cold start"
        yield Remark("first-run-slow", f"{text}; decide before the next day whether first runs count")


def _baseline_repeats(case: Case, found: MeasureComparison, fitted: Fit) -> Iterator[Remark]:
    """Whether the baseline's runs before the change and after it agree."""
    values = np.array([run.value for run in case.runs])
    j = 1 + case.plan.days.shape[1]
    values = values - case.plan.directions @ fitted.coefficients[j : j + case.plan.directions.shape[1]]
    changed_at = np.flatnonzero(case.plan.changed)
    base_at = np.flatnonzero(case.plan.changed == 0)
    before, after = base_at[base_at < changed_at[0]], base_at[base_at > changed_at[-1]]
    if not (before.size and after.size) or case.plan.days.shape[1] > 1:
        return
    shift = float(values[after].mean() - values[before].mean())
    stderr = fitted.scatter * np.sqrt(1 / before.size + 1 / after.size)
    telling = abs(shift) > found.smallest_meaningful / 2
    if telling and t_two_sided(shift / stderr, fitted.scatter_df) < settings.CLAIM_LEVEL:
        way = case.nature.worse if (shift > 0) == case.nature.smaller_is_better else case.nature.better
        text = (
            f"{name(case.baseline)} did not repeat: its later runs were {amount(shift, found, 2)} {way} than its first"
        )
        yield Remark("baseline-not-repeated", f"{text}; something else changed during the day")


def _bests(case: Case, found: MeasureComparison) -> Iterator[Remark]:
    pick = min if case.nature.smaller_is_better else max
    bests = [pick(run.value for run in case.of(setup)) for setup in (case.baseline, case.changed)]
    gain = bests[0] - bests[1] if case.nature.smaller_is_better else bests[1] - bests[0]
    if gain * found.gain < 0:
        holder = name(case.changed if gain > 0 else case.baseline)
        text = f"the best single run is of {holder}, against the means; a best run is luck and favours whoever ran more"
        yield Remark("best-run-disagrees", text)


def _tops_apart(case: Case) -> Iterator[Remark]:
    for setup in (case.baseline, case.changed):
        for one, other in pairwise(run.value for run in case.of(setup)):
            apart = abs(one - other) / ((one + other) / 2)
            if apart > settings.TOP_SPEEDS_APART:
                text = f"two consecutive top speeds of {name(setup)} are {100 * apart:.1f} % apart, more than 3 %"
                yield Remark("top-speeds-apart", f"{text}: wind, slope or throttle differed")
                break


def _about_directions(case: Case) -> Iterator[Remark]:
    labels = {run.direction for run in case.runs}
    if not directions_known(case.runs):
        yield Remark("direction-unknown", "directions are not known: wind and slope are not allowed for")
        return
    if "" in labels:
        yield Remark("direction-missing", "runs whose direction is not known count as a third way")
    if len(labels) == 1:
        yield Remark(
            "one-direction", f"all runs went one way ({shown(labels.pop())}): wind and slope are in the numbers"
        )
        return
    least = 2 if case.measure.kind == "top speed" else 3
    for setup in (case.baseline, case.changed):
        ways = [run.direction for run in case.of(setup)]
        if any(ways.count(label) < least for label in labels):
            text = f"fewer than {least} runs each way of each setup: common test practice asks for {least}"
            yield Remark("few-each-way", text)
            return


def _about_order(case: Case, found: MeasureComparison) -> Iterator[Remark]:
    """What the interval allows for when one setup mostly ran after the other."""
    if not (found.stderr == found.stderr and case.plan.order_r2 > settings.ORDER_CONFOUNDED_R2):
        return
    usual = case.nature.drift_share * float(np.mean([run.value for run in case.runs]))
    text = f"one setup ran mostly after the other: the interval allows for a usual drift of {amount(usual, found, 3)}"
    yield Remark("ran-later", f"{text} per run, a larger one would move it")


def _about_loggers(case: Case) -> Iterator[Remark]:
    typical = [
        median(run.stderr for run in case.of(setup)) for setup in (case.baseline, case.changed) if case.of(setup)
    ]
    if len(typical) == 2 and min(typical) > 0 and max(typical) > 2 * min(typical):
        text = "the two setups were timed with unequal uncertainty: use one logger, mounted the same way"
        yield Remark("unequal-loggers", text)
