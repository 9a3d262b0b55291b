"""`traceanalyze measure FILE...` (what a dropped file gets)."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from traceanalyze.cli import options as opt
from traceanalyze.cli.inputs import as_dropped
from traceanalyze.cli.screen import colour_wanted, complain, note, print_json, print_text


def measure(
    files: Annotated[list[str], typer.Argument(metavar="FILE...", help="Logs to read; - is standard input.")],
    json: opt.Json = False,
    measures: opt.Measures = None,
    start: opt.Start = "rollout",
    window: opt.WindowText = "1s",
    units: opt.Units = "imperial",
    plot: Annotated[
        Path | None, typer.Option("--plot", metavar="OUT.png", help="One picture per file (PNG, SVG or PDF).")
    ] = None,
    report: Annotated[
        Path | None, typer.Option("--report", metavar="OUT.html", help="One page to read and share.")
    ] = None,
    column: opt.Columns = None,
    speed_unit: opt.SpeedUnit = None,
    time_unit: opt.TimeUnit = None,
    accel_unit: opt.AccelUnit = None,
    quiet: opt.Quiet = False,
    no_color: opt.NoColor = False,
    force: opt.Force = False,
) -> int:
    """Launch times and sustained top speeds of each log, with their uncertainties.

    \b
    Examples:
      traceanalyze ride.nmea
      traceanalyze measure ride.gpx --measure "0-30 mph" --measure "60 ft" --plot ride.png
      traceanalyze measure log.csv --column speed=v2 --speed-unit m/s --json
    """
    from traceanalyze.report.measure_json import measure_document
    from traceanalyze.report.measure_text import measure_text
    from traceanalyze.session import study_files

    asked = opt.asked(measures, start, window, units, column, speed_unit, time_unit, accel_unit)
    studies = study_files(as_dropped(files), asked)
    sheets = [study.sheet for study in studies]
    if json:
        print_json(measure_document(sheets))
    else:
        print_text(measure_text(sheets, asked, bold=colour_wanted(no_color)))
    refused = [sheet.error or "" for sheet in sheets if sheet.refused]
    complain(refused)
    if plot is not None:
        from traceanalyze.report.pictures import save_drive_pictures

        for path in save_drive_pictures(studies, plot, asked, force=force):
            note(f"picture: {path}", quiet)
    if report is not None:
        from traceanalyze.report.page import write_measure_page

        write_measure_page(report, studies, asked, force=force)
        note(f"report: {report}", quiet)
    return 1 if refused else 0
