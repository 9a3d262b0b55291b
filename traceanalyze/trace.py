"""Trace: one drive on one clock, in SI units, with the tally of what was left out of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from traceanalyze.errors import SignalError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int32]

#: The kinds of damage: a log with any of these is `partial`. All other kinds are ordinary.
DAMAGE = frozenset({"checksum", "malformed", "truncated", "glitch", "out_of_range", "no_time"})
#: The kinds that `skipped` always names, even at zero.
ALWAYS_COUNTED = ("checksum", "malformed", "truncated", "void_fix", "duplicate", "glitch", "no_time")


@dataclass(frozen=True, slots=True)
class Remark:
    """One thing a reader of the result should know: a short stable code and plain words."""

    code: str
    text: str

    def to_dict(self) -> dict[str, str]:
        """Return the remark as the JSON contract has it."""
        return {"code": self.code, "text": self.text}


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where a trace came from.

    Attributes
    ----------
    path : str
        As the user gave it (a member of an archive is `archive.zip:member`).
    format : str
        `nmea`, `gpx` or `csv`; empty when unknown.
    sha256 : str
        Of the file's bytes as they lie on disk; empty when not read.
    """

    path: str = ""
    format: str = ""
    sha256: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Accelerometer:
    """Specific force in the sensor's own axes, on the sensor's own clock.

    Attributes
    ----------
    t_s : (m,) float
        Seconds after the trace's first moment, strictly increasing.
    force_mps2 : (m, 3) float
        Specific force [m/s^2] (at rest its length is about 9.81); NaN where an axis is missing.
    shared_clock : bool
        True when the same file stamped both receiver and accelerometer rows. Even then the receiver
        may be late by its own delay.
    """

    t_s: FloatArray
    force_mps2: FloatArray
    shared_clock: bool = True

    def __post_init__(self) -> None:
        if self.force_mps2.shape != (self.t_s.size, 3):
            raise SignalError(f"accelerometer has {self.t_s.size} times but forces of shape {self.force_mps2.shape}")
        if self.t_s.size > 1 and not np.all(np.diff(self.t_s) > 0):
            raise SignalError("accelerometer times do not increase")
        for array in (self.t_s, self.force_mps2):
            array.setflags(write=False)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trace:
    """One drive, sampled on one clock, in SI units. Never edited in place.

    A point that has no value for a quantity holds NaN there. `t_s` always increases; where the
    log's own clock stepped (a new session, a later date, a new track segment) a new stretch begins.

    Attributes
    ----------
    t_s : (n,) float
        Seconds after the first point of the file, strictly increasing.
    speed_mps : (n,) float
        Speed over ground [m/s] as the receiver stated it; NaN where the log has none.
    lat_deg, lon_deg : (n,) float
        WGS-84 position [degrees].
    altitude_m : (n,) float
        Altitude [m].
    course_deg : (n,) float
        Direction of motion, clockwise from true north [degrees].
    quality : (n,) int8
        Fix quality as NMEA GGA codes it; -1 where unknown.
    hdop : (n,) float
        Horizontal dilution of precision.
    satellites : (n,) float
        Satellites used.
    stretch : (n,) int32
        Number of the stretch each point belongs to, from 0, never falling.
    utc0_s : (k,) float
        For each stretch, Unix time [s] of `t_s` = 0 on that stretch's clock; NaN when undated.
    accelerometer : Accelerometer or None
    speed_source : str
        `receiver`, `positions`, `accelerometer` or `receiver+accelerometer`; what `speed_mps` rests on.
    tally : mapping of str to int
        Everything skipped, by kind.
    remarks : tuple of Remark
        What a reader of any result from this trace should know.
    history : tuple of str
        What was done to it, in order.
    """

    t_s: FloatArray
    speed_mps: FloatArray
    lat_deg: FloatArray
    lon_deg: FloatArray
    altitude_m: FloatArray
    course_deg: FloatArray
    quality: NDArray[np.int8]
    hdop: FloatArray
    satellites: FloatArray
    stretch: IntArray
    utc0_s: FloatArray
    accelerometer: Accelerometer | None = None
    speed_source: str = "receiver"
    source: Source = field(default_factory=Source)
    tally: Mapping[str, int] = field(default_factory=dict)
    remarks: tuple[Remark, ...] = ()
    history: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        n = self.t_s.size
        for name in (*FLOAT_COLUMNS, "quality", "stretch"):
            array = getattr(self, name)
            if array.shape != (n,):
                raise SignalError(f"{name} has shape {array.shape}, the clock has {n} points")
            array.setflags(write=False)
        if n and not (np.isfinite(self.t_s).all() and (self.t_s[1:] > self.t_s[:-1]).all()):
            raise SignalError("times are not finite and strictly increasing")
        falls = (self.stretch[1:] < self.stretch[:-1]).any()
        if n and (self.stretch[0] != 0 or falls or self.stretch[-1] >= self.utc0_s.size):
            raise SignalError("stretch numbers do not rise from 0 within the stretches listed")
        self.utc0_s.setflags(write=False)
        object.__setattr__(self, "tally", MappingProxyType(dict(self.tally)))

    def __reduce__(self) -> tuple[object, ...]:  # a mappingproxy cannot be pickled
        values = {name: getattr(self, name) for name in self.__slots__}
        return (_rebuilt, (values | {"tally": dict(self.tally)},))

    @property
    def points(self) -> int:
        """Number of points."""
        return int(self.t_s.size)

    @property
    def duration_s(self) -> float:
        """Time from the first to the last point [s]; 0 for fewer than two."""
        return float(self.t_s[-1] - self.t_s[0]) if self.points > 1 else 0.0

    @property
    def damaged(self) -> bool:
        """Whether something was damaged and skipped."""
        return any(count and kind in DAMAGE for kind, count in self.tally.items())

    def utc_s(self, index: int) -> float:
        """Unix time of a point [s]; NaN when the log has no date."""
        return float(self.utc0_s[self.stretch[index]] + self.t_s[index])

    def __str__(self) -> str:
        kind = self.source.format or "trace"
        return f"{kind}: {self.points} points over {self.duration_s:.0f} s, speed from {self.speed_source}"


