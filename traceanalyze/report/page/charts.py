"""Results -> the page's charts over time and speed, each with a caption, a description and data to be read out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from traceanalyze.comparison import CurveComparison
from traceanalyze.judge.groups import SetupCurves
from traceanalyze.plots.timeline import minute_axis, roomy_numbers, thinned, with_breaks
from traceanalyze.report.page.markup import Markup, data_block, tag
from traceanalyze.report.page.svg import Frame, Ticks, band, drawing, frame, line, marker
from traceanalyze.results import Launch, RunSheet
from traceanalyze.trace import FloatArray, Trace
from traceanalyze.units import SPEED_UNITS, System, speed_unit
from traceanalyze.vehicle.engine import NO_ENGINE, EngineSpeeds
from traceanalyze.vehicle.gearing import engine_rpm_at

#: Most points a line keeps in the page; fewer where there are more runs than these.
MOST_POINTS, USUAL_RUNS = 140, 8
#: Most points of the line of a whole ride.
RIDE_POINTS = 1500
#: Look of a line that belongs to no setup: the difference of two.
NEUTRAL = "d"
#: So many lines look different from each other; then they begin again.
LOOKS = 5
ENGINE_LABEL = "engine speed [rpm]"
START_WORDS = "the clock starts after 0.3048 m, one foot, of rolling"


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of a chart: its run's name ties it to a table row; an empty one belongs to none.

    `look` is the number of its setup, or `NEUTRAL`; `weight` is `run`, `mean` or `edge`.
    """

    label: str
    run: str = ""
    look: int | str
    weight: str
    xs: tuple[float, ...]
    ys: tuple[float, ...]

    @property
    def classes(self) -> str:
        """Classes of its look, without what kind of thing it is."""
        return f"s{self.look % LOOKS}" if isinstance(self.look, int) else f"s{self.look}"


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
    f: Frame,
    caption: str,
    units: tuple[str, str],
    more: dict[str, Any] | None = None,
) -> Markup:
    """Return a chart of lines with what its readout needs; `more` goes into the readout's data."""
    drawn = [
        line(f, one.xs, one.ys, class_=f"line {one.weight} {one.classes}", data_run=one.run or None) for one in lines
    ]
    marks = [mark for one in lines if one.weight == "mean" for mark in _marks(f, one)]
    data = {
        "x": [f.x.low, f.x.high, f.x.start, f.x.end],
        "top": f.y.end,
        "bottom": f.y.start,
        "units": list(units),
        "lines": [{"label": one.label, "run": one.run, "x": _short(one.xs), "y": _short(one.ys)} for one in lines],
        **(more or {}),
    }
    svg = drawing(f, [*extra, *drawn, *marks], name=name, description=caption)
    return chart_figure(name, svg, caption, data)


