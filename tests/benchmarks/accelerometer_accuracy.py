"""0-30 mph by rollout with a 100 Hz accelerometer beside the receiver, and by the accelerometer alone: RMS, coverage.

Run by hand, from the project's root: python -m tests.benchmarks.accelerometer_accuracy [rides]

Rides of machines of all kinds, four launches each; sensors mounted anyhow with bias, scale error and a clock of their
own; receivers 0-0.3 s late. The rough ones also squat under power, drift, ride over waves in the road, shake up to
8 m/s^2, and their receivers smear and have noise of other colours.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from traceanalyze.detect.launches import find_launches
from traceanalyze.errors import SignalError
from traceanalyze.estimate.fused import forward_of, measure_launch_alone, measure_launch_fused
from traceanalyze.estimate.launch import measure_launch
from traceanalyze.results import Estimate, Launch
from traceanalyze.signal.accelerometer import forward_alone, speed_from_rest
from traceanalyze.signal.noise import SpeedNoise, estimate_noise
from traceanalyze.simulate import (
    AccelerometerUnit,
    Brake,
    Receiver,
    Ride,
    Surroundings,
    Turn,
    Wait,
    feel,
    receive,
    ride,
)
from traceanalyze.simulate.sensors import AccelerometerLog, mounting
from traceanalyze.simulate.truth import launches, marks_s, reached_s
from traceanalyze.simulate.variety import varied_launch, varied_vehicle
from traceanalyze.trace import Accelerometer, Trace, make_trace
from traceanalyze.units import GRAVITY_MPS2, parse_measure

MEASURES = (parse_measure("0-30 mph"),)
RATES_HZ = (1.0, 5.0, 10.0, 25.0)
HZ = 100.0


def make_ride(rng: np.random.Generator) -> Ride:
    """Return a ride of four launches by a machine of any kind."""
    script = [Wait(rng.uniform(6, 14))]
    for _ in range(4):
        script += [varied_launch(rng), Brake(decel_mps2=rng.uniform(1.5, 4)), Wait(rng.uniform(3, 9))]
        if rng.random() < 0.5:
            script += [Turn(), Wait(rng.uniform(3, 9))]
    return ride(varied_vehicle(rng), script, around=Surroundings(grade_pct=rng.uniform(-0.8, 0.8)), rng=rng)


def felt(made: Ride, rough: float, rng: np.random.Generator) -> AccelerometerLog:
    """Return what a sensor mounted anyhow shows; `rough` (0 or 1) scales everything that is beyond its own faults."""
    turn = rng.uniform(-180, 180, 3)
    unit = AccelerometerUnit(
        rate_hz=HZ, roll_deg=turn[0], pitch_deg=turn[1] / 2.3, yaw_deg=turn[2],
        bias_mps2=tuple(rng.normal(0, 0.15, 3)), scale=tuple(1 + rng.normal(0, 0.01, 3)),
        vibration_mps2=rng.uniform(0.3, 3 + 5 * rough), clock_drift_ppm=rng.uniform(-20, 20),
    )  # fmt: skip
    log = feel(made, unit, rng)
    squat, tau_s, wave_m = rng.uniform(0.002, 0.012), rng.uniform(0.05, 0.3), rng.uniform(8, 30)
    pitch = np.zeros(log.t_s.size)
    for k, accel in enumerate(made.motion.accel_at(log.t_s[1:]).tolist(), start=1):
        pitch[k] = pitch[k - 1] + (squat * accel - pitch[k - 1]) / HZ / tau_s
    drift = np.cumsum(rng.normal(0, 0.01 / math.sqrt(HZ), log.t_s.size))
    road = rng.uniform(0, 0.06) * np.sin(made.motion.distance_at(log.t_s) / wave_m)
    extra = rough * (GRAVITY_MPS2 * np.sin(pitch) + drift + road)
    return replace(log, force_mps2=log.force_mps2 + extra[:, None] * mounting(unit)[:, 0])


def logs(rides: int, rate_hz: float, rough: float) -> Iterator[tuple[Trace, list[tuple[float, float]]]]:
    """Yield traces with onset (on the receiver's clock) and true time of every launch."""
    for seed in range(rides):
        rng = np.random.default_rng([seed, int(rate_hz), int(rough)])
        made = make_ride(rng)
        receiver = Receiver(rate_hz=rate_hz, phase_s=rng.uniform(0, 1 / rate_hz), delay_s=rng.uniform(0, 0.3))
        if rough:
            colour = {"slow_share": rng.uniform(0.2, 0.8), "slow_tau_s": rng.uniform(0.5, 2.5)}
            receiver = replace(receiver, low_pass_hz=float(rng.choice([0, 2, 4])), **colour)
        seen, force = receive(made, receiver, rng), felt(made, rough, rng)
        trace = make_trace(
            seen.t_s,
            speed_mps=seen.speed_mps,
            accelerometer=Accelerometer(t_s=force.t_s, force_mps2=force.force_mps2),
        )
        marks = [(marks_s(made, event), reached_s(made, event, MEASURES[0])) for event in launches(made)]
        yield (
            trace,
            [(m["rest"] + receiver.delay_s, end_s - m["rollout"]) for m, end_s in marks if math.isfinite(end_s)],
        )


def by_receiver_and_both(trace: Trace) -> tuple[list[Launch], list[Launch]]:
    """Return the launches by the receiver alone and with the accelerometer's help."""
    noise = estimate_noise(trace.t_s, trace.speed_mps, trace.stretch)
    forward = forward_of(trace, noise)
    spans = find_launches(trace, noise, 13.0)
    return (
        [measure_launch(trace, span, noise, MEASURES) for span in spans],
        [measure_launch_fused(trace, forward, span, noise, MEASURES) for span in spans],
    )


def by_accelerometer(trace: Trace) -> list[Launch]:
    """Return the launches by the accelerometer alone."""
    sensor = trace.accelerometer
    assert sensor is not None
    forward, rests = forward_alone(sensor.t_s, sensor.force_mps2)
    speed = speed_from_rest(forward, rests)
    known = np.isfinite(speed.speed_mps)
    alone = make_trace(speed.t_s[known], speed_mps=speed.speed_mps[known], speed_source="accelerometer")
    spans = find_launches(alone, SpeedNoise(0.02, 0.01, 1.0, 0.0, 0.0, 10.0, 0.02), 13.0)
    return [measure_launch_alone(alone, forward, span, MEASURES) for span in spans]


def scored(found: list[Launch], truth: list[tuple[float, float]]) -> Iterator[tuple[float, float, bool]]:
    """Yield miss, stated standard uncertainty and whether the interval holds the truth, of every launch found."""
    for onset_s, elapsed_s in truth:
        near = min(found, key=lambda launch: abs(launch.start.value - onset_s), default=None)
        result = near.time("0-30 mph", "rollout") if near and abs(near.start.value - onset_s) < 2 else None
        if result is not None:
            one: Estimate = result.elapsed
            yield one.value - elapsed_s, one.stderr, one.low95 <= elapsed_s <= one.high95


def row(name: str, scores: list[tuple[float, float, bool]], count: int) -> str:
    """Return one line of the table."""
    miss, stderr, covered = (np.array(column, float) for column in zip(*scores, strict=True))
    rms, bias = math.sqrt(np.mean(miss**2)), miss.mean()
    return f"{name:34} {len(scores):4}/{count:<4} {rms:8.4f} {bias:+9.4f} {stderr.mean():8.4f} {covered.mean():9.3f}"


def main(rides: int) -> None:
    """Print the table."""
    head = "0-30 mph by rollout, 0.05 m/s"
    print(f"{head:34} {'launches':>9} {'RMS s':>8} {'bias s':>9} {'stated':>8} {'covered':>9}")
    for rough in (0.0, 1.0):
        alone: list[tuple[float, float, bool]] = []
        total = 0
        for rate_hz in RATES_HZ:
            scores: dict[str, list[tuple[float, float, bool]]] = {"receiver": [], "both": []}
            count = 0
            for trace, truth in logs(rides, rate_hz, rough):
                count += len(truth)
                for name, found in zip(scores, by_receiver_and_both(trace), strict=True):
                    scores[name] += scored(found, truth)
                try:
                    alone += scored(by_accelerometer(trace), [(at, true) for at, true in truth])
                except SignalError:
                    continue
            total += count
            for name, values in scores.items():
                print(row(f"{'rough ' if rough else ''}{rate_hz:g} Hz, {name}", values, count))
        print(row(f"{'rough ' if rough else ''}accelerometer alone", alone, total))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 40)
