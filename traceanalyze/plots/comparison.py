"""Two setups compared, in a picture: every run, the difference with its interval, and both over the speed range."""

from __future__ import annotations

from textwrap import fill
from typing import TYPE_CHECKING

import numpy as np

from traceanalyze.comparison import SHOWN_UNITS, Comparison, CurveComparison, MeasureComparison
from traceanalyze.plots.engine_axis import engine_axis_above
from traceanalyze.plots.stack import Part, stacked
from traceanalyze.plots.style import GRID, INK, dress, look, plain
from traceanalyze.units import SPEED_UNITS, System, speed_unit
from traceanalyze.vehicle.engine import NO_ENGINE, EngineSpeeds

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

RULES = {
    "rollout": "clock starts after 0.3048 m (1 ft) of rolling",
    "rest": "clock starts at the onset of motion",
    "threshold": "clock starts at 1 km/h",
}
#: The parts from top to bottom.
_RUNS, _DIFFERENCE, _TIMES, _ACCELERATIONS = Part(1.25), Part(0.65), Part(1.9, title_lines=2), Part(1.9)
#: Characters of a line of the sentence above them.
_LINE = 88


def comparison_figure(comparison: Comparison, system: System, engine: EngineSpeeds = NO_ENGINE) -> Figure:
    """Return the picture of a comparison: the sentence, a dot per run, the difference, and the curves over speed.

    `engine` puts engine speeds above road speeds where both setups share one gearing.
    """
    head, curves = comparison.headline, comparison.curves
    parts = [_RUNS, *([_DIFFERENCE] if np.isfinite(head.low95) else [])]
    if curves:
        parts += [_TIMES._replace(scale_above=engine.train is not None), _ACCELERATIONS]
    figure, axes = stacked(8.0, parts, head=fill(plain(head.why), _LINE), foot=engine.note if curves else "")
    draw_runs(axes.pop(0), head)
    if np.isfinite(head.low95):
        draw_difference(axes.pop(0), head)
    if curves is not None:
        factor = SPEED_UNITS[speed_unit(system)]
        engine_axis_above(draw_time_difference(axes[0], curves, comparison, system), engine, factor)
        draw_accelerations(axes[1], curves, comparison, system)
        axes[1].set_xlim(axes[0].get_xlim())
    return figure


def draw_runs(ax: Axes, one: MeasureComparison) -> Axes:
    """Draw a dot per run with its own uncertainty, and the mean of each setup."""
    factor = SHOWN_UNITS[one.shown_unit]
    sides = ((one.baseline, one.baseline_runs, one.baseline_mean), (one.changed, one.changed_runs, one.changed_mean))
    for k, (name, runs, mean) in enumerate(sides):
        style = look(k)
        ax.annotate(f"{plain(name)[:60]} (n = {len(runs)})", (0.01, 0.42 - k), xycoords=("axes fraction", "data"),
                    fontweight="bold", parse_math=False)  # fmt: skip
        values = np.array([run.value for run in runs]) / factor
        errors = np.array([run.stderr for run in runs]) / factor
        ax.errorbar(values, np.full(values.size, -k, float), xerr=errors, fmt=style.marker, color=style.color,
                    markersize=8, markerfacecolor="white", markeredgewidth=1.6, elinewidth=1,
                    linestyle="none")  # fmt: skip
        if np.isfinite(mean):
            ax.plot([mean / factor] * 2, [-k - 0.3, -k + 0.3], color=style.color, linewidth=2.4)
    ax.set_yticks([0, -1], ["", ""])
    ax.set_ylim(-1.5, 0.9)
    rule = f" ({RULES[one.start_rule]})" if one.start_rule else ""
    title = "every run with its standard uncertainty; the bar is the mean"
    return dress(ax, title=title, xlabel=f"{plain(one.measure)} [{one.shown_unit}]{rule}", ylabel="")


def draw_difference(ax: Axes, one: MeasureComparison) -> Axes:
    """Draw the difference with its 95 % interval beside no difference and the smallest that matters."""
    factor = SHOWN_UNITS[one.shown_unit]
    low, middle, high = (value / factor for value in (one.low95, one.difference, one.high95))
    smallest = one.smallest_meaningful / factor
    ax.axvspan(-smallest, smallest, color=GRID, alpha=0.5, linewidth=0)
    ax.axvline(0, color=INK, linewidth=1)
    ax.plot([low, high], [0, 0], color=INK, linewidth=2.2, marker="|", markersize=12, markeredgewidth=2)
    ax.plot([middle], [0], color=INK, marker="D", markersize=8)
    ax.set_yticks([])
    ax.set_ylim(-1, 1)
    side = "left" if one.smaller_is_better else "right"
    title = f"difference with its 95 % interval; {side} of zero is better; grey: too small to matter"
    label = f"{plain(one.changed)[:34]} minus {plain(one.baseline)[:34]} [{one.shown_unit}]"
    dress(ax, title=title, xlabel="", ylabel="").set_xlabel(label, parse_math=False)
    return ax


def draw_time_difference(ax: Axes, curves: CurveComparison, comparison: Comparison, system: System) -> Axes:
    """Draw the time difference over speed with the band that holds over the whole range at once."""
    unit = speed_unit(system)
    speed = curves.speed_mps / SPEED_UNITS[unit]
    ax.fill_between(speed, curves.time_low95_s, curves.time_high95_s, color=INK, alpha=0.16, linewidth=0)
    ax.plot(speed, curves.time_difference_s, color=INK, linewidth=2.2)
    for edge in (curves.time_low95_s, curves.time_high95_s):
        ax.plot(speed, edge, color=INK, linewidth=0.8, linestyle=(0, (4, 2)))
    ax.axhline(0, color=INK, linewidth=1)
    ax.set_xlim(0, None)
    title = f"time to each speed: {plain(comparison.changed)[:30]} minus {plain(comparison.baseline)[:30]}\n" + (
        "below zero: quicker; the band holds over all speeds at once, 95 times in 100"
    )
    return dress(ax, title=title, xlabel=f"speed [{unit}]", ylabel="time difference [s]")


def draw_accelerations(ax: Axes, curves: CurveComparison, comparison: Comparison, system: System) -> Axes:
    """Draw acceleration over speed of both setups; around the changed one the band of their difference."""
    unit = speed_unit(system)
    speed = curves.speed_mps / SPEED_UNITS[unit]
    low, high = (curves.baseline_accel_mps2 + edge for edge in (curves.accel_low95_mps2, curves.accel_high95_mps2))
    ax.fill_between(speed, low, high, color=look(1).color, alpha=0.18, linewidth=0)
    both = ((comparison.baseline, curves.baseline_accel_mps2), (comparison.changed, curves.changed_accel_mps2))
    for k, (name, accel) in enumerate(both):
        style = look(k)
        ax.plot(speed, accel, color=style.color, linestyle=style.dashes, linewidth=2.2, marker=style.marker,
                markevery=max(1, speed.size // 9), markersize=6, label=plain(name)[:40])  # fmt: skip
    ax.set_ylim(0, None)
    for text in ax.legend(loc="lower left", frameon=False, handlelength=4).get_texts():
        text.set_parse_math(False)
    title = "acceleration over speed, means; the band is that of their difference, over all speeds at once"
    return dress(ax, title=title, xlabel=f"speed [{unit}]", ylabel="acceleration [m/s²]")
