"""A trace as it was read -> a trace to measure on: its speed found where the log has none, and cleaned."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from traceanalyze.errors import SignalError
from traceanalyze.signal.cleaning import clean_speed
from traceanalyze.signal.noise import SpeedNoise, estimate_noise
from traceanalyze.signal.positions import speed_from_positions
from traceanalyze.trace import Remark, Trace, with_remarks


def prepared(trace: Trace) -> tuple[Trace, SpeedNoise]:
    """Return the cleaned trace and the noise of its speeds.

    Raises
    ------
    SignalError
        If no speed can be had from the log.
    """
    if trace.speed_source == "accelerometer":
        return _from_accelerometer(trace)
    if trace.speed_source == "positions":
        return _from_positions(trace)
    cleaned = _cleaned(trace)
    return cleaned, estimate_noise(cleaned.t_s, cleaned.speed_mps, cleaned.stretch)


def _cleaned(trace: Trace) -> Trace:
    """Take impossible speeds out (they become NaN and are counted)."""
    glitch, remarks = clean_speed(trace.t_s, trace.speed_mps, trace.lat_deg, trace.lon_deg, trace.stretch)
    count = int(glitch.sum())
    if not count:
        return with_remarks(trace, *remarks)
    tally = dict(trace.tally) | {"glitch": trace.tally.get("glitch", 0) + count}
    speed_mps = np.where(glitch, np.nan, trace.speed_mps)
    cleaned = replace(trace, speed_mps=speed_mps, tally=tally, history=(*trace.history, f"{count} glitches taken out"))
    return with_remarks(cleaned, *remarks)
