"""What a measure's numbers are: unit, which way is better, how much they usually vary and drift."""

from __future__ import annotations

from dataclasses import dataclass

from traceanalyze import settings
from traceanalyze.units import Measure, System, speed_unit


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """The nature of one measure.

    Attributes
    ----------
    unit : str
        `s` or `m/s`.
    smaller_is_better : bool
    better, worse : str
        Words for both ways.
    scatter_share, drift_share : float
        Usual run-to-run standard deviation, and usual drift per run, as shares of the value.
    smallest : float
        Difference that matters when none is stated, in `unit`.
    """

    unit: str
    smaller_is_better: bool
    better: str
    worse: str
    scatter_share: float
    drift_share: float
    smallest: float


def quantity(measure: Measure) -> Quantity:
    """Return what the numbers of a measure are."""
    if measure.kind == "top speed":
        return Quantity(
            unit="m/s",
            smaller_is_better=False,
            better="faster",
            worse="slower",
            scatter_share=settings.GENERIC_SPEED_SCATTER,
            drift_share=settings.DRIFT_SPEED_PER_RUN,
            smallest=settings.SMALLEST_SPEED_MPS,
        )
    return Quantity(
        unit="s",
        smaller_is_better=True,
        better="shorter" if measure.kind == "stopping" else "quicker",
        worse="longer" if measure.kind == "stopping" else "slower",
        scatter_share=settings.GENERIC_TIME_SCATTER,
        drift_share=settings.DRIFT_TIME_PER_RUN,
        smallest=settings.SMALLEST_TIME_S,
    )


def shown_unit(measure: Measure, system: System) -> str:
    """Return the unit people are shown: seconds, or miles or kilometres an hour."""
    return speed_unit(system) if measure.kind == "top speed" else "s"
