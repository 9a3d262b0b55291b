"""Runs of two setups, checked, put in the order they were ridden, laid out to be fitted whole or in part."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from traceanalyze.comparison import Run
from traceanalyze.errors import UsageError
from traceanalyze.judge.model import Fit, Layout, fit, layout
from traceanalyze.judge.quantity import Quantity, quantity
from traceanalyze.judge.scatter import OwnScatter, WorkingScatter, working_scatter
from traceanalyze.units import Measure


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Case:
    """Runs laid out for one measure, ready to be fitted whole or in part."""

    measure: Measure
    baseline: str
    changed: str
    runs: tuple[Run, ...]
    plan: Layout
    start: WorkingScatter

    @property
    def nature(self) -> Quantity:
        """What the numbers are."""
        return quantity(self.measure)

    def of(self, setup: str) -> tuple[Run, ...]:
        """Runs of one setup."""
        return tuple(run for run in self.runs if run.setup == setup)

    def without(self, i: int) -> Case:
        """The same case without one run."""
        runs = self.runs[:i] + self.runs[i + 1 :]
        return replace(self, runs=runs, plan=layout(runs, self.baseline))

    def fit(self) -> Fit:
        """Return the fitted difference."""
        values = np.array([run.value for run in self.runs])
        stderrs = np.array([run.stderr for run in self.runs])
        drift = self.nature.drift_share * float(np.abs(values).mean())
        return fit(values, stderrs, self.plan, self.start, drift)


def prepare(
    runs: Sequence[Run], *, baseline: str, measure: Measure, changed: str | None = None, own: OwnScatter | None = None
) -> Case:
    """Return the runs of two setups laid out for comparison, in the order they were ridden (as listed if not known).

    Raises
    ------
    UsageError
        If the runs are not of exactly two setups (name the changed one to choose), or a value is not usable.
    """
    _check(runs)
    changed = changed if changed is not None else _other_setup(runs, baseline)
    chosen = [run for run in runs if run.setup in (baseline, changed)]
    if all(run.order == run.order for run in chosen):
        chosen.sort(key=lambda run: (run.block, run.order))
    else:
        chosen = [replace(run, order=float(i)) for i, run in enumerate(chosen, start=1)]
    nature = quantity(measure)
    typical = float(np.mean([run.value for run in chosen])) if chosen else 1.0
    return Case(
        measure=measure,
        baseline=baseline,
        changed=changed,
        runs=tuple(chosen),
        plan=layout(chosen, baseline),
        start=working_scatter(typical, nature.scatter_share, own),
    )


def _check(runs: Sequence[Run]) -> None:
    for run in runs:
        if not (np.isfinite(run.value) and run.value > 0 and np.isfinite(run.stderr) and run.stderr >= 0):
            raise UsageError(
                f"a run of {run.setup!r} has the value {run.value:g} with uncertainty {run.stderr:g}",
                advice="times and speeds are above 0, uncertainties not below",
            )


def _other_setup(runs: Sequence[Run], baseline: str) -> str:
    others = list(dict.fromkeys(run.setup for run in runs if run.setup != baseline))
    if len(others) != 1:
        found = ", ".join(others) or "none"
        raise UsageError(f"one setup beside {baseline!r} is needed, found: {found}", advice="name the changed one")
    return others[0]
