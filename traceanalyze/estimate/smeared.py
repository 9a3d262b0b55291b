"""What a launch owes to speeds smoothed from positions: they begin to rise before the vehicle does."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np

from traceanalyze.results import Estimate, Launch, TimeResult
from traceanalyze.trace import Remark

#: Standard deviation of how early a start from rest is found, in smears of the smoother, and in how many of them after
#: the start it fades by 1 - 1/e. Launches of many kinds, at 1-10 Hz with positions good to 0.02-0.1 m, are early by 0.5
#: smears in the mean, and by 1.1 where the whole pull comes at once: it depends on the launch, so no time is shifted.
_EARLY: Final = 0.6
_FADES: Final = 1.4
#: A smeared start below this [s] is not worth a remark.
_WORTH_SAYING_S: Final = 0.02


def smeared(found: Launch, smear_s: float) -> Launch:
    """Return a launch with the smear of its start added to the uncertainty of all that is counted from the start.

    Parameters
    ----------
    found : Launch
        As measured on speeds found from positions.
    smear_s : float
        Time over which the smoother smears a corner [s]; 0 for speeds that a receiver stated.
    """
    if not smear_s:
        return found
    rests = {one.measure: one.elapsed.value for one in found.times if one.start_rule == "rest"}
    times = tuple(
        one if one.start_rule is None else _widened(one, _sd_s(rests[one.measure] - one.elapsed.value, smear_s))
        for one in found.times
    )
    start_sd_s = _sd_s(0.0, smear_s)
    said = (Remark("smeared-start", _text(start_sd_s)),) if start_sd_s > _WORTH_SAYING_S else ()
    curve = found.curve
    if curve is not None:
        rollout_sd_s = _sd_s(-float(curve.time_s[0]), smear_s)
        curve = replace(curve, time_stderr_s=np.hypot(curve.time_stderr_s, rollout_sd_s))
    start = _beside(found.start, start_sd_s)
    return replace(found, start=start, times=times, curve=curve, remarks=(*found.remarks, *said))


def _sd_s(since_start_s: float, smear_s: float) -> float:
    """Return the standard deviation that the smear adds to a moment so long after the start [s]."""
    return _EARLY * smear_s * math.exp(-max(since_start_s, 0.0) / (_FADES * smear_s))


def _widened(one: TimeResult, sd_s: float) -> TimeResult:
    return replace(one, elapsed=_beside(one.elapsed, sd_s))


def _beside(one: Estimate, sd_s: float) -> Estimate:
    """The estimate with a standard deviation beside its own; an interval that was wider already stays so."""
    wide = Estimate(one.value, math.hypot(one.stderr, sd_s))
    return replace(wide, low95=min(wide.low95, one.low95), high95=max(wide.high95, one.high95))


def _text(sd_s: float) -> str:
    return (
        f"speeds smoothed from positions begin to rise too early, by some {sd_s:.2f} s: the start is so uncertain, "
        "and times from rest may be long by that; by rollout it matters least"
    )
