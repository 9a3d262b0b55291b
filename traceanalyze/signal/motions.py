"""A receiver's record cut into rests and the motions between them, as an accelerometer is compared with it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from traceanalyze.signal.forces import REST_AT_LEAST_S
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray

#: Receiver speeds used are above this [m/s] (and this many sigma), where the length of the noisy vector is unbiased.
_CLEAR_MPS: Final = 1.0
_CLEAR_SIGMA: Final = 6.0
#: Faster receivers are averaged to this period [s].
_PERIOD_S: Final = 0.2
#: Longest stretch kept as one [s], and fewest samples of one.
_LONGEST_S: Final = 40.0
FEWEST: Final = 4
#: A rest belongs to a stretch when its motion is seen within this time [s]; how far inside a rest it is surely at rest.
_NEAR_S: Final = 5.0
_INTO_REST_S: Final = 0.8
#: The receiver rests below this [m/s] (and this many sigma).
_STILL_MPS: Final = 0.35
_STILL_SIGMA: Final = 4.0
#: Standard deviation of the speed 'zero' at the rest that ends a stretch [m/s].
_STOPPED_MPS: Final = 0.03


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """A time of motion with the receiver's speeds in it.

    Attributes
    ----------
    start_s : float
        A moment of the rest before it, or its first sample [s of the receiver's clock].
    t_s, seen_mps : (n,) float
        Samples; the last is a zero at the rest after it when `stopped`.
    noise_var : (n,) float
        Variance of the white part of each.
    anchored, stopped : bool
        Whether it begins at rest; whether it ends at rest.
    """

    start_s: float
    t_s: FloatArray
    seen_mps: FloatArray
    noise_var: FloatArray
    anchored: bool
    stopped: bool


def receiver_rests(t_s: FloatArray, speed_mps: FloatArray, noise: SpeedNoise) -> list[tuple[float, float]]:
    """Return begin and end of the receiver's rests [s], on its own clock; missing speeds end a rest."""
    still = np.isfinite(speed_mps) & (speed_mps < max(_STILL_MPS, _STILL_SIGMA * noise.sigma_mps, noise.hold_mps))
    joined = still[1:] & still[:-1] & (np.diff(t_s) < max(5 * noise.period_s, 2.5))
    edges = np.flatnonzero(np.diff(np.concatenate([[False], joined, [False]]).astype(int)))
    spans = [(float(t_s[a]), float(t_s[b])) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    return [(a, b) for a, b in spans if b - a >= REST_AT_LEAST_S]


def stretches(
    t_s: FloatArray,
    speed_mps: FloatArray,
    part: NDArray[np.integer[Any]],
    rests: list[tuple[float, float]],
    noise: SpeedNoise,
) -> list[Stretch]:
    """Return the stretches of motion between rests, on the receiver's clock.

    Parameters
    ----------
    t_s, speed_mps : (n,) float
        The receiver's; NaN speeds are left out.
    part : (n,) int
        Points of different parts are never joined.
    rests : list of (begin, end)
        Rests of the receiver [s].
    """
    clear = max(_CLEAR_MPS, _CLEAR_SIGMA * noise.sigma_mps, noise.hold_mps)
    moving = np.isfinite(speed_mps) & (speed_mps > clear)
    ends = [-np.inf, *(end for _, end in rests)]
    begins = [*(begin for begin, _ in rests), np.inf]
    out: list[Stretch] = []
    for leaves_s, stops_s in zip(ends, begins, strict=True):
        inside = np.flatnonzero(moving & (t_s > leaves_s) & (t_s < stops_s))
        pieces = _pieces(t_s, part, inside, noise.period_s)
        for number, piece in enumerate(pieces):
            first = number == 0 and float(t_s[piece[0]]) - leaves_s < _NEAR_S
            last = number == len(pieces) - 1 and stops_s - float(t_s[piece[-1]]) < _NEAR_S
            if piece.size >= FEWEST:
                out.append(
                    _stretch(
                        t_s[piece], speed_mps[piece], leaves_s if first else None, stops_s if last else None, noise
                    )
                )
    return out


def _pieces(
    t_s: FloatArray, part: NDArray[np.integer[Any]], inside: NDArray[np.intp], period_s: float
) -> list[NDArray[np.intp]]:
    """Cut indices at gaps, where the part changes, and where a piece grows too long."""
    if not inside.size:
        return []
    cut = (np.diff(t_s[inside]) > max(5 * period_s, 2.5)) | (np.diff(part[inside]) != 0)
    pieces = []
    for piece in np.split(inside, np.flatnonzero(cut) + 1):
        count = max(1, int(np.ceil((t_s[piece[-1]] - t_s[piece[0]]) / _LONGEST_S)))
        pieces += np.array_split(piece, count)
    return pieces


def _stretch(
    t_s: FloatArray, seen_mps: FloatArray, leaves_s: float | None, stops_s: float | None, noise: SpeedNoise
) -> Stretch:
    size = max(1, round(_PERIOD_S / noise.period_s))
    begin = np.arange(0, t_s.size, size)
    count = np.diff(begin, append=t_s.size)
    middle, mean = (
        np.add.reduceat(values, begin) / count for values in (t_s, seen_mps - noise.sigma_mps**2 / (2 * seen_mps))
    )
    variance = noise.white_mps**2 / count
    if stops_s is not None:
        middle, mean = np.append(middle, stops_s + _INTO_REST_S), np.append(mean, 0.0)
        variance = np.append(variance, _STOPPED_MPS**2)
    start_s = float(t_s[0]) if leaves_s is None else leaves_s - _INTO_REST_S
    return Stretch(start_s, middle, mean, variance, leaves_s is not None, stops_s is not None)
