"""The table of speed ranges in one sentence: where the difference lies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from traceanalyze.comparison import BandResult
from traceanalyze.results import round_half_up
from traceanalyze.units import SPEED_UNITS, System, speed_unit
from traceanalyze.vehicle.engine import NO_ENGINE, EngineSpeeds, whole_rpm


@dataclass(frozen=True, slots=True)
class Wording:
    """Units a sentence is written in, and the engine speeds that may be added to its road speeds."""

    system: System = "imperial"
    engine: EngineSpeeds = NO_ENGINE


def band_sentence(bands: Sequence[BandResult], total: BandResult, smallest_s: float, wording: Wording) -> str:
    """Return where in the range of speeds time is gained or lost, each with its interval, or that it cannot be told."""
    merged = [_merged(list(group)) for _, group in groupby(bands, key=lambda band: band.verdict)]
    if len(merged) == 1 and merged[0].verdict in ("better", "worse"):
        merged = [total] if total.verdict == merged[0].verdict else merged
    if len(merged) == 1 and merged[0].verdict == "cannot tell yet":
        if total.verdict in ("better", "worse"):
            return f"{_said(total, 'over the whole range', smallest_s, wording)}; at which speeds cannot be told yet."
        return "At which speeds the difference lies cannot be told yet."
    parts = [_said(band, _where(merged, i, wording.system), smallest_s, wording) for i, band in enumerate(merged)]
    text = "; ".join([parts[0], *(part[0].lower() + part[1:] for part in parts[1:])])
    return f"{text}."


def _merged(group: Sequence[BandResult]) -> BandResult:
    """Neighbours with one verdict as one range: differences add, and so do the ends of jointly valid intervals."""
    return BandResult(
        from_mps=group[0].from_mps,
        to_mps=group[-1].to_mps,
        difference_s=sum(band.difference_s for band in group),
        low95_s=sum(band.low95_s for band in group),
        high95_s=sum(band.high95_s for band in group),
        verdict=group[0].verdict,
    )


def _where(merged: Sequence[BandResult], i: int, system: System) -> str:
    low, high = speed_text(merged[i].from_mps, system), speed_text(merged[i].to_mps, system)
    if len(merged) == 1:
        return f"over the whole range up to {high}"
    if i == 0:
        return f"below {high}"
    if i == len(merged) - 1:
        return "above it" if i == 1 else f"above {low}"
    return f"from {low.split()[0]} to {high}"


def speed_text(speed_mps: float, system: System) -> str:
    """Return a speed in whole shown units, with the unit."""
    unit = speed_unit(system)
    return f"{round_half_up(speed_mps / SPEED_UNITS[unit], 0)} {unit}"


def _rpm_words(band: BandResult, engine: EngineSpeeds) -> str:
    """Engine speeds of a range, as far as they are surely true; else nothing."""
    if engine.train is None or not engine.known_at(band.to_mps):
        return ""
    low, high = (whole_rpm(engine.train, speed) for speed in (band.from_mps, band.to_mps))
    return f"{low} to {high} rpm; " if engine.known_at(band.from_mps) else f"up to {high} rpm; "


def _said(band: BandResult, where: str, smallest_s: float, wording: Wording) -> str:
    ends = sorted((abs(band.low95_s), abs(band.high95_s)))
    low, high = round_half_up(ends[0], 2), round_half_up(ends[1], 2)
    if band.verdict in ("better", "worse"):
        verb = "Gains" if band.verdict == "better" else "Loses"
        rpm = _rpm_words(band, wording.engine)
        return f"{verb} {round_half_up(abs(band.difference_s), 2)} s {where} ({rpm}{low} to {high} s)"
    if band.verdict == "no meaningful difference":
        return f"{where.capitalize()} no difference larger than {max(smallest_s, ends[1]):.2f} s"
    if band.verdict == "confounded":
        return f"{where.capitalize()} a change through the day could explain the difference"
    return f"{where.capitalize()} no difference can be told yet"
