"""One log in a picture: the whole ride with its launches and passes, and the launches laid over each other."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from traceanalyze.plots.style import INK, dress, look, new_figure, plain
from traceanalyze.results import Launch, RunSheet
from traceanalyze.trace import FloatArray, Trace
from traceanalyze.units import SPEED_UNITS, System, speed_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

#: More points than this across a picture cannot be seen; the envelope of the rest is drawn.
MOST_POINTS = 6000
#: How long before the start mark a launch is drawn [s].
LEAD_S = 1.0


def drive_figure(trace: Trace, sheet: RunSheet, system: System, start_rule: str) -> Figure:
    """Return the picture of one log: the ride above, its launches below."""
    figure = new_figure(9.0, 7.2 if sheet.launches else 4.2)
    axes = figure.subplots(2 if sheet.launches else 1, 1, squeeze=False)[:, 0]
    draw_ride(axes[0], trace, sheet, system)
    if sheet.launches:
        draw_launches(axes[1], trace, sheet.launches, system)
    return figure


def draw_ride(ax: Axes, trace: Trace, sheet: RunSheet, system: System) -> Axes:
    """Draw speed over time with launches (triangles) and passes (bars over the window held) marked."""
    unit = speed_unit(system)
    factor = SPEED_UNITS[unit]
    t_s, speed_mps = thinned(*_with_breaks(trace))
    ax.plot(t_s / 60, speed_mps / factor, color=look(0).color, linewidth=0.9)
    for launch in sheet.launches:
        ax.plot(launch.start.value / 60, 0, marker="^", color=look(1).color, markersize=9, clip_on=False, zorder=3)
        ax.annotate(str(launch.number), (launch.start.value / 60, 0), xytext=(0, 9), textcoords="offset points",
                    ha="center", color=INK)  # fmt: skip
    for one in sheet.passes:
        begin, level = one.window_start_s, one.sustained.value / factor
        ax.plot([begin / 60, (begin + one.window_s) / 60], [level, level], color=INK, linewidth=4,
                solid_capstyle="butt", zorder=3)  # fmt: skip
        ax.annotate(f"pass {one.number}\n{level:.1f}", (begin / 60, level), xytext=(0, 5), textcoords="offset points",
                    ha="center", va="bottom", color=INK, fontsize=8)  # fmt: skip
    top = np.nanmax(speed_mps, initial=1.0) / factor
    ax.set_ylim(0, (1.2 if sheet.passes else 1.08) * top)
    title = f"{plain(_short(sheet.path))}: speed over the ride (triangle: launch; bar: sustained speed of a pass)"
    return dress(ax, title=title, xlabel="time from the start of the log [min]", ylabel=f"speed [{unit}]")


def draw_launches(ax: Axes, trace: Trace, launches: tuple[Launch, ...], system: System) -> Axes:
    """Draw speed since the start mark for each launch, laid over each other."""
    unit = speed_unit(system)
    factor = SPEED_UNITS[unit]
    for k, launch in enumerate(launches):
        curve = launch.curve
        if curve is None or not np.isfinite(curve.time_s).any():
            continue
        style = look(k)
        good = np.isfinite(curve.time_s)
        ax.plot(curve.time_s[good], curve.speed_mps[good] / factor, color=style.color, linestyle=style.dashes,
                marker=style.marker, markevery=max(1, int(good.sum()) // 8), markersize=4.5, linewidth=1.4,
                label=f"launch {launch.number}")  # fmt: skip
    ax.axvline(0, color=INK, linewidth=0.8)
    ax.set_ylim(0, None)
    if launches and len(launches) <= 12:
        ax.legend(loc="lower right", frameon=False, ncols=2)
    title = "each launch since its start mark (clock starts after 0.3048 m = 1 ft of rolling)"
    return dress(ax, title=title, xlabel="time since the start mark [s]", ylabel=f"speed [{unit}]")


def _with_breaks(trace: Trace) -> tuple[FloatArray, FloatArray]:
    """Put a NaN where the record has a hole, so that no line is drawn across it."""
    t_s, speed_mps = trace.t_s, trace.speed_mps
    if t_s.size < 3:
        return t_s, speed_mps
    step_s = np.diff(t_s)
    holes = np.flatnonzero((step_s > 3.5 * np.median(step_s)) | (np.diff(trace.stretch) > 0)) + 1
    return np.insert(t_s, holes, t_s[holes]), np.insert(speed_mps, holes, np.nan)


def thinned(t_s: FloatArray, speed_mps: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return at most about `MOST_POINTS` points: the lowest and the highest of each slice, in order of time."""
    if t_s.size <= MOST_POINTS:
        return t_s, speed_mps
    size = -(-t_s.size * 2 // MOST_POINTS)
    whole = t_s.size // size * size
    slices = speed_mps[:whole].reshape(-1, size)
    low = np.argmin(np.where(np.isfinite(slices), slices, np.inf), axis=1)
    high = np.argmax(np.where(np.isfinite(slices), slices, -np.inf), axis=1)
    offset = np.arange(slices.shape[0]) * size
    missing = np.isnan(slices)
    hole = (offset + np.argmax(missing, axis=1))[missing.any(axis=1)]
    keep = np.unique(np.concatenate([offset + low, offset + high, hole, np.arange(whole, t_s.size)]))
    return t_s[keep], speed_mps[keep]


def _short(path: str) -> str:
    return path.replace("\\", "/").rsplit("/", 1)[-1][-60:]
