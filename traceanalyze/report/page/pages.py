"""The pages: of a comparison, of a day, of single logs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from traceanalyze.comparison import SHOWN_UNITS, BandResult, Comparison, CurveComparison, MeasureComparison
from traceanalyze.judge.groups import SetupCurves, launch_curves
from traceanalyze.report.day_run import DayResults
from traceanalyze.report.files import write_atomically
from traceanalyze.report.measure_text import headline
from traceanalyze.report.page.charts import (
    difference_chart,
    dots_chart,
    launches_chart,
    overlay_chart,
    ride_chart,
    run_name,
)
from traceanalyze.report.page.markup import Markup, joined, listing, table, tag
from traceanalyze.report.page.sections import (
    cautions,
    conditions_section,
    launch_rows,
    pass_table,
    provenance_section,
    quality_section,
    section,
)
from traceanalyze.report.page.shell import page
from traceanalyze.results import RunSheet, round_half_up, uncertainty_decimals
from traceanalyze.session import Asked, Study
from traceanalyze.setups import SetupRuns, sheets_read
from traceanalyze.sheet import DaySheet
from traceanalyze.units import SPEED_UNITS, System, speed_unit


def compare_page(
    comparisons: Sequence[Comparison],
    setups: Sequence[SetupRuns],
    groups: Sequence[SetupCurves],
    asked: Asked,
    sheet: DaySheet | None,
) -> str:
    """Return the page of one or more comparisons with a common baseline."""
    first = comparisons[0]
    title = f"{first.changed} against {first.baseline}" + (" and others" if len(comparisons) > 1 else "")
    sheets = sheets_read(setups)
    return page(
        title,
        _verdict(first, run_names(setups)),
        *(_other_verdict(one) for one in comparisons[1:]),
        cautions(),
        _overlay(groups, asked.system),
        _over_speed(first, asked.system),
        section("Every run", _run_table(setups, asked), pass_table(_named_sheets(setups), asked)),
        conditions_section(sheet, [remark.text for one in comparisons for remark in one.remarks]),
        quality_section(sheets),
        provenance_section(sheets, asked),
    )


def day_page(results: DayResults, groups: Sequence[SetupCurves]) -> str:
    """Return the page of a day: its comparisons when there are setups to compare, else its runs."""
    asked, sheet = results.plan.asked, results.plan.sheet
    if results.comparisons:
        return compare_page(results.comparisons, results.setups, groups, asked, sheet)
    sheets = [one for sheets in results.by_file.values() for one in sheets if not one.refused]
    lines = [f"{_short(one.path)}: {headline(one, asked)}" for one in sheets]
    return page(
        "Runs of the day",
        tag("h1", "Runs of the day"),
        listing(lines),
        cautions(),
        *(_log_table(one, asked, k) for k, one in enumerate(sheets)),
        section("Top speed", pass_table([(_short(one.path), one) for one in sheets], asked)),
        conditions_section(sheet, ()),
        quality_section(sheets),
        provenance_section(sheets, asked),
    )


def measure_page(studies: Sequence[Study], asked: Asked) -> str:
    """Return the page of single logs: rides, launches, tables."""
    read = [study for study in studies if study.trace is not None]
    sheets = [study.sheet for study in read]
    title = _short(sheets[0].path) if len(sheets) == 1 else f"{len(sheets)} logs"
    parts: list[object] = [tag("h1", title)]
    for k, study in enumerate(read):
        assert study.trace is not None
        sheet = study.sheet
        parts.append(tag("p", headline(sheet, asked), class_="lead"))
        parts += [cautions()] if k == 0 else []
        parts.append(
            section(f"{_short(sheet.path)}: the ride", ride_chart(study.trace, sheet, asked.system, f"ride{k}"))
        )
        if any(launch.curve for launch in sheet.launches):
            parts.append(section("Its launches", launches_chart(sheet.launches, asked.system, f"launches{k}")))
        parts.append(_log_table(sheet, asked, k))
        parts.append(section("Its passes", pass_table([(_short(sheet.path), sheet)], asked)) if sheet.passes else "")
    return page(title, *parts, quality_section(sheets), provenance_section(sheets, asked))


def write_measure_page(path: Path, studies: Sequence[Study], asked: Asked, *, force: bool) -> None:
    """Write the page of single logs.

    Raises
    ------
    OutputError
        If the file exists and `force` is false, or it cannot be written.
    """
    inputs = [Path(study.sheet.path) for study in studies]
    write_atomically(path, measure_page(studies, asked), force=force, inputs=inputs)


def _verdict(one: Comparison, names: Mapping[tuple[str, int], str]) -> Markup:
    head = one.headline
    return joined(
        [
            tag("h1", head.why),
            tag("p", one.curves.sentence, class_="lead") if one.curves and one.curves.sentence else None,
            tag("p", tag("strong", "Next: "), head.next_step) if head.next_step else None,
            dots_chart(head, names),
            _measure_table(one),
            tag("p", head.model, class_="soft") if head.model else None,
            listing(remark.text for remark in one.all_remarks),
        ]
    )


def _other_verdict(one: Comparison) -> Markup:
    sentence = one.curves.sentence if one.curves else ""
    return section(
        f"{one.changed} against {one.baseline}",
        tag("p", one.headline.why, class_="lead"),
        tag("p", sentence) if sentence else None,
        _measure_table(one),
    )


def _measure_table(one: Comparison) -> Markup:
    rows = [_measure_row(found) for found in one.measures]
    head = ["measure", one.baseline, one.changed, "difference", "95 % interval", "verdict"]
    return table("Means of each setup and their difference", head, rows)


def _measure_row(found: MeasureComparison) -> list[str]:
    factor, unit = SHOWN_UNITS[found.shown_unit], found.shown_unit
    places = uncertainty_decimals(found.stderr / factor) if found.stderr == found.stderr else 2

    def text(value: float) -> str:
        return round_half_up(value / factor, places) if value == value else "-"

    interval = f"{text(found.low95)} to {text(found.high95)} {unit}" if found.low95 == found.low95 else "none"
    return [
        found.measure,
        f"{text(found.baseline_mean)} {unit} (n = {len(found.baseline_runs)})",
        f"{text(found.changed_mean)} {unit} (n = {len(found.changed_runs)})",
        f"{text(found.difference)} {unit}" if found.difference == found.difference else "-",
        interval,
        found.verdict,
    ]


def _overlay(groups: Sequence[SetupCurves], system: System) -> Markup:
    if not any(group.runs for group in groups):
        return Markup("")
    return section("Speed over time", overlay_chart(groups, system))


def _over_speed(one: Comparison, system: System) -> Markup:
    curves = one.curves
    if curves is None or not curves.speed_mps.size:
        return Markup("")
    return section(
        "Where in the speed range",
        difference_chart(curves, one.baseline, one.changed, system),
        _band_table(curves, system) if curves.bands else None,
    )


def _band_table(curves: CurveComparison, system: System) -> Markup:
    bands = [*curves.bands, *([curves.total] if curves.total else [])]
    rows = [_band_row(band, system, band is curves.total) for band in bands]
    head = ["speeds", "difference [s]", "95 % interval, all bands at once [s]", "verdict"]
    return table("Time gained or lost in each range of speed (changed minus baseline)", head, rows)


def _band_row(band: BandResult, system: System, is_total: bool) -> list[str]:
    unit = speed_unit(system)
    ends = f"{band.from_mps / SPEED_UNITS[unit]:.0f}-{band.to_mps / SPEED_UNITS[unit]:.0f} {unit}"
    interval = "none"
    if band.low95_s == band.low95_s:
        interval = f"{round_half_up(band.low95_s, 2)} to {round_half_up(band.high95_s, 2)}"
    return [f"{ends} (all)" if is_total else ends, round_half_up(band.difference_s, 2), interval, band.verdict]


def run_names(setups: Sequence[SetupRuns]) -> dict[tuple[str, int], str]:
    """Return, for (file, launch) of every launch that has a curve, the name of its line in the overlay."""
    names = {}
    for k, setup in enumerate(setups):
        pairs = [(sheet.path, launch) for sheet in setup.sheets for launch in sheet.launches]
        drawn = [(path, launch.number) for path, launch in pairs if launch_curves([launch])]
        names |= {pair: run_name(k, j) for j, pair in enumerate(drawn)}
    return names


def _run_table(setups: Sequence[SetupRuns], asked: Asked) -> Markup:
    names = run_names(setups)
    rows: list[list[object]] = []
    ids: list[str] = []
    head: list[str] = []
    for setup in setups:
        for sheet in setup.sheets:
            head, cells = launch_rows([sheet], asked)
            for launch, row in zip(sheet.launches, cells, strict=True):
                rows.append([f"{setup.name}: {_short(sheet.path)} #{launch.number}", *row])
                ids.append(names.get((sheet.path, launch.number), ""))
    if not rows:
        return Markup("")
    return table("Launches [s], ± one standard uncertainty", ["run", *head], rows, ids)


def _log_table(sheet: RunSheet, asked: Asked, k: int) -> Markup:
    head, rows = launch_rows([sheet], asked)
    if not rows:
        return Markup("")
    numbered = [[f"launch {launch.number}", *row] for launch, row in zip(sheet.launches, rows, strict=True)]
    ids = [f"launches{k}-{launch.number}" for launch in sheet.launches]
    return table(f"{_short(sheet.path)}: launches [s], ± one standard uncertainty", ["run", *head], numbered, ids)


def _named_sheets(setups: Sequence[SetupRuns]) -> list[tuple[str, RunSheet]]:
    return [(f"{setup.name}: {_short(sheet.path)}", sheet) for setup in setups for sheet in setup.sheets]


def _short(path: str) -> str:
    return path.replace("\\", "/").rsplit("/", 1)[-1]
