"""The start of a launch: rest, a corner, a short ramp, then smooth acceleration, as lanes of one recursion.

Before the onset `t0` the reported speed follows the law of a length of pure noise. After it

    dv = r((t - t0) / tau) alpha dt,    d alpha = sqrt(q) dW,    seen = |v + slow + white|

with a ramp `r` from 0 to 1 of a few shapes, an integrated Wiener process, and receiver noise with a first-order
Gauss-Markov part. Given (t0, tau, shape, q) this is linear but for the law of the length near rest, whose exact
mean and variance stand in at the predicted speed; one lane each, all lanes step together through an exact
forward recursion (Kalman, J. Basic Eng. 82 (1960) 35), whose innovations give each lane's likelihood. Several
launches of one receiver go together: every array may have a leading axis of launches, each with moments of its own.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from traceanalyze.estimate.samples import Samples
from traceanalyze.signal.magnitude import rest_log_likelihood, rice_moments
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray

#: Acceleration a light vehicle starts with [m/s^2], and how little that is relied on (standard deviation).
ACCEL_MEAN_MPS2: Final = 2.5
ACCEL_SD_MPS2: Final = 2.5
#: Ramp times [s] and their weights: clutches bite within a few hundredths to some tenths of a second.
RAMP_S: Final = (0.03, 0.09, 0.17, 0.28, 0.45, 0.75)
RAMP_WEIGHT: Final = (0.15, 0.21, 0.24, 0.22, 0.13, 0.05)
#: Ramp shapes: coefficients of z^2 and z^3 in the integral of r over z = u/tau: even, early, late take-up.
SHAPES: Final = ((0.5, 0.0), (1.0, -1 / 3), (0.0, 1 / 3))
SHAPE_WEIGHT: Final = (0.45, 0.35, 0.2)
#: Real take-ups are none of these: the speed gained on a ramp differs by about this share of ramp time times
#: acceleration (standard deviation).
SHAPE_SHARE: Final = 0.12
#: Spectral densities of the acceleration's changes [m^2/s^5] and their weights: from a steady pull to wheelspin.
ROUGHNESS: Final = (0.15, 1.0, 7.0)
ROUGHNESS_WEIGHT: Final = (0.4, 0.4, 0.2)
#: Share of samples that may be far off, and how far (times the standard deviation).
_STRAY_SHARE: Final = 1e-3
_STRAY_WIDTH: Final = 8.0
#: A speed of so many sigmas asks for no table of Rice's law.
_FAR_SIGMAS: Final = 100.0


class Lanes(NamedTuple):
    """One hypothesis of the start per lane; each (..., L).

    Attributes
    ----------
    t0_s, tau_s : onset and ramp time [s]
    square, cube : coefficients of the ramp's shape (see `SHAPES`)
    roughness : spectral density of the acceleration's changes [m^2/s^5]
    log_prior : logarithm of the weight before any sample
    """

    t0_s: FloatArray
    tau_s: FloatArray
    square: FloatArray
    cube: FloatArray
    roughness: FloatArray
    log_prior: FloatArray

    def take(self, index: NDArray[np.intp]) -> Lanes:
        """Return some of the lanes, by their place among the lanes of all launches."""
        return Lanes(*(np.take(getattr(self, name), index) for name in self._fields))

    def at_moments(self) -> Lanes:
        """Return the lanes with an axis for moments, (..., 1, L)."""
        return Lanes(*(getattr(self, name)[..., None, :] for name in self._fields))

    def under_way(self, t_s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return time since the onset [s] and the share of the ramp that is over, at times broadcast to the lanes."""
        u = np.maximum(t_s - self.t0_s, 0.0)
        return u, np.minimum(u / self.tau_s, 1.0)

    def ramp(self, share: FloatArray) -> FloatArray:
        """Return r where a share of the ramp is over [1]."""
        return np.asarray(np.where(share < 1, share * (2 * self.square + share * 3 * self.cube), 1.0))

    def ramp_integral(self, u: FloatArray, share: FloatArray) -> FloatArray:
        """Return the integral of r over the time since the onset [s]."""
        return np.asarray(u + self.tau_s * share * (share * (self.square + share * self.cube) - 1))


def lanes_over(t0_s: FloatArray, roughness: tuple[int, ...]) -> Lanes:
    """Return lanes over onsets (..., T), all ramp times and shapes and some roughnesses (places in `ROUGHNESS`).

    A third of all combinations is tried: of shape and roughness a Latin square for each ramp time. Neighbouring onsets
    and ramp times have the other cells of the square, so that nothing goes untried for long.
    """
    cells = np.indices((t0_s.shape[-1], len(RAMP_S), len(SHAPES), len(roughness))).reshape(4, -1)
    onset, ramp, shape, place = cells[:, cells.sum(axis=0) % 3 == 0]
    rough = np.array(roughness)[place]
    t0_s = t0_s[..., onset]
    weight = np.array(RAMP_WEIGHT)[ramp] * np.array(SHAPE_WEIGHT)[shape] * np.array(ROUGHNESS_WEIGHT)[rough]
    square, cube = np.array(SHAPES)[shape].T
    parts = (np.array(RAMP_S)[ramp], square, cube, np.array(ROUGHNESS)[rough], np.log(weight))
    return Lanes(t0_s, *(np.broadcast_to(part, t0_s.shape) for part in parts))


