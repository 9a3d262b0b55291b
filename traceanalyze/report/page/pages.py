"""The pages: of a comparison, of a day, of single logs."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from traceanalyze.comparison import SHOWN_UNITS, Comparison
from traceanalyze.judge.groups import SetupCurves, launch_curves, setup_curves
from traceanalyze.judge.judging import WrittenRuns
from traceanalyze.judge.rows import TableRow
from traceanalyze.report.compare_text import several_words
from traceanalyze.report.compared import Compared
from traceanalyze.report.day_run import DayResults
from traceanalyze.report.files import write_atomically
from traceanalyze.report.machine import engine_of
from traceanalyze.report.measure_text import headline
from traceanalyze.report.page.charts import (
    LOOKS,
    acceleration_chart,
    launches_chart,
    legend,
    overlay_chart,
    ride_chart,
    run_name,
)
from traceanalyze.report.page.markup import Markup, Rows, grouped_table, joined, listing, table, tag
from traceanalyze.report.page.names import log_names
from traceanalyze.report.page.sections import (
    cautions,
    conditions_section,
    launch_rows,
    pass_head,
    pass_rows,
    provenance_section,
    quality_section,
    section,
    written_provenance,
)
from traceanalyze.report.page.shell import page
from traceanalyze.report.page.verdicts import over_speed, verdict
from traceanalyze.results import RunSheet, round_half_up
from traceanalyze.session import Asked, Study
from traceanalyze.settings import COMPARE_MEASURES
from traceanalyze.setups import SetupRuns, sheets_read
from traceanalyze.vehicle.engine import EngineSpeeds


def compare_page(found: Compared) -> str:
    """Return the page of one or more comparisons with a common baseline."""
    first, *others = found.comparisons
    looks = _looks_by_name(found)
    setups = sorted(found.setups, key=lambda setup: looks[setup.name])
    rows = run_names(setups)
    names = ", ".join(one.changed for one in found.comparisons)
    engine = engine_of(found.sheet, [setup.name for setup in setups])
    sheets = sheets_read(setups)
    return page(
        f"{names} against {first.baseline}",
        tag("h1", first.headline.why),
        listing(one.headline.why for one in others),
        tag("p", several_words(len(found.comparisons)), class_="soft") if others else None,
        verdict(first, rows, _looks(first, looks)),
        cautions(),
        *_charts(setups, found, engine),
        over_speed(first, found.asked.system, found.engine(first), _where(first, several=bool(others))),
        *(_further(one, found, rows, looks, k) for k, one in enumerate(others, start=2)),
        _runs_section(found, setups, rows),
        _conditions(found),
        quality_section(sheets, found.refused),
        _provenance(found, sheets),
    )


def _looks_by_name(found: Compared) -> dict[str, int]:
    """The setups as the page numbers them: the baseline, then each that is compared with it, then the others."""
    compared = [found.comparisons[0].baseline, *(one.changed for one in found.comparisons)]
    return {name: k for k, name in enumerate(dict.fromkeys([*compared, *(setup.name for setup in found.setups)]))}


def _looks(one: Comparison, looks: dict[str, int]) -> tuple[int, int]:
    return looks[one.baseline], looks[one.changed]


def _where(one: Comparison, *, several: bool) -> str:
    return f"Where in the speed range: {one.changed}" if several else "Where in the speed range"


def _charts(setups: Sequence[SetupRuns], found: Compared, engine: EngineSpeeds) -> Iterable[Markup]:
    groups = [setup_curves(setup.name, launch_curves(setup.launches)) for setup in setups]
    if any(group.runs for group in groups):
        yield _curves_section(groups, found.asked, engine)


def _curves_section(groups: Sequence[SetupCurves], asked: Asked, engine: EngineSpeeds) -> Markup:
    return section(
        "Speed over time, acceleration over speed",
        legend([group.name for group in groups]),
        tag(
            "div",
            overlay_chart(groups, asked.system, engine),
            acceleration_chart(groups, asked.system, engine),
            class_="pair",
        ),
    )


def _further(
    one: Comparison, found: Compared, rows: dict[tuple[str, int], str], looks: dict[str, int], k: int
) -> Markup:
    """A comparison beside the first, whole."""
    ending = f"-{k}"
    return joined(
        [
            section(
                f"{one.changed} against {one.baseline}",
                tag("p", one.headline.why, class_="lead"),
                verdict(one, rows, _looks(one, looks), ending),
            ),
            over_speed(one, found.asked.system, found.engine(one), _where(one, several=True), ending),
        ]
    )


def _runs_section(found: Compared, setups: Sequence[SetupRuns], rows: dict[tuple[str, int], str]) -> Markup:
    if found.written is not None:
        return section("Every run", *_written_tables(found.written, _looks_by_name(found)))
    return section("Every run", _launch_table(setups, found.asked, rows), _pass_table(setups, found.asked))


def _conditions(found: Compared) -> Markup:
    if found.written is not None:
        return Markup("")
    return conditions_section(found.sheet, found.corrected_headline())


def _provenance(found: Compared, sheets: Sequence[RunSheet]) -> Markup:
    matters = ", ".join(
        f"{one.measure} {one.smallest_meaningful / SHOWN_UNITS[one.shown_unit]:.3g} {one.shown_unit}"
        for one in found.comparisons[0].measures
    )
    options = f"differences that matter: {matters}"
    if found.written is not None:
        return written_provenance(found.written.path, found.written.sha256, options)
    return provenance_section(sheets, found.asked, options)


def write_compare_page(path: Path, found: Compared, *, force: bool) -> None:
    """Write the page of comparisons.

    Raises
    ------
    OutputError
        If the file exists and `force` is false, or it cannot be written.
    """
    write_atomically(path, compare_page(found), force=force, inputs=found.inputs)


def day_page(results: DayResults, groups: Sequence[SetupCurves]) -> str:
    """Return the page of a day: its comparisons when there are setups to compare, else its runs."""
    asked, sheet = results.plan.asked, results.plan.sheet
    everything = [one for sheets in results.by_file.values() for one in sheets]
    refused = tuple(one.error or "" for one in everything if one.refused)
    if results.comparisons:
        found = Compared(
            comparisons=results.comparisons, asked=asked, setups=results.setups, sheet=sheet, refused=refused
        )
        return compare_page(found)
    sheets = [one for one in everything if not one.refused]
    names, lines = log_names(one.path for one in sheets), run_names(results.setups)
    passes = [Rows(label=names[one.path], rows=pass_rows(one, asked)) for one in sheets]
    drawn = any(group.runs for group in groups)
    return page(
        "Runs of the day",
        tag("h1", "Runs of the day"),
        listing(f"{names[one.path]}: {headline(one, asked)}" for one in sheets),
        cautions(),
        _curves_section(groups, asked, engine_of(sheet, [group.name for group in groups])) if drawn else None,
        *(_log_table(names[one.path], one, asked, lines) for one in sheets),
        section("Top speed", _passes(passes, asked)),
        conditions_section(sheet),
        quality_section(sheets, refused),
        provenance_section(sheets, asked),
    )


def measure_page(studies: Sequence[Study], asked: Asked) -> str:
    """Return the page of single logs: rides, launches, tables."""
    read = [study for study in studies if study.trace is not None]
    sheets = [study.sheet for study in read]
    names = log_names(sheet.path for sheet in sheets)
    title = names[sheets[0].path] if len(sheets) == 1 else f"{len(sheets)} logs"
    refused = [study.sheet.error or "" for study in studies if study.sheet.refused]
    parts = [_log_part(study, names[study.sheet.path], asked, k) for k, study in enumerate(read)]
    return page(
        title,
        tag("h1", title),
        tag("p", headline(sheets[0], asked), class_="lead") if len(sheets) == 1 else None,
        listing(f"{names[one.path]}: {headline(one, asked)}" for one in sheets) if len(sheets) > 1 else None,
        cautions(),
        *parts,
        quality_section(sheets, refused),
        provenance_section(sheets, asked),
    )


def _log_part(study: Study, name: str, asked: Asked, k: int) -> Markup:
    """Charts and tables of one log that was read."""
    assert study.trace is not None
    sheet, chart = study.sheet, f"launches{k}"
    drawn = [f"launch {launch.number}" for launch in sheet.launches if launch.curve]
    curves = launches_chart(sheet.launches, asked.system, chart) if drawn else None
    key = legend(drawn, "run") if len(drawn) <= LOOKS else None
    return joined(
        [
            section(f"{name}: the ride", ride_chart(study.trace, sheet, asked.system, f"ride{k}")),
            section(f"{name}: launches", key, curves) if drawn else None,
            _log_table(
                name, sheet, asked, {(sheet.path, one.number): f"{chart}-{one.number}" for one in sheet.launches}
            ),
            section(f"{name}: passes", _passes([Rows(rows=pass_rows(sheet, asked))], asked)),
        ]
    )


def write_measure_page(path: Path, studies: Sequence[Study], asked: Asked, *, force: bool) -> None:
    """Write the page of single logs.

    Raises
    ------
    OutputError
        If the file exists and `force` is false, or it cannot be written.
    """
    inputs = [Path(study.sheet.path) for study in studies]
    write_atomically(path, measure_page(studies, asked), force=force, inputs=inputs)


def run_names(setups: Sequence[SetupRuns]) -> dict[tuple[str, int], str]:
    """Return, for (file, launch) of every launch that has a curve, the name of its line in the overlay."""
    names: dict[tuple[str, int], str] = {}
    for k, setup in enumerate(setups):
        pairs = [(sheet.path, launch) for sheet in setup.sheets for launch in sheet.launches]
        drawn = [(path, launch.number) for path, launch in pairs if launch_curves([launch])]
        names |= {pair: run_name(k, j) for j, pair in enumerate(drawn)}
    return names


def _launch_table(setups: Sequence[SetupRuns], asked: Asked, rows: dict[tuple[str, int], str]) -> Markup:
    names = log_names(sheet.path for setup in setups for sheet in setup.sheets)
    groups = [
        Rows(
            label=setup.name,
            rows=[
                [f"{names[sheet.path]} #{launch.number}", *cells]
                for sheet in setup.sheets
                for launch, cells in zip(sheet.launches, launch_rows(sheet, asked)[1], strict=True)
            ],
            ids=[rows.get((sheet.path, launch.number), "") for sheet in setup.sheets for launch in sheet.launches],
        )
        for setup in setups
    ]
    if not any(group.rows for group in groups):
        return Markup("")
    head, _ = launch_rows(setups[0].sheets[0] if setups[0].sheets else RunSheet(path="", status="ok"), asked)
    return grouped_table("Launches [s], ± one standard uncertainty", ["run", *head], groups)


def _pass_table(setups: Sequence[SetupRuns], asked: Asked) -> Markup:
    names = log_names(sheet.path for setup in setups for sheet in setup.sheets)
    groups = [
        Rows(
            label=setup.name,
            rows=[
                [f"{names[sheet.path]} {first}", *rest]
                for sheet in setup.sheets
                for first, *rest in pass_rows(sheet, asked)
            ],
        )
        for setup in setups
    ]
    return _passes(groups, asked)


def _passes(groups: Sequence[Rows], asked: Asked) -> Markup:
    """The table of passes; nothing when there is none."""
    if not any(group.rows for group in groups):
        return Markup("")
    caption = f"Top speed: highest mean over {asked.window.label}, ± one standard uncertainty"
    return grouped_table(caption, pass_head(asked), groups)


def _log_table(name: str, sheet: RunSheet, asked: Asked, lines: Mapping[tuple[str, int], str]) -> Markup:
    """The launches of one log; `lines` ties (file, launch) to a line of a chart."""
    head, rows = launch_rows(sheet, asked)
    if not rows:
        return Markup("")
    numbered = [[f"launch {launch.number}", *row] for launch, row in zip(sheet.launches, rows, strict=True)]
    ids = [lines.get((sheet.path, launch.number), "") if launch.curve else "" for launch in sheet.launches]
    return table(f"{name}: launches [s], ± one standard uncertainty", ["run", *head], numbered, ids)


def _written_tables(written: WrittenRuns, looks: dict[str, int]) -> Iterable[Markup]:
    """One table a measure with the runs as they were written down, setups in the order of the page."""
    for label in written.table.measures:
        rows = [row for row in written.table.rows if row.measure == label and row.setup in looks]
        if not rows:
            continue
        setups = sorted({row.setup for row in rows}, key=looks.__getitem__)
        groups = [Rows(label=name, rows=[_written_row(row) for row in rows if row.setup == name]) for name in setups]
        head = ["place in the day", "value", "way", "day", "note"]
        yield grouped_table(f"{label or COMPARE_MEASURES[0]}, as written down", head, groups)


def _written_row(row: TableRow) -> list[str]:
    place = f"{row.order:g}" if row.order == row.order else "-"
    value = round_half_up(row.value, max(0, round(-math.log10(row.step)))) if row.step else f"{row.value:g}"
    doubt = f" ± {row.stderr:g}" if row.stderr else ""
    unit = row.unit or ("m/s" if row.measure == "top speed" else "s")
    return [place, f"{value}{doubt} {unit}", row.direction or "-", row.day or "-", row.note or "-"]
