"""The one plain sentence on a measure, and what to do next: read outdoors, with gloves on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import fmean

from traceanalyze import settings
from traceanalyze.comparison import SHOWN_UNITS, MeasureComparison, Run
from traceanalyze.errors import shown
from traceanalyze.judge.power import MOST_RUNS
from traceanalyze.judge.quantity import Quantity
from traceanalyze.results import round_half_up, uncertainty_decimals

FITTING = "Holds for this fitting of the part."
#: More runs of each setup than this is more than a day holds.
A_DAY_OF_RUNS = 20
#: Decimals that people are shown at most, by unit, when the uncertainty is not finer still.
_USUAL_DECIMALS = {"s": 2, "mph": 1, "km/h": 1, "kn": 1, "m/s": 2}


def name(setup: str, most: int = 40) -> str:
    """Return a setup's name as it can be printed in a sentence."""
    text = shown(setup)
    return text if len(text) <= most else text[: most - 3] + "..."


def decimals(found: MeasureComparison) -> int:
    """Return how many decimals the numbers of a comparison deserve: by its uncertainty, no bound shown as zero."""
    factor = SHOWN_UNITS[found.shown_unit]
    usual = _USUAL_DECIMALS[found.shown_unit]
    places = min(usual + 1, uncertainty_decimals(found.stderr / factor))
    if not math.isfinite(found.stderr) or found.stderr / factor >= 0.5 * 10.0**-usual:
        places = min(places, usual)
    nearest = min(abs(found.low95), abs(found.high95)) / factor if math.isfinite(found.low95) else 1.0
    while places < usual + 2 and nearest < 0.5 * 10.0**-places:
        places += 1
    return places


def amount(value: float, found: MeasureComparison, places: int | None = None) -> str:
    """Return the size of a value in the shown unit, with the unit."""
    text = round_half_up(abs(value) / SHOWN_UNITS[found.shown_unit], decimals(found) if places is None else places)
    return f"{text} {found.shown_unit}"


def threshold(found: MeasureComparison) -> str:
    """Return the smallest difference that matters, in the shown unit."""
    value = found.smallest_meaningful / SHOWN_UNITS[found.shown_unit]
    text = f"{value:.3g}"
    usual = _USUAL_DECIMALS[found.shown_unit]
    return (
        f"{value:.{usual}f} {found.shown_unit}" if float(text) == round(value, usual) else f"{text} {found.shown_unit}"
    )


def why(found: MeasureComparison, nature: Quantity) -> str:
    """Return the sentence for the verdict."""
    writers = {
        "few runs": _few_runs,
        "day": _by_day,
        "direction": _by_direction,
        "order": _by_order,
        "claim": _claim,
        "within": _within,
    }
    return writers.get(found.reason, _open)(found, nature)


def _claim(found: MeasureComparison, nature: Quantity) -> str:
    word = nature.better if found.gain > 0 else nature.worse
    ends = sorted((abs(found.low95), abs(found.high95)))
    places = decimals(found)
    span = f"between {amount(ends[0], found, places).split()[0]} and {amount(ends[1], found, places)}"
    head = (
        f"{word.capitalize()} with {name(found.changed)}: {found.measure} by {amount(found.difference, found)} ({span})"
    )
    return f"{head}, {_size(ends, found)}. {FITTING}"


def _size(ends: Sequence[float], found: MeasureComparison) -> str:
    if ends[0] > found.smallest_meaningful:
        return f"clearly more than {threshold(found)}"
    if ends[1] < found.smallest_meaningful:
        return f"less than {threshold(found)}: too small to matter"
    return f"perhaps less than the {threshold(found)} that matters"


def _within(found: MeasureComparison, nature: Quantity) -> str:
    return (
        f"No meaningful difference: with {name(found.changed)} {found.measure} is {_from_to(found, nature)}; "
        f"no difference larger than {threshold(found)}. {FITTING}"
    )


def _from_to(found: MeasureComparison, nature: Quantity) -> str:
    """Both ends of the interval in words: 'between 0.06 s slower and 0.20 s quicker'."""
    gains = sorted((-found.low95, -found.high95) if found.smaller_is_better else (found.low95, found.high95))
    low, high = (f"{amount(gain, found)} {nature.better if gain > 0 else nature.worse}" for gain in gains)
    return f"between {low} and {high}"


def _open(found: MeasureComparison, nature: Quantity) -> str:
    gains = sorted((-found.low95, -found.high95) if found.smaller_is_better else (found.low95, found.high95))
    who = f"with {name(found.changed)} {found.measure}"
    if gains[0] < 0 < gains[1]:
        may = f"may be {amount(gains[1], found)} {nature.better} or {amount(gains[0], found)} {nature.worse}"
    else:
        may = f"looks {_from_to(found, nature)}"
    if found.reason == "several":
        return f"Cannot tell yet: {who} {may}, but one of several measures can look so by chance; {_more(found)}."
    return f"Cannot tell yet: {who} {may}; {_more(found)}."


