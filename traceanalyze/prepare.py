"""A trace as it was read -> a trace to measure on: its speed found where the log has none, and cleaned."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from traceanalyze.errors import SignalError
from traceanalyze.order import median
from traceanalyze.signal.cleaning import clean_positions, clean_speed
from traceanalyze.signal.noise import FLOOR_SIGMA_MPS, SpeedNoise, estimate_noise
from traceanalyze.trace import Remark, Trace, make_trace, with_remarks

if TYPE_CHECKING:
    from traceanalyze.signal.accelerometer import ForwardAcceleration


class Prepared(NamedTuple):
    """A trace to measure on.

    Attributes
    ----------
    trace : Trace
        Cleaned; `speed_source` says what its speeds, and the times of its launches, rest on.
    noise : SpeedNoise
        Of its speeds.
    forward : ForwardAcceleration or None
        Of its accelerometer, where that can help to time launches.
    smear_s : float
        Time over which smoothing has smeared corners of its speed [s]: 0 where the log states speeds.
    """

    trace: Trace
    noise: SpeedNoise
    forward: ForwardAcceleration | None = None
    smear_s: float = 0.0


def prepared(trace: Trace) -> Prepared:
    """Return the cleaned trace, the noise of its speeds, and the forward acceleration where there is one.

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
    noise = estimate_noise(cleaned.t_s, cleaned.speed_mps, cleaned.stretch)
    return _with_forward(cleaned, noise)


def _with_forward(trace: Trace, noise: SpeedNoise) -> Prepared:
    """Find the forward acceleration of the accelerometer beside a receiver, or say why it cannot help."""
    if trace.accelerometer is None:
        return Prepared(trace=trace, noise=noise)
    from traceanalyze.estimate.fused import forward_of, fusing_doubt  # few logs have one: see DEVELOPERS.md

    try:
        forward = forward_of(trace, noise)
        doubt = fusing_doubt(forward)
    except SignalError as error:
        doubt = error.reason
    if doubt:
        remark = Remark("not-fused", f"the accelerometer is not used: {doubt}")
        return Prepared(trace=with_remarks(trace, remark), noise=noise)
    fused = replace(trace, speed_source="receiver+accelerometer")
    return Prepared(trace=with_remarks(fused, *forward.remarks), noise=noise, forward=forward)


def _from_accelerometer(trace: Trace) -> Prepared:
    """Find the speed of an accelerometer alone, from rest to rest."""
    from traceanalyze.signal.accelerometer import forward_alone, speed_from_rest  # few logs: see DEVELOPERS.md

    sensor = trace.accelerometer
    if sensor is None:
        raise SignalError("the log holds neither speeds nor positions nor an accelerometer")
    forward, rests = forward_alone(sensor.t_s, sensor.force_mps2)
    found = speed_from_rest(forward, rests)
    period_s = median(np.diff(found.t_s))
    moving = found.stderr_mps[(found.speed_mps > 1.0) & np.isfinite(found.stderr_mps)]
    sigma_mps = max(median(moving) if moving.size else 0.0, FLOOR_SIGMA_MPS)
    noise = SpeedNoise(
        sigma_mps=sigma_mps,
        slow_mps=0.99 * sigma_mps,
        slow_tau_s=10.0,
        resolution_mps=0.0,
        hold_mps=0.0,
        rest_s=float(sum(end - begin for begin, end in rests)),
        period_s=period_s,
        rest_sigma_mps=FLOOR_SIGMA_MPS,
    )
    with_speed = make_trace(
        found.t_s,
        utc0_s=float(trace.utc0_s[0]) if trace.utc0_s.size else float("nan"),
        speed_mps=found.speed_mps,
        accelerometer=sensor,
        speed_source=trace.speed_source,
        source=trace.source,
        tally=trace.tally,
        remarks=trace.remarks,
        history=(*trace.history, "speed found from the accelerometer"),
    )
    return Prepared(trace=with_remarks(with_speed, *forward.remarks), noise=noise, forward=forward)


def _from_positions(trace: Trace) -> Prepared:
    """Find the speed by a smoother on the positions; what jumps or stands still is left out and counted."""
    from traceanalyze.signal.positions import speed_from_positions  # few logs have no speed: see DEVELOPERS.md

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
    return Prepared(trace=with_remarks(with_speed, *found.remarks), noise=found.noise, smear_s=found.smear_s)


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
