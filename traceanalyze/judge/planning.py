"""The next runs: how many, in which order and direction, and what they can show; decided before they are ridden."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from traceanalyze import settings
from traceanalyze.comparison import SHOWN_UNITS, Run
from traceanalyze.errors import UsageError
from traceanalyze.judge.distributions import noncentrality_for
from traceanalyze.judge.model import Layout, layout
from traceanalyze.judge.power import smallest_shown
from traceanalyze.judge.quantity import quantity
from traceanalyze.judge.scatter import OwnScatter, WorkingScatter, working_scatter
from traceanalyze.judge.strip import Strip
from traceanalyze.results import number, round_half_up
from traceanalyze.units import Measure

if TYPE_CHECKING:
    import pandas as pd

    from traceanalyze.judge.choice import MeasureChoice

SCHEMA: Final = "traceanalyze.plan/1"
#: Runs each that the table of a plan speaks of.
TABLE_RUNS: Final = (2, 3, 4, 6, 8, 10, 12)
#: More than this is not planned: it is said instead.
MOST_PLANNED: Final = 40
#: Two planned looks keep 5 % false claims: after half the runs only far below, at the end a little below.
FIRST_LOOK_P: Final = 0.005
LAST_LOOK_P: Final = 0.047
SAFETY: Final = (
    "A closed course, with the owner's leave; nobody on it but the rider and those who help.",
    "Helmet, gloves, boots, back and joint protection; a second person with a phone and a first-aid kit.",
    "Room to stop and to run wide at the end, walked beforehand; surface dry, swept and free of holes.",
    "Brakes, throttle return, kill switch, chain guard and every fastener checked at each change of part.",
    "Engine and flywheel speed below the makers' limits, whatever the times say: never above to win a run.",
    "Local law, and people qualified for the work, come before this sheet.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedRun:
    """One line of the run sheet."""

    place: int
    setup: str
    direction: str
    mount: bool

    def to_dict(self) -> dict[str, Any]:
        """Return it for JSON."""
        return {"order": self.place, "setup": self.setup, "direction": self.direction, "mount_first": self.mount}


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanRow:
    """What some runs of each setup can show.

    `smallest` is the smallest true difference shown with 80 % power, `smallest_plain` the same with nothing fitted and
    nothing known beforehand (pooled t); both in s or m/s.
    """

    runs_each: int
    order: str
    fitted: tuple[str, ...]
    df: float
    smallest: float
    smallest_plain: float

    def to_dict(self) -> dict[str, Any]:
        """Return it for JSON."""
        return {
            "runs_each": self.runs_each,
            "order": self.order,
            "fitted": list(self.fitted),
            "df": number(self.df),
            "smallest_difference": number(self.smallest),
            "smallest_difference_pooled_t": number(self.smallest_plain),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A plan for the next runs.

    Attributes
    ----------
    measure : str
    unit, shown_unit : str
    difference : float
        The one worth finding, in `unit`.
    scatter, scatter_df : float
        Run-to-run standard deviation, in `unit`, and what stands behind it.
    scatter_source : str
    runs_each : int
        Runs of each setup that show the difference with 80 % power; `MOST_PLANNED` + 1 when more than that.
    runs : tuple of PlannedRun
        Empty when the difference is not to be had by riding.
    rows : tuple of PlanRow
    choices : tuple of MeasureChoice
        Which measure would show the same change with the fewest runs, best first; empty without logs.
    strips : tuple of Strip
        Lengths of strip needed.
    source : str
        Where runs beside the logs at hand came from, or why they did not; empty for neither.
    """

    measure: str
    unit: str
    shown_unit: str
    difference: float
    scatter: float
    scatter_df: float
    scatter_source: str
    names: tuple[str, str]
    runs_each: int
    runs: tuple[PlannedRun, ...]
    rows: tuple[PlanRow, ...]
    choices: tuple[MeasureChoice, ...] = ()
    strips: tuple[Strip, ...] = ()
    safety: tuple[str, ...] = field(default=SAFETY)
    source: str = ""

    @property
    def possible(self) -> bool:
        """Whether riding can show the difference."""
        return bool(self.runs)

    @property
    def order(self) -> str:
        """The runs as letters: A the first setup, B the second."""
        return "".join("A" if run.setup == self.names[0] else "B" for run in self.runs)

    @property
    def looks(self) -> tuple[tuple[int, float], ...]:
        """When to look, and below which p-value to claim: (runs each, p) twice where the first half is balanced."""
        half = self.runs_each // 2
        if half >= 3 and balanced(self.order[: 2 * half]):
            return (half, FIRST_LOOK_P), (self.runs_each, LAST_LOOK_P)
        return ((self.runs_each, settings.CLAIM_LEVEL),)

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON document."""
        return {
            "schema": SCHEMA,
            "measure": self.measure,
            "unit": self.unit,
            "difference": number(self.difference),
            "scatter": number(self.scatter),
            "scatter_df": number(self.scatter_df),
            "scatter_source": self.scatter_source,
            "setups": list(self.names),
            "possible": self.possible,
            "runs_each": self.runs_each if self.possible else None,
            "runs": [run.to_dict() for run in self.runs],
            "smallest_shown": [row.to_dict() for row in self.rows],
            "looks": [{"after_runs_each": n, "claim_below_p": p} for n, p in self.looks] if self.possible else [],
            "measures": [choice.to_dict() for choice in self.choices],
            "strips": [strip.to_dict() for strip in self.strips],
            "safety": list(self.safety),
            "source": self.source or None,
        }

    def to_frame(self) -> pd.DataFrame:
        """Return the run sheet as a pandas frame."""
        import pandas as pd

        return pd.DataFrame(
            [run.to_dict() for run in self.runs], columns=["order", "setup", "direction", "mount_first"]
        )

    def __str__(self) -> str:
        factor = SHOWN_UNITS[self.shown_unit]
        sought = f"{round_half_up(self.difference / factor, 2)} {self.shown_unit} in {self.measure}"
        if not self.possible:
            return f"a difference of {sought} takes more than {MOST_PLANNED} runs of each setup"
        return f"a difference of {sought}: {self.runs_each} runs of each setup, in the order {self.order}"


def plan_runs(
    *,
    measure: Measure,
    difference: float,
    scatter: float | None = None,
    scatter_df: float = 0.0,
    typical: float | None = None,
    names: tuple[str, str] = ("A", "B"),
    directions: tuple[str, str] = ("out", "back"),
    more_swaps: bool = False,
    shown_unit: str = "s",
    choices: Sequence[MeasureChoice] = (),
    strips: Sequence[Strip] = (),
    source: str = "",
) -> Plan:
    """Return the plan that shows `difference` with 80 % power at 5 %.

    Parameters
    ----------
    measure : Measure
    difference : float
        Worth finding, in s or m/s.
    scatter, scatter_df : float
        The rider's own run-to-run standard deviation; without it the usual share of `typical`.
    typical : float, optional
        Typical value of the measure, in s or m/s.
    names, directions : (str, str)
        Of the setups and of the two ways.
    more_swaps : bool
        A|BB|AA|BB|A instead of AA|BBBB|AA: when a warm-up or the fitting itself is feared to matter.

    Raises
    ------
    UsageError
        If a number is not above 0 or both setups have one name.
    """
    if not (math.isfinite(difference) and difference > 0):
        raise UsageError(f"a difference of {difference:g} is not possible", advice="give a number above 0")
    if names[0] == names[1]:
        raise UsageError(f"both setups are called {names[0]!r}", advice="give them different names")
    nature = quantity(measure)
    size = typical if typical is not None else settings.TYPICAL_TIME_S
    own = OwnScatter(sd=scatter, df=scatter_df) if scatter is not None else None
    start = working_scatter(size, nature.scatter_share, own)
    tau = nature.drift_share * size
    n = _needed(difference, start, tau, more_swaps)
    return Plan(
        measure=measure.label,
        unit=nature.unit,
        shown_unit=shown_unit,
        difference=difference,
        scatter=start.sd,
        scatter_df=start.own_df,
        scatter_source=_source(own, nature.scatter_share),
        names=names,
        runs_each=n,
        runs=tuple(run_sheet(n, names, directions, more_swaps)) if n <= MOST_PLANNED else (),
        rows=tuple(plan_row(k, start, tau, more_swaps) for k in TABLE_RUNS),
        choices=tuple(choices),
        strips=tuple(strips),
        source=source,
    )


def _source(own: OwnScatter | None, share: float) -> str:
    if own is None:
        return f"usual for riders: {100 * share:.1f} % of the value"
    return f"your own, {own.df:g} degrees of freedom" if own.df else "as you stated"


def runs_to_show(measure: Measure, difference: float, typical: float, own: OwnScatter | None = None) -> int:
    """Return how many runs of each setup a plan takes to show a difference; `MOST_PLANNED` + 1 for more than that.

    `difference`, `typical` and the scatter are in s or m/s.
    """
    nature = quantity(measure)
    start = working_scatter(typical, nature.scatter_share, own)
    return _needed(difference, start, nature.drift_share * typical, more_swaps=False)


def _needed(difference: float, start: WorkingScatter, tau: float, more_swaps: bool) -> int:
    """The fewest runs each, an even number so that each setup goes as often one way as the other."""
    for n in range(2, MOST_PLANNED + 1, 2):
        if plan_row(n, start, tau, more_swaps).smallest <= difference:
            return n
    return MOST_PLANNED + 1


def sequence(runs_each: int, more_swaps: bool = False) -> str:
    """Return the order of runs: AABBBBAA and its like, or ABBAABBA with more swaps; neither setup runs later."""
    if more_swaps:
        return ("ABBA" * (runs_each // 2)) + ("AB" if runs_each % 2 else "")
    if runs_each > 6:
        return sequence(4) + sequence(runs_each - 4)
    first = runs_each // 2
    return "A" * first + "B" * runs_each + "A" * (runs_each - first)


def balanced(order: str) -> bool:
    """Whether both setups have as many runs, and none ran later than the other by more than a run on average."""
    places = {letter: [i for i, x in enumerate(order) if x == letter] for letter in "AB"}
    if len(places["A"]) != len(places["B"]) or not order:
        return False
    return abs(sum(places["A"]) - sum(places["B"])) <= len(places["A"])


def run_sheet(
    runs_each: int, names: tuple[str, str], directions: tuple[str, str], more_swaps: bool = False
) -> list[PlannedRun]:
    """Return the runs in order, out and back in turn; `mount` where the other part goes on first."""
    order = sequence(runs_each, more_swaps)
    return [
        PlannedRun(
            place=i + 1,
            setup=names[0] if letter == "A" else names[1],
            direction=directions[i % 2],
            mount=i == 0 or letter != order[i - 1],
        )
        for i, letter in enumerate(order)
    ]


def plan_row(runs_each: int, start: WorkingScatter, tau: float, more_swaps: bool = False) -> PlanRow:
    """Return what so many runs of each setup, ridden by the run sheet, can show when judged by this program."""
    planned = [
        Run(setup=run.setup, value=1.0, order=float(run.place), direction=run.direction)
        for run in run_sheet(runs_each, ("A", "B"), ("out", "back"), more_swaps)
    ]
    plan = layout(planned, "A")
    inverse = np.linalg.inv(plan.columns.T @ plan.columns)
    lever = 0.0 if plan.fits_drift else float((inverse @ plan.columns.T)[0] @ plan.order)
    variance = float(inverse[0, 0]) * start.sd**2
    total = variance + (lever * tau) ** 2
    df = plan.residual_df + start.prior_df(plan.residual_df)
    shown = noncentrality_for(settings.POWER, df * (total / variance) ** 2) * math.sqrt(total)
    return PlanRow(
        runs_each=runs_each,
        order=sequence(runs_each, more_swaps),
        fitted=_fitted(plan),
        df=df,
        smallest=shown,
        smallest_plain=smallest_shown(runs_each) * start.sd,
    )


def _fitted(plan: Layout) -> tuple[str, ...]:
    return tuple(word for word, fits in (("direction", plan.fits_direction), ("drift", plan.fits_drift)) if fits)
