"""What follows the start of a launch, drawn from one dense Gaussian solve.

Speed is carried on from a state (speed, acceleration, slow noise) by

    dv = a dt,    da = slope dt + sqrt(q(t)) dW

with a slope that is nearly nothing and a roughness q(t) that follows the ride: small in a steady pull, large at a
gear change. The roughness of each step is found by expectation-maximisation under a heavy-tailed law (steps of
Student's t: a scale mixture of normals; Lange, Little & Taylor, J. Am. Stat. Assoc. 84 (1989) 881), then scaled
down and up to average over what is left unknown of it. A path is drawn by correcting a prior draw with the gain on
its own misfit (Matheron's rule: Journel & Huijbregts, Mining Geostatistics (1978), VII.A.1).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from traceanalyze.estimate.onset import Samples
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray

#: Uniform roughnesses tried first [m^2/s^5], and their weights: a steady pull ... a rough ride.
_FIRST_ROUGHNESS: Final = (0.005, 0.05, 0.5, 5.0, 50.0)
_FIRST_WEIGHT: Final = (0.22, 0.3, 0.28, 0.15, 0.05)
#: Degrees of freedom of the roughness of a step, and the time over which it is alike [s].
_TAIL: Final = 0.4
_ALIKE_S: Final = 0.15
#: Rounds of expectation-maximisation; the roughness settles within three.
_ROUNDS: Final = 3
#: Limits of the roughness [m^2/s^5]: below the lower nothing changes, above the upper nothing is smooth.
_LEAST_ROUGHNESS: Final = 0.002
_MOST_ROUGHNESS: Final = 300.0
#: The found roughness is taken times these, with these weights.
_SCALES: Final = (0.25, 1.0, 4.0)
_SCALE_WEIGHTS: Final = (0.35, 0.45, 0.2)
#: Slope of the acceleration that drag brings [m/s^3] and its standard deviation.
_SLOPE_MPS3: Final = -0.2
_SLOPE_SD_MPS3: Final = 0.5

#: Share added to variances, above rounding, so that a climb of many minutes keeps a positive definite covariance.
_SAFE: Final = 1e-13


def matched(rng: np.random.Generator, draws: int, *shape: int) -> FloatArray:
    """Return standard normal numbers for each draw; over the draws their mean is 0 and their mean square 1 exactly."""
    normal = rng.standard_normal((draws, *shape))
    normal -= normal.mean(axis=0)
    return np.asarray(normal / np.sqrt(np.mean(normal * normal, axis=0)), np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class _Model:
    """The linear model at m moments, n of them with a sample.

    A step of acceleration at moment k shows in the speed at a later moment as `u_s - mid_s[k]` times itself, since it
    grows through the step that ends at k. `bow` (m,) is what the slope does to the speed; `design` (n, 3) shows the
    first state to the samples; `known` (n, n) is their covariance without roughness; `miss` (n,) what the mean does
    not explain.
    """

    u_s: FloatArray
    step_s: FloatArray
    has: NDArray[np.intp]
    bow: FloatArray
    design: FloatArray
    known: FloatArray
    miss: FloatArray

    @property
    def mid_s(self) -> FloatArray:
        """Middle of the step before each moment [s]."""
        return self.u_s - self.step_s / 2

    def variances(self, roughness: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Variance of each step of acceleration, and of what the speed does apart from it within the step."""
        return roughness * self.step_s, roughness * self.step_s**3 / 12

    def rough_covariance(self, roughness: FloatArray) -> FloatArray:
        """What roughness adds to `known`: two samples share the steps up to the earlier, as powers of the later `u`."""
        jumps, kicks = self.variances(roughness)
        u, mid = self.u_s[self.has], self.mid_s
        zeroth, first, second = (np.cumsum(jumps * mid**power)[self.has] for power in (0, 1, 2))
        own = second + np.cumsum(kicks)[self.has] - u * first
        half = np.triu(np.multiply.outer(u * zeroth - first, u) + own[:, None])
        return half + np.triu(half, 1).T + _SAFE * np.diag(np.diag(half))

    def log_likelihood(self, covariance: FloatArray) -> float:
        """Log likelihood of the samples: with `miss` as a border, the root's last row is the whitened `miss`."""
        size = self.miss.size
        bordered = np.empty((size + 1, size + 1))
        bordered[:size, :size] = covariance
        bordered[size, :size] = bordered[:size, size] = self.miss
        bordered[size, size] = np.inf
        root = np.linalg.cholesky(bordered)
        return -0.5 * float(root[size, :size] @ root[size, :size]) - float(np.log(np.diag(root)[:size]).sum())

    def speeds(self, first: FloatArray, slope: FloatArray, da: FloatArray, dk: FloatArray) -> FloatArray:
        """Speed at the moments (k, m) from first states, slopes and the two kinds of steps."""
        rise = self.u_s * np.cumsum(da, axis=1) + np.cumsum(dk - self.mid_s * da, axis=1)
        return first[:, :1] + first[:, 1:2] * self.u_s + slope * self.bow + rise

    def pulled(self, pull: FloatArray) -> tuple[FloatArray, FloatArray]:
        """What a pull on the samples (k, n) does to the two kinds of steps (k, m): the transpose of `speeds`."""
        at = np.zeros((2, pull.shape[0], self.u_s.size))
        at[0][:, self.has] = pull
        at[1] = at[0] * self.u_s
        plain, far = np.cumsum(at[:, :, ::-1], axis=2)[:, :, ::-1]
        return far - self.mid_s * plain, plain


