"""The next runs: how many, in which order, on which strip."""

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceanalyze.comparison import Run
from traceanalyze.errors import UsageError
from traceanalyze.judge.choice import ranked
from traceanalyze.judge.planning import MOST_PLANNED, balanced, plan_row, plan_runs, run_sheet, sequence
from traceanalyze.judge.power import MOST_RUNS, more_runs_each, runs_needed
from traceanalyze.judge.scatter import OwnScatter, pooled, working_scatter
from traceanalyze.judge.strip import stopping_m, strip_for_launches, strip_for_top_speed
from traceanalyze.units import parse_measure

LAUNCH = parse_measure("0-30 mph")


def test_the_orders():
    assert [sequence(n) for n in (2, 4, 6, 8)] == ["ABBA", "AABBBBAA", "AAABBBBBBAAA", "AABBBBAAAABBBBAA"]
    assert [sequence(n, more_swaps=True) for n in (2, 3, 4)] == ["ABBA", "ABBAAB", "ABBAABBA"]


@given(st.integers(2, 40), st.booleans())
def test_every_order_has_as_many_of_both_and_favours_neither(n, more_swaps):
    order = sequence(n, more_swaps)
    assert order.count("A") == order.count("B") == n
    assert balanced(order)
    runs = run_sheet(n, ("A", "B"), ("out", "back"), more_swaps)
    if n % 2 == 0:
        for setup in "AB":
            ways = [run.direction for run in runs if run.setup == setup]
            assert ways.count("out") == ways.count("back") == n // 2
        late = [np.mean([run.place for run in runs if run.setup == s]) for s in "AB"]
        assert late[0] == pytest.approx(late[1])


def test_what_a_plan_can_show():
    # noncentral t with direction and drift fitted, in units of the scatter (statsmodels, nct check)
    start = working_scatter(4.0, 0.027)
    for n, d in {4: 2.6595, 6: 1.8481, 8: 1.5263}.items():
        row = plan_row(n, start, 0.014)
        assert row.fitted == ("direction", "drift")
        assert row.smallest / start.sd == pytest.approx(d, abs=5e-5)
    # pooled t, two-sided 5 %, 80 % power
    for n, d in {2: 5.653489, 3: 3.070892, 12: 1.196812}.items():
        assert plan_row(n, start, 0.014).smallest_plain / start.sd == pytest.approx(d, abs=1e-6)


def test_a_plan_that_rides_can_carry_out():
    plan = plan_runs(measure=LAUNCH, difference=0.15, scatter=0.07, scatter_df=8, names=("old", "new"))
    assert plan.possible
    assert plan.runs_each % 2 == 0
    assert len(plan.runs) == 2 * plan.runs_each
    assert plan.runs[0].mount
    assert [run.place for run in plan.runs] == list(range(1, len(plan.runs) + 1))
    document = json.loads(json.dumps(plan.to_dict(), allow_nan=False))
    assert document["runs_each"] == plan.runs_each
    shown = {row["runs_each"]: row["smallest_difference"] for row in document["smallest_shown"]}
    assert shown[plan.runs_each] <= 0.15 < shown[4]
    assert len(plan.to_frame()) == len(plan.runs)
    assert f"{plan.runs_each} runs of each setup" in str(plan)


def test_an_unreachable_difference_is_said():
    plan = plan_runs(measure=LAUNCH, difference=0.01, scatter=0.2)
    assert (plan.possible, plan.runs, plan.looks[0][0]) == (False, (), plan.runs_each)
    assert plan.to_dict()["runs_each"] is None
    assert f"more than {MOST_PLANNED}" in str(plan)


def test_two_looks_only_where_half_the_runs_are_balanced():
    looks = {n: plan_runs(measure=LAUNCH, difference=d, scatter=0.05).looks for n, d in ((8, 0.077), (4, 0.14))}
    assert looks[8] == ((4, 0.005), (8, 0.047))
    assert len(looks[4]) == 1
    six = plan_runs(measure=LAUNCH, difference=0.0925, scatter=0.05)
    assert (six.runs_each, len(six.looks)) == (6, 1)  # after AAABBB B has only run later
    assert not balanced("AAABBB")


