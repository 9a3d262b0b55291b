"""Figures -> picture files, whole or not at all."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from traceanalyze.plots.drive import drive_figure
from traceanalyze.plots.style import picture_bytes, picture_kind
from traceanalyze.report.files import write_atomically
from traceanalyze.session import Asked, Study

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def save_figure(figure: Figure, path: Path, *, force: bool, inputs: Collection[Path] = ()) -> None:
    """Write a figure as PNG, SVG or PDF by the path's ending.

    Raises
    ------
    OutputError
        If the ending is another, the file exists and `force` is false, or it cannot be written.
    """
    write_atomically(path, picture_bytes(figure, picture_kind(path)), force=force, inputs=inputs)


def save_drive_pictures(studies: Sequence[Study], path: Path, asked: Asked, *, force: bool) -> list[Path]:
    """Write one picture per log that was read; with several logs their numbers are put before the ending."""
    read = [study for study in studies if study.trace is not None]
    picture_kind(path)
    inputs = [Path(study.sheet.path) for study in studies]
    names = numbered(path, len(read))
    for study, name in zip(read, names, strict=True):
        assert study.trace is not None
        figure = drive_figure(study.trace, study.sheet, asked.system, asked.start_rule)
        save_figure(figure, name, force=force, inputs=inputs)
    return names


def numbered(path: Path, count: int) -> list[Path]:
    """Return `count` paths: the path itself for one, else `name-1.png`, `name-2.png`, ..."""
    if count <= 1:
        return [path] * count
    return [path.with_name(f"{path.stem}-{k}{path.suffix}") for k in range(1, count + 1)]