def _model(mean: FloatArray, cov: FloatArray, from_s: float, later: Samples, noise: SpeedNoise) -> _Model:
    u = later.t_s - from_s
    has = np.flatnonzero(np.isfinite(later.seen_mps))
    seen = later.seen_mps[has]
    seen = seen - noise.sigma_mps**2 / (2 * np.maximum(seen, 3 * noise.sigma_mps))
    bow = u**2 / 2
    design = np.stack((np.ones(has.size), u[has], np.exp(-u[has] / noise.slow_tau_s)), axis=1)
    known = design @ cov @ design.T + _slow_covariance(u[has], noise) + noise.white_mps**2 * np.eye(has.size)
    return _Model(
        u_s=u,
        step_s=np.diff(u, prepend=0.0),
        has=has,
        bow=bow,
        design=design,
        known=known + _SLOPE_SD_MPS3**2 * np.outer(bow[has], bow[has]),
        miss=seen - design @ mean - _SLOPE_MPS3 * bow[has],
    )


def draw_later(
    mean: FloatArray, cov: FloatArray, from_s: float, later: Samples, noise: SpeedNoise, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return draws of the state at `from_s` (k, 3), and of speed and acceleration at the later moments (k, m).

    Parameters
    ----------
    mean : (k, 3) float
        Mean state of each draw at `from_s` given what came before: speed, acceleration, slow noise.
    cov : (3, 3) float
        Covariance of that state, the same for all.
    later : Samples
        Moments after `from_s` with their samples.
    """
    model = _model(mean.mean(axis=0), cov, from_s, later, noise)
    choices, log_weight = _roughness_choices(model)
    draws, moments = mean.shape[0], model.u_s.size
    base = mean + matched(rng, draws, 3) @ np.linalg.cholesky(cov + 1e-12 * np.trace(cov) * np.eye(3)).T
    wrong = _slow_draws(model.u_s[model.has], noise, rng, draws)
    wrong += noise.white_mps * matched(rng, draws, model.has.size) + base[:, 2:] * model.design[:, 2]
    slope = _SLOPE_MPS3 + _SLOPE_SD_MPS3 * matched(rng, draws, 1)
    jumps, kicks = matched(rng, draws, moments), matched(rng, draws, moments)
    seen = model.miss + model.design @ mean.mean(axis=0) + _SLOPE_MPS3 * model.bow[model.has]
    speed, accel, first = np.empty((draws, moments)), np.empty((draws, moments)), np.empty((draws, 3))
    for (roughness, inverse), rows in zip(choices, _shares(log_weight, draws), strict=True):
        jump_var, kick_var = model.variances(roughness)
        da, dk = np.sqrt(jump_var) * jumps[rows], np.sqrt(kick_var) * kicks[rows]
        would_see = model.speeds(base[rows], slope[rows], da, dk)[:, model.has] + wrong[rows]
        pull = (seen - would_see) @ inverse
        pull_a, pull_k = model.pulled(pull)
        da, dk = da + jump_var * pull_a, dk + kick_var * pull_k
        bend = slope[rows] + _SLOPE_SD_MPS3**2 * (pull @ model.bow[model.has])[:, None]
        first[rows] = base[rows] + pull @ model.design @ cov
        speed[rows] = model.speeds(first[rows], bend, da, dk)
        accel[rows] = first[rows, 1:2] + bend * model.u_s + np.cumsum(da, axis=1)
    return first, speed, accel


def _roughness_choices(model: _Model) -> tuple[list[tuple[FloatArray, FloatArray]], FloatArray]:
    """Roughness of every step with the inverse covariance that goes with it, a few times, and their log weights."""
    flat = np.ones(model.step_s.size)
    even = model.rough_covariance(flat)
    trial = np.array([model.log_likelihood(model.known + q * even) for q in _FIRST_ROUGHNESS])
    weight = np.exp(trial - trial.max()) * _FIRST_WEIGHT
    found = np.exp(float(weight @ np.log(_FIRST_ROUGHNESS)) / weight.sum()) * flat
    for _ in range(_ROUNDS):
        found = _refined(model, found)
    rough = model.rough_covariance(found)
    totals = [model.known + scale * rough for scale in _SCALES]
    value = np.array([model.log_likelihood(total) for total in totals])
    inverses = np.linalg.inv(np.stack(totals))
    return [(scale * found, one) for scale, one in zip(_SCALES, inverses, strict=True)], value + np.log(_SCALE_WEIGHTS)


def _refined(model: _Model, roughness: FloatArray) -> FloatArray:
    """One round: expected square of each step of acceleration, shared with its neighbours, drawn to the usual one."""
    inverse = np.linalg.inv(model.known + model.rough_covariance(roughness))
    var = roughness * model.step_s
    grow = np.where(np.arange(var.size) <= model.has[:, None], model.u_s[model.has, None] - model.mid_s, 0.0)
    moved = var * ((inverse @ model.miss) @ grow)
    left = var - var**2 * (grow * (inverse @ grow)).sum(axis=0)
    square = (moved**2 + np.maximum(left, 0.0)) / model.step_s
    alike = np.exp(-0.5 * ((model.u_s[:, None] - model.u_s) / _ALIKE_S) ** 2)
    count = alike.sum(axis=1)
    usual = max(0.8 * float(np.exp(np.mean(np.log(roughness)))), _LEAST_ROUGHNESS)
    neighbours = np.minimum(count, 3.0)
    refined = (_TAIL * usual + neighbours * (alike @ square) / count) / (_TAIL + neighbours)
    return np.asarray(np.clip(refined, _LEAST_ROUGHNESS, _MOST_ROUGHNESS))


def _shares(log_weight: FloatArray, draws: int) -> list[NDArray[np.intp]]:
    """Draws that belong to each choice, in proportion to its weight."""
    weight = np.exp(log_weight - log_weight.max())
    edges = np.round(np.cumsum(weight) / weight.sum() * draws).astype(int)
    spread = (np.arange(draws) * 89) % draws  # 89 is coprime to any power of two: no order remains
    return np.split(spread, edges[:-1])


def _slow_covariance(u: FloatArray, noise: SpeedNoise) -> FloatArray:
    """Gauss-Markov covariance given its value at u = 0."""
    tau = noise.slow_tau_s
    return noise.slow_mps**2 * (np.exp(-np.abs(u[:, None] - u) / tau) - np.exp(-(u[:, None] + u) / tau))


def _slow_draws(u: FloatArray, noise: SpeedNoise, rng: np.random.Generator, draws: int) -> FloatArray:
    fade = np.exp(-np.diff(u, prepend=0.0) / noise.slow_tau_s)
    out = np.ascontiguousarray(matched(rng, draws, u.size).T) * (noise.slow_mps * np.sqrt(1 - fade**2))[:, None]
    for k in range(1, u.size):
        out[k] += fade[k] * out[k - 1]
    return np.asarray(out.T)
