"""Results -> the page's charts, each with a caption, a description and the data its script reads out."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from traceanalyze.comparison import SHOWN_UNITS, CurveComparison, MeasureComparison
from traceanalyze.judge.groups import SetupCurves
from traceanalyze.plots.drive import thinned
from traceanalyze.report.page.markup import Markup, data_block, joined, tag
from traceanalyze.report.page.svg import band, drawing, frame, line, marker
from traceanalyze.results import Launch, RunSheet
from traceanalyze.trace import FloatArray, Trace
from traceanalyze.units import SPEED_UNITS, System, speed_unit

#: Most points a line keeps in the page.
MOST_POINTS = 160


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of a chart: its run's name ties it to a table row; an empty one belongs to none."""

    label: str
    run: str
    look: int
    weight: str
    xs: tuple[float, ...]
    ys: tuple[float, ...]


def chart_figure(name: str, svg: Markup, caption: str, data: dict[str, Any] | None = None) -> Markup:
    """Return a figure; with data it can be read out by pointer and by the arrow keys."""
    hint = tag("output", "", class_="readout", data_for=name, aria_live="polite") if data else None
    block = data_block(f"data-{name}", data) if data else None
    holder = tag("div", svg, class_="chart", id=name, tabindex="0" if data else None)
    return tag("figure", holder, hint, tag("figcaption", caption), block)


