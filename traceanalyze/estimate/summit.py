"""Speed around a top, its posterior in closed form: smooth driving, one corner where the throttle closes, slow noise.

Around a top the true speed is taken as

    v(t) = b0 + integral A dt + J c(t - tc; r),   dA = -fade A dt + sqrt(q) dW,

an acceleration that dies away as drag grows, by 2 kappa v a second (kappa: drag over mass), wanders (W: Wiener process,
roughness q) and once changes by J, over a ramp of duration r about tc: the throttle closes. Without the corner a
smoother rounds the top off; with it what comes before and after are kept apart. Samples add white
noise and a first-order Gauss-Markov part.

For one roughness and one corner all is linear and normal: kriging (Journel & Huijbregts, Mining Geostatistics (1978),
ch. V) in the basis in which noise and wander are both diagonal, so that further roughnesses cost next to nothing; a
corner is an update of rank one (Sherman & Morrison, Ann. Math. Stat. 21 (1950) 124). Roughness, place and ramp are
averaged over their posterior on a grid, which is fine only where a coarse one shows weight.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from traceanalyze.errors import SignalError
from traceanalyze.settings import (
    CORNER_COARSE_S,
    CORNER_FINEST_S,
    CORNER_NONE,
    CORNER_RAMPS_S,
    CORNER_SD_MPS2,
    CORNER_SHARED,
    DRAG_PER_MASS,
    SUMMIT_BLOCK_S,
    SUMMIT_FALL_MPS2,
    SUMMIT_GRID_S,
    SUMMIT_ROUGHNESS,
    SUMMIT_SLOPE_S,
)
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray

#: Most moments of a grid and most places of a corner; logs that sample once a minute would ask for thousands.
_MOMENTS: Final = 250
#: A corner's shape is averaged over so many moments of a block at most.
_INNER: Final = 4
#: How little is known of speed and acceleration at the first sample [m/s, m/s^2].
_START_SD: Final = (10.0, 4.0)
#: Slower tops than this [m/s] have its fading: without any the law has no numbers.
_LEAST_MPS: Final = 2.0
#: A grid of corners is made finer by this; corners with less than this share of the best one's weight are left out.
_FINER: Final = 4
_NEGLIGIBLE: Final = 1e-3


@dataclass(frozen=True, slots=True)
class _Driving:
    """Covariance beforehand of speeds at moments since the first sample, without the corner; `fade` in 1/s."""

    fade: float

    def started(self, a_s: FloatArray, b_s: FloatArray) -> FloatArray:
        """Where speed and acceleration at the start are all that is unknown."""
        return np.asarray(_START_SD[0] ** 2 + _START_SD[1] ** 2 * self._rolled(a_s) * self._rolled(b_s))

    def wandered(self, a_s: FloatArray, b_s: FloatArray) -> FloatArray:
        """Where acceleration, zero at the start, wanders with roughness 1: the twice integrated kernel of A."""
        first, apart = np.minimum(a_s, b_s), np.exp(-self.fade * np.abs(a_s - b_s))
        twice = apart * self._rolled(2 * first) / 2
        return np.asarray((first - (1 + apart) * self._rolled(first) + twice) / self.fade**2)

    def _rolled(self, since_s: FloatArray) -> FloatArray:
        """Speed gained from an acceleration of 1 that dies away."""
        return np.asarray(-np.expm1(-self.fade * since_s) / self.fade)


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """Samples, or means of blocks of them, in a basis (n, n) in which noise is 1 and wander diagonal.

    `law` is what driving allows beforehand, `moment_s` (n, i) are moments that stand for each block, `t_s` (n,) their
    means, `seen` (n,) the data in the basis, `keep` (r, n) what noise is of the whole there, one row a roughness, and
    `log_weight` (r,) what data say of it.
    """

    law: _Driving
    moment_s: FloatArray
    t_s: FloatArray
    basis: FloatArray
    seen: FloatArray
    keep: FloatArray
    log_weight: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Corners:
    """Corners tried (m); the first is none at all.

    `bend` (n, m) are their shapes in the basis, `weight`, `change` and `change_var` (r, m) their posterior weights and
    what they change the acceleration by [m/s^2], for each roughness.
    """

    place_s: FloatArray
    ramp_s: FloatArray
    bend: FloatArray
    weight: FloatArray
    change: FloatArray
    change_var: FloatArray

    def only(self, kept: NDArray[np.bool_]) -> _Corners:
        """Return some of the corners, as if there were no others."""
        bend, weight, change, change_var = (
            each[:, kept] for each in (self.bend, self.weight, self.change, self.change_var)
        )
        return _Corners(self.place_s[kept], self.ramp_s[kept], bend, weight / weight.sum(), change, change_var)


@dataclass(frozen=True, slots=True, eq=False)
class Summit:
    """What samples around a top tell of the speed there.

    Attributes
    ----------
    t_s, mean_mps : (g,) float
        Moments on an even grid [s] and the posterior mean of the speed [m/s].
    """

    t_s: FloatArray
    mean_mps: FloatArray
    level_mps: float
    _seen: _Seen
    _corners: _Corners

    def close_s(self) -> tuple[FloatArray, FloatArray]:
        """Return where the throttle may begin to close (m,) [s], and the weight of each.

        Without a corner at which acceleration falls, that is where the mean path is highest.
        """
        corners = self._corners
        weight = corners.weight.sum(axis=0)
        change = (corners.weight * corners.change).sum(axis=0)
        falls = change < -SUMMIT_FALL_MPS2 * weight
        close_s = np.where(falls, corners.place_s - 0.5 * corners.ramp_s, self.t_s[int(np.argmax(self.mean_mps))])
        return np.minimum(np.maximum(close_s, self.t_s[0]), self.t_s[-1]), weight

    def told(self, moment_s: FloatArray, share: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return mean, variance and weight (r, m) of a weighted sum of speeds under each roughness and corner.

        Parameters
        ----------
        moment_s, share : (p, 1) or (p, m) float
            Moments [s] and what each speed there counts; one sum for all corners, or one for each.
        """
        seen, corners = self._seen, self._corners
        since_s, at_s = seen.t_s[:, None, None] - seen.t_s[0], moment_s - seen.t_s[0]
        rough = np.array(SUMMIT_ROUGHNESS)[:, None]
        laws = (seen.law.started, seen.law.wandered)
        start, wander = ((law(since_s, at_s) * share).sum(axis=1) for law in laws)
        own = [(law(at_s[:, None], at_s) * share[:, None] * share).sum(axis=(0, 1)) for law in laws]
        reach = seen.basis @ start + rough[:, :, None] * (seen.basis @ wander)
        gained = seen.keep[:, :, None] * reach
        shape = (_bent(moment_s, corners.place_s, corners.ramp_s) * share).sum(axis=0)
        bent = shape - (gained * corners.bend).sum(axis=1)
        mean = self.level_mps * share.sum(axis=0) + seen.seen @ gained + corners.change * bent
        variance = own[0] + rough * own[1] - (gained * reach).sum(axis=1) + corners.change_var * bent**2
        return mean, variance, corners.weight


