"""What every page has in the same words: quality of the logs, where the numbers come from, cautions."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from traceanalyze import __version__
from traceanalyze.report.measure_text import RULE_WORDS, damage_text
from traceanalyze.report.notes import note_lines
from traceanalyze.report.page.markup import Markup, joined, listing, table, tag
from traceanalyze.report.tables import clock_text, heading_text
from traceanalyze.results import RunSheet, round_half_up
from traceanalyze.session import Asked
from traceanalyze.sheet import Conditions, DaySheet
from traceanalyze.units import LENGTH_UNITS, SPEED_UNITS, length_unit, speed_unit

CAUTIONS = (
    "Ride on a closed course only, in full protective gear, with room to stop and somebody at hand.",
    "Keep engine and flywheel below the speeds their makers allow; a part that lets it rev higher may burst them.",
    "After every change check brakes, chain or belt guard, throttle return and fasteners before the first run.",
    "Local law and qualified practice come before anything in this report.",
)


def cautions() -> Markup:
    """Return the usual cautions."""
    return tag("section", tag("strong", "Cautions. "), " ".join(CAUTIONS), class_="caution", aria_label="Cautions")


def section(title: str, *content: object) -> Markup:
    """Return a headed section; nothing when it would be empty."""
    inner = joined(part for part in content if part is not None)
    return tag("section", tag("h2", title), inner) if inner else Markup("")


def launch_rows(sheets: Sequence[RunSheet], asked: Asked) -> tuple[list[str], list[list[str]]]:
    """Return head and rows of a table of launches (without their setup)."""
    unit = speed_unit(asked.system)
    wanted = [(m.label, asked.start_rule if m.from_rest else None) for m in asked.measures if m.kind != "top speed"]
    head = ["at", "heading", *(label for label, _ in wanted), f"peak [{unit}]"]
    rows = []
    for sheet in sheets:
        for launch in sheet.launches:
            results = [launch.time(label, rule) for label, rule in wanted]
            rows.append(
                [
                    clock_text(launch.start.value),
                    heading_text(launch.heading_deg),
                    *(result.elapsed.text() if result else "-" for result in results),
                    round_half_up(launch.peak_speed_mps / SPEED_UNITS[unit], 1),
                ]
            )
    return head, rows


def pass_table(sheets: Sequence[tuple[str, RunSheet]], asked: Asked) -> Markup:
    """Return the table of passes, each named by its setup or log; nothing when there is none."""
    unit, length = speed_unit(asked.system), length_unit(asked.system)
    rows = [
        [
            f"{name} #{one.number}",
            clock_text(one.start_s),
            heading_text(one.heading_deg),
            one.sustained.text(SPEED_UNITS[unit]),
            round_half_up(one.window_m / LENGTH_UNITS[length], 0),
            round_half_up(one.held_s, 1),
            {True: "yes", False: "no", None: "cannot tell"}[one.levelled_off],
            one.projected.text(SPEED_UNITS[unit]),
        ]
        for name, sheet in sheets
        for one in sheet.passes
    ]
    if not rows:
        return Markup("")
    head = [
        "pass",
        "from",
        "heading",
        f"sustained [{unit}]",
        f"window [{length}]",
        "held [s]",
        "levelled off",
        "would reach",
    ]
    return table(f"Top speed: highest mean over {asked.window.label}, ± one standard uncertainty", head, rows)


def quality_section(sheets: Sequence[RunSheet]) -> Markup:
    """Return the table of what each log is worth, with its notes."""
    rows = [
        [
            _name(sheet),
            f"{sheet.duration_s:.0f}",
            f"{sheet.rate_hz:.3g}" if math.isfinite(sheet.rate_hz) else "-",
            f"{sheet.speed_noise_mps:.2g}" if math.isfinite(sheet.speed_noise_mps) else "-",
            sheet.speed_source or "-",
            damage_text(sheet),
        ]
        for sheet in sheets
    ]
    head = ["log", "length [s]", "rate [Hz]", "speed noise [m/s]", "speed from", "damage"]
    notes = [f"{_name(sheet)}: {line}" for sheet in sheets for line in note_lines(sheet)]
    return section("Quality of the logs", table("What each log is worth", head, rows), listing(notes))


def provenance_section(sheets: Sequence[RunSheet], asked: Asked) -> Markup:
    """Return what these numbers were made from: program, options, files by their hashes."""
    measures = ", ".join(measure.label for measure in asked.measures)
    text = (
        f"traceanalyze {__version__}; measures: {measures}; start rule: {asked.start_rule} "
        f"({RULE_WORDS[asked.start_rule]}); window of the top speed: {asked.window.label}. "
        "± is one standard uncertainty; the truth lies within about twice that, 95 times in 100."
    )
    rows = [[_name(sheet), tag("code", sheet.sha256 or "-")] for sheet in sheets]
    return section(
        "Where the numbers come from",
        tag("p", text, class_="soft"),
        table("Files by their SHA-256", ["log", "SHA-256"], rows),
    )


def conditions_section(sheet: DaySheet | None, warnings: Iterable[str]) -> Markup:
    """Return what is known of the day, with what is not known said to be unknown."""
    if sheet is None:
        return section(
            "Conditions", tag("p", "Unknown: no day sheet was given, so wind, air, slope and rider are not known.")
        )
    day, vehicle = sheet.day, sheet.vehicle
    facts = [
        ("date", str(day.date or "")), ("place", day.place), *_air(day.conditions),
        ("machine", vehicle.name), ("mass with rider and fuel", _with_unit(vehicle.mass_kg, "kg")),
        ("notes", day.notes),
    ]  # fmt: skip
    known = ", ".join(f"{name}: {value}" for name, value in facts if value)
    unknown = ", ".join(name for name, value in facts if not value and name != "notes")
    return section(
        "Conditions",
        tag("p", known) if known else None,
        tag("p", f"Unknown: {unknown}.", class_="soft") if unknown else None,
        listing(warnings),
    )


def _air(c: Conditions) -> list[tuple[str, str]]:
    return [
        ("air", _with_unit(c.air_temperature_c, "°C")),
        ("pressure", _with_unit(c.pressure_hpa, "hPa")),
        ("humidity", _with_unit(c.humidity_pct, "%")),
        (
            "wind",
            _with_unit(c.wind_mps, "m/s") + (f" from {c.wind_from_deg:.0f}°" if math.isfinite(c.wind_from_deg) else ""),
        ),
        ("slope", _with_unit(c.grade_pct, "%")),
        ("surface", c.surface),
        ("tyre pressure", " / ".join(f"{p:g}" for p in c.tyre_pressure_kpa) + (" kPa" if c.tyre_pressure_kpa else "")),
        ("rider", _with_unit(c.rider_mass_kg, "kg")),
        ("posture", c.posture),
        ("clothing", c.clothing),
    ]


def _with_unit(value: float, unit: str) -> str:
    return f"{value:g} {unit}" if math.isfinite(value) else ""


def _name(sheet: RunSheet) -> str:
    return sheet.path.replace("\\", "/").rsplit("/", 1)[-1]
