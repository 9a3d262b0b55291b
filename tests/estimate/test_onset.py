"""The recursion of the start against a published-style fixed example and a dense solve; the ramps."""

import numpy as np
import pytest

from traceanalyze.estimate.fit import climb_of, fit_start, fit_starts
from traceanalyze.estimate.later import Model, _model, _roughness_choices, draw_later
from traceanalyze.estimate.normals import DRAWS
from traceanalyze.estimate.onset import (
    ACCEL_MEAN_MPS2,
    RAMP_S,
    ROUGHNESS,
    SHAPE_SHARE,
    SHAPES,
    Lanes,
    State,
    corrected,
    filtered,
    lanes_over,
    moves_through,
    predict,
    rest_likelihood,
    update,
)
from traceanalyze.estimate.paths import _given_next
from traceanalyze.estimate.samples import Samples, plain
from traceanalyze.signal.noise import SpeedNoise

# state [v, a], step 0.1, F = [[1, 0.1], [0, 1]], Q = 4 [[d^3/3, d^2/2], [d^2/2, d]], R = 0.05^2, prior 0 with
# diag(1, 25) at the first sample; computed with statsmodels' KalmanSmoother, filterpy 2.0.0, pykalman 0.11.2 and a
# dense batch least squares, which agree to 1e-12
SEEN = np.array([0.02, -0.03, 0.11, 0.35, 0.62, 0.88, 1.21, 1.43, 1.77, 1.98])
SMOOTH_V = np.array([
    -0.032410358815, 0.017639697118, 0.139544308934, 0.345891613635, 0.606147469154,
    0.889975538061, 1.180250942039, 1.460835319189, 1.736439740838, 1.995766755743,
])  # fmt: skip
SMOOTH_A = np.array([
    0.357662235542, 0.783315909004, 1.667714160914, 2.393384942854, 2.756840874270,
    2.901769292850, 2.859186140869, 2.787279577529, 2.677359513000, 2.551225467060,
])  # fmt: skip
VAR_V4 = 9.920446331155e-04
LOG_LIKELIHOOD = 4.787581043822
QUIET = SpeedNoise(0.05, 1e-9, 1.0, 0.0, 0.0, 60.0, 0.1)


def one(value):
    return np.array([float(value)])


def forward():
    """Filtered states of the example, and its log likelihood."""
    lane = Lanes(one(-10), one(0.01), one(0.5), one(0), one(4.0), one(0))
    zero = one(0)
    state = State(zero, zero, zero, one(1), zero, zero, one(25), zero, zero)
    track, total = [], 0.0
    moves = moves_through(lane, 0.1 * np.arange(10), QUIET)
    for k, seen in enumerate(SEEN):
        state = predict(state, moves[k], lane.roughness, QUIET)
        state, value = corrected(state, one(seen) - state.v - state.b, one(1), one(0.05**2))
        total += float(value[0])
        track.append(state)
    return lane, track, total


def test_recursion_gives_the_log_likelihood_of_the_example():
    # 1e-2: a share of 0.001 of strays is mixed in, at ten samples; without the update of one sample it is off by > 1
    assert forward()[2] == pytest.approx(LOG_LIKELIHOOD, abs=0.02)


def test_backward_pass_gives_the_smoothed_states_of_the_example():
    lane, track, _ = forward()
    here = (track[-1].v, track[-1].a, one(0))
    spread = np.array([[track[-1].vv[0], track[-1].va[0]], [track[-1].va[0], track[-1].aa[0]]])
    means, variances = [here], [spread]
    moves = moves_through(lane, 0.1 * np.arange(10), QUIET)
    for k in range(8, -1, -1):
        move = moves[k + 1]
        given = _given_next(track[k], here, move, lane.roughness, QUIET)
        tilt = [
            _given_next(track[k], tuple(h + one(1e-3 * (i == j)) for j, h in enumerate(here)), move, one(4.0), QUIET)
            for i in (0, 1)
        ]
        gain = np.array([[(t.v - given.v)[0], (t.a - given.a)[0]] for t in tilt]).T / 1e-3
        left = np.array([[given.vv[0], given.va[0]], [given.va[0], given.aa[0]]])
        here, spread = (given.v, given.a, one(0)), left + gain @ spread @ gain.T
        means.append(here)
        variances.append(spread)
    # 1e-8: rounding, and the slow noise of 1e-9 m/s that the state carries along
    np.testing.assert_allclose([m[0][0] for m in means[::-1]], SMOOTH_V, atol=1e-8)
    np.testing.assert_allclose([m[1][0] for m in means[::-1]], SMOOTH_A, atol=1e-8)
    assert variances[::-1][4][0, 0] == pytest.approx(VAR_V4, rel=1e-6)


def example_model():
    """The example as a dense model of one launch, its first state at the first sample."""
    u = 0.1 * np.arange(10)
    design = np.stack((np.ones(10), u, np.zeros(10)), axis=1)
    known = design @ np.diag((1, 25, 0)) @ design.T + 0.05**2 * np.eye(10)
    return Model(
        *(part[None] for part in (u, np.diff(u, prepend=0.0), np.eye(10), design, known, SEEN, np.full(10, 0.05)))
    )


