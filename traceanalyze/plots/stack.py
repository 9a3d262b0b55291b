"""Pictures of axes one above another, with known room for the texts around them: nothing needs measuring first."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from traceanalyze.plots.style import SCALE_IN, TEXT_SIZE, new_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

#: Room [in] for texts of `style.TEXT_SIZE`: a line of a title; what a title keeps off; ticks with numbers and a label
#: below axes; such a scale at the right, and half a number where there is none; a line of notes at the foot.
_TITLE_LINE_IN, _TITLE_OFF_IN, _BELOW_IN, _RIGHT_IN, _NO_SCALE_IN, _FOOT_IN = 0.185, 0.12, 0.5, 0.85, 0.2, 0.24
#: Where labels stand: below the axes, and from the left edge of the picture [in].
_XLABEL_IN, _YLABEL_IN = 0.31, 0.2
#: What the texts at the edges of the picture keep off them [in].
_EDGE_IN = 0.08
#: Room at the left [in] for numbers of six signs (`-0.125`), and of four (`12.5`).
LEFT_IN, NARROW_LEFT_IN = 0.85, 0.65


class Part(NamedTuple):
    """Axes of a picture: their height [in], the lines of their title, whether a second scale stands above them."""

    height_in: float
    title_lines: int = 1
    scale_above: bool = False

    @property
    def above_in(self) -> float:
        """Room for the texts above the axes [in]."""
        return self.title_lines * _TITLE_LINE_IN + _TITLE_OFF_IN + (SCALE_IN if self.scale_above else 0.0)


def stacked(
    width_in: float,
    parts: Sequence[Part],
    *,
    left_in: float = LEFT_IN,
    scale_right: bool = False,
    head: str = "",
    foot: str = "",
) -> tuple[Figure, list[Axes]]:
    """Return a figure as high as its parts need, and their axes from top to bottom.

    `scale_right` keeps room for a second scale; `head` is a sentence above everything, `foot` a note below.
    """
    head_in = (1 + head.count("\n")) * _TITLE_LINE_IN + _TITLE_OFF_IN if head else 0.0
    parts_in = sum(part.above_in + part.height_in + _BELOW_IN for part in parts)
    height_in = head_in + parts_in + (_FOOT_IN if foot else 0.0)
    figure = new_figure(width_in, height_in)
    edge: dict[str, Any] = {"x": _EDGE_IN / width_in, "ha": "left", "parse_math": False}
    if head:
        figure.suptitle(head, y=1 - _EDGE_IN / height_in, fontsize=TEXT_SIZE + 1, fontweight="bold", **edge)
    if foot:
        figure.supxlabel(foot, y=_EDGE_IN / height_in, fontsize=TEXT_SIZE - 1, **edge)
    wide_in = width_in - left_in - (_RIGHT_IN if scale_right else _NO_SCALE_IN)
    axes, top_in = [], height_in - head_in
    for part in parts:
        bottom_in = top_in - part.above_in - part.height_in
        place = (left_in / width_in, bottom_in / height_in, wide_in / width_in, part.height_in / height_in)
        ax = figure.add_axes(place)
        ax.xaxis.set_label_coords(0.5, -_XLABEL_IN / part.height_in)
        ax.yaxis.set_label_coords((_YLABEL_IN - left_in) / wide_in, 0.5)
        axes.append(ax)
        top_in = bottom_in - _BELOW_IN
    return figure, axes
