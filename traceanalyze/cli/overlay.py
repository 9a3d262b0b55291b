"""`traceanalyze overlay SETUP=FILE[,FILE...] ...`: setups laid over each other in one picture."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from traceanalyze.cli import options as opt
from traceanalyze.cli.screen import complain, note, print_json, print_text
from traceanalyze.errors import FormatError


def overlay(
    setups: Annotated[
        list[str], typer.Argument(metavar="SETUP=FILE[,FILE...]", help="Setups with their logs, or one day sheet.")
    ],
    out: Annotated[Path, typer.Option("--out", metavar="PATH", help="The picture: .png, .svg or .pdf.")] = Path(
        "overlay.png"
    ),
    json: opt.Json = False,
    units: opt.Units = "imperial",
    column: opt.Columns = None,
    speed_unit: opt.SpeedUnit = None,
    time_unit: opt.TimeUnit = None,
    accel_unit: opt.AccelUnit = None,
    quiet: opt.Quiet = False,
    force: opt.Force = False,
) -> int:
    """Speed over time and acceleration over speed of two or more setups: every run thin, the means thick.

    \b
    Examples:
      traceanalyze overlay "standard spring=run1.nmea,run2.nmea" "stiff spring=run3.nmea" --out springs.png
      traceanalyze overlay day.toml --out springs.pdf
    """
    from traceanalyze.judge.groups import launch_curves, setup_curves
    from traceanalyze.plots.overlay import overlay_figure
    from traceanalyze.plots.style import picture_kind
    from traceanalyze.report.files import check_output
    from traceanalyze.report.overlay_text import overlay_document, overlay_text
    from traceanalyze.report.pictures import save_figure
    from traceanalyze.setups import read_setups, refusals, sheets_read

    asked = opt.asked(None, "rollout", "1s", units, column, speed_unit, time_unit, accel_unit)
    picture_kind(out)
    check_output(out, force=force)
    gathered = read_setups(setups, asked)
    refused = refusals(gathered)
    complain(refused)
    groups = [setup_curves(setup.name, launch_curves(setup.launches)) for setup in gathered]
    if not any(group.runs for group in groups):
        raise FormatError("no launch was found in these logs", advice="see what each log holds: traceanalyze measure")
    inputs = [Path(sheet.path) for sheet in sheets_read(gathered)]
    save_figure(overlay_figure(groups, asked.system), out, force=force, inputs=inputs)
    if json:
        print_json(overlay_document(groups, out))
    else:
        print_text(overlay_text(groups, asked.system))
        note(f"picture: {out}", quiet)
    return 1 if refused else 0
