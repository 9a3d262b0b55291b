"""The overlay picture: what is drawn where, that nothing is told by colour alone, and the scale of engine speed."""

import numpy as np
import pytest

from tests.judge.sheets import curve, launch
from traceanalyze.judge.groups import launch_curves, setup_curves
from traceanalyze.plots.overlay import overlay_figure
from traceanalyze.plots.style import picture_bytes
from traceanalyze.vehicle.engine import engine_speeds
from traceanalyze.vehicle.gearing import DriveTrain

MPH = 0.44704


def groups(*names, runs=3):
    rides = [launch(k, 4.0, with_curve=curve(4.0 + 0.1 * k)) for k in range(runs)]
    return [setup_curves(name, launch_curves(rides)) for name in names]


def train(**changed):
    facts = {"teeth": ((18, 48), (15, 36)), "tyre_circumference_m": 1.32, "engagement_rpm": 2500.0}
    return DriveTrain(**facts | changed)


def scales(ax):
    return [child for child in ax.child_axes if type(child).__name__ == "SecondaryAxis"]


def test_every_run_is_drawn_and_each_mean_differs_by_more_than_colour():
    above, below = overlay_figure(groups("a", "b", "c", "d", "e"), "imperial").axes
    means = [line for line in above.lines if line.get_marker() not in ("None", "", None)]
    assert len(means) == 5
    assert len(above.lines) == 5 * 3 + 5 + 1  # runs, means, the line of the start mark
    assert len({line.get_marker() for line in means}) == 5
    assert len({str(line._dash_pattern) for line in means}) == 5
    assert above.get_ylabel() == "speed [mph]"
    assert "0.3048 m" in above.get_title(loc="left")
    assert below.get_ylabel() == "acceleration [m/s²]"
    assert len(below.lines) == 5


def test_speeds_are_drawn_in_the_unit_that_is_written():
    top_mps = 14.0  # the highest of `curve`
    imperial, metric = (overlay_figure(groups("a"), system).axes[1].lines[0] for system in ("imperial", "metric"))
    assert imperial.get_xdata()[-1] == pytest.approx(top_mps / MPH)
    assert metric.get_xdata()[-1] == pytest.approx(top_mps * 3.6)


def test_engine_speeds_stand_beside_road_speeds_where_they_are_true():
    engine = engine_speeds({"a": train(), "b": train(engagement_rpm=2700.0)})
    above, below = overlay_figure(groups("a", "b"), "imperial", engine).axes
    [right], [top] = scales(above), scales(below)
    for speeds, rpms in (
        (right.get_yticks(), right.get_yticklabels()),
        (top.get_xticks(), top.get_xticklabels()),
    ):
        numbers = [float(label.get_text()) for label in rpms]
        assert min(numbers) >= 2700
        # V[km/h] = 0.06 D n R (French decree of 27 March 1979, article 2)
        road = 0.06 * 1.32 * np.array(numbers) * (18 / 48) * (15 / 36)
        assert speeds * MPH * 3.6 == pytest.approx(road)
    assert right.get_ylabel() == top.get_xlabel() == "engine speed [rpm]"


def test_without_one_gearing_there_is_no_scale_and_the_picture_says_why():
    unlike = engine_speeds({"a": train(), "b": train(tyre_circumference_m=1.4)})
    figure = overlay_figure(groups("a", "b"), "imperial", unlike)
    assert not any(scales(ax) for ax in figure.axes)
    assert "geared differently" in figure._supxlabel.get_text()
    assert overlay_figure(groups("a", "b"), "imperial")._supxlabel is None


def test_the_builders_limit_is_marked_where_the_speeds_reach_it():
    def marked(limit_rpm):
        engine = engine_speeds({"a": train(max_engine_rpm=limit_rpm)})
        above, below = overlay_figure(groups("a"), "metric", engine).axes
        return [text.get_text().strip() for ax in (above, below) for text in ax.texts]

    # 14 m/s is 4073 rpm
    assert marked(3900.0) == ["your limit", "your limit"]
    assert marked(6500.0) == []


def test_any_name_can_be_drawn_and_the_same_input_gives_the_same_bytes():
    def drawn():
        hostile = groups("$\\frac{$ <script>", "x" * 300, runs=1)
        unknown = engine_speeds({"a": train(), "$x^$": None})
        return picture_bytes(overlay_figure(hostile, "imperial", unknown), "svg")

    assert drawn() == drawn()
    assert picture_bytes(overlay_figure(groups("none", runs=0), "imperial"), "png").startswith(b"\x89PNG")
