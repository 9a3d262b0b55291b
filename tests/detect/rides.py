"""Rides made of straight pieces of acceleration, and what a receiver would log of them. For these tests only."""

from __future__ import annotations

import numpy as np

from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray, Trace, make_trace


def logged(
    knots: list[tuple[float, float]],
    rate_hz: float = 10.0,
    sigma_mps: float = 0.05,
    seed: int = 0,
    begin_s: float = 0.03,
) -> Trace:
    """The log of a ride through (time [s], speed [m/s]) knots; noise is that of a two-dimensional vector."""
    t_s = np.arange(begin_s, knots[-1][0], 1 / rate_hz)
    true = np.interp(t_s, [k[0] for k in knots], [k[1] for k in knots])
    noise = np.random.default_rng(seed).normal(0, sigma_mps, (2, t_s.size))
    return make_trace(t_s - t_s[0], speed_mps=np.hypot(true + noise[0], noise[1]))


def noise_of(trace: Trace, sigma_mps: float = 0.05) -> SpeedNoise:
    """White noise of a known size."""
    period_s = float(np.median(np.diff(trace.t_s)))
    return SpeedNoise(sigma_mps, 0.0, 1.0, 0.0, 0.0, 30.0, period_s)


def without(trace: Trace, from_s: float, to_s: float) -> Trace:
    """The trace with the samples of a time span lost."""
    keep = (trace.t_s < from_s) | (trace.t_s >= to_s)
    return make_trace(trace.t_s[keep], speed_mps=trace.speed_mps[keep], stretch=trace.stretch[keep])


def starts_s(trace: Trace, spans) -> FloatArray:
    """Onset times of launches [s]."""
    return np.array([trace.t_s[span.onset] for span in spans])
