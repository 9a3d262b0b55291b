"""Options that several commands share; one spelling, one help text."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from traceanalyze.cli.asking import asked, one_of

__all__ = [
    "AccelUnit", "Columns", "Force", "Json", "Measures", "NoColor", "Out", "Quiet", "SpeedUnit", "Start", "TimeUnit",
    "Units", "WindowText", "asked", "one_of",
]  # fmt: skip

Json = Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else on standard output.")]
Measures = Annotated[
    list[str] | None,
    typer.Option("--measure", metavar="TEXT", help='What to time, such as "0-30 mph" or "60 ft". Repeatable.'),
]
Start = Annotated[
    str,
    typer.Option(
        "--start",
        metavar="RULE",
        help="When the clock starts: rollout (0.3048 m travelled), rest (onset of motion), threshold (1 km/h).",
    ),
]
WindowText = Annotated[
    str, typer.Option("--window", metavar="LENGTH", help="Window of the sustained speed: 1s, 3s, or 100m.")
]
Units = Annotated[str, typer.Option("--units", metavar="SYSTEM", help="Units shown to people: imperial or metric.")]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="No notes and no progress on standard error.")]
NoColor = Annotated[bool, typer.Option("--no-color", help="No colour (the NO_COLOR variable does the same).")]
Force = Annotated[bool, typer.Option("--force", help="Allow an output that exists to be overwritten.")]
Out = Annotated[Path | None, typer.Option("--out", metavar="PATH", help="Where to write.")]
Columns = Annotated[
    list[str] | None,
    typer.Option("--column", metavar="WHAT=NAME", help="CSV: which column holds what, such as speed=v2. Repeatable."),
]
SpeedUnit = Annotated[
    str | None, typer.Option("--speed-unit", metavar="UNIT", help="CSV: unit of the speed column: m/s, km/h, mph, kn.")
]
TimeUnit = Annotated[
    str | None, typer.Option("--time-unit", metavar="UNIT", help="CSV: unit of the time column: s, ms, us, ns.")
]
AccelUnit = Annotated[
    str | None, typer.Option("--accel-unit", metavar="UNIT", help="CSV: unit of the accelerometer: m/s2 or g.")
]
