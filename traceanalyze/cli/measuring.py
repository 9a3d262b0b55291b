"""What `measure` does once its words are understood, free of the option parser: a dropped file starts at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from traceanalyze.cli.inputs import as_dropped
from traceanalyze.cli.screen import colour_wanted, columns_wanted, complain, json_text, note, print_json, print_text

if TYPE_CHECKING:
    from pathlib import Path

    from traceanalyze.session import Asked, Study


class Wanted(NamedTuple):
    """What is wanted beside the measuring itself: where results go, and how."""

    json: bool = False
    out: Path | None = None
    plot: Path | None = None
    report: Path | None = None
    quiet: bool = False
    no_color: bool = False
    force: bool = False


#: The options without a value that need no option parser.
PLAIN_FLAGS = frozenset({"--json", "--quiet", "-q", "--no-color"})


def plain_words(words: Sequence[str]) -> tuple[list[str], Wanted] | None:
    """Return the files and flags of words that need no option parser; None when they do."""
    files = [word for word in words if word == "-" or not word.startswith("-")]
    flags = {word for word in words if word != "-" and word.startswith("-")}
    if not files or not flags <= PLAIN_FLAGS:
        return None
    return files, Wanted(json="--json" in flags, quiet=bool(flags & {"--quiet", "-q"}), no_color="--no-color" in flags)


def measured_plainly(files: Sequence[str], wanted: Wanted) -> int:
    """Measure the logs, everything that could be asked for being left as it is."""
    from traceanalyze.cli.asking import asked

    return measured(files, asked(), wanted)


def measured(files: Sequence[str], asked: Asked, wanted: Wanted) -> int:
    """Measure the logs, print the results, and return the exit status: 1 when a log was refused, else 0."""
    from traceanalyze.report.measure_json import measure_document
    from traceanalyze.report.measure_text import measure_text
    from traceanalyze.session import measure_file, study_files

    names = as_dropped(files)
    drawn = wanted.plot is not None or wanted.report is not None
    if drawn or wanted.out is not None:
        _check_outputs(names, wanted)
    studies = study_files(names, asked) if drawn else []
    plainly = replace(asked, curves=False)
    sheets = [one.sheet for one in studies] if drawn else [s for name in names for s in measure_file(name, plainly)]
    if wanted.out is not None:
        _save(json_text(measure_document(sheets)) if wanted.json else measure_text(sheets, asked) + "\n", names, wanted)
    elif wanted.json:
        print_json(measure_document(sheets))
    else:
        bold = colour_wanted(wanted.no_color)
        print_text(measure_text(sheets, asked, bold=bold, width=columns_wanted()))
    complain(sheet.error for sheet in sheets if sheet.error)
    if drawn:
        _draw(studies, asked, wanted)
    return 1 if any(sheet.refused for sheet in sheets) else 0


def _check_outputs(names: Sequence[str], wanted: Wanted) -> None:
    """Refuse outputs that could not be written before the work that fills them."""
    from traceanalyze.plots.style import picture_kind
    from traceanalyze.report.files import check_output
    from traceanalyze.report.pictures import numbered

    if wanted.plot is not None:
        picture_kind(wanted.plot)
        for picture in numbered(wanted.plot, len(names)):
            check_output(picture, force=wanted.force, inputs=names)
    for path in (wanted.report, wanted.out):
        if path is not None:
            check_output(path, force=wanted.force, inputs=names)


def _save(content: str, names: Sequence[str], wanted: Wanted) -> None:
    from traceanalyze.report.files import write_atomically

    assert wanted.out is not None
    write_atomically(wanted.out, content, force=wanted.force, inputs=names)
    note(f"written: {wanted.out}", wanted.quiet)


def _draw(studies: Sequence[Study], asked: Asked, wanted: Wanted) -> None:
    if wanted.plot is not None:
        from traceanalyze.report.pictures import save_drive_pictures

        for path in save_drive_pictures(studies, wanted.plot, asked, force=wanted.force):
            note(f"picture: {path}", wanted.quiet)
    if wanted.report is not None:
        from traceanalyze.report.page import write_measure_page

        write_measure_page(wanted.report, studies, asked, force=wanted.force)
        note(f"report: {wanted.report}", wanted.quiet)
