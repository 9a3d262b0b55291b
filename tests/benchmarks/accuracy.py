"""How true the times are: RMS error, bias and coverage of 0-30 mph for each rate, noise and start rule.

    python -m tests.benchmarks.accuracy [--count 320] [--low-pass 0.0] [--rates 1,5,10,18,25] [--noises 0.03,...]
        [--steady]

Rides and receivers are those of `rides.py`, made apart from the package's own simulator and with other take-ups,
thrust laws and noise than the estimator assumes. The rival is plain linear interpolation of the raw speeds from
1 km/h to the target, the last 1 km/h crossing before the climb. Prints one table in Markdown.

`--steady` keeps the rides that still pull 1.5 m/s^2 at the target and go on climbing for 1.5 s: on the others a slow
logger may have no sample between the target and the closed throttle, and any crossing is blurred by a weak pull.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tests.benchmarks.rides import STEP_S, TARGET_MPS, THRESHOLD_MPS, Log, Ride, make_rides, record
from traceanalyze.errors import SignalError
from traceanalyze.estimate.launch import measure_launch
from traceanalyze.results import Launch
from traceanalyze.signal.noise import estimate_noise
from traceanalyze.trace import Remark, make_trace
from traceanalyze.units import parse_measure

MEASURE = parse_measure("0-30 mph")
RULES = ("rollout", "rest", "threshold")


@dataclass(frozen=True)
class Span:
    """Where a launch lies in its log, as a person would mark it."""

    first: int
    onset: int
    corner: int
    peak: int
    last: int
    remarks: tuple[Remark, ...] = ()


def truth_s(ride: Ride, rule: str) -> float:
    """Return the true 0-30 mph time of a ride [s]."""
    start_s = {"rollout": ride.rollout_s, "rest": 0.0, "threshold": ride.threshold_s}[rule]
    return ride.target_s - start_s


def steady(ride: Ride) -> bool:
    """Return whether a ride still pulls at the target and goes on climbing well beyond it."""
    at = int(np.searchsorted(ride.fine_t_s, ride.target_s))
    pull_mps2 = (ride.fine_v_mps[at + 50] - ride.fine_v_mps[at - 50]) / (100 * STEP_S)
    climbs_on_s = float(ride.fine_t_s[np.argmax(ride.fine_v_mps)]) - ride.target_s
    return bool(pull_mps2 > 1.5 and climbs_on_s > 1.5)


def measured(log: Log) -> Launch:
    """Return the launch of a log, its noise estimated from the log itself."""
    trace = make_trace(log.t_s, speed_mps=log.speed_mps)
    noise = estimate_noise(trace.t_s, trace.speed_mps, trace.stretch)
    onset = max(int(np.searchsorted(log.t_s, log.onset_s)) - 1, 0)
    span = Span(0, onset, onset, int(np.argmax(log.speed_mps)), log.t_s.size - 1)
    return measure_launch(trace, span, noise, (MEASURE,))


def interpolated_s(log: Log) -> float:
    """Return the 0-30 mph time by plain interpolation of the raw speeds from 1 km/h [s]; NaN when not reached."""
    t, v = log.t_s, log.speed_mps
    above = np.flatnonzero(v >= TARGET_MPS)
    if not above.size:
        return float("nan")
    below = np.flatnonzero(v[: above[0]] < THRESHOLD_MPS)
    i, j = int(below[-1]), int(above[0]) - 1
    start = t[i] + (THRESHOLD_MPS - v[i]) / (v[i + 1] - v[i]) * (t[i + 1] - t[i])
    return float(t[j] + (TARGET_MPS - v[j]) / (v[j + 1] - v[j]) * (t[j + 1] - t[j]) - start)


def cell(
    rides: list[Ride], rate_hz: float, sigma_mps: float, low_pass_share: float, seed: int
) -> tuple[dict[str, np.ndarray], np.ndarray, int]:
    """Return for each rule (k, 3) errors, standard uncertainties and hits, the rival's errors, and failures."""
    rng = np.random.default_rng(seed)
    rows: dict[str, list[tuple[float, float, float]]] = {rule: [] for rule in RULES}
    rival, failed = [], 0
    for ride in rides:
        log = record(ride, rng, rate_hz, sigma_mps, low_pass_share=low_pass_share)
        rival.append(interpolated_s(log) - truth_s(ride, "threshold"))
        try:
            launch = measured(log)
        except SignalError:
            failed += 1
            continue
        found = [launch.time(MEASURE.label, rule) for rule in RULES]
        failed += any(one is None for one in found)
        for rule, one in zip(RULES, found, strict=True):
            if one is not None:
                true = truth_s(ride, rule)
                hit = one.elapsed.low95 <= true <= one.elapsed.high95
                rows[rule].append((one.elapsed.value - true, one.elapsed.stderr, float(hit)))
    return {rule: np.array(values) for rule, values in rows.items()}, np.array(rival), failed


def table(
    rides: list[Ride], rates: list[float], noises: list[float], low_pass_share: float, seed: int
) -> Iterator[str]:
    """Yield the table line by line."""
    names = "".join(f" {rule} RMS | bias | stated | cover |" for rule in RULES)
    yield f"| rate Hz | noise m/s |{names} interpolation RMS | not given | ms |"
    yield "| --- " * (5 + 4 * len(RULES)) + "|"
    for rate in rates:
        for noise in noises:
            start = time.process_time()
            rows, rival, failed = cell(rides, rate, noise, low_pass_share, seed)
            each_ms = 1000 * (time.process_time() - start) / len(rides)
            cells = ""
            for rule in RULES:
                e, u, hit = rows[rule].T
                stated = np.sqrt(np.mean(u**2))
                cells += f" {np.sqrt(np.mean(e**2)):.3f} | {e.mean():+.3f} | {stated:.3f} | {100 * hit.mean():.1f} |"
            plain = np.sqrt(np.nanmean(rival**2))
            yield f"| {rate:g} | {noise:.2f} |{cells} {plain:.3f} | {failed} | {each_ms:.0f} |"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=320)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--low-pass", type=float, default=0.0, help="share of receivers with a low-pass of 1-4 Hz")
    parser.add_argument("--rates", default="1,5,10,18,25")
    parser.add_argument("--noises", default="0.03,0.05,0.10,0.15")
    parser.add_argument("--steady", action="store_true", help="only rides that pull on beyond the target")
    said = parser.parse_args()
    rides = make_rides(said.count, said.seed)
    rides = [ride for ride in rides if steady(ride)] if said.steady else rides
    rates, noises = ([float(word) for word in words.split(",")] for words in (said.rates, said.noises))
    for line in table(rides, rates, noises, said.low_pass, said.seed):
        print(line, flush=True)


if __name__ == "__main__":
    main()
