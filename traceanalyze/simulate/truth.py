"""The truth of a ride, exact to the rounding of a double: what an estimator should have found.

`truth` gives plain JSON-ready data; README of the sample traces lists its keys. Times count from a moment that the
caller names (the stamp of the log's first point), in true time: a receiver that reports late is late against these.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from traceanalyze.settings import ROLLOUT_M, THRESHOLD_MPS
from traceanalyze.simulate.motion import arrival_s, best_mean, fall_s, rise_s
from traceanalyze.simulate.pushes import Go
from traceanalyze.simulate.rides import Creep, Event, Ride, Shuffle
from traceanalyze.units import Measure, parse_measure

#: What the truth of a launch lists, as far as it was reached.
TRUE_MEASURES = (
    "0-10 mph", "0-15 mph", "0-20 mph", "0-25 mph", "0-30 mph", "0-40 mph", "0-50 mph", "0-60 mph", "0-30 km/h",
    "0-50 km/h", "0-80 km/h", "10-20 mph", "10-30 mph", "20-30 mph", "20-40 mph", "60 ft", "330 ft", "1/8 mi", "100 m",
)  # fmt: skip
#: Decimals of everything in a truth: a nanosecond, a nanometre a second.
DECIMALS = 9
#: Windows of the sustained speed [s].
WINDOWS_S = (1.0, 3.0)
#: Step of the speeds of a true curve [m/s].
CURVE_STEP_MPS = 0.5


def marks_s(made: Ride, event: Event) -> dict[str, float]:
    """Return the moments from which a launch is timed [s]: `rest`, `rollout`, `threshold` (NaN if not reached)."""
    start, end = event.onset_s, event.end_s
    line_m = float(made.motion.distance_at(start)) + ROLLOUT_M
    return {
        "rest": start,
        "rollout": arrival_s(made.motion, line_m, start, end),
        "threshold": rise_s(made.motion, THRESHOLD_MPS, start, end),
    }


def reached_s(made: Ride, event: Event, measure: Measure) -> float:
    """Return when a launch met the end of a measure [s]; NaN if it did not. Lengths count from the point of rest."""
    start, end = event.onset_s, event.end_s
    if measure.kind == "distance":
        return arrival_s(made.motion, float(made.motion.distance_at(start)) + measure.distance_m, start, end)
    return rise_s(made.motion, measure.to_mps, start, end)


def launches(made: Ride) -> tuple[Event, ...]:
    """Return the standing starts that were meant as such."""
    return tuple(e for e in made.events if isinstance(e.action, Go) and e.action.kind == "launch" and e.onset_s > 0)


def passes(made: Ride) -> tuple[Event, ...]:
    """Return the passes at speed."""
    return tuple(e for e in made.events if isinstance(e.action, Go) and e.action.kind == "pass")


def truth(made: Ride, zero_s: float = 0.0) -> dict[str, Any]:
    """Return everything true about a ride's runs, JSON-ready.

    Parameters
    ----------
    zero_s : float
        Moment of the ride from which the times of the truth count [s].
    """
    return {
        "launches": [_launch(made, e, zero_s, n) for n, e in enumerate(launches(made), 1)],
        "passes": [_pass(made, e, zero_s, n) for n, e in enumerate(passes(made), 1)],
        "other": [entry for e in made.events if (entry := _other(made, e, zero_s))],
    }


def _launch(made: Ride, event: Event, zero_s: float, number: int) -> dict[str, Any]:
    marks = marks_s(made, event)
    peak_s = event.end_s
    return {
        "number": number,
        "throttle_s": _round(event.start_s - zero_s),
        "onset_s": _round(marks["rest"] - zero_s),
        "rollout_s": _round(marks["rollout"] - zero_s),
        "threshold_s": _round(marks["threshold"] - zero_s),
        "lift_s": _round(event.end_s - zero_s),
        **_road(made, event),
        "peak_speed_mps": _round(float(made.motion.speed_at(peak_s))),
        "times": [entry for text in TRUE_MEASURES for entry in _times(made, event, marks, parse_measure(text))],
        "curve": _curve(made, event, marks["rollout"]),
    }


def _times(made: Ride, event: Event, marks: dict[str, float], measure: Measure) -> list[dict[str, Any]]:
    end_s = reached_s(made, event, measure)
    if math.isnan(end_s):
        return []
    motion = made.motion
    starts: list[tuple[str | None, float]] = [*marks.items()]
    if not measure.from_rest:
        starts = [(None, rise_s(motion, measure.from_mps, event.onset_s, end_s))]
    return [
        {
            "measure": measure.label,
            "start_rule": rule,
            "elapsed_s": _round(end_s - start_s),
            "distance_m": _round(float(motion.distance_at(end_s) - motion.distance_at(start_s))),
        }
        for rule, start_s in starts
    ]


def _curve(made: Ride, event: Event, rollout_s: float) -> dict[str, list[float | None]]:
    """First moments of reaching evenly spaced speeds, counted from the rollout mark."""
    motion = made.motion
    count = math.floor(float(motion.speed_at(event.end_s)) / CURVE_STEP_MPS)
    levels = CURVE_STEP_MPS * np.arange(1, count + 1)
    when = np.array([rise_s(motion, float(level), event.onset_s, event.end_s) for level in levels])
    start_m = float(motion.distance_at(event.onset_s))
    return {
        "speed_mps": [_round(v) for v in levels],
        "time_s": [_round(t) for t in when - rollout_s],
        "accel_mps2": [_round(a) for a in motion.accel_at(when)],
        "distance_m": [_round(x) for x in motion.distance_at(when) - start_m],
    }


def _pass(made: Ride, event: Event, zero_s: float, number: int) -> dict[str, Any]:
    motion = made.motion
    start, end = event.start_s, min(event.end_s + WINDOWS_S[-1], made.duration_s)
    means = [best_mean(motion, window_s, start, end) for window_s in WINDOWS_S]
    peak_mps = float(motion.speed_at(event.end_s))
    near_s = rise_s(motion, 0.995 * peak_mps, start, event.end_s)
    left_s = fall_s(motion, 0.995 * peak_mps, event.end_s, made.duration_s)
    return {
        "number": number,
        "start_s": _round(start - zero_s),
        "lift_s": _round(event.end_s - zero_s),
        **_road(made, event),
        "window_s": WINDOWS_S[0],
        "window_start_s": _round(means[0][1] - zero_s),
        "sustained_mps": _round(means[0][0]),
        "sustained_3s_mps": _round(means[1][0]),
        "peak_mps": _round(peak_mps),
        "held_s": _round(left_s - near_s),
        "accel_at_lift_mps2": _round(float(motion.accel_at(np.nextafter(event.end_s, 0)))),
        "balance_mps": _round(event.terminal_mps),
    }


def _road(made: Ride, event: Event) -> dict[str, float | None]:
    """Direction of a run, and slope and wind as the run met them."""
    heading = (made.strip.heading_deg + (180 if event.direction < 0 else 0)) % 360
    return {
        "heading_deg": _round(heading),
        "grade_pct": _round(event.direction * made.around.grade_pct),
        "tailwind_mps": _round(event.direction * made.around.wind_mps),
    }


def _other(made: Ride, event: Event, zero_s: float) -> dict[str, Any] | None:
    """What moved and is no launch, so that nobody takes it for one."""
    action = event.action
    span = {"start_s": _round(event.start_s - zero_s), "end_s": _round(event.end_s - zero_s)}
    if isinstance(action, Shuffle):
        return {"kind": "shuffle", **span, "distance_m": action.distance_m}
    if isinstance(action, Creep):
        return {"kind": "creep", **span, "speed_mps": action.speed_mps}
    if isinstance(action, Go) and action.kind == "aborted":
        return {"kind": "aborted start", **span, "peak_speed_mps": _round(float(made.motion.speed_at(event.end_s)))}
    if isinstance(action, Go) and action.kind == "launch" and math.isnan(event.onset_s):
        return {"kind": "rolling start", **span, "from_mps": _round(float(made.motion.speed_at(event.start_s)))}
    return None


def _round(value: float) -> float | None:
    return round(float(value), DECIMALS) if math.isfinite(value) else None
