"""Whether time and memory of the whole program grow no faster than the log: from one minute to a day at 25 Hz.

    python -m tests.benchmarks.bench_length [--hours 24]

Makes its own NMEA logs (RMC and GGA of each epoch): a standing start, a stretch at speed and a stop every six minutes.
Each is measured by a process of its own. The last columns are what an hour of log costs over the log of one minute:
where they stay the same from line to line, the program is linear. Takes about three minutes; nothing is asserted.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

import numpy as np

from tests.benchmarks.bench_nmea import angle, sentence
from tests.benchmarks.bench_program import PROGRAM, Cost, cost, speeds_mps

RATE_HZ = 25
CYCLE_S = 360
LENGTHS_H = (1 / 60, 1 / 6, 1.0, 3.0, 8.0, 24.0)
METRES_PER_DEGREE = 111_195.0


def write_log(path: Path, hours: float) -> None:
    """Write a ride from midnight of 17 May 2026 on, with receiver noise of 0.05 m/s an axis."""
    rng = np.random.default_rng(1)
    t_s = np.arange(round(hours * 3600 * RATE_HZ)) / RATE_HZ
    north_mps, east_mps = rng.normal(0, 0.05, (2, t_s.size))
    speed_mps = speeds_mps(t_s % CYCLE_S)
    lat_deg = 45 + np.cumsum(speed_mps) / RATE_HZ / METRES_PER_DEGREE
    knots = np.hypot(speed_mps + north_mps, east_mps) / 0.514444
    with path.open("wb") as file:
        for k, (lat, speed) in enumerate(zip(lat_deg.tolist(), knots.tolist(), strict=True)):
            second = k // RATE_HZ
            clock = f"{second // 3600:02d}{second // 60 % 60:02d}{second % 60:02d}.{k % RATE_HZ * 4:02d}"
            place = f"{angle(lat, 2)},N,00830.00000,E"
            file.write(sentence(f"GNRMC,{clock},A,{place},{speed:.3f},0.00,170526,,,A"))
            file.write(sentence(f"GNGGA,{clock},{place},1,12,0.8,100.0,M,47.0,M,,"))


def main() -> None:
    """Make the logs, measure each, print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--hours", type=float, default=LENGTHS_H[-1], help="the longest log")
    longest = parser.parse_args().hours
    print(" hours  file MB  starts   CPU s  peak MB  CPU s/hour  peak MB/hour")
    shortest: tuple[float, Cost] | None = None
    for hours in (length for length in LENGTHS_H if length <= longest):
        found, size = measured(hours)
        starts = (hours * 3600 + 300) // CYCLE_S
        row = f"{hours:6.2f} {size / 1e6:8.1f} {starts:7.0f} {found.processor_s:7.2f} {found.peak_mb:8.0f}"
        if shortest:
            more, base = hours - shortest[0], shortest[1]
            row += (
                f" {(found.processor_s - base.processor_s) / more:11.3f} {(found.peak_mb - base.peak_mb) / more:13.1f}"
            )
        shortest = shortest or (hours, found)
        print(row, flush=True)


def measured(hours: float) -> tuple[Cost, int]:
    """Return what the program takes for a log, and the log's size [bytes]."""
    with tempfile.TemporaryDirectory() as folder:
        log = Path(folder) / "log.nmea"
        write_log(log, hours)
        return cost([*PROGRAM, str(log)], 3 if hours < 2 else 1), log.stat().st_size


if __name__ == "__main__":
    main()
