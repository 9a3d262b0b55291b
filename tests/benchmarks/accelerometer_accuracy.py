"""0-30 mph with a 100 Hz accelerometer beside the receiver, and by the accelerometer alone: RMS, bias, coverage.

Run by hand, from the project's root: python -m tests.benchmarks.accelerometer_accuracy [--rides 40] [--seed 0]

Rides of machines of all kinds, four launches each; sensors mounted anyhow with bias, scale error and a clock of their
own; receivers 0-0.3 s late. The rough ones also squat under power, drift, ride over waves in the road, shake up to
8 m/s^2, and their receivers smear and have noise of other colours.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from traceanalyze.detect.launches import find_launches
from traceanalyze.errors import SignalError
from traceanalyze.estimate.fused import forward_of, measure_launch_alone, measure_launch_fused
from traceanalyze.estimate.launch import measure_launch
from traceanalyze.results import Launch
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
from traceanalyze.units import GRAVITY_MPS2, StartRule, parse_measure

MEASURES = (parse_measure("0-30 mph"),)
RULES: tuple[StartRule, ...] = ("rollout", "rest", "threshold")
RATES_HZ = (1.0, 5.0, 10.0, 25.0)
HZ = 100.0

#: Onset of a launch on the receiver's clock [s], and its true time by each start rule [s].
Truth = tuple[float, dict[StartRule, float]]


class Score(NamedTuple):
    """One time against its truth: miss and stated standard uncertainty [s], and whether the interval holds it."""

    miss_s: float
    stderr_s: float
    covered: bool


Scores = dict[StartRule, list[Score]]


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


def logs(rides: int, seed: int, rate_hz: float, rough: float) -> Iterator[tuple[Trace, list[Truth]]]:
    """Yield traces with the truth of every launch."""
    for number in range(rides):
        rng = np.random.default_rng([number, int(rate_hz), int(rough), seed])
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
        yield trace, list(_truths(made, receiver.delay_s))


def _truths(made: Ride, delay_s: float) -> Iterator[Truth]:
    for event in launches(made):
        marks, end_s = marks_s(made, event), reached_s(made, event, MEASURES[0])
        if math.isfinite(end_s):
            yield marks["rest"] + delay_s, {rule: end_s - marks[rule] for rule in RULES}


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


def score(scores: Scores, found: list[Launch], truth: list[Truth]) -> None:
    """Add how every launch found compares with its truth."""
    for onset_s, times_s in truth:
        near = min(found, key=lambda launch: abs(launch.start.value - onset_s), default=None)
        if near is None or abs(near.start.value - onset_s) > 2:
            continue
        for rule, true_s in times_s.items():
            if (result := near.time("0-30 mph", rule)) is not None:
                one = result.elapsed
                scores[rule].append(Score(one.value - true_s, one.stderr, one.low95 <= true_s <= one.high95))


def none() -> Scores:
    """Return a table of scores without any."""
    return {rule: [] for rule in RULES}


def row(name: str, scores: Scores, count: int) -> str:
    """Return one line of the table: RMS / bias / stated / covered by each start rule."""
    cells = " | ".join(_cell(scores[rule]) for rule in RULES)
    return f"| {name} | {len(scores['rollout'])} of {count} | {cells} |"


def _cell(scores: list[Score]) -> str:
    miss, stderr, covered = (np.array(column, float) for column in zip(*scores, strict=True))
    rms, stated = (math.sqrt(np.mean(values**2)) for values in (miss, stderr))
    return f"{rms:.3f}/{miss.mean():+.3f}/{stated:.3f}/{100 * covered.mean():.1f}"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rides", type=int, default=40, help="of four launches, in each cell")
    parser.add_argument("--seed", type=int, default=0)
    said = parser.parse_args()
    print("| 0-30 mph, 0.05 m/s | timed |" + "".join(f" {rule} RMS/bias/stated/covered |" for rule in RULES))
    print("| --- " * (2 + len(RULES)) + "|")
    for rough, road in ((0.0, ""), (1.0, "rough, ")):
        alone, total = none(), 0
        for rate_hz in RATES_HZ:
            receiver, both, count = none(), none(), 0
            for trace, truth in logs(said.rides, said.seed, rate_hz, rough):
                count += len(truth)
                for scores, found in zip((receiver, both), by_receiver_and_both(trace), strict=True):
                    score(scores, found, truth)
                with suppress(SignalError):
                    score(alone, by_accelerometer(trace), truth)
            total += count
            print(row(f"{road}{rate_hz:g} Hz receiver", receiver, count), flush=True)
            print(row(f"{road}{rate_hz:g} Hz both", both, count), flush=True)
        print(row(f"{road}accelerometer alone", alone, total), flush=True)


if __name__ == "__main__":
    main()
