"""Passes -> the one top speed that calculations start from: both directions with equal weight, never the best of n."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from traceanalyze.results import Estimate, Pass
from traceanalyze.trace import FloatArray, Remark


def mean_top(passes: Sequence[Pass]) -> tuple[Estimate, tuple[Remark, ...]]:
    """Return the mean sustained speed of the passes that levelled off [m/s], and what speaks against it.

    The mean of each direction, then of both (wind and slope cancel to first order). NaN when no pass levelled off.
    """
    held = [one for one in passes if one.levelled_off is not False]
    if not held:
        text = "no pass levelled off: where thrust and drag balance cannot be told" if passes else "no pass at speed"
        return Estimate(math.nan, math.nan), (Remark("no-top-speed", text),)
    groups = _by_direction(held)
    values = [np.array([one.sustained.value for one in group]) for group in groups]
    stated = [np.array([one.sustained.stderr for one in group]) for group in groups]
    mean = float(np.mean([v.mean() for v in values]))
    parts = [_variance(v, u) for v, u in zip(values, stated, strict=True)]
    remarks = []
    if len(groups) == 1:
        text = "top speed in one direction only: wind and slope are part of it"
        remarks.append(Remark("one-direction", text))
    return Estimate(mean, math.sqrt(sum(parts)) / len(groups)), tuple(remarks)


def _by_direction(passes: Sequence[Pass]) -> list[list[Pass]]:
    """Passes one way and the other; all together when headings are not known."""
    known = [one.heading_deg for one in passes if math.isfinite(one.heading_deg)]
    if len(known) < len(passes):
        return [list(passes)]
    along = [math.cos(math.radians(heading - known[0])) >= 0 for heading in known]
    ways = [[one for one, same in zip(passes, along, strict=True) if same is way] for way in (True, False)]
    return [way for way in ways if way]


def _variance(values: FloatArray, stated: FloatArray) -> float:
    """Variance of a mean: by the scatter of the passes or by what each states, whichever is larger."""
    own = float(values.var(ddof=1)) / values.size if values.size > 1 else 0.0
    return max(own, float((stated**2).sum()) / values.size**2)
