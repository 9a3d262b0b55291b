"""`traceanalyze day FOLDER|SHEET.toml`: every log of a day."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from traceanalyze.cli import options as opt
from traceanalyze.cli.screen import colour_wanted, complain, note, print_json, print_text

if TYPE_CHECKING:
    from traceanalyze.report.day_run import DayPlan


def day(
    place: Annotated[Path, typer.Argument(metavar="FOLDER|SHEET.toml", help="A folder of logs, or a day sheet.")],
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder for tables, pictures and the report.")
    ] = None,
    new_sheet: Annotated[
        bool, typer.Option("--new-sheet", help="Write a commented day sheet to start from, and nothing else.")
    ] = False,
    baseline: Annotated[
        str | None, typer.Option("--baseline", metavar="SETUP", help="Setup the others are compared with.")
    ] = None,
    smallest: Annotated[
        float | None, typer.Option("--smallest", metavar="S", help="Smallest difference that matters [s].")
    ] = None,
    workers: Annotated[int, typer.Option("--workers", min=1, help="Processes at work.")] = os.cpu_count() or 1,
    pictures: Annotated[bool, typer.Option("--pictures/--no-pictures", help="Draw pictures.")] = True,
    json: opt.Json = False,
    measures: opt.Measures = None,
    start: opt.Start = "rollout",
    window: opt.WindowText = "1s",
    units: opt.Units = "imperial",
    quiet: opt.Quiet = False,
    no_color: opt.NoColor = False,
    force: opt.Force = False,
) -> int:
    """Every log of a day: results, pictures, the comparison of its setups, and one page to read and share.

    \b
    Examples:
      traceanalyze day logs/ --new-sheet
      traceanalyze day logs/day.toml --out saturday
    """
    from traceanalyze.report.day_run import day_document, day_results, planned_day, write_day, write_new_sheet
    from traceanalyze.report.day_text import day_text

    asked = opt.asked(measures, start, window, units)
    plan = planned_day(place, asked, out=out if pictures else None, force=force)
    with _pool(workers, len(plan.tasks)) as pool, _progress(plan, quiet) as tick:
        by_file = plan.worked(pool, tick)
    refused = [sheet.error or "" for sheets in by_file.values() for sheet in sheets if sheet.refused]
    complain(refused)
    if new_sheet:
        note(f"written: {write_new_sheet(plan, by_file, out, force=force)}", quiet)
        return 1 if refused else 0
    results = day_results(plan, by_file, baseline=baseline, smallest=smallest)
    if json:
        print_json(day_document(results))
    else:
        print_text(day_text(by_file, results.comparisons, asked, bold=colour_wanted(no_color)))
    if out is not None:
        for path in write_day(results, out, pictures=pictures, force=force):
            note(f"written: {path}", quiet)
    for line in plan.notes:
        note(line, quiet)
    return 1 if refused else 0


def _pool(workers: int, tasks: int) -> ProcessPoolExecutor | nullcontext[None]:
    """Return processes to work with; none when one log or one worker would make them useless."""
    count = min(workers, tasks)
    return ProcessPoolExecutor(count) if count > 1 else nullcontext(None)


@contextmanager
def _progress(plan: DayPlan, quiet: bool) -> Iterator[Callable[[Path], None]]:
    """Show a bar on a terminal; elsewhere nothing."""
    if quiet or not sys.stderr.isatty():
        yield lambda path: None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("reading", total=len(plan.tasks))
        yield lambda path: bar.update(task, advance=1)
