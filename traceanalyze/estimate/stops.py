"""Stopping: a braking run is a launch read backwards, with its own corner where the vehicle comes to rest."""

from __future__ import annotations

from typing import Final, Protocol

import numpy as np

from traceanalyze.errors import SignalError
from traceanalyze.estimate.crossings import at_speed
from traceanalyze.estimate.fit import fit_free, fit_start
from traceanalyze.estimate.paths import Paths
from traceanalyze.estimate.readout import ONSET_SHAPE_SD_S, reached, rolling_time, start_marks, time_between
from traceanalyze.results import TimeResult
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray, Trace
from traceanalyze.units import Measure

#: Rest after the stop that is looked at [s].
_REST_AFTER_S: Final = 4.0


class StopSpan(Protocol):
    """The part of a span that stopping needs."""

    @property
    def peak(self) -> int: ...
    @property
    def last(self) -> int: ...


def stopping_time(trace: Trace, span: StopSpan, noise: SpeedNoise, measure: Measure) -> TimeResult | None:
    """Return a measure between two falling speeds after the peak of a span; None when it does not come to it."""
    t_s, speed_mps = _fall(trace, span)
    if t_s.size < 4 or speed_mps.max() < measure.from_mps or speed_mps[-1] > measure.from_mps:
        return None
    back_t_s, back_mps = t_s[-1] - t_s[::-1], speed_mps[::-1]
    try:
        paths = fit_start(back_t_s, back_mps, noise)
    except SignalError:
        if measure.to_mps == 0:
            return None
        paths = fit_free(back_t_s, back_mps, noise)
    return _between(paths, measure)


def _between(paths: Paths, measure: Measure) -> TimeResult | None:
    """The climb that is the fall read backwards: the measure ends where that starts."""
    begin = at_speed(paths, measure.from_mps)
    if measure.to_mps > 0:
        return rolling_time(at_speed(paths, measure.to_mps), begin, measure)
    if not reached(begin.time_s):
        return None
    return time_between(start_marks(paths)["rest"], begin, measure, None, ONSET_SHAPE_SD_S)


def _fall(trace: Trace, span: StopSpan) -> tuple[FloatArray, FloatArray]:
    """Samples from the peak until some seconds after rest is reached."""
    until = int(np.searchsorted(trace.t_s, trace.t_s[span.last] + _REST_AFTER_S))
    same = trace.stretch[span.peak : until] == trace.stretch[span.peak]
    t_s, speed_mps = trace.t_s[span.peak : until][same], np.abs(trace.speed_mps[span.peak : until][same])
    has = np.isfinite(speed_mps)
    t_s, speed_mps = t_s[has], speed_mps[has]
    slow = np.flatnonzero(speed_mps < 1.0)
    if slow.size:  # not into the next start
        again = np.flatnonzero(speed_mps[slow[0] :] > 2.0)
        stop = slow[0] + (again[0] if again.size else speed_mps.size)
        t_s, speed_mps = t_s[:stop], speed_mps[:stop]
    return t_s, speed_mps
