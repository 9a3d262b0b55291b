"""Speed around a top, drawn from its posterior: smooth driving, one corner where the throttle closes, slow noise.

Around a top the true speed is taken as

    v(t) = b0 + b1 t + sqrt(q) integral W dt + J c(t - tc; r),

an acceleration that wanders (W: Wiener process, roughness q) and once changes by J, over a ramp of duration r about
tc: the throttle closes. Without the corner a smoother rounds the top off; with it what comes before and after are
kept apart. Samples add white noise and a first-order Gauss-Markov part. Roughness, corner and ramp are averaged over
their posterior on a grid (corners are rank-one updates: Sherman & Morrison, Ann. Math. Stat. 21 (1950) 124), paths
drawn by correcting a prior draw with the gain on its own misfit (Matheron's rule: Journel & Huijbregts, Mining
Geostatistics (1978), VII.A.1), from a fixed seed, so that the same log gives the same numbers every time.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from traceanalyze.errors import SignalError
from traceanalyze.settings import (
    CORNER_NONE,
    CORNER_RAMPS_S,
    CORNER_SD_MPS2,
    SUMMIT_CORNER_S,
    SUMMIT_DRAWS,
    SUMMIT_FALL_MPS2,
    SUMMIT_GRID_S,
    SUMMIT_ROUGHNESS,
    SUMMIT_SAMPLES,
    SUMMIT_SLOPE_S,
)
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray, IntArray

_SEED: Final = 19_730
#: Most moments of a grid and most places of a corner; logs that sample once a minute would ask for thousands.
_MOMENTS: Final = 250
#: How little is known of speed and acceleration at the first sample [m/s, m/s^2].
_START_SD: Final = (10.0, 4.0)


@dataclass(frozen=True, slots=True, eq=False)
class Summit:
    """Paths around a top on an even grid of moments: one row a draw.

    Attributes
    ----------
    t_s : (g,) float
        Moments [s].
    speed_mps : (k, g) float
        True speed [m/s].
    close_s : (k,) float
        Where the throttle begins to close [s]; NaN in draws without such a corner.
    """

    t_s: FloatArray
    speed_mps: FloatArray
    close_s: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Model:
    """What is tried: samples (n) with the covariance of their noise, the grid (g), and m corners.

    `close_s` (m,) is where each corner begins to close; `bend` (n, m) and `grid_bend` (g, m) are its shapes.
    """

    t_s: FloatArray
    seen_mps: FloatArray
    covariance: FloatArray
    grid_s: FloatArray
    close_s: FloatArray
    bend: FloatArray
    grid_bend: FloatArray


def draw_summit(t_s: FloatArray, speed_mps: FloatArray, noise: SpeedNoise, top_s: float, window_s: float) -> Summit:
    """Return paths around `top_s` that the samples allow.

    Parameters
    ----------
    t_s, speed_mps : (n,) float
        Samples around the top, without missing ones or long gaps; at least four.
    window_s : float
        Length of the mean that is looked for; the grid reaches one and a half of it to either side.

    Raises
    ------
    SignalError
        If the samples do not surround the top.
    """
    level_mps = float(speed_mps.mean())
    model = _model(t_s - top_s, speed_mps - level_mps, noise, window_s)
    inverses, weights = zip(*(_weighed(model, roughness) for roughness in SUMMIT_ROUGHNESS), strict=True)
    rough, corner = _picked(np.array(weights))
    rng = np.random.default_rng(_SEED)
    paths, close_s = np.empty((SUMMIT_DRAWS, model.grid_s.size)), np.full(SUMMIT_DRAWS, np.nan)
    for k, roughness in enumerate(SUMMIT_ROUGHNESS):
        mine = np.flatnonzero(rough == k)
        if mine.size:
            paths[mine], close_s[mine] = _drawn(model, roughness, inverses[k], corner[mine], rng)
    return Summit(model.grid_s + top_s, paths + level_mps, close_s + top_s)


def _model(t_s: FloatArray, seen_mps: FloatArray, noise: SpeedNoise, window_s: float) -> _Model:
    many = -(-t_s.size // SUMMIT_SAMPLES)
    t_s, seen_mps = _thinned(t_s, many), _thinned(seen_mps, many)
    covariance = noise.slow_mps**2 * np.exp(-np.abs(t_s[:, None] - t_s) / noise.slow_tau_s)
    covariance[np.diag_indices(t_s.size)] += noise.white_mps**2 / many
    reach_s = 1.5 * (window_s + noise.period_s) + 0.5
    begin_s, end_s = max(t_s[0], -reach_s - SUMMIT_SLOPE_S), min(t_s[-1], reach_s)
    grid_s = np.arange(begin_s, end_s + 1e-9, max(SUMMIT_GRID_S, window_s / 20, (end_s - begin_s) / _MOMENTS))
    if grid_s.size < 2:
        raise SignalError("no samples surround the top", advice="record without gaps")
    first_s = max(t_s[1], -window_s - noise.period_s)
    last_s = max(t_s[-1], first_s + 1e-9)
    place_s = np.arange(first_s, last_s, max(SUMMIT_CORNER_S, window_s / 60, (last_s - first_s) / _MOMENTS))
    place_s, ramp_s = (both.ravel() for both in np.meshgrid(place_s, CORNER_RAMPS_S))
    bend, grid_bend = _bent(t_s, place_s, ramp_s), _bent(grid_s, place_s, ramp_s)
    return _Model(t_s, seen_mps, covariance, grid_s, place_s - 0.5 * ramp_s, bend, grid_bend)


def _thinned(values: FloatArray, many: int) -> FloatArray:
    """Means of `many` samples each; what is left over at the start goes."""
    return np.asarray(values[values.size % many :].reshape(-1, many).mean(axis=1))


def _bent(t_s: FloatArray, place_s: FloatArray, ramp_s: FloatArray) -> FloatArray:
    """Speed (n, m) of an acceleration that rises from 0 to 1 over each ramp about its place."""
    since = t_s[:, None] - place_s
    on_ramp = np.clip(since + 0.5 * ramp_s, 0.0, ramp_s)
    return np.asarray(np.where(since > 0.5 * ramp_s, since, on_ramp**2 / (2 * ramp_s)))


def _smooth_covariance(a_s: FloatArray, b_s: FloatArray, begin_s: float, roughness: float) -> FloatArray:
    """Prior covariance of speeds at two sets of moments: unknown start, wandering acceleration."""
    a, b = a_s[:, None] - begin_s, b_s[None, :] - begin_s
    first = np.minimum(a, b)
    wander = roughness * (first**3 / 3 + np.abs(a - b) * first**2 / 2)
    return np.asarray(wander + _START_SD[0] ** 2 + _START_SD[1] ** 2 * a * b)


def _weighed(model: _Model, roughness: float) -> tuple[FloatArray, FloatArray]:
    """Inverse covariance (n, n) of the samples, and log weights (1 + m,) of no corner and of each corner."""
    total = model.covariance + _smooth_covariance(model.t_s, model.t_s, float(model.t_s[0]), roughness)
    inverse = np.linalg.inv(total)
    pulled = inverse @ model.bend
    size = 1 / CORNER_SD_MPS2**2 + np.sum(model.bend * pulled, axis=0)
    fits = model.seen_mps @ pulled
    plain: float = -0.5 * float(model.seen_mps @ inverse @ model.seen_mps) - 0.5 * float(np.linalg.slogdet(total)[1])
    cornered = 0.5 * fits**2 / size - 0.5 * np.log(CORNER_SD_MPS2**2 * size) + np.log((1 - CORNER_NONE) / size.size)
    return np.asarray(inverse), plain + np.concatenate(([np.log(CORNER_NONE)], cornered))


def _picked(log_weights: FloatArray) -> tuple[IntArray, IntArray]:
    """Roughness and corner (0: none) of each draw, in proportion to their weights (systematic resampling)."""
    share = np.cumsum(np.exp(log_weights - log_weights.max()).ravel())
    at = np.searchsorted(share, (np.arange(SUMMIT_DRAWS) + 0.5) / SUMMIT_DRAWS * share[-1])
    rough, corner = np.divmod(at, log_weights.shape[1])
    return rough.astype(np.int32), corner.astype(np.int32)


def _drawn(
    model: _Model, roughness: float, inverse: FloatArray, corner: IntArray, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Paths on the grid and where each closes, one for each picked corner."""
    path, seen = _prior_paths(model, roughness, corner.size, rng)
    change = np.where(corner > 0, CORNER_SD_MPS2 * rng.standard_normal(corner.size), 0.0)
    bend, grid_bend = model.bend[:, corner - 1].T, model.grid_bend[:, corner - 1].T
    misfit = model.seen_mps - seen - change[:, None] * bend
    gain = misfit @ inverse
    pulled = bend @ inverse
    share = np.sum(gain * bend, axis=1) / (1 / CORNER_SD_MPS2**2 + np.sum(bend * pulled, axis=1))
    gain -= np.where(corner > 0, share, 0.0)[:, None] * pulled
    change += np.where(corner > 0, CORNER_SD_MPS2**2 * np.sum(gain * bend, axis=1), 0.0)
    reach = _smooth_covariance(model.t_s, model.grid_s, float(model.t_s[0]), roughness)
    falls = (corner > 0) & (change < -SUMMIT_FALL_MPS2)
    return path + gain @ reach + change[:, None] * grid_bend, np.where(falls, model.close_s[corner - 1], np.nan)


def _prior_paths(
    model: _Model, roughness: float, draws: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Draws of the smooth part on the grid (k, g), and of the samples with their noise (k, n)."""
    moments, place = np.unique(np.concatenate((model.t_s, model.grid_s)), return_inverse=True)
    step = np.diff(moments)
    kick, within = rng.standard_normal((2, draws, step.size))
    accel = np.cumsum(np.sqrt(step) * kick, axis=1)
    before = np.concatenate((np.zeros((draws, 1)), accel[:, :-1]), axis=1)
    rise = before * step + step**1.5 * (kick / 2 + within / np.sqrt(12))
    wander = np.concatenate((np.zeros((draws, 1)), np.cumsum(rise, axis=1)), axis=1) * np.sqrt(roughness)
    level, slope = rng.standard_normal((2, draws, 1)) * np.array(_START_SD)[:, None, None]
    smooth = (level + slope * (moments - moments[0]) + wander)[:, place]
    noise = rng.standard_normal((draws, model.t_s.size)) @ np.linalg.cholesky(model.covariance).T
    return smooth[:, model.t_s.size :], smooth[:, : model.t_s.size] + noise
