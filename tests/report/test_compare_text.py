"""The one screen of a comparison and the printed plan: what a person reads."""

import pytest

from tests.judge.sheets import spring_day
from traceanalyze.cli.screen import _PLAIN
from traceanalyze.judge.logs import compare
from traceanalyze.judge.planning import plan_runs
from traceanalyze.judge.runs_csv import read_runs
from traceanalyze.judge.strip import strip_for_launches, strip_for_top_speed
from traceanalyze.judge.table import compare_rows
from traceanalyze.report.compare_text import compare_text
from traceanalyze.report.dotplot import axis_for, dot_lines, interval_line
from traceanalyze.report.plan_text import plan_text
from traceanalyze.units import parse_measure

NAMES = ("standard spring", "stiff spring")


def screen(**options):
    return compare_text(compare(*spring_day(), names=NAMES), **options)


def test_the_sentence_comes_first_then_what_to_do():
    lines = screen().splitlines()
    assert lines[0].startswith("Quicker with stiff spring: 0-30 mph by 0.30 s")
    assert any(line.startswith("Next: Keep stiff spring.") for line in lines[:6])


def test_the_screen_fits_80_columns_in_both_systems():
    for system in ("imperial", "metric"):
        assert max(map(len, screen(system=system).splitlines())) <= 80


def test_every_run_is_a_mark_and_the_means_are_written():
    text = screen()
    rows = [line for line in text.splitlines() if "n=4" in line or set(line.strip()) <= {"●", "■"}]
    assert sum(line.count("●") for line in rows) == 4
    assert sum(line.count("■") for line in rows) == 4
    assert "standard sp.. n=4" in text
    assert "4.05" in text  # the baseline's mean: 4.0 + noise 0.0025 + half of 0.1 for the way back


def test_speeds_are_in_the_asked_unit():
    imperial = compare_text(compare(*spring_day(), names=NAMES, measures=["top speed"]))
    assert "mph" in imperial
    assert "right of │ is better" in imperial
    assert "left of │ is better" in screen()
    metric = compare_text(compare(*spring_day(), names=NAMES, measures=["top speed"], system="metric"), "metric")
    assert "km/h" in metric
    # 0.5 m/s = 1.8 km/h
    assert "by 1.8 km/h" in metric


def test_the_ranges_and_the_other_measures_are_there():
    text = screen()
    assert "Over the speed range: Gains" in text
    assert "0-10 mph" in text
    assert "total" in text
    assert "top speed" in text


def test_a_terminal_without_line_marks_reads_the_same():
    screen().translate(_PLAIN).encode("ascii")
    plan_text(_plan()).translate(_PLAIN).encode("ascii")


def test_hostile_names_are_harmless():
    names = ("a\x1b[2J\n=1+1", "b" * 300)
    text = compare_text(compare(*spring_day(), names=names))
    assert "\x1b" not in text
    assert max(map(len, text.splitlines())) <= 80


def test_bold_is_only_added():
    plain, bold = screen(), screen(bold=True)
    assert bold.replace("\x1b[1m", "").replace("\x1b[0m", "") == plain


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ("A,4.0\nB,3.9\n", "one run of A and one run of B"),
        ("A,4.0\nA,4.1\nB,3.9\n", "one run of B"),
        ("A,4.0\nA,4.0\nB,4.0\nB,4.0\n", "Cannot tell yet"),
    ],
)
def test_few_runs_have_a_screen_too(rows, words):
    text = compare_text(compare_rows(read_runs(("setup,value\n" + rows).encode())))
    assert words in " ".join(text.split())


def test_dots_stand_where_their_values_are():
    axis = axis_for([0.0, 10.0], 41)
    assert axis.column(0.0) < axis.column(5.0) < axis.column(10.0)
    assert axis.column(5.0) == 20
    lines = dot_lines(axis, [0.0, 0.0, 5.0, 10.0], 5.0, "o")
    assert len(lines) == 2  # two runs alike, and one under the mean
    assert lines[1][20] == "│"
    assert lines[0][20] == "o"
    assert sum(line.count("o") for line in lines) == 4


def test_an_interval_shows_zero_and_its_ends():
    axis = axis_for([-1.0, 1.0], 41)
    line = interval_line(axis, -0.5, 0.0, 0.5)
    assert line[axis.column(-0.5)] == "├"
    assert line[axis.column(0.5)] == "┤"
    assert line[axis.column(0.0)] == "●"


def test_axis_of_equal_values_and_tick_labels():
    axis = axis_for([4.0, 4.0], 40)
    assert 0 <= axis.column(4.0) < 40
    wide = axis_for([3.8, 4.2], 54)
    assert "4.0" in wide.label_line()
    assert len(wide.label_line()) <= 54


def _plan():
    strips = [strip_for_launches(13.4112, 4.0), strip_for_top_speed(20.0, 13.4112, 4.0)]
    return plan_runs(
        measure=parse_measure("0-30 mph"), difference=0.15, scatter=0.07, scatter_df=8, names=NAMES, strips=strips
    )


def test_the_plan_can_be_printed_and_ticked():
    text = plan_text(_plan())
    assert max(map(len, text.splitlines())) <= 80
    plan = _plan()
    assert text.count("time ________") == len(plan.runs)
    assert "fit A (standard spring)" in text
    assert "80 times in 100" in text
    for word in ("closed course", "Helmet", "Room to stop", "flywheel", "Local law"):
        assert word in text
    # 20 m/s, 2.5 s and 3.4 m/s^2: 50 + 58.8 m = 357 ft, rounded up to ten
    assert "stop 360" in text


def test_a_plan_that_cannot_work_says_so():
    text = plan_text(plan_runs(measure=parse_measure("0-30 mph"), difference=0.01, scatter=0.2))
    assert text.startswith("Not by riding")
    assert "☐   1" not in text
