"""What `measure` shows a person: the sentence first, then the numbers, then the notes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from statistics import fmean, median

from traceanalyze.errors import shown
from traceanalyze.report.tables import clock_text, counted, heading_text, table_text
from traceanalyze.results import Launch, Pass, RunSheet, round_half_up
from traceanalyze.session import Asked
from traceanalyze.units import LENGTH_UNITS, SPEED_UNITS, length_unit, speed_unit

#: What each start rule means, for a heading.
RULE_WORDS = {
    "rollout": "the clock starts after 1 ft (0.3048 m) of rolling",
    "rest": "the clock starts at the onset of motion",
    "threshold": "the clock starts at 1 km/h",
}
FOOTNOTE = "± is one standard uncertainty; the truth lies within about twice that, 95 times in 100."


def measure_text(sheets: Sequence[RunSheet], asked: Asked, *, bold: bool = False) -> str:
    """Return the whole screen for the logs that were read (refused ones are told on standard error)."""
    read = [sheet for sheet in sheets if not sheet.refused]
    parts = [_sheet_text(sheet, asked, bold) for sheet in read]
    if any(sheet.launches or sheet.passes for sheet in read):
        parts.append(FOOTNOTE)
    return "\n\n".join(parts)


def _sheet_text(sheet: RunSheet, asked: Asked, bold: bool) -> str:
    parts = [f"{shown(sheet.path)}\n  {headline(sheet, asked)}\n  {log_line(sheet, asked)}"]
    if sheet.launches:
        title = f"  Launches (s ± standard uncertainty; {RULE_WORDS[asked.start_rule]})"
        parts.append(title + "\n" + _launch_table(sheet.launches, asked, bold))
    if sheet.passes:
        title = f"  Passes (highest mean over {asked.window.label}, {speed_unit(asked.system)} ± standard uncertainty)"
        parts.append(title + "\n" + _pass_table(sheet.passes, asked, bold))
    if notes := list(note_lines(sheet)):
        parts.append("  Notes\n" + "\n".join(f"  - {shown(line)}" for line in notes))
    return "\n\n".join(parts)


def headline(sheet: RunSheet, asked: Asked) -> str:
    """Return the one sentence that says what is in the log."""
    unit = speed_unit(asked.system)
    said = [counted(len(sheet.launches), "launch", "launches").capitalize()]
    if (measure := headline_measure(sheet, asked)) is not None:
        times = [r.elapsed.value for launch in sheet.launches if (r := launch.time(measure, asked.start_rule))]
        spread = f" ({round_half_up(min(times), 2)} to {round_half_up(max(times), 2)})" if len(times) > 1 else ""
        mean = "on average" if len(times) > 1 else ""
        said[0] += f": {measure} in {round_half_up(fmean(times), 2)} s {mean}".rstrip() + spread
    if sheet.passes:
        best = max(sheet.passes, key=lambda one: one.sustained.value)
        speed = round_half_up(best.sustained.value / SPEED_UNITS[unit], 1)
        said.append(
            f"{counted(len(sheet.passes), 'pass', 'passes')}, the fastest {speed} {unit} over {asked.window.label}"
        )
    elif math.isfinite(sheet.max_speed_mps):
        said.append(f"highest speed {round_half_up(sheet.max_speed_mps / SPEED_UNITS[unit], 1)} {unit}")
    return "; ".join(said) + "."


def headline_measure(sheet: RunSheet, asked: Asked) -> str | None:
    """Return the first asked standing speed that some launch reached, `0-30 mph` before others."""
    wanted = [m.label for m in asked.measures if m.kind == "standing"]
    wanted.sort(key=lambda label: label != "0-30 mph")
    for label in wanted:
        if any(launch.time(label, asked.start_rule) for launch in sheet.launches):
            return label
    return None


def log_line(sheet: RunSheet, asked: Asked) -> str:
    """Return the line on the log itself: rate, noise, damage, and how far its times can be trusted."""
    parts = [f"{sheet.duration_s:.0f} s"]
    if math.isfinite(sheet.rate_hz):
        parts[0] += f" at {sheet.rate_hz:.3g} Hz"
    if sheet.speed_source not in ("receiver", None):
        parts.append(f"speed from {sheet.speed_source.replace('+', ' and ')}")
    if math.isfinite(sheet.speed_noise_mps):
        parts.append(f"speed noise {sheet.speed_noise_mps:.2g} m/s")
    parts.append(damage_text(sheet))
    return f"Log: {', '.join(parts)}{trust_text(sheet, asked)}."


def damage_text(sheet: RunSheet) -> str:
    """Return what was left out of the log, in words."""
    left = {kind: count for kind, count in sorted(sheet.skipped.items()) if count}
    if not left:
        return "nothing damaged"
    words = ", ".join(f"{count} {_SKIPPED_WORDS.get(kind, kind.replace('_', ' '))}" for kind, count in left.items())
    return f"left out: {words}"


_SKIPPED_WORDS = {
    "checksum": "with a wrong checksum", "malformed": "malformed", "truncated": "cut short",
    "void_fix": "without a fix",
    "duplicate": "repeated", "glitch": "impossible values", "no_time": "without a time", "out_of_range": "out of range",
    "out_of_order": "out of order",
}  # fmt: skip


def trust_text(sheet: RunSheet, asked: Asked) -> str:
    """Return how sharp the times of this log are, from their stated uncertainties."""
    if (measure := headline_measure(sheet, asked)) is None:
        return ""
    typical = median(r.elapsed.stderr for x in sheet.launches if (r := x.time(measure, asked.start_rule)))
    if typical <= 0.035:
        return f"; good: one {measure} is known to about ±{2 * typical:.2f} s"
    if typical <= 0.08:
        return f"; fair: one {measure} is known to about ±{2 * typical:.2f} s, so repeat each launch"
    return f"; rough: one {measure} is known only to about ±{2 * typical:.1g} s; repeat each launch at least four times"


def _launch_table(launches: Iterable[Launch], asked: Asked, bold: bool) -> str:
    unit = speed_unit(asked.system)
    labels = [m.label for m in asked.measures if m.kind != "top speed"]
    rules = [asked.start_rule if m.from_rest else None for m in asked.measures if m.kind != "top speed"]
    rows = []
    for launch in launches:
        results = [launch.time(label, rule) for label, rule in zip(labels, rules, strict=True)]
        cells = [result.elapsed.text() if result else "-" for result in results]
        peak = round_half_up(launch.peak_speed_mps / SPEED_UNITS[unit], 1)
        rows.append(
            [str(launch.number), clock_text(launch.start.value), heading_text(launch.heading_deg), *cells, peak]
        )
    return table_text(["#", "at", "heading", *labels, f"peak {unit}"], rows, bold=bold)


def _pass_table(passes: Iterable[Pass], asked: Asked, bold: bool) -> str:
    unit = speed_unit(asked.system)
    factor = SPEED_UNITS[unit]
    length = length_unit(asked.system)
    rows = [
        [
            str(one.number),
            clock_text(one.start_s),
            heading_text(one.heading_deg),
            one.sustained.text(factor),
            f"{one.window_m / LENGTH_UNITS[length]:.0f} {length}",
            f"{one.held_s:.1f} s",
            {True: "yes", False: "no", None: "cannot tell"}[one.levelled_off],
            one.projected.text(factor),
        ]
        for one in passes
    ]
    head = ["#", "from", "heading", f"sustained {unit}", "window", "held", "levelled off", "would reach"]
    return table_text(head, rows, bold=bold)


def note_lines(sheet: RunSheet) -> Iterable[str]:
    """Yield every remark once, those that several launches or passes share joined into one line."""
    yield from (remark.text for remark in sheet.remarks)
    for kind, items in (("launch", sheet.launches), ("pass", sheet.passes)):
        whose: dict[str, list[int]] = {}
        for item in items:
            for remark in item.remarks:
                whose.setdefault(remark.text, []).append(item.number)
        for text, numbers in whose.items():
            yield f"{_those(kind, numbers, len(items))}: {text}"


def _those(kind: str, numbers: list[int], of: int) -> str:
    plural = "launches" if kind == "launch" else "passes"
    if len(numbers) == of and of > 1:
        return f"all {plural}"
    return f"{kind if len(numbers) == 1 else plural} {', '.join(map(str, numbers))}"
