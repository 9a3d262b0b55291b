"""Two or more setups in one picture: speed over time since the start mark, acceleration over speed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

import numpy as np

from traceanalyze.judge.groups import SetupCurves
from traceanalyze.plots.engine_axis import engine_axis_above, engine_axis_right
from traceanalyze.plots.stack import NARROW_LEFT_IN, Part, stacked
from traceanalyze.plots.style import INK, dress, look, plain
from traceanalyze.trace import FloatArray
from traceanalyze.units import SPEED_UNITS, System, speed_unit
from traceanalyze.vehicle.engine import NO_ENGINE, EngineSpeeds

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

START_WORDS = "the clock starts after 0.3048 m (1 ft) of rolling"


def overlay_figure(setups: Sequence[SetupCurves], system: System, engine: EngineSpeeds = NO_ENGINE) -> Figure:
    """Return the picture for sharing: speed over time above, acceleration over speed below.

    `engine` puts engine speeds beside road speeds where all setups share one gearing.
    """
    scale = engine.train is not None
    parts = (Part(3.3, title_lines=2), Part(3.3, scale_above=scale))
    figure, (above, below) = stacked(8.0, parts, left_in=NARROW_LEFT_IN, scale_right=scale, foot=engine.note)
    factor = SPEED_UNITS[speed_unit(system)]
    engine_axis_right(draw_speed_over_time(above, setups, system), engine, factor)
    engine_axis_above(draw_acceleration(below, setups, system), engine, factor)
    return figure


def draw_speed_over_time(ax: Axes, setups: Sequence[SetupCurves], system: System) -> Axes:
    """Draw every run thin and each setup's mean thick with the 95 % band of the mean."""
    unit = speed_unit(system)
    factor = SPEED_UNITS[unit]
    for k, setup in enumerate(setups):
        style = look(k)
        for run in setup.runs:
            ax.plot(
                run.time_s, run.speed_mps / factor, color=style.color, linestyle=style.dashes, linewidth=0.9, alpha=0.65
            )
        speed = setup.speed_mps / factor
        ax.fill_betweenx(speed, setup.time_low_s, setup.time_high_s, color=style.color, alpha=0.18, linewidth=0)
        _draw_mean(ax, setup.time_s, speed, k, _label(setup))
    ax.set_ylim(0, None)
    ax.axvline(0, color=INK, linewidth=0.8)
    _legend(ax, "lower right")
    title = f"speed since the start mark ({START_WORDS})\nthin: each run; thick: mean of the setup with its 95 % band"
    return dress(ax, title=title, xlabel="time since the start mark [s]", ylabel=f"speed [{unit}]")


def draw_acceleration(ax: Axes, setups: Sequence[SetupCurves], system: System) -> Axes:
    """Draw acceleration over speed: each setup's mean with the 95 % band of the mean."""
    unit = speed_unit(system)
    factor = SPEED_UNITS[unit]
    for k, setup in enumerate(setups):
        speed = setup.speed_mps / factor
        ax.fill_between(
            speed, setup.accel_low_mps2, setup.accel_high_mps2, color=look(k).color, alpha=0.18, linewidth=0
        )
        _draw_mean(ax, speed, setup.accel_mps2, k, _label(setup))
    ax.set_ylim(0, None)
    _legend(ax, "lower center")
    title = "acceleration over speed, mean of the setup with its 95 % band"
    return dress(ax, title=title, xlabel=f"speed [{unit}]", ylabel="acceleration [m/s²]")


def _draw_mean(ax: Axes, x: FloatArray, y: FloatArray, k: int, label: str) -> None:
    style = look(k)
    good = np.isfinite(x) & np.isfinite(y)
    every = max(1, int(good.sum()) // 9)
    ax.plot(x[good], y[good], color=style.color, linestyle=style.dashes, linewidth=2.2, marker=style.marker,
            markevery=(k * every // 2 % max(every, 1), every), markersize=6, label=label)  # fmt: skip


def _label(setup: SetupCurves) -> str:
    return f"{plain(setup.name)[:40]} ({len(setup.runs)} run{'' if len(setup.runs) == 1 else 's'})"


def _legend(ax: Axes, place: Literal["lower right", "lower center"]) -> None:
    if ax.get_legend_handles_labels()[0]:
        for text in ax.legend(loc=place, frameon=False, handlelength=4).get_texts():
            text.set_parse_math(False)