def _marks(f: Frame, one: Line) -> list[Markup]:
    """A setup's marks along its line, begun at another place for each setup; none on a neutral line."""
    if not isinstance(one.look, int):
        return []
    places = range(len(one.xs) // 16 + one.look, len(one.xs), max(1, len(one.xs) // 8))
    return [
        marker(f.x(one.xs[k]), f.y(one.ys[k]), one.look, class_=f"mark {one.classes}")
        for k in places
        if math.isfinite(one.xs[k]) and math.isfinite(one.ys[k])
    ]


def _short(values: Sequence[float]) -> list[float | None]:
    return [round(v, 3) if math.isfinite(v) else None for v in values]


def run_name(setup: int, launch: int) -> str:
    """Return the name that ties a run's line to its row."""
    return f"r{setup}-{launch}"


def overlay_chart(setups: Sequence[SetupCurves], system: System, engine: EngineSpeeds = NO_ENGINE) -> Markup:
    """Return speed since the start mark: every run thin, each setup's mean thick with its band."""
    unit = speed_unit(system)
    factor = SPEED_UNITS[unit]
    most = _most_points(sum(len(setup.runs) for setup in setups))
    lines: list[Line] = []
    for k, setup in enumerate(setups):
        for j, run in enumerate(setup.runs):
            xs, ys = _thin(run.time_s, run.speed_mps / factor, most)
            name = run_name(k, j)
            lines.append(Line(label=f"{setup.name}, run {j + 1}", run=name, look=k, weight="run", xs=xs, ys=ys))
    for k, setup in enumerate(setups):
        xs, ys = _thin(setup.time_s, setup.speed_mps / factor)
        lines.append(Line(label=f"{setup.name}, mean", look=k, weight="mean", xs=xs, ys=ys))
    top = _top([y for one in lines for y in one.ys])
    f = frame(
        _range([x for one in lines for x in one.xs]),
        (0, top),
        height=380,
        xlabel="time since the start mark [s]",
        ylabel=f"speed [{unit}]",
        beside=engine_ticks(engine, top, factor),
        second_label=ENGINE_LABEL,
    )
    bands = [_overlay_band(f, setup, factor, k) for k, setup in enumerate(setups)]
    caption = (
        f"Speed since the start mark ({START_WORDS}) of {_named(setups)}. Thin: each run; thick with marks: mean of "
        "the setup and the 95 % band of that mean. The times stand in the table."
    )
    return line_chart("overlay", lines, bands, f, caption, ("s", unit))


def _overlay_band(f: Frame, setup: SetupCurves, factor: float, k: int) -> Markup:
    speeds, low = _thin(setup.speed_mps / factor, setup.time_low_s)
    _, high = _thin(setup.speed_mps / factor, setup.time_high_s)
    return band(
        f, list(zip(low, speeds, strict=True)), list(zip(high, speeds, strict=True)), class_=f"band s{k % LOOKS}"
    )


def acceleration_chart(setups: Sequence[SetupCurves], system: System, engine: EngineSpeeds = NO_ENGINE) -> Markup:
    """Return acceleration over speed: each setup's mean with the 95 % band of that mean."""
    unit = speed_unit(system)
    factor = SPEED_UNITS[unit]
    lines = []
    for k, setup in enumerate(setups):
        xs, ys = _thin(setup.speed_mps / factor, setup.accel_mps2)
        lines.append(Line(label=f"{setup.name}, mean", look=k, weight="mean", xs=xs, ys=ys))
    highs = [float(v) for setup in setups for v in (*setup.accel_high_mps2, *setup.accel_mps2)]
    f = _over_speed_frame(lines, (0, _top(highs)), 300, unit, "acceleration [m/s²]", engine)
    bands = [_acceleration_band(f, setup, factor, k) for k, setup in enumerate(setups)]
    note = f" {engine.note[:1].upper()}{engine.note[1:]}." if engine.note else ""
    caption = f"Acceleration over speed, mean of {_named(setups)} with its 95 % band.{note}"
    return line_chart("acceleration", lines, bands, f, caption, (unit, "m/s²"), _readout_rpm(engine, factor))


def _acceleration_band(f: Frame, setup: SetupCurves, factor: float, k: int) -> Markup:
    speeds, low = _thin(setup.speed_mps / factor, setup.accel_low_mps2)
    _, high = _thin(setup.speed_mps / factor, setup.accel_high_mps2)
    return band(
        f, list(zip(speeds, low, strict=True)), list(zip(speeds, high, strict=True)), class_=f"band s{k % LOOKS}"
    )


def _named(setups: Sequence[SetupCurves]) -> str:
    names = [
        f"{setup.name} ({len(setup.runs)} run{'' if len(setup.runs) == 1 else 's'})" for setup in setups if setup.runs
    ]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def legend(names: Sequence[str], weight: str = "mean") -> Markup:
    """Return the key: colour and dashes of each line, and its mark if it has any; `weight` as in `Line`."""
    items = []
    for k, name in enumerate(names):
        sample = tag(
            "svg",
            tag("path", d="M2 8H46", class_=f"line {weight} s{k % LOOKS}", fill="none"),
            marker(24, 8, k, class_=f"mark s{k % LOOKS}") if weight == "mean" else None,
            viewBox="0 0 48 16",
            width="48",
            height="16",
            aria_hidden="true",
        )
        items.append(tag("li", sample, " ", name))
    return tag("ul", *items, class_="legend")


def difference_chart(
    name: str,
    curves: CurveComparison,
    setups: tuple[str, str],
    system: System,
    engine: EngineSpeeds = NO_ENGINE,
) -> Markup:
    """Return the time difference over speed with the band that holds over all speeds at once; `setups` by name."""
    unit = speed_unit(system)
    speeds = curves.speed_mps / SPEED_UNITS[unit]
    xs, ys = _thin(speeds, curves.time_difference_s)
    _, low = _thin(speeds, curves.time_low95_s)
    _, high = _thin(speeds, curves.time_high95_s)
    lines = [Line(label="difference", look=NEUTRAL, weight="mean", xs=xs, ys=ys)]
    banded = any(map(math.isfinite, low))
    if banded:
        lines += [
            Line(label="band from", look=NEUTRAL, weight="edge", xs=xs, ys=low),
            Line(label="band to", look=NEUTRAL, weight="edge", xs=xs, ys=high),
        ]
    span = _padded(_range([*ys, *low, *high, 0.0]))
    f = _over_speed_frame(lines, span, 300, unit, "time difference [s]", engine)
    zero = line(f, (f.x.low, f.x.high), (0, 0), class_="axis")
    area = band(f, list(zip(xs, low, strict=True)), list(zip(xs, high, strict=True)), class_=f"band s{NEUTRAL}")
    base, changed = setups
    told = (
        "The band holds over all speeds at once, 95 times in 100."
        if banded
        else "There are too few runs, or runs of the wrong kind, for a band."
    )
    caption = f"Time to each speed, {changed} minus {base}: below zero {changed} is quicker. {told}"
    factor = SPEED_UNITS[unit]
    return line_chart(name, lines, [area, zero], f, caption, (unit, "s"), _readout_rpm(engine, factor))


def _over_speed_frame(
    lines: Sequence[Line], y_range: tuple[float, float], height: int, unit: str, ylabel: str, engine: EngineSpeeds
) -> Frame:
    top = _top([x for one in lines for x in one.xs])
    above = engine_ticks(engine, top, SPEED_UNITS[unit])
    return frame(
        (0, top),
        y_range,
        height=height + (40 if above else 0),
        xlabel=f"speed [{unit}]",
        ylabel=ylabel,
        above=above,
        second_label=ENGINE_LABEL,
    )


def engine_ticks(engine: EngineSpeeds, top: float, factor: float) -> Ticks:
    """Return engine speeds along a scale of road speeds from 0 to `top`, in a unit of `factor` m/s."""
    return [(speed / factor, f"{rpm:.0f}") for speed, rpm in engine.ticks(0.0, top * factor)]


def _readout_rpm(engine: EngineSpeeds, factor: float) -> dict[str, Any]:
    """Engine speed per shown unit of road speed, and the engine speed from which it is told."""
    if engine.train is None:
        return {}
    least = engine.train.engagement_rpm
    per_unit = float(engine_rpm_at(engine.train, factor))
    return {"rpm": [round(per_unit, 4), round(least, 1) if math.isfinite(least) else 0]}


def ride_chart(trace: Trace, sheet: RunSheet, system: System, name: str) -> Markup:
    """Return speed over the whole ride with launches and passes marked."""
    unit = speed_unit(system)
    factor = SPEED_UNITS[unit]
    axis = minute_axis(trace)
    t_s, speed_mps = thinned(*with_breaks(trace), RIDE_POINTS)
    xs, ys = axis.at(t_s).tolist(), (speed_mps / factor).tolist()
    tops = [one.sustained.value / factor for one in sheet.passes]
    f = frame((0, axis.length), (0, _top([*ys, *tops])), height=280, xlabel=axis.label, ylabel=f"speed [{unit}]")
    content = [line(f, xs, ys, class_="line ride s0")]
    starts = np.array([axis.at(launch.start.value) for launch in sheet.launches])
    numbers = [launch.number for launch in sheet.launches]
    content += [marker(f.x(at), f.y(0), 2, class_="mark full s1") for at in starts.tolist()]
    for k in roomy_numbers(starts / axis.length, numbers):
        place = {"x": f"{f.x(float(starts[k])):.1f}", "y": f"{f.y(0) - 8:.1f}"}
        content.append(tag("text", str(numbers[k]), **place, text_anchor="middle"))
    for one, top in zip(sheet.passes, tops, strict=True):
        begin, end = (f.x(float(axis.at(one.window_start_s + more))) for more in (0.0, one.window_s))
        content.append(tag("path", d=f"M{begin - 2:.1f} {f.y(top):.1f}H{end + 2:.1f}", class_="line pass"))
    caption = "Speed over the ride. Triangles: launches, with their numbers; bars: sustained speed of each pass."
    return chart_figure(name, drawing(f, content, name=name, description=caption), caption)


def launches_chart(launches: Sequence[Launch], system: System, name: str) -> Markup:
    """Return each launch since its start mark, laid over each other."""
    unit = speed_unit(system)
    most = _most_points(len(launches))
    lines = []
    drawn = [(launch, launch.curve) for launch in launches if launch.curve is not None]
    for k, (launch, curve) in enumerate(drawn):
        xs, ys = _thin(curve.time_s, curve.speed_mps / SPEED_UNITS[unit], most)
        run = f"{name}-{launch.number}"
        lines.append(Line(label=f"launch {launch.number}", run=run, look=k, weight="run", xs=xs, ys=ys))
    f = frame(_range([x for one in lines for x in one.xs]), (0, _top([y for one in lines for y in one.ys])),
              height=340, xlabel="time since the start mark [s]", ylabel=f"speed [{unit}]")  # fmt: skip
    caption = f"Each launch since its start mark ({START_WORDS}). The times stand in the table."
    return line_chart(name, lines, [], f, caption, ("s", unit))


def _most_points(runs: int) -> int:
    return max(24, MOST_POINTS * USUAL_RUNS // max(runs, USUAL_RUNS))


def _thin(xs: FloatArray, ys: FloatArray, most: int = MOST_POINTS) -> tuple[tuple[float, ...], tuple[float, ...]]:
    step = max(1, -(-xs.size // most))
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
