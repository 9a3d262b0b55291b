"""`traceanalyze compare SETUP=FILE[,FILE...] SETUP=FILE[,FILE...]`: is the difference real?"""

from __future__ import annotations

from typing import Annotated

import typer

from traceanalyze.cli import options as opt
from traceanalyze.cli.screen import colour_wanted, complain, print_json, print_text
from traceanalyze.errors import UsageError
from traceanalyze.settings import COMPARE_MEASURES

Setups = Annotated[
    list[str] | None,
    typer.Argument(metavar="SETUP=FILE[,FILE...]", help="Setups with their logs, or one day sheet."),
]
Table = Annotated[
    str | None, typer.Option("--table", metavar="RUNS.csv", help="Times written down by hand; - reads the input.")
]
Baseline = Annotated[
    str | None, typer.Option("--baseline", metavar="SETUP", help="Setup compared with (default: the first).")
]
Changed = Annotated[
    str | None, typer.Option("--changed", metavar="SETUP", help="Setup compared (default: every other).")
]
Smallest = Annotated[
    list[str] | None,
    typer.Option("--smallest", metavar="X", help='Smallest difference that matters: 0.05, "0.5 mph". Repeatable.'),
]
Scatter = Annotated[str | None, typer.Option("--scatter", metavar="SD", help="Your own run-to-run standard deviation.")]
ScatterDf = Annotated[
    float, typer.Option("--scatter-df", metavar="N", min=0, help="Degrees of freedom behind --scatter.")
]
Skip = Annotated[
    list[str] | None,
    typer.Option("--skip", metavar="FILE#N", help="Leave out launch N of a log (a pass: FILE#pN). Repeatable."),
]


def compare(
    setups: Setups = None,
    table: Table = None,
    baseline: Baseline = None,
    changed: Changed = None,
    smallest: Smallest = None,
    scatter: Scatter = None,
    scatter_df: ScatterDf = 0.0,
    skip: Skip = None,
    json: opt.Json = False,
    measures: opt.Measures = None,
    start: opt.Start = "rollout",
    window: opt.WindowText = "1s",
    units: opt.Units = "imperial",
    column: opt.Columns = None,
    speed_unit: opt.SpeedUnit = None,
    time_unit: opt.TimeUnit = None,
    accel_unit: opt.AccelUnit = None,
    quiet: opt.Quiet = False,
    no_color: opt.NoColor = False,
) -> int:
    """Did the part help? Each measure of two setups with its interval, the verdict, and what to run next.

    The first --measure is the headline; name it before looking. A table has the columns setup and value, and as
    known stderr, order (1, 2, ... through the day), direction, measure, unit, day, note.

    \b
    Examples:
      traceanalyze compare "standard spring=run1.nmea,run4.nmea" "stiff spring=run2.nmea,run3.nmea"
      traceanalyze compare day.toml --measure "0-30 mph" --smallest 0.05
      traceanalyze compare --table times.csv --baseline "standard spring"
    """
    from traceanalyze.judge.judging import Judging, compare_csv, compare_document
    from traceanalyze.judge.quantity import parse_amount
    from traceanalyze.report.compare_text import compare_text
    from traceanalyze.units import parse_measure

    if (table is None) == (not setups):
        raise UsageError("give setups with their logs, a day sheet, or --table", advice="see compare --help")
    judging = Judging(
        baseline=baseline,
        changed=changed,
        measures=tuple(dict.fromkeys(parse_measure(text) for text in measures or ())),
        smallest=tuple(parse_amount(text, "--smallest") for text in smallest or ()),
        scatter=parse_amount(scatter, "--scatter") if scatter is not None else None,
        scatter_df=scatter_df,
        skip=tuple(skip or ()),
    )
    system = opt.one_of(units, "--units", ("imperial", "metric"))
    refused: list[str] = []
    if table is not None:
        comparisons = compare_csv(table, judging)
    else:
        from traceanalyze.report.compare_run import compare_logs

        given = measures or list(COMPARE_MEASURES)
        asked = opt.asked(given, start, window, units, column, speed_unit, time_unit, accel_unit)
        comparisons, refused = compare_logs(setups or [], asked, judging)
    complain(refused)
    if json:
        print_json(compare_document(comparisons))
    else:
        bold = colour_wanted(no_color)
        print_text("\n\n".join(compare_text(one, system, bold=bold) for one in comparisons))
    return 1 if refused else 0
