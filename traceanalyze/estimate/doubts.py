"""What a reader of a time should know: creep, holds at zero, low rates, gaps, grazed targets, missing rest."""

from __future__ import annotations

from typing import Final

import numpy as np

from traceanalyze.estimate.crossings import at_speed
from traceanalyze.estimate.paths import Paths
from traceanalyze.order import median, quantile
from traceanalyze.results import Estimate
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray, Remark
from traceanalyze.units import Measure

#: A step between samples of more than this many periods is a gap: two samples lost, and room for jitter.
_GAP_PERIODS: Final = 2.5
#: Rates below this [Hz] deserve a word with every time.
_LOW_RATE_HZ: Final = 4.0
#: Where creep is looked for: this long before the onset [s] up to this long before the climb [s].
_CREEP_LOOK_S: Final = 1.5
#: Speed of a creep, over what the noise explains [m/s].
_CREEP_MPS: Final = 0.08
#: Rest that a start wants before it [s].
_REST_S: Final = 1.0


def log_remarks(noise: SpeedNoise) -> tuple[Remark, ...]:
    """Return what holds for every launch of the log."""
    out = []
    if 1 / noise.period_s < _LOW_RATE_HZ:
        text = f"{1 / noise.period_s:.3g} Hz: the start lies between two samples, hence the wide intervals"
        out.append(Remark("low-rate", text))
    if noise.hold_mps > 0:
        text = (
            f"the receiver shows zero below about {noise.hold_mps:.2f} m/s: the start is extrapolated, "
            "and its uncertainty is larger"
        )
        out.append(Remark("hold-at-zero", text))
    return tuple(out)


def start_remarks(t_s: FloatArray, speed_mps: FloatArray, onset: Estimate, noise: SpeedNoise) -> tuple[Remark, ...]:
    """Return what is odd about the start: no rest before it, or a vehicle that creeps into it."""
    out = []
    before = t_s[0] if t_s.size else onset.value
    if onset.value - before < _REST_S:
        text = "less than a second of rest is seen before the start: the onset is less certain"
        out.append(Remark("short-rest", text))
    if creeps(t_s, speed_mps, onset.value, noise):
        text = "the vehicle creeps before the launch (a dragging clutch?): the start is not well defined"
        out.append(Remark("creep", text))
    return tuple(out)


def creeps(t_s: FloatArray, speed_mps: FloatArray, onset_s: float, noise: SpeedNoise) -> bool:
    """Return whether the samples just before the onset are faster than noise at rest explains."""
    near = (t_s < onset_s - 0.1) & (t_s > onset_s - _CREEP_LOOK_S - noise.period_s)
    if near.sum() < 2:
        return False
    level = median(speed_mps[near])
    return level > 2.2 * noise.rest_sigma_mps + 0.5 * noise.resolution_mps + _CREEP_MPS / 2


def gap_at(t_s: FloatArray, moments_s: tuple[float, ...], noise: SpeedNoise) -> Remark | None:
    """Return a remark when a moment of the start lies in a gap of more than two periods."""
    for moment in moments_s:
        gap_s = _gap_around(t_s, moment)
        if gap_s > _GAP_PERIODS * noise.period_s:
            text = f"no samples for {gap_s:.1f} s over the start: no time can be given"
            return Remark("gap-over-start", text)
    return None


def _gap_around(t_s: FloatArray, moment_s: float) -> float:
    after = min(max(int(np.searchsorted(t_s, moment_s)), 1), t_s.size - 1)
    return float(t_s[after] - t_s[after - 1])


def not_reached(measure: Measure) -> Remark:
    """Return the remark for a measure that the launch did not reach."""
    return Remark("not-reached", f"{measure.label} was not reached")


def crossing_remarks(
    paths: Paths, end_s: FloatArray, measure: Measure, t_s: FloatArray, noise: SpeedNoise
) -> tuple[Remark, ...]:
    """Return what is odd about the end of a measure: a gap over it, or a target that is only grazed."""
    out = []
    known_s = end_s[np.isfinite(end_s)]
    gap_s = _gap_around(t_s, median(known_s))
    if gap_s > _GAP_PERIODS * noise.period_s:
        text = f"{measure.label}: no samples for {gap_s:.1f} s where it ends, hence the wide interval"
        out.append(Remark("gap-at-target", text))
    never = known_s.size < 0.97 * end_s.size
    if measure.kind in ("standing", "rolling") and (never or grazes(paths, known_s, measure.to_mps, noise)):
        text = f"{measure.label}: the speed touches the target and sags before it passes, hence the wide interval"
        out.append(Remark("grazes-target", text))
    return tuple(out)


def grazes(paths: Paths, end_s: FloatArray, target_mps: float, noise: SpeedNoise) -> bool:
    """Return whether the target is touched without being clearly passed, then lost or come back to.

    Either the first times of the draws (`end_s`) fall apart into an early and a late group, or the mean path
    falls back below it after it was first reached.
    """
    if quantile(end_s, 0.97) - quantile(end_s, 0.03) > 1.0 + 2 * noise.period_s:
        return True
    middle_s = median(end_s)
    mean_mps = paths.speed_mps.mean(axis=0)
    dips = (paths.t_s > middle_s) & (paths.t_s < middle_s + 10) & (mean_mps < target_mps - noise.sigma_mps)
    if not dips.any():
        return False
    sure_s = at_speed(paths, target_mps + 2 * noise.sigma_mps).time_s
    sure_s = sure_s[np.isfinite(sure_s)]
    return bool(not sure_s.size or paths.t_s[dips][0] < median(sure_s))
