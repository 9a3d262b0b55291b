"""Launches with exactly known times: closed forms, all start rules, doubts, hostile arrays, honest intervals."""

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from traceanalyze.errors import SignalError
from traceanalyze.estimate.launch import measure_launch, measure_launches
from traceanalyze.signal.noise import SpeedNoise, estimate_noise
from traceanalyze.trace import make_trace
from traceanalyze.units import parse_measure

T30 = parse_measure("0-30 mph")
FT60 = parse_measure("60 ft")


@dataclass(frozen=True)
class Span:
    first: int
    onset: int
    corner: int
    peak: int
    last: int
    remarks: tuple = ()


def span_of(t, v, onset_s):
    onset = max(int(np.searchsorted(t, onset_s)) - 1, 0)
    return Span(0, onset, onset, int(np.nanargmax(v)), t.size - 1)


def launch_of(t, v, measures=(T30,), onset_s=0.0, noise=None, **span):
    trace = make_trace(t - t[0], speed_mps=v)
    noise = noise or estimate_noise(trace.t_s, trace.speed_mps, trace.stretch)
    return measure_launch(trace, replace(span_of(t, v, onset_s), **span), noise, tuple(measures))


# Closed forms: constant thrust 2.5 m/s^2; thrust 400 N with square drag 0.36 kg/m on 150 kg (v = v_t tanh(t/tau),
# x = v_t tau ln cosh(t/tau)); thrust 500 N up to 4 kW on 150 kg. Times evaluated with scipy 1.17.1.
def constant(t):
    return 2.5 * t


def drag(t):
    return np.sqrt(400 / 0.36) * np.tanh(t * np.sqrt(400 * 0.36) / 150)


def power_limited(t):
    t1 = 8 * 150 / 500
    return np.where(t < t1, 500 / 150 * t, np.sqrt(64 + 2 * 4000 / 150 * np.maximum(t - t1, 0)))


CASES = [
    (constant, 5.36448, 4.870678420),
    (drag, 5.330412333637, 4.852232715),
    (power_limited, 4.572380352, 4.572380352 - math.sqrt(2 * 0.3048 * 150 / 500)),
]


def closed_form(law, rate_hz, phase):
    t = np.arange(-6, 9, 1 / rate_hz) + phase / rate_hz
    return t, np.where(t > 0, law(np.maximum(t, 0)), 0.0)


@pytest.mark.parametrize(("law", "rest_s", "rollout_s"), CASES)
@pytest.mark.parametrize("rate_hz", [5, 10, 25])
@pytest.mark.parametrize("phase", [0.0, 0.3, 0.77])
def test_closed_forms_without_noise(law, rest_s, rollout_s, rate_hz, phase):
    t, v = closed_form(law, rate_hz, phase)
    launch = launch_of(t, v)
    # samples alone do not tell a corner from a ramp shorter than a period: rollout keeps within 4 ms (its stated 6),
    # rest within its stated interval; half a sample of error would be 20-100 ms
    assert launch.time("0-30 mph", "rollout").elapsed.value == pytest.approx(rollout_s, abs=0.005)
    rest = launch.time("0-30 mph", "rest").elapsed
    assert rest.low95 < rest_s < rest.high95
    assert rest.stderr < 0.09


def test_distance_and_time_belong_together():
    t, v = closed_form(drag, 10, 0.3)
    launch = launch_of(t, v, (T30, FT60))
    # x(t30) = 36.788987150 m, t(60 ft) = 3.730662297 s in closed form; the rollout mark lies at 0.3048 m
    by_rollout, by_rest = (launch.time("60 ft", rule) for rule in ("rollout", "rest"))
    assert by_rollout.distance_m == pytest.approx(18.288 - 0.3048, abs=1e-6)
    assert by_rest.distance_m == pytest.approx(18.288, abs=1e-6)
    assert by_rollout.elapsed.value == pytest.approx(3.730662297 - 0.478179618, abs=0.005)
    assert launch.time("0-30 mph", "rollout").distance_m == pytest.approx(36.788987150 - 0.3048, abs=0.1)


def test_curve_passes_through_the_measures():
    t, v = closed_form(drag, 10, 0.3)
    launch = launch_of(t, v)
    curve = launch.curve
    at = np.interp(13.4112, curve.speed_mps, curve.time_s)
    assert at == pytest.approx(launch.time("0-30 mph", "rollout").elapsed.value, abs=2e-3)  # linear between 0.25 m/s
    # a = (F - k v^2) / m of the law, at 5 and 10 m/s
    for speed in (5.0, 10.0):
        k = int(np.searchsorted(curve.speed_mps, speed))
        assert curve.accel_mps2[k] == pytest.approx((400 - 0.36 * speed**2) / 150, abs=0.05)
    assert curve.speed_mps[0] == 0
    assert np.all(np.diff(curve.time_s) > 0)


