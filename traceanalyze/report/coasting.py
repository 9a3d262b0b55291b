"""Logs in which the vehicle rolls out -> rolling resistance and drag area, and the words for them."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from traceanalyze.detect.coastdowns import find_coastdowns
from traceanalyze.estimate.path import heading_deg
from traceanalyze.report.tables import counted, heading_text
from traceanalyze.results import Estimate, number
from traceanalyze.session import Asked, Study, study_files
from traceanalyze.trace import FloatArray, Remark
from traceanalyze.vehicle.coastdown import CoastDown, RoadLoadFit, fit_coastdowns

#: Most samples of one roll-out that are fitted; more are averaged in groups (its shape has three numbers).
MOST_SAMPLES = 300
#: What the method takes for granted.
CAUTION = "the drive must be cut: an engine that is dragged along, or a brake that rubs, counts as rolling resistance"


@dataclass(frozen=True, slots=True, kw_only=True)
class RolledOut:
    """What the roll-outs of some logs tell.

    Attributes
    ----------
    fit : RoadLoadFit
    along, against : int
        Roll-outs each way; all are `along` when no heading is known.
    first_deg : float
        Heading that counts as along; NaN when not known.
    mass_kg, air_density_kgm3 : float
        What was reckoned with.
    remarks : tuple of Remark
    refused : tuple of str
        One line for each log that could not be read.
    """

    fit: RoadLoadFit
    along: int
    against: int
    first_deg: float
    mass_kg: float
    air_density_kgm3: float
    remarks: tuple[Remark, ...] = ()
    refused: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return it for JSON."""
        fit = self.fit
        return {
            "crr": number(fit.crr.value),
            "crr_stderr": number(fit.crr.stderr),
            "cda_m2": number(fit.cda_m2.value),
            "cda_stderr_m2": number(fit.cda_m2.stderr),
            "correlation": number(fit.correlation),
            "headwind_mps": number(fit.headwind_mps.value),
            "headwind_stderr_mps": number(fit.headwind_mps.stderr),
            "grade_pct": number(fit.grade_pct.value),
            "grade_stderr_pct": number(fit.grade_pct.stderr),
            "heading_deg": number(self.first_deg),
            "residual_mps": number(fit.residual_mps),
            "roll_outs": [self.along, self.against],
            "mass_kg": number(self.mass_kg),
            "air_density_kgm3": number(self.air_density_kgm3),
            "remarks": [remark.to_dict() for remark in self.remarks],
        }


def roll_outs(files: Sequence[str], asked: Asked, *, mass_kg: float, air_density_kgm3: float) -> RolledOut:
    """Return rolling resistance and drag area from every roll-out in the logs.

    Raises
    ------
    SignalError
        If there is none long enough.
    """
    studies = study_files(files, asked)
    found = [one for study in studies for one in _of_study(study)]
    first_deg = next((heading for _, _, heading in found if math.isfinite(heading)), math.nan)
    runs = [CoastDown(t_s=t_s, speed_mps=v, direction=_side(heading, first_deg)) for t_s, v, heading in found]
    fit = fit_coastdowns(runs, mass_kg=mass_kg, air_density_kgm3=air_density_kgm3)
    unknown = any(math.isnan(heading) for _, _, heading in found)
    text = "headings are not known, so all roll-outs count as one way"
    return RolledOut(
        fit=fit,
        along=sum(run.direction > 0 for run in runs),
        against=sum(run.direction < 0 for run in runs),
        first_deg=first_deg,
        mass_kg=mass_kg,
        air_density_kgm3=air_density_kgm3,
        remarks=(*fit.remarks, *((Remark("direction-unknown", text),) if unknown else ())),
        refused=tuple(study.sheet.error or "" for study in studies if study.sheet.refused),
    )


def _of_study(study: Study) -> Iterator[tuple[FloatArray, FloatArray, float]]:
    """Yield times [s], speeds [m/s] and heading of each roll-out of a log."""
    if study.trace is None or study.noise is None:
        return
    trace = study.trace
    for span in find_coastdowns(trace, study.noise):
        t_s, speed_mps = trace.t_s[span.first : span.last + 1], trace.speed_mps[span.first : span.last + 1]
        known = np.isfinite(speed_mps)
        yield *_averaged(t_s[known], speed_mps[known]), heading_deg(trace, span.first, span.last)


def _averaged(t_s: FloatArray, speed_mps: FloatArray) -> tuple[FloatArray, FloatArray]:
    size = -(-t_s.size // MOST_SAMPLES)
    whole = t_s.size // size * size
    return t_s[:whole].reshape(-1, size).mean(axis=1), speed_mps[:whole].reshape(-1, size).mean(axis=1)


def _side(heading: float, first_deg: float) -> int:
    """1 along the first heading or when nothing is known, -1 against it."""
    return -1 if math.cos(math.radians(heading - first_deg)) < 0 else 1


def rolled_lines(rolled: RolledOut) -> list[str]:
    """Return what the roll-outs tell, a line each."""
    fit = rolled.fit
    ways = f"{rolled.along} one way, {rolled.against} the other" if rolled.against else "all one way"
    head = f"From {counted(rolled.along + rolled.against, 'roll-out')} ({ways}; ± standard uncertainty)"
    lines = [
        head,
        f"  rolling resistance coefficient {fit.crr.text()}, drag area {fit.cda_m2.text()} m^2",
        f"  with {rolled.mass_kg:.0f} kg and air of {rolled.air_density_kgm3:.3f} kg/m^3; the fit leaves "
        f"{fit.residual_mps:.2g} m/s",
    ]
    if math.isfinite(fit.headwind_mps.value):
        wind, slope = _plain(fit.headwind_mps), _plain(fit.grade_pct)
        lines.append(f"  heading {heading_text(rolled.first_deg)}: headwind {wind} m/s, slope {slope} %")
    return [*lines, *(f"  - {remark.text}" for remark in rolled.remarks), f"  - {CAUTION}"]


def _plain(estimate: Estimate) -> str:
    text = estimate.text()
    return text.removeprefix("-") if float(text.split(" ")[0]) == 0 else text
