"""The words of one command -> its function called; only that command's module and the option parser are loaded."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import import_module

import typer

from traceanalyze.errors import UsageError

#: What the option parser makes of an interrupt from the keyboard.
_INTERRUPTED = 130


def parsed(name: str, words: Sequence[str]) -> int:
    """Carry out a command and return its exit status.

    Raises
    ------
    UsageError
        If the words are not what the command takes.
    """
    try:
        status = _command(name)(args=list(words), prog_name=f"traceanalyze {name}", standalone_mode=False)
    except typer.TyperException as error:
        advice = f"see traceanalyze {name} --help"
        raise UsageError(error.format_message().rstrip("."), advice=advice) from None
    except typer.Abort:
        raise KeyboardInterrupt from None
    if status == _INTERRUPTED:
        raise KeyboardInterrupt
    return status if isinstance(status, int) else 0


def _command(name: str) -> typer.Typer:
    module = import_module(f"traceanalyze.cli.{name}")
    if isinstance(group := getattr(module, "app", None), typer.Typer):
        return group
    app = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)
    app.command()(getattr(module, name))
    return app
