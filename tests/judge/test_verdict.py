"""The table of verdicts, line by line, and the laws every verdict keeps."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from traceanalyze.comparison import VERDICTS, Run
from traceanalyze.errors import UsageError
from traceanalyze.judge.verdict import compare_runs

# Residual patterns that sum to nothing against setup, direction and order of AABBBBAA, so that a test states the
# difference itself and the scatter by `size`.
ORDER, WAYS = "AABBBBAA", "EWEWEWEW"
NOISE = (1.0, 1.0, -1.0, 1.0, 1.0, -1.0, -1.0, -1.0)


def day(order=ORDER, ways=WAYS, difference=0.0, size=0.05, drift=0.0, wind=0.0, base=4.0, stderr=0.0):
    """A day of runs with a stated difference."""
    return [
        Run(
            setup=setup,
            value=base + difference * (setup == "B") + size * NOISE[i % 8] + drift * i + wind * (ways[i] == "E"),
            stderr=stderr,
            order=i + 1.0,
            direction=ways[i],
        )
        for i, setup in enumerate(order)
    ]


def judged(runs, **options):
    return compare_runs(runs, baseline="A", measure=options.pop("measure", "0-30 mph"), **options)


def test_a_clear_gain_is_better_and_says_by_how_much():
    found = judged(day(difference=-0.30, size=0.03))
    assert (found.verdict, found.reason) == ("better", "claim")
    assert found.high95 < -0.10
    assert found.why.startswith("Quicker with B: 0-30 mph by 0.30 s (between 0.")
    assert "clearly more than 0.10 s" in found.why
    assert "Holds for this fitting of the part." in found.why
    assert found.more_runs_each == 0


def test_a_clear_loss_is_worse():
    found = judged(day(difference=0.30, size=0.03))
    assert found.verdict == "worse"
    assert found.why.startswith("Slower with B")


def test_for_a_top_speed_larger_is_better():
    found = judged(day(difference=1.0, size=0.05, base=20.0), measure="top speed")
    assert (found.verdict, found.unit, found.shown_unit) == ("better", "m/s", "mph")
    # 1 m/s = 2.2369 mph (1609.344 m / 3600 s a mile an hour)
    assert "Faster with B: top speed by 2.2 mph" in found.why


def test_a_real_but_small_difference_is_said_to_be_too_small():
    found = judged(day(difference=-0.04, size=0.004))
    assert found.verdict == "better"
    assert "less than 0.10 s: too small to matter" in found.why
    assert found.next_step.startswith("Too small to matter")


def test_no_meaningful_difference_needs_the_90_percent_interval_inside():
    found = judged(day(difference=0.005, size=0.02))
    assert (found.verdict, found.reason) == ("no meaningful difference", "within")
    assert -0.10 < found.low90 < found.high90 < 0.10
    assert judged(day(difference=0.005, size=0.02), smallest=0.02).verdict == "cannot tell yet"


def test_cannot_tell_says_both_ends_and_how_many_more():
    found = judged(day(difference=-0.07, size=0.08))
    assert (found.verdict, found.reason) == ("cannot tell yet", "open")
    assert found.low95 < 0 < found.high95
    assert found.more_runs_each >= 1
    assert f"may be {-found.low95:.2f} s quicker or {found.high95:.2f} s slower" in found.why
    assert f"about {found.more_runs_each} more run" in found.why


def test_one_run_is_not_enough():
    found = judged(day("ABB", "EWE", difference=-1.0))
    assert (found.verdict, found.reason) == ("cannot tell yet", "few runs")
    assert math.isnan(found.low95)
    assert "one run of A" in found.why
    assert found.more_runs_each >= 1


def test_setup_and_direction_alternating_are_confounded_whatever_the_difference():
    found = judged(day("ABABABAB", "EWEWEWEW", difference=-2.0))
    assert (found.verdict, found.reason) == ("confounded", "direction")
    assert math.isnan(found.low95)
    assert found.to_dict()["interval95"] == [None, None]
    assert "run each setup both ways" in found.why


def test_runs_of_unknown_direction_do_not_hide_that_setup_and_direction_alternate():
    ways = ["E", "W", "E", "W", "E", "W", "", "W"]
    found = judged(day("ABABABAB", ways, difference=-2.0))
    assert (found.verdict, found.reason) == ("confounded", "direction")
    unknown = judged(day("ABABABAB", [w if s == "B" else "" for s, w in zip("ABABABAB", ways, strict=True)]))
    assert unknown.reason != "direction"
    assert "direction-unknown" in {remark.code for remark in unknown.remarks}


def test_each_setup_on_its_own_day_is_confounded():
    runs = [
        Run(setup=s, value=4.0 - 0.5 * (s == "B") + 0.01 * i, order=i + 1.0, block=s) for i, s in enumerate("AAAABBBB")
    ]
    found = judged(runs)
    assert (found.verdict, found.reason) == ("confounded", "day")


def test_a_later_setup_must_stand_three_times_the_usual_drift():
    # A A A B B B: lever 3 runs. 0.35 % of 4 s = 0.014 s a run, so 0.042 s with one and 0.126 s with three: a steady
    # rider's gain of 0.15 s stands the first but not the second; 0.60 s stands both.
    doubtful = judged(day("AAABBB", "EWEWEW", difference=-0.15, size=0.005))
    assert (doubtful.verdict, doubtful.reason) == ("confounded", "order")
    assert math.isfinite(doubtful.low95)
    assert "run A again" in doubtful.why
    assert judged(day("AAABBB", "EWEWEW", difference=-0.60, size=0.005)).verdict == "better"


def test_the_allowance_for_drift_by_hand():
    # A A A B B B one way: se^2 = s^2 (1/3 + 1/3) with 4 df; lever = mean place of B minus that of A = 3 runs, each
    # worth 0.35 % of the mean; se_tot^2 = se^2 + (lever tau)^2, df_tot = df (se_tot^2 / se^2)^2
    times = [4.00, 4.10, 4.05, 3.90, 3.95, 3.85]
    runs = [
        Run(setup=s, value=t, order=i + 1.0, direction="E")
        for i, (s, t) in enumerate(zip("AAABBB", times, strict=True))
    ]
    found = judged(runs)
    se2 = 0.05**2 * 2 / 3  # both setups vary by 0.05 s
    total2 = se2 + (3 * 0.0035 * sum(times) / 6) ** 2
    assert found.stderr == pytest.approx(math.sqrt(total2), rel=1e-9)
    assert found.df == pytest.approx(4 * (total2 / se2) ** 2, rel=1e-9)


def test_a_later_setup_is_never_called_equal():
    assert judged(day("AAABBB", "EWEWEW", difference=0.0, size=0.005)).verdict == "cannot tell yet"


def test_direction_and_drift_are_taken_out_where_they_can_be():
    still = judged(day(difference=-0.2, size=0.02))
    windy = judged(day(difference=-0.2, size=0.02, wind=0.5, drift=0.05))
    # exact in exact arithmetic: both lie in the columns that are fitted
    assert windy.difference == pytest.approx(still.difference, abs=1e-12)
    # the scatter is 2.7 % of the mean, which the wind moves; with no history it only sets equal weights
    assert windy.stderr == pytest.approx(still.stderr, rel=1e-9)
    assert "direction, drift" in windy.model


def test_two_days_are_compared_within_each():
    runs = [
        Run(
            setup=s,
            value=4.0 - 0.3 * (s == "B") + 0.8 * (block == "2") + 0.02 * NOISE[i],
            order=i % 4 + 1.0,
            direction="EW"[i % 2],
            block=block,
        )
        for i, (s, block) in enumerate(zip("ABBAABBA", "11112222", strict=True))
    ]
    found = judged(runs)
    assert found.verdict == "better"
    assert "day" in found.model
    assert found.difference == pytest.approx(-0.3, abs=0.03)


def test_with_few_runs_the_usual_scatter_speaks_and_the_output_says_so():
    found = judged(day("ABBA", "EWEW", difference=-0.1, size=0.001))
    assert found.scatter_df == pytest.approx(5.0)  # 4 runs - 3 terms + 4 for the usual scatter
    assert "too few runs to know the scatter" in found.model


def test_own_history_counts_and_is_capped():
    runs = day("ABBA", "EWEW", difference=-0.2, size=0.01)
    few, many = judged(runs, scatter=0.03, scatter_df=5), judged(runs, scatter=0.03, scatter_df=1000)
    assert few.scatter_df == pytest.approx(1 + 0.6 * 5)
    assert many.scatter_df == pytest.approx(1 + 8)
    assert many.stderr < judged(runs).stderr


def test_the_stated_uncertainty_is_a_floor():
    calm = judged(day(difference=-0.05, size=0.001, stderr=0.06))
    # eight runs known to 0.06 s each: the difference of two means of four cannot be known better
    assert calm.stderr >= 0.06 * math.sqrt(2 / 4) * (1 - 1e-9)
    assert calm.verdict == "cannot tell yet"


def test_runs_that_repeat_exactly_claim_nothing_absurd():
    runs = [Run(setup=s, value=4.1 if s == "A" else 4.0, order=i + 1.0) for i, s in enumerate("ABBAABBA")]
    found = judged(runs)
    assert found.stderr > 0
    assert found.p_value > 0


def test_order_in_the_list_does_not_matter():
    runs = day(difference=-0.2, size=0.03, drift=0.02)
    assert judged(runs).to_dict() == judged(runs[::-1]).to_dict()


def test_bad_values_are_refused():
    with pytest.raises(UsageError, match="above 0"):
        judged([*day(), Run(setup="A", value=float("nan"), order=9.0)])
    with pytest.raises(UsageError, match="uncertainties"):
        judged([*day(), Run(setup="A", value=4.0, stderr=-1.0, order=9.0)])
    with pytest.raises(UsageError, match="one setup beside"):
        judged([*day(), Run(setup="C", value=4.0, order=9.0)])
    with pytest.raises(UsageError, match="smallest difference"):
        judged(day(), smallest=0.0)
    with pytest.raises(UsageError, match="scatter"):
        judged(day(), scatter=-1.0)


values = st.lists(st.floats(3.0, 6.0), min_size=8, max_size=8)


@settings(max_examples=60, deadline=None)
@given(values, st.floats(0.5, 20.0))
def test_seconds_or_half_seconds_give_one_verdict(times, factor):
    # everything scales with the unit of time: generic scatter and drift are shares, X is scaled here
    def at(scale):
        return judged(
            [
                Run(setup=s, value=t * scale, order=i + 1.0, direction=w)
                for i, (s, t, w) in enumerate(zip(ORDER, times, WAYS, strict=True))
            ],
            smallest=0.1 * scale,
        )

    one, other = at(1.0), at(factor)
    assert other.p_value == pytest.approx(one.p_value, rel=1e-6, abs=1e-12)
    assert abs(one.p_value - 0.05) < 1e-9 or one.verdict == other.verdict


@settings(max_examples=60, deadline=None)
@given(values, st.floats(-1.0, 1.0), st.sampled_from(["AABBBBAA", "ABBAABBA", "AAAABBBB", "ABABABAB"]))
def test_swapping_the_names_turns_the_sign_and_nothing_else(times, shift, order):
    runs = [
        Run(setup=s, value=t + 2 + shift * (s == "B"), order=i + 1.0, direction=w)
        for i, (s, t, w) in enumerate(zip(order, times, "EEWWEEWW", strict=True))
    ]
    one = compare_runs(runs, baseline="A", changed="B")
    other = compare_runs(runs, baseline="B", changed="A")
    assert one.verdict in VERDICTS
    if math.isfinite(one.stderr):
        assert other.difference == pytest.approx(-one.difference, abs=1e-9)
        assert (other.low95, other.high95) == pytest.approx((-one.high95, -one.low95), abs=1e-9)
        assert one.low95 <= one.low90 <= one.difference <= one.high90 <= one.high95
    opposite = {"better": "worse", "worse": "better"}
    assert other.verdict == opposite.get(one.verdict, one.verdict)


@settings(max_examples=40, deadline=None)
@given(values, st.floats(0.01, 0.3))
def test_a_shift_of_the_changed_setup_shifts_the_difference(times, shift):
    def at(amount):
        return judged(
            [
                Run(setup=s, value=t + amount * (s == "B"), order=i + 1.0)
                for i, (s, t) in enumerate(zip(ORDER, times, strict=True))
            ],
            scatter=0.1,
            scatter_df=0,
        )

    assert at(shift).difference - at(0.0).difference == pytest.approx(shift, abs=1e-9)