def test_dense_model_gives_the_log_likelihood_of_the_example():
    model = example_model()
    covariance = model.known + model.rough_covariance(np.full((1, 10), 4.0))
    assert model.log_likelihood(covariance)[0] - 5 * np.log(2 * np.pi) == pytest.approx(LOG_LIKELIHOOD, abs=1e-8)


def test_dense_model_gives_the_smoothed_states_of_the_example():
    # the mean of what is known of the first state and of all steps given the samples, through the model's own maps
    model = example_model()
    roughness = np.full((1, 10), 4.0)
    pull = np.linalg.solve(model.known + model.rough_covariance(roughness), model.miss[..., None])[..., 0][:, None]
    jump_var, kick_var = model.variances(roughness)
    pull_a, pull_k = model.pulled(pull)
    first = pull @ model.design @ np.diag((1.0, 25.0, 0.0))
    speed = model.speeds(first, np.zeros((1, 1, 1)), jump_var * pull_a, kick_var * pull_k)
    np.testing.assert_allclose(speed[0, 0], SMOOTH_V, atol=1e-9)


def test_draws_of_what_follows_agree_with_a_dense_solve():
    # a ride this even is nearly a line: its least-squares line within 0.1 m/s, the spread of its middle within 60 %
    noise = SpeedNoise(0.1, 1e-9, 1.0, 0.0, 0.0, 60.0, 0.1)
    u = 0.1 * np.arange(1, 41)
    seen = 2.0 * u + 1.0 + 0.1 * np.random.default_rng(0).standard_normal(40)
    mean = np.tile((1.0, 2.0, 0.0), (1, DRAWS, 1))
    cov = np.diag((0.04, 0.25, 1e-12))[None]
    key = np.array([7], np.uint64)
    _, speed, accel = draw_later(mean, cov, np.zeros(1), plain(u[None], seen[None]), noise, key)
    line = np.polyfit(u, seen, 1)
    assert np.abs(speed[0].mean(axis=0) - np.polyval(line, u)).max() < 0.1
    assert speed[0].std(axis=0).mean() == pytest.approx(0.1 * np.sqrt(2.5 / 40), rel=0.6)
    assert accel.mean() == pytest.approx(2.0, abs=0.1)


def climb(seconds, hz, accel, seed):
    """Samples of rest, then even acceleration."""
    rng = np.random.default_rng(seed)
    t = np.arange(0, 6 + seconds, 1 / hz)
    return t, np.hypot(accel * np.maximum(t - 6.03, 0) + 0.05 * rng.normal(size=t.size), 0.05 * rng.normal(size=t.size))


@pytest.mark.parametrize("hz", [1, 10])
def test_several_launches_together_are_each_of_them_alone(hz):
    # to 1e-4 m/s, a thousandth of the noise: filled-up matrices are factorised in another order, and those of 30 s are
    # ill-conditioned; random numbers or samples of another launch would move speeds by 0.1 m/s
    noise = SpeedNoise(0.05, 0.035, 1.2, 0.0, 0.0, 60.0, 1 / hz)
    samples = [climb(8, hz, 3.0, 1), climb(30, hz, 1.1, 2), climb(5, hz, 4.5, 3)]
    together = fit_starts([climb_of(*one, noise) for one in samples], noise)
    for k, one in enumerate(samples):
        alone = fit_start(*one, noise)
        ours = together.of(k)
        np.testing.assert_array_equal(ours.onset_s, alone.onset_s)
        first, size = int(np.argmax(ours.t_s > ours.t_s[0])) - 1, alone.t_s.size
        assert first >= 0
        np.testing.assert_allclose(ours.t_s[first : first + size], alone.t_s)
        np.testing.assert_allclose(ours.speed_mps[:, first : first + size], alone.speed_mps, atol=1e-4)
        np.testing.assert_allclose(ours.distance_m[:, first : first + size], alone.distance_m, atol=1e-3)


