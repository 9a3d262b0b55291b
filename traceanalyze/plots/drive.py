"""One log in a picture: the whole ride with its launches and passes, and the launches laid over each other."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from traceanalyze.plots.stack import NARROW_LEFT_IN, Part, stacked
from traceanalyze.plots.style import FAINT, INK, Look, dress, halo, look, plain
from traceanalyze.plots.timeline import MinuteAxis, minute_axis, roomy, roomy_numbers, thinned, with_breaks
from traceanalyze.results import Launch, Pass, RunSheet
from traceanalyze.trace import Trace
from traceanalyze.units import SPEED_UNITS, System, speed_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

#: How many launches are told apart in one picture: five looks, each with full and with open markers.
MOST_TOLD_APART = 10
#: A launch that takes longer than this many times the middle one is cut off at the right edge.
LONGEST_SHARE = 1.6
#: Room the name of a pass takes, as shares of the width and the height of the axes.
PASS_LABEL = (0.062, 0.12)


def drive_figure(trace: Trace, sheet: RunSheet, system: System, start_rule: str) -> Figure:
    """Return the picture of one log: the ride above, its launches below."""
    parts = [Part(2.8)] * 2 if sheet.launches else [Part(3.4)]
    figure, axes = stacked(9.0, parts, left_in=NARROW_LEFT_IN)
    draw_ride(axes[0], trace, sheet, system)
    if sheet.launches:
        draw_launches(axes[1], sheet.launches, system, start_rule)
    return figure


def draw_ride(ax: Axes, trace: Trace, sheet: RunSheet, system: System) -> Axes:
    """Draw speed over time with launches (triangles) and passes (bars over the window held) marked."""
    unit = speed_unit(system)
    time = minute_axis(trace)
    t_s, speed_mps = thinned(*with_breaks(trace))
    speed = speed_mps / SPEED_UNITS[unit]
    ax.plot(time.at(t_s), speed, color=look(0).color, linewidth=0.9)
    top = float(np.nanmax(speed, initial=1.0))
    ax.set_ylim(0, (1.22 if sheet.passes else 1.08) * top)
    _mark_launches(ax, sheet.launches, time)
    _mark_passes(ax, sheet.passes, time, SPEED_UNITS[unit])
    told = " (▲ launch, ▬ sustained speed of a pass)" if sheet.launches or sheet.passes else ""
    title = f"{plain(_short(sheet.path))}: speed over the ride{told}"
    return dress(ax, title=title, xlabel=time.label, ylabel=f"speed [{unit}]")


def _mark_launches(ax: Axes, launches: Sequence[Launch], time: MinuteAxis) -> None:
    starts = np.array([time.at(launch.start.value) for launch in launches])
    size = 9 if len(launches) <= MOST_TOLD_APART else 6
    ax.plot(starts, np.zeros(starts.size), marker="^", color=look(1).color, markersize=size, linestyle="none",
            clip_on=False, zorder=3)  # fmt: skip
    for k in roomy_numbers(starts / time.length, [launch.number for launch in launches]):
        ax.annotate(str(launches[k].number), (starts[k], 0), xytext=(0, size), textcoords="offset points",
                    ha="center", color=INK, fontsize=9, path_effects=halo())  # fmt: skip


def _mark_passes(ax: Axes, passes: Sequence[Pass], time: MinuteAxis, factor: float) -> None:
    begins = np.array([time.at(one.window_start_s) for one in passes])
    levels = np.array([one.sustained.value / factor for one in passes])
    for one, begin, level in zip(passes, begins, levels, strict=True):
        ax.plot([begin, begin + one.window_s / time.unit_s], [level, level], color=INK, linewidth=4,
                solid_capstyle="butt", zorder=3)  # fmt: skip
    for k in roomy(begins / time.length, levels / ax.get_ylim()[1], PASS_LABEL, first=np.argsort(-levels)):
        ax.annotate(f"pass {passes[k].number}\n{levels[k]:.1f}", (begins[k], levels[k]), xytext=(0, 5),
                    textcoords="offset points", ha="center", va="bottom", color=INK, fontsize=8,
                    path_effects=halo())  # fmt: skip


def draw_launches(ax: Axes, launches: Sequence[Launch], system: System, start_rule: str) -> Axes:
    """Draw speed since the start mark for each launch, laid over each other."""
    drawn = [launch for launch in launches if launch.curve is not None and np.isfinite(launch.curve.time_s).any()]
    unit = speed_unit(system)
    if len(drawn) <= MOST_TOLD_APART:
        for k, launch in enumerate(drawn):
            _draw_launch(ax, launch, SPEED_UNITS[unit], look(k), label=f"launch {launch.number}", hollow=k >= 5)
    else:
        _draw_many(ax, drawn, SPEED_UNITS[unit], start_rule)
    ax.axvline(0, color=INK, linewidth=0.8)
    ax.set_ylim(0, None)
    if drawn:
        ends = [float(np.nanmax(launch.curve.time_s)) for launch in drawn if launch.curve is not None]
        right_s = 1.03 * min(max(ends), LONGEST_SHARE * float(np.median(ends)))
        begins = [float(np.nanmin(launch.curve.time_s)) for launch in drawn if launch.curve is not None]
        ax.set_xlim(min(begins) - 0.02 * right_s, right_s)
        columns = 2 if 3 < len(drawn) <= MOST_TOLD_APART else 1
        ax.legend(loc="lower right", framealpha=0.85, edgecolor="none", ncols=columns, handlelength=3.5)
    title = "each launch since its start mark (clock starts after 0.3048 m = 1 ft of rolling)"
    return dress(ax, title=title, xlabel="time since the start mark [s]", ylabel=f"speed [{unit}]")


def _draw_many(ax: Axes, launches: Sequence[Launch], factor: float, start_rule: str) -> None:
    """Draw more launches than can be told apart: all thin and grey, the quickest and the middle one set off."""
    for launch in launches:
        _draw_launch(ax, launch, factor, Look(FAINT, "-", "None"), width=0.8)
    ranked = _ranked(launches, start_rule)
    if not ranked:
        return
    measure, order = ranked
    for k, (word, launch) in enumerate((("quickest", order[0]), ("middle one", order[len(order) // 2]))):
        label = f"{word} of {len(order)} to {measure.split('-')[-1]}: launch {launch.number}"
        _draw_launch(ax, launch, factor, look(k), label=label, width=2)


def _ranked(launches: Sequence[Launch], start_rule: str) -> tuple[str, list[Launch]] | None:
    """Return the speed from rest that most launches reached, and those launches from quickest to slowest."""
    times: dict[str, list[tuple[float, Launch]]] = {}
    for launch in launches:
        for result in launch.times:
            if result.start_rule == start_rule and "-" in result.measure:
                times.setdefault(result.measure, []).append((result.elapsed.value, launch))
    if not times:
        return None
    measure = max(times, key=lambda name: len(times[name]))
    return measure, [launch for _, launch in sorted(times[measure], key=lambda pair: pair[0])]


def _draw_launch(
    ax: Axes, launch: Launch, factor: float, style: Look, *, label: str = "", width: float = 1.4, hollow: bool = False
) -> None:
    curve = launch.curve
    assert curve is not None
    good = np.isfinite(curve.time_s)
    ax.plot(curve.time_s[good], curve.speed_mps[good] / factor, color=style.color, linestyle=style.dashes,
            marker=style.marker, markevery=max(1, int(good.sum()) // 8), markersize=4.5, linewidth=width,
            markerfacecolor="white" if hollow else style.color, label=label or "_")  # fmt: skip


def _short(path: str) -> str:
    name = Path(path).name
    return name if len(name) <= 40 else f"…{name[-39:]}"
