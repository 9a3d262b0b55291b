"""What `compare` shows a person on one screen of 80 columns: the sentence, what to do next, the dots, the rest."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from textwrap import wrap

from traceanalyze.comparison import SHOWN_UNITS, BandResult, Comparison, CurveComparison, MeasureComparison
from traceanalyze.errors import shown
from traceanalyze.report.dotplot import axis_for, dot_lines, interval_line
from traceanalyze.report.tables import BOLD, PLAIN, table_text
from traceanalyze.results import round_half_up, uncertainty_decimals
from traceanalyze.units import SPEED_UNITS, System, speed_unit

WIDTH = 80
#: Columns for names at the left and means at the right of the dots.
_LEFT, _RIGHT = 18, 8
RULE_WORDS = {
    "rollout": "clock from 1 ft of rolling",
    "rest": "clock from the onset of motion",
    "threshold": "clock from 1 km/h",
}


def compare_text(comparison: Comparison, system: System = "imperial", *, bold: bool = False) -> str:
    """Return the whole screen of one comparison."""
    head = comparison.headline
    parts = [_wrapped(head.why, bold=bold), _wrapped(f"Next: {head.next_step}")]
    if any(len(runs) for runs in (head.baseline_runs, head.changed_runs)):
        parts.append(dots_text(head))
    if len(comparison.measures) > 1:
        parts.append(others_text(comparison.measures[1:]))
    if comparison.curves is not None:
        parts.append(range_text(comparison.curves, system))
    parts.append(notes_text(comparison))
    return "\n\n".join(part for part in parts if part)


def _wrapped(text: str, *, bold: bool = False, indent: str = "") -> str:
    lines = wrap(text, WIDTH, subsequent_indent=indent, break_on_hyphens=False)
    return "\n".join(f"{BOLD}{line}{PLAIN}" for line in lines) if bold else "\n".join(lines)


def dots_text(one: MeasureComparison) -> str:
    """Return the dot plot of one measure: a dot per run, the means, and the difference with its interval."""
    factor = SHOWN_UNITS[one.shown_unit]
    values = [run.value / factor for run in (*one.baseline_runs, *one.changed_runs)]
    axis = axis_for(values, WIDTH - _LEFT - _RIGHT)
    rule = f", {RULE_WORDS[one.start_rule]}" if one.start_rule else ""
    pad = " " * _LEFT
    lines = [f"{one.measure} in {one.shown_unit}{rule}; each mark a run, │ the mean", pad + axis.label_line()]
    sides = (
        (one.baseline, one.baseline_runs, one.baseline_mean, "●"),
        (one.changed, one.changed_runs, one.changed_mean, "■"),
    )
    for name, runs, mean, mark in sides:
        if runs:
            rows = dot_lines(axis, [run.value / factor for run in runs], mean / factor, mark)
            lines += [pad + row for row in rows[:-1]]
            lines.append(_labelled(name, len(runs), rows[-1], round_half_up(mean / factor, _decimals(one))))
    return "\n".join([*lines, *_difference_lines(one)])


def _labelled(name: str, count: int, row: str, mean: str) -> str:
    tail = f" n={count} "
    label = shown(name)
    room = _LEFT - len(tail)
    label = label if len(label) <= room else label[: room - 2] + ".."
    return f"{label:{room}}{tail}{row:{WIDTH - _LEFT - _RIGHT}}{mean:>{_RIGHT}}"


def _decimals(one: MeasureComparison) -> int:
    factor = SHOWN_UNITS[one.shown_unit]
    return min(2, uncertainty_decimals(one.stderr / factor)) if math.isfinite(one.stderr) else 2


def _difference_lines(one: MeasureComparison) -> Iterator[str]:
    if not math.isfinite(one.low95):
        yield f"difference: {signed(one.difference, one)}; no interval can be given"
        return
    factor = SHOWN_UNITS[one.shown_unit]
    x = one.smallest_meaningful / factor
    low95, middle, high95 = (value / factor for value in (one.low95, one.difference, one.high95))
    axis = axis_for([low95, middle, high95, -x, x], WIDTH - _LEFT - _RIGHT)
    low, high = (round_half_up(value, _decimals(one)) for value in (low95, high95))
    yield ""
    yield " " * _LEFT + axis.label_line()
    yield f"{'difference':{_LEFT}}{interval_line(axis, low95, middle, high95, marks=(-x, x))}"
    side = "left" if one.smaller_is_better else "right"
    yield (
        f"{signed(one.difference, one)}, 95 %: {low} to {high}; {side} of │ is better, "
        f": is {x:.3g} {one.shown_unit} either way"
    )


def signed(value: float, one: MeasureComparison) -> str:
    """Return a difference with its sign and unit, rounded by its uncertainty."""
    factor = SHOWN_UNITS[one.shown_unit]
    text = round_half_up(value / factor, _decimals(one))
    return f"{text if text.startswith('-') else '+' + text} {one.shown_unit}"


def others_text(others: Sequence[MeasureComparison]) -> str:
    """Return the table of the measures beside the headline."""
    rows = [
        [
            one.measure,
            f"{len(one.baseline_runs)} + {len(one.changed_runs)}",
            signed(one.difference, one) if math.isfinite(one.difference) else "-",
            _interval(one.low95, one.high95, one),
            one.verdict,
        ]
        for one in others
    ]
    title = "Also measured; being several, each must be clearer than the headline to count"
    return title + "\n" + table_text(["measure", "runs", "difference", "95 %", "verdict"], rows, indent="")


def _interval(low: float, high: float, one: MeasureComparison) -> str:
    if not math.isfinite(low):
        return "-"
    factor = SHOWN_UNITS[one.shown_unit]
    return f"{round_half_up(low / factor, _decimals(one))} to {round_half_up(high / factor, _decimals(one))}"


def range_text(curves: CurveComparison, system: System) -> str:
    """Return where in the range of speeds the difference lies: the sentence and its table."""
    lines = [_wrapped(f"Over the speed range: {curves.sentence}")]
    bands = [*curves.bands, *([curves.total] if curves.total else [])]
    if bands:
        rows = [[_band_name(band, system, band is curves.total), *_band_cells(band)] for band in bands]
        lines.append(table_text(["jointly right 95 in 100", "difference", "interval", "verdict"], rows, indent=""))
    return "\n".join(lines)


def _band_name(band: BandResult, system: System, total: bool) -> str:
    unit = speed_unit(system)
    low, high = (round_half_up(speed / SPEED_UNITS[unit], 0) for speed in (band.from_mps, band.to_mps))
    return f"{'all: ' if total else ''}{low}-{high} {unit}"


def _band_cells(band: BandResult) -> list[str]:
    texts = [round_half_up(value, 2) for value in (band.difference_s, band.low95_s, band.high95_s)]
    sign = "" if texts[0].startswith("-") else "+"
    return [f"{sign}{texts[0]} s", f"{texts[1]} to {texts[2]}", band.verdict]


def plain_words(one: MeasureComparison) -> list[str]:
    """Return what textbook tests say of a measure, in one line or none."""
    if one.plain is None:
        return []
    text = f"textbook tests, which know nothing of direction and drift: Welch p = {one.plain.welch.p_value:.2g}"
    if one.plain.permutation_of:
        text += (
            f", permutation {one.plain.permutation_count} of {one.plain.permutation_of} "
            f"(p cannot fall below {one.plain.permutation_least_p:.2g})"
        )
    return [text]


def notes_text(comparison: Comparison) -> str:
    """Return how it was judged, and every remark once; remarks on a measure beside the headline name it."""
    head = comparison.headline
    p = f"p = {head.p_value:.2g}; " if math.isfinite(head.p_value) else ""
    lines = [f"{head.measure}: {p}{head.model}.", *(remark.text for remark in comparison.remarks)]
    lines += [remark.text for remark in head.remarks]
    for one in comparison.measures[1:]:
        lines += [f"{one.measure}: {remark.text}" for remark in one.remarks if remark.text not in lines]
    lines += [remark.text for remark in (comparison.curves.remarks if comparison.curves else ())]
    lines += plain_words(head)
    return "\n".join(["Notes", *(_wrapped(f"- {shown(line)}", indent="  ") for line in dict.fromkeys(lines))])
