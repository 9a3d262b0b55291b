"""The fixed layout: in every kind of picture each text is whole, and none lies over another."""

from itertools import combinations

import pytest

from tests.judge.sheets import spring_day
from tests.plots.test_comparison import NAMES
from tests.plots.test_drive import ride, sheet
from tests.plots.test_overlay import groups, train
from traceanalyze.judge.logs import compare
from traceanalyze.plots.comparison import comparison_figure
from traceanalyze.plots.drive import drive_figure
from traceanalyze.plots.overlay import overlay_figure
from traceanalyze.plots.stack import Part, stacked
from traceanalyze.plots.style import dress
from traceanalyze.vehicle.engine import engine_speeds

GEARED = engine_speeds({"a": train(), "b": train(max_engine_rpm=3900.0)})
UNLIKE = engine_speeds({"a": train(), "b": train(tyre_circumference_m=1.4)})


def texts_of(ax):
    """Title, labels and the numbers that are shown of axes and of the scales beside them."""
    yield from (ax.title, ax._left_title, ax._right_title, ax.xaxis.label, ax.yaxis.label)
    for axis in (ax.xaxis, ax.yaxis):
        low, high = sorted(axis.get_view_interval())
        yield from (tick.label1 for tick in axis.get_major_ticks() if low <= tick.get_loc() <= high)
        yield from (tick.label2 for tick in axis.get_major_ticks() if low <= tick.get_loc() <= high)
    for child in ax.child_axes:
        yield from texts_of(child)


def outside_the_axes(figure):
    """Boxes of all texts that stand around axes, by what they say."""
    figure.draw_without_rendering()
    texts = [text for ax in figure.axes for text in texts_of(ax)]
    texts += [text for text in (figure._suptitle, figure._supxlabel) if text is not None]
    return [(text.get_text(), text.get_window_extent()) for text in texts if text.get_visible() and text.get_text()]


def assert_readable(figure):
    found = outside_the_axes(figure)
    assert len(found) > 8
    width, height = figure.bbox.width, figure.bbox.height
    cut = [text for text, box in found if box.x0 < 0 or box.y0 < 0 or box.x1 > width or box.y1 > height]
    assert cut == []
    assert [(a, b) for (a, one), (b, other) in combinations(found, 2) if one.overlaps(other)] == []


@pytest.mark.parametrize(("launches", "passes"), [(0, 0), (10, 8)])
def test_the_picture_of_a_log(launches, passes):
    assert_readable(drive_figure(ride(), sheet(launches, passes), "metric", "rollout"))


@pytest.mark.parametrize("engine", [engine_speeds({}), GEARED, UNLIKE])
def test_the_overlay(engine):
    assert_readable(overlay_figure(groups("a", "b"), "metric", engine))


@pytest.mark.parametrize("engine", [engine_speeds({}), GEARED, UNLIKE])
@pytest.mark.parametrize("measures", [None, ["top speed"]])
def test_the_comparison(engine, measures):
    found = compare(*spring_day(), names=NAMES, measures=measures)
    assert_readable(comparison_figure(found, "imperial", engine))


@pytest.mark.parametrize("numbers", [(0, 0.001), (-0.125, -0.1), (0, 120), (-1500, 1500)])
def test_there_is_room_for_any_numbers(numbers):
    figure, axes = stacked(8.0, [Part(1.5)] * 2, head="a sentence\nof two lines", foot="a note")
    for ax in axes:
        ax.set_ylim(*numbers)
        dress(ax, title="title", xlabel="across", ylabel="up")
    assert_readable(figure)
