"""A second scale of engine speed beside road speed: above or at the right of axes, with the builder's limit."""

from __future__ import annotations

from typing import TYPE_CHECKING

from traceanalyze.plots.style import INK, SCALE_IN, TEXT_SIZE, titled
from traceanalyze.vehicle.engine import EngineSpeeds

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_LABEL = "engine speed [rpm]"
_LIMIT_DASHES = (0, (1, 3))


def engine_axis_above(ax: Axes, engine: EngineSpeeds, factor: float) -> Axes:
    """Put engine speeds above axes whose x is road speed in a unit of `factor` m/s; nothing without a shared gearing.

    Call it last: it goes by the limits of the axes.
    """
    low, high = ax.get_xlim()
    limit = engine.limit_mps() / factor
    if low < limit < high:
        ax.axvline(limit, color=INK, linewidth=1.4, linestyle=_LIMIT_DASHES)
        ax.annotate(
            "your limit ", (limit, 0.04), xycoords=("data", "axes fraction"), ha="right", fontsize=TEXT_SIZE - 1
        )
    if ticks := engine.ticks(low * factor, high * factor):
        scale = ax.secondary_xaxis("top")
        scale.set_xticks([speed / factor for speed, _ in ticks], [f"{rpm:.0f}" for _, rpm in ticks])
        scale.set_xlabel(_LABEL, loc="right")
        titled(ax, ax.get_title(loc="left"), above_in=SCALE_IN)
    return ax


def engine_axis_right(ax: Axes, engine: EngineSpeeds, factor: float) -> Axes:
    """As `engine_axis_above`, at the right of axes whose y is road speed."""
    low, high = ax.get_ylim()
    limit = engine.limit_mps() / factor
    if low < limit < high:
        ax.axhline(limit, color=INK, linewidth=1.4, linestyle=_LIMIT_DASHES)
        ax.annotate(
            "your limit", (0.01, limit), xycoords=("axes fraction", "data"), va="bottom", fontsize=TEXT_SIZE - 1
        )
    if ticks := engine.ticks(low * factor, high * factor):
        scale = ax.secondary_yaxis("right")
        scale.set_yticks([speed / factor for speed, _ in ticks], [f"{rpm:.0f}" for _, rpm in ticks])
        scale.set_ylabel(_LABEL, loc="top")
    return ax
