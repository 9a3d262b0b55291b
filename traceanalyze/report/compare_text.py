"""What `compare` shows a person on one screen of 80 columns: the sentence, what to do next, the dots, the rest."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from textwrap import wrap
from typing import TYPE_CHECKING

from traceanalyze.comparison import SHOWN_UNITS, BandResult, Comparison, CurveComparison, MeasureComparison
from traceanalyze.errors import shown
from traceanalyze.judge.sentences import decimals
from traceanalyze.report.corrected import CORRECTED_HEAD, corrected_caption, corrected_cells
from traceanalyze.report.dotplot import axis_for, dot_lines, interval_line
from traceanalyze.report.tables import BOLD, PLAIN, table_text
from traceanalyze.results import round_half_up
from traceanalyze.units import SPEED_UNITS, System, speed_unit
from traceanalyze.vehicle.engine import NO_ENGINE, EngineSpeeds

if TYPE_CHECKING:
    from traceanalyze.report.compared import Compared

WIDTH = 80
#: Columns for names at the left and means at the right of the dots.
_LEFT, _RIGHT = 18, 8
RULE_WORDS = {
    "rollout": "clock from 1 ft of rolling",
    "rest": "clock from the onset of motion",
    "threshold": "clock from 1 km/h",
}


def compared_text(found: Compared, *, bold: bool = False) -> str:
    """Return the screens of all comparisons; several have a title each, and a word on their being several."""
    screens = [compare_text(one, found.asked.system, bold=bold, engine=found.engine(one)) for one in found.comparisons]
    below = corrected_text(found)
    if len(screens) == 1:
        return screens[0] + below
    titles = [f"=== {shown(one.changed)[:36]} against {shown(one.baseline)[:30]}" for one in found.comparisons]
    parts = [f"{title}\n{screen}" for title, screen in zip(titles, screens, strict=True)]
    return "\n\n".join([*parts, _wrapped(several_words(len(screens)))]) + below


def corrected_text(found: Compared) -> str:
    """Return the table of means corrected for slope and air, to be put below all else; empty without the facts."""
    corrected = found.corrected_headline()
    if not corrected:
        return ""
    rows = [[shown(one.setup)[:20], *corrected_cells(one)] for one in corrected]
    caption = _wrapped(f"{corrected[0].measure}. {corrected_caption(corrected)}")
    return f"\n\n{caption}\n{table_text(['setup', *CORRECTED_HEAD], rows, indent='')}"


def several_words(count: int) -> str:
    """Return what has to be said of several comparisons on one page."""
    return (
        f"{count} comparisons: each is right by itself 95 times in 100, so the more of them, the likelier that one is "
        "not; confirm the part you choose with fresh runs."
    )


def compare_text(
    comparison: Comparison, system: System = "imperial", *, bold: bool = False, engine: EngineSpeeds = NO_ENGINE
) -> str:
    """Return the whole screen of one comparison; `engine` adds engine speeds to the ranges of speed."""
    head = comparison.headline
    parts = [_wrapped(head.why, bold=bold), _wrapped(f"Next: {head.next_step}")]
    if any(len(runs) for runs in (head.baseline_runs, head.changed_runs)):
        parts.append(dots_text(head))
    if len(comparison.measures) > 1:
        parts.append(others_text(comparison.measures[1:]))
    if comparison.curves is not None:
        parts.append(range_text(comparison.curves, system, engine))
    parts.append(notes_text(comparison, engine))
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
            lines.append(_labelled(name, len(runs), rows[-1], round_half_up(mean / factor, decimals(one))))
    return "\n".join([*lines, *_difference_lines(one)])


def _labelled(name: str, count: int, row: str, mean: str) -> str:
    tail = f" n={count} "
    label = shown(name)
    room = _LEFT - len(tail)
    label = label if len(label) <= room else label[: room - 2] + ".."
    return f"{label:{room}}{tail}{row:{WIDTH - _LEFT - _RIGHT}}{mean:>{_RIGHT}}"


def _difference_lines(one: MeasureComparison) -> Iterator[str]:
    if not math.isfinite(one.low95):
        yield f"difference: {_difference(one)}; no interval can be given"
        return
    factor = SHOWN_UNITS[one.shown_unit]
    x = one.smallest_meaningful / factor
    low95, middle, high95 = (value / factor for value in (one.low95, one.difference, one.high95))
    axis = axis_for([low95, middle, high95, -x, x], WIDTH - _LEFT - _RIGHT)
    low, high = (rounded(value, decimals(one)) for value in (low95, high95))
    yield ""
    yield " " * _LEFT + axis.label_line()
    yield f"{'difference':{_LEFT}}{interval_line(axis, low95, middle, high95, marks=(-x, x))}"
    side = "left" if one.smaller_is_better else "right"
    yield (
        f"{_difference(one)}, 95 %: {low} to {high}; {side} of │ is better, : is {x:.3g} {one.shown_unit} either way"
    )


def signed(value: float, places: int) -> str:
    """Return a rounded number with its sign; nothing is below zero by less than its last digit."""
    text = rounded(value, places)
    return text if text.startswith("-") else f"+{text}"


def rounded(value: float, places: int) -> str:
    """Return a rounded number; zero has no sign."""
    text = round_half_up(value, places)
    return text.removeprefix("-") if float(text) == 0.0 else text


def _difference(one: MeasureComparison) -> str:
    return f"{signed(one.difference / SHOWN_UNITS[one.shown_unit], decimals(one))} {one.shown_unit}"


def others_text(others: Sequence[MeasureComparison]) -> str:
    """Return the table of the measures beside the headline."""
    rows = [
        [
            one.measure,
            f"{len(one.baseline_runs)} + {len(one.changed_runs)}",
            _difference(one) if math.isfinite(one.difference) else "-",
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
    return f"{rounded(low / factor, decimals(one))} to {rounded(high / factor, decimals(one))}"


def range_text(curves: CurveComparison, system: System, engine: EngineSpeeds = NO_ENGINE) -> str:
    """Return where in the range of speeds the difference lies: the sentence and its table."""
    lines = [_wrapped(f"Over the speed range: {curves.sentence}")]
    bands = [*curves.bands, *([curves.total] if curves.total else [])]
    if bands:
        rpm = engine.train is not None
        rows = [
            [
                band_name(band, system, band is curves.total),
                *_band_cells(band),
                *([_rpm_cell(band, engine)] if rpm else []),
            ]
            for band in bands
        ]
        head = ["speeds", "difference", "interval", "verdict", *(["rpm"] if rpm else [])]
        lines += ["All of these intervals hold at once, 95 times in 100", table_text(head, rows, indent="")]
        if rpm and any(row[-1].endswith("!") for row in rows):
            lines.append("! above your limit")
    return "\n".join(lines)


def _rpm_cell(band: BandResult, engine: EngineSpeeds) -> str:
    """Engine speeds of a range in few columns: `2600-3900`, with `!` where they pass the builder's limit."""
    text, limited, _ = engine.range_text(band.from_mps, band.to_mps).partition(", above your limit")
    return f"{text if text.startswith('up') else text.replace(' to ', '-')}{'!' if limited else ''}"