FLOAT_COLUMNS = ("t_s", "speed_mps", "lat_deg", "lon_deg", "altitude_m", "course_deg", "hdop", "satellites")
_KINDS: dict[str, type] = dict.fromkeys(FLOAT_COLUMNS[1:], np.float64) | {"quality": np.int8, "stretch": np.int32}
_UNKNOWN = dict.fromkeys(FLOAT_COLUMNS, np.nan) | {"quality": -1, "stretch": 0}


def _rebuilt(values: dict[str, Any]) -> Trace:
    return Trace(**values)


def make_trace(t_s: FloatArray, *, utc0_s: float | FloatArray = float("nan"), **columns: Any) -> Trace:
    """Build a trace from the columns that are known; the others become NaN (-1 for `quality`).

    Parameters
    ----------
    t_s : (n,) float
        Strictly increasing times [s].
    utc0_s : float or (k,) float
        Unix time [s] of `t_s` = 0 for each stretch.
    **columns
        Any other attribute of `Trace`.

    Raises
    ------
    SignalError
        If shapes differ or times do not increase.
    """
    copies = {name: np.array(value) if name in _KINDS else value for name, value in columns.items()}
    return trace_of(np.array(t_s, float), utc0_s=np.array(utc0_s, float), **copies)


def trace_of(t_s: FloatArray, *, utc0_s: float | FloatArray, **columns: Any) -> Trace:
    """Build a trace as `make_trace` does, of arrays that are handed over for good: they can no longer be written to."""
    for name, kind in _KINDS.items():
        known = name in columns
        columns[name] = np.ascontiguousarray(columns[name] if known else np.full(t_s.size, _UNKNOWN[name]), kind)
    return Trace(t_s=t_s, utc0_s=np.atleast_1d(np.asarray(utc0_s, float)), **columns)


def with_remarks(trace: Trace, *remarks: Remark) -> Trace:
    """Return the trace with remarks added (none twice)."""
    fresh = tuple(remark for remark in remarks if remark not in trace.remarks)
    return replace(trace, remarks=trace.remarks + fresh)


def utc_text(unix_s: float) -> str | None:
    """Return a Unix time as ISO 8601 text with microseconds and `Z`; None when it is NaN or out of range."""
    if not np.isfinite(unix_s):
        return None
    try:
        moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=round(unix_s * 1e6))
    except OverflowError:
        return None
    return moment.strftime("%Y-%m-%dT%H:%M:%S.%fZ").rjust(27, "0")
