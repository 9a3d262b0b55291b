"""Samples that cannot be true: spikes, impossible speeds, frozen values, positions that jump. Marked, never mended.

A vehicle has inertia and a receiver has noise; what is marked here fits neither. When in doubt a sample stays:
a false speed that is left in shows, a true one that is taken out does not.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from traceanalyze.errors import SignalError
from traceanalyze.order import distinct, median
from traceanalyze.settings import MAX_SPEED_MPS
from traceanalyze.signal.noise import rounding_step_mps
from traceanalyze.signal.timebase import at_rows, breaks
from traceanalyze.trace import FloatArray, Remark

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]

#: Below this a vehicle stands or creeps [m/s]: constant values are ordinary there, and short hops are real.
_SLOW_MPS: Final = 2.0
#: No ground vehicle of this kind changes its speed faster [m/s^2]: 1.5 g, more than tyres on asphalt hold.
_LIMIT_MPS2: Final = 15.0
#: How far a sample must stand off from both its sides: a floor [m/s], and how far a vehicle gets by speeding up and
#: braking again in the time between its good neighbours [m/s^2]: 3 and 3 m/s^2 at speed, where tops are flat, 9 and
#: 9 m/s^2 near rest, where short hops of a light vehicle are seen.
_SPIKE_FLOOR_MPS: Final = 0.6
_SPIKE_MPS2: Final = 1.5
_HOP_MPS2: Final = 4.5
#: A sample belongs to a spike when it stands off by at least this share of the spike's height.
_EVERY_MEMBER: Final = 0.2
#: Longest spike in samples; longer excursions must begin and end with an impossible step, and last no longer [s].
_SPIKE_SAMPLES: Final = 3
_EXCURSION_S: Final = 10.0
#: A frozen speed repeats itself at least so often and so long [s].
_FROZEN_SAMPLES: Final = 4
_FROZEN_S: Final = 1.4
#: Steps coarser than this and than the noise repeat at any steady speed and prove nothing by repeating [m/s].
_FINE_STEP_MPS: Final = 0.04
#: A log with fewer different speeds than this does not tell how fine they are.
_VALUES_AT_LEAST: Final = 20
#: A run of equal values that a log would show less often than this is no chance.
_CHANCE: Final = 1e-4
#: Speed change next to a run of equal values that no steady speed begins or ends with [m/s^2].
_EDGE_MPS2: Final = 4.0
#: A position further off than this from both its neighbours, which agree with each other, is false [m].
_JUMP_M: Final = 50.0
_METRES_PER_DEGREE: Final = 111_195.0  # of a great circle on a sphere of 6371 km; enough to tell a jump


def clean_speed(
    t_s: FloatArray, speed_mps: FloatArray, lat_deg: FloatArray, lon_deg: FloatArray, stretch: NDArray[Any]
) -> tuple[BoolArray, tuple[Remark, ...]]:
    """Return a mask (n,) of speeds that cannot be true, and a remark for each kind found.

    Parameters
    ----------
    t_s, speed_mps, lat_deg, lon_deg : (n,) float
        Increasing times [s], speeds [m/s] and positions [degrees], NaN where missing.
    stretch : (n,) int
        Samples of different stretches are never compared.

    Raises
    ------
    SignalError
        If shapes differ.
    """
    if not t_s.shape == speed_mps.shape == lat_deg.shape == lon_deg.shape == np.shape(stretch):
        raise SignalError("times, speeds, positions and stretch numbers differ in length")
    with np.errstate(invalid="ignore"):
        impossible = np.abs(speed_mps) > MAX_SPEED_MPS
    speed_mps = _without(speed_mps, impossible)
    jumped = jumped_positions(t_s, lat_deg, lon_deg, stretch)
    frozen = frozen_speeds(t_s, speed_mps, _without(lat_deg, jumped), lon_deg, stretch)
    spike = impossible | speed_spikes(t_s, _without(speed_mps, frozen), stretch)
    remarks = (
        *_remark("speed-spike", spike, t_s, "speed{s} no vehicle can have had (spikes)"),
        *_remark("speed-frozen", frozen, t_s, "speed{s} of a receiver that repeated one value while the ride went on"),
    )
    return spike | frozen, remarks


def clean_positions(
    t_s: FloatArray, lat_deg: FloatArray, lon_deg: FloatArray, stretch: NDArray[Any]
) -> tuple[BoolArray, tuple[Remark, ...]]:
    """Return a mask (n,) of positions that jump away and back, and a remark if there are any.

    Raises
    ------
    SignalError
        If shapes differ.
    """
    if not t_s.shape == lat_deg.shape == lon_deg.shape == np.shape(stretch):
        raise SignalError("times, positions and stretch numbers differ in length")
    jumped = jumped_positions(t_s, lat_deg, lon_deg, stretch)
    return jumped, _remark("position-jump", jumped, t_s, "position{s} that jump away and back")


def _without(values: FloatArray, mask: BoolArray) -> FloatArray:
    return np.where(mask, np.nan, values) if mask.any() else values


def _remark(code: str, mask: BoolArray, t_s: FloatArray, words: str) -> tuple[Remark, ...]:
    at = np.flatnonzero(mask)
    if not at.size:
        return ()
    said = words.format(s="" if at.size == 1 else "s")
    return (Remark(code, f"left out {at.size} {said}, the first at {t_s[at[0]]:.1f} s"),)


# --- spikes ----------------------------------------------------------------------------------------------------------


def speed_spikes(t_s: FloatArray, speed_mps: FloatArray, stretch: NDArray[Any]) -> BoolArray:
    """Return a mask (n,) of short excursions of speed that no vehicle can have made; NaN speeds are passed over.

    A spike of one to three samples stands off, to the same side, from the level and from the line on either side
    of it, further than a vehicle could have got there and back. A corner (a launch, a brake) lies on one of its
    lines and is none. A longer excursion must begin and end with steps beyond any tyre's grip.
    """
    mask = np.zeros(t_s.size, bool)
    rows = np.flatnonzero(np.isfinite(speed_mps))
    noise_mps = _local_noise_mps(*at_rows(rows, speed_mps))
    for _ in range(2):  # a spike beside a spike shows once the greater one is out
        rows = rows[~mask[rows]]
        if rows.size < 5:
            break
        t, v, part = at_rows(rows, t_s, speed_mps, np.asarray(stretch))
        high = np.flatnonzero(np.abs(np.diff(v)) > 0.5 * _SPIKE_FLOOR_MPS)
        found = _excursions(t, v, part, high, noise_mps)
        for width in range(1, _SPIKE_SAMPLES + 1):
            _mark_groups(found, t, v, part, _group_starts(high, v.size, width), width, noise_mps)
        if not found.any():
            break
        mask[rows[found]] = True
    return mask


def _mark_groups(
    found: BoolArray, t: FloatArray, v: FloatArray, part: NDArray[Any], first: IntArray, width: int, noise_mps: float
) -> None:
    """Mark groups of `width` samples that stand off from both sides, further than the vehicle could have gone."""
    left, right = first - 1, first + width
    span_s = t[right] - t[left]
    base = np.minimum(v[left], v[right])
    limit = np.maximum(_SPIKE_FLOOR_MPS, np.where(base > _SLOW_MPS, _SPIKE_MPS2, _HOP_MPS2) * span_s)
    limit = np.maximum(limit, 8 * noise_mps)
    members = v[first[:, None] + np.arange(width)]
    above = members.max(axis=1) - np.maximum(v[left], v[right])
    below = np.minimum(v[left], v[right]) - members.min(axis=1)
    maybe = (np.maximum(above, below) > limit) & (part[left - 1] == part[right + 1])
    maybe &= t[right + 1] - t[left - 1] < _EXCURSION_S
    off = _off_both_sides(t, v, first[maybe], width)
    for start in first[maybe][off > limit[maybe]].tolist():
        if not found[start - 2 : start + width + 2].any():
            found[start : start + width] = True


def _group_starts(high: IntArray, size: int, width: int) -> IntArray:
    """Where a group of `width` of `size` samples may begin: beside a high step, of half the least spike or more."""
    near = distinct((high[:, None] + np.arange(1 - width, 2)).ravel())
    return near[(near >= 2) & (near < size - width - 1)]


def _off_both_sides(t: FloatArray, v: FloatArray, first: IntArray, width: int) -> FloatArray:
    """Return how far groups (k,) stand off from the levels and lines of both their sides [m/s].

    0 where part of a group does not.
    """
    group = first[:, None] + np.arange(width)
    a, b = first[:, None] - 1, first[:, None] + width
    before, after = t[group] - t[a], t[b] - t[group]
    sides = np.stack(
        [
            np.broadcast_to(v[a], group.shape),
            np.broadcast_to(v[b], group.shape),
            v[a] + (v[a] - v[a - 1]) / (t[a] - t[a - 1]) * before,
            v[b] - (v[b + 1] - v[b]) / (t[b + 1] - t[b]) * after,
        ]
    )
    above, below = (v[group] - sides).min(axis=0), (sides - v[group]).min(axis=0)
    off = np.where((above.max(axis=1) > below.max(axis=1))[:, None], above, below)
    farthest = off.max(axis=1)
    return np.where(off.min(axis=1) > _EVERY_MEMBER * farthest, farthest, 0.0)


def _local_noise_mps(v: FloatArray) -> float:
    """Noise of the samples seen in second differences (variance 6 sigma^2), robustly [m/s]."""
    return median(np.abs(np.diff(v, 2))) / 0.6745 / np.sqrt(6) if v.size > 4 else 0.0


def _excursions(t: FloatArray, v: FloatArray, part: NDArray[Any], high: IntArray, noise_mps: float) -> BoolArray:
    """Mark what lies between an impossible step, which must be one of the high ones, and the step back."""
    mask = np.zeros(v.size, bool)
    step, step_s = v[high + 1] - v[high], t[high + 1] - t[high]
    allowed = _LIMIT_MPS2 * np.minimum(step_s, 1.0) + max(1.5, 8 * noise_mps)
    impossible = (np.abs(step) > allowed) & (part[high + 1] == part[high])
    step, beyond = step[impossible], high[impossible]
    for (out, back), turns in zip(pairwise(beyond.tolist()), step[:-1] * step[1:] < 0, strict=True):
        lasting_s = t[back] - t[out + 1]
        returns = abs(v[back + 1] - v[out]) < 4.0 * (t[back + 1] - t[out]) + 1.0
        if turns and lasting_s < _EXCURSION_S and returns and not mask[out]:
            mask[out + 1 : back + 1] = True
    return mask


# --- frozen speeds ---------------------------------------------------------------------------------------------------


def frozen_speeds(
    t_s: FloatArray, speed_mps: FloatArray, lat_deg: FloatArray, lon_deg: FloatArray, stretch: NDArray[Any]
) -> BoolArray:
    """Return a mask (n,) of speeds that a receiver repeated while the vehicle's own speed went on changing.

    A run of equal values above walking pace is frozen when the positions contradict it, when it begins or ends with
    a step that no steady speed begins or ends with, or when values of that fineness would not repeat so often by
    chance and no position confirms them. The first value of a run is kept when it continues what came before.
    """
    mask = np.zeros(t_s.size, bool)
    rows = np.flatnonzero(np.isfinite(speed_mps))
    if rows.size < _FROZEN_SAMPLES:
        return mask
    t, v, part = at_rows(rows, t_s, speed_mps, np.asarray(stretch))
    same = (v[1:] == v[:-1]) & (v[1:] > _SLOW_MPS)
    if not _runs_of(same, _FROZEN_SAMPLES).size:
        return mask
    same &= ~breaks(t, part)
    runs = _runs_of(same, _FROZEN_SAMPLES)
    runs = runs[t[runs[:, 1] - 1] - t[runs[:, 0]] >= _FROZEN_S]
    if not runs.size:
        return mask
    still = not (_varies(lat_deg) or _varies(lon_deg))
    for (start, stop), rare in zip(runs.tolist(), _too_rare(v, same, runs).tolist(), strict=True):
        points = slice(rows[start], rows[stop - 1] + 1)
        moved = "silent" if still else _agreement(t_s[points], lat_deg[points], lon_deg[points], float(v[start]))
        enters, leaves = _edge(t, v, part, start, -1), _edge(t, v, part, stop - 1, 1)
        if moved == "contradicts" or (moved != "confirms" and (enters or leaves or rare)):
            mask[rows[start + (enters == 0) : stop + max(leaves - 1, 0)]] = True
    return mask


def _varies(values: FloatArray) -> bool:
    known = values[np.isfinite(values)]
    return bool(known.size) and bool((known != known[0]).any())


def _runs_of(same: BoolArray, least: int) -> IntArray:
    """Return (k, 2) ranges, stop exclusive, of at least so many samples joined by true steps."""
    framed = np.concatenate(([False], same, [False]))
    edges = np.flatnonzero(framed[1:] != framed[:-1]).reshape(-1, 2)
    runs = edges + np.array([0, 1])
    return np.asarray(runs[runs[:, 1] - runs[:, 0] >= least])


def _too_rare(v: FloatArray, same: BoolArray, runs: IntArray) -> BoolArray:
    """Tell runs that chance does not explain, from how often neighbours are equal elsewhere in motion.

    Values that repeat because their source is coarse (a vehicle bus in whole km/h, resampled) lie on its steps.
    """
    repeated = v[_runs_of(same, _FROZEN_SAMPLES)[:, 0]]
    some = v[:: 1 + v.size // 20_000]
    values = distinct(some)
    if values.size < _VALUES_AT_LEAST:
        return np.zeros(runs.shape[0], bool)
    # the smallest difference seen is the step of a lattice that no unit explains
    step_mps = max(rounding_step_mps(some), rounding_step_mps(repeated), float(np.diff(values).min()))
    other = (v[:-1] > _SLOW_MPS) & (v[1:] > _SLOW_MPS)
    for start, stop in runs.tolist():
        other[start : stop - 1] = False
    # as if half of twenty more pairs were equal: a short log tells little
    share = (np.sum(same & other) + 10) / (other.sum() + 20)
    expected = share ** (runs[:, 1] - runs[:, 0] - 1.0) * max(1, int(other.sum()))
    fine_mps = max(_FINE_STEP_MPS, _local_noise_mps(v[v > _SLOW_MPS]))
    return np.asarray((expected < _CHANCE) & (step_mps < fine_mps))


def _agreement(t: FloatArray, lat_deg: FloatArray, lon_deg: FloatArray, shown_mps: float) -> str:
    """Tell whether positions confirm a speed held for a while, contradict it, or cannot tell."""
    known = np.isfinite(lat_deg) & np.isfinite(lon_deg)
    if known.sum() < max(3, 0.7 * known.size):
        return "silent"
    t, way_m = t[known], _ways_m(lat_deg[known], lon_deg[known], 1)
    lasting_s = t[-1] - t[0]
    off = abs(float(way_m.sum()) / lasting_s - shown_mps)
    error_mps = 5.0 / lasting_s  # a receiver's position against itself seconds earlier; common practice, no source
    if off > max(2.0, 0.15 * shown_mps) + error_mps:
        return "contradicts"
    return "confirms" if off < 0.05 * shown_mps + 0.3 else "silent"


def _edge(t: FloatArray, v: FloatArray, part: NDArray[Any], at: int, side: int) -> int:
    """Return in how many steps a run of equal values is left, on one side, unlike any steady speed; 0 if it is not.

    One step, or two of the same height: receivers and loggers fill a hole with the mean of both its sides.
    """
    for steps in (1, 2):
        near, beyond = at + steps * side, at + (steps + 1) * side
        if not 0 <= beyond < v.size or part[beyond] != part[at] or abs(t[beyond] - t[at]) > _EXCURSION_S:
            return 0
        rise, step_s = abs(v[near] - v[at]), abs(t[near] - t[at]) / steps
        slope = abs(v[beyond] - v[near]) / abs(t[beyond] - t[near])
        halfway = steps == 1 or abs(v[at + side] - 0.5 * (v[at] + v[near])) < 0.05 * rise
        if halfway and rise > max(1.0, _EDGE_MPS2 * step_s) and rise > 3 * steps * slope * step_s:
            return steps
    return 0


# --- positions -------------------------------------------------------------------------------------------------------


def jumped_positions(t_s: FloatArray, lat_deg: FloatArray, lon_deg: FloatArray, stretch: NDArray[Any]) -> BoolArray:
    """Return a mask (n,) of up to three positions in a row that lie far from both their sides, which agree."""
    mask = np.zeros(t_s.size, bool)
    rows = np.flatnonzero(np.isfinite(lat_deg) & np.isfinite(lon_deg))
    if rows.size < 3:
        return mask
    t, lat, lon, part = at_rows(rows, t_s, lat_deg, lon_deg, np.asarray(stretch))
    # cheap test first: a jump moves latitude or longitude by more than half of it
    if max(np.abs(np.diff(lat)).max(), np.abs(np.diff(lon)).max()) < 0.5 * _JUMP_M / _METRES_PER_DEGREE:
        return mask
    far = (_ways_m(lat, lon, 1) > _JUMP_M + MAX_SPEED_MPS * np.minimum(np.diff(t), 5.0)) & (np.diff(part) == 0)
    for width in range(1, _SPIKE_SAMPLES + 1):
        out = np.flatnonzero(far[:-width] & far[width:])
        around_m = _ways_m(lat, lon, width + 1)[out]
        near = around_m < _JUMP_M + 0.5 * MAX_SPEED_MPS * np.minimum(t[out + width + 1] - t[out], 5.0)
        for start in (out[near] + 1).tolist():
            if not mask[rows[start - 1]]:
                mask[rows[start : start + width]] = True
    return mask


def _ways_m(lat: FloatArray, lon: FloatArray, apart: int) -> FloatArray:
    """Distance [m] between points `apart` places from each other, good enough to tell a jump."""
    north = lat[apart:] - lat[:-apart]
    east = (lon[apart:] - lon[:-apart] + 180.0) % 360.0 - 180.0
    return np.asarray(_METRES_PER_DEGREE * np.hypot(north, east * np.cos(np.radians(lat[:-apart]))))
