"""`traceanalyze day FOLDER|SHEET.toml`: every log of a day."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from traceanalyze.cli import options as opt
from traceanalyze.cli.inputs import as_dropped
from traceanalyze.cli.screen import colour_wanted, columns_wanted, complain, note, print_json, print_text

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from traceanalyze.report.day_run import DayPlan
    from traceanalyze.results import RunSheet
    from traceanalyze.session import Asked


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
    workers: Annotated[
        int | None, typer.Option("--workers", min=1, help="Processes at work (default: one for each processor).")
    ] = None,
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
    from traceanalyze.report.day_files import PICTURES, Outputs
    from traceanalyze.report.day_run import day_document, day_results, planned_day
    from traceanalyze.report.day_text import day_text

    asked = opt.asked(measures, start, window, units)
    folder = Path(as_dropped([str(place)])[0])
    if new_sheet:
        return _new_sheet(folder, asked, out, workers=workers, quiet=quiet, force=force)
    plan = planned_day(folder, asked)
    outputs = Outputs(folder=out, pictures=pictures, force=force) if out is not None else None
    if outputs is not None:
        plan = plan.with_pictures(outputs.prepare(plan.logs), force=force)
    by_file = _worked(plan, workers, quiet)
    refused = _refused(by_file)
    results = day_results(plan, by_file, baseline=baseline, smallest=smallest)
    if json:
        print_json(day_document(results))
    else:
        bold, width = colour_wanted(no_color), columns_wanted()
        print_text(day_text(by_file, results.comparisons, asked, bold=bold, width=width))
    complain(refused)
    if outputs is not None:
        note(f"written to {out}: {', '.join(outputs.write(results))}", quiet)
        if pictures:
            note(f"and a picture of each log: {outputs.folder / PICTURES}", quiet)
    for line in plan.notes:
        note(line, quiet)
    return 1 if refused else 0


def _new_sheet(place: Path, asked: Asked, out: Path | None, *, workers: int | None, quiet: bool, force: bool) -> int:
    from traceanalyze.report.day_run import new_sheet_path, planned_folder, write_new_sheet
    from traceanalyze.report.files import check_output

    plan = planned_folder(place, asked)
    check_output(new_sheet_path(plan, out), force=force, inputs=plan.logs)
    by_file = _worked(plan, workers, quiet)
    complain(_refused(by_file))
    note(f"written: {write_new_sheet(plan, by_file, out, force=force)}", quiet)
    return 1 if _refused(by_file) else 0


def _refused(by_file: Mapping[Path, Sequence[RunSheet]]) -> list[str]:
    return [sheet.error for sheets in by_file.values() for sheet in sheets if sheet.error]


def _worked(plan: DayPlan, workers: int | None, quiet: bool) -> Mapping[Path, Sequence[RunSheet]]:
    with _pool(workers or _processors(), len(plan.tasks)) as pool, _progress(len(plan.tasks), quiet) as tick:
        return plan.worked(pool, tick)


def _processors() -> int:
    """How many processors this process may use."""
    affinity = getattr(os, "sched_getaffinity", None)  # not on every system
    return len(affinity(0)) if affinity else os.cpu_count() or 1


@contextmanager
def _pool(workers: int, tasks: int) -> Iterator[Executor | None]:
    """Yield processes to work with; None when one log or one worker would make them useless."""
    count = min(workers, tasks)
    if count <= 1:
        yield None
        return
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import active_children

    pool = ProcessPoolExecutor(count, initializer=_leave_interrupts)
    try:
        yield pool
        pool.shutdown()
    except BaseException:
        pool.shutdown(wait=False, cancel_futures=True)
        for child in active_children():  # what they write, they write whole or not at all
            child.terminate()
        raise


def _leave_interrupts() -> None:
    """Let the parent alone answer an interrupt from the keyboard."""
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)


@contextmanager
def _progress(tasks: int, quiet: bool) -> Iterator[Callable[[Path], None]]:
    """Show a bar on a terminal; elsewhere nothing."""
    if quiet or not sys.stderr.isatty():
        yield lambda path: None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("reading", total=tasks)
        yield lambda path: bar.update(task, advance=1)
