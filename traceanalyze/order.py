"""Order statistics of plain arrays: median, quantile, the distinct values.

They give what `numpy.median`, `numpy.quantile` and `numpy.unique` give, without the masked arrays that numpy loads for
these when one of them is first called, which takes a tenth as long as importing all of numpy.
"""

from __future__ import annotations

from math import floor
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

Number = TypeVar("Number", bound=np.number[Any])


def median(values: NDArray[Any]) -> float:
    """Return the median of all values; NaN where one of them is NaN, or where there is none."""
    return quantile(values, 0.5)


def quantile(values: NDArray[Any], share: float) -> float:
    """Return the value below which a share of all values lies, interpolated linearly between neighbours.

    Definition 7 of R. J. Hyndman and Y. Fan, Sample Quantiles in Statistical Packages, The American Statistician 50
    (1996), which is also numpy's. NaN where one of the values is NaN, or where there is none.
    """
    if not values.size:
        return float("nan")
    place = share * (values.size - 1)
    below = floor(place)
    above = min(below + 1, values.size - 1)
    ordered = np.sort(values, axis=None)  # NaN comes last; vectorised, so faster than numpy's partition
    if np.isnan(ordered[-1]):
        return float("nan")
    low, high = float(ordered[below]), float(ordered[above])
    rest = place - below
    return low + (high - low) * rest if rest < 0.5 else high - (high - low) * (1 - rest)


def distinct(values: NDArray[Number]) -> NDArray[Number]:
    """Return the different ones of some values without NaN, rising."""
    ordered = np.sort(values, axis=None)
    new = np.ones(ordered.size, bool)
    new[1:] = ordered[1:] != ordered[:-1]
    return ordered[new]
