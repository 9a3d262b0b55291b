"""Two setups compared, in a picture: a dot per run with the means, and the time difference over speed with its band."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from traceanalyze.comparison import SHOWN_UNITS, Comparison, CurveComparison, MeasureComparison
from traceanalyze.plots.style import GRID, INK, dress, look, new_figure, plain
from traceanalyze.units import SPEED_UNITS, System, speed_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

RULES = {
    "rollout": "clock starts after 0.3048 m (1 ft) of rolling",
    "rest": "clock starts at the onset of motion",
    "threshold": "clock starts at 1 km/h",
}


def comparison_figure(comparison: Comparison, system: System) -> Figure:
    """Return the picture of a comparison: dots of the headline above, difference over speed below."""
    curves = comparison.curves
    figure = new_figure(8.0, 6.4 if curves is not None else 3.0)
    rows = 2 if curves is not None else 1
    ratios = {"height_ratios": [1, 2]} if curves is not None else None
    axes = figure.subplots(rows, 1, squeeze=False, gridspec_kw=ratios)[:, 0]
    draw_runs(axes[0], comparison.headline)
    if curves is not None:
        draw_time_difference(axes[1], curves, comparison, system)
    return figure


def draw_runs(ax: Axes, one: MeasureComparison) -> Axes:
    """Draw a dot per run with its own uncertainty, and the mean of each setup."""
    factor = SHOWN_UNITS[one.shown_unit]
    sides = ((one.baseline, one.baseline_runs, one.baseline_mean), (one.changed, one.changed_runs, one.changed_mean))
    for k, (_, runs, mean) in enumerate(sides):
        style = look(k)
        values = np.array([run.value for run in runs]) / factor
        errors = np.array([run.stderr for run in runs]) / factor
        ax.errorbar(values, np.full(values.size, -k, float), xerr=errors, fmt=style.marker, color=style.color,
                    markersize=8, markerfacecolor="white", markeredgewidth=1.6, elinewidth=1,
                    linestyle="none")  # fmt: skip
        if np.isfinite(mean):
            ax.plot([mean / factor] * 2, [-k - 0.3, -k + 0.3], color=style.color, linestyle=style.dashes, linewidth=2.4)
    ax.set_yticks([0, -1], [f"{plain(name)[:28]} (n = {len(runs)})" for name, runs, _ in sides], parse_math=False)
    ax.set_ylim(-1.6, 0.6)
    rule = f" ({RULES[one.start_rule]})" if one.start_rule else ""
    title = f"{plain(one.measure)}: a dot per run with its standard uncertainty, the bar is the mean"
    return dress(ax, title=title, xlabel=f"{plain(one.measure)} [{one.shown_unit}]{rule}", ylabel="")


def draw_time_difference(ax: Axes, curves: CurveComparison, comparison: Comparison, system: System) -> Axes:
    """Draw the time difference over speed with the band that holds over the whole range at once."""
    unit = speed_unit(system)
    speed = curves.speed_mps / SPEED_UNITS[unit]
    style = look(1)
    ax.fill_between(speed, curves.time_low95_s, curves.time_high95_s, color=style.color, alpha=0.2, linewidth=0)
    ax.plot(speed, curves.time_difference_s, color=style.color, linewidth=2)
    for edge in (curves.time_low95_s, curves.time_high95_s):
        ax.plot(speed, edge, color=style.color, linewidth=0.8, linestyle=style.dashes)
    ax.axhline(0, color=INK, linewidth=1)
    for band in curves.bands:
        ax.axvline(band.to_mps / SPEED_UNITS[unit], color=GRID, linewidth=1.2)
    title = f"time to each speed: {plain(comparison.changed)[:30]} minus {plain(comparison.baseline)[:30]}\n" + (
        "below zero: quicker; the band holds over all speeds at once, 95 times in 100"
    )
    return dress(ax, title=title, xlabel=f"speed [{unit}]", ylabel="time difference [s]")
