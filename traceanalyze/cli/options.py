"""Options that several commands share; one spelling, one help text."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from traceanalyze.errors import UsageError
from traceanalyze.settings import DEFAULT_MEASURES
from traceanalyze.units import START_RULES, parse_measure, parse_window

if TYPE_CHECKING:
    from traceanalyze.session import Asked

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


def asked(
    measures: list[str] | None,
    start: str,
    window: str,
    units: str,
    column: list[str] | None = None,
    speed_unit: str | None = None,
    time_unit: str | None = None,
    accel_unit: str | None = None,
) -> Asked:
    """Return what the words of the options ask for.

    Raises
    ------
    UsageError
        Naming the option and the words it understands.
    """
    from traceanalyze.parsers.options import ReadOptions
    from traceanalyze.session import Asked

    return Asked(
        measures=tuple(dict.fromkeys(parse_measure(text) for text in measures or DEFAULT_MEASURES)),
        start_rule=one_of(start, "--start", START_RULES),
        window=parse_window(window),
        system=one_of(units, "--units", ("imperial", "metric")),
        read=ReadOptions(
            columns=_named_columns(column or []), speed_unit=speed_unit, time_unit=time_unit, accel_unit=accel_unit
        ),
    )


def one_of(word: str, option: str, known: Sequence[str]) -> Any:
    """Return the word in the spelling that `known` has.

    Raises
    ------
    UsageError
        If it is none of them.
    """
    name = word.strip().lower()
    if name not in known:
        raise UsageError(f"{option} {word!r} is not known", advice="use one of " + ", ".join(known))
    return name


def _named_columns(words: list[str]) -> dict[str, str]:
    pairs = [word.partition("=") for word in words]
    if any(not (what and name) for what, _, name in pairs):
        raise UsageError("--column wants WHAT=NAME", advice='write it like --column speed=v2, or "speed=my column"')
    return {what.strip().lower(): name.strip() for what, _, name in pairs}
