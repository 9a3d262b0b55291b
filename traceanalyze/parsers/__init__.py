"""Bytes of a log -> Trace. Content decides which reader takes it, never the ending of its name."""

from __future__ import annotations

import os
from collections import Counter
from dataclasses import replace
from importlib import import_module
from types import ModuleType
from typing import Final, NamedTuple

from traceanalyze.errors import FormatError, LimitError, TraceError
from traceanalyze.parsers import nmea
from traceanalyze.parsers.containers import Member, Refused, open_members
from traceanalyze.parsers.options import ReadOptions
from traceanalyze.trace import Remark, Source, Trace, with_remarks

__all__ = ["FORMATS", "Format", "ReadOptions", "read", "read_all"]


class Format(NamedTuple):
    """One format: its name in results, and the package beside this that knows it."""

    name: str
    package: str

    def sniff(self, head: bytes) -> float:
        """Return how surely some first bytes are of it, 0 to 1."""
        return float(self._loaded().sniff(head))

    def read(self, member: Member, source: Source, options: ReadOptions) -> Trace:
        """Return the drive that a log of it holds."""
        trace: Trace = self._loaded().read(member, source, options)
        return trace

    def _loaded(self) -> ModuleType:
        """Its package, imported when a log may be of it: most logs never need the later ones."""
        return import_module(f"{__name__}.{self.package}")


#: Every format that is read; the surest takes a log, of equally sure ones the first.
FORMATS: Final[tuple[Format, ...]] = (Format("nmea", "nmea"), Format("gpx", "gpx"), Format("csv", "table"))
_NMEA, _, _CSV = FORMATS
#: A file that cannot be read is called a damaged log when it is one this surely, and no log at all otherwise.
_LIKELY: Final = 0.5


class _NoLogError(FormatError):
    """The content is of no format in the table."""


def read(path: str | os.PathLike[str], options: ReadOptions | None = None) -> Trace:
    """Return the drive in a file that holds exactly one log.

    Raises
    ------
    FormatError
        If it holds several logs: `read_all` returns them all.
    InputError, FormatError, LimitError
        As `read_all` does.
    """
    traces = read_all(path, options)
    if len(traces) > 1:
        reason = f"it holds {len(traces)} logs"
        raise FormatError(reason, where=os.fspath(path), advice="read_all() returns them all")
    return traces[0]


def read_all(path: str | os.PathLike[str], options: ReadOptions | None = None) -> list[Trace]:
    """Return the drives in a file: one, or several from an archive with several logs.

    Parameters
    ----------
    path : path-like
        A log, plain or packed with gzip or zip; `-` is standard input. Of an archive with several logs, the path
        of each trace is `archive.zip:name`; what is no log in it is passed over, what cannot be read is remarked.
    options : ReadOptions, optional
        What the log does not say itself.

    Raises
    ------
    InputError, FormatError, LimitError
        If the file cannot be opened; is no log, or nothing usable is in it; is larger than allowed.
    """
    options = options or ReadOptions()
    label = os.fspath(path)
    found: list[tuple[str, Trace]] = []
    refused: list[Refused] = []
    for member in open_members(path, options):
        if isinstance(member, Refused):
            refused.append(member)
            continue
        try:
            found.append((member.name, _read_member(member, options)))
        except LimitError as error:
            raise error.at(label) from None
        except TraceError as error:
            refused.append(Refused(member.name, error))
    if not found:
        raise _worst(refused).at(label) from None
    notes = [Remark("member-left-out", f"{item.name}: {item.error}") for item in refused if not _is_no_log(item)]
    several = len(found) > 1
    return [
        with_remarks(replace(trace, source=replace(trace.source, path=f"{label}:{name}")) if several else trace, *notes)
        for name, trace in found
    ]


def _read_member(member: Member, options: ReadOptions) -> Trace:
    chosen, sureness = _chosen(member, options)
    source = Source(path=member.label, format=chosen.name)
    try:
        trace = chosen.read(member, source, options)
    except FormatError as error:
        if sureness >= _LIKELY:
            raise
        advice = f"taken as {chosen.name.upper()}, {error.reason}; {error.advice}"
        raise _NoLogError("not a log this program reads", advice=advice) from None
    tally = Counter(trace.tally) + Counter(member.tally) if member.tally else trace.tally
    trace = replace(trace, source=replace(source, sha256=member.sha256), tally=tally)
    return with_remarks(trace, *member.remarks) if member.remarks else trace


def _chosen(member: Member, options: ReadOptions) -> tuple[Format, float]:
    """Return the format of a log by its first bytes, or by NMEA sentences further on, and how sure it is; columns that
    are named make a table of anything else.
    """
    head = member.head()
    score, best = 0.0, _NMEA
    for known in FORMATS:
        if score < 1 and (found := known.sniff(head)) > score:
            score, best = found, known
    if score > 0:
        return best, score
    if options.columns:
        return _CSV, 1.0
    if member.size > len(head) and nmea.holds_sentences(member.chunks()):
        return _NMEA, 1.0
    advice = "NMEA, GPX and CSV logs are read; if it is a table, name its columns with --column"
    raise _NoLogError("not a log this program reads", advice=advice)


def _is_no_log(item: Refused) -> bool:
    return isinstance(item.error, _NoLogError)


def _worst(refused: list[Refused]) -> TraceError:
    """Return the error that tells most when nothing could be read."""
    telling = [item.error for item in refused if not _is_no_log(item)]
    if telling:
        return telling[0]
    if len(refused) == 1 and not refused[0].name:
        return refused[0].error
    return FormatError("no log in the archive", advice="put NMEA, GPX or CSV logs in it")
