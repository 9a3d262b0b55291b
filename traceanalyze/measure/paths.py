"""Whole paths of a launch drawn from its posterior: any time, distance or acceleration is read off them jointly.

The start is drawn from the lanes of `onset` (backward sampling: Fruehwirth-Schnatter, J. Time Series Analysis 15
(1994) 183); what follows the start window is drawn from one dense Gaussian solve by correcting a prior draw with
the gain on its own misfit (Matheron's rule: Journel & Huijbregts, Mining Geostatistics (1978), VII.A.1).
Draws come from a fixed seed in antithetic pairs, so the same log gives the same numbers every time.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from traceanalyze.measure.onset import (
    Lanes,
    Samples,
    State,
    at_rest,
    move_between,
    predict,
    update,
)
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray

#: Paths drawn; the standard deviation over 256 of them is known to 4 %.
DRAWS: Final = 256
#: Roughness of the acceleration after the start [m^2/s^5] and its weights: steady pull ... gear change.
LATER_ROUGHNESS: Final = (0.03, 0.2, 1.2, 7.0, 40.0)
LATER_WEIGHT: Final = (0.15, 0.3, 0.3, 0.17, 0.08)
_SEED: Final = 20_240
#: How little is known of a path that does not start from rest [m/s, m/s^2].
_FREE_SPEED_SD_MPS: Final = 10.0
_FREE_ACCEL_SD_MPS2: Final = 4.0


@dataclass(frozen=True, slots=True)
class Paths:
    """Paths on common moments: one row a draw.

    Attributes
    ----------
    t_s : (m,) float
        Moments [s]; between them a path is the cubic through speeds and accelerations of both ends.
    onset_s : (k,) float
        Onset of motion of each draw [s].
    speed_mps, accel_mps2, distance_m : (k, m) float
        True speed, acceleration and distance since the onset; zero before it.
    """

    t_s: FloatArray
    onset_s: FloatArray
    speed_mps: FloatArray
    accel_mps2: FloatArray
    distance_m: FloatArray


def draw_paths(lanes: Lanes, start: Samples, later: Samples, noise: SpeedNoise) -> Paths:
    """Return paths through both parts of a launch.

    Parameters
    ----------
    lanes : Lanes
        One per draw, DRAWS of them, in pairs of equal lanes.
    start : Samples
        The moments and samples the lanes were weighed on.
    later : Samples
        Those after it; may be empty.
    """
    rng = np.random.default_rng(_SEED)
    track = _filter(lanes, start, noise)
    mean, cov = track[-1][1].mean(), track[-1][1].covariance()
    if later.t_s.size:
        last, v_later, a_later = _draw_later(mean, cov.mean(axis=0), float(start.t_s[-1]), later, noise, rng)
    else:
        last = mean + np.einsum("kij,kj->ki", _root(cov), _pairs(rng, mean.shape[0], 3))
        v_later = a_later = np.zeros((mean.shape[0], 0))
    v_start, a_start = _draw_backward(lanes, track, last, start, noise, rng)
    t_s = np.concatenate((start.t_s, later.t_s))
    speed = np.concatenate((v_start, v_later), axis=1)
    accel = np.concatenate((a_start, a_later), axis=1)
    return Paths(t_s, lanes.t0_s, speed, accel, _distance(lanes, t_s, speed, accel))


def draw_free(samples: Samples, from_s: float, noise: SpeedNoise) -> Paths:
    """Return paths through samples in motion; `from_s`, before the first, counts as onset and origin of distance."""
    rng = np.random.default_rng(_SEED)
    first = samples.seen_mps[np.isfinite(samples.seen_mps)][0]
    mean = np.tile((float(first), 0.0, 0.0), (DRAWS, 1))
    cov = np.diag((_FREE_SPEED_SD_MPS**2, _FREE_ACCEL_SD_MPS2**2, noise.slow_mps**2))
    last, speed, accel = _draw_later(mean, cov, from_s, samples, noise, rng)
    t_s = np.concatenate(([from_s], samples.t_s))
    speed = np.concatenate((last[:, :1], speed), axis=1)
    accel = np.concatenate((last[:, 1:2], accel), axis=1)
    step = np.diff(t_s) * (speed[:, 1:] + speed[:, :-1]) / 2 + np.diff(t_s) ** 2 * (accel[:, :-1] - accel[:, 1:]) / 12
    way = np.concatenate((np.zeros((DRAWS, 1)), np.cumsum(step, axis=1)), axis=1)
    return Paths(t_s, np.full(DRAWS, from_s - 1e-6), speed, accel, way)


def _pairs(rng: np.random.Generator, draws: int, *shape: int) -> FloatArray:
    """Standard normal numbers for each draw, the second half the negative of the first."""
    half = rng.standard_normal((draws // 2, *shape))
    return np.concatenate((half, -half))


def _root(cov: FloatArray) -> FloatArray:
    """Lower triangular root of 3 x 3 covariances (or any size), stable when a variance is next to zero."""
    size = cov.shape[-1]
    scale = np.trace(cov, axis1=-2, axis2=-1)[..., None, None]
    return np.linalg.cholesky(cov + (1e-12 * scale + 1e-14) * np.eye(size))


def _filter(lanes: Lanes, start: Samples, noise: SpeedNoise) -> list[tuple[State, State]]:
    """Predicted and filtered state at each moment."""
    state = at_rest(lanes.t0_s.size, noise)
    before_s = float(start.t_s[0])
    track = []
    for now_s, seen in zip(start.t_s.tolist(), start.seen_mps.tolist(), strict=True):
        ahead = predict(state, move_between(lanes, before_s, now_s, noise), lanes.roughness, noise)
        state = update(ahead, seen, lanes.t0_s < now_s, noise)[0] if seen == seen else ahead
        track.append((ahead, state))
        before_s = now_s
    return track


def _draw_backward(
    lanes: Lanes,
    track: list[tuple[State, State]],
    last: FloatArray,
    start: Samples,
    noise: SpeedNoise,
    rng: np.random.Generator,
) -> tuple[FloatArray, FloatArray]:
    """Speeds and accelerations at the moments of the start, drawn from the last backwards."""
    draws, moments = last.shape[0], start.t_s.size
    speed, accel = np.zeros((draws, moments)), np.zeros((draws, moments))
    here = last
    jitter = 1e-13 * np.eye(3)
    for k in range(moments - 1, -1, -1):
        moving = lanes.t0_s < start.t_s[k]
        speed[:, k] = np.where(moving, here[:, 0], 0.0)
        accel[:, k] = np.where(moving, here[:, 1] * lanes.ramp(float(start.t_s[k])), 0.0)
        if k == 0 or not moving.any():
            break
        move = move_between(lanes, float(start.t_s[k - 1]), float(start.t_s[k]), noise)
        state, ahead = track[k - 1][1], track[k][0]
        cov, cov_ahead = state.covariance(), ahead.covariance() + jitter
        cross = cov.copy()  # cov F': F adds area * alpha to the speed and fades the slow noise
        cross[:, :, 0] += move.area_s[:, None] * cov[:, :, 1]
        cross[:, :, 2] *= move.fade[:, None]
        gain = np.swapaxes(np.linalg.solve(cov_ahead, np.swapaxes(cross, 1, 2)), 1, 2)
        mean = state.mean() + np.einsum("kij,kj->ki", gain, here - ahead.mean())
        left = cov - gain @ np.swapaxes(cross, 1, 2)
        left = (left + np.swapaxes(left, 1, 2)) / 2
        here = mean + np.einsum("kij,kj->ki", _safe_root(left), _pairs(rng, draws, 3))
    return speed, accel


def _safe_root(cov: FloatArray) -> FloatArray:
    """Triangular root of 3 x 3 covariances that rounding may have left slightly indefinite."""
    out = np.zeros_like(cov)
    out[:, 0, 0] = np.sqrt(np.maximum(cov[:, 0, 0], 1e-24))
    out[:, 1, 0] = cov[:, 1, 0] / out[:, 0, 0]
    out[:, 2, 0] = cov[:, 2, 0] / out[:, 0, 0]
    out[:, 1, 1] = np.sqrt(np.maximum(cov[:, 1, 1] - out[:, 1, 0] ** 2, 1e-24))
    out[:, 2, 1] = (cov[:, 2, 1] - out[:, 2, 0] * out[:, 1, 0]) / out[:, 1, 1]
    out[:, 2, 2] = np.sqrt(np.maximum(cov[:, 2, 2] - out[:, 2, 0] ** 2 - out[:, 2, 1] ** 2, 1e-24))
    return out


def _draw_later(
    mean: FloatArray,
    cov: FloatArray,
    from_s: float,
    later: Samples,
    noise: SpeedNoise,
    rng: np.random.Generator,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """State at `from_s`, and speeds and accelerations at the later moments, each (k, ...)."""
    draws = mean.shape[0]
    u = later.t_s - from_s
    has = np.flatnonzero(np.isfinite(later.seen_mps))
    seen = later.seen_mps[has]
    seen = seen - noise.sigma_mps**2 / (2 * np.maximum(seen, 3 * noise.sigma_mps))
    design = np.stack((np.ones(has.size), u[has], np.exp(-u[has] / noise.slow_tau_s)), axis=1)
    known = design @ cov @ design.T + _slow_covariance(u[has], noise) + noise.white_mps**2 * np.eye(has.size)
    base = mean + _pairs(rng, draws, 3) @ _root(cov).T
    slow = _slow_draws(u[has], noise, rng, draws)
    white = noise.white_mps * _pairs(rng, draws, has.size)
    jumps, kicks = _pairs(rng, draws, u.size), _pairs(rng, draws, u.size)
    roots, log_weight = [], []
    miss = seen - design @ mean.mean(axis=0)
    for q, weight in zip(LATER_ROUGHNESS, LATER_WEIGHT, strict=True):
        root = np.linalg.cholesky(known + q * _drift_covariance(u[has], u[has])[0])
        scaled = np.linalg.solve(root, miss)
        log_weight.append(np.log(weight) - 0.5 * float(scaled @ scaled) - float(np.log(np.diag(root)).sum()))
        roots.append(root)
    out_v, out_a, last = np.empty((draws, u.size)), np.empty((draws, u.size)), np.empty((draws, 3))
    for q, root, rows in zip(LATER_ROUGHNESS, roots, _shares(np.array(log_weight), draws), strict=True):
        if not rows.size:
            continue
        v, a = _drift_draws(u, q, jumps[rows], kicks[rows])
        v += base[rows, :1] + base[rows, 1:2] * u
        a += base[rows, 1:2]
        would_see = v[:, has] + base[rows, 2:] * design[:, 2] + slow[rows] + white[rows]
        pull = np.linalg.solve(root.T, np.linalg.solve(root, (seen - would_see).T))
        kv, ka = _drift_covariance(u, u[has])
        state_gain = cov @ design.T
        out_v[rows] = v + ((state_gain[0] + u[:, None] * state_gain[1] + q * kv) @ pull).T
        out_a[rows] = a + ((state_gain[1] + q * ka) @ pull).T
        last[rows] = base[rows] + (state_gain @ pull).T
    return last, out_v, out_a


def _shares(log_weight: FloatArray, draws: int) -> list[NDArray[np.intp]]:
    """Draws that belong to each roughness, in proportion to its weight, antithetic pairs together."""
    weight = np.exp(log_weight - log_weight.max())
    edges = np.round(np.cumsum(weight) / weight.sum() * (draws // 2)).astype(int)
    spread = (np.arange(draws // 2) * 89) % (draws // 2)  # 89 is coprime to any power of two: no order remains
    parts = np.split(spread, edges[:-1])
    return [np.concatenate((part, part + draws // 2)) for part in parts]


def _slow_covariance(u: FloatArray, noise: SpeedNoise) -> FloatArray:
    """Gauss-Markov covariance given its value at u = 0."""
    tau = noise.slow_tau_s
    return noise.slow_mps**2 * (np.exp(-np.abs(u[:, None] - u) / tau) - np.exp(-(u[:, None] + u) / tau))


def _slow_draws(u: FloatArray, noise: SpeedNoise, rng: np.random.Generator, draws: int) -> FloatArray:
    kicks = _pairs(rng, draws, u.size)
    fade = np.exp(-np.diff(u, prepend=0.0) / noise.slow_tau_s)
    out, last = np.empty_like(kicks), np.zeros(draws)
    for k in range(u.size):
        last = fade[k] * last + noise.slow_mps * np.sqrt(1 - fade[k] ** 2) * kicks[:, k]
        out[:, k] = last
    return out


def _drift_covariance(u: FloatArray, w: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Covariance per unit roughness of speed at u with speed at w, and of acceleration at u with speed at w.

    Integrated Wiener process from 0: int_0^min (u - s)(w - s) ds and int_0^min (w - s) ds.
    """
    both = np.minimum(u[:, None], w)
    return both * u[:, None] * w - both**2 / 2 * (u[:, None] + w) + both**3 / 3, both * w - both**2 / 2