def test_a_third_of_the_lanes_has_every_onset_ramp_shape_and_roughness_alike():
    t0 = np.linspace(0.0, 0.3, 12)
    lanes = lanes_over(t0, (0, 1, 2))
    assert lanes.t0_s.size == 12 * len(RAMP_S) * len(SHAPES) * len(ROUGHNESS) / 3
    for name, values in (("t0_s", t0), ("tau_s", RAMP_S), ("square", [0.0, 0.5, 1.0]), ("roughness", ROUGHNESS)):
        found, count = np.unique(getattr(lanes, name), return_counts=True)
        np.testing.assert_array_equal(found, values)
        np.testing.assert_array_equal(count, lanes.t0_s.size // len(values))


@pytest.mark.parametrize("shape", [0, 1, 2])
def test_ramp_rises_from_none_to_all_and_its_integral_belongs_to_it(shape):
    lane = Lanes(one(0), one(0.4), *(one(value) for value in SHAPES[shape]), one(1), one(0))
    t = np.linspace(-0.1, 0.8, 1801)
    u, share = lane.under_way(t[:, None])
    ramp = lane.ramp(share)[:, 0]
    area = lane.ramp_integral(u, share)[:, 0]
    assert ramp[t <= 0].max() == 0
    assert ramp[t >= 0.4].min() == 1
    assert (np.diff(ramp) >= -1e-12).all()
    # fundamental theorem of calculus, midpoint rule: error step^2/24 times the second derivative (< 20 / s^2)
    np.testing.assert_allclose(np.diff(area), (ramp[1:] + ramp[:-1]) / 2 * np.diff(t), atol=1e-6)


def test_lanes_of_neighbouring_onsets_cover_every_combination():
    lanes = lanes_over(np.array([0.0, 0.1, 0.2]), (0, 1, 2))
    found = np.unique(np.stack((lanes.tau_s, lanes.square, lanes.roughness)), axis=1)
    assert found.shape[1] == len(RAMP_S) * len(SHAPES) * len(ROUGHNESS)
    assert np.exp(lanes.log_prior).sum() == pytest.approx(1.0)


def test_posterior_lies_about_the_true_onset():
    rng = np.random.default_rng(3)
    noise = SpeedNoise(0.05, 0.035, 1.2, 0.0, 0.0, 60.0, 0.1)
    t = np.arange(-1.5, 2.5, 0.1) + 0.037
    seen = np.hypot(3 * np.maximum(t, 0) + 0.05 * rng.standard_normal(t.size), 0.05 * rng.standard_normal(t.size))
    lanes = lanes_over(np.linspace(-0.5, 0.3, 41), (0, 1, 2))
    samples = plain(t, seen)
    weight, _ = filtered(lanes, samples, rest_likelihood(samples, noise), noise)
    weight = np.exp(weight - weight.max())
    mean = float(weight @ lanes.t0_s / weight.sum())
    assert abs(mean) < 0.1  # one sample; a uniform posterior would have its mean there too, but not its spread:
    assert np.sqrt(weight @ (lanes.t0_s - mean) ** 2 / weight.sum()) < 0.1  # against 0.23 of the grid


def test_a_mean_of_samples_says_what_the_samples_say():
    # sufficiency of the mean under white noise; far above rest the report is linear but for sigma^2 / 2 v
    state = State(*(one(value) for value in (10.0, 2.0, 0.0, 0.3, 0.05, 0.0, 0.4, 0.0, 0.0)))
    noise = SpeedNoise(0.05, 1e-9, 1.0, 0.0, 0.0, 60.0, 0.1)
    seen, moving = np.array([10.03, 9.96, 10.08, 10.01]), np.array([True])
    singly = state
    for value in seen:
        singly, _ = update(singly, one(value), one(1), moving, noise)
    at_once, _ = update(state, one(seen.mean()), one(4), moving, noise)
    for name in ("v", "a", "vv", "va", "aa"):
        np.testing.assert_allclose(getattr(at_once, name), getattr(singly, name), rtol=1e-5)
    later = Samples(np.array([[0.2]]), one(10.0)[None], one(4)[None])
    model = _model(np.array([[10.0, 2.0, 0.0]]), np.zeros((1, 3, 3)), np.zeros(1), later, noise)
    assert model.known[0, 0, 0] == pytest.approx(0.05**2 / 4, rel=1e-4, abs=2e-4)  # and what the slope adds


def test_ramps_of_other_shapes_add_their_share_by_the_end_of_the_ramp():
    lane = Lanes(one(0.05), one(0.3), one(0.5), one(0), one(1), one(0))
    moves = moves_through(lane, np.linspace(0, 1, 23), QUIET)
    state = State(*(one(0) for _ in State._fields))  # all is known but the shape
    for move in moves:
        state = predict(state, move, one(0), QUIET)
    assert np.sqrt(state.vv[0]) == pytest.approx(SHAPE_SHARE * 0.3 * ACCEL_MEAN_MPS2)


@pytest.mark.parametrize("roughness", [0.3, 3.0])
def test_roughness_is_found_again(roughness):
    # 12 rides of 16 s by the law itself: an even roughness is known to some 20 % from 80 steps each; heavy tails and
    # the usual level drawn down by a fifth a round leave it within a factor of two on average
    rng, noise = np.random.default_rng(5), SpeedNoise(0.02, 1e-9, 1.0, 0.0, 0.0, 60.0, 0.1)
    u = 0.2 * np.arange(1, 81)
    kick, within = rng.standard_normal((2, 12, 80)) * np.sqrt(roughness * 0.2)
    accel = 2.0 + np.cumsum(kick, axis=1)
    speed = 20.0 + np.cumsum(0.2 * (accel - kick / 2) + 0.2 * within / np.sqrt(12), axis=1)
    later = plain(np.tile(u, (12, 1)), speed + 0.02 * rng.standard_normal(speed.shape))
    mean, cov = np.tile((20.0, 2.0, 0.0), (12, 1)), np.tile(np.diag((1e-4, 1e-4, 1e-12)), (12, 1, 1))
    found, _, _ = _roughness_choices(_model(mean, cov, np.zeros(12), later, noise))
    assert abs(np.log(found).mean() - np.log(roughness)) < np.log(2)
