"""What a day's comparisons take over: the measure that was named, and engines turned too fast."""

from pathlib import Path

import pytest

from tests.judge.sheets import spring_day
from traceanalyze.report.day_run import DayPlan, day_results
from traceanalyze.report.day_text import day_text
from traceanalyze.session import Asked
from traceanalyze.sheet import DaySheet, Setup, Vehicle
from traceanalyze.units import parse_measure


def results(asked: Asked):
    a, b = spring_day()
    files = {Path(one.path): [one] for one in (*a, *b)}
    # 20.6 m/s is 5998 rpm with 18/48, 15/36 and 1.32 m (V[km/h] = 0.06 D n R, French decree of 27 March 1979, art. 2)
    machine = Vehicle(teeth=((18, 48), (15, 36)), tyre_circumference_m=1.32, max_engine_rpm=5900.0)
    setups = tuple(
        Setup(name=name, files=tuple(Path(one.path) for one in group), vehicle=machine)
        for name, group in (("standard", a), ("stiff", b))
    )
    plan = DayPlan(folder=Path(), sheet=DaySheet(path=Path("day.toml"), setups=setups), asked=asked, tasks=())
    return day_results(plan, files, baseline=None, smallest=None)


@pytest.mark.parametrize(
    ("asked", "headline"),
    [(Asked(), "0-30 mph"), (Asked(measures=(parse_measure("10-30 mph"), parse_measure("0-30 mph"))), "10-30 mph")],
)
def test_the_measure_named_first_is_the_headline(asked, headline):
    [comparison] = results(asked).comparisons
    assert comparison.headline.measure == headline


def test_an_engine_turned_too_fast_is_said_on_the_screen():
    found = results(Asked())
    text = day_text(found.by_file, found.comparisons, found.plan.asked)
    assert "stiff turned the engine 6000 rpm" in text
    assert "above your limit of 5900 rpm" in " ".join(text.split())
    assert "standard turned" not in text
