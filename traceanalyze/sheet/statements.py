"""Text of a sheet -> its statements, each parsed by itself, so that every mistake has its line and none hides another.

tomllib stops at the first mistake and forgets lines. A statement of TOML (https://toml.io/en/v1.0.0) begins on a
line of its own; only lists and long strings run over several lines, so a small scan finds where each one ends.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

#: Length of one entry; a list of a thousand files is shorter.
MOST_CHARACTERS = 60_000
#: Dots of one key: a sheet needs one. tomllib's time grows with the square of their number (29,000 take 14 s).
MOST_DOTS = 8

_TOKEN = re.compile(
    r'"""(?:[^"\\]|\\.|"(?!""))*(?:"{3,5}|\\?\Z)'
    r"|'''(?:[^']|'(?!''))*(?:'{3,5}|\Z)"
    r'|"(?:[^"\\\n]|\\[^\n])*["\\]?'
    r"|'[^'\n]*'?"
    r"|\#[^\n]*|[\[\]{}\n]|[^\"'\#\[\]{}\n]+",
    re.DOTALL,
)
_HEADER = re.compile(r"[ \t]*\[")
#: A line that cannot stand inside a list: a table's header, or `key = value`. There the list before was not closed.
_FRESH_START = re.compile(
    r"[ \t]*(?:\[\[?[ \t]*(?!true|false|inf|nan)[A-Za-z_][\w.\-]*[ \t]*\]|[A-Za-z_][\w.\-]*[ \t]*=)"
)


@dataclass(frozen=True, slots=True)
class Mistake:
    """One thing to correct: its line, what was found, what to do."""

    line: int
    reason: str
    advice: str

    def __str__(self) -> str:
        return f"line {self.line}: {self.reason}; {self.advice}"


@dataclass(frozen=True, slots=True)
class Statement:
    """One header or one `key = value`, from its first line on."""

    line: int
    text: str

    @property
    def is_header(self) -> bool:
        """Whether it is `[table]` or `[[table]]`."""
        return self.text.lstrip().startswith("[")

    @property
    def key(self) -> str:
        """What stands before the first `=`, as written."""
        return self.text.partition("=")[0].strip()

    def line_of(self, word: str) -> int:
        """Return the line on which a text first stands in it; its first line when it is nowhere as such."""
        at = self.text.find(word) if word else -1
        return self.line + self.text.count("\n", 0, at) if at > 0 else self.line


def statements(text: str) -> Iterator[Statement]:
    """Yield the statements of a sheet in order, without blank lines and comments."""
    start, line = 0, 1
    while start < len(text):
        end = _end(text, start)
        piece = text[start:end]
        if piece.strip() and not piece.lstrip().startswith("#"):
            yield Statement(line, piece)
        line += piece.count("\n")
        start = end


def _end(text: str, start: int) -> int:
    """Where the statement that begins at `start` ends: after the first line end outside lists and strings."""
    is_header = _HEADER.match(text, start)
    depth = 0
    for token in _TOKEN.finditer(text, start):
        word = token[0]
        if word in "[{":
            depth += 1
        elif word in "]}":
            depth -= 1
        elif word == "\n" and (depth <= 0 or is_header or _FRESH_START.match(text, token.end())):
            return token.end()
    return len(text)


def parsed(statement: Statement) -> dict[str, Any] | Mistake:
    """Return what tomllib makes of one statement, or the mistake in it."""
    if len(statement.text) > MOST_CHARACTERS:
        return Mistake(statement.line, "one entry without an end", "close its quotes and brackets, or shorten it")
    if _most_dots(statement.text) > MOST_DOTS:
        return Mistake(statement.line, "a key of many parts", "keys of a sheet are single words")
    import tomllib  # a day without a sheet needs none

    try:
        return tomllib.loads(statement.text)
    except RecursionError:
        return Mistake(statement.line, "lists within lists without end", "a list here holds plain values")
    except ValueError as error:  # TOMLDecodeError is one; so is a number of thousands of digits
        found = re.match(r"(.*?)(?: \(at (?:line (\d+)|end)[^()]*\))?$", str(error), re.DOTALL)
        reason = found[1] if found else str(error)
        line = statement.line + int(found[2]) - 1 if found and found[2] else statement.line
        return Mistake(line, _plain_reason(reason), _advice(statement.text, reason))


def _most_dots(text: str) -> int:
    """Return the dots in the longest run of text between commas, brackets and equal signs, strings left out."""
    bare = "".join(token[0] for token in _TOKEN.finditer(text) if token[0][0] not in "\"'#")
    return max(run.count(".") for run in re.split(r"[,=\[\]{}\n]", bare))


#: What tomllib says -> what the writer of a sheet sees.
_PLAIN = {
    "Illegal character '\\n'": "the quotes are not closed",
    "Unterminated string": "the quotes are not closed",
    "Expected newline or end of document after a statement": "something is left over after the value",
    "Expected '=' after a key in a key/value pair": "no = after the first word",
    "Invalid value": "the value is neither text in quotes nor a number",
    "Invalid date or datetime": "there is no such date",
}


def _plain_reason(reason: str) -> str:
    if reason.startswith("Exceeds"):
        return "not TOML: a number of thousands of digits"
    return "not TOML: " + (_PLAIN.get(reason) or reason[:1].lower() + reason[1:])


def _advice(text: str, reason: str) -> str:
    """Return what most likely puts it right."""
    if "nterminated" in reason or reason.endswith("'\\n'"):
        return "close the quotes"
    if "\\" in reason:
        return "write / between folders, or put the text in single quotes"
    if "nclosed" in reason or text.count("[") > text.count("]"):
        return "close the list or the bracket"
    if re.search(r"=\s*[+-]?\d+:\d", text):
        return 'write a clock time or an offset in quotes, such as "14:05" or "+02:00"'
    if re.search(r"=\s*-?\d+,\d", text):
        return "write decimals with a point, such as 1.5"
    if "date" in reason:
        return "write a date that exists as year-month-day, such as 2026-05-17"
    if "value" in reason:
        return 'put text in quotes, such as name = "standard spring"'
    return "write key = value, one a line, with text in quotes"
