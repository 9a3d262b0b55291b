"""Score of launch and pass finding on varied simulated rides: what is missed, what is invented.

Run: python -m tests.benchmarks.detection_score [rides]. The rides are made here, from straight pieces of
acceleration with soft corners, not by the package's own simulator.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

import numpy as np

from traceanalyze.detect.launches import find_launches
from traceanalyze.detect.passes import find_passes
from traceanalyze.signal.noise import estimate_noise
from traceanalyze.trace import FloatArray, Trace, make_trace

STEP_S = 0.005


@dataclass(frozen=True)
class Ride:
    """A simulated ride: true speed on a fine clock, its launches (onset times [s]), its passes (times of the top)."""

    t_s: FloatArray
    true_mps: FloatArray
    launches_s: tuple[float, ...]
    passes_s: tuple[float, ...]


class Builder:
    """Writes a ride piece by piece as (duration, acceleration) on the fine clock."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng
        self.pieces: list[FloatArray] = []
        self.speed_mps = 0.0
        self.now_s = 0.0
        self.launches: list[float] = []
        self.passes: list[float] = []

    def hold(self, duration_s: float, wobble_mps: float = 0.0) -> None:
        n = max(1, round(duration_s / STEP_S))
        piece = np.full(n, self.speed_mps)
        if wobble_mps and n > 400:
            piece += wobble_mps * np.sin(2 * np.pi * np.arange(n) * STEP_S / self.rng.uniform(3, 8)) * np.hanning(n)
        self._add(piece)

    def to(self, speed_mps: float, accel_mps2: float) -> None:
        """Reach a speed, acceleration falling by half on the way up (drag), constant on the way down."""
        values = [self.speed_mps]
        up = speed_mps > self.speed_mps
        while (values[-1] < speed_mps) if up else (values[-1] > speed_mps):
            share = (values[-1] / speed_mps) ** 2 if up else 0.0
            values.append(values[-1] + (1 if up else -1) * accel_mps2 * (1 - 0.6 * share) * STEP_S)
        values[-1] = speed_mps
        self._add(np.array(values[1:]))

    def _add(self, piece: FloatArray) -> None:
        self.pieces.append(piece)
        self.speed_mps = float(piece[-1])
        self.now_s += piece.size * STEP_S

    def ride(self) -> Ride:
        raw = np.concatenate(self.pieces)
        width = round(self.rng.uniform(0.05, 0.25) / STEP_S)
        kernel = np.hanning(width + 2)[1:-1]
        soft = np.convolve(np.pad(raw, width, mode="edge"), kernel / kernel.sum(), mode="same")[width:-width]
        return Ride(np.arange(soft.size) * STEP_S, np.maximum(soft, 0), tuple(self.launches), tuple(self.passes))


def launch(b: Builder) -> None:
    """A standing start to 11-16 m/s, with a shuffle or a creep before some."""
    rng = b.rng
    if b.speed_mps:
        b.to(0.0, rng.uniform(1.5, 6))
    b.hold(rng.uniform(2.0, 20.0))
    if rng.random() < 0.3:  # shuffle: centimetres, then a wait
        for _ in range(rng.integers(1, 4)):
            b.to(rng.uniform(0.15, 0.5), rng.uniform(0.5, 2))
            b.hold(rng.uniform(0.1, 0.5))
            b.to(0.0, rng.uniform(0.5, 2))
            b.hold(rng.uniform(1.0, 3.0))
    if rng.random() < 0.1:
        b.to(rng.uniform(0.1, 0.4), 0.5)
        b.hold(rng.uniform(1.0, 4.0))
    b.launches.append(b.now_s)
    accel = rng.uniform(1.5, 6.0)
    top = rng.uniform(11.0, 16.0)
    if rng.random() < 0.3:  # gear change or slipping belt
        b.to(top * 0.5, accel)
        b.hold(rng.uniform(0.2, 0.6))
    b.to(top, accel)
    b.to(rng.uniform(3.0, 6.0) if rng.random() < 0.2 else 0.0, rng.uniform(1.0, 7.0))


def aborted(b: Builder) -> None:
    rng = b.rng
    if b.speed_mps:
        b.to(0.0, rng.uniform(1.5, 6))
    b.hold(rng.uniform(2.0, 10.0))
    b.to(rng.uniform(2.0, 7.0), rng.uniform(1.0, 5.0))
    b.hold(rng.uniform(0.0, 1.0))
    b.to(0.0, rng.uniform(1.0, 7.0))


def rolling(b: Builder) -> None:
    """Comes from speed and slows without stopping, or rolls off gently and holds; then goes."""
    rng = b.rng
    if b.speed_mps < 4.0:
        b.hold(rng.uniform(1.0, 5.0))
        b.to(rng.uniform(1.2, 4.0), rng.uniform(0.3, 1.0))
        b.hold(rng.uniform(2.5, 5.0))
        b.to(rng.uniform(11.0, 16.0), rng.uniform(2.7, 6.0))
        b.to(0.0, rng.uniform(1.0, 7.0))
        return
    b.to(rng.uniform(1.0, 4.0), rng.uniform(0.5, 4.0))
    b.hold(rng.uniform(0.5, 5.0))
    b.to(rng.uniform(11.0, 16.0), rng.uniform(1.5, 6.0))
    b.to(rng.uniform(2.0, 6.0) if rng.random() < 0.4 else 0.0, rng.uniform(1.0, 7.0))


