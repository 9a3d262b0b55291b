"""From samples around starts to paths drawn from their posterior, several launches of a log at a time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from traceanalyze.errors import SignalError
from traceanalyze.estimate.normals import DRAWS
from traceanalyze.estimate.onset import Lanes, Samples, State, filtered, lanes_over, log_posterior, third_of_lanes
from traceanalyze.estimate.paths import Paths, draw_free, draw_paths
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray

#: Speed that is motion beyond doubt [m/s], and in multiples of sigma.
_CLEAR_MPS: Final = 0.8
_CLEAR_SIGMA: Final = 6.0
#: How far before the last sample that looks like rest the onset may lie [s]: a soft take-up hides in the noise.
_HIDDEN_S: Final = 0.6
#: How long the last sample short of clear motion may be after the last at rest [s]: no launch is slower.
_SLOWEST_S: Final = 1.2
#: Rest before the earliest onset that is looked at [s].
_REST_LOOKED_AT_S: Final = 1.5
#: Length of the start window after motion is clear [s], and the samples it has at least.
_START_S: Final = 1.8
_START_SAMPLES: Final = 4
#: How long after motion is clear every sample is used as it is [s]; later ones are averaged in blocks.
_FULL_RATE_S: Final = 0.5
#: Samples of clear motion, and those of _FULL_RATE_S, from which the range of onsets is narrowed.
_BRIEF_SAMPLES: Final = 3
#: Longest step between moments while every sample is used, and after that [s].
_START_STEP_S: Final = 0.1
_LATER_STEP_S: Final = 0.25
#: Samples after the start are averaged in blocks so that no more than this many remain.
_LATER_SAMPLES: Final = 140
#: Moments after the start, as many at most but for those of the samples.
_LATER_MOMENTS: Final = 400
#: Shortest useful block [s]: white noise is averaged there without smearing anything.
_BLOCK_S: Final = 0.2
#: Moments between two samples at most.
_MOMENTS: Final = 200
#: Launches fitted together at most, and by how many moments more than twice as many the longest may be longer.
_TOGETHER: Final = 16
_ALIKE_MOMENTS: Final = 20
#: Onsets tried, coarse and fine.
_COARSE: Final = 40
_FINE: Final = 24


@dataclass(frozen=True, slots=True, eq=False)
class Climb:
    """A climb from rest, ready to be fitted.

    Attributes
    ----------
    start, later : Samples
        The moments around the onset and those after them.
    brief_s : float
        Up to here samples narrow the range of onsets down [s].
    earliest_s, latest_s : float
        Where the onset may lie [s].
    """

    start: Samples
    later: Samples
    brief_s: float
    earliest_s: float
    latest_s: float


def climb_of(t_s: FloatArray, speed_mps: FloatArray, noise: SpeedNoise) -> Climb:
    """Return a climb from its samples, from the rest before it to its end; NaN speeds are left out.

    Raises
    ------
    SignalError
        If no climb from rest is in the samples.
    """
    has = np.isfinite(speed_mps)
    t_s, speed_mps = t_s[has], speed_mps[has]
    clear = clear_motion(speed_mps, noise)
    earliest_s, latest_s = _onset_range(t_s, speed_mps, clear, noise)
    start, later = _parts(t_s, speed_mps, earliest_s - _REST_LOOKED_AT_S, clear, noise)
    brief_s = max(float(t_s[clear]) + _FULL_RATE_S, float(t_s[min(clear + _BRIEF_SAMPLES, t_s.size) - 1]))
    return Climb(start, later, brief_s, earliest_s, latest_s)


def fit_start(t_s: FloatArray, speed_mps: FloatArray, noise: SpeedNoise) -> Paths:
    """Return paths of one climb from rest; see `climb_of`."""
    return fit_starts([climb_of(t_s, speed_mps, noise)], noise).of(0)


def fit_starts(climbs: Sequence[Climb], noise: SpeedNoise) -> Paths:
    """Return paths of several climbs, with a leading axis; each comes out as if it were alone."""
    start, later = _starts_stacked(climbs), _later_stacked(climbs)
    lanes, track = _weighed(climbs, start, noise)
    return draw_paths(lanes, track, start, later, noise)


def fit_free(t_s: FloatArray, speed_mps: FloatArray, noise: SpeedNoise) -> Paths:
    """Return paths through samples in motion, without a start: for speeds between which nothing comes to rest.

    Raises
    ------
    SignalError
        If fewer than three samples have a speed.
    """
    has = np.isfinite(speed_mps)
    t_s, speed_mps = t_s[has], speed_mps[has]
    if t_s.size < 3:
        raise SignalError("fewer than three samples have a speed", advice="use a faster logger")
    block = max(1, round(_BLOCK_S / noise.period_s), -(-t_s.size // _LATER_SAMPLES))
    before_s = float(t_s[0]) - noise.period_s
    return draw_free(with_moments(*_thinned(t_s, speed_mps, 0, block), _LATER_STEP_S, before_s), before_s, noise)


def clear_motion(speed_mps: FloatArray, noise: SpeedNoise) -> int:
    """Return the index of the first sample of the climb that is motion beyond doubt, searched back from the climb."""
    peak = float(speed_mps.max(initial=0.0))
    level = max(_CLEAR_MPS, _CLEAR_SIGMA * noise.sigma_mps, 1.3 * noise.hold_mps)
    if speed_mps.size < 4 or peak < 1.5 * level:
        raise SignalError("no climb from rest", advice="record the rest before the start and the ride after it")
    climb = int(np.argmax(speed_mps >= min(0.5 * peak, 4 * level)))
    calm = np.flatnonzero(speed_mps[:climb] < level)
    if not calm.size:
        raise SignalError("no rest before the climb", advice="stand still for two seconds before each start")
    return int(calm[-1]) + 1


def _onset_range(t_s: FloatArray, speed_mps: FloatArray, clear: int, noise: SpeedNoise) -> tuple[float, float]:
    """Earliest and latest moment the onset may lie at."""
    restlike = max(2.5 * noise.rest_sigma_mps, noise.hold_mps) + noise.resolution_mps
    rest = np.flatnonzero(speed_mps[:clear] <= restlike)
    last_s = max(float(t_s[rest[-1]]) if rest.size else -np.inf, float(t_s[clear - 1]) - _SLOWEST_S)
    return max(last_s - _HIDDEN_S, float(t_s[0]) - noise.period_s), float(t_s[clear]) - 1e-3


def _parts(
    t_s: FloatArray, speed_mps: FloatArray, from_s: float, clear: int, noise: SpeedNoise
) -> tuple[Samples, Samples]:
    """Samples and moments of the start and of what follows it."""
    first = int(np.searchsorted(t_s, from_s))
    stop = max(int(np.searchsorted(t_s, t_s[clear] + _START_S)), clear + _START_SAMPLES)
    settled = int(np.searchsorted(t_s, t_s[clear] + _FULL_RATE_S))
    block = max(1, round(_BLOCK_S / noise.period_s))
    stop = min(stop, t_s.size)
    early = _thinned(t_s[first:stop], speed_mps[first:stop], settled - first, block)
    start = with_moments(*early, np.where(early[0] <= t_s[settled - 1], _START_STEP_S, _LATER_STEP_S))
    block = max(block, -(-(t_s.size - stop) // _LATER_SAMPLES))
    later = _thinned(t_s[stop:], speed_mps[stop:], 0, block)
    step_s = max(_LATER_STEP_S, float(t_s[-1] - t_s[stop - 1]) / _LATER_MOMENTS)
    return start, with_moments(*later, step_s, after_s=float(start.t_s[-1]))


def _thinned(t_s: FloatArray, speed_mps: FloatArray, keep: int, block: int) -> tuple[FloatArray, FloatArray]:
    """The first `keep` samples as they are, the others averaged in blocks."""
    whole = keep + (t_s.size - keep) // block * block
    means = [part[keep:whole].reshape(-1, block).mean(axis=1) for part in (t_s, speed_mps)]
    rests = [part[whole:].mean(keepdims=True) if whole < part.size else part[:0] for part in (t_s, speed_mps)]
    out = [np.concatenate(parts) for parts in zip((t_s[:keep], speed_mps[:keep]), means, rests, strict=True)]
    return out[0], out[1]


def with_moments(
    t_s: FloatArray, speed_mps: FloatArray, step_s: float | FloatArray, after_s: float | None = None
) -> Samples:
    """Return the samples with moments put between them so that no step before one is longer than its `step_s`."""
    if not t_s.size:
        return Samples(t_s, speed_mps)
    gaps = np.diff(t_s, prepend=t_s[0] if after_s is None else after_s)
    count = np.clip(np.ceil(gaps / step_s - 1e-6).astype(int), 1, _MOMENTS)
    place = np.cumsum(count) - 1  # of each sample among all moments
    part = (np.arange(place[-1] + 1) - np.repeat(place, count)) / np.repeat(count, count)
    seen_mps = np.full(part.size, np.nan)
    seen_mps[place] = speed_mps
    return Samples(np.repeat(t_s, count) + part * np.repeat(gaps, count), seen_mps)


def batches(climbs: Sequence[Climb]) -> list[list[int]]:
    """Return places of climbs that are worth fitting together: few enough, and alike in length."""
    found: list[list[int]] = []
    for place in sorted(range(len(climbs)), key=lambda k: climbs[k].later.t_s.size):
        size = climbs[place].later.t_s.size
        if found and len(found[-1]) < _TOGETHER and size < 2 * climbs[found[-1][0]].later.t_s.size + _ALIKE_MOMENTS:
            found[-1].append(place)
        else:
            found.append([place])
    return found


def _starts_stacked(climbs: Sequence[Climb]) -> Samples:
    """The starts of several climbs (g, s), ending together: the shorter are filled up with moments of rest before."""
    size = max(climb.start.t_s.size for climb in climbs)
    fill = [size - climb.start.t_s.size for climb in climbs]
    t_s = [np.append(np.full(n, climb.start.t_s[0]), climb.start.t_s) for n, climb in zip(fill, climbs, strict=True)]
    seen = [np.append(np.full(n, np.nan), climb.start.seen_mps) for n, climb in zip(fill, climbs, strict=True)]
    return Samples(np.stack(t_s), np.stack(seen))


def _later_stacked(climbs: Sequence[Climb]) -> Samples:
    """What follows the starts (g, m): the shorter are filled up with moments that repeat the last."""
    size = max(climb.later.t_s.size for climb in climbs)
    fill = [size - climb.later.t_s.size for climb in climbs]
    last_s = [np.append(climb.start.t_s[-1], climb.later.t_s)[-1] for climb in climbs]
    t_s = [np.append(climb.later.t_s, np.full(n, end)) for n, end, climb in zip(fill, last_s, climbs, strict=True)]
    seen = [np.append(climb.later.seen_mps, np.full(n, np.nan)) for n, climb in zip(fill, climbs, strict=True)]
    return Samples(np.stack(t_s), np.stack(seen))


def _weighed(climbs: Sequence[Climb], start: Samples, noise: SpeedNoise) -> tuple[Lanes, list[State]]:
    """Lanes (g, DRAWS) drawn by their posterior weight, with their states.

    Where the onset may lie is narrowed first, from the samples up to `brief_s` alone.
    """
    ranges_s = np.array([(climb.earliest_s, climb.latest_s, climb.brief_s) for climb in climbs])
    earliest_s, latest_s, brief_s = (part[:, None] for part in ranges_s.T)
    step_s = (latest_s - earliest_s) / (_COARSE - 1)
    coarse = lanes_over(earliest_s + step_s * np.arange(_COARSE), ramps=(1, 3), shapes=(0,), roughness=(1,))
    value = log_posterior(coarse, Samples(start.t_s, np.where(start.t_s <= brief_s, start.seen_mps, np.nan)), noise)
    near = value > value.max(axis=-1, keepdims=True) - 10.0
    first_s = coarse.t0_s.min(axis=-1, keepdims=True, where=near, initial=np.inf)
    last_s = coarse.t0_s.max(axis=-1, keepdims=True, where=near, initial=-np.inf)
    low, high = np.maximum(first_s - 1.5 * step_s - 0.1, earliest_s), np.minimum(last_s + 1.5 * step_s, latest_s)
    fine = third_of_lanes(low + (high - low) * np.linspace(0.0, 1.0, _FINE))
    value, track = filtered(fine, start, noise)
    picks = _resampled(value)
    return fine.take(picks), [state.take(picks) for state in track]


def _resampled(log_weight: FloatArray) -> NDArray[np.intp]:
    """Places among all lanes (g, DRAWS) in proportion to the weights (g, L), evenly spread (systematic resampling)."""
    weight = np.exp(log_weight - log_weight.max(axis=-1, keepdims=True))
    launch = np.arange(weight.shape[0])[:, None]
    edges = launch + np.cumsum(weight, axis=-1) / weight.sum(axis=-1, keepdims=True)
    spread = (np.arange(DRAWS) * 37) % DRAWS  # 37 is coprime to any power of two: neighbours are set apart
    picks = np.searchsorted(edges.ravel(), launch + (spread + 0.5) / DRAWS)
    return np.asarray(np.minimum(picks, (launch + 1) * weight.shape[-1] - 1))
