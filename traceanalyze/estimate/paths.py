"""Whole paths of launches drawn from their posterior: any time, distance or acceleration is read off them jointly.

The start is drawn from the lanes of `onset` (backward sampling: Fruehwirth-Schnatter, J. Time Series Analysis 15
(1994) 183); what follows the start window is drawn by `later`. Draws come from numbers that go with the samples of
each launch, with moments matched to the normal law, so the same launch gives the same numbers every time.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from traceanalyze.estimate.later import draw_later
from traceanalyze.estimate.normals import DRAWS, UintArray, keys_of, normals
from traceanalyze.estimate.onset import Lanes, Move, State, moves_through
from traceanalyze.estimate.samples import Samples
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray

#: Variance that keeps a division defined where all is known.
_TINY: Final = 1e-15
#: How little is known of a path that does not start from rest [m/s, m/s^2].
_FREE_SPEED_SD_MPS: Final = 10.0
_FREE_ACCEL_SD_MPS2: Final = 4.0


class Paths(NamedTuple):
    """Paths of one launch or, with a leading axis, of several: k draws at m moments.

    Attributes
    ----------
    t_s : (..., m) float
        Moments [s]; between them a path is the cubic through speeds and accelerations of both ends.
    onset_s : (..., k) float
        Onset of motion of each draw [s].
    speed_mps, accel_mps2, distance_m : (..., k, m) float
        True speed, acceleration and distance since the onset; zero before it.
    """

    t_s: FloatArray
    onset_s: FloatArray
    speed_mps: FloatArray
    accel_mps2: FloatArray
    distance_m: FloatArray

    def of(self, launch: int) -> Paths:
        """Return the paths of one of several launches."""
        return Paths(*(getattr(self, name)[launch] for name in self._fields))


def draw_paths(lanes: Lanes, track: list[State], start: Samples, later: Samples, noise: SpeedNoise) -> Paths:
    """Return paths through both parts of several launches.

    Parameters
    ----------
    lanes : Lanes
        One per draw, (g, k).
    track : list of State
        Their state at each moment of the start given the samples up to it.
    start : Samples
        The moments and samples (g, s) the lanes were weighed on.
    later : Samples
        Those after it (g, m).
    """
    key = keys_of(seen[np.isfinite(seen)] for seen in start.seen_mps)
    mean, cov = track[-1].mean(), track[-1].covariance().mean(axis=-3)
    last, v_later, a_later = draw_later(mean, cov, start.t_s[:, -1], later, noise, key)
    v_start, a_start = _draw_backward(lanes, track, last, start, noise, key)
    t_s = np.concatenate((start.t_s, later.t_s), axis=-1)
    speed = np.concatenate((v_start, v_later), axis=-1)
    accel = np.concatenate((a_start, a_later), axis=-1)
    return Paths(t_s, lanes.t0_s, speed, accel, distance_since_m(t_s, lanes.t0_s, speed, accel))


def draw_free(samples: Samples, from_s: float, noise: SpeedNoise) -> Paths:
    """Return paths through samples in motion; `from_s`, before the first, counts as onset and origin of distance."""
    seen = samples.seen_mps[np.isfinite(samples.seen_mps)]
    mean = np.tile((float(seen[0]), 0.0, 0.0), (1, DRAWS, 1))
    cov = np.diag((_FREE_SPEED_SD_MPS**2, _FREE_ACCEL_SD_MPS2**2, noise.slow_mps**2))[None]
    one = Samples(samples.t_s[None], samples.seen_mps[None], samples.count[None])
    last, speed, accel = (part[0] for part in draw_later(mean, cov, np.array([from_s]), one, noise, keys_of([seen])))
    t_s = np.concatenate(([from_s], samples.t_s))
    speed = np.concatenate((last[:, :1], speed), axis=1)
    accel = np.concatenate((last[:, 1:2], accel), axis=1)
    onset_s = np.full(DRAWS, from_s - 1e-6)
    return Paths(t_s, onset_s, speed, accel, distance_since_m(t_s, onset_s, speed, accel))


def _draw_backward(
    lanes: Lanes, track: list[State], last: FloatArray, start: Samples, noise: SpeedNoise, key: UintArray
) -> tuple[FloatArray, FloatArray]:
    """Speeds and accelerations (g, k, s) at the moments of the start, drawn from the last state backwards."""
    moments = start.t_s.shape[-1]
    speed, alpha = np.zeros((2, *lanes.t0_s.shape, moments))
    moves = moves_through(lanes, start.t_s, noise)
    normal = normals(key, 3 * moments)
    here = (last[..., 0], last[..., 1], last[..., 2])
    for k in range(moments - 1, -1, -1):
        speed[..., k], alpha[..., k] = here[0], here[1]
        if k == 0 or (lanes.t0_s >= start.t_s[:, k, None]).all():
            break
        state = _given_next(track[k - 1], here, moves[k], lanes.roughness, noise)
        here = _draw(state, normal[:, 3 * (moments - k) - 3 : 3 * (moments - k)])
    moving = lanes.t0_s[..., None] < start.t_s[:, None]
    each = lanes.at_moments()
    ramp = np.swapaxes(each.ramp(each.under_way(start.t_s[..., None])[1]), -1, -2)
    return np.where(moving, speed, 0.0), alpha * ramp


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
    left = spread * half**2 / 3 + move.shape_var + _TINY
    state = state.given((cv, ca, cb), cv + half * ca + left, v - state.v - half * (a + state.a))
    cv, ca, cb = fade * state.vb, fade * state.ab, fade * state.bb
    left = noise.slow_mps**2 * (1 - fade**2) + _TINY
    return state.given((cv, ca, cb), fade * cb + left, b - fade * state.b)


def _draw(state: State, normal: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """One draw of each lane's state, through the triangular root of its covariance; `normal` is (g, 3, k)."""
    vv = np.sqrt(np.maximum(state.vv, 1e-24))
    av, bv = state.va / vv, state.vb / vv
    aa = np.sqrt(np.maximum(state.aa - av**2, 1e-24))
    ba = (state.ab - bv * av) / aa
    bb = np.sqrt(np.maximum(state.bb - bv**2 - ba**2, 0.0))
    n, m, o = normal[:, 0], normal[:, 1], normal[:, 2]
    return state.v + vv * n, state.a + av * n + aa * m, state.b + bv * n + ba * m + bb * o


def distance_since_m(t_s: FloatArray, onset_s: FloatArray, speed: FloatArray, accel: FloatArray) -> FloatArray:
    """Return the distance from the onset (..., k, m) of paths as in `Paths`.

    By the exact integral of each cubic; in the step with the onset speed grows as a power of the time since.
    """
    clock, onset = np.broadcast_to(t_s[..., None, :], speed.shape), onset_s[..., None]
    d = np.diff(clock)
    step = d * ((speed[..., 1:] + speed[..., :-1]) / 2 + d * (accel[..., :-1] - accel[..., 1:]) / 12)
    first = np.nonzero((clock[..., :-1] <= onset) & (onset < clock[..., 1:]))
    after = (*first[:-1], first[-1] + 1)
    part = clock[after] - np.broadcast_to(onset, step.shape)[first]
    power = np.clip(part * accel[after] / np.maximum(speed[after], 1e-9), 1.0, 3.0)
    step[first] = part * speed[after] / (power + 1)
    return np.concatenate((np.zeros((*step.shape[:-1], 1)), np.cumsum(step, axis=-1)), axis=-1)
