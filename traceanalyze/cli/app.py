"""The root: which words name a command, and what becomes of everything raised."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence

from traceanalyze import __version__
from traceanalyze.errors import SheetError, TraceError, UsageError, shown

#: Every command and what it does. Its module here is called like it, and so is the function (or the group) inside.
COMMANDS = {
    "measure": "launches, 0-30 mph times and sustained top speeds of each log",
    "overlay": "two or more setups in one picture",
    "compare": "did the part help: the difference, real or a fluke, and what to run next",
    "day": "every log of a day: tables, pictures, comparisons and one page to share",
    "plan": "how many runs, in which order, show a difference; the strip they need; safety",
    "gearing": "speeds of a drive train, and what another sprocket would do",
    "health": "is this logger good enough, and what to do about it",
    "export": "traces and results for spreadsheets, maps and your own code",
    "simulate": "practice logs whose truth is exactly known",
    "book": "the run book: one database file of all runs so far",
}
HELP = """\
Usage: traceanalyze FILE...
       traceanalyze COMMAND ...

Did the part make it quicker? Launch times and top speeds from GPS logs
(NMEA, GPX, CSV), each with its uncertainty. A file by itself is measured.

Commands (traceanalyze COMMAND --help shows the options and an example):
{commands}

Examples:
  traceanalyze ride.nmea
  traceanalyze compare "standard spring=run1.nmea,run4.nmea" "stiff spring=run2.nmea,run3.nmea"
  traceanalyze day logs/ --out saturday

Options:
  --version  Show the version.
  --help     Show this page.

Ride on a closed course, in protective gear, with room to stop. Keep engine and
flywheel below their limits. Local law and qualified practice come first.
"""


def run(words: Sequence[str]) -> int:
    """Run one command line and return its exit status: 0, 1 (a file was refused), 2 (wrong usage) or 130."""
    _safe_streams()
    try:
        status = _carried_out(list(words))
        sys.stdout.flush()
    except BrokenPipeError:
        status = 0
    except TraceError as error:
        status = _complain(str(error), 2 if isinstance(error, UsageError | SheetError) else 1)
    except KeyboardInterrupt:
        sys.stderr.write("\ntraceanalyze: interrupted\n")
        status = 130
    except OSError as error:
        status = _complain(f"{(error.strerror or str(error)).lower()}; check the disk and the permissions", 1)
    except MemoryError:
        status = _complain("not enough memory for this; split the log into shorter ones", 1)
    except Exception as error:  # nobody foresaw it: one line to report, no page of code
        from traceanalyze.session import told

        status = _complain(str(told(error)), 1)
    _let_go_of_output()
    return status


def _carried_out(words: list[str]) -> int:
    if not words:
        raise UsageError("no log given", advice="name one, such as: traceanalyze ride.nmea (--help lists the commands)")
    if words[0] in ("--help", "-h", "help"):
        sys.stdout.write(HELP.format(commands="\n".join(f"  {name:<10}{does}" for name, does in COMMANDS.items())))
        return 0
    if words[0] == "--version":
        sys.stdout.write(f"traceanalyze {__version__}\n")
        return 0
    name, rest = command_of(words)
    if name == "measure":
        from traceanalyze.cli.measuring import measured_plainly, plain_words

        if (plain := plain_words(rest)) is not None:  # no need to load the parser of all options
            return measured_plainly(*plain)
    from traceanalyze.cli.parsing import parsed

    return parsed(name, rest)


def command_of(words: Sequence[str]) -> tuple[str, list[str]]:
    """Return the command and its words: `measure` when the first is a file, `-` or an option rather than a command.

    Raises
    ------
    UsageError
        If the first word is neither.
    """
    first = words[0]
    if first in COMMANDS:
        return first, list(words[1:])
    if first.startswith("-") or any(sign in first for sign in "./\\*?:'\"") or os.path.lexists(first):
        return "measure", list(words)
    import difflib

    near = difflib.get_close_matches(first.lower(), COMMANDS, n=1)
    advice = f"do you mean: traceanalyze {near[0]}" if near else "traceanalyze --help lists the commands"
    raise UsageError(f"no command and no file is called {first[:80]!r}", advice=advice)


def _complain(message: str, status: int) -> int:
    for line in message.splitlines():
        sys.stderr.write(f"traceanalyze: {shown(line)}\n")
    return status


def _safe_streams() -> None:
    """Let names that the terminal's encoding cannot show be printed as escapes, and closed streams be silent."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: PTH123, SIM115 - for the whole process
        reconfigure = getattr(getattr(sys, name), "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")


def _let_go_of_output() -> None:
    """Point a standard output that takes no more at nothing, so that the interpreter's last flush stays silent."""
    try:
        sys.stdout.flush()
    except (OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