def test_a_target_between_the_last_two_samples_is_timed():
    # constant thrust up to 13.45 m/s, 0.04 m/s above 30 mph: only the last sample lies beyond it
    t = np.append(np.arange(-6, 5.36, 0.1), 5.38)
    launch = launch_of(t, constant(np.maximum(t, 0)))
    elapsed = launch.time("0-30 mph", "rollout").elapsed
    assert elapsed.value == pytest.approx(4.870678420, abs=0.005)  # as for the closed forms above
    assert launch.peak_speed_mps == pytest.approx(13.45, abs=0.02)  # a mean with the sample before would be 0.1 less


def test_times_are_the_same_without_curves():
    t, v = closed_form(drag, 10, 0.3)
    trace = make_trace(t - t[0], speed_mps=v)
    noise = estimate_noise(trace.t_s, trace.speed_mps, trace.stretch)
    with_curve, without = (
        measure_launches(trace, [span_of(t, v, 0.0)], noise, (T30, FT60), with_curves=wanted)[0]
        for wanted in (True, False)
    )
    assert with_curve.curve is not None
    assert without.curve is None
    assert (without.start, without.times, without.remarks) == (with_curve.start, with_curve.times, with_curve.remarks)


def test_rolling_and_stopping():
    # up with 2.5 m/s^2 to 20 m/s, down with 4 m/s^2: 20-40 mph takes 3.57632 s, 30-0 mph 3.3528 s, 40-20 2.2352 s
    rng = np.random.default_rng(2)
    t = np.arange(-6, 22, 0.1)
    v = np.clip(2.5 * t, 0, 20)
    v = np.where(t > 10, np.maximum(20 - 4 * (t - 10), 0), v)
    seen = np.hypot(v + 0.05 * rng.standard_normal(t.size), 0.05 * rng.standard_normal(t.size))
    launch = launch_of(t, seen, [parse_measure(word) for word in ("20-40 mph", "30-0 mph", "40-20 mph")])
    for label, true in (("20-40 mph", 3.57632), ("30-0 mph", 3.3528), ("40-20 mph", 2.2352)):
        found = launch.time(label)
        assert found.start_rule is None
        assert abs(found.elapsed.value - true) < 3.5 * found.elapsed.stderr
        assert found.elapsed.stderr < 0.1
    # 15.6464^2... v^2/2a: 17.8816 and 8.9408 m/s at 2.5 m/s^2 are 47.963 m apart
    assert launch.time("20-40 mph").distance_m == pytest.approx((17.8816**2 - 8.9408**2) / 5, abs=1.0)


def test_what_is_not_reached_is_absent_and_said():
    t, v = closed_form(constant, 10, 0.0)
    launch = launch_of(t, v, [parse_measure("0-60 mph"), parse_measure("30-0 mph"), parse_measure("top speed")])
    assert launch.times == ()
    assert [r.text for r in launch.remarks if r.code == "not-reached"] == [
        "0-60 mph was not reached",
        "30-0 mph was not reached",
    ]


NOISE = SpeedNoise(0.05, 0.035, 1.2, 0.0, 0.0, 60.0, 0.1)


def noisy(rng, rate_hz=10, sigma=0.05, law=constant, low_s=-8.0, high_s=8.0):
    t = np.arange(low_s, high_s, 1 / rate_hz) + rng.uniform(0, 1 / rate_hz)
    v = np.where(t > 0, law(np.maximum(t, 0)), 0.0)
    return t, np.hypot(v + sigma * rng.standard_normal(t.size), sigma * rng.standard_normal(t.size))


def taken_up(accel, tau):
    """Constant acceleration after a linear take-up, with its times to 30 mph by `rest` and `rollout` [s]."""

    def law(t):
        return np.where(t < tau, accel * t**2 / (2 * tau), accel * (t - tau / 2))

    # v = a (t - tau/2), x = a (t - tau/2)^2 / 2 + a tau^2 / 24 after the take-up
    rest_s = 13.4112 / accel + tau / 2
    return law, rest_s, rest_s - tau / 2 - math.sqrt(2 * (0.3048 - accel * tau**2 / 24) / accel)


@pytest.mark.parametrize("rate_hz", [1, 10])
def test_intervals_cover_the_truth(rate_hz):
    # 40 launches each: 95 % nominal; fewer than 34 hits has a chance of 1 in 300 (binomial law)
    rng = np.random.default_rng(rate_hz)
    hits = np.zeros(3)
    for _k in range(40):
        law, rest_s, rollout_s = taken_up(rng.uniform(2.0, 4.5), rng.uniform(0.05, 0.4))
        t, v = noisy(rng, rate_hz, law=law)
        launch = launch_of(t, v)
        for i, (rule, true) in enumerate((("rollout", rollout_s), ("rest", rest_s))):
            found = launch.time("0-30 mph", rule).elapsed
            hits[i] += found.low95 <= true <= found.high95
            hits[2] += rule == "rollout" and found.stderr < (0.06 if rate_hz == 10 else 0.2)
    assert hits[0] >= 34
    assert hits[1] >= 34
    assert hits[2] == 40  # and they are narrow enough to be of use


def test_a_shuffle_before_the_start_is_not_the_onset():
    rng = np.random.default_rng(6)
    t, v = noisy(rng)
    v = v + np.where(np.abs(t + 2.5) < 0.5, 0.6, 0.0)
    launch = launch_of(t, v, first=0)
    assert launch.start.value + t[0] == pytest.approx(0.0, abs=0.2)  # the shuffle was 2.5 s before


