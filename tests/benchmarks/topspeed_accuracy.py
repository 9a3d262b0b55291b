"""Accuracy of the sustained top speed on simulated passes: RMS error, bias and coverage beside two naive rivals.

Run: python -m tests.benchmarks.topspeed_accuracy [passes per cell]. The passes are made here, by a vehicle, a road
and a receiver of their own: the whole chain (noise from the log, finding the pass, measuring it) is scored.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

import numpy as np

from traceanalyze.detect.passes import find_passes
from traceanalyze.errors import SignalError
from traceanalyze.estimate.topspeed import measure_pass
from traceanalyze.results import Pass
from traceanalyze.signal.noise import estimate_noise
from traceanalyze.trace import FloatArray, Trace, make_trace
from traceanalyze.units import Window

STEP_S = 0.02
REST_S = 40.0
RATES_HZ = (1, 2, 5, 10, 18, 25)
SIGMAS_MPS = (0.03, 0.05, 0.10, 0.15)


@dataclass(frozen=True)
class Truth:
    """One ride with one pass: true speed every `STEP_S`, when the throttle closed, the gain before, and the limit."""

    speed_mps: FloatArray
    close_s: float
    gain_mps2: float
    limit_mps: float

    def sustained_mps(self, window_s: float) -> float:
        """Highest mean over a window, from the fine clock."""
        way = np.concatenate(([0.0], np.cumsum(0.5 * STEP_S * (self.speed_mps[1:] + self.speed_mps[:-1]))))
        n = round(window_s / STEP_S)
        return float((way[n:] - way[:-n]).max() / (n * STEP_S))


def wander(rng: np.random.Generator, n: int, step_s: float, tau_s: float) -> FloatArray:
    """Unit first-order Gauss-Markov noise."""
    keep = float(np.exp(-step_s / tau_s))
    drive = rng.normal(size=n)
    drive[1:] *= np.sqrt(1 - keep**2)
    now, out = 0.0, []
    for push in drive.tolist():
        now = keep * now + push
        out.append(now)
    return np.array(out)


def make_pass(rng: np.random.Generator) -> Truth:
    """Rest, full throttle, perhaps a plateau, then coasting or braking; thrust- or power-limited, some governed."""
    mass, thrust, power = 150 * rng.uniform(0.8, 1.3), rng.uniform(300, 700), rng.uniform(2500, 9000)
    drag, rolling = 0.6 * rng.uniform(0.45, 0.7), rng.uniform(0.012, 0.03) * 9.81
    governed_mps = rng.uniform(16, 25) if rng.random() < 0.25 else np.inf
    n = int(110 / STEP_S)
    wind = rng.uniform(-2, 2) + rng.choice([0.0, 0.15, 0.4]) * wander(rng, n, STEP_S, 3.0)
    hill, length, phase = rng.choice([0.0, 0.002, 0.005]), rng.uniform(60, 250), rng.uniform(0, 6.28)

    def pull(v: float, w: float) -> float:
        return (min(thrust, power / max(v, 1.0)) - drag * (v + w) * abs(v + w)) / mass - rolling

    tried = np.arange(3, 60, 0.01)
    free_mps = float(tried[np.argmax([pull(v, float(wind.mean())) < 0 for v in tried])])
    limit = min(governed_mps, free_mps)
    share = rng.choice([rng.uniform(0.8, 0.95), rng.uniform(0.95, 0.999)])
    hold_s = rng.choice([0.0, rng.uniform(0, 8)])
    slow, ramp_s = rng.choice([rng.uniform(0.3, 1.2), rng.uniform(2, 7)]), rng.uniform(0.05, 0.4)
    v, x, speeds, gains = 0.0, 0.0, np.empty(n), np.empty(n)
    reached = closed = n
    for i in range(n):
        if reached == n and (v >= share * limit or i * STEP_S > 60):
            reached = i
        if closed == n and i >= reached + hold_s / STEP_S:
            closed = i
        a = pull(v, wind[i]) if v < governed_mps else min(0.0, pull(v, wind[i]))
        a -= 9.81 * hill * np.sin(2 * np.pi * x / length + phase)
        off = min(1.0, max(0.0, (i - closed) * STEP_S / ramp_s))
        a = (1 - off) * a - off * slow
        v, gains[i] = max(v + a * STEP_S, 0.0), a
        x, speeds[i] = x + v * STEP_S, v
        if closed < n and v < 0.4 * limit:
            break
    rest = np.zeros(int(REST_S / STEP_S))
    gain = float(gains[max(0, closed - int(2 / STEP_S)) : closed].mean())
    if speeds[: i + 1].max() < 0.999 * governed_mps:
        limit = free_mps  # a governor that was not met shows nowhere
    return Truth(np.concatenate((rest, speeds[: i + 1])), REST_S + closed * STEP_S, gain, float(limit))


def recorded(truth: Truth, rng: np.random.Generator, rate_hz: float, sigma_mps: float) -> Trace:
    """What a receiver logs: a noisy vector's length, white and slow noise, rounded."""
    begin_s = rng.uniform(0, 1 / rate_hz)
    t_s = np.arange(begin_s, (truth.speed_mps.size - 1) * STEP_S, 1 / rate_hz)
    share, tau_s = rng.uniform(0.2, 0.6), rng.uniform(0.5, 2.5)
    noise = [
        sigma_mps * (np.sqrt(share) * wander(rng, t_s.size, 1 / rate_hz, tau_s) + np.sqrt(1 - share) * white)
        for white in rng.normal(size=(2, t_s.size))
    ]
    true = np.interp(t_s, np.arange(truth.speed_mps.size) * STEP_S, truth.speed_mps)
    step = rng.choice([0.1, 0.01, 0.001]) * 1852 / 3600
    return make_trace(t_s, speed_mps=np.round(np.hypot(true + noise[0], noise[1]) / step) * step)


