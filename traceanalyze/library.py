"""The functions of `import traceanalyze as ta` that are not those of a single room."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

from traceanalyze.errors import SignalError
from traceanalyze.judge.groups import launch_curves, setup_curves
from traceanalyze.plots.overlay import draw_speed_over_time
from traceanalyze.plots.stack import NARROW_LEFT_IN, Part, stacked
from traceanalyze.results import RunSheet
from traceanalyze.session import Asked, study_trace
from traceanalyze.settings import DEFAULT_MEASURES
from traceanalyze.trace import Trace
from traceanalyze.units import Measure, StartRule, System, parse_measure, parse_window

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def measure(
    trace: Trace,
    *,
    measures: Sequence[str | Measure] = DEFAULT_MEASURES,
    start_rule: StartRule = "rollout",
    window: str = "1s",
) -> RunSheet:
    """Return the launches and passes of a trace, each with its uncertainty.

    Parameters
    ----------
    trace : Trace
        As `read` gives it; it is cleaned first.
    measures : sequence
        What to time, such as `"0-30 mph"` or `"60 ft"`. Every start rule is reported with each.
    start_rule : str
        The rule that printed summaries use.
    window : str
        Window of the sustained speed, such as `"1s"` or `"100m"`.

    Raises
    ------
    UsageError
        If a measure or the window is not of a known form.
    SignalError
        If no speed can be had from the trace.
    """
    wanted = tuple(one if isinstance(one, Measure) else parse_measure(one) for one in measures)
    asked = Asked(measures=wanted, start_rule=start_rule, window=parse_window(window))
    return study_trace(trace, asked).sheet


def overlay(
    setups: Mapping[str, RunSheet | Iterable[RunSheet]], *, ax: Axes | None = None, system: System = "imperial"
) -> Axes:
    """Return axes with the launches of each setup over time since the start mark, and each setup's mean.

    Parameters
    ----------
    setups : mapping of name to one or several RunSheet
    ax : matplotlib Axes, optional
        Drawn on when given; else new axes on a new figure without a screen.

    Raises
    ------
    SignalError
        If no setup has a launch.
    """
    groups = []
    for name, sheets in setups.items():
        each = [sheets] if isinstance(sheets, RunSheet) else list(sheets)
        groups.append(setup_curves(name, launch_curves([launch for one in each for launch in one.launches])))
    if not any(group.runs for group in groups):
        raise SignalError("no setup has a launch to draw")
    if ax is None:
        _, [ax] = stacked(8.0, [Part(3.6, title_lines=2)], left_in=NARROW_LEFT_IN)
    return draw_speed_over_time(ax, groups, system)
