"""The whole program as processes: start-up, one log, a day of logs, against bare Python, numpy and pynmea2.

    python -m tests.benchmarks.bench_program

Makes its own logs by the package's simulator (a ten-minute ride) and by `bench_nmea` (eight hours), runs each command
several times in turn and prints medians of processor seconds, the ratio to its rival, and peak memory (never less than
that of this script, which starts them). Nothing is asserted.
"""

from __future__ import annotations

import os
import shutil
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.benchmarks.bench_nmea import LONG_S, RATE_HZ, rising_and_falling_mps, write_log
from traceanalyze.simulate.logs import make_log, recipe_of

PYTHON = sys.executable
PROGRAM = (PYTHON, "-m", "traceanalyze")
#: As an installed program runs: its modules compiled once, not at every start; numpy on one thread, as in the program.
ENVIRONMENT = {
    **{name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"},
    **dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1"),
}
#: A start, a pass and a stop every so often in the eight hours of a patient rider [s].
PATIENT_S = 900


@dataclass(frozen=True)
class Cost:
    """Medians over the runs of one command."""

    processor_s: float
    wall_s: float
    peak_mb: float


def cost(command: Sequence[str], runs: int = 5) -> Cost:
    """Run a command several times after a warm-up and return its medians."""
    spent = [_once(command) for _ in range(runs + 1)][1:]
    return Cost(*(statistics.median(column) for column in zip(*spent, strict=True)))


def _once(command: Sequence[str]) -> tuple[float, float, float]:
    begin = os.times().elapsed
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=ENVIRONMENT)
    _, _, used = os.wait4(process.pid, 0)
    process.returncode = 0
    return used.ru_utime + used.ru_stime, os.times().elapsed - begin, used.ru_maxrss / 1024


def ten_minutes(path: Path, random: int) -> None:
    """Write a ten-minute ride: ten launches and two pairs of passes, 10 Hz."""
    recipe = recipe_of(
        log_format="nmea", setup="standard", ride=(10, 2, 0), receiver=(10, 0.05), accelerometer_hz=0, road=(0, 0),
        faults=0, random=random,
    )  # fmt: skip
    path.write_bytes(make_log(recipe).data)


def speeds_mps(t_s: np.ndarray) -> np.ndarray:
    """Return the speed at each time of a cycle: rest, a start towards 16 m/s, 15 s near it, a stop, rest."""
    start_s, brake_s, stopped_s = 15.0, 40.0, 44.0
    rising = 16 * np.tanh((t_s - start_s) / 5)
    return np.clip(np.minimum(rising, 16 * (stopped_s - t_s) / (stopped_s - brake_s)), 0, None)


def line(name: str, one: Cost, rival: str = "", other: Cost | None = None, by_wall: bool = False) -> None:
    """Print a row: our cost, and the ratio to the rival's."""
    mine, theirs = (
        (one.wall_s, other.wall_s if other else 0) if by_wall else (one.processor_s, other.processor_s if other else 0)
    )
    ratio = f"{mine / theirs:6.2f} x {rival}" if other else ""
    print(f"{name:44} {one.processor_s:7.3f} s CPU {one.wall_s:7.3f} s wall {one.peak_mb:7.0f} MB  {ratio}")


def main() -> None:
    """Make the logs, run everything, print the table."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        short, long, patient, day = (folder / name for name in ("short.nmea", "long.nmea", "patient.nmea", "day"))
        ten_minutes(short, 1)
        write_log(long, rising_and_falling_mps(LONG_S))
        write_log(patient, speeds_mps(np.arange(LONG_S * RATE_HZ) / RATE_HZ % PATIENT_S))
        day.mkdir()
        for k in range(30):
            shutil.copy(short, day / f"ride{k:02d}.nmea")
        bare, numpy = cost([PYTHON, "-c", "pass"]), cost([PYTHON, "-c", "import numpy"])
        line("bare Python", bare)
        line("import numpy", numpy)
        line("--version", cost([*PROGRAM, "--version"]), "bare Python", bare)
        line("--help", cost([*PROGRAM, "--help"]), "bare Python", bare)
        one = cost([*PROGRAM, str(short)])
        line(f"one log of ten minutes ({short.stat().st_size / 1e6:.1f} MB)", one, "import numpy", numpy)
        plot = cost([*PROGRAM, "measure", str(short), "--plot", str(folder / "p.png"), "--force"])
        line("  with a picture", plot)
        for path, ride in ((long, "229 climbs"), (patient, f"{LONG_S // PATIENT_S} starts and passes")):
            loop = cost([PYTHON, "-m", "tests.benchmarks.pynmea2_loop", str(path)], 1)
            line(f"pynmea2 loop, eight hours ({path.stat().st_size / 1e6:.0f} MB)", loop)
            eight = cost([*PROGRAM, str(path)], 3)
            line(f"  whole job, {ride}", eight, f"of the loop (1 : {loop.processor_s / eight.processor_s:.1f})", loop)
        plain = ["--quiet", "--no-pictures", "--force", "--out", str(folder / "out"), "--workers"]
        batch = [*PROGRAM, "day", str(day), *plain]
        (folder / "single").mkdir()
        shutil.copy(short, folder / "single")
        alone = cost([*PROGRAM, "day", str(folder / "single"), *plain, "1"])
        line("a day of one log, no pictures", alone)
        served = cost([*batch, "1"], 2)
        line("30 logs, no pictures, one worker", served, "one log", one)
        line("  ... against the day of one", served, "a day of one log", alone)
        line("30 logs, no pictures, two workers", cost([*batch, "2"], 2), "one log (wall)", one, by_wall=True)
        drawn = [*PROGRAM, "day", str(day), "--quiet", "--force", "--out", str(folder / "out2")]
        single, double = cost([*drawn, "--workers", "1"], 2), cost([*drawn, "--workers", "2"], 2)
        line("30 logs with pictures, one worker", single)
        line("30 logs with pictures, two workers", double, "one worker (wall)", single, by_wall=True)


if __name__ == "__main__":
    main()
