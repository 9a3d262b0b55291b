"""`traceanalyze book ...`: the run book, one database file of all runs so far."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from traceanalyze.cli import options as opt
from traceanalyze.cli.screen import colour_wanted, complain, note, print_json, print_text
from traceanalyze.settings import COMPARE_MEASURES

if TYPE_CHECKING:
    from traceanalyze.book.store import Added

app = typer.Typer(
    name="book",
    help="The run book: one database file of all runs so far. Nothing is kept without book add.",
    rich_markup_mode=None,
    add_completion=False,
    pretty_exceptions_enable=False,
)
Place = Annotated[
    Path | None,
    typer.Option("--book", metavar="FILE", help="The book (default: $TRACEANALYZE_BOOK, else in your data folder)."),
]
Vehicle = Annotated[
    str | None, typer.Option("--vehicle", metavar="NAME", help="Which machine, when there are several.")
]


@app.command()
def add(
    words: Annotated[
        list[str], typer.Argument(metavar="SETUP=FILE[,FILE...]", help="Setups with their logs, or one day sheet.")
    ],
    book: Place = None,
    vehicle: Vehicle = None,
    date: Annotated[str | None, typer.Option("--date", metavar="DATE", help="Day of logs without a date.")] = None,
    place: Annotated[str | None, typer.Option("--place", metavar="TEXT", help="Where it was.")] = None,
    json: opt.Json = False,
    measures: opt.Measures = None,
    window: opt.WindowText = "1s",
    column: opt.Columns = None,
    speed_unit: opt.SpeedUnit = None,
    time_unit: opt.TimeUnit = None,
    accel_unit: opt.AccelUnit = None,
    quiet: opt.Quiet = False,
) -> int:
    """Measure logs and keep the results. The same log a second time adds nothing.

    \b
    Examples:
      traceanalyze book add day.toml
      traceanalyze book add "stiff spring=run3.nmea,run4.nmea" --vehicle "pit bike" --place "old airfield"
    """
    from traceanalyze.book.opening import book_place, open_book_to_write
    from traceanalyze.book.store import add_entries
    from traceanalyze.book.words import Occasion, entries_from_words
    from traceanalyze.report.book_json import added_document
    from traceanalyze.report.book_text import added_text

    asked = opt.asked(measures, "rollout", window, "imperial", column, speed_unit, time_unit, accel_unit)
    path = book_place(book)
    entries, refused = entries_from_words(words, asked, Occasion(vehicle=vehicle, date=date, place=place))
    added: list[Added] = []
    if entries:
        with open_book_to_write(path) as opened:
            added, undated = add_entries(opened, entries)
        refused += undated
    complain(refused)
    if json:
        print_json(added_document(added, refused))
    else:
        print_text(added_text(added))
    note(f"run book: {path}", quiet)
    return 1 if refused else 0


@app.command()
def remove(
    log: Annotated[str, typer.Argument(metavar="FILE", help="The log, or the name it was added under.")],
    book: Place = None,
    json: opt.Json = False,
) -> int:
    """Take a log and its runs out of the book, so that it can be added again in another way.

    \b
    Example:
      traceanalyze book remove run3.nmea
    """
    from traceanalyze.book.opening import book_place, open_book_to_write
    from traceanalyze.book.store import fingerprint_of, remove_logs
    from traceanalyze.report.book_json import added_document
    from traceanalyze.report.book_text import added_text

    with open_book_to_write(book_place(book)) as opened:
        removed = remove_logs(opened, sha256=fingerprint_of(log), path=log)
    if json:
        print_json(added_document(removed, []))
    else:
        print_text(added_text(removed))
    return 0


@app.command(name="list")
def list_setups(
    book: Place = None,
    json: opt.Json = False,
    measures: opt.Measures = None,
    start: opt.Start = "rollout",
    window: opt.WindowText = "1s",
    units: opt.Units = "imperial",
    no_color: opt.NoColor = False,
) -> int:
    """Every setup of every vehicle: its days, its runs, the means of a few measures.

    \b
    Example:
      traceanalyze book list --measure "0-30 mph" --measure "top speed"
    """
    from traceanalyze.book.opening import book_place, open_book
    from traceanalyze.book.overview import overview
    from traceanalyze.book.reading import all_runs
    from traceanalyze.report.book_json import list_document
    from traceanalyze.report.book_text import list_text

    asked = opt.asked(measures or ["0-30 mph", "top speed"], start, window, units)
    with open_book(book_place(book)) as opened:
        runs = all_runs(opened)
    setups = overview(runs, asked.measures, start_rule=asked.start_rule, window=asked.window.label)
    if json:
        print_json(list_document(setups, asked.start_rule, asked.window.label))
    else:
        print_text(list_text(setups, asked.system, asked.start_rule, bold=colour_wanted(no_color)))
    return 0


@app.command()
def show(
    setup: Annotated[str | None, typer.Argument(metavar="[SETUP]", help="Only this setup.")] = None,
    book: Place = None,
    vehicle: Vehicle = None,
    json: opt.Json = False,
    measures: opt.Measures = None,
    start: opt.Start = "rollout",
    window: opt.WindowText = "1s",
    units: opt.Units = "imperial",
    no_color: opt.NoColor = False,
) -> int:
    """Every run, day by day, with its uncertainty and what is noted of it.

    \b
    Example:
      traceanalyze book show "stiff spring" --measure "0-30 mph"
    """
    from traceanalyze.book.opening import book_place, open_book
    from traceanalyze.book.reading import all_fittings, all_runs, chosen_runs
    from traceanalyze.report.book_json import show_document
    from traceanalyze.report.book_text import show_text

    asked = opt.asked(measures or list(COMPARE_MEASURES), start, window, units)
    with open_book(book_place(book)) as opened:
        runs = chosen_runs(all_runs(opened), vehicle=vehicle, setup=setup)
        fittings = all_fittings(opened)
    if json:
        print_json(show_document(runs))
    else:
        label, bold = asked.window.label, colour_wanted(no_color)
        print_text(show_text(runs, fittings, asked.measures, asked.system, asked.start_rule, label, bold=bold))
    return 0


@app.command()
def compare(
    baseline: Annotated[str, typer.Argument(metavar="BASELINE", help="Setup compared with.")],
    changed: Annotated[str, typer.Argument(metavar="CHANGED", help="Setup compared.")],
    book: Place = None,
    vehicle: Vehicle = None,
    smallest: Annotated[
        list[str] | None,
        typer.Option("--smallest", metavar="X", help='Smallest difference that matters: 0.05, "0.5 mph". Repeatable.'),
    ] = None,
    json: opt.Json = False,
    measures: opt.Measures = None,
    start: opt.Start = "rollout",
    window: opt.WindowText = "1s",
    units: opt.Units = "imperial",
    no_color: opt.NoColor = False,
) -> int:
    """Is the difference between two setups real? Runs of all days, each day a block of its own.

    \b
    Example:
      traceanalyze book compare "standard spring" "stiff spring" --measure "0-30 mph"
    """
    from traceanalyze.book.comparing import book_case, compare_book, smallest_differences
    from traceanalyze.book.opening import book_place, open_book
    from traceanalyze.report.compare_text import compare_text

    asked = opt.asked(measures or list(COMPARE_MEASURES), start, window, units)
    with open_book(book_place(book)) as opened:
        case = book_case(
            opened,
            baseline,
            changed,
            vehicle=vehicle,
            start_rule=asked.start_rule,
            window=asked.window.label,
            system=asked.system,
        )
    amounts = smallest_differences(case, asked.measures, smallest or ())
    comparison = compare_book(case, measures=asked.measures if measures else (), smallest=amounts)
    if json:
        print_json(comparison.to_dict())
    else:
        print_text(compare_text(comparison, asked.system, bold=colour_wanted(no_color)))
    return 0


@app.command()
def scatter(
    setup: Annotated[str | None, typer.Argument(metavar="[SETUP]", help="Only this setup.")] = None,
    book: Place = None,
    vehicle: Vehicle = None,
    json: opt.Json = False,
    measures: opt.Measures = None,
    start: opt.Start = "rollout",
    window: opt.WindowText = "1s",
    units: opt.Units = "imperial",
) -> int:
    """Your own run-to-run scatter and the degrees of freedom behind it, pooled within setup, day and direction.

    \b
    Example:
      traceanalyze book scatter --measure "0-30 mph"
    """
    from traceanalyze.book.opening import book_place, open_book
    from traceanalyze.book.reading import scatter as own_scatter
    from traceanalyze.report.book_json import scatter_document
    from traceanalyze.report.book_text import scatter_text

    asked = opt.asked(measures or ["0-30 mph"], start, window, units)
    rule, label = asked.start_rule, asked.window.label
    with open_book(book_place(book)) as opened:
        found = {
            one: own_scatter(opened, one, vehicle=vehicle, setup=setup, start_rule=rule, window=label)
            for one in asked.measures
        }
    if json:
        documents = [scatter_document(one, scatter, rule, label) for one, scatter in found.items()]
        print_json(documents[0] | ({"others": documents[1:]} if documents[1:] else {}))
    else:
        print_text("\n".join(scatter_text(one, scatter, asked.system, rule) for one, scatter in found.items()))
    return 0


@app.command()
def export(
    book: Place = None,
    to: Annotated[
        str, typer.Option("--to", metavar="json|csv", help="json holds everything; csv the results.")
    ] = "json",
    out: opt.Out = None,
    force: opt.Force = False,
    quiet: opt.Quiet = False,
) -> int:
    """The book for other programs: JSON with everything in it, or a CSV table of the results.

    \b
    Examples:
      traceanalyze book export --out runs.json
      traceanalyze book export --to csv --out runs.csv
    """
    from traceanalyze.book.opening import book_place, open_book
    from traceanalyze.report.book_export import export_text
    from traceanalyze.report.files import check_output, write_atomically

    kind = opt.one_of(to, "--to", ("json", "csv"))
    path = book_place(book)
    if out is not None:
        check_output(out, force=force, inputs=[path])
    with open_book(path) as opened:
        content = export_text(opened, kind)
    if out is None:
        print_text(content)
    else:
        write_atomically(out, content, force=force, inputs=[path])
        note(f"written: {out}", quiet)
    return 0


@app.command(name="import")
def import_runs(
    file: Annotated[str, typer.Argument(metavar="FILE.json", help="What book export wrote; - is standard input.")],
    book: Place = None,
    quiet: opt.Quiet = False,
) -> int:
    """Add the logs of another book's JSON export; those that are known add nothing.

    \b
    Example:
      traceanalyze book import runs.json --book season.book
    """
    from traceanalyze.book.exchange import import_document, read_export
    from traceanalyze.book.opening import book_place, open_book_to_write
    from traceanalyze.errors import TraceError
    from traceanalyze.report.tables import counted

    path = book_place(book)
    try:
        text = read_export(file)
        with open_book_to_write(path) as opened:
            done = import_document(opened, text)
    except TraceError as error:
        raise error.at(file) from None
    print_text(f"{counted(done.added, 'log')} added, {counted(done.known, 'log')} known already")
    note(f"run book: {path}", quiet)
    return 0
