"""What follows the start of a launch, drawn from one dense Gaussian solve for each of several launches.

Speed is carried on from a state (speed, acceleration, slow noise) by

    dv = a dt,    da = slope dt + sqrt(q(t)) dW

with a slope that is nearly nothing and a roughness q(t) that follows the ride: small in a steady pull, large at a
gear change. The roughness of each step is found by expectation-maximisation under a heavy-tailed law (steps of
Student's t: a scale mixture of normals; Lange, Little & Taylor, J. Am. Stat. Assoc. 84 (1989) 881), then scaled
down and up to average over what is left unknown of it. A path is drawn by correcting a prior draw with the gain on
its own misfit (Matheron's rule: Journel & Huijbregts, Mining Geostatistics (1978), VII.A.1).

Shapes: g launches, k draws, m moments, n of them with a sample. Launches with fewer are filled up at the end with
moments that repeat the last (steps of no length) and with samples that tell nothing.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from traceanalyze.estimate.normals import DRAWS, UintArray, normals, split_mix
from traceanalyze.estimate.samples import Samples
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray

#: Uniform roughnesses tried first [m^2/s^5], and their weights: a steady pull ... a rough ride.
_FIRST_ROUGHNESS: Final = np.array((0.005, 0.05, 0.5, 5.0, 50.0))
_FIRST_WEIGHT: Final = np.array((0.22, 0.3, 0.28, 0.15, 0.05))
#: Degrees of freedom of the roughness of a step, and the time over which it is alike [s].
_TAIL: Final = 0.4
_ALIKE_S: Final = 0.15
#: Rounds of expectation-maximisation; a third changes no RMS error by a millisecond.
_ROUNDS: Final = 2
#: Limits of the roughness [m^2/s^5]: below the lower nothing changes, above the upper nothing is smooth.
_LEAST_ROUGHNESS: Final = 0.002
_MOST_ROUGHNESS: Final = 300.0
#: The found roughness is taken times these, with these weights.
_SCALES: Final = np.array((0.25, 1.0, 4.0))
_SCALE_WEIGHTS: Final = np.array((0.35, 0.45, 0.2))
#: Slope of the acceleration that drag brings [m/s^3] and its standard deviation.
_SLOPE_MPS3: Final = -0.2
_SLOPE_SD_MPS3: Final = 0.5
#: Share added to variances, above rounding, so that a climb of many minutes keeps a positive definite covariance.
_SAFE: Final = 1e-13


class Model(NamedTuple):
    """The linear model of several launches, beside their mean.

    A step of acceleration at moment k shows in the speed at a later moment u as `u - mid_s[k]` times itself, since it
    grows through the step that ends at k.

    Attributes
    ----------
    u_s, step_s : (g, m) float
        Moments since the state that is carried on from, and the step before each [s].
    show : (g, n, m) float
        1 where a sample shows a moment; a row of zeros for a sample that tells nothing.
    design : (g, n, 3) float
        What shows of the first state in the samples.
    known : (g, n, n) float
        Covariance of the samples without roughness.
    miss : (g, n) float
        What the mean does not explain of them.
    white_mps : (g, n) float
        Standard deviation of their white noise; 0 for a sample that tells nothing.
    """

    u_s: FloatArray
    step_s: FloatArray
    show: FloatArray
    design: FloatArray
    known: FloatArray
    miss: FloatArray
    white_mps: FloatArray

    @property
    def mid_s(self) -> FloatArray:
        """Middle of the step before each moment [s]."""
        return self.u_s - self.step_s / 2

    def at_samples(self, values: FloatArray) -> FloatArray:
        """Return what samples show (g, n) of values at the moments (g, m)."""
        return np.asarray((self.show @ values[..., None])[..., 0])

    def variances(self, roughness: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Variance of each step of acceleration, and of what the speed does apart from it within the step."""
        return roughness * self.step_s, roughness * self.step_s**3 / 12

    def rough_covariance(self, roughness: FloatArray) -> FloatArray:
        """What roughness adds to `known`: two samples share the steps up to the earlier, as powers of the later `u`."""
        jumps, kicks = self.variances(roughness)
        u, mid = self.at_samples(self.u_s), self.mid_s
        zeroth, first, second = (self.at_samples(np.cumsum(jumps * mid**power, axis=-1)) for power in (0, 1, 2))
        own = second + self.at_samples(np.cumsum(kicks, axis=-1)) - u * first
        half = np.triu((u * zeroth - first)[..., None] * u[..., None, :] + own[..., None])
        half *= np.any(self.show, axis=-1)[..., None, :]
        return half + np.swapaxes(np.triu(half, 1), -1, -2) + _SAFE * half * np.eye(u.shape[-1])

    def log_likelihood(self, covariance: FloatArray) -> FloatArray:
        """Log likelihood of the samples under covariances (..., g, n, n), up to a constant; (..., g).

        With `miss` as a border, the last row of the triangular root is the whitened `miss`.
        """
        size = self.miss.shape[-1]
        bordered = np.empty((*covariance.shape[:-2], size + 1, size + 1))
        bordered[..., :size, :size] = covariance
        bordered[..., size, :size] = bordered[..., :size, size] = self.miss
        bordered[..., size, size] = np.inf
        root = np.linalg.cholesky(bordered)
        spread = np.log(np.diagonal(root, axis1=-2, axis2=-1)[..., :size]).sum(axis=-1)
        return np.asarray(-0.5 * (root[..., size, :size] ** 2).sum(axis=-1) - spread)

    def speeds(self, first: FloatArray, slope: FloatArray, da: FloatArray, dk: FloatArray) -> FloatArray:
        """Speed (g, k, m) from first states (g, k, 3), slopes (g, k, 1) and the two kinds of steps (g, k, m)."""
        u, mid = self.u_s[:, None], self.mid_s[:, None]
        rise = u * np.cumsum(da, axis=-1) + np.cumsum(dk - mid * da, axis=-1)
        return np.asarray(first[..., :1] + first[..., 1:2] * u + slope * _bow(u) + rise)

    def pulled(self, pull: FloatArray) -> tuple[FloatArray, FloatArray]:
        """What a pull on the samples (g, k, n) does to the two kinds of steps (g, k, m): the transpose of `speeds`."""
        at = pull @ self.show
        far, plain = (np.cumsum(one[..., ::-1], axis=-1)[..., ::-1] for one in (at * self.u_s[:, None], at))
        return far - self.mid_s[:, None] * plain, plain


