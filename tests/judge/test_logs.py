"""From sheets of logs to the comparison: who ran when, which way, and what is left out."""

import json
import math
from dataclasses import replace

import pytest

from tests.judge.sheets import NOON, curve, launch, one_pass, sheet, spring_day
from traceanalyze.comparison import Run
from traceanalyze.errors import UsageError
from traceanalyze.judge.directions import ways
from traceanalyze.judge.logs import compare, own_scatter_of
from traceanalyze.judge.scatter import OwnScatter
from traceanalyze.results import RunSheet
from traceanalyze.trace import Remark
from traceanalyze.vehicle.gearing import DriveTrain

NAN = float("nan")
NAMES = ("standard spring", "stiff spring")


def codes(comparison):
    return {remark.code for remark in comparison.all_remarks}


def test_a_day_of_logs_gives_the_contract():
    found = compare(*spring_day(), names=NAMES)
    assert found.verdict == "better"
    assert found.headline.measure == "0-30 mph"
    assert found.headline.start_rule == "rollout"
    document = json.loads(json.dumps(found.to_dict(), allow_nan=False))
    assert (document["schema"], document["baseline"], document["changed"]) == ("traceanalyze.compare/1", *NAMES)
    needed = {
        "measure", "start_rule", "unit", "smaller_is_better", "baseline_runs", "changed_runs", "baseline_mean",
        "changed_mean", "difference", "stderr", "interval95", "p_value", "run_scatter", "smallest_meaningful", "why",
        "verdict", "more_runs_each", "model", "remarks",
    }  # fmt: skip
    for one in document["measures"]:
        assert needed <= one.keys()
    run = document["measures"][0]["baseline_runs"][0]
    assert {"value", "stderr", "order", "direction", "file", "launch"} <= run.keys()
    assert (run["order"], run["direction"], run["file"], run["launch"]) == (1, "E", "run1.nmea", 1)
    assert [r["order"] for r in document["measures"][0]["changed_runs"]] == [3, 4, 5, 6]
    needed = {"speed_mps", "time_difference_s", "time_band95_s", "accel_difference_mps2", "accel_band95_mps2", "bands"}
    assert needed <= document["curves"].keys()
    assert document["curves"]["bands"][0].keys() >= {"from_mps", "to_mps", "difference_s", "interval95_s", "verdict"}
    assert len(found.to_frame()) == len(found.measures)


def test_the_usual_measures_are_those_both_setups_have():
    assert [one.measure for one in compare(*spring_day()).measures] == ["0-30 mph", "top speed"]
    a, b = spring_day()
    without = [replace(one, passes=()) for one in b]
    assert [one.measure for one in compare(a, without).measures] == ["0-30 mph"]


def test_asked_measures_are_kept_in_order_and_the_first_is_the_headline():
    found = compare(*spring_day(), measures=["10-30 mph", "0-30 mph"], start_rule="rest")
    assert [(one.measure, one.start_rule, one.headline) for one in found.measures] == [
        ("10-30 mph", None, True),
        ("0-30 mph", "rest", False),
    ]


def test_the_order_is_that_of_the_clock_whatever_the_order_of_files():
    a, b = spring_day()
    one, other = compare(a, b), compare(a[::-1], [b[2], b[0], b[3], b[1]])
    assert one.headline.to_dict() == other.headline.to_dict()
    assert one.headline.order_r2 == pytest.approx(0.0, abs=1e-12)


def test_without_a_clock_runs_count_as_given_and_a_remark_says_so():
    def undated(group):
        rides = [replace(one.launches[0], start_utc_s=NAN) for one in group]
        return [replace(one, time_origin_utc_s=NAN, launches=(r,)) for one, r in zip(group, rides, strict=True)]

    a, b = map(undated, spring_day())
    found = compare(a, b)
    assert "order-as-given" in codes(found)
    assert [run.order for run in found.headline.baseline_runs] == [1, 2, 3, 4]


def test_runs_of_two_days_are_compared_within_each():
    a, b = spring_day()
    moved = 86400.0

    def next_day(group):
        rides = [replace(x.launches[0], start_utc_s=x.launches[0].start_utc_s + moved) for x in group]
        return [
            replace(
                x,
                path="2" + x.path,
                sha256="2" + x.sha256,
                time_origin_utc_s=x.time_origin_utc_s + moved,
                launches=(r,),
            )
            for x, r in zip(group, rides, strict=True)
        ]

    found = compare(a + next_day(a), b + next_day(b))
    assert {run.block for run in found.headline.baseline_runs} == {"2025-05-17", "2025-05-18"}
    assert "day" in found.headline.model
    apart = compare(a, next_day(b))
    assert (apart.verdict, apart.headline.reason) == ("confounded", "day")


