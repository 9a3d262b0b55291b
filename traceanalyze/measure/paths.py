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

from traceanalyze.measure.later import draw_later, pairs
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
        last, v_later, a_later = draw_later(mean, cov.mean(axis=0), float(start.t_s[-1]), later, noise, rng)
    else:
        last = mean + np.einsum("kij,kj->ki", _root(cov), pairs(rng, mean.shape[0], 3))
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
    last, speed, accel = draw_later(mean, cov, from_s, samples, noise, rng)
    t_s = np.concatenate(([from_s], samples.t_s))
    speed = np.concatenate((last[:, :1], speed), axis=1)
    accel = np.concatenate((last[:, 1:2], accel), axis=1)
    step = np.diff(t_s) * (speed[:, 1:] + speed[:, :-1]) / 2 + np.diff(t_s) ** 2 * (accel[:, :-1] - accel[:, 1:]) / 12
    way = np.concatenate((np.zeros((DRAWS, 1)), np.cumsum(step, axis=1)), axis=1)
    return Paths(t_s, np.full(DRAWS, from_s - 1e-6), speed, accel, way)


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
        here = mean + np.einsum("kij,kj->ki", _safe_root(left), pairs(rng, draws, 3))
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