def band_name(band: BandResult, system: System, total: bool) -> str:
    """Return a range of speeds in shown units."""
    unit = speed_unit(system)
    low, high = (round_half_up(speed / SPEED_UNITS[unit], 0) for speed in (band.from_mps, band.to_mps))
    return "total" if total else f"{low}-{high} {unit}"


def _band_cells(band: BandResult) -> list[str]:
    ends = f"{rounded(band.low95_s, 2)} to {rounded(band.high95_s, 2)}" if math.isfinite(band.low95_s) else "-"
    return [f"{signed(band.difference_s, 2)} s", ends, band.verdict]


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


def notes_text(comparison: Comparison, engine: EngineSpeeds = NO_ENGINE) -> str:
    """Return how it was judged, and every remark once; remarks on a measure beside the headline name it."""
    head = comparison.headline
    p = f"p = {head.p_value:.2g}; " if math.isfinite(head.p_value) else ""
    lines = [f"{head.measure}: {p}{head.model}.", *(remark.text for remark in comparison.remarks)]
    lines += [remark.text for remark in head.remarks]
    for one in comparison.measures[1:]:
        lines += [f"{one.measure}: {remark.text}" for remark in one.remarks if remark.text not in lines]
    if comparison.curves is not None:
        lines += [remark.text for remark in comparison.curves.remarks]
        lines += [engine.note] if engine.note else []
    lines += plain_words(head)
    return "\n".join(["Notes", *(_wrapped(f"- {shown(line)}", indent="  ") for line in dict.fromkeys(lines))])
