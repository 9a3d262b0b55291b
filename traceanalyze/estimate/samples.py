"""The samples a path goes through: thinned where they are denser than a ride can change, with moments between."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from traceanalyze.trace import FloatArray

#: Shortest useful block [s]: white noise is averaged there without smearing anything; and the share of the time since
#: the start up to which a block may grow, since what the vehicle does there takes longer too.
_BLOCK_S: Final = 0.25
_BLOCK_SHARE: Final = 0.06
#: Block around the onset [s]. Faster samples say little more there: the slow part of the noise is the same in all of
#: them, and near rest, where the length of a vector is reported, that part cannot be told from the speed.
_EARLY_BLOCK_S: Final = 0.08
#: Where blocks begin to grow [s].
_GROWS_S: Final = _BLOCK_S / _BLOCK_SHARE
#: Longest step between moments while every sample is used, and after that at least [s].
_EARLY_STEP_S: Final = 0.1
_LATER_STEP_S: Final = 0.3
#: Moments between two samples at most.
_MOMENTS: Final = 200


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """What is known at the moments of a path; all are (..., m).

    Attributes
    ----------
    t_s : float
        Moments [s].
    seen_mps : float
        Mean of the samples [m/s]; NaN at a moment without any.
    count : float
        How many samples that is the mean of; at least 1.
    """

    t_s: FloatArray
    seen_mps: FloatArray
    count: FloatArray

    def part(self, begin: int, end: int) -> Samples:
        """Return those from one place on up to another, exclusive."""
        return Samples(self.t_s[begin:end], self.seen_mps[begin:end], self.count[begin:end])


def plain(t_s: FloatArray, seen_mps: FloatArray) -> Samples:
    """Return samples as they are."""
    return Samples(t_s, seen_mps, np.ones(t_s.shape))


def thinned(t_s: FloatArray, seen_mps: FloatArray, settled: int) -> Samples:
    """Return means over short blocks before the sample at `settled`, over longer, growing ones after it.

    The last sample stays alone, so that paths reach as far as the samples do.
    """
    since = t_s - t_s[min(settled, t_s.size - 1)]
    growing = (_GROWS_S + _GROWS_S * np.log(np.maximum(since, _GROWS_S) / _GROWS_S)) / _BLOCK_S
    block = np.where(since < _GROWS_S, since / _BLOCK_S, growing)
    block = np.floor(np.where(since < 0, since / _EARLY_BLOCK_S, block) + 1e-6)
    held = np.diff(seen_mps == 0, prepend=False)  # a hold at zero shows at its very sample
    new = (np.diff(block, prepend=-np.inf) > 0) | held
    new[-1:] = True
    begin = np.flatnonzero(new)
    count = np.diff(begin, append=t_s.size).astype(np.float64)
    return Samples(np.add.reduceat(t_s, begin) / count, np.add.reduceat(seen_mps, begin) / count, count)


def with_moments(samples: Samples, settled_s: float, after_s: float) -> Samples:
    """Return the samples with moments put between them, first after `after_s`, so that no step is too long.

    Steps up to `settled_s` are short, later ones may be as long as a block.
    """
    t_s = samples.t_s
    if not t_s.size:
        return samples
    later_s = np.maximum(_LATER_STEP_S, _BLOCK_SHARE * (t_s - settled_s))
    gaps = np.diff(t_s, prepend=after_s)
    steps = np.clip(np.ceil(gaps / np.where(t_s < settled_s, _EARLY_STEP_S, later_s) - 1e-6).astype(int), 1, _MOMENTS)
    place = np.cumsum(steps) - 1  # of each sample among all moments
    back = (np.repeat(place, steps) - np.arange(place[-1] + 1)) / np.repeat(steps, steps)
    seen_mps, count = np.full(back.size, np.nan), np.ones(back.size)
    seen_mps[place], count[place] = samples.seen_mps, samples.count
    return Samples(np.repeat(t_s, steps) - back * np.repeat(gaps, steps), seen_mps, count)


def ending_together(parts: Sequence[Samples]) -> Samples:
    """Return the samples of several launches (g, m), the shorter filled up with moments that repeat the first."""
    size = max(part.t_s.size for part in parts)
    return _stacked([(_nothing(size - part.t_s.size, part.t_s[0]), part) for part in parts])


def beginning_together(parts: Sequence[Samples], after_s: Sequence[float]) -> Samples:
    """Return the samples of several launches (g, m), the shorter filled up with moments that repeat the last.

    A launch without any repeats the moment `after_s` before them.
    """
    size = max(part.t_s.size for part in parts)
    ends = [float(part.t_s[-1]) if part.t_s.size else before for part, before in zip(parts, after_s, strict=True)]
    return _stacked([(part, _nothing(size - part.t_s.size, end)) for part, end in zip(parts, ends, strict=True)])


def _nothing(moments: int, at_s: float) -> Samples:
    """Moments without a sample, all the same."""
    return Samples(np.full(moments, at_s), np.full(moments, np.nan), np.ones(moments))


def _stacked(rows: Sequence[tuple[Samples, Samples]]) -> Samples:
    """Rows of two parts each, one row a launch."""
    return Samples(
        *(np.stack([np.append(getattr(a, name), getattr(b, name)) for a, b in rows]) for name in Samples.__slots__)
    )
