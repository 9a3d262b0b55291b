"""The words of `plan` -> the plan: from numbers alone, or from the logs at hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

from traceanalyze import settings
from traceanalyze.errors import UsageError
from traceanalyze.judge.choice import ranked
from traceanalyze.judge.gather import Gathered, gather
from traceanalyze.judge.logs import own_scatter_of
from traceanalyze.judge.planning import Plan, plan_runs
from traceanalyze.judge.quantity import Amount, quantity, shown_unit
from traceanalyze.judge.strip import PASS_M, Strip, strip_for_launches, strip_for_top_speed
from traceanalyze.report.machine import sheet_of
from traceanalyze.report.own_scatter import BookWish, EarlierRuns, earlier_runs
from traceanalyze.results import Launch
from traceanalyze.session import Asked, measure_file
from traceanalyze.setups import SetupRuns, is_sheet, read_setups, refusals, runs_of_files, sheets_read
from traceanalyze.units import Measure, StartRule, System, parse_measure

#: Measures looked at beside the headline when logs are at hand: with and without the launch in them.
CANDIDATES: dict[System, tuple[str, ...]] = {
    "imperial": ("0-30 mph", "0-20 mph", "60 ft", "10-30 mph", "20-30 mph"),
    "metric": ("0-50 km/h", "0-30 km/h", "20 m", "20-50 km/h", "30-50 km/h"),
}
NAME_OF_ALL = "so far"
TOP_SPEED = parse_measure("top speed")


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What a plan is asked for; None where nothing was said."""

    measure: Measure
    difference: Amount | None = None
    scatter: Amount | None = None
    scatter_df: float = 0.0
    typical_s: float | None = None
    top_mps: float | None = None
    run_up_m: float | None = None
    deceleration_mps2: float = settings.STOPPING_MPS2
    reaction_s: float = settings.REACTION_S
    names: tuple[str, str] = ("A", "B")
    directions: tuple[str, str] = ("out", "back")
    more_swaps: bool = False
    start_rule: StartRule = "rollout"
    system: System = "imperial"

    @property
    def unit(self) -> str:
        """Unit people are shown."""
        return shown_unit(self.measure, self.system)

    def difference_si(self) -> float:
        """Return the difference worth finding, in s or m/s."""
        if self.difference is None:
            return quantity(self.measure).smallest
        if not self.difference.fits(self.measure, self.measure):
            raise UsageError(
                f"a difference in {self.difference.unit} is none of {self.measure.label}", advice="see plan --help"
            )
        return self.difference.si(self.unit)


def plan_from_words(wish: Wish, words: Sequence[str], book: BookWish) -> tuple[Plan, list[str]]:
    """Return the plan, and the errors of logs that were refused.

    Parameters
    ----------
    words : sequence of str
        Logs, setups with their logs, or a day sheet; none for a plan from numbers or the run book alone.

    Raises
    ------
    UsageError, SheetError, BookError
        If the words are wrong, the book cannot be used, or a plan needs a number that nothing tells.
    """
    asked = Asked(measures=candidates(wish), start_rule=wish.start_rule, system=wish.system)
    setups = _setups(words, asked) if words else []
    found = gather([(setup.name, setup.sheets) for setup in setups]) if words else None
    vehicle = book.vehicle or _stated_vehicle(words)
    earlier = earlier_runs(
        BookWish(path=book.path, vehicle=vehicle),
        asked.measures,
        asked,
        without=[one.sha256 for one in sheets_read(setups)],
    )
    return _planned(wish, found, earlier), refusals(setups)


def _setups(words: Sequence[str], asked: Asked) -> list[SetupRuns]:
    if is_sheet(words) or all("=" in word for word in words):
        return read_setups(words, asked)
    return runs_of_files({NAME_OF_ALL: words}, lambda file: measure_file(file, asked))


def _stated_vehicle(words: Sequence[str]) -> str | None:
    sheet = sheet_of(words)
    return sheet.vehicle.name or None if sheet else None


def candidates(wish: Wish) -> tuple[Measure, ...]:
    """Return the headline and the measures it is weighed against."""
    return tuple(dict.fromkeys([wish.measure, *(parse_measure(text) for text in CANDIDATES[wish.system]), TOP_SPEED]))


def _planned(wish: Wish, found: Gathered | None, earlier: EarlierRuns) -> Plan:
    runs = {
        one: [*(found.runs(one, wish.start_rule) if found else ()), *earlier.runs.get(one.label, ())]
        for one in candidates(wish)
    }
    mine = runs.get(wish.measure, [])
    typical = fmean(run.value for run in mine) if mine else _typical(wish)
    own = own_scatter_of(mine)
    scatter, df = (own.sd, own.df) if own else (None, 0.0)
    if wish.scatter is not None:
        scatter, df = wish.scatter.si(wish.unit), wish.scatter_df
    if typical is None and scatter is None:
        raise UsageError(
            f"nothing tells how much {wish.measure.label} varies",
            advice="state --scatter, or --time (--top-speed), or give logs or --book",
        )
    difference = wish.difference_si()
    share = difference / typical if typical and wish.measure.kind != "top speed" else 0.0
    return plan_runs(
        measure=wish.measure,
        difference=difference,
        scatter=scatter,
        scatter_df=df,
        typical=typical if typical is not None else settings.TYPICAL_TIME_S,
        names=wish.names,
        directions=wish.directions,
        more_swaps=wish.more_swaps,
        shown_unit=wish.unit,
        choices=ranked(runs, share) if share else (),
        strips=_strips(wish, typical, found, earlier),
        source=earlier.source,
    )


def _typical(wish: Wish) -> float | None:
    """The usual value of the measure when no log tells it."""
    if wish.measure.kind == "top speed":
        return wish.top_mps
    if wish.typical_s is not None:
        return wish.typical_s
    return settings.TYPICAL_TIME_S if wish.measure.label == "0-30 mph" else None


def _strips(wish: Wish, typical: float | None, found: Gathered | None, earlier: EarlierRuns) -> list[Strip]:
    braking = {"deceleration_mps2": wish.deceleration_mps2, "reaction_s": wish.reaction_s}
    top_mps = wish.top_mps if wish.top_mps is not None else _fastest(found, earlier)
    launch = wish.measure if wish.measure.kind == "standing" else parse_measure("0-30 mph")
    time_s = typical if typical is not None and wish.measure.kind == "standing" else settings.TYPICAL_TIME_S
    strips = []
    if wish.measure.kind == "standing":
        strips.append(strip_for_launches(launch.to_mps, time_s, distance_m=_covered(wish, found), **braking))
    if top_mps is not None and top_mps > launch.to_mps:
        strips.append(
            strip_for_top_speed(top_mps, launch.to_mps, time_s, run_up_m=wish.run_up_m, pass_m=PASS_M, **braking)
        )
    return strips


def _fastest(found: Gathered | None, earlier: EarlierRuns) -> float | None:
    tops = [run.value for run in found.runs(TOP_SPEED, "rollout")] if found else []
    return max([*tops, *(run.value for run in earlier.runs.get(TOP_SPEED.label, ()))], default=None)


def _covered(wish: Wish, found: Gathered | None) -> float | None:
    """The longest launch of the logs at hand [m]."""
    results = [
        result
        for one in (found.launches if found else ())
        if isinstance(one.what, Launch) and (result := one.what.time(wish.measure.label, wish.start_rule)) is not None
    ]
    lengths = [result.distance_m for result in results if result.distance_m == result.distance_m]
    return max(lengths, default=None)