def test_more_swaps_on_request():
    plan = plan_runs(measure=LAUNCH, difference=0.14, scatter=0.05, more_swaps=True)
    assert plan.order.startswith("ABBAABBA"[: len(plan.order)])


def test_wrong_wishes_are_refused():
    with pytest.raises(UsageError, match="difference"):
        plan_runs(measure=LAUNCH, difference=0.0)
    with pytest.raises(UsageError, match="both setups are called"):
        plan_runs(measure=LAUNCH, difference=0.1, names=("x", "x"))


def test_runs_still_needed():
    # 2.0 scatters at 80 % need 5.09 runs each (statsmodels), so 6; with 4 + 4 made, two more
    assert runs_needed(2.0, 1.0) == 6
    assert more_runs_each(2.0, 1.0, have=(4, 4)) == 2
    assert more_runs_each(1.0, 1.0, have=(17, 17)) == 1
    assert runs_needed(1e-6, 1.0) == MOST_RUNS


@given(st.floats(0.02, 0.5), st.integers(2, 8), st.integers(0, 2))
def test_a_larger_difference_never_needs_more_runs(difference, have, terms):
    some = more_runs_each(difference, 0.08, have=(have, have), terms=terms)
    assert more_runs_each(difference * 1.5, 0.08, have=(have, have), terms=terms) <= some


def test_pooled_history():
    found = pooled([(0.05, 4), (0.09, 2), (float("nan"), 3), (0.1, 0)])
    # pooled variance by hand: (4 x 0.0025 + 2 x 0.0081) / 6
    assert (found.sd, found.df) == (pytest.approx(math.sqrt(0.0262 / 6)), 6)
    assert pooled([]) is None


def test_the_generic_scatter_counts_as_one_beside_history():
    # s0^2 = (s_generic^2 + df sd^2) / (1 + df) by hand: generic 0.108, own 0.05 with 3
    found = working_scatter(4.0, 0.027, OwnScatter(sd=0.05, df=3))
    assert found.sd == pytest.approx(math.sqrt((0.108**2 + 3 * 0.05**2) / 4))
    assert found.prior_df(1) == pytest.approx(1.8)
    bare = working_scatter(4.0, 0.027, OwnScatter(sd=0.05, df=0))
    assert (bare.sd, bare.prior_df(2), bare.prior_df(3)) == (0.05, 4.0, 0.0)


def test_the_measure_that_varies_least_for_its_length_comes_first():
    rolling = parse_measure("10-30 mph")

    def runs(values):
        return [Run(setup="A", value=v, direction="E") for v in values]

    found = ranked({LAUNCH: runs([4.0, 4.2, 3.9, 4.1]), rolling: runs([2.80, 2.82, 2.79, 2.81])}, share=0.025)
    assert [choice.measure for choice in found] == ["10-30 mph", "0-30 mph"]
    assert found[0].difference_s == pytest.approx(0.025 * 2.805)
    assert found[0].runs_each < found[1].runs_each
    assert ranked({LAUNCH: runs([4.0])}, share=0.025) == []


def test_strips():
    # v^2 / (2 a) and v t by hand: 20 m/s, 4 m/s^2, 1 s: 50 + 20 m
    assert stopping_m(20.0, 4.0, 1.0) == pytest.approx(70.0)
    # constant power, 150 kg and 4000 W: 13.4112 m/s after 3.372380 s and 30.1518 m (closed form, computed with scipy)
    assert strip_for_launches(13.4112, 3.372380352).run_up_m == pytest.approx(30.151778, abs=1e-5)
    assert strip_for_launches(13.4112, 4.0, distance_m=38.0).run_up_m == 38.0
    strip = strip_for_top_speed(20.0, 13.4112, 4.0, run_up_m=200.0, deceleration_mps2=4.0, reaction_s=1.0)
    assert strip.total_m == pytest.approx(200.0 + 100.0 + 70.0)
    with pytest.raises(UsageError, match="does not lie above"):
        strip_for_top_speed(10.0, 13.4112, 4.0)
    with pytest.raises(UsageError, match="deceleration"):
        stopping_m(10.0, 0.0)
