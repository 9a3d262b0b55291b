"""Order, direction, blocks and scatter, against published statistics."""

import math
import random
from dataclasses import replace

import pytest

from tests.book.making import MORNING, entry, in_memory, log, undated
from traceanalyze.book.comparing import book_case, compare_book, smallest_differences
from traceanalyze.book.entries import Entry, Share
from traceanalyze.book.history import own_history
from traceanalyze.book.opening import open_book_to_write
from traceanalyze.book.overview import overview
from traceanalyze.book.reading import all_runs, chosen_runs, runs_of, scatter
from traceanalyze.book.store import add_entry
from traceanalyze.errors import BookError, UsageError
from traceanalyze.sheet import Conditions, Setup
from traceanalyze.units import parse_measure

# NIST Statistical Reference Datasets, one-way analysis of variance, 'SiRstv' (resistivity of silicon, five instruments,
# https://www.itl.nist.gov/div898/strd/anova/SiRstv.html): certified residual standard deviation, 20 degrees of freedom.
# Data and certified value from memory; they agree with each other to 11 digits, which a slip in either would not.
SIRSTV = {
    "1": [196.3052, 196.1240, 196.1890, 196.2569, 196.3403],
    "2": [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
    "3": [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
    "4": [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
    "5": [196.2119, 196.1051, 196.1850, 196.0052, 196.2090],
}
SIRSTV_SD = 1.04076068334656e-01


@pytest.fixture
def book():
    with in_memory() as opened:
        yield opened


def test_the_scatter_within_setups_is_the_certified_residual_one(book):
    for k, (setup, values) in enumerate(SIRSTV.items()):
        add_entry(book, entry(log(setup, values, origin=MORNING + 1000 * k), setup))
    found = scatter(book, "0-30 mph")
    assert found.df == 20
    # rel: the data have 7 digits and differ in the last 4; double precision meets the certified value to about 1e-10
    assert found.sd == pytest.approx(SIRSTV_SD, rel=1e-9)


def test_the_scatter_within_days_is_the_certified_residual_one(book):
    for k, (day, values) in enumerate(
        SIRSTV.items()
    ):  # one setup on five days: what differs between days is no scatter
        add_entry(book, entry(log(day, [10 * k + value for value in values], origin=MORNING + 86400 * k)))
    assert scatter(book, "0-30 mph").sd == pytest.approx(SIRSTV_SD, rel=1e-9)
    assert scatter(book, "0-30 mph", setup="standard spring").df == 20


def test_the_scatter_is_that_of_the_other_logs(book):
    for setup, values in SIRSTV.items():
        add_entry(book, entry(log(setup, values), setup))
    sha256 = {one.log.sha256 for one in all_runs(book) if one.run.setup == "5"}
    assert scatter(book, "0-30 mph", without=sha256).df == 16
    assert scatter(book, "0-30 mph", setup="2").df == 4


def test_runs_left_out_and_other_measures_do_not_count(book):
    add_entry(book, entry(log("run1.nmea", [4.0, 4.1, 9.0]), left_out={("launch", 3)}))
    assert scatter(book, "0-30 mph").sd == pytest.approx(math.sqrt(0.005))  # (0.05^2 + 0.05^2) / 1
    assert scatter(book, "0-60 mph") is None
    assert [run.value for run in runs_of(book, "standard spring", "0-30 mph", start_rule="rest")] == [4.5, 4.6]
    assert len(runs_of(book, "standard spring", "20-30 mph", start_rule="rest")) == 2  # it has no start rule
    assert runs_of(book, "standard spring", "0-30 mph", start_rule="threshold") == ()


def test_the_history_for_a_comparison_of_logs(tmp_path):
    with open_book_to_write(tmp_path / "runs.book") as book:
        for k, (setup, values) in enumerate(SIRSTV.items()):
            add_entry(book, entry(log(setup, values, origin=MORNING + 1000 * k), setup))
    measures = [parse_measure("0-30 mph"), parse_measure("1/8 mi")]
    found = own_history(tmp_path / "runs.book", measures)
    assert list(found) == ["0-30 mph"]
    assert (found["0-30 mph"].sd, found["0-30 mph"].df) == (pytest.approx(SIRSTV_SD, rel=1e-9), 20)
    without = {log("5", []).sha256}
    assert own_history(tmp_path / "runs.book", measures, without=without)["0-30 mph"].df == 16


def test_two_directions_are_no_scatter(book):
    # 0.4 s of wind: 4.0 eastwards, 4.4 westwards, each repeated exactly but for 0.01
    add_entry(book, entry(log("run1.nmea", [4.0, 4.4, 4.01, 4.41], headings=(80.0, 262.0))))
    found = scatter(book, "0-30 mph")
    assert (found.sd, found.df) == (pytest.approx(0.01 / math.sqrt(2)), 2)
    assert [run.direction for run in runs_of(book, "standard spring", "0-30 mph")] == ["E", "W", "E", "W"]


def test_order_is_that_of_the_clock_through_the_day_whatever_was_added_first(book):
    late, early = log("late", [4.2, 4.3], origin=MORNING + 5000), log("early", [4.0, 4.1])
    add_entry(book, entry(late, "b"))
    add_entry(book, entry(early, "a"))
    add_entry(book, entry(log("next day", [4.5], origin=MORNING + 86400), "a"))
    assert [(run.order, run.value, run.block) for run in runs_of(book, "a", "0-30 mph")] == [
        (1, 4.0, "2026-05-17 field"),
        (2, 4.1, "2026-05-17 field"),
        (1, 4.5, "2026-05-18 field"),
    ]
    assert [(run.order, run.file, run.launch) for run in runs_of(book, "b", "0-30 mph")] == [
        (3, "late", 1),
        (4, "late", 2),
    ]


def test_without_a_clock_the_order_is_that_of_adding(book):
    import datetime

    day = datetime.date(2026, 5, 17)
    for name, setup in (("z", "a"), ("y", "b"), ("x", "a")):
        add_entry(book, entry(undated(name, [4.0, 4.1]), setup, date=day))
    assert [run.order for run in runs_of(book, "a", "0-30 mph")] == [1, 2, 5, 6]
    assert [run.order for run in runs_of(book, "b", "0-30 mph")] == [3, 4]


def test_top_speeds_of_another_window_are_another_measure(book):
    add_entry(book, entry(log("run1.nmea", [], tops=[25.0, 25.2])))
    add_entry(book, entry(log("run2.nmea", [], tops=[24.0], origin=MORNING + 900), window="3 s"))
    assert [run.value for run in runs_of(book, "standard spring", "top speed")] == [25.0, 25.2]
    assert [run.value for run in runs_of(book, "standard spring", "top speed", window="3 s")] == [24.0]


def test_which_vehicle_is_meant_must_be_clear(book):
    with pytest.raises(BookError, match="the run book is empty; add logs"):
        scatter(book, "0-30 mph")
    add_entry(book, entry(log("run1.nmea", [4.0]), "a"))
    add_entry(book, entry(log("run2.nmea", [5.0]), "a", vehicle="kart"))
    with pytest.raises(BookError, match="several vehicles; name one: --vehicle; there are kart, pit bike"):
        runs_of(book, "a", "0-30 mph")
    assert [run.value for run in runs_of(book, "a", "0-30 mph", vehicle="kart")] == [5.0]
    with pytest.raises(BookError, match="no vehicle 'bike' is in the run book"):
        runs_of(book, "a", "0-30 mph", vehicle="bike")
    with pytest.raises(BookError, match="no setup 'b' is in the run book; there are: a"):
        chosen_runs(all_runs(book), setup="b")


def test_the_overview_counts_and_averages(book):
    add_entry(book, entry(log("run1.nmea", [4.0, 4.2, 9.9], tops=[25.0]), left_out={("launch", 3)}))
    add_entry(book, entry(log("run2.nmea", [4.4], origin=MORNING + 86400)))
    (only,) = overview(all_runs(book), [parse_measure("0-30 mph"), parse_measure("top speed")])
    assert (only.launches, only.passes, only.left_out, only.logs, len(only.days)) == (4, 1, 1, 2, 2)
    assert only.means[0].mean.value == pytest.approx(4.2)
    assert only.means[0].mean.stderr == pytest.approx(0.2 / math.sqrt(3))  # values 4.0, 4.2, 4.4: sd 0.2
    assert (only.means[1].runs, only.means[1].mean.value) == (1, 25.0)
    assert math.isnan(only.means[1].mean.stderr)


# --- comparing across days --------------------------------------------------------------------------------------------
def days_of_two_setups(book, *, worth_s, day_s, seed=4):
    """Three days with their own level, A B B A on each; B is quicker by `worth_s`."""
    rng = random.Random(seed)
    for day in range(3):
        for place, setup in enumerate("ABBA"):
            values = [4 + day_s * day - worth_s * (setup == "B") + rng.gauss(0, 0.02) for _ in range(2)]
            origin = MORNING + 86400 * day + 1000 * place
            add_entry(book, entry(log(f"{day}{place}", values, origin=origin, headings=(90.0, 270.0)), setup))


def test_a_difference_shows_through_days_of_different_level(book):
    # Between days 0.5 s, between setups 0.1 s, between runs 0.02 s. Only with the day as a block can this be seen: the
    # standard error of the difference of 12 + 12 runs is then 0.02 sqrt(1/12 + 1/12) = 0.008 s, without about 0.18 s.
    days_of_two_setups(book, worth_s=0.10, day_s=0.5)
    found = compare_book(book_case(book, "A", "B"), measures=[parse_measure("0-30 mph")])
    assert found.verdict == "better"
    assert found.headline.difference == pytest.approx(-0.10, abs=0.025)  # three standard errors
    assert found.headline.stderr < 0.02
    assert "day" in found.headline.model
    assert found.curves is not None
    assert found.remarks[0].code == "several-days"


def test_setups_that_never_shared_a_day_cannot_be_told_apart(book):
    add_entry(book, entry(log("1", [4.0, 4.01, 4.02, 4.03]), "A"))
    add_entry(book, entry(log("2", [3.0, 3.01, 3.02, 3.03], origin=MORNING + 86400), "B"))
    found = compare_book(book_case(book, "A", "B"))
    assert found.verdict == "confounded"
    assert found.headline.reason == "day"


def test_the_riders_history_is_that_of_other_setups_only(book):
    add_entry(book, entry(log("run1", [4.0, 4.1]), "A"))
    add_entry(book, entry(log("run2", [3.9, 4.0], origin=MORNING + 900), "B"))
    case = book_case(book, "A", "B")
    assert case.history(parse_measure("0-30 mph")) is None
    for setup, values in SIRSTV.items():
        add_entry(book, entry(log(setup, values, origin=MORNING + 86400), setup))
    case = book_case(book, "A", "B")
    assert case.history(parse_measure("0-30 mph")).df == 20
    found = compare_book(case)
    assert "20 degrees of freedom" in found.headline.model
    assert "own-history" in [remark.code for remark in found.remarks]


def test_left_out_runs_are_named(book):
    add_entry(book, entry(log("1", [4.0, 4.1, 9.0]), "A", left_out={("launch", 3)}))
    add_entry(book, entry(log("2", [3.9, 4.0], origin=MORNING + 900), "B"))
    found = compare_book(book_case(book, "A", "B"))
    assert len(found.headline.baseline_runs) == 2
    assert found.remarks[0].text == "1 run left out by the rider's word"


def test_conditions_of_each_day_are_warned_about(book):
    wind = Conditions(wind_mps=4.0, wind_from_deg=90.0, air_temperature_c=20.0, pressure_hpa=1000.0, rider_mass_kg=70.0)
    for day in (0, 1):
        for place, setup in enumerate("AB"):
            sheet = log(f"{day}{setup}", [4.0, 4.1], origin=MORNING + 86400 * day + 900 * place)
            heavier = replace(wind, rider_mass_kg=76.0) if setup == "B" else wind
            share = Share(setup=Setup(name=setup, conditions=heavier if day == 0 else Conditions()), sheet=sheet)
            add_entry(book, Entry(sheet=sheet, file=sheet.path, shares=(share,), place="field"))
    found = compare_book(book_case(book, "A", "B"))
    texts = [remark.text for remark in found.remarks if remark.code != "several-days"]
    # 3 m/s mean wind: German StVZO coast-down rule 3.9.2.3; 6 kg of rider is more than 5 kg
    assert texts[0] == "2026-05-17 field: mean wind 4 m/s is above 3 m/s"
    assert "ridden with 70 kg" in texts[1]
    assert texts[-1] == "2026-05-18 field: not known: wind, air, rider mass"


def test_what_cannot_be_compared(book):
    add_entry(book, entry(log("1", [4.0]), "A"))
    with pytest.raises(UsageError, match="cannot be compared with itself"):
        book_case(book, "A", "A")
    with pytest.raises(BookError, match="no setup 'B'"):
        book_case(book, "A", "B")


def test_smallest_differences_by_measure(book):
    add_entry(book, entry(log("1", [4.0], tops=[25.0]), "A"))
    add_entry(book, entry(log("2", [4.0], tops=[25.0], origin=MORNING + 900), "B"))
    measures = [parse_measure("0-30 mph"), parse_measure("top speed")]
    found = smallest_differences(book_case(book, "A", "B"), measures, ["0.05", "0.5 mph"])
    assert found == {"0-30 mph": 0.05, "top speed": pytest.approx(0.22352)}  # 1 mph is 0.44704 m/s, exact
