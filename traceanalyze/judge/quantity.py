"""What a measure's numbers are: unit, which way is better, how much they usually vary and drift."""

from __future__ import annotations

import re
from dataclasses import dataclass

from traceanalyze import settings
from traceanalyze.comparison import SHOWN_UNITS
from traceanalyze.errors import UsageError
from traceanalyze.units import SPEED_UNITS, Measure, System, speed_unit, unit_name


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


@dataclass(frozen=True, slots=True)
class Amount:
    """A difference or a scatter as somebody wrote it: `unit` is empty when none was written."""

    value: float
    unit: str = ""

    def fits(self, measure: Measure, headline: Measure) -> bool:
        """Whether it speaks of this measure: by its unit, without one by the headline's."""
        mine = quantity(headline).unit if not self.unit else "s" if self.unit == "s" else "m/s"
        return quantity(measure).unit == mine

    def si(self, shown: str) -> float:
        """Return it in s or m/s; without a unit of its own it is in the unit `shown`."""
        return self.value * SHOWN_UNITS[self.unit or shown]


def parse_amount(text: str, option: str) -> Amount:
    """Return the amount that '0.1', '0.05 s' or '0.5 mph' names.

    Raises
    ------
    UsageError
        Naming the option.
    """
    found = re.fullmatch(r"(\d+(?:\.\d*)?|\.\d+)\s*([a-z/]*)", text.strip().lower(), re.ASCII)
    advice = 'write a number above 0, such as 0.05, "0.05 s" or "0.5 mph"'
    if found is None or not 0 < float(found[1]) < 1e6:
        raise UsageError(f"{option} {text!r} is no difference", advice=advice)
    if found[2] in ("", "s", "sec"):
        return Amount(float(found[1]), "s" if found[2] else "")
    return Amount(float(found[1]), unit_name(found[2], SPEED_UNITS))
