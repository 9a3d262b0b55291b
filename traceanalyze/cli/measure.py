"""`traceanalyze measure FILE...` (what a dropped file gets)."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from traceanalyze.cli import options as opt
from traceanalyze.cli.measuring import Wanted, measured


def measure(
    files: Annotated[list[str], typer.Argument(metavar="FILE", help="Logs to read; - is standard input.")],
    json: opt.Json = False,
    measures: opt.Measures = None,
    start: opt.Start = "rollout",
    window: opt.WindowText = "1s",
    units: opt.Units = "imperial",
    out: Annotated[
        Path | None, typer.Option("--out", metavar="PATH", help="Write the results there, not to standard output.")
    ] = None,
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
    asked = opt.asked(measures, start, window, units, column, speed_unit, time_unit, accel_unit)
    wanted = Wanted(json=json, out=out, plot=plot, report=report, quiet=quiet, no_color=no_color, force=force)
    return measured(files, asked, wanted)
