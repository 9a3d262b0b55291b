"""Reading GPX, against gpxpy in the same session: CPU time, ratio, peak memory over the file's size.

Run by hand: python tests/benchmarks/bench_gpx.py [--large]
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import suppress

import gpxpy

from traceanalyze.errors import FormatError
from traceanalyze.parsers.gpx import read_bytes
from traceanalyze.parsers.options import ReadOptions
from traceanalyze.trace import Source

POINTS = 20_000
V2 = "<g:TrackPointExtension><g:speed>{v:.3f}</g:speed></g:TrackPointExtension>"
HEART = "".join(f"<g:{name}>7</g:{name}>" for name in ("hr", "cad", "atemp", "wtemp", "depth", "power", "gear"))
#: Valid files of many kinds: what stands in a point, and where it is not a track what stands instead.
KINDS = {
    "1.0, speed": "<ele>{e:.1f}</ele><time>{t}Z</time><course>12.5</course><speed>{v:.3f}</speed>",
    "1.1, speed in an extension": "<ele>{e:.1f}</ele><time>{t}Z</time><extensions>" + V2 + "</extensions>",
    "1.1, indented": "\n      <ele>{e:.1f}</ele>\n      <time>{t}Z</time>\n      <extensions>\n        " + V2
    + "\n      </extensions>\n    ",
    "time only": "<time>{t}Z</time>",
    "positions only": "",
    "seven extension values": "<time>{t}Z</time><extensions>" + HEART + "</extensions>",
    "seventeen digits": "<ele>{e!r}</ele><time>{t}123456789Z</time><speed>{v!r}</speed>",
    "offsets and spaces": "<ele> {e} </ele><time> {t}+02:00 </time><speed>\n{v}\n</speed>",
    "a comment each": "<time>{t}Z</time><!-- acc:30 spd:0.0 --><speed>{v:.2f}</speed>",
    "a description each": "<time>{t}Z</time><name>Tom &amp; Jerry!</name><desc><![CDATA[a > b]]></desc>",
}  # fmt: skip


def track(fields: str, count: int, segment: int = 10**9) -> bytes:
    parts = ['<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" xmlns:g="urn:g"><trk><trkseg>\n']
    for k in range(count):
        t = f"2026-06-14T{k // 36000:02d}:{k // 600 % 60:02d}:{k // 10 % 60:02d}.{k % 10}00"
        text = fields.format(t=t, e=100 + k % 97 / 10, v=k % 9973 / 373)
        if k % segment == segment - 1:
            parts.append("</trkseg><trkseg>")
        parts.append(f'<trkpt lat="{45 + k * 1e-6:.7f}" lon="{14 + k * 1e-6:.7f}">{text}</trkpt>\n')
    return "".join((*parts, "</trkseg></trk></gpx>\n")).encode()


def files() -> dict[str, bytes]:
    found = {name: track(fields, POINTS) for name, fields in KINDS.items()}
    found["segments of ten points"] = track(KINDS["time only"], POINTS, 10)
    way = track(KINDS["time only"], POINTS).replace(b"trkpt", b"wpt").replace(b"</trkseg></trk>", b"")
    found["waypoints"] = way.replace(b"<trk><trkseg>", b"")
    found["a route"] = track(KINDS["time only"], POINTS).replace(b"trkpt", b"rtept").replace(b"trkseg>", b"name>", 1)
    found["a route"] = found["a route"].replace(b"<name>", b"", 1).replace(b"</trkseg>", b"").replace(b"trk>", b"rte>")
    return found


def ours(data: bytes) -> None:
    with suppress(FormatError):  # files of waypoints are refused, after all of them was read
        read_bytes(data, Source(), ReadOptions())


def cpu_s(work: Callable[[bytes], object], data: bytes, times: int) -> float:
    """Median CPU seconds."""
    spent = []
    for _ in range(times):
        start = time.process_time()
        work(data)
        spent.append(time.process_time() - start)
    return sorted(spent)[times // 2]


def compare() -> None:
    ratios = []
    for name, data in files().items():
        theirs, mine = cpu_s(gpxpy.parse, data, 3), cpu_s(ours, data, 7)
        ratios.append(theirs / mine)
        size = len(data) / 1e6
        print(f"{name:28} {size:5.1f} MB  gpxpy {theirs:.3f} s  here {mine:.3f} s  ratio {ratios[-1]:5.1f}", flush=True)
    print(f"lowest ratio {min(ratios):.1f}, median {sorted(ratios)[len(ratios) // 2]:.1f}; goal 4 at least, aim 5")


def large() -> None:
    """Read eight hours at 10 Hz in a process of its own; print its time and memory."""
    data = track(KINDS["1.1, indented"], 288_000)[:50_000_000]  # cut inside a point
    code = (
        "import pathlib, re, sys, time\n"
        "from traceanalyze.parsers.gpx import read_bytes\n"
        "from traceanalyze.parsers.options import ReadOptions\n"
        "from traceanalyze.trace import Source\n"
        "peak_kb = lambda: re.search(r'VmHWM:\\s+(\\d+)', pathlib.Path('/proc/self/status').read_text())[1]\n"
        "imports_kb = peak_kb()\n"
        "data = pathlib.Path(sys.argv[1]).read_bytes()\n"
        "start = time.process_time()\n"
        "trace = read_bytes(data, Source(), ReadOptions())\n"
        "print(trace.points, time.process_time() - start, peak_kb(), imports_kb)\n"
    )
    with tempfile.NamedTemporaryFile(suffix=".gpx") as file:
        file.write(data)
        file.flush()
        out = subprocess.run([sys.executable, "-c", code, file.name], capture_output=True, check=True).stdout.split()
    points, seconds, peak_kb, imports_kb = (float(word) for word in out)
    over = (peak_kb - imports_kb) * 1024 / len(data)
    print(f"{len(data) / 1e6:.0f} MB, {points:.0f} points: {seconds:.2f} s CPU, peak {peak_kb / 1e3:.0f} MB,", end=" ")
    print(f"over the imports {over:.1f} x the file (Linux only)")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--large", action="store_true", help="also 50 MB, with peak memory")
    compare()
    if parser.parse_args().large:
        large()