def top_pass(b: Builder, top_mps: float) -> None:
    rng = b.rng
    if b.speed_mps == 0.0:
        b.hold(rng.uniform(2.0, 10.0))
        b.launches.append(b.now_s)
    top_mps *= rng.uniform(0.96, 1.04)
    b.to(0.85 * top_mps, rng.uniform(1.5, 4.0))
    b.to(top_mps, rng.uniform(0.4, 1.2))
    b.hold(rng.uniform(1.0, 8.0), 0.1)
    b.passes.append(b.now_s - 0.5)
    b.to(0.0 if rng.random() < 0.6 else rng.uniform(3.0, 8.0), rng.uniform(0.8, 6.0))


def make_ride(rng: np.random.Generator) -> Ride:
    b = Builder(rng)
    b.hold(rng.uniform(5.0, 30.0))
    with_passes = rng.random() < 0.5
    for _ in range(rng.integers(3, 9)):
        kind = rng.choice(["launch", "aborted", "rolling"], p=[0.55, 0.25, 0.2])
        {"launch": launch, "aborted": aborted, "rolling": rolling}[str(kind)](b)
    if with_passes:
        top = rng.choice([rng.uniform(24.0, 30.0), rng.uniform(19.0, 22.0)])
        for _ in range(rng.integers(1, 5)):
            top_pass(b, top)
    if b.speed_mps:
        b.to(0.0, 3.0)
    b.hold(rng.uniform(2.0, 10.0))
    return b.ride()


def recorded(ride: Ride, rng: np.random.Generator) -> tuple[Trace, float]:
    """The ride as a receiver logs it: vector noise with a slow part, jitter of stamps, rounding, sometimes a hold."""
    rate_hz = float(rng.choice([1, 2, 5, 10, 18, 25]))
    sigma_mps = rng.uniform(0.03, 0.15)
    t_s = np.arange(rng.uniform(0, 1 / rate_hz), ride.t_s[-1], 1 / rate_hz)
    slow_share, tau_s = rng.uniform(0.2, 0.7), rng.uniform(0.5, 3.0)
    keep = np.exp(-1 / rate_hz / tau_s)
    white, drive = rng.normal(size=(2, t_s.size)), rng.normal(size=(2, t_s.size))
    slow = np.empty_like(white)
    slow[:, 0] = drive[:, 0]
    for k in range(1, t_s.size):
        slow[:, k] = keep * slow[:, k - 1] + np.sqrt(1 - keep**2) * drive[:, k]
    noise = sigma_mps * (np.sqrt(slow_share) * slow + np.sqrt(1 - slow_share) * white)
    speed = np.hypot(np.interp(t_s, ride.t_s, ride.true_mps) + noise[0], noise[1])
    if rng.random() < 0.2:
        speed[speed < rng.uniform(0.15, 0.5)] = 0.0
    step = rng.choice([1852 / 36000, 1852 / 3600000, 0.01 / 3.6, 1e-4])
    lost = rng.random(t_s.size) < rng.choice([0.0, 0.002])
    stamps = np.round(t_s + rng.normal(0, 0.002, t_s.size), 3)
    good = ~lost & (np.diff(stamps, prepend=-1) > 0)
    return make_trace(stamps[good] - stamps[good][0], speed_mps=(np.round(speed / step) * step)[good]), stamps[good][0]


def score(rides: int, seed: int = 1, verbose: bool = True) -> dict[str, int]:
    """Counts over many rides: launches and passes there were, missed, invented."""
    total = dict.fromkeys(("launches", "missed", "false", "passes", "passes_missed", "passes_false"), 0)
    for k in range(rides):
        rng = np.random.default_rng([seed, k])
        ride = make_ride(rng)
        trace, begin_s = recorded(ride, rng)
        noise = estimate_noise(trace.t_s, trace.speed_mps, trace.stretch)
        spans = find_launches(trace, noise, 8.9408)
        climbs = [
            (trace.t_s[span.onset] + begin_s - 1.0 - noise.period_s, trace.t_s[span.peak] + begin_s) for span in spans
        ]
        missed, invented = matched_spans(ride.launches_s, climbs)
        total["launches"] += len(ride.launches_s)
        total["missed"] += len(missed)
        total["false"] += len(invented)
        if (missed or invented) and verbose:
            print(f"ride {k} {1 / noise.period_s:.0f} Hz: missed {missed}, false {invented}")
        if ride.passes_s:
            tops = find_passes(trace, noise)
            missed, invented = matched_spans(
                ride.passes_s, [(trace.t_s[s.first] + begin_s, trace.t_s[s.last] + begin_s) for s in tops]
            )
            total["passes"] += len(ride.passes_s)
            total["passes_missed"] += len(missed)
            total["passes_false"] += len(invented)
            if (missed or invented) and verbose:
                print(f"ride {k} {1 / noise.period_s:.0f} Hz: passes missed {missed}, false {invented}")
    return total


def matched_spans(
    true: tuple[float, ...], found: list[tuple[float, float]]
) -> tuple[list[float], list[tuple[float, float]]]:
    """Those of `true` that lie in no span alone, and the spans that hold none."""
    inside = [[a for a in true if lo <= a <= hi] for lo, hi in found]
    seen = {group[0] for group in inside if len(group) == 1}
    return [a for a in true if a not in seen], [f for f, group in zip(found, inside, strict=True) if not group]


if __name__ == "__main__":
    print(score(int(sys.argv[1]) if len(sys.argv) > 1 else 500))
