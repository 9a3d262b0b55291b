"""What `gearing` shows: the drive train, speeds and engine speeds, what a change would do, the caution."""

from __future__ import annotations

import math
from textwrap import wrap
from typing import Any

import numpy as np

from traceanalyze import __version__
from traceanalyze.report.coasting import rolled_lines
from traceanalyze.report.compare_text import RULE_WORDS, WIDTH
from traceanalyze.report.gearing_run import Gearing
from traceanalyze.report.tables import counted, table_text
from traceanalyze.results import Estimate, number, round_half_up
from traceanalyze.trace import FloatArray
from traceanalyze.units import SPEED_UNITS, System, parse_measure, speed_unit
from traceanalyze.vehicle.gearing import DriveTrain, engine_rpm_at, may_slip, over_limit, speed_at_mps, teeth_text
from traceanalyze.vehicle.prediction import Prediction

SCHEMA = "traceanalyze.gearing/1"
#: Steps of the table in the unit of the speeds, and how far it goes when no limit is stated [m/s].
_STEP = {"mph": 5.0, "km/h": 10.0}
_UNLIMITED_MPS = 30.0
CAUTIONS = (
    "The engine speeds are arithmetic, the limit is yours: ask the engine's maker, not this program, for more.",
    "Forces in a flywheel grow with the square of engine speed: 10 % above a limit is 21 % more stress.",
)


def table_speeds_mps(gearing: Gearing, system: System) -> FloatArray:
    """Return the speeds of the table [m/s]: round numbers up to one step above where the engine's limit is."""
    unit = speed_unit(system)
    trains = _trains(gearing)
    ends = [float(speed_at_mps(train, train.max_engine_rpm)) for train in trains]
    top = max((end for end in ends if math.isfinite(end)), default=_UNLIMITED_MPS)
    count = math.ceil(top / SPEED_UNITS[unit] / _STEP[unit] - 1e-9)
    return np.arange(1, count + 2, dtype=np.float64) * (_STEP[unit] * SPEED_UNITS[unit])


def _trains(gearing: Gearing) -> list[DriveTrain]:
    return [train for train in (gearing.train, gearing.changed) if train is not None]


def gearing_text(gearing: Gearing, system: System, *, bold: bool = False) -> str:
    """Return the whole screen, 80 columns wide."""
    parts = [_train_lines(gearing, system), _table(gearing, system, bold)] if gearing.train else []
    if gearing.rolled is not None:
        parts.append("\n".join(map(_wrapped, rolled_lines(gearing.rolled))))
    if gearing.train is None:
        return "\n\n".join(parts)
    if gearing.changed is not None and gearing.machine is not None:
        parts.append(_prediction_lines(gearing, system, bold))
    parts += [_wrapped(f"  - {remark.text}") for remark in gearing.remarks]
    return "\n\n".join([*parts, "\n".join(_wrapped(f"Caution: {line}") for line in CAUTIONS)])


def _wrapped(text: str) -> str:
    """Return a line of at most 80 columns, what runs over set in."""
    first = text[: len(text) - len(text.lstrip())]
    more = first + "  "
    return "\n".join(wrap(text.strip(), WIDTH, initial_indent=first, subsequent_indent=more, break_on_hyphens=False))


def _train_lines(gearing: Gearing, system: System) -> str:
    words = ("Now", "Changed")
    lines = [_train_line(word, train, system) for word, train in zip(words, _trains(gearing), strict=False)]
    return "\n".join(map(_wrapped, lines))


def _train_line(word: str, train: DriveTrain, system: System) -> str:
    unit = speed_unit(system)
    said = f"{word}: {teeth_text(train.teeth)}, {train.ratio:.3f} engine turns for a turn of the wheel"
    said += f" of {train.tyre_circumference_m:.3f} m"
    if not train.max_engine_rpm > 0:
        return said + "; no limit of the engine was stated"
    end = float(speed_at_mps(train, train.max_engine_rpm)) / SPEED_UNITS[unit]
    return said + f"; your limit of {train.max_engine_rpm:.0f} rpm is {round_half_up(end, 1)} {unit}"


def _table(gearing: Gearing, system: System, bold: bool) -> str:
    unit = speed_unit(system)
    speeds = table_speeds_mps(gearing, system)
    trains = _trains(gearing)
    head = [unit, "rpm", ""] + (["rpm changed", ""] if gearing.changed else [])
    rows = [
        [f"{speed / SPEED_UNITS[unit]:.0f}"] + [cell for train in trains for cell in _rpm_cells(train, float(speed))]
        for speed in speeds
    ]
    return table_text(head, rows, bold=bold)


def _rpm_cells(train: DriveTrain, speed_mps: float) -> list[str]:
    rpm = float(engine_rpm_at(train, speed_mps))
    return [f"{rpm:.0f}", rpm_flag(train, rpm)]


def rpm_flag(train: DriveTrain, engine_rpm: float) -> str:
    """Return what must be said beside a computed engine speed: above the limit, or the clutch may slip."""
    if bool(over_limit(train, engine_rpm)):
        return "ABOVE YOUR LIMIT"
    return "clutch may slip" if bool(may_slip(train, engine_rpm)) else ""


