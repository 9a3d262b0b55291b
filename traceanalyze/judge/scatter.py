"""How much a rider's runs vary from run to run: the generic value, the rider's own, and what each is worth."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from traceanalyze import settings
from traceanalyze.errors import UsageError


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnScatter:
    """A rider's own run-to-run standard deviation of other days, in the unit of the measure.

    `df` degrees of freedom stand behind it: runs minus setups, summed over the days. 0 means a bare guess: it then
    replaces the generic value and counts no more than that.
    """

    sd: float
    df: float = 0.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.sd) and self.sd > 0):
            raise UsageError(f"a run-to-run scatter of {self.sd:g} is not possible", advice="give a number above 0")
        if not (math.isfinite(self.df) and self.df >= 0):
            raise UsageError(f"{self.df:g} degrees of freedom are not possible", advice="give 0 or more")


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkingScatter:
    """The scatter the weights start from.

    Attributes
    ----------
    sd : float
        Run-to-run standard deviation, same unit as the values.
    own_df : float
        Degrees of freedom of the rider's own history; 0 without any.
    """

    sd: float
    own_df: float

    def prior_df(self, residual_df: int) -> float:
        """Return how many degrees of freedom `sd` counts for beside `residual_df` of today's runs.

        With history a share of its own (days differ); without, none when today's runs can speak for themselves.
        """
        if self.own_df > 0:
            return min(settings.HISTORY_DF_MOST, settings.HISTORY_DF_SHARE * self.own_df)
        return 0.0 if residual_df >= settings.LEAST_DF else settings.GENERIC_DF

    def source(self, residual_df: int) -> str:
        """Return in words what the scatter rests on."""
        if self.own_df > 0:
            return (
                f"the scatter rests on these runs and on the rider's own history ({self.own_df:g} degrees of freedom)"
            )
        if residual_df >= settings.LEAST_DF:
            return "the scatter rests on these runs alone"
        return "too few runs to know the scatter: it rests mostly on what is usual"


def working_scatter(typical: float, generic_share: float, own: OwnScatter | None = None) -> WorkingScatter:
    """Return the scatter to start from for values around `typical` (> 0).

    With history of df degrees of freedom s0^2 = (s_generic^2 + df sd^2) / (1 + df): the generic value counts as one.
    """
    generic = generic_share * abs(typical)
    if own is None:
        return WorkingScatter(sd=generic, own_df=0.0)
    if own.df == 0:
        return WorkingScatter(sd=own.sd, own_df=0.0)
    return WorkingScatter(sd=math.sqrt((generic**2 + own.df * own.sd**2) / (1.0 + own.df)), own_df=own.df)


def pooled(parts: Iterable[tuple[float, float]]) -> OwnScatter | None:
    """Return one scatter from several days' (standard deviation, degrees of freedom); None without any."""
    known = [(sd, df) for sd, df in parts if df > 0 and math.isfinite(sd)]
    total = sum(df for _, df in known)
    variance = sum(df * sd**2 for sd, df in known) / total if total else 0.0
    return OwnScatter(sd=math.sqrt(variance), df=total) if variance > 0 else None
