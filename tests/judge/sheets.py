"""Sheets of measured logs made by hand, for tests that need no log."""

from __future__ import annotations

import numpy as np

from traceanalyze.results import Curve, Estimate, Launch, Pass, RunSheet, TimeResult
from traceanalyze.settings import CURVE_STEP_MPS

NOON = 1_747_483_200.0  # 2025-05-17 12:00 UTC


def curve(first_mps2: float = 4.0, late: float = 1.0) -> Curve:
    """A launch at constant thrust against square drag with a limit of 25 m/s; `late` scales times above 9 m/s."""
    speed = np.arange(57) * CURVE_STEP_MPS
    time = 25.0 / first_mps2 * np.arctanh(speed / 25.0)
    time = np.where(speed > 9.0, time + (late - 1.0) * (time - np.interp(9.0, speed, time)), time)
    return Curve(
        speed_mps=speed,
        time_s=time - np.interp(1.3, speed, time),
        time_stderr_s=np.full(57, 0.015),
        accel_mps2=first_mps2 * (1 - (speed / 25.0) ** 2),
        accel_stderr_mps2=np.full(57, 0.05),
        distance_m=speed,
    )


def launch(
    number: int,
    time_s: float = 4.0,
    *,
    utc_s: float = float("nan"),
    heading_deg: float = 90.0,
    with_curve: Curve | None = None,
    remarks=(),
    start_s: float = 0.0,
) -> Launch:
    """A launch with 0-30 mph under rollout and rest, and the rolling 10-30 mph."""
    times = [
        TimeResult(measure="0-30 mph", start_rule=rule, elapsed=Estimate(time_s + more, 0.02), distance_m=30.0)
        for rule, more in (("rollout", 0.0), ("rest", 0.4))
    ]
    times.append(
        TimeResult(measure="10-30 mph", start_rule=None, elapsed=Estimate(0.7 * time_s, 0.02), distance_m=25.0)
    )
    return Launch(
        number=number,
        start=Estimate(start_s or 100.0 * number, 0.03),
        end_s=100.0 * number + 6,
        start_utc_s=utc_s,
        heading_deg=heading_deg,
        peak_speed_mps=14.0,
        times=tuple(times) if time_s == time_s else (),
        curve=with_curve,
        remarks=tuple(remarks),
    )


def one_pass(number: int, speed_mps: float, heading_deg: float = 90.0) -> Pass:
    """A pass at speed."""
    return Pass(
        number=number,
        start_s=100.0 * number,
        end_s=100.0 * number + 9,
        heading_deg=heading_deg,
        window_s=1.0,
        window_m=speed_mps,
        window_start_s=100.0 * number + 4,
        sustained=Estimate(speed_mps, 0.04),
        peak_mps=speed_mps + 0.1,
        held_s=2.0,
        levelled_off=True,
    )


def sheet(path: str, *launches: Launch, passes: tuple[Pass, ...] = (), origin_utc_s: float = NOON, **more) -> RunSheet:
    """A log that was read without damage."""
    values = {"format": "nmea", "sha256": path, "speed_source": "receiver"} | more
    return RunSheet(
        path=path, status="ok", time_origin_utc_s=origin_utc_s, launches=tuple(launches), passes=passes, **values
    )


def spring_day() -> tuple[list[RunSheet], list[RunSheet]]:
    """Two setups of four launches each, A A B B B B A A, out and back, the changed one 0.3 s quicker."""
    order = "AABBBBAA"
    noise = (0.03, -0.02, 0.01, -0.03, 0.02, 0.0, -0.02, 0.02)
    groups: dict[str, list[RunSheet]] = {"A": [], "B": []}
    for i, setup in enumerate(order):
        time_s = 4.0 - 0.3 * (setup == "B") + noise[i] + 0.1 * (i % 2)
        pushed = curve(4.0 * (1 + 0.08 * (setup == "B") - noise[i] / 4 - 0.025 * (i % 2)))
        ride = launch(1, time_s, utc_s=NOON + 600 * i, heading_deg=90.0 + 180.0 * (i % 2), with_curve=pushed)
        top = one_pass(1, 20.0 + 0.5 * (setup == "B") + noise[i], 90.0 + 180.0 * (i % 2))
        groups[setup].append(sheet(f"run{i + 1}.nmea", ride, passes=(top,), origin_utc_s=NOON + 600 * i))
    return groups["A"], groups["B"]
