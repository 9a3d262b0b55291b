"""`traceanalyze overlay SETUP=FILE[,FILE...] ...`: setups laid over each other in one picture."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from traceanalyze.cli import options as opt
from traceanalyze.cli.screen import columns_wanted, complain, note, print_json, print_text


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
    no_color: opt.NoColor = False,
    force: opt.Force = False,
) -> int:
    """Speed over time and acceleration over speed of two or more setups: every run thin, the means thick.

    \b
    Examples:
      traceanalyze overlay "standard spring=run1.nmea,run2.nmea" "stiff spring=run3.nmea" --out springs.png
      traceanalyze overlay day.toml --out springs.pdf
    """
    from traceanalyze.report.overlay_run import overlaid
    from traceanalyze.report.overlay_text import overlay_document, overlay_text

    asked = opt.asked(None, "rollout", "1s", units, column, speed_unit, time_unit, accel_unit)
    groups, remarks, refused = overlaid(setups, asked, out, force=force)
    complain(refused)
    if json:
        print_json(overlay_document(groups, out, remarks))
    else:
        print_text(overlay_text(groups, asked.system, remarks, width=columns_wanted()))
        note(f"picture: {out}", quiet)
    return 1 if refused else 0
