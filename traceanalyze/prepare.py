"""A trace as it was read -> a trace to measure on: its speed found where the log has none, and cleaned."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from traceanalyze.signal.cleaning import clean_positions, clean_speed
from traceanalyze.signal.noise import SpeedNoise, estimate_noise
from traceanalyze.signal.positions import speed_from_positions
from traceanalyze.trace import Trace, with_remarks


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
    cleaned = _speeds_cleaned(_positions_cleaned(trace))
    return cleaned, estimate_noise(cleaned.t_s, cleaned.speed_mps, cleaned.stretch)


def _from_positions(trace: Trace) -> tuple[Trace, SpeedNoise]:
    """Find the speed by a smoother on the positions; what jumps or stands still is left out and counted."""
    found = speed_from_positions(trace.t_s, trace.lat_deg, trace.lon_deg, trace.stretch)
    jumped = int(found.left_out.sum())
    tally = dict(trace.tally) | ({"glitch": trace.tally.get("glitch", 0) + jumped} if jumped else {})
    stretch = trace.stretch + np.cumsum(found.shifted).astype(np.int32)
    utc0_s = trace.utc0_s[trace.stretch][np.flatnonzero(np.diff(stretch, prepend=-1))]
    with_speed = replace(
        trace,
        speed_mps=found.speed_mps,
        course_deg=np.where(np.isfinite(trace.course_deg), trace.course_deg, found.course_deg),
        lat_deg=np.where(found.left_out, np.nan, trace.lat_deg),
        lon_deg=np.where(found.left_out, np.nan, trace.lon_deg),
        stretch=stretch,
        utc0_s=utc0_s,
        tally=tally,
        history=(*trace.history, "speed found from positions"),
    )
    return with_remarks(with_speed, *found.remarks), found.noise


def _speeds_cleaned(trace: Trace) -> Trace:
    """Take impossible speeds out (they become NaN and are counted)."""
    glitch, remarks = clean_speed(trace.t_s, trace.speed_mps, trace.lat_deg, trace.lon_deg, trace.stretch)
    count = int(glitch.sum())
    if not count:
        return with_remarks(trace, *remarks)
    tally = dict(trace.tally) | {"glitch": trace.tally.get("glitch", 0) + count}
    speed_mps = np.where(glitch, np.nan, trace.speed_mps)
    cleaned = replace(trace, speed_mps=speed_mps, tally=tally, history=(*trace.history, f"{count} glitches taken out"))
    return with_remarks(cleaned, *remarks)


def _positions_cleaned(trace: Trace) -> Trace:
    """Take positions that jump away and back out (they become NaN; the point itself stays)."""
    jumped, remarks = clean_positions(trace.t_s, trace.lat_deg, trace.lon_deg, trace.stretch)
    if not jumped.any():
        return trace
    kept = replace(
        trace,
        lat_deg=np.where(jumped, np.nan, trace.lat_deg),
        lon_deg=np.where(jumped, np.nan, trace.lon_deg),
        altitude_m=np.where(jumped, np.nan, trace.altitude_m),
        history=(*trace.history, f"{int(jumped.sum())} jumping positions taken out"),
    )
    return with_remarks(kept, *remarks)
