"""Measured logs made up by hand, to be kept in books; shared by the tests of this folder."""

import hashlib
import math
import sqlite3
from pathlib import Path

import numpy as np

from traceanalyze.book.entries import Entry, Share
from traceanalyze.book.opening import Book
from traceanalyze.book.schema import bring_up_to_date
from traceanalyze.results import Curve, Estimate, Launch, Pass, RunSheet, TimeResult
from traceanalyze.sheet import Setup, Vehicle
from traceanalyze.trace import Remark

MORNING = 1_779_008_400.0  # 2026-05-17 09:00 UTC


def launch(number, value, *, origin=MORNING, start_s=None, heading_deg=90.0, remarks=()):
    start_s = 60.0 * number if start_s is None else start_s
    speed = np.arange(0, 14, 0.25)
    return Launch(
        number=number,
        start=Estimate(start_s, 0.03),
        end_s=start_s + 9,
        start_utc_s=origin + start_s,
        heading_deg=heading_deg,
        grade_pct=0.1,
        peak_speed_mps=14.0,
        times=(
            TimeResult(measure="0-30 mph", start_rule="rollout", elapsed=Estimate(value, 0.02), distance_m=30.0),
            TimeResult(measure="0-30 mph", start_rule="rest", elapsed=Estimate(value + 0.5, 0.05), distance_m=30.3),
            TimeResult(measure="20-30 mph", start_rule=None, elapsed=Estimate(value / 2, 0.02), distance_m=20.0),
        ),
        curve=Curve(
            speed_mps=speed,
            time_s=np.where(speed == 5, np.nan, speed / 3.5 * value / 4),
            time_stderr_s=np.full(speed.size, 0.02),
            accel_mps2=np.full(speed.size, 3.5),
            accel_stderr_mps2=np.full(speed.size, 0.1),
            distance_m=speed**2 / 7,
        ),
        remarks=remarks,
    )


def one_pass(number, value, *, start_s=None, heading_deg=90.0):
    start_s = 60.0 * number + 30 if start_s is None else start_s
    return Pass(
        number=number, start_s=start_s, end_s=start_s + 10, heading_deg=heading_deg, window_s=1.0, window_m=value,
        window_start_s=start_s + 5, sustained=Estimate(value, 0.05), peak_mps=value + 0.1, held_s=2.0,
        levelled_off=True,
    )  # fmt: skip


def log(name, values, *, origin=MORNING, tops=(), content=None, headings=(90.0,), path=None):
    """A log of launches with these times and passes with these speeds."""
    ways = [headings[k % len(headings)] for k in range(max(len(values), len(tops)))]
    return RunSheet(
        path=path or name,
        status="ok",
        format="nmea",
        sha256=hashlib.sha256((content or name).encode("utf-8", "surrogateescape")).hexdigest(),
        time_origin_utc_s=origin,
        points=1000,
        duration_s=100.0,
        rate_hz=10.0,
        speed_source="receiver",
        speed_noise_mps=0.05,
        skipped={"checksum": 1},
        max_speed_mps=14.0,
        launches=tuple(
            launch(k, value, origin=origin, heading_deg=way)
            for k, (value, way) in enumerate(zip(values, ways, strict=False), start=1)
        ),
        passes=tuple(
            one_pass(k, value, heading_deg=way) for k, (value, way) in enumerate(zip(tops, ways, strict=False), start=1)
        ),
        remarks=(Remark("low-rate", "few points a second"),),
    )


def entry(sheet, setup="standard spring", *, vehicle="pit bike", place="field", left_out=(), **more):
    share = Share(
        setup=Setup(name=setup, vehicle=Vehicle(name=vehicle, mass_kg=142)), sheet=sheet, left_out=frozenset(left_out)
    )
    return Entry(
        sheet=sheet, file=more.pop("file", sheet.path), shares=(share,), vehicle=Vehicle(name=vehicle, mass_kg=142),
        place=place, **more,
    )  # fmt: skip


def in_memory():
    """A book without a file, for what needs no disk."""
    connection = sqlite3.connect(":memory:", isolation_level=None)
    connection.execute("PRAGMA foreign_keys = ON")
    bring_up_to_date(connection)
    return Book(Path("in memory"), connection)


def undated(name, values):
    return log(name, values, origin=math.nan)
