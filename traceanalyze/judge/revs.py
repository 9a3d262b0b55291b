"""Engine speeds of the runs that are compared: those above the builder's own limit are pointed out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from traceanalyze.judge.bands import speed_text
from traceanalyze.judge.gather import Gathered, Ridden
from traceanalyze.judge.sentences import name
from traceanalyze.results import Pass
from traceanalyze.trace import Remark
from traceanalyze.units import System
from traceanalyze.vehicle.engine import whole_rpm
from traceanalyze.vehicle.gearing import DriveTrain, engine_rpm_at, over_limit


def over_limit_remarks(found: Gathered, trains: Mapping[str, DriveTrain], system: System) -> Iterator[Remark]:
    """Yield one remark for each setup whose engine, by teeth and tyre, turned faster than the builder allows."""
    for setup, train in trains.items():
        ridden = [one for one in (*found.launches, *found.passes) if one.setup == setup]
        if not ridden:
            continue
        fastest = max(ridden, key=_top_mps)
        top_mps = _top_mps(fastest)
        if bool(over_limit(train, engine_rpm_at(train, top_mps))):
            kind = "pass" if isinstance(fastest.what, Pass) else "launch"
            where = f"{name(fastest.sheet.path.rpartition('/')[2])}, {kind} {fastest.what.number}"
            text = f"{name(setup)} turned the engine {whole_rpm(train, top_mps)} rpm at {speed_text(top_mps, system)}"
            limit = f"above your limit of {train.max_engine_rpm:.0f} rpm"
            yield Remark("engine-above-limit", f"{text} ({where}), {limit}: gear it longer or lift earlier")


def _top_mps(one: Ridden) -> float:
    return one.what.peak_mps if isinstance(one.what, Pass) else one.what.peak_speed_mps
