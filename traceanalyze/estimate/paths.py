"""Whole paths of a launch drawn from its posterior: any time, distance or acceleration is read off them jointly.

The start is drawn from the lanes of `onset` (backward sampling: Fruehwirth-Schnatter, J. Time Series Analysis 15
(1994) 183); what follows the start window is drawn from one dense Gaussian solve by correcting a prior draw with
the gain on its own misfit (Matheron's rule: Journel & Huijbregts, Mining Geostatistics (1978), VII.A.1).
Draws come from a fixed seed, with moments matched to the normal law, so the same log gives the same numbers every
time.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from traceanalyze.estimate.later import draw_later, matched
from traceanalyze.estimate.onset import Lanes, Move, Samples, State, moves_through
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray

#: Paths drawn where there is no start; the standard deviation over 256 of them is known to 4 %.
DRAWS: Final = 256
_SEED: Final = 20_240
#: Variance that keeps a division defined where all is known.
_TINY: Final = 1e-15
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


def draw_paths(lanes: Lanes, track: list[State], start: Samples, later: Samples, noise: SpeedNoise) -> Paths:
    """Return paths through both parts of a launch.

    Parameters
    ----------
    lanes : Lanes
        One per draw.
    track : list of State
        Their state at each moment of the start given the samples up to it.
    start : Samples
        The moments and samples the lanes were weighed on.
    later : Samples
        Those after it; may be empty.
    """
    rng = np.random.default_rng(_SEED)
    mean, cov = track[-1].mean(), track[-1].covariance()
    if later.t_s.size:
        last, v_later, a_later = draw_later(mean, cov.mean(axis=0), float(start.t_s[-1]), later, noise, rng)
    else:
        last = np.stack(_draw(track[-1], matched(rng, mean.shape[0], 3).T), axis=1)
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


def _draw_backward(
    lanes: Lanes,
    track: list[State],
    last: FloatArray,
    start: Samples,
    noise: SpeedNoise,
    rng: np.random.Generator,
) -> tuple[FloatArray, FloatArray]:
    """Speeds and accelerations at the moments of the start, drawn from the last backwards."""
    draws, moments = last.shape[0], start.t_s.size
    speed, alpha = np.zeros((moments, draws)), np.zeros((moments, draws))
    moves = moves_through(lanes, start.t_s, noise)
    normal = matched(rng, draws, moments, 3).transpose(1, 2, 0)
    here = (last[:, 0], last[:, 1], last[:, 2])
    for k in range(moments - 1, -1, -1):
        speed[k], alpha[k] = here[0], here[1]
        if k == 0 or lanes.t0_s.min() >= start.t_s[k]:
            break
        here = _draw(_given_next(track[k - 1], here, moves[k], lanes.roughness, noise), normal[k])
    column = start.t_s[:, None]
    return np.where(lanes.t0_s < column, speed, 0.0).T, (alpha * lanes.ramp(column)).T


def _given_next(
    state: State, after: tuple[FloatArray, FloatArray, FloatArray], move: Move, roughness: FloatArray, noise: SpeedNoise
) -> State:
    """The state given the state one step later, as three observations whose errors are independent.

    Of the step's two correlated errors the one of the speed is taken given the one of the acceleration: half the
    ramp area times it on average, and a twelfth of the variance `roughness moving area^2` left.
    """
    v, a, b = after
    half, spread, fade = move.area_s / 2, roughness * move.moving_s, move.fade
    state = state.given((state.va, state.aa, state.ab), state.aa + spread + _TINY, a - state.a)
    cv, ca, cb = state.vv + half * state.va, state.va + half * state.aa, state.vb + half * state.ab
    left = spread * half**2 / 3 + _TINY
    state = state.given((cv, ca, cb), cv + half * ca + left, v - state.v - half * (a + state.a))
    cv, ca, cb = fade * state.vb, fade * state.ab, fade * state.bb
    left = noise.slow_mps**2 * (1 - fade**2) + _TINY
    return state.given((cv, ca, cb), fade * cb + left, b - fade * state.b)


def _draw(state: State, normal: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """One draw of each lane's state, through the triangular root of its covariance; `normal` is (3, L)."""
    vv = np.sqrt(np.maximum(state.vv, 1e-24))
    av, bv = state.va / vv, state.vb / vv
    aa = np.sqrt(np.maximum(state.aa - av**2, 1e-24))
    ba = (state.ab - bv * av) / aa
    bb = np.sqrt(np.maximum(state.bb - bv**2 - ba**2, 0.0))
    n, m, o = normal
    return state.v + vv * n, state.a + av * n + aa * m, state.b + bv * n + ba * m + bb * o


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
