"""Standard normal numbers for draws: the same for the same key, whatever else is drawn.

A counter is hashed by SplitMix64 (Steele, Lea & Flood, 'Fast splittable pseudorandom number generators', OOPSLA
2014) and made normal by the Box-Muller transform (Ann. Math. Stat. 29 (1958) 610). A pool of columns is made once;
over its draws each column has mean 0 and mean square 1 exactly, so that linear answers carry no drawing error. Every
key takes its own run of columns, each turned by its own number of draws.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from traceanalyze.trace import FloatArray

#: Draws of everything, a power of two; a standard deviation over 64 of them is known to 9 %,
#: which costs the intervals a third of one in a hundred; 128 change no error by a tenth of a millisecond.
DRAWS: Final = 64
#: Columns in the pool, a power of two; a key that asks for more meets the first ones again, turned otherwise.
_COLUMNS: Final = 512
_SEED: Final = 20_240

UintArray = NDArray[np.uint64]


def split_mix(counter: UintArray) -> UintArray:
    """Return the SplitMix64 hash of counters: of 1, 2, ... the outputs, in order, of the generator seeded with 0."""
    mixed = counter * np.uint64(0x9E3779B97F4A7C15)
    mixed = (mixed ^ (mixed >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    mixed = (mixed ^ (mixed >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return np.asarray(mixed ^ (mixed >> np.uint64(31)))


@cache
def _pool() -> FloatArray:
    """Columns of matched normal numbers, each twice in a row: a window of DRAWS of a row is the column, turned."""
    counter = np.arange(_COLUMNS * DRAWS, dtype=np.uint64) + np.uint64(_SEED)
    uniform = ((split_mix(counter) >> np.uint64(11)).astype(np.float64) + 0.5) * 2.0**-53
    radius, angle = np.sqrt(-2 * np.log(uniform[0::2])), 2 * np.pi * uniform[1::2]
    normal = np.concatenate((radius * np.cos(angle), radius * np.sin(angle))).reshape(_COLUMNS, DRAWS)
    normal -= normal.mean(axis=1, keepdims=True)
    normal /= np.sqrt(np.mean(normal**2, axis=1, keepdims=True))
    return np.concatenate((normal, normal), axis=1)


def normals(key: UintArray, columns: int) -> FloatArray:
    """Return standard normal numbers (g, columns, DRAWS) for keys (g,); more columns leave the first as they are."""
    place = np.arange(columns, dtype=np.uint64)
    row = (key[:, None] + place) % np.uint64(_COLUMNS)
    turn = split_mix(key[:, None] ^ split_mix(place)) % np.uint64(DRAWS)
    windows = np.lib.stride_tricks.sliding_window_view(_pool(), DRAWS, axis=1)
    return np.asarray(windows[row.astype(np.intp), turn.astype(np.intp)])


def keys_of(values: Iterable[FloatArray]) -> UintArray:
    """Return a key for each of some arrays that goes with its numbers."""
    bits: list[UintArray] = [np.ascontiguousarray(one, np.float64).view(np.uint64) for one in values]
    mixed = [split_mix(np.asarray(one + np.arange(one.size, dtype=np.uint64), np.uint64)) for one in bits]
    return np.array([np.bitwise_xor.reduce(one) for one in mixed], np.uint64)
