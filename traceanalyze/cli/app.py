"""The root: which words name a command, and what becomes of everything raised."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from pathlib import Path

import typer

from traceanalyze import __version__
from traceanalyze.cli import book, compare, day, export, gearing, health, measure, overlay, plan, simulate
from traceanalyze.errors import OutputError, SheetError, TraceError, UsageError, shown

HELP = """Did the part make it quicker? Launch times and top speeds from GPS logs, each with its uncertainty.

A file by itself is measured:  traceanalyze ride.nmea

Ride on a closed course, in protective gear, with room to stop; keep engine and flywheel below their limits.
Local law and qualified practice come first.
"""

app = typer.Typer(
    name="traceanalyze", help=HELP, add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False
)
for command in (
    measure.measure,
    overlay.overlay,
    compare.compare,
    day.day,
    plan.plan,
    gearing.gearing,
    health.health,
    export.export,
    simulate.simulate,
):
    app.command()(command)
app.add_typer(book.app, name="book")
COMMANDS = frozenset({*(command.callback.__name__ for command in app.registered_commands if command.callback), "book"})


def run(words: Sequence[str]) -> int:
    """Run one command line and return its exit status: 0, 1 (a file was refused), 2 (wrong usage) or 130."""
    _safe_streams()
    if not words:
        sys.stderr.write(
            "traceanalyze: give a log file, such as: traceanalyze ride.nmea   (--help lists the commands)\n"
        )
        return 2
    if list(words) == ["--version"]:
        sys.stdout.write(f"traceanalyze {__version__}\n")
        return 0
    try:
        status = app(args=with_command(words), prog_name="traceanalyze", standalone_mode=False)
        sys.stdout.flush()
    except (UsageError, SheetError) as error:
        return _complain(str(error), 2)
    except OutputError as error:
        return _complain(str(error), 1)
    except TraceError as error:
        return _complain(str(error), 1)
    except typer.TyperException as error:
        return _complain(f"{error.format_message().rstrip('.')}; see traceanalyze --help", error.exit_code)
    except (KeyboardInterrupt, typer.Abort):
        sys.stderr.write("\ntraceanalyze: interrupted\n")
        return 130
    except BrokenPipeError:
        _close_quietly()
        return 0
    except OSError as error:
        return _complain(f"{error.strerror or error}; check the disk and the permissions", 1)
    except MemoryError:
        return _complain("not enough memory for this log; split it into shorter ones", 1)
    return status if isinstance(status, int) else 0


def with_command(words: Sequence[str]) -> list[str]:
    """Put `measure` in front when the first word is a file, `-` or an option of it rather than a command."""
    first = words[0]
    if first == "--help":
        return list(words)
    if first in COMMANDS:
        return list(words)
    looks_like_path = first.startswith("-") or any(sign in first for sign in "./\\*?:'\"") or Path(first).exists()
    return ["measure", *words] if looks_like_path else list(words)


def _complain(message: str, status: int) -> int:
    for line in message.splitlines():
        sys.stderr.write(f"traceanalyze: {shown(line)}\n")
    return status


def _safe_streams() -> None:
    """Let names that the terminal's encoding cannot show be printed as escapes rather than fail."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")


def _close_quietly() -> None:
    """Point a closed standard output at nothing, so that the interpreter's last flush stays silent."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
