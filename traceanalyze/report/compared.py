"""What a comparison of setups gave: the comparisons, what they were made from, and what the machine adds to them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from traceanalyze.comparison import Comparison
from traceanalyze.judge.judging import WrittenRuns, compare_document
from traceanalyze.report.corrected import Corrected, corrected_times
from traceanalyze.report.machine import engine_of
from traceanalyze.results import number
from traceanalyze.session import Asked
from traceanalyze.setups import SetupRuns, sheets_read
from traceanalyze.sheet import DaySheet
from traceanalyze.units import parse_measure
from traceanalyze.vehicle.engine import EngineSpeeds
from traceanalyze.vehicle.gearing import engine_rpm_at


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Compared:
    """Comparisons with a common baseline, and what they were made from.

    Attributes
    ----------
    comparisons : tuple of Comparison
        At least one.
    asked : Asked
    setups : tuple of SetupRuns
        Those compared, without the runs left out; empty for times by hand.
    sheet : DaySheet or None
    written : WrittenRuns or None
        The table of times by hand.
    refused : tuple of str
        One line for each log that could not be read.
    """

    comparisons: tuple[Comparison, ...]
    asked: Asked
    setups: tuple[SetupRuns, ...] = ()
    sheet: DaySheet | None = None
    written: WrittenRuns | None = None
    refused: tuple[str, ...] = ()

    @property
    def inputs(self) -> list[Path]:
        """Every file that was read, never to be written over."""
        read = [one.path for one in sheets_read(self.setups)]
        read += [self.written.path] if self.written else []
        read += [str(self.sheet.path)] if self.sheet else []
        return [Path(path) for path in read if path != "-"]

    def engine(self, comparison: Comparison) -> EngineSpeeds:
        """Return what may be shown of engine speed beside the road speeds of one comparison."""
        return engine_of(self.sheet, (comparison.baseline, comparison.changed))

    def corrected(self) -> tuple[Corrected, ...]:
        """Return the times corrected for slope and air, beside the raw ones, as far as the day sheet has the facts."""
        labels = dict.fromkeys(one.measure for comparison in self.comparisons for one in comparison.measures)
        measures = [parse_measure(label) for label in labels]
        return corrected_times(self.setups, self.sheet, measures, self.asked.start_rule)

    def corrected_headline(self) -> list[Corrected]:
        """Return the corrected times of the measure that leads."""
        head = self.comparisons[0].headline.measure
        return [one for one in self.corrected() if one.measure == head]

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON document."""
        return compare_document(self.comparisons) | self.vehicle_dict()

    def vehicle_dict(self) -> dict[str, Any]:
        """Return what the day sheet's vehicle adds to the JSON: engine speeds and corrected times."""
        return {
            "engine_speeds": [_engine_dict(self.engine(one)) for one in self.comparisons],
            "corrected": [one.to_dict() for one in self.corrected()],
        }


def _engine_dict(engine: EngineSpeeds) -> dict[str, Any]:
    train = engine.train
    return {
        "rpm_per_mps": number(float(engine_rpm_at(train, 1.0))) if train else None,
        "engagement_rpm": number(train.engagement_rpm) if train else None,
        "max_engine_rpm": number(train.max_engine_rpm) if train else None,
        "note": engine.note,
    }