def _drift_draws(u: FloatArray, q: float, jumps: FloatArray, kicks: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Draws of the integrated Wiener process at rising moments: exact increments of acceleration and speed."""
    d = np.diff(u, prepend=0.0)
    da = np.sqrt(q * d) * jumps
    a = np.cumsum(da, axis=1)
    dv = (a - da) * d + da * d / 2 + np.sqrt(q * d**3 / 12) * kicks
    return np.cumsum(dv, axis=1), a


def _distance(lanes: Lanes, t_s: FloatArray, speed: FloatArray, accel: FloatArray) -> FloatArray:
    """Distance from the onset, by the exact integral of each cubic; the first part of a step follows the ramp."""
    d = np.diff(t_s)
    step = d * (speed[:, 1:] + speed[:, :-1]) / 2 + d**2 * (accel[:, :-1] - accel[:, 1:]) / 12
    first = np.searchsorted(t_s, lanes.t0_s, side="right")
    inside = (first >= 1) & (first < t_s.size)
    rows = np.flatnonzero(inside)
    cols = first[inside]
    part = t_s[cols] - lanes.t0_s[rows]
    bend = part * accel[rows, cols] / np.maximum(speed[rows, cols], 1e-9)
    power = np.clip(bend, 1.0, 3.0)  # speed grows as (t - t0)^power within the step
    step[rows, cols - 1] = part * speed[rows, cols] / (power + 1)
    return np.concatenate((np.zeros((speed.shape[0], 1)), np.cumsum(step, axis=1)), axis=1)
