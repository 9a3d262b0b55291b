"""Headings of runs -> two opposite ways along one strip."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

#: A heading further than this from the strip's axis [degrees] is not a run along it.
_OFF_AXIS_DEG = 45.0
_POINTS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")


def ways(headings_deg: Sequence[float]) -> list[str]:
    """Return for each heading the way it goes, as the compass point of all headings that go the same way.

    The strip's axis is half the mean angle of the doubled headings (Mardia & Jupp, Directional Statistics, 2000,
    1.3: axial data), so that both ways count as one axis. A heading that is NaN, or further than 45 degrees from the
    axis, has no way: an empty label.
    """
    angles = np.radians(np.array(headings_deg, dtype=np.float64))
    known = np.isfinite(angles)
    if not known.any():
        return [""] * len(angles)
    axis = float(np.angle(np.exp(2j * angles[known]).mean())) / 2.0
    along = np.cos(angles - axis)
    good = known & (np.abs(along) >= np.cos(np.radians(_OFF_AXIS_DEG)) - 1e-12)
    labels = {sign: compass(_mean_deg(angles[good & (np.sign(along) == sign)])) for sign in (-1.0, 1.0)}
    return [labels[float(np.sign(a))] if fits else "" for a, fits in zip(along, good, strict=True)]


def compass(heading_deg: float) -> str:
    """Return the nearest of eight compass points; empty for NaN."""
    return _POINTS[round(heading_deg / 45.0) % 8] if heading_deg == heading_deg else ""


def _mean_deg(angles: np.ndarray) -> float:
    return float(np.degrees(np.angle(np.exp(1j * angles).mean()))) if angles.size else float("nan")
