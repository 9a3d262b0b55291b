"""The words of one command -> its function called; only that command's module and the option parser are loaded."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import Any

import typer
from typer.main import get_command

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
        status = _command(name).main(args=list(words), prog_name=f"traceanalyze {name}", standalone_mode=False)
    except typer.TyperException as error:
        advice = f"see traceanalyze {name} --help"
        raise UsageError(error.format_message().rstrip("."), advice=advice) from None
    except typer.Abort:
        raise KeyboardInterrupt from None
    if status == _INTERRUPTED:
        raise KeyboardInterrupt
    return status if isinstance(status, int) else 0


def _command(name: str) -> Any:
    module = import_module(f"traceanalyze.cli.{name}")
    app = getattr(module, "app", None)
    if not isinstance(app, typer.Typer):
        app = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)
        app.command()(getattr(module, name))
    command: Any = get_command(app)
    for one in (command, *getattr(command, "commands", {}).values()):
        one.get_params = partial(_taken_at_once, one.get_params)
    return command


def _taken_at_once(get_params: Callable[[Any], list[Any]], context: Any) -> list[Any]:
    """Return the parameters of a command, made to take words that need no conversion as they are.

    Typer converts by pydantic, whatever the word: 80 ms to load, half as much as a small log takes.
    """
    parameters = get_params(context)
    for parameter in parameters:
        if hasattr(parameter, "type_descriptor") and "process_value" not in vars(parameter):
            parameter.process_value = partial(_processed, parameter, parameter.process_value)
    return parameters


def _processed(parameter: Any, by_typer: Callable[[Any, Any], Any], context: Any, value: Any) -> Any:
    """Return what a parameter makes of a word: text, paths, plain numbers and nothing at all at once, else by typer."""
    described, several = parameter.type_descriptor, parameter.multiple or parameter.nargs == -1
    wanted = described.annotation
    if value is None and not parameter.required:
        return () if several else None
    if isinstance(value, str | Path) and wanted in (str, Path):
        return wanted(value)
    if several and value and wanted == list[str]:
        return list(value)
    number = _number(wanted, described.parameter_info, value) if wanted in (int, float) else None
    return by_typer(context, value) if number is None else number


def _number(wanted: type[int | float], option: Any, value: Any) -> float | None:
    """Return a number in the range of its option; None for anything else."""
    try:
        number = wanted(value)
    except (TypeError, ValueError):
        return None
    low, high = option.min, option.max
    return number if (low is None or number >= low) and (high is None or number <= high) else None