def line_chart(
    name: str,
    lines: Sequence[Line],
    extra: Sequence[Markup],
    f: Any,
    caption: str,
    description: str,
    units: tuple[str, str],
) -> Markup:
    """Return a chart of lines with what its readout needs."""
    drawn = [
        line(f, one.xs, one.ys, class_=f"line {one.weight} s{one.look % 5}", data_run=one.run or None) for one in lines
    ]
    marks = [
        marker(f.x(one.xs[k]), f.y(one.ys[k]), one.look, class_=f"mark s{one.look % 5}", data_run=one.run or None)
        for one in lines
        if one.weight == "mean"
        for k in range(len(one.xs) // 16 + one.look, len(one.xs), max(1, len(one.xs) // 8))
        if math.isfinite(one.xs[k]) and math.isfinite(one.ys[k])
    ]
    data = {
        "x": [f.x.low, f.x.high, f.x.start, f.x.end],
        "top": f.y.end,
        "bottom": f.y.start,
        "units": list(units),
        "lines": [{"label": one.label, "run": one.run, "x": _short(one.xs), "y": _short(one.ys)} for one in lines],
    }
    svg = drawing(f, [*extra, *drawn, *marks], name=name, description=description)
    return chart_figure(name, svg, caption, data)


def _short(values: Sequence[float]) -> list[float | None]:
    return [round(v, 3) if math.isfinite(v) else None for v in values]


def run_name(setup: int, launch: int) -> str:
    """Return the name that ties a run's line to its row."""
    return f"r{setup}-{launch}"


def overlay_chart(setups: Sequence[SetupCurves], system: System) -> Markup:
    """Return speed since the start mark: every run thin, each setup's mean thick with its band."""
    unit = speed_unit(system)
    factor = SPEED_UNITS[unit]
    lines: list[Line] = []
    bands: list[tuple[int, list[tuple[float, float]], list[tuple[float, float]]]] = []
    for k, setup in enumerate(setups):
        for j, run in enumerate(setup.runs):
            xs, ys = _thin(run.time_s, run.speed_mps / factor)
            lines.append(
                Line(label=f"{setup.name}, run {j + 1}", run=run_name(k, j), look=k, weight="run", xs=xs, ys=ys)
            )
    for k, setup in enumerate(setups):
        xs, ys = _thin(setup.time_s, setup.speed_mps / factor)
        lines.append(Line(label=f"{setup.name}, mean", run="", look=k, weight="mean", xs=xs, ys=ys))
        speeds = setup.speed_mps / factor
        low = list(zip(setup.time_low_s.tolist(), speeds.tolist(), strict=True))
        high = list(zip(setup.time_high_s.tolist(), speeds.tolist(), strict=True))
        bands.append((k, low, high))
    f = frame(_range([x for one in lines for x in one.xs]), (0, _top([y for one in lines for y in one.ys])),
              height=380, xlabel="time since the start mark [s]", ylabel=f"speed [{unit}]")  # fmt: skip
    extra = [band(f, low, high, class_=f"band s{k % 5}") for k, low, high in bands]
    names = ", ".join(f"{setup.name} ({len(setup.runs)} runs)" for setup in setups)
    caption = (
        "Speed since the start mark (the clock starts after 0.3048 m, one foot, of rolling). Thin: each run; "
        "thick with marks: mean of the setup and the 95 % band of that mean."
    )
    description = f"Line chart of speed over time since the start mark for {names}. The same times stand in the table."
    return joined([legend(setups), line_chart("overlay", lines, extra, f, caption, description, ("s", unit))])


def legend(setups: Sequence[SetupCurves]) -> Markup:
    """Return the key: colour, dashes and mark of each setup."""
    items = []
    for k, setup in enumerate(setups):
        sample = tag(
            "svg",
            tag("path", d="M2 8H46", class_=f"line mean s{k % 5}", fill="none"),
            marker(24, 8, k, class_=f"mark s{k % 5}"),
            viewBox="0 0 48 16",
            width="48",
            height="16",
            aria_hidden="true",
        )
        items.append(tag("li", sample, " ", setup.name))
    return tag("ul", *items, class_="legend")


def difference_chart(curves: CurveComparison, baseline: str, changed: str, system: System) -> Markup:
    """Return the time difference over speed with the band that holds over all speeds at once."""
    unit = speed_unit(system)
    speeds = curves.speed_mps / SPEED_UNITS[unit]
    xs, ys = _thin(speeds, curves.time_difference_s)
    _, low = _thin(speeds, curves.time_low95_s)
    _, high = _thin(speeds, curves.time_high95_s)
    values = [*ys, *low, *high, 0.0]
    f = frame(
        (0, _top(xs)), _padded(_range(values)), height=300, xlabel=f"speed [{unit}]", ylabel="time difference [s]"
    )
    lines = [
        Line(label="difference", run="", look=1, weight="mean", xs=xs, ys=ys),
        Line(label="band from", run="", look=1, weight="edge", xs=xs, ys=low),
        Line(label="band to", run="", look=1, weight="edge", xs=xs, ys=high),
    ]
    zero = line(f, (f.x.low, f.x.high), (0, 0), class_="axis")
    area = band(f, list(zip(xs, low, strict=True)), list(zip(xs, high, strict=True)), class_="band s1")
    caption = (
        f"Time to each speed, {changed} minus {baseline}: below zero {changed} is quicker. "
        "The band holds over all speeds at once, 95 times in 100."
    )
    return line_chart("difference", lines, [area, zero], f, caption, caption, (unit, "s"))


def dots_chart(one: MeasureComparison, names: Mapping[tuple[str, int], str]) -> Markup:
    """Return a dot per run of each setup with the mean as a bar; `names` ties (file, launch) to a table row."""
    factor = SHOWN_UNITS[one.shown_unit]
    sides = ((one.baseline, one.baseline_runs, one.baseline_mean), (one.changed, one.changed_runs, one.changed_mean))
    values = [v / factor for _, runs, _ in sides for r in runs for v in (r.value - r.stderr, r.value + r.stderr)]
    xlabel = f"{one.measure} [{one.shown_unit}]"
    f = frame(_padded(_range(values)), (-0.45, 1.95), height=215, xlabel=xlabel, ylabel="")
    f = replace(f, y_ticks=((0.0, ""), (1.0, "")))
    content: list[Markup] = []
    for k, (name, runs, mean) in enumerate(sides):
        y = f.y(1.0 - k)
        content.append(
            tag("text", _label(name, len(runs)), x=f"{f.x.start + 8:.1f}", y=f"{y - 24:.1f}", class_="label")
        )
        for run in runs:
            row = names.get((run.file, run.launch))
            x, reach = f.x(run.value / factor), abs(f.x(run.stderr / factor) - f.x(0))
            d = f"M{x - reach:.1f} {y:.1f}h{2 * reach:.1f}"
            content.append(tag("path", d=d, class_=f"line run s{k}", data_run=row))
            content.append(marker(x, y, k, class_=f"mark s{k}", data_run=row))
        if math.isfinite(mean):
            content.append(tag("path", d=f"M{f.x(mean / factor):.1f} {y - 15:.1f}v30", class_=f"line mean s{k}"))
    caption = f"{one.measure}: a mark per run with its own standard uncertainty; the bar is the mean."
    spoken = "; ".join(
        f"{name}: " + (", ".join(f"{r.value / factor:.2f}" for r in runs) or "no run") for name, runs, _ in sides
    )
    described = f"{caption} {spoken} ({one.shown_unit})."
    return chart_figure("dots", drawing(f, content, name="dots", description=described), caption)


def ride_chart(trace: Trace, sheet: RunSheet, system: System, name: str) -> Markup:
    """Return speed over the whole ride with launches and passes marked."""
    unit = speed_unit(system)
    factor = SPEED_UNITS[unit]
    t_s, speed_mps = thinned(trace.t_s, trace.speed_mps)
    step = max(1, t_s.size // 1500)
    xs, ys = (t_s[::step] / 60).tolist(), (speed_mps[::step] / factor).tolist()
    f = frame(
        (0, _top(xs, 1.0)),
        (0, _top(ys)),
        height=280,
        xlabel="time from the start of the log [min]",
        ylabel=f"speed [{unit}]",
    )
    content = [line(f, xs, ys, class_="line ride s0")]
    for launch in sheet.launches:
        content.append(marker(f.x(launch.start.value / 60), f.y(0), 2, class_="mark full s1"))
        content.append(
            tag(
                "text",
                str(launch.number),
                x=f"{f.x(launch.start.value / 60):.1f}",
                y=f"{f.y(0) - 8:.1f}",
                text_anchor="middle",
            )
        )
    for one in sheet.passes:
        x1, x2, y = (
            f.x(one.window_start_s / 60),
            f.x((one.window_start_s + one.window_s) / 60),
            f.y(one.sustained.value / factor),
        )
        content.append(tag("path", d=f"M{x1 - 2:.1f} {y:.1f}H{x2 + 2:.1f}", class_="line pass"))
    caption = "Speed over the ride. Triangles: launches, with their numbers; bars: sustained speed of each pass."
    return chart_figure(name, drawing(f, content, name=name, description=caption), caption)


def launches_chart(launches: Sequence[Launch], system: System, name: str) -> Markup:
    """Return each launch since its start mark, laid over each other."""
    unit = speed_unit(system)
    lines = []
    for k, launch in enumerate(launches):
        if launch.curve is None:
            continue
        xs, ys = _thin(launch.curve.time_s, launch.curve.speed_mps / SPEED_UNITS[unit])
        lines.append(
            Line(label=f"launch {launch.number}", run=f"{name}-{launch.number}", look=k, weight="run", xs=xs, ys=ys)
        )
    f = frame(_range([x for one in lines for x in one.xs]), (0, _top([y for one in lines for y in one.ys])),
              height=340, xlabel="time since the start mark [s]", ylabel=f"speed [{unit}]")  # fmt: skip
    caption = "Each launch since its start mark (the clock starts after 0.3048 m, one foot, of rolling)."
    return line_chart(name, lines, [], f, caption, caption + " The times stand in the table.", ("s", unit))


def _label(name: str, count: int) -> str:
    short = name if len(name) <= 40 else name[:39] + "…"
    return f"{short} (n = {count})"


def _thin(xs: FloatArray, ys: FloatArray) -> tuple[tuple[float, ...], tuple[float, ...]]:
    step = max(1, -(-xs.size // MOST_POINTS))
    keep = np.unique(np.append(np.arange(0, xs.size, step), max(xs.size - 1, 0))) if xs.size else np.empty(0, int)
    return tuple(xs[keep].tolist()), tuple(ys[keep].tolist())


def _range(values: Sequence[float]) -> tuple[float, float]:
    known = [v for v in values if math.isfinite(v)]
    return (min(known), max(known)) if known else (0.0, 1.0)


def _padded(span: tuple[float, float]) -> tuple[float, float]:
    room = 0.08 * (span[1] - span[0]) or 0.1
    return span[0] - room, span[1] + room


def _top(values: Sequence[float], room: float = 1.05) -> float:
    return max((v for v in values if math.isfinite(v)), default=1.0) * room or 1.0