def _bow(u_s: FloatArray) -> FloatArray:
    """What a slope of the acceleration does to the speed."""
    return u_s**2 / 2


def _model(mean: FloatArray, cov: FloatArray, from_s: FloatArray, later: Samples, noise: SpeedNoise) -> Model:
    u = later.t_s - from_s[:, None]
    has = np.isfinite(later.seen_mps)
    place = np.cumsum(has, axis=-1) - 1
    show = 1.0 * (has[:, None] & (place[:, None] == np.arange(place.max(initial=-1) + 1)[:, None]))
    told = show.sum(axis=-1)
    at_s, seen = ((show @ values[..., None])[..., 0] for values in (u, np.where(has, later.seen_mps, 0.0)))
    seen = seen - told * noise.sigma_mps**2 / (2 * np.maximum(seen, 3 * noise.sigma_mps))
    design = told[..., None] * np.stack((np.ones_like(at_s), at_s, np.exp(-at_s / noise.slow_tau_s)), axis=-1)
    bow = _bow(at_s)
    known = design @ cov @ np.swapaxes(design, -1, -2) + told[:, None] * told[..., None] * _slow_covariance(at_s, noise)
    known += _SLOPE_SD_MPS3**2 * bow[..., None] * bow[:, None]
    count = (show @ later.count[..., None])[..., 0]
    white_mps = noise.white_mps * told / np.sqrt(np.maximum(count, 1.0))
    known += np.where(told > 0, white_mps**2, 1.0)[..., None] * np.eye(told.shape[-1])
    miss = seen - (design @ mean[..., None])[..., 0] - _SLOPE_MPS3 * bow
    return Model(u, np.diff(u, prepend=0.0), show, design, known, miss, white_mps)


