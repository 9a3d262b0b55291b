"""Everything this package raises on purpose: one tree, each error saying where, what, and what to try."""

from __future__ import annotations


def shown(name: object) -> str:
    """Return a file name or label as it can be printed on one line without harm.

    Control characters, line ends, bidirectional marks and undecodable bytes are written as escapes;
    everything else is left alone.
    """
    return "".join(char if char.isprintable() else _escaped(char) for char in str(name))


_SHORT = {"\n": r"\n", "\r": r"\r", "\t": r"\t"}


def _escaped(char: str) -> str:
    code = ord(char)
    if char in _SHORT:
        return _SHORT[char]
    if 0xDC80 <= code <= 0xDCFF:  # a byte that was not UTF-8, as os.fsdecode carries it (PEP 383)
        return f"\\x{code - 0xDC00:02x}"
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}" if code <= 0xFFFF else f"\\U{code:08x}"


class TraceError(Exception):
    """Root of the tree: catch this to catch everything raised on purpose, and nothing else.

    Parameters
    ----------
    reason : str
        What was found, in plain words, without a full stop.
    where : str, optional
        The file (or row, option, sheet line) it was found in.
    advice : str, optional
        What to do about it.
    """

    def __init__(self, reason: str, *, where: str | None = None, advice: str = "") -> None:
        super().__init__(reason)
        self.reason = reason
        self.where = where
        self.advice = advice

    def at(self, where: str) -> TraceError:
        """Return the same error with its place filled in, unless it already names one."""
        return self if self.where is not None else type(self)(self.reason, where=where, advice=self.advice)

    def __reduce__(self) -> tuple[object, ...]:  # errors travel between worker processes
        return (_rebuilt, (type(self), self.reason, self.where, self.advice))

    def __str__(self) -> str:
        head = f"{shown(self.where)}: " if self.where is not None else ""
        tail = f"; {self.advice}" if self.advice else ""
        return f"{head}{shown(self.reason)}{shown(tail)}"


def _rebuilt(kind: type[TraceError], reason: str, where: str | None, advice: str) -> TraceError:
    return kind(reason, where=where, advice=advice)


class InputError(TraceError):
    """A file cannot be opened: missing, a folder, a device, no permission."""


class FormatError(TraceError):
    """The content is not a log this program reads, or nothing usable is in it."""


class LimitError(TraceError):
    """A file is larger, deeper or grows more on unpacking than the stated limits allow."""


class SignalError(TraceError):
    """The samples cannot support the calculation asked for."""


class UsageError(TraceError):
    """An option, measure, unit or argument is not of the stated form."""


class SheetError(TraceError):
    """A day sheet or a table of runs holds mistakes: all that were found, each on a line of its own.

    Parameters
    ----------
    reason, where, advice
        As for `TraceError`; `reason` and `advice` are of the first mistake.
    others : tuple of str, optional
        Each further mistake, whole ('reason; advice').
    """

    def __init__(
        self, reason: str, *, where: str | None = None, advice: str = "", others: tuple[str, ...] = ()
    ) -> None:
        super().__init__(reason, where=where, advice=advice)
        self.others = others

    def at(self, where: str) -> SheetError:
        """Return the same error with its place filled in, unless it already names one."""
        place = self.where if self.where is not None else where
        return SheetError(self.reason, where=place, advice=self.advice, others=self.others)

    def __reduce__(self) -> tuple[object, ...]:
        return (_rebuilt_sheet_error, (self.reason, self.where, self.advice, self.others))

    def __str__(self) -> str:
        head = f"{shown(self.where)}: " if self.where is not None else ""
        return "\n".join([super().__str__(), *(f"{head}{shown(other)}" for other in self.others)])


def _rebuilt_sheet_error(reason: str, where: str | None, advice: str, others: tuple[str, ...]) -> SheetError:
    return SheetError(reason, where=where, advice=advice, others=others)


class OutputError(TraceError):
    """A result cannot be written where it was asked to go."""


class BookError(TraceError):
    """The run book cannot be opened, read or changed."""
