"""Small NMEA logs with known content, for the tests of their reader."""

from __future__ import annotations

import functools
import operator
from collections.abc import Iterable

from traceanalyze.parsers import nmea
from traceanalyze.parsers.containers import Member
from traceanalyze.parsers.options import ReadOptions
from traceanalyze.trace import Source, Trace


def sentence(body: str) -> bytes:
    """Return a body as a line, with `$`, checksum and line end."""
    return f"${body}*{functools.reduce(operator.xor, body.encode(), 0):02X}\r\n".encode()


def stamp(time_s: float, decimals: int = 2) -> str:
    """Return a time of day [s] as `hhmmss.ss`."""
    whole, part = divmod(round(time_s * 10**decimals), 10**decimals)
    fraction = f".{part:0{decimals}d}" if decimals else ""
    return f"{whole // 3600 % 24:02d}{whole // 60 % 60:02d}{whole % 60:02d}{fraction}"


def rmc(time: str, knots: str = "10.000", date: str = "170526", status: str = "A", mode: str = "A") -> bytes:
    """Return an RMC line at one place."""
    return sentence(f"GPRMC,{time},{status},5100.00000,N,00030.00000,E,{knots},090.00,{date},,,{mode}")


def gga(time: str, quality: str = "1", lat: str = "5100.00000", height: str = "100.0") -> bytes:
    """Return a GGA line."""
    return sentence(f"GPGGA,{time},{lat},N,00030.00000,E,{quality},08,0.9,{height},M,47.0,M,,")


def vtg(knots: str = "10.000", mode: str = "A") -> bytes:
    """Return a VTG line."""
    return sentence(f"GPVTG,090.00,T,,M,{knots},N,,K,{mode}")


def ride(count: int, start_s: float = 36_000.0, step_s: float = 0.1) -> list[bytes]:
    """Return `count` epochs of RMC, GGA and VTG; the speed of epoch k is k % 97 / 4 kn, so it names the epoch."""
    lines = []
    for k in range(count):
        time, knots = stamp(start_s + k * step_s), f"{k % 97 / 4:.3f}"
        lines += [rmc(time, knots), gga(time, height=f"{100 + k % 7:.1f}"), vtg(knots)]
    return lines


def read_lines(lines: Iterable[bytes]) -> Trace:
    """Return the trace of a log given as lines."""
    return read_log(b"".join(lines))


def read_log(data: bytes) -> Trace:
    """Return the trace of a log given as bytes."""
    member = Member(label="log", size=len(data), content=data, max_whole_bytes=len(data))
    return nmea.read(member, Source(format="nmea"), ReadOptions())
