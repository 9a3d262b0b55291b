"""Accuracy of top speeds on simulated passes: sustained (beside two naive rivals), levelled off, held, projected.

Run: python -m tests.benchmarks.topspeed_accuracy [passes per cell] [seed] [variety of the fleet]. The passes are made
here, by a vehicle, a road and a receiver of their own: the whole chain (noise from the log, finding the pass, measuring
it) is scored. A variety of 0 makes minibikes of one kind; 0.6 (standard deviation of the drag's logarithm) makes fleets
as mixed as the tool says it allows for.
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
WINDOWS_S = (1.0, 3.0)


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

    def held_s(self, top_mps: float) -> float:
        """How long speed stayed within half a percent of the top."""
        top = int(np.argmax(self.speed_mps))
        low = np.flatnonzero(self.speed_mps < 0.995 * top_mps)
        last = low[low > top].min(initial=self.speed_mps.size)
        return float((last - low[low < top].max(initial=0)) * STEP_S)


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


def make_pass(rng: np.random.Generator, variety: float = 0.0) -> Truth:
    """Rest, full throttle, perhaps a plateau, then coasting or braking; thrust- or power-limited, some governed."""
    mass, thrust, power = 150 * rng.uniform(0.8, 1.3), rng.uniform(300, 700), rng.uniform(2500, 9000)
    drag, rolling = 0.6 * rng.uniform(0.45, 0.7) * np.exp(variety * rng.normal()), rng.uniform(0.012, 0.03) * 9.81
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


def fastest(trace: Trace, windows_s: tuple[float, ...]) -> list[Pass]:
    """The fastest pass the package finds, for each window."""
    noise = estimate_noise(trace.t_s, trace.speed_mps, trace.stretch)
    spans = find_passes(trace, noise)
    if not spans:
        raise SignalError("no pass found")
    found = [
        [measure_pass(trace, span, noise, Window(duration_s=window_s)) for span in spans] for window_s in windows_s
    ]
    return [max(passes, key=lambda one: one.sustained.value) for passes in found]


def naive(trace: Trace, window_s: float) -> tuple[float, float]:
    """The highest sample, and the highest mean of as many whole samples as the window holds."""
    n = max(1, round(window_s / float(np.median(np.diff(trace.t_s)))))
    total = np.concatenate(([0.0], np.cumsum(trace.speed_mps)))
    return float(trace.speed_mps.max()), float((total[n:] - total[:-n]).max() / n)


def scored(truth: Truth, trace: Trace, found: Pass) -> tuple[float, ...]:
    """Errors of ours, highest sample, best mean; stated uncertainty; levelling; errors of limit and its sd, of held."""
    true = truth.sustained_mps(found.window_s)
    highest, mean = naive(trace, found.window_s)
    return (
        found.sustained.value - true,
        highest - true,
        mean - true,
        found.sustained.stderr,
        {True: 1.0, False: 0.0, None: np.nan}[found.levelled_off],
        truth.gain_mps2,
        found.projected.value - truth.limit_mps,
        found.projected.stderr,
        found.held_s - truth.held_s(true),
    )


def cell(
    rate_hz: float,
    sigma_mps: float,
    passes: int,
    seed: int = 1,
    windows_s: tuple[float, ...] = (1.0,),
    variety: float = 0.0,
) -> FloatArray:
    """Scores (windows, passes, 9) of one rate and noise."""
    rows = []
    for k in range(passes):
        rng = np.random.default_rng([seed, k, int(100 * rate_hz), int(1000 * sigma_mps)])
        truth = make_pass(rng, variety)
        trace = recorded(truth, rng, rate_hz, sigma_mps)
        rows.append([scored(truth, trace, found) for found in fastest(trace, windows_s)])
    return np.array(rows).swapaxes(0, 1)


def line(rows: FloatArray) -> str:
    """Figures of one cell."""
    error, highest, mean, stderr, said, gain, off, limit_stderr, held = rows.T
    told = np.isfinite(off)
    wrong = np.mean(((said == 1) & (gain > 0.15)) | ((said == 0) & (gain < 0.04)))
    covered = np.mean(np.abs(error) < 1.96 * stderr)
    return (
        f"rms {np.sqrt(np.mean(error**2)):.4f} bias {error.mean():+.4f} coverage {covered:.3f}"
        f" | highest sample rms {np.sqrt(np.mean(highest**2)):.3f} bias {highest.mean():+.3f}"
        f" | best mean rms {np.sqrt(np.mean(mean**2)):.4f} bias {mean.mean():+.4f}"
        f" | levelled told {np.mean(np.isfinite(said)):.2f} wrong {wrong:.3f}"
        f" | limit told {told.mean():.2f} rms {np.sqrt(np.mean(off[told] ** 2)):.2f}"
        f" coverage {np.mean(np.abs(off[told]) < 1.96 * limit_stderr[told]):.3f}"
        f" | held error median {np.median(np.abs(held)):.2f} 90 % {np.quantile(np.abs(held), 0.9):.2f} s"
    )


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    start = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    mixed = float(sys.argv[3]) if len(sys.argv) > 3 else 0.0
    for rate in RATES_HZ:
        for sigma in SIGMAS_MPS:
            for window, scores in zip(WINDOWS_S, cell(rate, sigma, count, start, WINDOWS_S, mixed), strict=True):
                print(f"{rate:>2} Hz {sigma:.2f} m/s, {window:.0f} s: {line(scores)}", flush=True)
