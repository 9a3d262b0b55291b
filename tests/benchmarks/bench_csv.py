"""Reading tables, against pandas' C reader in the same session: CPU time, ratio, peak memory over the file's size.

Run by hand: python tests/benchmarks/bench_csv.py
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from traceanalyze.parsers.options import ReadOptions
from traceanalyze.parsers.table import read_bytes
from traceanalyze.trace import Source

REPEATS = 7
HOUR_S = 3600


def accelerometer(decimals: int) -> bytes:
    """Make one hour at 100 Hz: time and three axes."""
    n = HOUR_S * 100
    force = np.random.default_rng(1).normal(size=(n, 3)) * 2 + (0, 0, 9.8)
    rows = (f"{1779008400 + k / 100:.6f},{x:.{decimals}f},{y:.{decimals}f},{z:.{decimals}f}\n" for k, (x, y, z) in enumerate(force.tolist()))  # fmt: skip  # noqa: E501
    return ("time_s,ax_mps2,ay_mps2,az_mps2\n" + "".join(rows)).encode()


def receiver(row: Callable[[int], str], header: str, rows: int = 10**6) -> bytes:
    """Make a million rows."""
    return (header + "\n" + "".join(row(k) + "\n" for k in range(rows))).encode()


def iso(k: int) -> str:
    """Return the time of a row at 10 Hz as ISO 8601."""
    second = k // 10
    return f"2026-05-{17 + second // 86400:02d}T{second // 3600 % 24:02d}:{second // 60 % 60:02d}:{second % 60:02d}.{k % 10}00Z"  # noqa: E501


KINDS: dict[str, Callable[[], bytes]] = {
    "accelerometer, 1 h at 100 Hz, 6 decimals": lambda: accelerometer(6),
    "accelerometer, 1 h at 100 Hz, 17 digits": lambda: accelerometer(16),
    "receiver, 10^6 rows, Unix ms": lambda: receiver(
        lambda k: f"{1779008400000 + k * 100},50.{k % 10**7:07d},8.1234567,{k % 2500 / 100:.2f},{k % 360}",
        "timestamp,lat,lon,speed_mps,course",
    ),
    "receiver, 10^6 rows, ISO times": lambda: receiver(
        lambda k: f"{iso(k)},50.{k % 10**7:07d},8.1234567,{k % 2500 / 100:.2f}", "time,lat,lon,speed_mps"
    ),
    "receiver, 10^6 rows, semicolons and commas": lambda: receiver(
        lambda k: f"{k / 10:.1f};{k % 2500 / 100:.2f}".replace(".", ","), "time_s;speed_kmh"
    ),
    "receiver, 10^6 rows, every cell quoted": lambda: receiver(
        lambda k: f'"{k / 10:.1f}","{k % 2500 / 100:.2f}"', "time_s,speed_kmh"
    ),
    "receiver, 10^6 rows, one in ten damaged": lambda: receiver(
        lambda k: f"{k / 10:.1f},{k % 2500 / 100:.2f}" + (",x" if k % 10 == 3 else ""), "time_s,speed_kmh"
    ),
    "both, 10^6 rows, speed blank in nine of ten": lambda: receiver(
        lambda k: f"{k / 100:.2f},{k % 2500 / 100 if k % 10 == 0 else ''},0.01,-0.02,{9.8 + k % 7 / 10:.3f}",
        "time_s,speed_mps,ax,ay,az",
    ),
}


def cpu_s(work: Callable[[], object]) -> float:
    """Return the least CPU time of some tries [s]."""
    tries = []
    for _ in range(REPEATS):
        began = time.process_time()
        work()
        tries.append(time.process_time() - began)
    return min(tries)


#: Highest resident memory as Linux counts it for this process alone; what resource reports begins with the parent's.
MEMORY = """
import sys
from traceanalyze.parsers.table import read_bytes
from traceanalyze.trace import Source
def peak():
    return next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith("VmHWM")) * 1024
before = peak()
read_bytes(open(sys.argv[1], "rb").read(), Source())
print(peak() - before)
"""


def peak_bytes(path: Path) -> int:
    """Return the memory a fresh process takes over its imports to read a file [bytes]."""
    done = subprocess.run([sys.executable, "-c", MEMORY, str(path)], capture_output=True, text=True, check=True)
    return int(done.stdout)


def main() -> None:
    """Print the table."""
    print(f"{'table':45} {'MB':>6} {'pandas s':>9} {'here s':>8} {'ratio':>6} {'peak/file':>10}")
    for name, make in KINDS.items():
        data = make()
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "table.csv"
            path.write_bytes(data)
            separator = ";" if b";" in data[:40] else ","
            rival_s = cpu_s(lambda p=path, s=separator: pd.read_csv(p, sep=s, on_bad_lines="skip", decimal="," if s == ";" else "."))  # fmt: skip  # noqa: E501
            own_s = cpu_s(lambda d=data: read_bytes(d, Source(), ReadOptions()))
            ratio, memory = own_s / rival_s, peak_bytes(path) / len(data)
        print(f"{name:45} {len(data) / 1e6:6.1f} {rival_s:9.3f} {own_s:8.3f} {ratio:6.2f} {memory:10.1f}")


if __name__ == "__main__":
    main()