def _prediction_lines(gearing: Gearing, system: System, bold: bool) -> str:
    assert gearing.machine is not None
    load = gearing.machine.load
    runs = f"{counted(gearing.launches, 'launch', 'launches')} and {counted(gearing.passes, 'pass', 'passes')}"
    rule = next((RULE_WORDS[one.start_rule] for one in gearing.predictions if one.start_rule), "")
    rows = [_prediction_row(gearing, one, system) for one in gearing.predictions]
    lines = [
        _wrapped(f"Predicted from {runs} (± standard uncertainty{f'; {rule}' if rule else ''})"),
        *table_text(["", "now", "changed", "difference", "rpm at its end"], rows, bold=bold).splitlines(),
        f"  with {load.mass_kg:.0f} kg, rolling resistance {load.crr:.3f}, drag area {load.cda_m2:.2f} m^2, "
        f"air {load.air_density_kgm3:.3f} kg/m^3, a level road and still air",
    ]
    if not gearing.machine.engine_inertia_kgm2:
        lines.append("  the engine's own inertia is not known (--engine-inertia) and was left out")
    lines += [f"  - {line}" for one in gearing.predictions for line in _prediction_notes(gearing, one)]
    return "\n".join([lines[0], *(line if len(line) <= WIDTH else _wrapped(line) for line in lines[1:])])


def _prediction_notes(gearing: Gearing, one: Prediction) -> list[str]:
    """What has to be said of one prediction: its remarks, and an engine speed that may not be, or is not, true."""
    notes = [f"{one.measure}: {remark.text}" for remark in one.remarks]
    rpm, flag = _end_rpm(gearing, one)
    return [*notes, f"{one.measure}: {rpm:.0f} rpm at its end: {flag}"] if flag else notes


def _prediction_row(gearing: Gearing, one: Prediction, system: System) -> list[str]:
    unit = speed_unit(system) if one.measure == "top speed" else "s"
    factor = SPEED_UNITS[unit] if unit != "s" else 1.0
    change = one.difference
    sign = "+" if change.value > 0 else ""
    rpm, _ = _end_rpm(gearing, one)
    return [
        one.measure,
        f"{one.before.text(factor)} {unit}",
        f"{one.after.text(factor)} {unit}" if math.isfinite(one.after.value) else "cannot tell",
        f"{sign}{change.text(factor)} {unit}" if math.isfinite(change.value) else "cannot tell",
        f"{rpm:.0f}" if math.isfinite(rpm) else "-",
    ]


def _end_rpm(gearing: Gearing, one: Prediction) -> tuple[float, str]:
    """Engine speed of the changed machine at the end of a measure, and its flag; NaN where no speed belongs to it."""
    assert gearing.changed is not None
    end_mps = one.after.value if one.measure == "top speed" else parse_measure(one.measure).to_mps
    if not math.isfinite(end_mps):
        return math.nan, ""
    rpm = float(engine_rpm_at(gearing.changed, end_mps))
    return rpm, rpm_flag(gearing.changed, rpm)


def gearing_document(gearing: Gearing, system: System) -> dict[str, Any]:
    """Return the JSON document: SI units, engine speeds in turns a minute, null for what cannot be told."""
    machine = gearing.machine
    return {
        "schema": SCHEMA,
        "version": __version__,
        "drive_train": _train_dict(gearing.train) if gearing.train else None,
        "changed": _train_dict(gearing.changed) if gearing.changed else None,
        "table": [_table_dict(gearing, float(speed)) for speed in table_speeds_mps(gearing, system)]
        if gearing.train
        else [],
        "coastdown": gearing.rolled.to_dict() if gearing.rolled else None,
        "assumed": {
            "mass_kg": number(machine.load.mass_kg),
            "crr": number(machine.load.crr),
            "cda_m2": number(machine.load.cda_m2),
            "air_density_kgm3": number(machine.load.air_density_kgm3),
            "engine_inertia_kgm2": number(machine.engine_inertia_kgm2),
        }
        if machine
        else None,
        "launches": gearing.launches,
        "passes": gearing.passes,
        "predictions": [_prediction_dict(gearing, one) for one in gearing.predictions],
        "remarks": [remark.to_dict() for remark in gearing.remarks],
        "cautions": list(CAUTIONS),
    }


def _train_dict(train: DriveTrain) -> dict[str, Any]:
    return {
        "teeth": [list(pair) for pair in train.teeth],
        "ratio": number(train.ratio),
        "tyre_circumference_m": number(train.tyre_circumference_m),
        "max_engine_rpm": number(train.max_engine_rpm),
        "engagement_rpm": number(train.engagement_rpm),
        "speed_at_limit_mps": number(float(speed_at_mps(train, train.max_engine_rpm))),
    }


def _table_dict(gearing: Gearing, speed_mps: float) -> dict[str, Any]:
    row: dict[str, Any] = {"speed_mps": number(speed_mps)}
    for prefix, train in zip(("", "changed_"), _trains(gearing), strict=False):
        row |= _rpm_dict(prefix, train, speed_mps)
    return row


def _rpm_dict(prefix: str, train: DriveTrain, speed_mps: float) -> dict[str, Any]:
    rpm = float(engine_rpm_at(train, speed_mps))
    return {
        f"{prefix}engine_rpm": number(rpm),
        f"{prefix}above_limit": bool(over_limit(train, rpm)),
        f"{prefix}may_slip": bool(may_slip(train, rpm)),
    }


def _prediction_dict(gearing: Gearing, one: Prediction) -> dict[str, Any]:
    rpm, _ = _end_rpm(gearing, one)
    assert gearing.changed is not None
    return {
        "measure": one.measure,
        "start_rule": one.start_rule,
        "unit": "m/s" if one.measure == "top speed" else "s",
        "before": _estimate_dict(one.before),
        "after": _estimate_dict(one.after),
        "difference": _estimate_dict(one.difference),
        "runs": one.runs,
        "changed_engine_rpm": number(rpm),
        "above_limit": bool(over_limit(gearing.changed, rpm)) if math.isfinite(rpm) else None,
        "remarks": [remark.to_dict() for remark in one.remarks],
    }


def _estimate_dict(estimate: Estimate) -> dict[str, Any]:
    return {
        "value": number(estimate.value),
        "stderr": number(estimate.stderr),
        "interval95": estimate.interval(),
    }
