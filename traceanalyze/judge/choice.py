"""Which measure would show a change with the fewest runs: from the scatter of each in the logs at hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean
from typing import Any

from traceanalyze.comparison import Run
from traceanalyze.judge.logs import own_scatter_of
from traceanalyze.judge.planning import MOST_PLANNED, runs_to_show
from traceanalyze.results import number
from traceanalyze.units import Measure

#: Fewer degrees of freedom than this say nothing about a scatter.
_LEAST_DF = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureChoice:
    """How well one measure would show a change that takes the same share off all times.

    Attributes
    ----------
    measure : str
    mean_s, scatter_s, scatter_df : float
        Mean, run-to-run standard deviation, and degrees of freedom behind it.
    difference_s : float
        What the change would be worth in this measure [s].
    runs_each : int
        Runs of each setup that would show it with 80 % power, reckoned as a plan is; `MOST_PLANNED` + 1 for more.
    """

    measure: str
    mean_s: float
    scatter_s: float
    scatter_df: float
    difference_s: float
    runs_each: int

    def to_dict(self) -> dict[str, Any]:
        """Return it for JSON."""
        return {
            "measure": self.measure,
            "mean_s": number(self.mean_s),
            "scatter_s": number(self.scatter_s),
            "scatter_df": number(self.scatter_df),
            "difference_s": number(self.difference_s),
            "runs_each": self.runs_each if self.runs_each <= MOST_PLANNED else None,
        }


def ranked(runs: Mapping[Measure, Sequence[Run]], share: float) -> list[MeasureChoice]:
    """Return the timed measures, the one that needs the fewest runs first.

    Parameters
    ----------
    runs : mapping
        The runs of each measure at hand; scatter is pooled within setup, day and direction.
    share : float
        The change sought, as a share of every time: 0.02 for 2 %. A part that works only at the launch changes rolling
        times by nothing; the choice is the rider's, and is made before the next runs.
    """
    choices = [choice for measure, group in runs.items() if (choice := _choice(measure, group, share)) is not None]
    return sorted(choices, key=lambda one: (one.runs_each, one.scatter_s / one.mean_s, one.measure))


def _choice(measure: Measure, runs: Sequence[Run], share: float) -> MeasureChoice | None:
    scatter = own_scatter_of(runs)
    if measure.kind == "top speed" or scatter is None or scatter.df < _LEAST_DF:
        return None
    mean = fmean(run.value for run in runs)
    return MeasureChoice(
        measure=measure.label,
        mean_s=mean,
        scatter_s=scatter.sd,
        scatter_df=scatter.df,
        difference_s=share * mean,
        runs_each=runs_to_show(measure, share * mean, mean, scatter),
    )
