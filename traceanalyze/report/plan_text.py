"""The plan for the next runs, to be printed and taken along: 80 columns, boxes to tick, lines to write on."""

from __future__ import annotations

import math
from collections.abc import Iterator
from textwrap import wrap

from traceanalyze.comparison import SHOWN_UNITS
from traceanalyze.errors import shown
from traceanalyze.judge.planning import MOST_PLANNED, Plan
from traceanalyze.judge.strip import Strip
from traceanalyze.report.tables import counted, table_text
from traceanalyze.results import round_half_up
from traceanalyze.units import LENGTH_UNITS, SPEED_UNITS, System, length_unit, speed_unit

WIDTH = 80
#: Runs of each setup that a day holds; a longer plan is a set of 4 and 4 to be repeated.
A_DAY_EACH = 12


def plan_text(plan: Plan, system: System = "imperial") -> str:
    """Return the whole plan as text."""
    parts = [_headline(plan), *([_wrapped(f"{shown(plan.source)}.")] if plan.source else [])]
    if plan.possible:
        parts += [_sheet(plan), _looks(plan)]
    parts.append(_table(plan))
    if plan.choices:
        parts.append(_choices(plan))
    if plan.strips:
        parts.append("\n".join(["Strip", *(line for strip in plan.strips for line in _strip(strip, system))]))
    parts.append("\n".join(["Before the first run", *(_item(f"☐ {line}") for line in plan.safety)]))
    return "\n\n".join(parts)


def _wrapped(text: str, indent: str = "") -> str:
    return "\n".join(wrap(text, WIDTH, subsequent_indent=indent, break_on_hyphens=False))


def _item(text: str) -> str:
    return _wrapped(text, indent="  ")


def amount(value: float, plan: Plan) -> str:
    """Return a difference or scatter in the shown unit."""
    factor = SHOWN_UNITS[plan.shown_unit]
    return f"{round_half_up(value / factor, 2)} {plan.shown_unit}" if math.isfinite(value) else "-"


def _headline(plan: Plan) -> str:
    scatter = f"with runs that vary by {amount(plan.scatter, plan)} ({plan.scatter_source})"
    sought = f"a difference of {amount(plan.difference, plan)} in {plan.measure}"
    if not plan.possible:
        text = f"Not by riding: {sought} would take more than {MOST_PLANNED} runs of each setup {scatter}."
        return _wrapped(f"{text} Look for a larger difference, or time what varies less.")
    text = f"{counted(plan.runs_each, 'run')} of each setup will show {sought}, 80 times in 100, {scatter}."
    return _wrapped(text)


def _sheet(plan: Plan) -> str:
    long = plan.runs_each > A_DAY_EACH
    runs = plan.runs[:8] if long else plan.runs
    letters = dict(zip(plan.names, "AB", strict=True))
    fitted = {name: letter if name == letter else f"{letter} ({shown(name)[:40]})" for name, letter in letters.items()}
    names = ", ".join(f"{letter} = {shown(name)}" for name, letter in letters.items() if name != letter)
    lines = [
        _wrapped(f"Run sheet{': ' + names if names else ''}; decide now that {plan.measure} counts"),
        _item("☐ warm the engine up; ride one run that will not count, whatever its time"),
    ]
    for run in runs:
        if run.mount:
            lines.append(f"  fit {fitted[run.setup]}")
        lines.append(f"☐ {run.place:3d}  {run.direction:6s} time ________  note ______________________")
    if long:
        times = math.ceil(plan.runs_each / 4)
        text = f"Ride these 8 runs {times} times, on as many days as it takes; each set is compared within its day."
        lines.append(_wrapped(text))
    ways = list(dict.fromkeys(run.direction for run in runs))
    note = (
        f"Ways: {' and '.join(ways)} in turn. Leave a run out only for a reason that you note before you see its time."
    )
    return "\n".join([*lines, _wrapped(note)])


def _looks(plan: Plan) -> str:
    if len(plan.looks) == 1:
        return _wrapped("Look at the verdict once, when all runs are made: looking after each pair finds flukes.")
    (half, first), (n, last) = plan.looks
    text = (
        f"Look at most twice: after {half} runs each believe it only if p is below {first:g}, after all {n} if p is "
        f"below {last:g}. Looking after each pair and stopping at 0.05 makes 11 to 20 false claims in 100."
    )
    return _wrapped(text)


def _table(plan: Plan) -> str:
    rows = [
        [
            str(row.runs_each),
            row.order if len(row.order) <= 24 else row.order[:21] + "...",
            amount(row.smallest, plan),
            amount(row.smallest_plain, plan),
        ]
        for row in plan.rows
    ]
    head = ["runs each", "order", "smallest shown", "today's runs alone"]
    return "What a plan can show, 80 times in 100\n" + table_text(head, rows, indent="")


def _choices(plan: Plan) -> str:
    rows = [
        [
            choice.measure,
            f"{choice.mean_s:.2f} s",
            f"{choice.scatter_s:.3f} s",
            f"{100 * choice.scatter_s / choice.mean_s:.1f} %",
            f"{choice.difference_s:.3f} s",
            str(choice.runs_each) if choice.runs_each <= MOST_PLANNED else f"over {MOST_PLANNED}",
        ]
        for choice in plan.choices
    ]
    head = ["measure", "mean", "scatter", "share", "change", "runs each"]
    note = (
        f"By these runs {plan.choices[0].measure} would show a change that takes the same share off all times with the "
        "fewest runs. Choose now, not after the runs; a part that works only at the launch changes no rolling time."
    )
    return "Which measure to name\n" + table_text(head, rows, indent="") + "\n" + _wrapped(note)


def _strip(strip: Strip, system: System) -> Iterator[str]:
    unit = length_unit(system)
    speed = round_half_up(strip.top_mps / SPEED_UNITS[speed_unit(system)], 0)
    parts = [("run-up", strip.run_up_m), ("pass", strip.pass_m), ("stop", strip.stop_m)]
    said = " + ".join(f"{name} {_length(length, unit)}" for name, length in parts if length)
    yield _item(
        f"- {strip.purpose}, up to {speed} {speed_unit(system)}: {said} = {_length(strip.total_m, unit)} {unit}; "
        f"stop with {strip.deceleration_mps2:g} m/s^2 after {strip.reaction_s:g} s; run-up: {strip.basis}"
    )


def _length(length_m: float, unit: str) -> str:
    """Rounded up to ten: a strip is never too long."""
    return str(math.ceil(length_m / LENGTH_UNITS[unit] / 10) * 10)
