"""What was measured in a log, and whose it is -> the records that the book keeps."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from datetime import UTC, datetime
from typing import Any

from traceanalyze import __version__
from traceanalyze.book.entries import Entry, Share
from traceanalyze.book.records import (
    CurveRecord,
    FittingRecord,
    LogRecord,
    RemarkRecord,
    ResultRecord,
    RunRecord,
    VehicleRecord,
)
from traceanalyze.errors import BookError
from traceanalyze.results import Curve, Estimate, Launch, Pass, RunSheet
from traceanalyze.sheet import Conditions, Vehicle
from traceanalyze.trace import Remark

#: A measure that a launch did not reach has no result; of all that the book looks for, saying each would bury the rest.
NOT_REACHED = "not-reached"


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryRecords:
    """What the book keeps of one log."""

    log: LogRecord
    vehicle: VehicleRecord
    fittings: tuple[FittingRecord, ...] = ()


def entry_records(entry: Entry) -> EntryRecords:
    """Return the records of a log; one without runs that belong to a setup has a log without runs.

    Raises
    ------
    BookError
        If neither the rider nor the log says which day it was.
    """
    day = _day_of(entry)
    runs = tuple(run for share in entry.shares for run in _runs(entry, share, day))
    shares = [share for share in entry.shares if share.sheet.launches or share.sheet.passes]
    sheet = entry.sheet
    log = LogRecord(
        sha256=sheet.sha256,
        member=_text(entry.member),
        path=_text(entry.file),
        format=sheet.format,
        status=sheet.status,
        time_origin_utc_s=_known(sheet.time_origin_utc_s),
        points=sheet.points,
        duration_s=float(sheet.duration_s),
        rate_hz=_known(sheet.rate_hz),
        speed_source=sheet.speed_source or "",
        speed_noise_mps=_known(sheet.speed_noise_mps),
        max_speed_mps=_known(sheet.max_speed_mps),
        skipped={kind: int(count) for kind, count in sorted(sheet.skipped.items())},
        version=__version__,
        runs=runs,
        remarks=_remarks(sheet.remarks),
    )
    fittings = tuple(_fitting(share, entry, day) for share in shares)
    return EntryRecords(log=log, vehicle=_vehicle(entry.vehicle), fittings=fittings)


def _day_of(entry: Entry) -> str:
    if entry.date is not None:
        return entry.date.isoformat()
    offset_s = entry.utc_offset_s if math.isfinite(entry.utc_offset_s) else 0.0
    try:
        return datetime.fromtimestamp(entry.sheet.time_origin_utc_s + offset_s, UTC).date().isoformat()
    except (ValueError, OverflowError, OSError):
        raise BookError(
            "the log has no date, and runs are only compared within their day",
            where=entry.sheet.path,
            advice="say which day it was: --date 2026-05-17, or date in the day sheet",
        ) from None


def _runs(entry: Entry, share: Share, day: str) -> Iterable[RunRecord]:
    common: dict[str, Any] = {
        "vehicle": vehicle_name(share.setup.vehicle),
        "setup": _text(share.setup.name),
        "date": day,
        "place": _text(entry.place),
    }
    for launch in share.sheet.launches:
        yield _launch(launch, entry.sheet, share, common)
    for one in share.sheet.passes:
        yield _pass(one, entry, share, common)


def vehicle_name(vehicle: Vehicle) -> str:
    """Return what the book calls a machine that nobody named."""
    return _text(vehicle.name).strip() or "vehicle"


def _launch(launch: Launch, sheet: RunSheet, share: Share, common: Mapping[str, Any]) -> RunRecord:
    own_s = launch.start_utc_s
    utc_s = own_s if math.isfinite(own_s) else sheet.time_origin_utc_s + launch.start.value
    return RunRecord(
        kind="launch",
        number=launch.number,
        start_s=float(launch.start.value),
        start_stderr_s=_known(launch.start.stderr),
        end_s=_known(launch.end_s),
        utc_s=_known(utc_s),
        heading_deg=_known(launch.heading_deg),
        grade_pct=_known(launch.grade_pct),
        peak_mps=_known(launch.peak_speed_mps),
        left_out=_left_out(share, "launch", launch.number),
        results=tuple(
            _result(one.elapsed, "s", one.distance_m, measure=one.measure, start_rule=one.start_rule or "")
            for one in launch.times
            if math.isfinite(one.elapsed.value)
        ),
        remarks=_remarks(one for one in launch.remarks if one.code != NOT_REACHED),
        curve=_curve(launch.curve) if launch.curve is not None else None,
        **common,
    )


def _pass(one: Pass, entry: Entry, share: Share, common: Mapping[str, Any]) -> RunRecord:
    known = math.isfinite(one.sustained.value)
    speed = _result(one.sustained, "m/s", one.window_m, measure="top speed", window=entry.window) if known else None
    return RunRecord(
        kind="pass",
        number=one.number,
        start_s=float(one.start_s),
        end_s=_known(one.end_s),
        utc_s=_known(entry.sheet.time_origin_utc_s + one.start_s),
        heading_deg=_known(one.heading_deg),
        grade_pct=_known(one.grade_pct),
        peak_mps=_known(one.peak_mps),
        window_s=_known(one.window_s),
        window_m=_known(one.window_m),
        window_start_s=_known(one.window_start_s),
        held_s=_known(one.held_s),
        levelled_off=one.levelled_off if one.levelled_off is None else bool(one.levelled_off),
        projected_mps=_known(one.projected.value),
        projected_stderr_mps=_known(one.projected.stderr),
        left_out=_left_out(share, "pass", one.number),
        results=(speed,) if speed else (),
        remarks=_remarks(one.remarks),
        **common,
    )


def _left_out(share: Share, kind: str, number: int) -> str:
    return "skipped on the day sheet" if (kind, number) in share.left_out else ""


def _result(
    estimate: Estimate, unit: str, distance_m: float, *, measure: str, start_rule: str = "", window: str = ""
) -> ResultRecord:
    return ResultRecord(
        measure=measure,
        start_rule=start_rule,
        window=window,
        value=float(estimate.value),
        stderr=_known(estimate.stderr),
        low95=_known(estimate.low95),
        high95=_known(estimate.high95),
        unit=unit,
        distance_m=_known(distance_m),
    )


def _curve(curve: Curve) -> CurveRecord:
    columns = {one.name: tuple(map(_known, getattr(curve, one.name).tolist())) for one in fields(CurveRecord)}
    return CurveRecord(**columns)


def _remarks(remarks: Iterable[Remark]) -> tuple[RemarkRecord, ...]:
    return tuple(RemarkRecord(code=_text(one.code), text=_text(one.text)) for one in remarks)


def _vehicle(vehicle: Vehicle) -> VehicleRecord:
    return VehicleRecord(
        name=vehicle_name(vehicle),
        mass_kg=_known(vehicle.mass_kg),
        tyre_circumference_m=_known(vehicle.tyre_circumference_m),
        teeth=vehicle.teeth,
        max_engine_rpm=_known(vehicle.max_engine_rpm),
        engagement_rpm=_known(vehicle.engagement_rpm),
    )


def _fitting(share: Share, entry: Entry, day: str) -> FittingRecord:
    setup = share.setup
    machine = {name: value for name, value in _facts(setup.vehicle).items() if name != "name"}
    notes = {"notes": _text(setup.notes)} if setup.notes else {}
    return FittingRecord(
        vehicle=vehicle_name(setup.vehicle),
        setup=_text(setup.name),
        date=day,
        place=_text(entry.place),
        facts=machine | _facts(setup.conditions) | notes,
    )


def _facts(noun: Vehicle | Conditions) -> dict[str, Any]:
    """Return what a noun of the day sheet states, without what it does not."""
    stated = {one.name: getattr(noun, one.name) for one in fields(noun)}
    return {name: _stated(value) for name, value in stated.items() if value not in ("", ()) and value == value}


def _stated(value: Any) -> Any:
    if isinstance(value, tuple):
        return [_stated(one) for one in value]
    return _text(value) if isinstance(value, str) else value


def _known(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _text(text: str) -> str:
    """Return a text that a database can hold: a byte that is no text (PEP 383) becomes an escape."""
    return text.encode("utf-8", "backslashreplace").decode()
