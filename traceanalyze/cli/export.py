"""`traceanalyze export FILE... --to csv|parquet|geojson|gpx`."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from traceanalyze.cli import options as opt
from traceanalyze.cli.inputs import as_dropped
from traceanalyze.cli.screen import complain, note
from traceanalyze.errors import UsageError


def export(
    files: Annotated[list[str], typer.Argument(metavar="FILE", help="Logs to read; - is standard input.")],
    to: Annotated[str, typer.Option("--to", metavar="FORMAT", help="csv, parquet, geojson or gpx.")] = "csv",
    results: Annotated[bool, typer.Option("--results", help="The results as CSV instead of the trace.")] = False,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="PATH", help="A file; for several logs a folder. Else standard output."),
    ] = None,
    measures: opt.Measures = None,
    window: opt.WindowText = "1s",
    column: opt.Columns = None,
    speed_unit: opt.SpeedUnit = None,
    time_unit: opt.TimeUnit = None,
    accel_unit: opt.AccelUnit = None,
    quiet: opt.Quiet = False,
    no_color: opt.NoColor = False,
    force: opt.Force = False,
) -> int:
    """The cleaned trace (or, with --results, the results) for a spreadsheet, a map program or your own code.

    \b
    Examples:
      traceanalyze export ride.nmea --to geojson --out ride.geojson
      traceanalyze export ride.nmea other.gpx --results --out results.csv
      traceanalyze export *.nmea --to gpx --out tracks/
    """
    from traceanalyze.report.exports import TRACE_FORMATS, exported
    from traceanalyze.report.files import check_output

    kind = opt.one_of(to, "--to", tuple(TRACE_FORMATS))
    asked = opt.asked(measures, "rollout", window, "imperial", column, speed_unit, time_unit, accel_unit)
    names = as_dropped(files)
    if out is not None and not out.is_dir() and (results or len(names) == 1):
        check_output(out, force=force, inputs=names)
    if out is None and kind == "parquet" and not results and sys.stdout.isatty():
        raise UsageError("Parquet is not text for a terminal", advice="name a file with --out")
    made, refused = exported(names, asked, None if results else kind, out)
    for path, _ in made:
        if path is not None:
            check_output(path, force=force, inputs=names)
    for path, content in made:
        _write(path, content, force=force, inputs=names, quiet=quiet)
    complain(refused)
    return 1 if refused else 0


def _write(path: Path | None, content: bytes, *, force: bool, inputs: list[str], quiet: bool) -> None:
    from traceanalyze.report.files import write_atomically

    if path is None:
        sys.stdout.flush()
        sys.stdout.buffer.write(content)
        sys.stdout.buffer.flush()
    else:
        write_atomically(path, content, force=force, inputs=inputs)
        note(f"written: {path}", quiet)
