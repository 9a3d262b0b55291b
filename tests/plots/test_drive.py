"""The picture of one log: everything is in it, nothing overlaps, nothing is told by colour alone."""

import io

import numpy as np
import pytest
from PIL import Image

from tests.judge.sheets import curve
from traceanalyze.plots.drive import MOST_TOLD_APART, drive_figure
from traceanalyze.plots.style import LOOKS, picture_bytes
from traceanalyze.results import Estimate, Launch, Pass, RunSheet, TimeResult
from traceanalyze.trace import make_trace


def ride(minutes=10.0, rate_hz=1.0):
    t_s = np.arange(0, minutes * 60, 1 / rate_hz)
    return make_trace(t_s, speed_mps=10 + 8 * np.sin(t_s / 40))


def launch(number, start_s, time_s=4.0):
    time = TimeResult(measure="0-30 mph", start_rule="rollout", elapsed=Estimate(time_s, 0.02), distance_m=30)
    return Launch(
        number=number,
        start=Estimate(start_s, 0.02),
        end_s=start_s + 9,
        peak_speed_mps=15,
        times=(time,),
        curve=curve(16 / time_s),
    )


def one_pass(number, start_s, speed_mps):
    return Pass(
        number=number,
        start_s=start_s,
        end_s=start_s + 9,
        window_s=1,
        window_m=speed_mps,
        window_start_s=start_s + 4,
        sustained=Estimate(speed_mps, 0.04),
        peak_mps=speed_mps,
        held_s=2,
        levelled_off=True,
    )


def sheet(launches=0, passes=0, length_s=600.0, **parts):
    return RunSheet(
        path="a/ride.nmea",
        status="ok",
        launches=tuple(launch(k + 1, (k + 1) * length_s / (launches + 2), 4 + 0.01 * k) for k in range(launches)),
        passes=tuple(one_pass(k + 1, (k + 1) * length_s / (passes + 2), 15 + k % 3) for k in range(passes)),
        **parts,
    )


def boxes(figure, texts):
    figure.draw_without_rendering()
    return [text.get_window_extent() for text in texts if text.get_text()]


def overlapping(found):
    return [(a, b) for k, a in enumerate(found) for b in found[:k] if a.overlaps(b)]


@pytest.mark.parametrize(("launches", "passes"), [(0, 0), (1, 1), (4, 4), (10, 8), (24, 20), (60, 60), (240, 9)])
def test_labels_never_overlap(launches, passes):
    figure = drive_figure(ride(), sheet(launches, passes), "imperial", "rollout")
    assert len(figure.axes) == (2 if launches else 1)
    above = figure.axes[0]
    found = boxes(figure, above.texts)
    assert len(found) >= min(launches, 4) + min(passes, 4)
    assert overlapping(found) == []
    inside = above.get_window_extent()
    assert all(inside.x0 <= box.x1 and box.x0 <= inside.x1 and box.y1 <= inside.y1 for box in found)


def test_units_start_rule_and_marks_are_written_in_it():
    figure = drive_figure(ride(), sheet(3, 2), "metric", "rollout")
    above, below = figure.axes
    assert (above.get_ylabel(), below.get_ylabel()) == ("speed [km/h]", "speed [km/h]")
    assert above.get_xlabel() == "time from the start of the log [min]"
    assert below.get_xlabel() == "time since the start mark [s]"
    assert above.get_title(loc="left").startswith("ride.nmea: ")
    assert "0.3048 m = 1 ft" in below.get_title(loc="left")
    # 17.88 m/s is 64.4 km/h: 40 mph exactly is 64.37376 km/h (international mile)
    assert above.lines[0].get_ydata().max() == pytest.approx(18 * 3.6, rel=0.01)


def test_up_to_ten_launches_differ_by_more_than_colour():
    below = drive_figure(ride(), sheet(MOST_TOLD_APART), "imperial", "rollout").axes[1]
    lines = [line for line in below.lines if line.get_label().startswith("launch")]
    looks = {(str(line._dash_pattern), line.get_marker(), line.get_markerfacecolor()) for line in lines}
    assert len(lines) == len(looks) == MOST_TOLD_APART
    assert len(below.get_legend().get_texts()) == MOST_TOLD_APART


def test_of_more_launches_the_quickest_and_the_middle_one_stand_out():
    below = drive_figure(ride(), sheet(40), "imperial", "rollout").axes[1]
    assert [text.get_text() for text in below.get_legend().get_texts()] == [
        "quickest of 40 to 30 mph: launch 1", "middle one of 40 to 30 mph: launch 21",
    ]  # fmt: skip
    told = [line for line in below.lines if not line.get_label().startswith("_")]
    assert len({line.get_marker() for line in told}) == 2


def test_a_launch_that_takes_for_ever_does_not_squeeze_the_others():
    launches = (launch(1, 60.0), launch(2, 120.0), launch(3, 180.0, 400.0))
    below = drive_figure(ride(), RunSheet(path="a", status="ok", launches=launches), "imperial", "rollout").axes[1]
    assert below.get_xlim()[1] < 4 * curve(4.0).time_s.max()


def test_looks_differ_in_grey_too():
    # blue and vermillion are nearly alike in grey, so dashes and markers tell them apart
    assert len({(str(one.dashes), one.marker) for one in LOOKS}) == len(LOOKS)
    assert (LOOKS[0].color, LOOKS[1].color) == ("#0072B2", "#D55E00")  # Okabe & Ito, Color Universal Design (2008)


def test_the_drawn_picture_is_dark_on_white_and_the_same_every_time():
    data = picture_bytes(drive_figure(ride(), sheet(3, 2), "imperial", "rollout"), "png")
    assert data == picture_bytes(drive_figure(ride(), sheet(3, 2), "imperial", "rollout"), "png")
    grey = np.asarray(Image.open(io.BytesIO(data)).convert("L"))
    assert (grey == 255).mean() > 0.75
    assert (grey < 100).mean() > 0.01
    assert grey.shape[1] == 990


def test_names_are_text_never_mathematics():
    figure = drive_figure(
        ride(),
        RunSheet(path="$\\frac{1}{2}$ \x1b_^{.nmea", status="ok"),
        "imperial",
        "rollout",
    )
    assert "$\\frac{1}{2}$ \\x1b_^{.nmea" in figure.axes[0].get_title(loc="left")
    assert picture_bytes(figure, "svg").startswith(b"<?xml")


@pytest.mark.parametrize("speeds", [[], [1.0], [np.nan, np.nan, np.nan], [0.0, 0.0, 0.0]])
def test_empty_and_odd_logs_are_drawn(speeds):
    trace = make_trace(np.arange(len(speeds), dtype=float), speed_mps=speeds)
    assert picture_bytes(drive_figure(trace, RunSheet(path="a", status="ok"), "imperial", "rollout"), "png")
