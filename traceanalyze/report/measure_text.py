"""What `measure` shows a person: the sentence first, then the numbers, then the notes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from traceanalyze.errors import shown
from traceanalyze.report.notes import note_lines
from traceanalyze.report.tables import (
    WIDTH,
    clock_text,
    counted,
    duration_text,
    heading_text,
    listed,
    table_text,
    wrapped,
)
from traceanalyze.results import Launch, Pass, RunSheet, round_half_up
from traceanalyze.session import Asked
from traceanalyze.units import LENGTH_UNITS, SPEED_UNITS, length_unit, speed_unit

#: What each start rule means, for a heading.
RULE_WORDS = {
    "rollout": "the clock starts after 1 ft (0.3048 m) of rolling",
    "rest": "the clock starts at the onset of motion",
    "threshold": "the clock starts at 1 km/h",
}
#: Up to this standard uncertainty of one 0-30 mph time a log is good for telling parts apart in few runs, and up to
#: the second fair [s]; differences between parts are 0.1-0.2 s and a rider's own scatter is about 0.1 s (common
#: practice, no source).
GOOD_STDERR_S = 0.035
FAIR_STDERR_S = 0.08
FOOTNOTE = "± is one standard uncertainty; the truth lies within about twice that, 95 times in 100."


def measure_text(sheets: Sequence[RunSheet], asked: Asked, *, bold: bool = False, width: int = WIDTH) -> str:
    """Return the whole screen for the logs that were read (refused ones are told on standard error)."""
    read = [sheet for sheet in sheets if not sheet.refused]
    parts = [_sheet_text(sheet, asked, bold, width) for sheet in read]
    if any(sheet.launches or sheet.passes for sheet in read):
        parts.append(wrapped(FOOTNOTE, width=width, first="", rest=""))
    return "\n\n".join(parts)


def _sheet_text(sheet: RunSheet, asked: Asked, bold: bool, width: int) -> str:
    said = [wrapped(line, width=width, rest="    ") for line in (headline(sheet, asked), log_line(sheet, asked))]
    parts = ["\n".join([shown(sheet.path), *said])]
    if sheet.launches:
        title = f"  Launches (s ± standard uncertainty; {RULE_WORDS[asked.start_rule]})"
        parts.append(title + "\n" + _launch_table(sheet.launches, asked, bold))
    if sheet.passes:
        title = f"  Passes (highest mean over {asked.window.label}, {speed_unit(asked.system)} ± standard uncertainty)"
        parts.append(title + "\n" + _pass_table(sheet.passes, asked, bold) + pair_text(sheet, asked))
    if notes := note_lines(sheet):
        parts.append("  Notes\n" + listed(map(shown, notes), width=width))
    return "\n\n".join(parts)


def pair_text(sheet: RunSheet, asked: Asked) -> str:
    """Return the means of passes ridden out and back, on a line of their own; empty without any."""
    if not sheet.pairs:
        return ""
    unit = speed_unit(asked.system)
    means = [f"{p.first.number} and {p.second.number}: {p.mean.text(SPEED_UNITS[unit])}" for p in sheet.pairs]
    return f"\n  Out and back, mean [{unit}]: passes " + "; ".join(means)


def headline(sheet: RunSheet, asked: Asked) -> str:
    """Return the one sentence that says what is in the log."""
    unit = speed_unit(asked.system)
    said = [counted(len(sheet.launches), "launch", "launches").capitalize() if sheet.launches else "No launch found"]
    if (measure := headline_measure(sheet, asked)) is not None:
        said[0] += f": {measure} in {_times_text(measured_times(sheet, measure, asked), len(sheet.launches))}"
    if sheet.passes:
        best = max(sheet.passes, key=lambda one: one.sustained.value)
        speed = round_half_up(best.sustained.value / SPEED_UNITS[unit], 1)
        fastest = "the fastest " if len(sheet.passes) > 1 else ""
        said.append(
            f"{counted(len(sheet.passes), 'pass', 'passes')}, {fastest}{speed} {unit} over {asked.window.label}"
        )
    elif math.isfinite(sheet.max_speed_mps):
        said.append(f"highest speed {round_half_up(sheet.max_speed_mps / SPEED_UNITS[unit], 1)} {unit}")
    return "; ".join(said) + "."


def measured_times(sheet: RunSheet, measure: str, asked: Asked) -> list[float]:
    """Return the times of a measure from rest [s], of the launches that reached it."""
    return [found.elapsed.value for one in sheet.launches if (found := one.time(measure, asked.start_rule))]


def _times_text(times: Sequence[float], launches: int) -> str:
    mean = round_half_up(sum(times) / len(times), 2)
    if len(times) == 1:
        return f"{mean} s" if launches == 1 else f"{mean} s (one of them)"
    of = "" if len(times) == launches else f" of {len(times)} of them"
    return f"{mean} s on average{of} ({round_half_up(min(times), 2)} to {round_half_up(max(times), 2)})"


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
    parts = [duration_text(sheet.duration_s) + rate_text(sheet.rate_hz)]
    if sheet.speed_source not in ("receiver", None):
        parts.append(f"speed from {sheet.speed_source.replace('+', ' and ')}")
    if math.isfinite(sheet.speed_noise_mps):
        parts.append(f"speed noise {sheet.speed_noise_mps:.2g} m/s")
    parts.append(damage_text(sheet))
    return f"Log: {', '.join(parts)}{trust_text(sheet, asked)}."


def rate_text(rate_hz: float) -> str:
    """Return how often a log has a point, to follow its length: ` at 10 Hz`, ` with a point every 8.2 s`."""
    if not (math.isfinite(rate_hz) and rate_hz > 0):
        return ""
    return f" at {rate_hz:.3g} Hz" if rate_hz >= 0.45 else f" with a point every {1 / rate_hz:.3g} s"


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
    found = [one.time(measure, asked.start_rule) for one in sheet.launches]
    known = sorted(one.elapsed.stderr for one in found if one is not None and math.isfinite(one.elapsed.stderr))
    if not known:
        return ""
    typical = known[len(known) // 2]
    within = f"±{round_half_up(2 * typical, 2 if typical < 0.05 else 1 if typical < 0.5 else 0)} s"
    if typical <= GOOD_STDERR_S:
        return f"; good: one {measure} is known to about {within}"
    if typical <= FAIR_STDERR_S:
        return f"; fair: one {measure} is known to about {within}, so repeat each launch"
    return f"; rough: one {measure} is known only to about {within}; repeat each launch at least four times"


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