def measured(trace: Trace, window: Window) -> Pass:
    """The fastest pass the package finds."""
    noise = estimate_noise(trace.t_s, trace.speed_mps, trace.stretch)
    passes = [measure_pass(trace, span, noise, window) for span in find_passes(trace, noise)]
    if not passes:
        raise SignalError("no pass found")
    return max(passes, key=lambda one: one.sustained.value)


def naive(trace: Trace, window_s: float) -> tuple[float, float]:
    """The highest sample, and the highest mean of as many whole samples as the window holds."""
    n = max(1, round(window_s / float(np.median(np.diff(trace.t_s)))))
    total = np.concatenate(([0.0], np.cumsum(trace.speed_mps)))
    return float(trace.speed_mps.max()), float((total[n:] - total[:-n]).max() / n)


def cell(rate_hz: float, sigma_mps: float, passes: int, window_s: float = 1.0, seed: int = 1) -> FloatArray:
    """One row a pass: errors of ours, highest sample and best mean, stated uncertainty, levelling, limit's error/sd."""
    rows = []
    for k in range(passes):
        rng = np.random.default_rng([seed, k, int(100 * rate_hz), int(1000 * sigma_mps)])
        truth = make_pass(rng)
        trace = recorded(truth, rng, rate_hz, sigma_mps)
        found = measured(trace, Window(duration_s=window_s))
        true = truth.sustained_mps(window_s)
        highest, mean = naive(trace, window_s)
        said = {True: 1.0, False: 0.0, None: np.nan}[found.levelled_off]
        limit = (found.projected.value - truth.limit_mps, found.projected.stderr)
        rows.append(
            (
                found.sustained.value - true,
                highest - true,
                mean - true,
                found.sustained.stderr,
                said,
                truth.gain_mps2,
                *limit,
            )
        )
    return np.array(rows)


def line(rows: FloatArray) -> str:
    """Figures of one cell."""
    error, highest, mean, stderr, said, gain, off, limit_stderr = rows.T
    told = np.isfinite(off)
    wrong = np.mean(((said == 1) & (gain > 0.15)) | ((said == 0) & (gain < 0.04)))
    covered = np.mean(np.abs(error) < 1.96 * stderr)
    return (
        f"rms {np.sqrt(np.mean(error**2)):.4f} bias {error.mean():+.4f} coverage {covered:.3f}"
        f" | highest sample rms {np.sqrt(np.mean(highest**2)):.3f} bias {highest.mean():+.3f}"
        f" | best mean rms {np.sqrt(np.mean(mean**2)):.4f} bias {mean.mean():+.4f}"
        f" | levelled told {np.mean(np.isfinite(said)):.2f} wrong {wrong:.3f}"
        f" | limit told {told.mean():.2f} rms {np.sqrt(np.mean(off[told] ** 2)):.2f}"
        f" coverage {np.mean(np.abs(off[told]) < 1.96 * limit_stderr[told]):.2f}"
    )


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    for rate in RATES_HZ:
        for sigma in SIGMAS_MPS:
            print(f"{rate:>2} Hz {sigma:.2f} m/s: {line(cell(rate, sigma, count))}", flush=True)
