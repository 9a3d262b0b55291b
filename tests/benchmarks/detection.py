"""Launches missed and launches invented, in logs with shuffles, aborted starts, rolling starts and full stops.

python -m tests.benchmarks.detection [--count 500]
"""

from __future__ import annotations

import argparse

import numpy as np

from tests.benchmarks.rides import LEAD_S, ROUNDINGS, STEP_S, Floats, Ride, _noise, make_rides
from traceanalyze.detect.launches import find_launches
from traceanalyze.estimate.launch import measure_launch
from traceanalyze.signal.noise import estimate_noise
from traceanalyze.trace import make_trace

TARGET_MPS = 30 * 0.44704


def leg(from_mps: float, to_mps: float, accel_mps2: float) -> Floats:
    """Return fine speeds from one to another at a steady acceleration."""
    steps = max(int(abs(to_mps - from_mps) / accel_mps2 / STEP_S), 1)
    return np.linspace(from_mps, to_mps, steps, endpoint=False)


def held(mps: float, seconds: float) -> Floats:
    """Return fine speeds that stay the same."""
    return np.full(int(seconds / STEP_S), mps)


def drive(ride: Ride, rng: np.random.Generator) -> tuple[Floats, float]:
    """Return fine speeds of one launch among other motions, and when it begins [s]."""
    abort = rng.uniform(1.5, 6.0)
    before = np.concatenate((held(0, rng.uniform(4, 10)), leg(0, abort, 2.0), leg(abort, 0, 2.0)))
    until = int((LEAD_S + min(ride.target_s + 4, 25)) / STEP_S)
    after = leg(ride.fine_v_mps[until - 1], 3.0, 3.0)
    rolled = np.concatenate((leg(3.0, 15.0, 2.5), leg(15.0, 0, 3.0), held(0, rng.uniform(3, 8))))
    fine = np.concatenate((before, ride.fine_v_mps[:until], after, held(3.0, rng.uniform(0.5, 3)), rolled))
    return fine, before.size * STEP_S + LEAD_S


def score(rides: list[Ride], rng: np.random.Generator, rate_hz: float, sigma: float) -> tuple[int, int]:
    """Return how many launches were missed, and how many were invented."""
    missed = invented = 0
    for ride in rides:
        fine, onset_s = drive(ride, rng)
        t = np.arange(0, fine.size * STEP_S - 1, 1 / rate_hz)
        v = np.interp(t, np.arange(fine.size) * STEP_S, fine)
        share, tau_s = rng.uniform(0.3, 0.7), rng.uniform(0.5, 3.0)
        along, across = (_noise(rng, t.size, 1 / rate_hz, sigma, share, tau_s) for _ in range(2))
        step = ROUNDINGS[rng.integers(0, len(ROUNDINGS))]
        seen = np.round(np.hypot(v + along, across) / step) * step
        trace = make_trace(t, speed_mps=seen)
        noise = estimate_noise(trace.t_s, trace.speed_mps, trace.stretch)
        spans = find_launches(trace, noise, TARGET_MPS)
        found = [measure_launch(trace, span, noise, ()).start.value for span in spans]
        right = [one for one in found if abs(one - onset_s) < 1.0 + 1.5 / rate_hz]
        missed += not right
        invented += len(found) - bool(right)
    return missed, invented


def main() -> None:
    """Print one line for each rate and noise."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=500)
    count = parser.parse_args().count
    rides = make_rides(count, 21)
    print("| rate Hz | noise m/s | rides | missed | invented |\n| --- | --- | --- | --- | --- |")
    for rate_hz, sigma in ((1, 0.05), (5, 0.05), (10, 0.05), (10, 0.15), (25, 0.10)):
        missed, invented = score(rides, np.random.default_rng(5), rate_hz, sigma)
        print(f"| {rate_hz:g} | {sigma:.2f} | {count} | {missed} | {invented} |", flush=True)


if __name__ == "__main__":
    main()