class State(NamedTuple):
    """Mean and covariance of (speed, alpha, slow noise) in each lane; each (..., L)."""

    v: FloatArray
    a: FloatArray
    b: FloatArray
    vv: FloatArray
    va: FloatArray
    vb: FloatArray
    aa: FloatArray
    ab: FloatArray
    bb: FloatArray

    def mean(self) -> FloatArray:
        """Return (..., L, 3)."""
        return np.stack((self.v, self.a, self.b), axis=-1)

    def covariance(self) -> FloatArray:
        """Return (..., L, 3, 3)."""
        rows = ((self.vv, self.va, self.vb), (self.va, self.aa, self.ab), (self.vb, self.ab, self.bb))
        return np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)

    def take(self, index: NDArray[np.intp]) -> State:
        """Return the state of some of the lanes, by their place among the lanes of all launches."""
        return State(*(np.take(getattr(self, name), index) for name in self._fields))

    def given(self, cross: tuple[FloatArray, FloatArray, FloatArray], variance: FloatArray, miss: FloatArray) -> State:
        """Return the state after something linear in it is seen.

        `miss` is what was not expected of it, `variance` that of the miss, `cross` its covariance with the state.
        """
        cv, ca, cb = cross
        push = miss / variance
        gv, ga, gb = cv / variance, ca / variance, cb / variance
        return State(
            v=self.v + cv * push,
            a=self.a + ca * push,
            b=self.b + cb * push,
            vv=self.vv - gv * cv,
            va=self.va - gv * ca,
            vb=self.vb - gv * cb,
            aa=self.aa - ga * ca,
            ab=self.ab - ga * cb,
            bb=self.bb - gb * cb,
        )


def at_rest(lanes: Lanes, noise: SpeedNoise) -> State:
    """Return the state at the onset: speed zero and known, acceleration nearly unknown."""
    zero = np.zeros(lanes.t0_s.shape)
    return State(
        zero, zero + ACCEL_MEAN_MPS2, zero, zero, zero, zero, zero + ACCEL_SD_MPS2**2, zero, zero + noise.slow_mps**2
    )


class Move(NamedTuple):
    """What carries each lane's state over one step: ramp area [s], moving time [s], fade of the slow noise [1].

    `shape_var` is what ramps of other shapes add to the variance of the speed [m^2/s^2].
    """

    area_s: FloatArray
    moving_s: FloatArray
    fade: FloatArray
    shape_var: FloatArray


def moves_through(lanes: Lanes, t_s: FloatArray, noise: SpeedNoise) -> list[Move]:
    """Return the step of each lane that ends at each moment (..., K), the first none; at rest nothing moves."""
    each, column = lanes.at_moments(), t_s[..., None]
    u, share = each.under_way(np.concatenate((column[..., :1, :], column), axis=-2))
    area_s, moving_s = np.diff(each.ramp_integral(u, share), axis=-2), np.diff(u, axis=-2)
    shape_var = (SHAPE_SHARE * ACCEL_MEAN_MPS2 * each.tau_s) ** 2 * np.diff(share, axis=-2)
    parts = (area_s, moving_s, np.exp(-moving_s / noise.slow_tau_s), shape_var)
    return [Move(*(part[..., k, :] for part in parts)) for k in range(t_s.shape[-1])]


def predict(state: State, move: Move, roughness: FloatArray, noise: SpeedNoise) -> State:
    """Return the state one step later."""
    area, d, fade = move.area_s, move.moving_s, move.fade
    qd = roughness * d
    va = state.va + area * state.aa
    return State(
        v=state.v + area * state.a,
        a=state.a,
        b=fade * state.b,
        vv=state.vv + area * (state.va + va) + qd * area * area / 3 + move.shape_var,
        va=va + qd * area / 2,
        vb=fade * (state.vb + area * state.ab),
        aa=state.aa + qd,
        ab=fade * state.ab,
        bb=noise.slow_mps**2 + fade * fade * (state.bb - noise.slow_mps**2),
    )