def test_one_run_in_both_setups_is_refused():
    a, b = spring_day()
    with pytest.raises(UsageError, match="stands in both"):
        compare(a, [*b, a[0]])


def test_a_log_given_twice_counts_once():
    a, b = spring_day()
    assert len(compare([*a, a[0]], b).headline.baseline_runs) == 4


def test_refused_logs_are_passed_over():
    a, b = spring_day()
    assert len(compare([*a, RunSheet(path="x", status="refused", error="x")], b).headline.baseline_runs) == 4


def test_a_skipped_run_is_left_out_and_said():
    a, b = spring_day()
    found = compare(a, b, skip=["run3.nmea#1", "run4.nmea#p1"])
    assert "run3.nmea" not in {run.file for run in found.headline.changed_runs}
    assert "run4.nmea" not in {run.file for run in found.measures[-1].changed_runs}
    assert "left-out" in codes(found)
    for wrong, reason in (("run3.nmea#7", "names no run of these logs"), ("run3.nmea", "names no run to leave out")):
        with pytest.raises(UsageError, match=reason):
            compare(a, b, skip=[wrong])


def test_a_launch_without_a_time_counts_as_riding_only():
    a, b = spring_day()
    missed = sheet("missed.nmea", launch(1, NAN, utc_s=NOON + 550), origin_utc_s=NOON + 550)
    found = compare([*a, missed], b)
    assert len(found.headline.baseline_runs) == 4
    assert [run.order for run in found.headline.changed_runs] == [4, 5, 6, 7]
    assert "not-timed" in {remark.code for remark in found.headline.remarks}


def test_a_doubtful_launch_is_named():
    a, b = spring_day()
    crept = replace(a[0].launches[0], remarks=(Remark("creep", "rolled before the launch"),))
    found = compare([replace(a[0], launches=(crept,)), *a[1:]], b)
    assert any("run1.nmea #1" in remark.text for remark in found.headline.remarks if remark.code == "doubtful-run")


def test_unlike_speed_sources_are_remarked():
    a, b = spring_day()
    assert "mixed-sources" in codes(compare(a, [replace(one, speed_source="positions") for one in b]))


def test_smallest_and_scatter_by_measure():
    a, b = spring_day()
    found = compare(a, b, smallest={"top speed": 0.1}, scatter={"top speed": OwnScatter(sd=0.2, df=9)})
    assert [one.smallest_meaningful for one in found.measures] == [0.10, 0.1]
    assert "rider's own" in found.measures[1].model
    plain = compare(a, b, smallest=0.25, scatter=0.05, scatter_df=4)
    assert [one.smallest_meaningful for one in plain.measures] == [0.25, 0.22352]
    assert "rider's own" in plain.measures[0].model


def test_conditions_warn_and_name_what_is_not_known():
    class Conditions:
        air_temperature_c, pressure_hpa, wind_mps, gust_mps = 20.0, 1000.0, 4.0, 6.0
        wind_from_deg, grade_pct, rider_mass_kg = 0.0, 0.8, 70.0

    class Heavier(Conditions):
        rider_mass_kg = 76.0

    a, b = spring_day()
    found = codes(compare(a, b, conditions=(Conditions(), Heavier())))
    # limits: 3 m/s mean, 5 gust, 2 across (German StVZO 3.9.2.3), 0.5 % slope (SAE J1263 by 40 CFR 1066.310), 5 kg
    assert {"wind", "gusts", "cross-wind", "slope", "rider-mass"} <= found
    assert "conditions-unknown" not in found
    assert "air-density" not in found
    assert "conditions-unknown" in codes(compare(a, b))


def test_the_regulatory_air_density_limit():
    """7.5 % from 100 kPa and 293.15 K (German StVZO 3.9.2.3): 95 kPa, 35 C is 0.90376, 101.325 kPa, 15 C is 1.0308."""

    class At:
        wind_mps, gust_mps, wind_from_deg, grade_pct, rider_mass_kg = 0.0, 0.0, 0.0, 0.0, 70.0

        def __init__(self, pressure_hpa, air_temperature_c):
            self.pressure_hpa, self.air_temperature_c = pressure_hpa, air_temperature_c

    a, b = spring_day()
    thin, dense = At(950.0, 35.0), At(1013.25, 15.0)
    far = compare(a, b, conditions=(thin, thin)).remarks
    assert [remark.text for remark in far if remark.code == "air-density"] == [
        "air density is -9.6 % off 100 kPa and 20 degrees C: not comparable with other days without correction"
    ]
    assert "air-density" not in codes(compare(a, b, conditions=(dense, dense)))
    # 1.0308 / 0.90376: 12.7 % of the reference apart
    assert any("differs by 12.7 %" in remark.text for remark in compare(a, b, conditions=(thin, dense)).remarks)


