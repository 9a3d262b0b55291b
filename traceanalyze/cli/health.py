"""`traceanalyze health FILE...`: is this logger good enough?"""

from __future__ import annotations

from typing import Annotated

import typer

from traceanalyze.cli import options as opt
from traceanalyze.cli.inputs import as_dropped
from traceanalyze.cli.screen import columns_wanted, complain, print_json, print_text


def health(
    files: Annotated[list[str], typer.Argument(metavar="FILE", help="Logs to look at; - is standard input.")],
    json: opt.Json = False,
    column: opt.Columns = None,
    speed_unit: opt.SpeedUnit = None,
    time_unit: opt.TimeUnit = None,
    accel_unit: opt.AccelUnit = None,
    quiet: opt.Quiet = False,
    no_color: opt.NoColor = False,
) -> int:
    """Is this logger good enough: rate, dropouts, noise, rounding, delay, and the 0-30 mph uncertainty to expect.

    \b
    Example:
      traceanalyze health ride.nmea
    """
    from traceanalyze.report.health import health_document, health_text
    from traceanalyze.session import study_files

    asked = opt.asked(None, "rollout", "1s", "imperial", column, speed_unit, time_unit, accel_unit)
    studies = study_files(as_dropped(files), asked)
    if json:
        print_json(health_document(studies))
    else:
        print_text(health_text(studies, width=columns_wanted()))
    refused = [study.sheet.error or "" for study in studies if study.sheet.refused]
    complain(refused)
    return 1 if refused else 0
