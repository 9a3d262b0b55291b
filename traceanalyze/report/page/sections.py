"""What every page has in the same words: quality of the logs, where the numbers come from, cautions."""

from __future__ import annotations

import math
from collections.abc import Sequence

from traceanalyze import __version__
from traceanalyze.report.corrected import CORRECTED_HEAD, Corrected, corrected_caption, corrected_cells
from traceanalyze.report.machine import air_density_of
from traceanalyze.report.measure_text import RULE_WORDS, damage_text
from traceanalyze.report.page.markup import Markup, joined, listing, table, tag
from traceanalyze.report.page.names import file_names, log_names
from traceanalyze.report.page.notes import log_notes
from traceanalyze.report.tables import clock_text, duration_text, heading_text
from traceanalyze.results import RunSheet, round_half_up
from traceanalyze.session import Asked
from traceanalyze.sheet import Conditions, DaySheet, Setup
from traceanalyze.units import LENGTH_UNITS, SPEED_UNITS, length_unit, speed_unit
from traceanalyze.vehicle.air import density_altitude_m

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


def launch_rows(sheet: RunSheet, asked: Asked) -> tuple[list[str], list[list[str]]]:
    """Return head and rows of a table of a log's launches, without their names."""
    unit = speed_unit(asked.system)
    wanted = [(m.label, asked.start_rule if m.from_rest else None) for m in asked.measures if m.kind != "top speed"]
    head = ["at", "heading", *(label for label, _ in wanted), f"peak [{unit}]"]
    rows = [
        [
            clock_text(launch.start.value),
            heading_text(launch.heading_deg),
            *(found.elapsed.text() if (found := launch.time(label, rule)) else "-" for label, rule in wanted),
            round_half_up(launch.peak_speed_mps / SPEED_UNITS[unit], 1),
        ]
        for launch in sheet.launches
    ]
    return head, rows


def pass_head(asked: Asked) -> list[str]:
    """Return the head of a table of passes."""
    unit, length = speed_unit(asked.system), length_unit(asked.system)
    shown = [f"sustained [{unit}]", f"window [{length}]", "held [s]", "levelled off", f"would reach [{unit}]"]
    return ["pass", "from", "heading", *shown]


def pass_rows(sheet: RunSheet, asked: Asked) -> list[list[str]]:
    """Return the rows of a table of a log's passes, each begun by its number."""
    speed, length = SPEED_UNITS[speed_unit(asked.system)], LENGTH_UNITS[length_unit(asked.system)]
    return [
        [
            f"#{one.number}",
            clock_text(one.start_s),
            heading_text(one.heading_deg),
            one.sustained.text(speed),
            round_half_up(one.window_m / length, 0),
            round_half_up(one.held_s, 1),
            {True: "yes", False: "no", None: "cannot tell"}[one.levelled_off],
            one.projected.text(speed),
        ]
        for one in sheet.passes
    ]


def quality_section(sheets: Sequence[RunSheet], refused: Sequence[str] = ()) -> Markup:
    """Return the table of what each log is worth, with its notes, and the logs that were refused."""
    lost = [f"could not be read: {line}" for line in refused]
    if not sheets:
        return section("Quality of the logs", listing(lost))
    names = log_names(sheet.path for sheet in sheets)
    rows = [
        [
            names[sheet.path],
            duration_text(sheet.duration_s),
            f"{sheet.rate_hz:.3g}" if math.isfinite(sheet.rate_hz) else "-",
            f"{sheet.speed_noise_mps:.2g}" if math.isfinite(sheet.speed_noise_mps) else "-",
            (sheet.speed_source or "-").replace("+", " and "),
            damage_text(sheet),
        ]
        for sheet in sheets
    ]
    head = ["log", "length", "rate [Hz]", "speed noise [m/s]", "speed from", "damage"]
    notes = listing([*lost, *log_notes(sheets)])
    return section("Quality of the logs", table("What each log is worth", head, rows), notes)


def provenance_section(sheets: Sequence[RunSheet], asked: Asked, options: str = "") -> Markup:
    """Return what these numbers were made from: program, options, files by their hashes."""
    measures = ", ".join(measure.label for measure in asked.measures)
    text = (
        f"measures: {measures}; start rule: {asked.start_rule} ({RULE_WORDS[asked.start_rule]}); "
        f"window of the top speed: {asked.window.label}{f'; {options}' if options else ''}"
    )
    names = file_names(sheet.path for sheet in sheets)
    return _provenance(text, [(names[sheet.path], sheet.sha256) for sheet in sheets])


def written_provenance(path: str, sha256: str, options: str = "") -> Markup:
    """Return what the numbers of a table of times by hand were made from."""
    text = "times written down by hand; the uncertainty of each is as written, else that of its last digit"
    name = "standard input" if path == "-" else path
    return _provenance(f"{text}{f'; {options}' if options else ''}", [(name, sha256)])


def _provenance(text: str, files: Sequence[tuple[str, str]]) -> Markup:
    meaning = "± is one standard uncertainty; the truth lies within about twice that, 95 times in 100."
    rows = [[name, tag("code", sha256 or "-")] for name, sha256 in files]
    return section(
        "Where the numbers come from",
        tag("p", f"traceanalyze {__version__}; {text}. {meaning}", class_="soft"),
        table("Files by their SHA-256", ["file", "SHA-256"], rows) if rows else None,
    )


def conditions_section(sheet: DaySheet | None, corrected: Sequence[Corrected] = ()) -> Markup:
    """Return what is known of the day, what is not, and what slope and air did to the times."""
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
    unknown = ", ".join(name for name, value in facts if not value and name not in ("notes", "density"))
    return section(
        "Conditions",
        tag("p", known) if known else None,
        tag("p", f"Unknown: {unknown}.", class_="soft") if unknown else None,
        _corrected_table(corrected) if corrected else None,
    )


def _corrected_table(corrected: Sequence[Corrected]) -> Markup:
    """Raw and corrected means side by side."""
    rows = [[f"{one.setup}, {one.measure}", *corrected_cells(one)] for one in corrected]
    return table(corrected_caption(corrected), ["setup", *CORRECTED_HEAD], rows)


def _air(c: Conditions) -> list[tuple[str, str]]:
    return [
        ("air", _with_unit(c.air_temperature_c, "°C")),
        ("pressure", _with_unit(c.pressure_hpa, "hPa")),
        ("humidity", _with_unit(c.humidity_pct, "%")),
        ("density", _density(c)),
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


def _density(c: Conditions) -> str:
    """Density of the air and the altitude of the standard atmosphere that has it; empty when it is not known."""
    density = air_density_of(Setup(name="", conditions=c))
    if math.isnan(density):
        return ""
    return f"{density:.3f} kg/m³, as at {round(density_altitude_m(density), -1):.0f} m in the standard atmosphere"


def _with_unit(value: float, unit: str) -> str:
    return f"{value:g} {unit}" if math.isfinite(value) else ""