def _train(**changed):
    facts = {"teeth": ((18, 48), (15, 36)), "tyre_circumference_m": 1.32, "engagement_rpm": 2500.0}
    return DriveTrain(**facts | changed)


def test_engine_speeds_above_the_builders_limit_are_pointed_out():
    a, b = spring_day()
    trains = dict.fromkeys(("baseline", "changed"), _train(max_engine_rpm=5900.0))
    # V[km/h] = 0.06 D n R (French decree of 27 March 1979, article 2): 290.9 rpm at 1 m/s. The changed setup peaks at
    # 20.62 m/s (46 mph), 5998 rpm; the other at 20.13 m/s, 5856 rpm.
    [said] = [one.text for one in compare(a, b, trains=trains).remarks if one.code == "engine-above-limit"]
    assert said.startswith("changed turned the engine 6000 rpm at 46 mph (run5.nmea, pass 1), above your limit of 5900")
    assert "engine-above-limit" not in codes(compare(a, b, trains={"changed": _train()}))
    assert "engine-above-limit" not in codes(compare(a, b))


def test_the_sentence_over_the_range_has_engine_speeds_only_where_they_are_true():
    a, b = spring_day()

    def sentence(**trains):
        return compare(a, b, trains=trains).curves.sentence

    # 13.4112 m/s is 3901 rpm
    assert "up to 30 mph (up to 3900 rpm; " in sentence(baseline=_train(), changed=_train())
    assert "rpm" not in sentence(baseline=_train(), changed=_train(engagement_rpm=4000.0))
    assert "rpm" not in sentence(baseline=_train(), changed=_train(engagement_rpm=NAN))
    assert "rpm" not in sentence(baseline=_train(), changed=_train(tyre_circumference_m=1.4))
    assert "rpm" not in sentence(baseline=_train())


def test_headings_become_two_opposite_ways():
    assert ways([88.0, 272.0, 93.0, 268.0]) == ["E", "W", "E", "W"]
    assert ways([355.0, 4.0, 1.0]) == ["N", "N", "N"]
    assert ways([178.0, NAN, 359.0]) == ["S", "", "N"]
    assert ways([90.0, 270.0, 90.0, 270.0, 5.0]) == ["E", "W", "E", "W", ""]
    assert ways([]) == []
    assert ways([NAN, NAN]) == ["", ""]


def test_runs_without_headings_are_not_split_by_direction():
    a, b = (
        [replace(one, launches=(replace(one.launches[0], heading_deg=NAN),)) for one in group] for group in spring_day()
    )
    found = compare(a, b, measures=["0-30 mph"])
    assert "direction" not in found.headline.model
    assert "direction-unknown" in codes(found)


def test_own_scatter_is_pooled_within_setup_and_direction():
    runs = [Run(setup=s, value=v, direction=d) for s, v, d in (("A", 4.0, "E"), ("A", 4.2, "E"), ("A", 5.0, "W"),
            ("B", 3.0, "E"), ("B", 3.2, "E"), ("B", 9.0, "W"))]  # fmt: skip
    found = own_scatter_of(runs)
    # two pairs 0.2 apart, each with variance 0.02 and one degree of freedom
    assert (found.sd, found.df) == (pytest.approx(math.sqrt(0.02)), 2.0)
    assert own_scatter_of(runs[:1]) is None


def test_no_run_at_all_is_cannot_tell():
    a, b = spring_day()
    empty = [replace(one, launches=(), passes=()) for one in b]
    found = compare(a, empty)
    assert (found.verdict, found.curves) == ("cannot tell yet", None)
    assert "no run of changed" in found.headline.why


def test_two_setups_of_one_name_are_refused():
    with pytest.raises(UsageError, match="both setups are called"):
        compare(*spring_day(), names=("x", "x"))


def test_a_pass_pairs_with_its_own_log_only():
    a = [sheet("a.nmea", passes=(one_pass(1, 20.0), one_pass(2, 20.4, 270.0)))]
    b = [sheet("b.nmea", passes=(one_pass(1, 21.0), one_pass(2, 21.4, 270.0)), origin_utc_s=NOON + 3600)]
    found = compare(a, b, measures=["top speed"])
    assert [run.direction for run in found.headline.baseline_runs] == ["E", "W"]
    assert found.headline.order_r2 > 0.5


def test_curves_of_gapless_launches_only():
    a, b = spring_day()
    broken = curve()
    broken.time_s[20:40] = NAN
    ride = replace(a[0].launches[0], curve=broken)
    found = compare([replace(a[0], launches=(ride,)), *a[1:]], b)
    assert "curve-left-out" in {remark.code for remark in found.curves.remarks}