def test_a_hold_at_zero_is_seen_through():
    # a hold of 0.5 m/s taken at its word would make `rest` 0.2 s too short at 2.5 m/s^2
    rng = np.random.default_rng(9)
    t, v = noisy(rng)
    held = np.where(v < 0.5, 0.0, v)
    launch = launch_of(t, held, noise=replace(NOISE, hold_mps=0.5))
    rest, rollout = (launch.time("0-30 mph", rule).elapsed for rule in ("rest", "rollout"))
    assert rest.low95 < 5.36448 < rest.high95
    assert rollout.value == pytest.approx(4.870678, abs=0.09)
    assert "hold-at-zero" in [remark.code for remark in launch.remarks]


def test_a_creeping_start_is_remarked_and_widened():
    rng = np.random.default_rng(4)
    t, v = noisy(rng)
    clear = launch_of(t, v, noise=NOISE).time("0-30 mph", "rollout").elapsed
    creeping = np.maximum(v, np.where(t > -2.5, 0.3, 0) + 0.03 * rng.standard_normal(t.size))
    launch = launch_of(t, creeping, noise=NOISE)
    assert "creep" in [remark.code for remark in launch.remarks]
    assert launch.time("0-30 mph", "rollout").elapsed.stderr > 0.3 > 5 * clear.stderr


def test_a_gap_over_the_start_leaves_no_time():
    rng = np.random.default_rng(4)
    t, v = noisy(rng)
    keep = (t < -0.4) | (t > 0.6)
    launch = launch_of(t[keep], v[keep], (T30, parse_measure("20-30 mph")), noise=NOISE)
    assert launch.time("0-30 mph", "rollout") is None
    assert launch.curve is None
    assert "gap-over-start" in [remark.code for remark in launch.remarks]
    assert launch.time("20-30 mph") is not None  # which the gap does not touch


def test_a_gap_at_the_target_widens():
    rng = np.random.default_rng(4)
    t, v = noisy(rng)
    full = launch_of(t, v, noise=NOISE).time("0-30 mph", "rollout").elapsed
    keep = (t < 4.9) | (t > 5.9)
    launch = launch_of(t[keep], v[keep], noise=NOISE)
    found = launch.time("0-30 mph", "rollout").elapsed
    assert found.low95 < 4.870678 < found.high95
    assert found.stderr > full.stderr
    assert "gap-at-target" in [remark.code for remark in launch.remarks]


def test_grazing_the_target_is_remarked_and_wide():
    # touches 13.45 m/s at 5.4 s, sags to 12.9 and comes back at 9 s: both times are defensible
    t = np.arange(-6, 14, 0.1)
    v = np.interp(t, [0, 5.4, 7.2, 10.8], [0, 13.43, 12.9, 14.4])
    rng = np.random.default_rng(1)
    seen = np.hypot(v + 0.05 * rng.standard_normal(t.size), 0.05 * rng.standard_normal(t.size))
    launch = launch_of(t, seen, noise=NOISE)
    found = launch.time("0-30 mph", "rollout").elapsed
    assert "grazes-target" in [remark.code for remark in launch.remarks]
    assert found.high95 - found.low95 > 1.0


def test_the_same_log_gives_the_same_numbers():
    t, v = noisy(np.random.default_rng(3))
    first, second = launch_of(t, v), launch_of(t, v)
    assert first.to_dict() == second.to_dict()


def test_a_low_rate_and_a_short_rest_are_said():
    t, v = noisy(np.random.default_rng(3), rate_hz=1, low_s=-0.9)
    codes = [remark.code for remark in launch_of(t, v, noise=replace(NOISE, period_s=1.0)).remarks]
    assert "low-rate" in codes
    assert "short-rest" in codes


@pytest.mark.parametrize("speeds", [np.zeros(50), np.full(50, 12.0), np.full(50, np.nan), np.arange(3.0)])
def test_no_climb_is_refused(speeds):
    t = np.arange(speeds.size) * 0.1
    span = Span(0, 0, 0, speeds.size - 1, speeds.size - 1)
    with pytest.raises(SignalError):
        measure_launch(make_trace(t, speed_mps=speeds), span, NOISE, (T30,))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.one_of(st.just(0.0), st.just(float("nan")), st.floats(0, 40)), min_size=4, max_size=60),
    st.sampled_from([0.04, 0.1, 1.0]),
    st.integers(0, 59),
)
def test_any_samples_give_a_launch_or_a_refusal(speeds, period_s, onset):
    values = np.array(speeds)
    t = np.arange(values.size) * period_s
    if not np.isfinite(values).any():
        return
    peak = int(np.nanargmax(values))
    onset = min(onset, peak)
    span = Span(0, onset, onset, peak, values.size - 1)
    try:
        launch = measure_launch(make_trace(t, speed_mps=values), span, NOISE, (T30, FT60, parse_measure("30-0 mph")))
    except SignalError:
        return
    for result in launch.times:
        assert result.elapsed.stderr >= 0
        assert result.elapsed.low95 <= result.elapsed.high95
