"""One measure of two setups -> a dot per run, and the difference with its interval."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from traceanalyze.comparison import SHOWN_UNITS, MeasureComparison
from traceanalyze.report.compare_text import RULE_WORDS
from traceanalyze.report.page.charts import chart_figure
from traceanalyze.report.page.markup import Markup, tag
from traceanalyze.report.page.svg import Frame, drawing, frame, line, marker
from traceanalyze.results import round_half_up

#: Longest names above the rows of dots, and two of them in one line.
_NAME, _HALF = 44, 20


def dots_chart(
    name: str, one: MeasureComparison, rows: Mapping[tuple[str, int], str], looks: tuple[int, int] = (0, 1)
) -> Markup:
    """Return a dot per run of each setup with the mean as a bar; nothing without a run.

    `rows` ties (file, launch) to a table row; `looks` are the numbers of both setups on the page.
    """
    factor = SHOWN_UNITS[one.shown_unit]
    sides = ((one.baseline, one.baseline_runs, one.baseline_mean), (one.changed, one.changed_runs, one.changed_mean))
    values = [v / factor for _, runs, _ in sides for r in runs for v in (r.value - r.stderr, r.value + r.stderr)]
    if not values:
        return Markup("")
    rule = f" ({RULE_WORDS[one.start_rule]})" if one.start_rule else ""
    xlabel = f"{one.measure} [{one.shown_unit}]{rule}"
    f = frame(_roomy(min(values), max(values)), (-0.45, 1.95), height=215, xlabel=xlabel, ylabel="")
    f = replace(f, y_ticks=((0.0, ""), (1.0, "")))
    content: list[Markup] = []
    for k, (setup, runs, mean) in enumerate(sides):
        y, look = f.y(1.0 - k), looks[k]
        content.append(_label(f, f"{_cut(setup)} (n = {len(runs)})", y - 24))
        for run in runs:
            row = rows.get((run.file, run.launch))
            x, reach = f.x(run.value / factor), abs(f.x(run.stderr / factor) - f.x(0))
            d = f"M{x - reach:.1f} {y:.1f}h{2 * reach:.1f}"
            content.append(tag("path", d=d, class_=f"line error s{look % 5}", data_run=row))
            content.append(marker(x, y, look, class_=f"mark s{look % 5}", data_run=row))
        if math.isfinite(mean):
            content.append(tag("path", d=f"M{f.x(mean / factor):.1f} {y - 15:.1f}v30", class_=f"line bar s{look % 5}"))
    caption = f"{one.measure}: a mark per run with its own standard uncertainty; the bar is the mean."
    spoken = "; ".join(
        f"{setup}: " + (", ".join(round_half_up(r.value / factor, 2) for r in runs) or "no run")
        for setup, runs, _ in sides
    )
    svg = drawing(f, content, name=name, description=f"{caption} {spoken} ({one.shown_unit}).")
    return chart_figure(name, svg, caption)


def interval_chart(name: str, one: MeasureComparison) -> Markup:
    """Return the difference with its 95 % interval beside no difference and what is too small to matter.

    Nothing when no interval can be given.
    """
    factor = SHOWN_UNITS[one.shown_unit]
    low, middle, high = (value / factor for value in (one.low95, one.difference, one.high95))
    if not math.isfinite(low):
        return Markup("")
    smallest = one.smallest_meaningful / factor
    xlabel = f"{_cut(one.changed, _HALF)} minus {_cut(one.baseline, _HALF)} [{one.shown_unit}]"
    span = _roomy(min(low, -smallest), max(high, smallest))
    f = replace(frame(span, (-1, 1), height=112, xlabel=xlabel, ylabel=""), y_ticks=((0.0, ""),))
    y, top, bottom = f.y(0.0), f.y.end, f.y.start
    begin, end = f.x(-smallest), f.x(smallest)
    d = f"M{f.x(low):.1f} {y - 9:.1f}v18M{f.x(low):.1f} {y:.1f}H{f.x(high):.1f}M{f.x(high):.1f} {y - 9:.1f}v18"
    content = [
        tag("rect", x=f"{begin:.1f}", y=f"{top:.1f}", width=f"{end - begin:.1f}", height=f"{bottom - top:.1f}",
            class_="band sd"),
        line(f, (0, 0), (-1, 1), class_="axis"),
        tag("path", d=d, class_="line mean sd"),
        marker(f.x(middle), y, 3, class_="mark full sd"),
    ]  # fmt: skip
    side = "left" if one.smaller_is_better else "right"
    caption = (
        f"Difference of the means with its 95 % interval; {side} of the line is better; grey: differences of less than "
        f"{smallest:.3g} {one.shown_unit} do not matter."
    )
    return chart_figure(name, drawing(f, content, name=name, description=caption), caption)


def _label(f: Frame, text: str, y: float) -> Markup:
    return tag("text", text, x=f"{f.x.start + 8:.1f}", y=f"{y:.1f}", class_="label")


def _cut(setup: str, most: int = _NAME) -> str:
    return setup if len(setup) <= most else setup[: most - 1] + "…"


def _roomy(low: float, high: float) -> tuple[float, float]:
    room = 0.06 * (high - low) or max(0.02 * abs(high), 0.01)
    return low - room, high + room
