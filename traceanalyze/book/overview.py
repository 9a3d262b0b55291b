"""The book at a glance: each setup with its days, its runs and the mean of a few measures."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from statistics import fmean, stdev
from typing import Any

from traceanalyze.book.reading import USUAL_WINDOW, BookRun, compared_runs
from traceanalyze.comparison import Run
from traceanalyze.results import Estimate, number
from traceanalyze.units import Measure


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureMean:
    """Plain mean of a measure over all runs that count.

    `mean` is in s or m/s; its uncertainty is the run-to-run standard deviation over the root of the number of runs,
    NaN for a single run. Means of different days are no comparison.
    """

    measure: str
    unit: str
    mean: Estimate
    runs: int

    def to_dict(self) -> dict[str, Any]:
        """Return it for JSON."""
        return {
            "measure": self.measure,
            "unit": self.unit,
            "mean": number(self.mean.value),
            "stderr": number(self.mean.stderr),
            "runs": self.runs,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupSummary:
    """One setup of one vehicle in the book."""

    vehicle: str
    setup: str
    days: tuple[str, ...]
    logs: int
    launches: int
    passes: int
    left_out: int
    means: tuple[MeasureMean, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return it for JSON."""
        return {
            "vehicle": self.vehicle,
            "setup": self.setup,
            "days": list(self.days),
            "logs": self.logs,
            "launches": self.launches,
            "passes": self.passes,
            "left_out": self.left_out,
            "means": [one.to_dict() for one in self.means],
        }


def overview(
    runs: Sequence[BookRun], measures: Sequence[Measure], *, start_rule: str = "rollout", window: str = USUAL_WINDOW
) -> tuple[SetupSummary, ...]:
    """Return every setup, by vehicle and name."""
    ordered = sorted(runs, key=_key)
    return tuple(
        _summary(list(group), measures, start_rule=start_rule, window=window) for _, group in groupby(ordered, key=_key)
    )


def _key(one: BookRun) -> tuple[str, str]:
    return one.run.vehicle, one.run.setup


def _summary(runs: list[BookRun], measures: Sequence[Measure], *, start_rule: str, window: str) -> SetupSummary:
    timed = {one: compared_runs(runs, one, start_rule=start_rule, window=window) for one in measures}
    return SetupSummary(
        vehicle=runs[0].run.vehicle,
        setup=runs[0].run.setup,
        days=tuple(sorted({one.block for one in runs})),
        logs=len({(one.log.sha256, one.log.member) for one in runs}),
        launches=sum(one.run.kind == "launch" for one in runs),
        passes=sum(one.run.kind == "pass" for one in runs),
        left_out=sum(bool(one.run.left_out) for one in runs),
        means=tuple(_mean(measure, [run for _, run in group]) for measure, group in timed.items()),
    )


def _mean(measure: Measure, runs: list[Run]) -> MeasureMean:
    values = [run.value for run in runs]
    stderr = stdev(values) / math.sqrt(len(values)) if len(values) > 1 else math.nan
    return MeasureMean(
        measure=measure.label,
        unit="m/s" if measure.kind == "top speed" else "s",
        mean=Estimate(fmean(values) if values else math.nan, stderr),
        runs=len(values),
    )
