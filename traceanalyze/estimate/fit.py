"""From samples around starts to paths drawn from their posterior, several launches of a log at a time."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from traceanalyze.errors import SignalError
from traceanalyze.estimate.normals import DRAWS
from traceanalyze.estimate.onset import Lanes, State, filtered, lanes_over, rest_likelihood
from traceanalyze.estimate.paths import Paths, draw_free, draw_paths
from traceanalyze.estimate.samples import Samples, beginning_together, ending_together, thinned, with_moments
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
#: Length of the start after motion is clear [s], and the samples of clear motion it has at least; one of 1.8 s changes
#: the RMS error of no rule by a millisecond.
_START_S: Final = 0.5
_START_SAMPLES: Final = 4
#: Launches fitted together at most, and by how many moments more than twice as many the longest may be longer.
_TOGETHER: Final = 32
_ALIKE_MOMENTS: Final = 20
#: Onsets tried; 42 change the RMS error of no rule by a millisecond.
_ONSETS: Final = 30
#: Places of the roughnesses tried. A start is too short to tell one from another, and the middle one will do, unless
#: periods longer than this draw it out [s].
_ROUGHNESSES: Final = (0, 1, 2)
_MIDDLE_ROUGHNESS: Final = (1,)
_LONG_PERIOD_S: Final = 0.25


class Climb(NamedTuple):
    """A climb from rest, ready to be fitted.

    Attributes
    ----------
    start, later : Samples
        The moments around the onset and those after them.
    earliest_s, latest_s : float
        Where the onset may lie [s].
    """

    start: Samples
    later: Samples
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
    return Climb(start, later, earliest_s, latest_s)


def fit_start(t_s: FloatArray, speed_mps: FloatArray, noise: SpeedNoise) -> Paths:
    """Return paths of one climb from rest; see `climb_of`."""
    return fit_starts([climb_of(t_s, speed_mps, noise)], noise).of(0)


def fit_starts(climbs: Sequence[Climb], noise: SpeedNoise) -> Paths:
    """Return paths of several climbs, with a leading axis; each comes out as if it were alone."""
    start = ending_together([climb.start for climb in climbs])
    later = beginning_together([climb.later for climb in climbs], start.t_s[:, -1].tolist())
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
    before_s = float(t_s[0]) - noise.period_s
    return draw_free(with_moments(thinned(t_s, speed_mps, 0), before_s, before_s), before_s, noise)


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
    settled = int(np.searchsorted(t_s, t_s[clear] + _START_S))
    every = thinned(t_s[first:], speed_mps[first:], settled - first)
    stop_s = max(float(t_s[clear]) + _START_S, float(t_s[min(clear + _START_SAMPLES, t_s.size) - 1]))
    stop = int(np.searchsorted(every.t_s, stop_s, side="right"))
    settled_s = float(t_s[min(settled, t_s.size - 1)])
    start, later = every.part(0, stop), every.part(stop, every.t_s.size)
    return (
        with_moments(start, settled_s, float(start.t_s[0])),
        with_moments(later, settled_s, float(start.t_s[-1])),
    )


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


def _weighed(climbs: Sequence[Climb], start: Samples, noise: SpeedNoise) -> tuple[Lanes, list[State]]:
    """Lanes (g, DRAWS) drawn by their posterior weight, with their states."""
    earliest_s, latest_s = np.array([(climb.earliest_s, climb.latest_s) for climb in climbs]).T
    onsets_s = np.linspace(earliest_s, latest_s, _ONSETS, axis=-1)
    lanes = lanes_over(onsets_s, _ROUGHNESSES if noise.period_s > _LONG_PERIOD_S else _MIDDLE_ROUGHNESS)
    value, track = filtered(lanes, start, rest_likelihood(start, noise), noise)
    picks = _resampled(value)
    return lanes.take(picks), [state.take(picks) for state in track]


def _resampled(log_weight: FloatArray) -> NDArray[np.intp]:
    """Places among all lanes (g, DRAWS) in proportion to the weights (g, L), evenly spread (systematic resampling)."""
    weight = np.exp(log_weight - log_weight.max(axis=-1, keepdims=True))
    launch = np.arange(weight.shape[0])[:, None]
    edges = launch + np.cumsum(weight, axis=-1) / weight.sum(axis=-1, keepdims=True)
    spread = (np.arange(DRAWS) * 37) % DRAWS  # 37 is coprime to any power of two: neighbours are set apart
    picks = np.searchsorted(edges.ravel(), launch + (spread + 0.5) / DRAWS)
    return np.asarray(np.minimum(picks, (launch + 1) * weight.shape[-1] - 1))
