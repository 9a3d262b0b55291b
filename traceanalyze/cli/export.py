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
    force: opt.Force = False,
) -> int:
    """The cleaned trace (or, with --results, the results) for a spreadsheet, a map program or your own code.

    \b
    Examples:
      traceanalyze export ride.nmea --to geojson --out ride.geojson
      traceanalyze export ride.nmea other.gpx --results --out results.csv
    """
    from traceanalyze.report.exports import TRACE_FORMATS, results_csv
    from traceanalyze.report.files import make_folder, write_atomically
    from traceanalyze.session import study_files

    kind = opt.one_of(to, "--to", tuple(TRACE_FORMATS))
    asked = opt.asked(measures, "rollout", window, "imperial", column, speed_unit, time_unit, accel_unit)
    names = as_dropped(files)
    studies = study_files(names, asked)
    refused = [study.sheet.error or "" for study in studies if study.sheet.refused]
    read = [study for study in studies if not study.sheet.refused]
    complain(refused)
    if results:
        outputs = [(out, results_csv([study.sheet for study in read]))] if read else []
    else:
        ending, made = TRACE_FORMATS[kind]
        if len(read) > 1:
            if out is None:
                raise UsageError("several logs cannot share standard output", advice="name a folder with --out")
            make_folder(out, inputs=names)
            stems = _different([Path(study.sheet.path).stem for study in read])
            outputs = [(out / f"{stem}{ending}", made(study)) for stem, study in zip(stems, read, strict=True)]
        else:
            outputs = [(out, made(study)) for study in read]
    for path, content in outputs:
        if path is None:
            sys.stdout.flush()
            sys.stdout.buffer.write(content)
        else:
            write_atomically(path, content, force=force, inputs=names)
            note(f"written: {path}", quiet)
    return 1 if refused else 0


def _different(stems: list[str]) -> list[str]:
    """Number the names that occur more than once."""
    seen: dict[str, int] = {}
    different = []
    for stem in stems:
        seen[stem] = seen.get(stem, 0) + 1
        different.append(stem if seen[stem] == 1 else f"{stem}-{seen[stem]}")
    return different
