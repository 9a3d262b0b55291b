"""What comes out: estimates with their uncertainty, launches, passes, the sheet of one log's runs.

All frozen; each prints itself with no more digits than its uncertainty allows, and gives `to_dict` (the
JSON contract, SI units) and `to_frame` (pandas).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from traceanalyze.rounding import JSON_DECIMALS as JSON_DECIMALS
from traceanalyze.rounding import number as number
from traceanalyze.rounding import round_half_up as round_half_up
from traceanalyze.rounding import uncertainty_decimals as uncertainty_decimals
from traceanalyze.trace import ALWAYS_COUNTED, FloatArray, Remark, utc_text

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number with its standard uncertainty and the interval that is right 95 times in 100.

    Attributes
    ----------
    value, stderr : float
        In the unit of the quantity; NaN when unknown.
    low95, high95 : float
        Ends of the 95 % interval; by default `value` -+ 1.96 `stderr`.
    """

    value: float
    stderr: float
    low95: float = float("nan")
    high95: float = float("nan")

    def __post_init__(self) -> None:
        if math.isnan(self.low95):
            object.__setattr__(self, "low95", self.value - 1.959964 * self.stderr)
        if math.isnan(self.high95):
            object.__setattr__(self, "high95", self.value + 1.959964 * self.stderr)

    def interval(self) -> list[float | None]:
        """Return both ends for JSON."""
        return [number(self.low95), number(self.high95)]

    def text(self, factor: float = 1.0) -> str:
        """Return 'value ± stderr' divided by `factor` (a unit), rounded by the uncertainty."""
        if not math.isfinite(self.value):
            return "-"
        decimals = uncertainty_decimals(self.stderr / factor)
        shown = round_half_up(self.value / factor, decimals)
        return f"{shown} ± {round_half_up(self.stderr / factor, decimals)}" if math.isfinite(self.stderr) else shown

    def __str__(self) -> str:
        return self.text()


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeResult:
    """One measure of one launch under one start rule.

    Attributes
    ----------
    measure : str
        Label of the measure.
    start_rule : str or None
        `rollout`, `rest`, `threshold`; None for a measure that does not start from rest.
    elapsed : Estimate
        [s]
    distance_m : float
        Covered between both ends [m].
    """

    measure: str
    start_rule: str | None
    elapsed: Estimate
    distance_m: float

    def to_dict(self) -> dict[str, Any]:
        """Return it as the JSON contract has it."""
        return {
            "measure": self.measure,
            "start_rule": self.start_rule,
            "elapsed_s": number(self.elapsed.value),
            "stderr_s": number(self.elapsed.stderr),
            "interval95_s": self.elapsed.interval(),
            "distance_m": number(self.distance_m),
        }


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Curve:
    """One launch on the common grid of speeds (multiples of `settings.CURVE_STEP_MPS`).

    Attributes
    ----------
    speed_mps : (m,) float
        Speeds [m/s], the first 0, rising by the step, up to the highest reached.
    time_s : (m,) float
        Time from the `rollout` mark to first reaching each speed [s] (negative below the mark's own speed);
        NaN where a gap hides it.
    time_stderr_s : (m,) float
        Its standard uncertainty [s].
    accel_mps2, accel_stderr_mps2 : (m,) float
        Acceleration at that moment and its standard uncertainty [m/s^2].
    distance_m : (m,) float
        Distance from the onset of motion [m].
    """

    speed_mps: FloatArray
    time_s: FloatArray
    time_stderr_s: FloatArray
    accel_mps2: FloatArray
    accel_stderr_mps2: FloatArray
    distance_m: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Launch:
    """One standing start.

    Attributes
    ----------
    number : int
        From 1 in the log.
    start : Estimate
        Onset of motion, seconds after the log's first point.
    end_s : float
        Where the launch's climb ends, seconds after the log's first point.
    start_utc_s : float
        Onset as Unix time; NaN without a date.
    heading_deg : float
        Direction of travel, clockwise from north; NaN unknown.
    grade_pct : float
        Mean slope over the launch [%], up positive; NaN where altitude cannot tell.
    peak_speed_mps : float
    times : tuple of TimeResult
    curve : Curve or None
    remarks : tuple of Remark
    """

    number: int
    start: Estimate
    end_s: float
    start_utc_s: float = float("nan")
    heading_deg: float = float("nan")
    grade_pct: float = float("nan")
    peak_speed_mps: float
    times: tuple[TimeResult, ...] = ()
    curve: Curve | None = None
    remarks: tuple[Remark, ...] = ()

    def time(self, measure: str, start_rule: str | None = None) -> TimeResult | None:
        """Return the result of a measure under a start rule, or None when the launch did not reach it."""
        for result in self.times:
            if result.measure == measure and result.start_rule == start_rule:
                return result
        return None

    def to_dict(self) -> dict[str, Any]:
        """Return it as the JSON contract has it."""
        return {
            "number": self.number,
            "start_s": number(self.start.value),
            "start_stderr_s": number(self.start.stderr),
            "start_utc": utc_text(self.start_utc_s),
            "end_s": number(self.end_s),
            "heading_deg": number(self.heading_deg),
            "grade_pct": number(self.grade_pct),
            "peak_speed_mps": number(self.peak_speed_mps),
            "times": [result.to_dict() for result in self.times],
            "remarks": [remark.to_dict() for remark in self.remarks],
        }

    def __repr__(self) -> str:
        times = ", ".join(f"{r.measure} {r.elapsed} s" for r in self.times if r.start_rule in (None, "rollout"))
        return f"launch {self.number} at {self.start.value:.1f} s: {times or 'no asked measure reached'}"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Pass:
    """One run through at speed.

    Attributes
    ----------
    number : int
        From 1 in the log.
    start_s, end_s : float
        Seconds after the log's first point.
    window_s, window_m : float
        Duration and length of the window the sustained speed was held over.
    sustained : Estimate
        Highest mean speed over any such window [m/s].
    window_start_s : float
        Where that window begins.
    peak_mps : float
        Highest smoothed speed [m/s].
    held_s : float
        How long the speed stayed within 0.5 % of the top [s].
    levelled_off : bool or None
        Whether the acceleration had died away before the throttle closed; None when it cannot be told.
    projected : Estimate
        Where the acceleration would have reached zero [m/s]; NaN when it cannot be told.
    """

    number: int
    start_s: float
    end_s: float
    heading_deg: float = float("nan")
    grade_pct: float = float("nan")
    window_s: float
    window_m: float
    window_start_s: float
    sustained: Estimate
    peak_mps: float
    held_s: float
    levelled_off: bool | None
    projected: Estimate = field(default_factory=lambda: Estimate(float("nan"), float("nan")))
    remarks: tuple[Remark, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return it as the JSON contract has it."""
        return {
            "number": self.number,
            "start_s": number(self.start_s),
            "end_s": number(self.end_s),
            "heading_deg": number(self.heading_deg),
            "grade_pct": number(self.grade_pct),
            "window_s": number(self.window_s),
            "window_m": number(self.window_m),
            "window_start_s": number(self.window_start_s),
            "sustained_mps": number(self.sustained.value),
            "stderr_mps": number(self.sustained.stderr),
            "interval95_mps": self.sustained.interval(),
            "peak_mps": number(self.peak_mps),
            "held_s": number(self.held_s),
            "levelled_off": self.levelled_off,
            "projected_mps": number(self.projected.value),
            "projected_stderr_mps": number(self.projected.stderr),
            "remarks": [remark.to_dict() for remark in self.remarks],
        }

    def __repr__(self) -> str:
        return f"pass {self.number} at {self.start_s:.1f} s: {self.sustained} m/s over {self.window_s:.3g} s"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PassPair:
    """Two passes in opposite directions, next to each other in time.

    `mean` is the arithmetic mean of both sustained speeds [m/s], `apart` their difference over it.
    """

    first: Pass
    second: Pass
    mean: Estimate
    apart: float
    remarks: tuple[Remark, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return it for JSON, the passes by their numbers."""
        return {
            "passes": [self.first.number, self.second.number],
            "mean_mps": number(self.mean.value),
            "stderr_mps": number(self.mean.stderr),
            "interval95_mps": self.mean.interval(),
            "apart": number(self.apart),
            "remarks": [remark.to_dict() for remark in self.remarks],
        }


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class RunSheet:
    """Everything measured in one log: an entry of `files` in the JSON contract.

    A log that was refused is a sheet too: `status` is `refused`, `error` says why, nothing else is in it.
    """

    path: str
    status: str
    error: str | None = None
    format: str = ""
    sha256: str = ""
    time_origin_utc_s: float = float("nan")
    points: int = 0
    duration_s: float = 0.0
    rate_hz: float = float("nan")
    speed_source: str | None = None
    speed_noise_mps: float = float("nan")
    skipped: Mapping[str, int] = field(default_factory=dict)
    max_speed_mps: float = float("nan")
    launches: tuple[Launch, ...] = ()
    passes: tuple[Pass, ...] = ()
    pairs: tuple[PassPair, ...] = ()
    remarks: tuple[Remark, ...] = ()

    @property
    def refused(self) -> bool:
        """Whether the log could not be read at all."""
        return self.status == "refused"

    def to_dict(self) -> dict[str, Any]:
        """Return it as an entry of `files` in the JSON contract."""
        return {
            "path": self.path,
            "status": self.status,
            "error": self.error,
            "format": self.format or None,
            "sha256": self.sha256 or None,
            "time_origin_utc": utc_text(self.time_origin_utc_s),
            "points": self.points,
            "duration_s": number(self.duration_s),
            "rate_hz": number(self.rate_hz),
            "speed_source": self.speed_source,
            "speed_noise_mps": number(self.speed_noise_mps),
            "skipped": dict.fromkeys(ALWAYS_COUNTED, 0) | dict(sorted(self.skipped.items())),
            "max_speed_mps": number(self.max_speed_mps),
            "launches": [launch.to_dict() for launch in self.launches],
            "passes": [one.to_dict() for one in self.passes],
            "pass_pairs": [pair.to_dict() for pair in self.pairs],
            "remarks": [remark.to_dict() for remark in self.remarks],
        }

    def to_frame(self) -> pd.DataFrame:
        """Return one row per measure of each launch and per pass, SI units, as a pandas frame."""
        import pandas as pd

        return pd.DataFrame(run_rows(self), columns=list(RUN_COLUMNS))

    def __repr__(self) -> str:
        if self.refused:
            return f"refused: {self.error}"
        head = f"{self.path}: {len(self.launches)} launches, {len(self.passes)} passes"
        return "\n".join([head, *(f"  {one!r}" for one in (*self.launches, *self.passes))])

    def _repr_html_(self) -> str:
        import html  # a notebook alone needs it

        return f"<pre>{html.escape(repr(self))}</pre>"


#: Columns of a table of runs, one row per measure of a launch and per pass.
RUN_COLUMNS = (
    "file", "kind", "number", "start_s", "start_utc", "heading_deg", "grade_pct", "measure", "start_rule",
    "value", "stderr", "low95", "high95", "unit", "distance_m", "remarks",
)  # fmt: skip


def run_rows(sheet: RunSheet) -> list[dict[str, Any]]:
    """Return the rows of a table of runs (see `RUN_COLUMNS`), unrounded, SI units."""
    rows: list[dict[str, Any]] = []
    for launch in sheet.launches:
        common = {
            "file": sheet.path, "kind": "launch", "number": launch.number, "start_s": launch.start.value,
            "start_utc": utc_text(launch.start_utc_s), "heading_deg": launch.heading_deg, "grade_pct": launch.grade_pct,
            "remarks": " | ".join(remark.text for remark in launch.remarks),
        }  # fmt: skip
        for result in launch.times:
            rows.append(
                common
                | _estimate_cells(result.elapsed, "s")
                | {"measure": result.measure, "start_rule": result.start_rule, "distance_m": result.distance_m}
            )
    for one in sheet.passes:
        rows.append(
            {
                "file": sheet.path, "kind": "pass", "number": one.number, "start_s": one.start_s,
                "start_utc": utc_text(sheet.time_origin_utc_s + one.start_s), "heading_deg": one.heading_deg,
                "grade_pct": one.grade_pct, "measure": "top speed", "start_rule": None, "distance_m": one.window_m,
                "remarks": " | ".join(remark.text for remark in one.remarks),
            }
            | _estimate_cells(one.sustained, "m/s")
        )  # fmt: skip
    return rows


def _estimate_cells(estimate: Estimate, unit: str) -> dict[str, Any]:
    return {
        "value": estimate.value,
        "stderr": estimate.stderr,
        "low95": estimate.low95,
        "high95": estimate.high95,
        "unit": unit,
    }


def speed_grid_mps(step_mps: float, top_mps: float) -> FloatArray:
    """Return the common grid of speeds 0, step, 2 step, ... not above `top_mps` [m/s]."""
    return np.arange(math.floor(top_mps / step_mps + 1e-9) + 1, dtype=np.float64) * step_mps
