"""Specific force in a sensor's own axes -> blocks free of fast shaking, rests, gravity, and the direction of travel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from traceanalyze.errors import SignalError
from traceanalyze.trace import FloatArray
from traceanalyze.units import GRAVITY_MPS2

#: Length of a block [s]: its mean has no part of a shaking of 50 Hz and little of more, and smears a start by 6 ms.
BLOCK_S: Final = 0.02
#: Steps longer than this many usual ones (and this long [s]) are gaps: nothing is integrated across them.
_GAP_STEPS: Final = 5.0
_GAP_S: Final = 0.1
#: Stretch whose mean shows whether the sensor rests [s], how far such means may spread [m/s^2], and the least rest [s].
_CALM_S: Final = 0.5
_CALM_MPS2: Final = 0.12
REST_AT_LEAST_S: Final = 1.5
#: A rest is stiller than any road: the force, averaged over about half a second, moves by less than this in a quarter
#: [m/s^2]. In an open recording of a car (10 Hz) it moves by 0.002-0.010 at rests with the engine on and by 0.023 and
#: more on the calmest seconds of road, in another (104 Hz) by 0.034 and more; an engine's shaking is averaged out.
_STILL_MPS2: Final = 0.016
#: The force at a rest is this near the usual one of all calm times [m/s^2]: strips slope by some percent.
_NEAR_GRAVITY_MPS2: Final = 0.5
#: Left out at both ends of a rest [s]: a receiver's clock may be late by some tenths.
REST_MARGIN_S: Final = 0.4
#: Share of half seconds that shake less than what is taken for the whole record: engines shake more under load.
_SHAKEN: Final = 0.85
#: Time after the end of a rest whose push shows which way is forward [s].
_PUSH_S: Final = 1.2


@dataclass(frozen=True, slots=True, eq=False)
class Blocks:
    """Means of short blocks.

    Attributes
    ----------
    t_s : (m,) float
        Middle of each block [s], increasing.
    force_mps2 : (m, 3) float
    run : (m,) int
        Number of the gapless run each block belongs to.
    """

    t_s: FloatArray
    force_mps2: FloatArray
    run: NDArray[np.intp]

    @property
    def step_s(self) -> float:
        """Usual time between blocks [s]."""
        return float(np.median(np.diff(self.t_s)))


def blocks(t_s: FloatArray, force_mps2: FloatArray, block_s: float = BLOCK_S) -> Blocks:
    """Return the means of blocks of about `block_s` (single samples of a sensor slower than that).

    Parameters
    ----------
    t_s : (n,) float
        Increasing [s].
    force_mps2 : (n, 3) float
        Samples with a missing axis are left out.

    Raises
    ------
    SignalError
        If fewer than ten samples have all three axes.
    """
    whole = np.isfinite(force_mps2).all(axis=1)
    t_s, force_mps2 = t_s[whole], force_mps2[whole]
    if t_s.size < 10:
        raise SignalError("fewer than ten accelerometer samples hold three axes", advice="log x, y and z")
    step = np.diff(t_s)
    usual_s = float(np.median(step))
    size = max(1, round(block_s / usual_s))
    starts_run = np.concatenate([[True], step > max(_GAP_STEPS * usual_s, _GAP_S)])
    run = np.cumsum(starts_run) - 1
    place = np.arange(t_s.size) - np.flatnonzero(starts_run)[run]
    begin = np.flatnonzero(place % size == 0)
    count = np.diff(begin, append=t_s.size)
    means = np.add.reduceat(np.column_stack([t_s, force_mps2]), begin) / count[:, None]
    return Blocks(means[:, 0].copy(), means[:, 1:].copy(), run[begin])


def integral(t_s: FloatArray, values: FloatArray) -> FloatArray:
    """Return the integral of values (m,) or (m, k) from the first time on, by the trapezoid rule."""
    step = np.diff(t_s).reshape(-1, *([1] * (values.ndim - 1)))
    total = np.zeros_like(values)
    np.cumsum((values[1:] + values[:-1]) / 2 * step, axis=0, out=total[1:])
    return total


def calm_rests(found: Blocks) -> list[tuple[float, float]]:
    """Return begin and end [s] of the times at which the force stays as it is: rests, as far as the sensor can tell.

    A steady roll is told from a rest by the shaking of the road; on a road without any it looks the same, and only
    what lies between rests tells them apart.
    """
    size = max(1, round(_CALM_S / found.step_s))
    begin = np.arange(0, found.t_s.size - size + 1, max(1, size // 2))
    total = np.concatenate([np.zeros((1, 3)), np.cumsum(found.force_mps2, axis=0)])
    means = (total[begin + size] - total[begin]) / size
    alike = np.linalg.norm(np.diff(means, axis=0), axis=1) < _CALM_MPS2
    usual = np.median(means[1:][alike], axis=0) if alike.any() else np.zeros(3)  # a steady push is steady too
    alike &= np.linalg.norm(means[1:] - usual, axis=1) < _NEAR_GRAVITY_MPS2
    same_run = found.run[begin[1:] + size - 1] == found.run[begin[:-1]]
    calm = np.concatenate([[False], alike & same_run, [False]])
    edges = np.flatnonzero(np.diff(calm.astype(int)))
    last = np.minimum(begin + size - 1, found.t_s.size - 1)
    moves = _moves(found, begin + size // 2)
    spans = [
        (float(found.t_s[begin[a]]), float(found.t_s[last[b]]))
        for a, b in zip(edges[::2], edges[1::2], strict=True)
        if np.median(moves[a:b]) < _STILL_MPS2
    ]
    return [(a, b) for a, b in spans if b - a >= REST_AT_LEAST_S]


def _moves(found: Blocks, middle: NDArray[np.intp]) -> FloatArray:
    """Return by how much the force (m, 3) around some blocks moves from one to the next [m/s^2], shaking left out.

    Hann's window falls off fast: an engine's shaking that sampling folds down to 3 Hz counts for a hundredth.
    """
    window = np.hanning(round(2 * _CALM_S / found.step_s) + 2)[1:-1]
    smooth = [np.convolve(axis, window / window.sum(), "same")[middle] for axis in found.force_mps2.T]
    return np.asarray(np.linalg.norm(np.diff(smooth, axis=1), axis=0))


def rest_forces(found: Blocks, rests: list[tuple[float, float]]) -> tuple[FloatArray, FloatArray]:
    """Return the middle of each rest [s] (k,) and the mean force in it (k, 3), its ends left out."""
    times, means = [], []
    for begin_s, end_s in rests:
        inside = (found.t_s >= begin_s + REST_MARGIN_S) & (found.t_s <= end_s - REST_MARGIN_S)
        if inside.sum() >= 3:
            times.append((begin_s + end_s) / 2)
            means.append(found.force_mps2[inside].mean(axis=0))
    return np.array(times), np.array(means).reshape(-1, 3)


def level_force(found: Blocks, rests: list[tuple[float, float]]) -> tuple[FloatArray, FloatArray]:
    """Return the two horizontal parts of the force without gravity (m, 2), and their axes in the sensor (3, 2).

    Gravity is the mean force of the rests, carried on between them in proportion to time, which takes along a bias
    that drifts and a strip that slopes; without any rest it is the mean of the whole record.

    Raises
    ------
    SignalError
        If that mean is far from the length of gravity.
    """
    times, means = rest_forces(found, rests)
    if not times.size:
        times, means = found.t_s[:1], found.force_mps2.mean(axis=0, keepdims=True)
    down = means.mean(axis=0)
    length = float(np.linalg.norm(down))
    if not 0.7 < length / GRAVITY_MPS2 < 1.4:
        raise SignalError(
            f"the accelerometer at rest shows {length:.2f} m/s^2 instead of gravity",
            advice="log the raw sensor, gravity included, and check its unit",
        )
    axes = np.linalg.svd(down.reshape(1, 3) / length)[2][1:].T
    gravity = np.column_stack([np.interp(found.t_s, times, column) for column in means.T])
    return (found.force_mps2 - gravity) @ axes, axes


def forward_of_pushes(found: Blocks, level: FloatArray, rests: list[tuple[float, float]]) -> FloatArray:
    """Return the direction (2,) in the level plane in which rests end: the first push of every start is forward.

    The line of travel is the main axis of all level force; the pushes tell its sense.

    Raises
    ------
    SignalError
        If there is no rest with a motion after it.
    """
    pushes = []
    for _, end_s in rests:
        after = (found.t_s > end_s - REST_MARGIN_S) & (found.t_s <= end_s + _PUSH_S)
        if after.any() and found.t_s[-1] > end_s + _PUSH_S:
            pushes.append(level[after].mean(axis=0))
    if not pushes:
        raise SignalError("no rest with a start after it", advice="stand still for some seconds before the start")
    axis: FloatArray = np.linalg.svd(level - level.mean(axis=0), full_matrices=False)[2][0]
    along = np.array(pushes) @ axis
    return axis if along.sum() > 0 else -axis


def white_density(level: FloatArray, step_s: float) -> float:
    """Return the spectral density of the force's white part [m^2/s^3], from its scatter within half seconds."""
    size = max(2, round(0.5 / step_s))
    parts = level[: level.shape[0] // size * size].reshape(-1, size, level.shape[1])
    spread = np.diff(parts, axis=1).var(axis=1).mean(axis=1) / 2 if parts.size else np.zeros(1)
    return float(np.quantile(spread, _SHAKEN)) * step_s
