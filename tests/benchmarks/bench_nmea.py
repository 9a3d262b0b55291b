"""How fast NMEA logs are read, against other ways on the same file in the same session.

    python -m tests.benchmarks.bench_nmea

Makes its own logs in a temporary folder: RMC, GGA and VTG ten times a second, GSA and three GSV once a second, for
ten minutes and for eight hours; the long one also with one line in twenty damaged. Prints processor seconds (medians
of five; one process, one thread) and peak memory over the imports. No part of the test suite: times are not asserted.
"""

from __future__ import annotations

import argparse
import functools
import operator
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from tests.benchmarks.pynmea2_loop import pynmea2_loop

LONG_S, SHORT_S, RATE_HZ = 28_800, 600, 10

_CHILD = """
import re, sys
from traceanalyze.parsers import read
def peak():  # of this process alone: the kernel's figure for the child would begin with the parent's
    return 1024 * int(re.search(r"VmHWM:\\s+(\\d+)", open("/proc/self/status").read())[1])
before = peak()
read(sys.argv[1])
print(peak() - before)
"""


def sentence(body: str) -> bytes:
    """Return a body with its checksum."""
    return f"${body}*{functools.reduce(operator.xor, body.encode()):02X}\r\n".encode()


def angle(degrees: float, width: int) -> str:
    """Return degrees as NMEA writes them."""
    return f"{int(degrees):0{width}d}{(degrees - int(degrees)) * 60:08.5f}"


def rising_and_falling_mps(seconds: int) -> np.ndarray:
    """Return speeds that rise from zero for a minute and fall for a minute, all the time."""
    return np.abs(36 * np.sin(np.arange(seconds * RATE_HZ) / 400))


def write_log(path: Path, speed_mps: np.ndarray) -> None:
    """Write a ride of given speeds, ten a second, from 09:00 on 17 May 2026 on."""
    noise = np.random.default_rng(1).normal(0, 0.05, speed_mps.size)
    with path.open("wb") as file:
        for k, speed in enumerate(speed_mps.tolist()):
            clock = 9 * 3600 + k // RATE_HZ
            stamp = f"{clock // 3600 % 24:02d}{clock // 60 % 60:02d}{clock % 60:02d}.{k % RATE_HZ * 10:02d}"
            knots = max(0.0, speed + noise[k]) / 0.514444
            place = f"{angle(51 + k * 1e-6, 2)},N,{angle(0.5 + k * 1e-6, 3)},E"
            course = (45 + k / 100) % 360
            height = 100 + 20 * np.sin(k / 1e4)
            lines = [
                f"GNRMC,{stamp},A,{place},{knots:.3f},{course:.2f},{17 + clock // 86400:02d}0526,,,A",
                f"GNGGA,{stamp},{place},1,12,0.8,{height:.1f},M,47.0,M,,",
                f"GNVTG,{course:.2f},T,,M,{knots:.3f},N,{knots * 1.852:.3f},K,A",
            ]
            if k % RATE_HZ == 0:
                lines.append("GNGSA,A,3,01,02,03,04,05,06,07,08,09,10,11,12,1.5,0.8,1.2")
                lines += [f"GPGSV,3,{n},12,02,11,115,36,05,34,060,48,07,00,023,30,13,56,090,49" for n in (1, 2, 3)]
            file.writelines(map(sentence, lines))


def write_damaged(path: Path, source: Path) -> None:
    """Write a log again with one line in twenty cut short, changed, or doubled in part."""
    rng = np.random.default_rng(2)
    lines = source.read_bytes().splitlines(keepends=True)
    for k in np.flatnonzero(rng.random(len(lines)) < 0.05).tolist():
        line, at = lines[k], int(rng.integers(1, len(lines[k]) - 2))
        changed = bytes([line[at] ^ 1 << int(rng.integers(7))])
        lines[k] = (line[:at] + b"\r\n", line[:at] + changed + line[at + 1 :], line[:at] + line)[int(rng.integers(3))]
    path.write_bytes(b"".join(lines))


def plain_sum(path: Path) -> None:
    """Read a file with numpy and add up its bytes."""
    np.fromfile(path, np.uint8).sum()


def ours(path: Path) -> None:
    """Read a log with this package."""
    from traceanalyze.parsers import read

    read(path)


def processor_s(work: Callable[[Path], None], path: Path, times: int) -> float:
    """Return the median processor time of a piece of work [s]."""
    spent = []
    for _ in range(times):
        begin = time.process_time()
        work(path)
        spent.append(time.process_time() - begin)
    return statistics.median(spent)


def peak_bytes(path: Path) -> int:
    """Return by how much reading a log raises the peak memory of a fresh process."""
    done = subprocess.run([sys.executable, "-c", _CHILD, str(path)], capture_output=True, text=True, check=True)
    return int(done.stdout)


def report(label: str, path: Path, times: int) -> None:
    """Print one line of the table."""
    ours(path)  # imports and first pages are no part of it
    size = path.stat().st_size
    spent, total = processor_s(ours, path, times), processor_s(plain_sum, path, times)
    rival = processor_s(pynmea2_loop, path, 1)
    print(
        f"{label:14} {size / 1e6:6.1f} MB  ours {spent:6.3f} s  pynmea2 {rival:6.2f} s = {rival / spent:5.1f}x  "
        f"sum {total:5.3f} s, ours {spent / total:4.1f}x  peak memory {peak_bytes(path) / size:4.2f}x file"
    )


def main() -> None:
    """Make the logs, run everything, print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=LONG_S / 3600, help="length of the long log")
    parser.add_argument("--times", type=int, default=5, help="repetitions of the fast readers")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        short, long, damaged = (Path(folder) / name for name in ("short.nmea", "long.nmea", "damaged.nmea"))
        write_log(short, rising_and_falling_mps(SHORT_S))
        write_log(long, rising_and_falling_mps(int(options.hours * 3600)))
        write_damaged(damaged, long)
        for label, path in (("10 minutes", short), (f"{options.hours:g} hours", long), ("... damaged", damaged)):
            report(label, path, options.times)


if __name__ == "__main__":
    main()
