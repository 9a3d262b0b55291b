"""Words of options -> what is asked of every log; shared by all commands, and free of the option parser."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from traceanalyze.errors import UsageError
from traceanalyze.settings import DEFAULT_MEASURES
from traceanalyze.units import START_RULES, parse_measure, parse_window

if TYPE_CHECKING:
    from traceanalyze.session import Asked


def asked(
    measures: Sequence[str] | None = None,
    start: str = "rollout",
    window: str = "1s",
    units: str = "imperial",
    column: Sequence[str] | None = None,
    speed_unit: str | None = None,
    time_unit: str | None = None,
    accel_unit: str | None = None,
) -> Asked:
    """Return what the words of the options ask for.

    Raises
    ------
    UsageError
        Naming the option and the words it understands.
    """
    from traceanalyze.parsers.options import ReadOptions
    from traceanalyze.session import Asked

    return Asked(
        measures=tuple(dict.fromkeys(parse_measure(text) for text in measures or DEFAULT_MEASURES)),
        start_rule=one_of(start, "--start", START_RULES),
        window=parse_window(window),
        system=one_of(units, "--units", ("imperial", "metric")),
        read=ReadOptions(
            columns=_named_columns(column or ()), speed_unit=speed_unit, time_unit=time_unit, accel_unit=accel_unit
        ),
    )


def one_of(word: str, option: str, known: Sequence[str]) -> Any:
    """Return the word in the spelling that `known` has.

    Raises
    ------
    UsageError
        If it is none of them.
    """
    name = word.strip().lower()
    if name not in known:
        raise UsageError(f"{option} {word!r} is not known", advice="use one of " + ", ".join(known))
    return name


def _named_columns(words: Sequence[str]) -> dict[str, str]:
    pairs = [word.partition("=") for word in words]
    if any(not (what and name) for what, _, name in pairs):
        raise UsageError("--column wants WHAT=NAME", advice='write it like --column speed=v2, or "speed=my column"')
    return {what.strip().lower(): name.strip() for what, _, name in pairs}
