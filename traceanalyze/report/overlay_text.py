"""What `overlay` says beside its picture."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from traceanalyze import __version__
from traceanalyze.errors import shown
from traceanalyze.judge.groups import SetupCurves
from traceanalyze.report.tables import WIDTH, table_text, wrapped
from traceanalyze.results import number, round_half_up
from traceanalyze.trace import FloatArray, Remark
from traceanalyze.units import SPEED_UNITS, System, speed_unit

#: Speeds of the small table, as shares of the highest that all runs reached.
SHARES = (0.25, 0.5, 0.75, 1.0)


def overlay_text(
    setups: Sequence[SetupCurves], system: System, remarks: Sequence[Remark] = (), *, width: int = WIDTH
) -> str:
    """Return a small table: mean time of each setup to a few speeds, clock started by the rollout rule; and remarks."""
    unit = speed_unit(system)
    top = min((float(s.speed_mps[-1]) for s in setups if s.speed_mps.size), default=0.0) / SPEED_UNITS[unit]
    round_ones = sorted({5.0 * round(top * share / 5) for share in SHARES})
    levels = [level for level in round_ones if 0 < level <= top] or [top]
    rows = [
        [shown(s.name), str(len(s.runs)), *(_mean_time(s, level * SPEED_UNITS[unit]) for level in levels)]
        for s in setups
    ]
    head = ["setup", "runs", *(f"to {level:.0f} {unit}" for level in levels)]
    title = "Mean time [s] (the clock starts after 1 ft of rolling)"
    said = "".join(f"\n\n{wrapped(remark.text, width=width)}" for remark in remarks)
    return f"{title}\n{table_text(head, rows)}{said}"


def _mean_time(setup: SetupCurves, level_mps: float) -> str:
    if not setup.speed_mps.size or level_mps > setup.speed_mps[-1] + 1e-9:
        return "-"
    return round_half_up(float(np.interp(level_mps, setup.speed_mps, setup.time_s)), 2)


def overlay_document(setups: Sequence[SetupCurves], picture: Path, remarks: Sequence[Remark] = ()) -> dict[str, Any]:
    """Return the JSON document of `overlay`, SI units."""
    return {
        "schema": "traceanalyze.overlay/1",
        "version": __version__,
        "picture": str(picture),
        "setups": [_setup_entry(setup) for setup in setups],
        "remarks": [remark.to_dict() for remark in remarks],
    }


def _setup_entry(setup: SetupCurves) -> dict[str, Any]:
    return {
        "name": setup.name,
        "runs": len(setup.runs),
        "speed_mps": _listed(setup.speed_mps),
        "time_s": _listed(setup.time_s),
        "time_band95_s": [_listed(setup.time_low_s), _listed(setup.time_high_s)],
        "accel_mps2": _listed(setup.accel_mps2),
        "accel_band95_mps2": [_listed(setup.accel_low_mps2), _listed(setup.accel_high_mps2)],
    }


def _listed(values: FloatArray) -> list[float | None]:
    return [number(float(value)) for value in values]
