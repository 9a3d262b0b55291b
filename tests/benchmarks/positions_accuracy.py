"""How true launch times are when a log states positions only: RMS error, bias, coverage for each rate and noise.

    python -m tests.benchmarks.positions_accuracy [--count 160] [--seed 11] [--rates 1,5,10] [--noises 0.02,0.05,0.1]

Rides of `rides.py`, made apart from the package, on a straight road. Positions are wrong by white noise of the stated
standard deviation in each direction and by a slow wandering of 0.3-1.5 m (a Gauss-Markov process of second order, 20-60
s); common practice, no source. Prints one table in Markdown.
"""

from __future__ import annotations

import argparse
import time
from typing import NamedTuple

import numpy as np

from tests.benchmarks.accuracy import MEASURE, RULES, Span, truth_s
from tests.benchmarks.rides import RIDE_S, STEP_S, Floats, Ride, make_rides
from traceanalyze.errors import SignalError
from traceanalyze.estimate.launch import measure_launch
from traceanalyze.estimate.smeared import smeared
from traceanalyze.prepare import prepared
from traceanalyze.results import Launch
from traceanalyze.signal.geodesy import radii_m
from traceanalyze.trace import make_trace

#: Where the road lies, and which way it leads [degrees].
_LAT_DEG, _LON_DEG, _HEADING_DEG = 48.0, 11.0, 37.0


class Log(NamedTuple):
    """Times [s], positions [degrees] of a receiver, and when the onset was."""

    t_s: Floats
    lat_deg: Floats
    lon_deg: Floats
    onset_s: float


def record(ride: Ride, rng: np.random.Generator, rate_hz: float, fine_m: float) -> Log:
    """Return the positions that a receiver writes of a ride."""
    lead_s = rng.uniform(12, 30)
    t_s = np.arange(0, lead_s + min(ride.target_s + 6, RIDE_S - 1), 1 / rate_hz) + rng.uniform(0, 1 / rate_hz)
    way_m = np.cumsum(ride.fine_v_mps) * STEP_S
    along_m = np.interp(t_s - lead_s, ride.fine_t_s, way_m)
    slow_m, tau_s = rng.uniform(0.3, 1.5), rng.uniform(20, 60)
    heading = np.radians(_HEADING_DEG)
    east_m, north_m = (
        along_m * part + _wandering(rng, t_s.size, slow_m, 1 / rate_hz / tau_s) + rng.normal(0, fine_m, t_s.size)
        for part in (np.sin(heading), np.cos(heading))
    )
    north_radius_m, east_radius_m = radii_m(_LAT_DEG)
    lat_deg = _LAT_DEG + np.degrees(north_m / north_radius_m)
    lon_deg = _LON_DEG + np.degrees(east_m / east_radius_m / np.cos(np.radians(_LAT_DEG)))
    return Log(t_s, lat_deg, lon_deg, lead_s)


def _wandering(rng: np.random.Generator, size: int, sd_m: float, step: float) -> Floats:
    """A Gauss-Markov process of second order: one of first order, smoothed by another; `step` in time constants."""
    keep, lead = np.exp(-step), round(5 / step)
    pushed, smooth = 0.0, np.zeros(lead + size)
    for k, push in enumerate(rng.normal(0, np.sqrt(1 - keep**2), lead + size).tolist()):
        pushed = keep * pushed + push
        smooth[k] = keep * smooth[k - 1] + (1 - keep) * pushed
    return sd_m * np.sqrt(2) * smooth[lead:]


def measured(log: Log) -> Launch:
    """Return the launch of a log of positions."""
    ready = prepared(make_trace(log.t_s, lat_deg=log.lat_deg, lon_deg=log.lon_deg, speed_source="positions"))
    onset = max(int(np.searchsorted(log.t_s, log.onset_s)) - 1, 0)
    peak = int(np.nanargmax(ready.trace.speed_mps))
    found = measure_launch(ready.trace, Span(0, onset, onset, peak, log.t_s.size - 1), ready.noise, (MEASURE,))
    return smeared(found, ready.smear_s)


def row(rides: list[Ride], rate_hz: float, fine_m: float, seed: int) -> str:
    """Return one line of the table."""
    rng = np.random.default_rng(seed)
    scores: dict[str, list[tuple[float, float, bool]]] = {rule: [] for rule in RULES}
    onsets, missing, begun = [], 0, time.process_time()
    for ride in rides:
        log = record(ride, rng, rate_hz, fine_m)
        try:
            launch = measured(log)
        except SignalError:
            missing += 1
            continue
        onsets.append(launch.start.value - log.onset_s)
        for rule in RULES:
            if (one := launch.time(MEASURE.label, rule)) is not None:
                true_s, found = truth_s(ride, rule), one.elapsed
                scores[rule].append((found.value - true_s, found.stderr, found.low95 <= true_s <= found.high95))
    missing += len(onsets) - len(scores["rollout"])
    each_ms = 1000 * (time.process_time() - begun) / len(rides)
    cells = " | ".join(_cell(np.array(scores[rule], float)) for rule in RULES)
    return f"| {rate_hz:g}, {fine_m:g} | {cells} | {np.mean(onsets):+.3f} | {missing} | {each_ms:.0f} |"


def _cell(scores: Floats) -> str:
    miss_s, stderr_s, covered = scores.T
    rms_s, stated_s = (np.sqrt(np.mean(values**2)) for values in (miss_s, stderr_s))
    return f"{rms_s:.3f}/{miss_s.mean():+.3f}/{stated_s:.3f}/{100 * covered.mean():.1f}"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=160)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--rates", default="1,5,10")
    parser.add_argument("--noises", default="0.02,0.05,0.1")
    said = parser.parse_args()
    rides = make_rides(said.count, said.seed)
    print("| Hz, fine noise m |" + "".join(f" {rule} RMS/bias/stated/covered |" for rule in RULES), end="")
    print(" onset late by s | not given | ms |")
    print("| --- " * (4 + len(RULES)) + "|")
    for rate_hz, fine_m in ((float(a), float(b)) for a in said.rates.split(",") for b in said.noises.split(",")):
        print(row(rides, rate_hz, fine_m, said.seed), flush=True)


if __name__ == "__main__":
    main()