def _more(found: MeasureComparison) -> str:
    k = found.more_runs_each
    if k >= MOST_RUNS:
        return f"no day of riding would show a difference of {threshold(found)}"
    if k > A_DAY_OF_RUNS:
        return f"a difference of {threshold(found)} would take about {k} more runs each"
    return f"about {k} more {runs_word(k)} each would show a difference of {threshold(found)}"


def runs_word(count: int) -> str:
    """Return 'run' or 'runs'."""
    return "run" if count == 1 else "runs"


def _few_runs(found: MeasureComparison, nature: Quantity) -> str:
    parts = []
    for setup, runs in ((found.baseline, found.baseline_runs), (found.changed, found.changed_runs)):
        if len(runs) < 2:
            parts.append(f"{'one run' if runs else 'no run'} of {name(setup)}")
    verb = "are" if len(parts) > 1 else "is"
    there = f"for {found.measure} there {verb} {' and '.join(parts)}"
    return f"Cannot tell yet: {there}: one run is not enough; {_more(found)}."


def _by_direction(found: MeasureComparison, nature: Quantity) -> str:
    ways = [f"{name(setup)} ran {_ways(runs)}" for setup, runs in _both(found)]
    return (
        f"Confounded: {ways[0]} and {ways[1]}, so wind or slope cannot be told from the part; run each setup both ways."
    )


def _both(found: MeasureComparison) -> tuple[tuple[str, Sequence[Run]], tuple[str, Sequence[Run]]]:
    return (found.baseline, found.baseline_runs), (found.changed, found.changed_runs)


def _ways(runs: Sequence[Run]) -> str:
    labels = list(dict.fromkeys(run.direction for run in runs))
    return " and ".join(shown(label) or "an unknown way" for label in labels) + (" only" if len(labels) == 1 else "")


def _by_day(found: MeasureComparison, nature: Quantity) -> str:
    return (
        f"Confounded: {name(found.baseline)} and {name(found.changed)} ran on different days, and days differ by more "
        "than parts do; run both on one day, in turn."
    )


def _by_order(found: MeasureComparison, nature: Quantity) -> str:
    first, later = _first_and_later(found)
    return (
        f"Confounded: {later} also ran later, and a day that changes by itself could look like this "
        f"(with {name(found.changed)} {found.measure} {_direct(found, nature)}); run {first} again."
    )


def _first_and_later(found: MeasureComparison) -> tuple[str, str]:
    names = sorted(_both(found), key=lambda pair: fmean(run.order for run in pair[1]))
    return name(names[0][0]), name(names[1][0])


def _direct(found: MeasureComparison, nature: Quantity) -> str:
    return f"{amount(found.difference, found)} {nature.better if found.gain > 0 else nature.worse}"


def next_step(found: MeasureComparison) -> str:
    """Return what to do now, in the imperative."""
    a, b = name(found.baseline), name(found.changed)
    k = f"{found.more_runs_each} {runs_word(found.more_runs_each)}"
    if found.reason == "direction":
        return f"Run {a} and {b} again, {k} each, every setup as often one way as the other."
    if found.reason == "day":
        return f"Run both on one day: {a}, {b}, {b}, {a}, each both ways."
    if found.reason == "order":
        return f"Fit {_first_and_later(found)[0]} again now, make {k}, and compare all of them together."
    if found.reason == "claim":
        return _after_claim(found, a, b)
    if found.reason == "within":
        return "Stop here: choose by price, weight or wear."
    if found.more_runs_each > A_DAY_OF_RUNS:
        return "More of the same will not do: ride a steadier launch, or time what varies less (traceanalyze plan)."
    if found.order_r2 > settings.FIT_DRIFT_R2:
        return f"Fit {_first_and_later(found)[0]} again now and make {k} each, so that neither setup ran later."
    more = f"{found.more_runs_each} more {runs_word(found.more_runs_each)}"
    return f"Make {more} each, changing over in between ({a}, {b}, {b}, {a}), each setup both ways."


def _after_claim(found: MeasureComparison, a: str, b: str) -> str:
    if max(abs(found.low95), abs(found.high95)) < found.smallest_meaningful:
        return "Too small to matter: choose by price, weight or wear."
    if found.gain > 0:
        return f"Keep {b}. To be sure of the part rather than of one fitting, fit it anew and repeat 2 runs each way."
    return f"Go back to {a}, or fit {b} anew once before giving it up."
