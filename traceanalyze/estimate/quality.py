"""Is this logger good enough: what a log shows of its receiver, and the uncertainty to expect from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

import numpy as np

from traceanalyze.results import Launch, number
from traceanalyze.signal.geodesy import local_east_north_m
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.signal.timebase import timebase
from traceanalyze.trace import FloatArray, Trace

#: Standard uncertainty of a 0-30 mph time (rollout) per unit of speed noise [s per m/s], and how it grows with the
#: time between samples: from simulated launches at 1-25 Hz and 0.03-0.15 m/s (see DEVELOPERS.md, accuracy).
TIME_PER_NOISE_S2PM = 0.39
TIME_PER_NOISE_AND_PERIOD = 0.95
#: Lags searched between the stated speed and the speed of the positions [s].
MOST_LAG_S = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class LogQuality:
    """What a log shows of its receiver.

    Attributes
    ----------
    rate_hz, period_s : float
        Nominal rate and period.
    jitter_s : float
        Standard deviation of the sample times about the nominal beat [s].
    gaps : int
        Dropouts longer than two periods; `longest_gap_s` the longest.
    noise_mps, slow_mps : float
        Standard deviation of one speed sample, and its slow part [m/s].
    resolution_mps : float
        Rounding step of the speeds [m/s]; 0 when finer than can be seen.
    hold_mps : float
        Speed below which the receiver shows zero [m/s]; 0 for none.
    rest_s : float
        Seconds of rest the noise was read from.
    speed_lag_s : float
        How late the stated speed is against the speed of the positions [s]; NaN when it cannot be told.
    satellites, hdop : float
        Medians; NaN when not logged.
    fix_share : float
        Share of points whose fix quality is stated and good; NaN when not logged.
    expected_stderr_s : float
        Standard uncertainty to expect on one 0-30 mph time by the rollout rule [s].
    expected_from : str
        `launches` of this log, or `noise` and rate alone.
    """

    rate_hz: float
    period_s: float
    jitter_s: float
    gaps: int
    longest_gap_s: float
    noise_mps: float
    slow_mps: float
    resolution_mps: float
    hold_mps: float
    rest_s: float
    speed_lag_s: float
    satellites: float
    hdop: float
    fix_share: float
    expected_stderr_s: float
    expected_from: str

    def to_dict(self) -> dict[str, Any]:
        """Return it for machine output, SI units."""
        values = {name: getattr(self, name) for name in self.__slots__}
        return {name: number(value) if isinstance(value, float) else value for name, value in values.items()}


def log_quality(trace: Trace, noise: SpeedNoise, launches: Sequence[Launch]) -> LogQuality:
    """Return what a cleaned trace shows of its receiver."""
    clock = timebase(trace.t_s, trace.stretch)
    expected_s, basis = expected_stderr_s(noise, launches)
    return LogQuality(
        rate_hz=1 / noise.period_s,
        period_s=noise.period_s,
        jitter_s=clock.jitter_s,
        gaps=int(clock.gap_s.size),
        longest_gap_s=float(clock.gap_s.max(initial=0.0)),
        noise_mps=noise.sigma_mps,
        slow_mps=noise.slow_mps,
        resolution_mps=noise.resolution_mps,
        hold_mps=noise.hold_mps,
        rest_s=noise.rest_s,
        speed_lag_s=speed_lag_s(trace, noise.period_s),
        satellites=_median(trace.satellites),
        hdop=_median(trace.hdop),
        fix_share=float((trace.quality[trace.quality >= 0] > 0).mean()) if (trace.quality >= 0).any() else float("nan"),
        expected_stderr_s=expected_s,
        expected_from=basis,
    )


def expected_stderr_s(noise: SpeedNoise, launches: Sequence[Launch]) -> tuple[float, str]:
    """Return the uncertainty to expect on one 0-30 mph time [s], and whether launches or the noise alone tell it."""
    told = [r.elapsed.stderr for launch in launches if (r := launch.time("0-30 mph", "rollout"))]
    if told:
        return float(median(told)), "launches"
    growth = TIME_PER_NOISE_AND_PERIOD * noise.period_s
    return float(np.hypot(TIME_PER_NOISE_S2PM, growth) * noise.sigma_mps), "noise"


def speed_lag_s(trace: Trace, period_s: float) -> float:
    """Return how late the stated speed is against the speed of the positions [s]; NaN when it cannot be told.

    The lag at which the changes of both speeds correlate best, refined by a parabola through the best three.
    """
    moving = position_speed_mps(trace)
    use = np.isfinite(moving) & np.isfinite(trace.speed_mps)
    if trace.speed_source != "receiver" or use.sum() < 60 or np.nanstd(moving[use]) < 1.0:
        return float("nan")
    first_s, last_s = trace.t_s[use][[0, -1]]
    if last_s - first_s > 1_000_000 * period_s:
        return float("nan")
    beat_s = np.arange(first_s, last_s, period_s)
    stated = np.gradient(np.interp(beat_s, trace.t_s[use], trace.speed_mps[use]))
    derived = np.gradient(np.interp(beat_s, trace.t_s[use], moving[use]))
    most = max(2, round(MOST_LAG_S / period_s))
    score = np.array([_overlap_product(derived, stated, k) for k in range(-most, most + 1)])
    best = int(np.argmax(score))
    if not 0 < best < score.size - 1 or score[best] < 0.5 * float(np.sqrt((stated**2).sum() * (derived**2).sum())):
        return float("nan")
    left, top, right = score[best - 1 : best + 2]
    return float((best - most + 0.5 * (left - right) / (left - 2 * top + right)) * period_s)


def _overlap_product(derived: FloatArray, stated: FloatArray, lag: int) -> float:
    if lag >= 0:
        return float(derived[: derived.size - lag] @ stated[lag:])
    return float(derived[-lag:] @ stated[:lag])


def position_speed_mps(trace: Trace) -> FloatArray:
    """Return the speed from neighbouring positions at each point [m/s], centred; NaN at ends and where unknown."""
    speed = np.full(trace.points, np.nan)
    if trace.points < 3 or not np.isfinite(trace.lat_deg).any():
        return speed
    east, north = local_east_north_m(trace.lat_deg, trace.lon_deg)
    step_s = trace.t_s[2:] - trace.t_s[:-2]
    with np.errstate(invalid="ignore"):
        speed[1:-1] = np.hypot(east[2:] - east[:-2], north[2:] - north[:-2]) / step_s
    return speed


def _median(values: FloatArray) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else float("nan")