def draw_later(
    mean: FloatArray, cov: FloatArray, from_s: FloatArray, later: Samples, noise: SpeedNoise, key: UintArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return draws of the state at `from_s` (g, k, 3), and of speed and acceleration at the later moments (g, k, m).

    Parameters
    ----------
    mean : (g, k, 3) float
        Mean state of each draw at `from_s` given what came before: speed, acceleration, slow noise.
    cov : (g, 3, 3) float
        Covariance of that state, the same for all draws of a launch.
    from_s : (g,) float
    later : Samples
        Moments (g, m) after `from_s` with their samples.
    key : (g,) uint64
        Of the random numbers.
    """
    model = _model(mean.mean(axis=1), cov, from_s, later, noise)
    roughness, inverses, log_weight = _roughness_choices(model)
    choice = _choices(log_weight)
    n, m = model.show.shape[1:]
    sizes = (3, 1, n, n, m, m)
    random = [normals(split_mix(key + np.uint64(k)), size) for k, size in enumerate(sizes)]
    start, tilt, white, slow, jumps, kicks = (np.swapaxes(part, -1, -2) for part in random)
    root = np.linalg.cholesky(cov + 1e-12 * np.trace(cov, axis1=-2, axis2=-1)[:, None, None] * np.eye(3))
    base = mean + start @ np.swapaxes(root, -1, -2)
    slope = _SLOPE_MPS3 + _SLOPE_SD_MPS3 * tilt
    wrong = (
        model.white_mps[:, None] * white + _slow_draws(model, slow, noise) + base[..., 2:] * model.design[:, None, :, 2]
    )
    jump_var, kick_var = (_SCALES[choice][..., None] * part[:, None] for part in model.variances(roughness))
    da, dk = np.sqrt(jump_var) * jumps, np.sqrt(kick_var) * kicks
    show = np.swapaxes(model.show, -1, -2)
    bow = _bow(model.at_samples(model.u_s))
    expected = model.miss + (model.design @ mean.mean(axis=1)[..., None])[..., 0] + _SLOPE_MPS3 * bow
    misfit = expected[:, None] - model.speeds(base, slope, da, dk) @ show - wrong * np.any(model.show, axis=-1)[:, None]
    pull = np.take_along_axis(misfit @ inverses, choice[None, ..., None], axis=0)[0]
    pull_a, pull_k = model.pulled(pull)
    da, dk = da + jump_var * pull_a, dk + kick_var * pull_k
    bend = slope + _SLOPE_SD_MPS3**2 * (pull @ bow[..., None])
    first = base + pull @ model.design @ cov
    accel = first[..., 1:2] + bend * model.u_s[:, None] + np.cumsum(da, axis=-1)
    return first, model.speeds(first, bend, da, dk), np.asarray(accel)


def _roughness_choices(model: Model) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Roughness of every step (g, m); times each of _SCALES, the inverse covariances (3, g, n, n) and log weights."""
    even = np.ones(model.step_s.shape)
    trial = model.log_likelihood(model.known + _FIRST_ROUGHNESS[:, None, None, None] * model.rough_covariance(even))
    weight = np.exp(trial - trial.max(axis=0)) * _FIRST_WEIGHT[:, None]
    found = np.exp(np.log(_FIRST_ROUGHNESS) @ weight / weight.sum(axis=0))[:, None] * even
    for _ in range(_ROUNDS):
        found = _refined(model, found)
    totals = model.known + _SCALES[:, None, None, None] * model.rough_covariance(found)
    return (
        np.asarray(found),
        np.asarray(np.linalg.inv(totals), np.float64),
        model.log_likelihood(totals) + np.log(_SCALE_WEIGHTS)[:, None],
    )


def _refined(model: Model, roughness: FloatArray) -> FloatArray:
    """One round: expected square of each step of acceleration, shared with its neighbours, drawn to the usual one."""
    inverse = np.linalg.inv(model.known + model.rough_covariance(roughness))
    var, real = roughness * model.step_s, model.step_s > 0
    reach_s = model.at_samples(model.u_s)[..., None] - model.mid_s[:, None]
    grow = np.maximum(reach_s, 0.0) * np.any(model.show, axis=-1)[..., None]
    moved = var * ((inverse @ model.miss[..., None]) * grow).sum(axis=-2)
    left = var - var**2 * (grow * (inverse @ grow)).sum(axis=-2)
    square = (moved**2 + np.maximum(left, 0.0)) / np.where(real, model.step_s, 1.0)
    alike = real[:, None] * np.exp(-0.5 * ((model.u_s[..., None] - model.u_s[:, None]) / _ALIKE_S) ** 2)
    count = np.maximum(alike.sum(axis=-1), 1e-9)
    steps = np.maximum(real.sum(axis=-1, keepdims=True), 1)
    usual = np.exp((real * np.log(roughness)).sum(axis=-1, keepdims=True) / steps)
    usual = np.maximum(0.8 * usual, _LEAST_ROUGHNESS)
    neighbours = np.minimum(count, 3.0)
    refined = (_TAIL * usual + neighbours * (alike @ square[..., None])[..., 0] / count) / (_TAIL + neighbours)
    return np.asarray(np.clip(refined, _LEAST_ROUGHNESS, _MOST_ROUGHNESS))


def _choices(log_weight: FloatArray) -> NDArray[np.intp]:
    """Which of the choices (c, g) each draw takes (g, k), in proportion to their weights."""
    weight = np.exp(log_weight - log_weight.max(axis=0))
    edges = np.round(np.cumsum(weight, axis=0) / weight.sum(axis=0) * DRAWS)
    spread = (np.arange(DRAWS) * 89) % DRAWS  # 89 is coprime to any power of two: no order remains
    return np.asarray((spread >= edges[:-1, :, None]).sum(axis=0))


def _slow_covariance(u: FloatArray, noise: SpeedNoise) -> FloatArray:
    """Gauss-Markov covariance given its value at u = 0."""
    one, other = u[..., None] / noise.slow_tau_s, u[..., None, :] / noise.slow_tau_s
    return np.asarray(noise.slow_mps**2 * (np.exp(-np.abs(one - other)) - np.exp(-(one + other))))


def _slow_draws(model: Model, normal: FloatArray, noise: SpeedNoise) -> FloatArray:
    """Draws (g, k, n) of the slow noise at the samples, zero at u = 0."""
    at_s = model.at_samples(model.u_s)
    fade = np.exp(-np.maximum(np.diff(at_s, prepend=0.0), 0.0) / noise.slow_tau_s)
    kicks = (noise.slow_mps * np.sqrt(1 - fade**2))[:, None] * normal
    out, last = np.empty_like(kicks), np.zeros(kicks.shape[:-1])
    for k in range(kicks.shape[-1]):
        last = fade[:, k, None] * last + kicks[..., k]
        out[..., k] = last
    return np.asarray(out)