def find_summit(t_s: FloatArray, speed_mps: FloatArray, noise: SpeedNoise, top_s: float, window_s: float) -> Summit:
    """Return what the samples tell of the speed around `top_s`.

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
    law = _Driving(2 * DRAG_PER_MASS[0] * max(float(speed_mps.max()), _LEAST_MPS))
    seen = _seen(t_s, speed_mps - level_mps, noise, law)
    reach_s = 1.5 * (window_s + noise.period_s) + 0.5
    begin_s = max(float(seen.t_s[0]), top_s - reach_s - SUMMIT_SLOPE_S)
    end_s = min(float(seen.moment_s[-1, -1]), top_s + reach_s)
    grid_s = np.arange(begin_s, end_s + 1e-9, max(SUMMIT_GRID_S, window_s / 20, (end_s - begin_s) / _MOMENTS))
    if grid_s.size < 2:
        raise SignalError("no samples surround the top", advice="record without gaps")
    first_s = max(float(seen.moment_s.flat[1]), top_s - window_s - noise.period_s)
    corners = _likely(seen, first_s, max(float(seen.moment_s[-1, -1]), first_s + 1e-9))
    return Summit(grid_s, level_mps + _mean_path(seen, corners, grid_s), level_mps, seen, corners)


def _seen(t_s: FloatArray, seen_mps: FloatArray, noise: SpeedNoise, law: _Driving) -> _Seen:
    many = min(max(1, int(SUMMIT_BLOCK_S / noise.period_s + 1e-6)), t_s.size // 4)
    few = -(-many // _INNER)
    many -= many % few
    moment_s = blocks(t_s, many).reshape(-1, many // few, few).mean(axis=2)
    mean_s, block_mps = moment_s.mean(axis=1), blocks(seen_mps, many).mean(axis=1)
    covariance = noise.slow_mps**2 * np.exp(-np.abs(mean_s[:, None] - mean_s) / noise.slow_tau_s)
    covariance.flat[:: mean_s.size + 1] += noise.white_mps**2 / many
    since_s = mean_s - mean_s[0]
    whiten = np.linalg.inv(np.linalg.cholesky(covariance + law.started(since_s[:, None], since_s)))
    wander, turn = np.linalg.eigh(whiten @ law.wandered(since_s[:, None], since_s) @ whiten.T)
    basis = turn.T @ whiten
    seen = basis @ block_mps
    keep = 1 / (1 + np.array(SUMMIT_ROUGHNESS)[:, None] * np.maximum(wander, 0.0))
    return _Seen(law, moment_s, mean_s, basis, seen, keep, 0.5 * (np.log(keep) - keep * seen**2).sum(axis=1))


def blocks(values: FloatArray, many: int) -> FloatArray:
    """Return values in rows (n // many, many); what is left over at the start goes."""
    return values[values.size % many :].reshape(-1, many)


def _likely(seen: _Seen, first_s: float, last_s: float) -> _Corners:
    """Corners of weight: a coarse grid of places, made finer where it shows any until several share the weight."""
    places = min(max(int((last_s - first_s) / CORNER_COARSE_S), 1), _MOMENTS)
    place = np.arange(places)
    while True:
        step_s = (last_s - first_s) / places
        corners = _corners(seen, np.asarray(first_s + (place + 0.5) * step_s), (1 - CORNER_NONE) / places)
        weight = corners.weight[:, 1:].sum(axis=0)
        if weight @ weight < CORNER_SHARED * weight.sum() ** 2 or step_s < CORNER_FINEST_S:
            return corners.only(np.concatenate(([True], weight > _NEGLIGIBLE * weight.max())))
        by_place = weight.reshape(len(CORNER_RAMPS_S), -1).sum(axis=0)
        near = place[by_place > _NEGLIGIBLE * by_place.max()]
        finer = np.zeros(places * _FINER + 2 * _FINER, bool)  # room for half a step beyond either end
        finer[(near[:, None] * _FINER + _FINER + np.arange(-_FINER // 2, _FINER + _FINER // 2)).ravel()] = True
        places *= _FINER
        place = np.flatnonzero(finer[_FINER:-_FINER])


def _corners(seen: _Seen, place_s: FloatArray, prior: float) -> _Corners:
    """No corner and those of all ramps at places (m,), weighed; `prior` is the weight of a place beforehand."""
    ramps = len(CORNER_RAMPS_S)
    ramp_s = np.concatenate(([1.0], np.repeat(CORNER_RAMPS_S, place_s.size)))
    place_s = np.concatenate(([np.inf], np.tile(place_s, ramps)))
    bend = seen.basis @ _bent(seen.moment_s[:, :, None], place_s, ramp_s).mean(axis=1)
    size = 1 / CORNER_SD_MPS2**2 + seen.keep @ bend**2
    change = (seen.keep * seen.seen) @ bend / size
    log_weight = seen.log_weight[:, None] + 0.5 * (change**2 * size - np.log(CORNER_SD_MPS2**2 * size))
    log_weight[:, 0] += np.log(CORNER_NONE)
    log_weight[:, 1:] += np.log(prior / ramps)
    weight = np.exp(log_weight - log_weight.max())
    return _Corners(place_s, ramp_s, bend, weight / weight.sum(), change, 1 / size)


def _mean_path(seen: _Seen, corners: _Corners, grid_s: FloatArray) -> FloatArray:
    """Posterior mean (g,) of the speed above the level."""
    pushed = corners.weight * corners.change
    drawn = seen.keep * (corners.weight.sum(axis=1, keepdims=True) * seen.seen - pushed @ corners.bend.T)
    since_s, on_grid_s = seen.t_s[:, None] - seen.t_s[0], grid_s - seen.t_s[0]
    pull = seen.basis.T @ np.column_stack((drawn.sum(axis=0), np.array(SUMMIT_ROUGHNESS) @ drawn))
    smooth = pull[:, 0] @ seen.law.started(since_s, on_grid_s) + pull[:, 1] @ seen.law.wandered(since_s, on_grid_s)
    return np.asarray(smooth + _bent(grid_s[:, None], corners.place_s, corners.ramp_s) @ pushed.sum(axis=0))


def _bent(t_s: FloatArray, place_s: FloatArray, ramp_s: FloatArray) -> FloatArray:
    """Speed of an acceleration that rises from 0 to 1 over each ramp (m,) about its place, at moments (..., 1)."""
    since = t_s - place_s + 0.5 * ramp_s
    on_ramp = np.minimum(np.maximum(since, 0.0), ramp_s)
    return np.asarray(on_ramp**2 / (2 * ramp_s) + np.maximum(since - ramp_s, 0.0))
