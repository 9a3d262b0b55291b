"""The picture of a comparison: what is in it, and what it does without an interval or without curves."""

from dataclasses import replace

import numpy as np
import pytest

from tests.judge.sheets import spring_day
from traceanalyze.judge.logs import compare
from traceanalyze.judge.runs_csv import read_runs
from traceanalyze.judge.table import compare_rows
from traceanalyze.plots.comparison import comparison_figure
from traceanalyze.plots.style import picture_bytes
from traceanalyze.vehicle.engine import engine_speeds
from traceanalyze.vehicle.gearing import DriveTrain

NAMES = ("standard spring", "stiff spring")
MPH = 0.44704


@pytest.fixture(scope="module")
def day():
    return compare(*spring_day(), names=NAMES)


def titles(figure):
    return [ax.get_title(loc="left") for ax in figure.axes]


def test_the_sentence_the_runs_the_difference_and_both_curves(day):
    figure = comparison_figure(day, "imperial")
    assert figure._suptitle.get_text().replace("\n", " ") == day.headline.why
    runs, difference, time, accel = figure.axes
    marks = np.concatenate([c[0].get_xdata() for c in runs.containers])
    assert sorted(marks) == pytest.approx(
        sorted(run.value for run in (*day.headline.baseline_runs, *day.headline.changed_runs))
    )
    assert "0.3048 m" in runs.get_xlabel()
    ends = next(line.get_xdata() for line in difference.lines if line.get_marker() == "|")
    assert list(ends) == [day.headline.low95, day.headline.high95]
    assert time.get_xlim() == accel.get_xlim()
    assert [line.get_label() for line in accel.lines] == list(NAMES)
    assert "left of zero is better" in difference.get_title(loc="left")


def test_a_top_speed_is_drawn_in_the_shown_unit():
    found = compare(*spring_day(), names=NAMES, measures=["top speed"])
    runs, difference, *_ = comparison_figure(found, "imperial").axes
    assert runs.get_xlabel() == "top speed [mph]"
    first = runs.containers[0][0].get_xdata()
    assert first == pytest.approx(np.array([run.value for run in found.headline.baseline_runs]) / MPH)
    assert "right of zero is better" in difference.get_title(loc="left")


def test_both_setups_differ_in_grey(day):
    runs, _, _, accel = comparison_figure(day, "imperial").axes
    assert len({c[0].get_marker() for c in runs.containers}) == 2
    assert len({(line.get_marker(), str(line._dash_pattern)) for line in accel.lines}) == 2


def test_engine_speeds_above_the_curves(day):
    shared = DriveTrain(teeth=((18, 48), (15, 36)), tyre_circumference_m=1.32, engagement_rpm=2500.0)
    figure = comparison_figure(day, "metric", engine_speeds(dict.fromkeys(NAMES, shared)))
    [scale] = [child for child in figure.axes[2].child_axes if type(child).__name__ == "SecondaryAxis"]
    numbers = np.array([float(label.get_text()) for label in scale.get_xticklabels()])
    # V[km/h] = 0.06 D n R (French decree of 27 March 1979, article 2)
    assert scale.get_xticks() == pytest.approx(0.06 * 1.32 * numbers * (18 / 48) * (15 / 36))
    assert "below 2500 rpm clutch or belt slips" in figure._supxlabel.get_text()


def test_a_confounded_comparison_shows_no_interval():
    # A went east only and B west only: wind cannot be told from the part
    a, b = (
        [replace(one, launches=(replace(one.launches[0], heading_deg=heading),)) for one in group]
        for group, heading in zip(spring_day(), (90.0, 270.0), strict=True)
    )
    found = compare(a, b, names=NAMES)
    assert found.verdict == "confounded"
    assert not any("difference with" in title for title in titles(comparison_figure(found, "imperial")))


@pytest.mark.parametrize("rows", ["A,4.0\nB,3.9\n", "A,4.0\nA,4.1\nB,3.9\nB,3.95\n"])
def test_times_by_hand_have_a_picture_too(rows):
    found = compare_rows(read_runs(("setup,value\n" + rows).encode()))
    figure = comparison_figure(found, "imperial")
    assert len(figure.axes) == (2 if rows.count("\n") == 4 else 1)
    assert picture_bytes(figure, "png").startswith(b"\x89PNG")


def test_any_name_can_be_drawn():
    found = compare(*spring_day(), names=("$\\frac{$ <script>", "x" * 300))
    assert picture_bytes(comparison_figure(found, "imperial"), "pdf").startswith(b"%PDF")
