"""Noise of a receiver's speed, from logs whose noise is known."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from traceanalyze.errors import SignalError
from traceanalyze.signal.noise import (
    SpeedNoise,
    estimate_noise,
    hold_level_mps,
    nominal_period_s,
    rounding_step_mps,
)


def gauss_markov(rng, n, period_s, sigma, tau_s):
    rho = np.exp(-period_s / tau_s)
    out = np.empty(n)
    last = rng.normal() * sigma
    for k, kick in enumerate(rng.normal(size=n) * sigma * np.sqrt(1 - rho**2)):
        last = rho * last + kick
        out[k] = last
    return out


def log(rng, rate_hz, sigma, share=0.5, tau_s=1.0, rest_s=60.0, step_mps=0.0, hold_mps=0.0, launches=3):
    """Rests and climbs in turn: the length of a two-dimensional noise vector about the speed."""
    period_s = 1 / rate_hz
    one = np.concatenate((np.zeros(int(rest_s * rate_hz)), 3 * period_s * np.arange(int(6 * rate_hz))))
    one = np.concatenate((one, one[: -int(6 * rate_hz) - 1 : -1] * 0.7))
    v = np.tile(one, launches)
    axes = [
        gauss_markov(rng, v.size, period_s, sigma * np.sqrt(share), tau_s)
        + rng.normal(size=v.size) * sigma * np.sqrt(1 - share)
        for _ in range(2)
    ]
    seen = np.hypot(v + axes[0], axes[1])
    seen = np.where(seen < hold_mps, 0.0, seen)
    if step_mps:
        seen = np.round(seen / step_mps) * step_mps
    return np.arange(v.size) * period_s, seen, np.zeros(v.size, int)


@pytest.mark.parametrize("rate_hz", [1, 5, 10, 25])
@pytest.mark.parametrize("sigma", [0.03, 0.15])
def test_sigma_of_a_log_with_rest(rate_hz, sigma):
    # 180 s of rest with a memory of a second: a standard deviation known to 5 %; three times that
    noise = estimate_noise(*log(np.random.default_rng(1), rate_hz, sigma))
    assert noise.sigma_mps == pytest.approx(sigma, rel=0.15)
    assert noise.rest_s > 100
    assert noise.period_s == pytest.approx(1 / rate_hz)


def test_rest_is_read_by_rayleighs_law():
    # Rayleigh's mean is sqrt(pi/2) sigma = 1.2533 sigma (Rice 1945): taking the mean for sigma would be 25 % high
    rng = np.random.default_rng(3)
    noise = estimate_noise(*log(rng, 10, 0.1, share=0.05))
    assert noise.sigma_mps == pytest.approx(0.1, rel=0.05)


def test_slow_share_is_seen_in_a_long_rest():
    rng = np.random.default_rng(5)
    shares = [(n.slow_mps / n.sigma_mps) ** 2 for n in (estimate_noise(*log(rng, 10, 0.05, s)) for s in (0.05, 0.9))]
    assert shares[0] < 0.35 < 0.65 < shares[1]


def test_a_receiver_that_calms_itself_at_rest_is_judged_by_its_motion():
    rng = np.random.default_rng(7)
    t_s, seen, stretch = log(rng, 10, 0.1, share=0.3)
    seen = np.where(seen < 0.6, 0.02 * seen, seen)
    noise = estimate_noise(t_s, seen, stretch)
    # third differences leave out the slow part, which is then supposed: right to a quarter
    assert noise.sigma_mps == pytest.approx(0.1, rel=0.3)
    assert noise.rest_sigma_mps < 0.03


def test_shuffles_do_not_count_as_noise():
    rng = np.random.default_rng(8)
    t_s, seen, stretch = log(rng, 10, 0.05)
    for at in (100, 250, 400):
        seen[at : at + 6] = 0.4
    assert estimate_noise(t_s, seen, stretch).sigma_mps == pytest.approx(0.05, rel=0.12)


@pytest.mark.parametrize(
    ("step", "values"),
    [
        (0.1 * 1852 / 3600, 30),  # 0.1 kn
        (0.01 * 1852 / 3600, 200),
        (1 / 3.6, 60),  # 1 km/h
        (0.01 / 3.6, 300),
        (0.01, 300),  # 0.01 m/s
    ],
)
def test_rounding_steps(step, values):
    rng = np.random.default_rng(2)
    speeds = rng.integers(0, values, 400) * step
    assert rounding_step_mps(speeds) == pytest.approx(step, rel=1e-6)
    assert rounding_step_mps(speeds + rng.normal(size=400) * 0.3 * step) < 0.5 * step


def test_hold_at_zero_is_seen_and_its_level():
    rng = np.random.default_rng(4)
    t_s, seen, stretch = log(rng, 10, 0.05, hold_mps=0.4, launches=4)
    noise = estimate_noise(t_s, seen, stretch)
    # steps at 10 Hz are 0.3 m/s over eight starts and stops: the lowest speed shown is within 0.2 of the level
    assert 0.4 <= noise.hold_mps < 0.6
    # rest tells nothing then; motion does, up to the slow part that is supposed
    assert noise.sigma_mps == pytest.approx(0.05, rel=0.3)


def test_rounding_to_zero_is_no_hold():
    rng = np.random.default_rng(4)
    t_s, seen, stretch = log(rng, 10, 0.05, step_mps=1 / 3.6)
    assert hold_level_mps(t_s, seen, stretch, 1 / 3.6) == 0
    assert estimate_noise(t_s, seen, stretch).hold_mps == 0


def test_period_passes_over_gaps_and_stretches():
    t_s = np.array([0.0, 0.1, 0.2, 5.0, 5.1, 5.2, 9.0, 9.1])
    assert nominal_period_s(t_s, np.array([0, 0, 0, 0, 0, 0, 1, 1])) == pytest.approx(0.1)


def test_white_part_holds_the_rounding():
    # uniform rounding error: variance step^2/12 (Widrow, IRE Trans. Circuit Theory 3 (1956) 266)
    noise = SpeedNoise(0.05, 0.03, 1.0, 0.1, 0.0, 60.0, 0.1)
    assert noise.white_mps**2 == pytest.approx(0.05**2 - 0.03**2 + 0.1**2 / 12)


@pytest.mark.parametrize("speeds", [[], [1.0], [np.nan, np.nan, 1.0]])
def test_too_few_samples(speeds):
    with pytest.raises(SignalError, match="fewer than two samples"):
        estimate_noise(np.arange(len(speeds), dtype=float), np.array(speeds, float), np.zeros(len(speeds), int))


def test_shapes_must_agree():
    with pytest.raises(SignalError, match="differ"):
        estimate_noise(np.arange(3.0), np.arange(4.0), np.zeros(3, int))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.one_of(st.just(0.0), st.just(float("nan")), st.floats(-1, 60)), min_size=3, max_size=120),
    st.sampled_from([0.04, 0.1, 1.0]),
)
def test_any_speeds_give_finite_noise_or_a_refusal(speeds, period_s):
    values = np.array(speeds)
    try:
        noise = estimate_noise(np.arange(values.size) * period_s, values, np.zeros(values.size, int))
    except SignalError:
        assert np.isfinite(values).sum() < 2
        return
    assert 0 < noise.sigma_mps < 100
    assert 0 < noise.slow_mps <= noise.sigma_mps
    assert noise.white_mps > 0
    assert noise.hold_mps >= 0
