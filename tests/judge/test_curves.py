"""The difference over the speed range: where it lies, and how sure that is."""

from dataclasses import replace

import numpy as np
import pytest
import scipy.stats

from tests.judge.sheets import curve, spring_day
from traceanalyze.comparison import Run
from traceanalyze.judge.curves import arc_length, compare_curves
from traceanalyze.judge.logs import compare
from traceanalyze.judge.verdict import compare_runs
from traceanalyze.units import MPH

NOISE = (0.003, -0.002, 0.001, -0.003, 0.002, 0.0, -0.002, 0.002)


def pairs(order="AABBBBAA", *, late=1.0, first=4.0, ways="EWEWEWEW"):
    """Launches whose changed setup takes `late` times as long above 9 m/s."""
    return [
        (
            Run(setup=s, value=4.0, order=i + 1.0, direction=ways[i]),
            curve(first * (1 + NOISE[i]), late if s == "B" else 1.0),
        )
        for i, s in enumerate(order)
    ]


def test_a_gain_at_high_speed_is_found_at_high_speed():
    found = compare_curves(pairs(late=0.9), baseline="A", top_mps=30 * MPH)
    low, middle, high = found.bands
    # thirds of 0-30 mph; 9 m/s is 20.1 mph, so only the last third differs, by a tenth of its length
    assert [band.to_mps for band in found.bands] == pytest.approx([10 * MPH, 20 * MPH, 30 * MPH])
    clean = curve()
    at = np.interp([9.0, 30 * MPH], clean.speed_mps, clean.time_s)
    assert high.difference_s == pytest.approx(-0.1 * (at[1] - at[0]), abs=0.01)
    assert high.verdict == "better"
    assert high.high95_s < 0
    assert low.verdict == middle.verdict == "no meaningful difference"
    assert found.sentence.startswith("Below 20 mph no difference larger than 0.10 s; gains 0.1")
    assert found.total.difference_s == pytest.approx(sum(band.difference_s for band in found.bands), abs=1e-9)


def test_the_band_around_the_curve_says_the_same():
    found = compare_curves(pairs(late=0.9), baseline="A", top_mps=30 * MPH)
    assert found.time_high95_s[-1] < 0  # quicker to the top, surely
    early = found.speed_mps < 8.0
    assert (found.time_low95_s[early] < 0).all()
    assert (found.time_high95_s[early] > 0).all()
    assert (found.time_low95_s <= found.time_difference_s).all()
    assert found.speed_mps[0] > 1.3  # above the start mark only


def test_the_table_is_four_joint_intervals():
    # the total is the time to 30 mph itself; four intervals that hold jointly 95 times in 100 (Bonferroni) have
    # t(1 - 0.025/4, 4 df) = 4.315 each (scipy.stats.t)
    days = pairs(late=0.9)
    found = compare_curves(days, baseline="A", top_mps=13.25)
    runs = [replace(run, value=float(c.time_s[53]), stderr=0.015) for run, c in days]  # 13.25 m/s, a point of the grid
    one = compare_runs(runs, baseline="A")
    assert found.total.difference_s == pytest.approx(one.difference, abs=1e-12)
    half = (found.total.high95_s - found.total.low95_s) / 2
    assert half == pytest.approx(scipy.stats.t.ppf(1 - 0.025 / 4, one.df) * one.stderr, rel=1e-9)


def test_the_band_holds_over_the_whole_range():
    # 120 made-up days without any difference, launches that differ as a whole and here and there: a band that holds
    # 95 times in 100 holds fewer than 104 times of 120 once in 10,000; plain intervals at each speed hold about 70 %
    rng = np.random.default_rng(5)
    speed = np.arange(57) * 0.25
    waves = np.linalg.cholesky(np.exp(-0.5 * ((speed[:, None] - speed) / 3.0) ** 2) + 1e-9 * np.eye(57)).T
    held = 0
    for _ in range(120):
        day = []
        for run, c in pairs():
            push = 1 + 0.03 * rng.standard_normal() + 0.03 * rng.standard_normal(57) @ waves
            steps = np.diff(c.time_s) / ((push[1:] + push[:-1]) / 2)
            time = c.time_s[0] + np.concatenate([[0.0], np.cumsum(steps)])
            time = time - np.interp(1.3, speed, time)
            day.append((run, replace(c, time_s=time, time_stderr_s=np.full(57, 0.001), accel_mps2=c.accel_mps2 * push)))
        found = compare_curves(day, baseline="A", top_mps=30 * MPH)
        held += bool(((found.time_low95_s <= 0) & (found.time_high95_s >= 0)).all())
    assert held >= 104


def test_nothing_to_see_is_said_plainly():
    found = compare_curves(pairs(), baseline="A", top_mps=30 * MPH)
    assert all(band.verdict == "no meaningful difference" for band in found.bands)
    assert "no difference larger than 0.10 s" in found.sentence


def test_metric_words_and_thirds():
    found = compare_curves(pairs(late=0.9), baseline="A", top_mps=45 / 3.6, system="metric")
    assert [band.to_mps * 3.6 for band in found.bands] == pytest.approx([15, 30, 45])
    assert "km/h" in found.sentence


def test_confounded_setups_have_means_but_no_bands():
    found = compare_curves(pairs("ABABABAB"), baseline="A", top_mps=30 * MPH)
    assert found.bands == ()
    assert np.isnan(found.time_low95_s).all()
    assert np.isfinite(found.time_difference_s).all()
    assert "nothing can be told" in found.sentence


def test_too_few_launches_give_no_curve():
    assert compare_curves(pairs("ABB"), baseline="A", top_mps=30 * MPH) is None
    assert compare_curves([], baseline="A", top_mps=30 * MPH) is None


def test_two_runs_each_have_a_table_but_no_band():
    found = compare_curves(pairs("ABBA"), baseline="A", top_mps=30 * MPH)
    assert len(found.bands) == 3
    assert np.isnan(found.time_low95_s).all()


def test_the_means_are_those_of_the_setups():
    found = compare(*spring_day()).curves
    np.testing.assert_allclose(found.changed_time_s - found.baseline_time_s, found.time_difference_s, atol=1e-12)
    assert (found.changed_accel_mps2 > found.baseline_accel_mps2).all()
    frame = found.to_frame()
    assert list(frame.columns)[:2] == ["speed_mps", "baseline_time_s"]


def test_arc_length_of_a_quarter_turn():
    angle = np.linspace(0, np.pi / 2, 50)
    # lengths are of the direction alone, so a growing radius changes nothing; chords of equal angle add up exactly
    turning = np.column_stack([np.cos(angle), np.sin(angle)]) * np.linspace(1, 7, 50)[:, None]
    assert arc_length(turning) == pytest.approx(np.pi / 2, rel=1e-9)
