"""What the book keeps, as plain values: of a log, its runs, their results; the same in the database and in JSON.

Missing values are None here: the book is a border. Numbers are SI, units stand in the names.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class ResultRecord:
    """One number of a run: a time [s] or a sustained top speed [m/s], with its uncertainty.

    `start_rule` is empty for what does not start from rest, `window` for what is no top speed.
    """

    measure: str
    start_rule: str = ""
    window: str = ""
    value: float
    stderr: float | None = None
    low95: float | None = None
    high95: float | None = None
    unit: str
    distance_m: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RemarkRecord:
    """What a reader of a result should know."""

    code: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveRecord:
    """The curve of a launch: lists of equal length, None where a gap hides a point (see `results.Curve`)."""

    speed_mps: tuple[float | None, ...]
    time_s: tuple[float | None, ...]
    time_stderr_s: tuple[float | None, ...]
    accel_mps2: tuple[float | None, ...]
    accel_stderr_mps2: tuple[float | None, ...]
    distance_m: tuple[float | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RunRecord:
    """One launch or pass: whose it is, when and where it ran, what was measured.

    `left_out` is why the rider leaves it out of everything computed; empty when it counts.
    """

    kind: str
    number: int
    vehicle: str
    setup: str
    date: str
    place: str
    start_s: float
    start_stderr_s: float | None = None
    end_s: float | None = None
    utc_s: float | None = None
    heading_deg: float | None = None
    grade_pct: float | None = None
    peak_mps: float | None = None
    window_s: float | None = None
    window_m: float | None = None
    window_start_s: float | None = None
    held_s: float | None = None
    levelled_off: bool | None = None
    projected_mps: float | None = None
    projected_stderr_mps: float | None = None
    left_out: str = ""
    results: tuple[ResultRecord, ...] = ()
    remarks: tuple[RemarkRecord, ...] = ()
    curve: CurveRecord | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LogRecord:
    """One log and its runs."""

    sha256: str
    member: str = ""
    path: str
    format: str = ""
    status: str
    time_origin_utc_s: float | None = None
    points: int
    duration_s: float
    rate_hz: float | None = None
    speed_source: str = ""
    speed_noise_mps: float | None = None
    max_speed_mps: float | None = None
    skipped: Mapping[str, int] = field(default_factory=dict)
    version: str
    runs: tuple[RunRecord, ...] = ()
    remarks: tuple[RemarkRecord, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class VehicleRecord:
    """A machine as last stated."""

    name: str
    mass_kg: float | None = None
    tyre_circumference_m: float | None = None
    teeth: tuple[tuple[int, int], ...] = ()
    max_engine_rpm: float | None = None
    engagement_rpm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FittingRecord:
    """A setup on one day: machine, air, wind, road and rider, as far as they were stated."""

    vehicle: str
    setup: str
    date: str
    place: str
    facts: Mapping[str, Any] = field(default_factory=dict)


Record = ResultRecord | RemarkRecord | CurveRecord | RunRecord | LogRecord | VehicleRecord | FittingRecord


def plain(value: Any) -> Any:
    """Return a record as JSON can hold it."""
    if isinstance(value, tuple):
        return [plain(one) if isinstance(one, Record | tuple) else one for one in value]
    if isinstance(value, Record):
        return {one.name: plain(getattr(value, one.name)) for one in fields(value)}
    return dict(value) if isinstance(value, Mapping) else value
