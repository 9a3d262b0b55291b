"""`traceanalyze compare SETUP=FILE[,FILE...] SETUP=FILE[,FILE...]`: is the difference real?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from traceanalyze.cli import options as opt
from traceanalyze.cli.screen import colour_wanted, complain, note, print_json, print_text
from traceanalyze.errors import UsageError
from traceanalyze.settings import COMPARE_MEASURES

if TYPE_CHECKING:
    from traceanalyze.report.compared import Compared

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
Book = Annotated[
    Path | None,
    typer.Option("--book", metavar="FILE", help="Take your own scatter from this run book ($TRACEANALYZE_BOOK too)."),
]
Vehicle = Annotated[
    str | None, typer.Option("--vehicle", metavar="NAME", help="Which machine of the run book (default: the sheet's).")
]
Report = Annotated[Path | None, typer.Option("--report", metavar="OUT.html", help="One page to read, share and print.")]
Plot = Annotated[
    Path | None, typer.Option("--plot", metavar="OUT.png", help="A picture of each comparison (PNG, SVG or PDF).")
]


def compare(
    setups: Setups = None,
    table: Table = None,
    baseline: Baseline = None,
    changed: Changed = None,
    smallest: Smallest = None,
    scatter: Scatter = None,
    scatter_df: ScatterDf = 0.0,
    book: Book = None,
    vehicle: Vehicle = None,
    skip: Skip = None,
    report: Report = None,
    plot: Plot = None,
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
    force: opt.Force = False,
) -> int:
    """Did the part help? Each measure of two setups with its interval, the verdict, and what to run next.

    The first --measure is the headline; name it before looking. A table has the columns setup and value, and as
    known stderr, order (1, 2, ... through the day), direction, measure, unit, day, note.

    \b
    Examples:
      traceanalyze compare "standard spring=run1.nmea,run4.nmea" "stiff spring=run2.nmea,run3.nmea"
      traceanalyze compare day.toml --measure "0-30 mph" --smallest 0.05 --report springs.html --plot springs.png
      traceanalyze compare --table times.csv --baseline "standard spring"
    """
    from traceanalyze.judge.judging import Judging
    from traceanalyze.judge.quantity import parse_amount
    from traceanalyze.report.compare_run import compare_logs, compare_times
    from traceanalyze.report.compare_text import compared_text
    from traceanalyze.report.own_scatter import BookWish
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
    _check_outputs(report, plot, force)
    wish = BookWish(path=book, vehicle=vehicle)
    given = measures or list(COMPARE_MEASURES)
    asked = opt.asked(given, start, window, units, column, speed_unit, time_unit, accel_unit)
    if table is not None:
        found = compare_times(table, asked, judging, wish)
    else:
        found = compare_logs(setups or [], asked, judging, wish)
    complain(found.refused)
    if json:
        print_json(found.to_dict())
    else:
        print_text(compared_text(found, bold=colour_wanted(no_color)))
    for line in _written(found, report, plot, force):
        note(line, quiet)
    return 1 if found.refused else 0


def _check_outputs(report: Path | None, plot: Path | None, force: bool) -> None:
    """Refuse outputs that could not be written before the work that fills them."""
    if report is None and plot is None:
        return
    from traceanalyze.plots.style import picture_kind
    from traceanalyze.report.files import check_output

    if plot is not None:
        picture_kind(plot)
    for path in (report, plot):
        if path is not None:
            check_output(path, force=force)


def _written(found: Compared, report: Path | None, plot: Path | None, force: bool) -> list[str]:
    """Write what is asked for and return a line for each file."""
    lines = []
    if report is not None:
        from traceanalyze.report.page import write_compare_page

        write_compare_page(report, found, force=force)
        lines.append(f"report: {report}")
    if plot is not None:
        from traceanalyze.report.compare_pictures import save_comparison_pictures

        lines += [f"picture: {path}" for path in save_comparison_pictures(found, plot, force=force)]
    return lines
