"""What goes wrong in real logs, done on purpose: gaps, lost fixes, spikes, a frozen speed, damaged lines."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from traceanalyze.simulate.sensors import ReceiverLog

#: Degrees of latitude in one metre, near enough for a fault.
_DEGREES_PER_M = 1 / 111_200
#: Length of a lost stretch [s], a frozen speed [s], and size of a spike [m/s].
LOST_S = (0.5, 3.0)
FROZEN_S = (2.0, 6.0)
SPIKE_MPS = (6.0, 25.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Faults:
    """How many of each fault to make.

    Attributes
    ----------
    gaps : int
        Stretches of epochs that are missing from the log.
    lost_fixes : int
        Stretches of epochs without a position.
    spikes : int
        Single epochs with a speed far too high, and a position away from the track.
    freezes : int
        Stretches over which the speed repeats itself.
    flipped, cut : int
        Lines with one wrong character; lines that end too early.
    """

    gaps: int = 0
    lost_fixes: int = 0
    spikes: int = 0
    freezes: int = 0
    flipped: int = 0
    cut: int = 0


def spoil(log: ReceiverLog, faults: Faults, rng: np.random.Generator) -> ReceiverLog:
    """Return the log with its gaps, lost fixes, spikes and frozen speeds at places left to chance."""
    spoilt = freeze(log, _spans(log, faults.freezes, FROZEN_S, rng))
    at = rng.choice(log.t_s.size, faults.spikes, replace=False)
    spoilt = spike(spoilt, at, rng.uniform(*SPIKE_MPS, faults.spikes))
    spoilt = lose_fix(spoilt, _spans(log, faults.lost_fixes, LOST_S, rng))
    return drop(spoilt, _spans(log, faults.gaps, LOST_S, rng))


def drop(log: ReceiverLog, gone: NDArray[np.bool_]) -> ReceiverLog:
    """Return the log without some epochs."""
    kept = ~gone
    columns = {name: getattr(log, name)[kept] for name in log.__slots__}
    return ReceiverLog(**columns)


def lose_fix(log: ReceiverLog, lost: NDArray[np.bool_]) -> ReceiverLog:
    """Return the log with no position and no speed at some epochs."""
    return replace(log, fix=log.fix & ~lost)


def spike(log: ReceiverLog, at: NDArray[np.int_], size_mps: NDArray[np.float64]) -> ReceiverLog:
    """Return the log with single speeds too high and the positions with them."""
    speed, lat = log.speed_mps.copy(), log.lat_deg.copy()
    speed[at] += size_mps
    lat[at] += size_mps * _DEGREES_PER_M
    return replace(log, speed_mps=speed, lat_deg=lat)


def freeze(log: ReceiverLog, frozen: NDArray[np.bool_]) -> ReceiverLog:
    """Return the log with the speed of the epoch before repeated over some epochs."""
    last = np.maximum.accumulate(np.where(frozen, 0, np.arange(frozen.size)))
    return replace(log, speed_mps=log.speed_mps[last])


def spoil_lines(data: bytes, faults: Faults, rng: np.random.Generator) -> bytes:
    """Return a log of text lines with some characters flipped and some lines cut, each line at most once."""
    lines = data.split(b"\n")
    hit = rng.choice(max(len(lines) - 1, 1), min(faults.flipped + faults.cut, len(lines) - 1), replace=False).tolist()
    for k in hit[: faults.flipped]:
        place = int(rng.integers(1, len(lines[k]) - 3))
        lines[k] = lines[k][:place] + bytes([lines[k][place] ^ 1]) + lines[k][place + 1 :]
    for k in hit[faults.flipped :]:
        lines[k] = lines[k][: int(rng.integers(3, len(lines[k]) - 1))]
    return b"\n".join(lines)


def _spans(log: ReceiverLog, count: int, length_s: tuple[float, float], rng: np.random.Generator) -> NDArray[np.bool_]:
    """Mark the epochs of some stretches of chance place and length."""
    marked = np.zeros(log.t_s.size, bool)
    for _ in range(count):
        start_s = rng.uniform(log.t_s[0], log.t_s[-1])
        marked |= (log.t_s >= start_s) & (log.t_s < start_s + rng.uniform(*length_s))
    return marked