def update(
    state: State, seen_mps: FloatArray, count: FloatArray, moving: NDArray[np.bool_], noise: SpeedNoise
) -> tuple[State, FloatArray]:
    """Return the state after a mean of `count` samples, and its log likelihood, 0 where there is none (NaN).

    Lanes still at rest stay as they are; a zero tells of the speed through its likelihood alone.
    """
    has, zero = np.isfinite(seen_mps), seen_mps == 0
    used = moving & has & ~zero
    expected, slope, white_var = _expected(state.v, used, noise)
    miss = np.where(used, seen_mps - expected - slope * state.b, 0.0)
    after, value = corrected(state, miss, np.where(used, slope, 0.0), white_var / count)
    if zero.any():
        value = np.where(zero, _zero_log_likelihood(state.v, state.vv, noise), value)
    return after, np.where(has, value, 0.0)


def corrected(state: State, miss: FloatArray, slope: FloatArray, white_var: FloatArray) -> tuple[State, FloatArray]:
    """Return the state after a sample that shows `slope` times (speed + slow noise), and its log likelihood.

    `miss` is what the state before did not expect of the sample; a slope of zero leaves a lane as it was.
    """
    cv, ca, cb = slope * (state.vv + state.vb), slope * (state.va + state.ab), slope * (state.vb + state.bb)
    spread = slope * (cv + cb) + white_var
    return state.given((cv, ca, cb), spread, miss), _log_normal_with_strays(miss * miss / spread, spread)


def _expected(v: FloatArray, used: NDArray[np.bool_], noise: SpeedNoise) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Expected report, its slope against the speed, and the white variance of one sample, for the lanes in use."""
    mean, slope, variance = rice_moments(np.where(used, v, _FAR_SIGMAS * noise.sigma_mps), noise.sigma_mps)
    rounding_var = noise.resolution_mps**2 / 12
    floor = 0.3 * (noise.white_mps**2 - rounding_var)
    return mean, slope, np.maximum(variance - (slope * noise.slow_mps) ** 2, floor) + rounding_var


def _log_normal_with_strays(square: FloatArray, spread: FloatArray) -> FloatArray:
    wide = _STRAY_SHARE / _STRAY_WIDTH * np.exp(-0.5 * square / _STRAY_WIDTH**2)
    return np.log(np.exp(-0.5 * np.minimum(square, 1000.0)) + wide + 1e-300) - 0.5 * np.log(2 * np.pi * spread)


def _zero_log_likelihood(v: FloatArray, vv: FloatArray, noise: SpeedNoise) -> FloatArray:
    """Log probability that zero is shown: hold or rounding swallow the speed (the normal law as a logistic one).

    The factor 1.702 brings both laws within 0.01 of each other (common practice in item response theory).
    """
    spread = np.sqrt(vv + noise.sigma_mps**2)
    return -np.log1p(np.exp(np.clip(1.702 * (v - noise.zero_below_mps) / spread, -60, 60)))


def rest_likelihood(samples: Samples, noise: SpeedNoise) -> FloatArray:
    """Return the log likelihood (..., K) of each sample if the vehicle is at rest; 0 where there is no sample."""
    out = np.zeros(samples.t_s.shape)
    has = np.isfinite(samples.seen_mps)
    if not has.any():
        return out
    seen, t_s, row = samples.seen_mps[has], samples.t_s[has], np.nonzero(has.reshape(-1, has.shape[-1]))[0]
    gaps_s = np.where(np.diff(row, prepend=-1) > 0, np.inf, np.diff(t_s, prepend=0.0))
    share = min(noise.slow_mps / noise.sigma_mps, 1.0) ** 2
    rho = share * np.exp(-gaps_s / noise.slow_tau_s)
    value = rest_log_likelihood(seen, noise.rest_sigma_mps, noise.resolution_mps, rho)
    zero = _zero_log_likelihood(np.zeros(1), np.zeros(1), noise)
    out[has] = np.where(seen == 0, zero, value)
    return out


def filtered(lanes: Lanes, samples: Samples, resting: FloatArray, noise: SpeedNoise) -> tuple[FloatArray, list[State]]:
    """Return the log posterior weight of each lane, and its state at each moment given the samples up to it.

    `resting` is what `rest_likelihood` says of the samples. The weights hold up to a constant.
    """
    began = samples.t_s > lanes.t0_s.min(axis=-1)[..., None]
    first = int(np.argmax(began.reshape(-1, began.shape[-1]).any(axis=0)))
    total = lanes.log_prior + resting[..., :first].sum(axis=-1)[..., None]
    state = at_rest(lanes, noise)
    track = [state] * first
    seen = np.isfinite(samples.seen_mps)
    moves = moves_through(lanes, samples.t_s[..., max(first - 1, 0) :], noise)
    for k, move in enumerate(moves[min(first, 1) :], first):
        state = predict(state, move, lanes.roughness, noise)
        if seen[..., k].any():
            moving = lanes.t0_s < samples.t_s[..., k, None]
            seen_mps, count = samples.seen_mps[..., k, None], samples.count[..., k, None]
            state, value = update(state, seen_mps, count, moving, noise)
            total += np.where(moving, value, resting[..., k, None])
        track.append(state)
    return total, track
