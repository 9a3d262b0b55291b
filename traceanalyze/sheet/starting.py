"""What was found in the logs of a folder -> a commented day sheet to start from."""

from __future__ import annotations

import json
import math
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import PurePath

from traceanalyze.errors import shown
from traceanalyze.trace import utc_text


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundLog:
    """What one file of the folder holds.

    Attributes
    ----------
    name : str
        Its name from the folder of the sheet on.
    start_utc_s : float
        Its first moment [Unix s]; NaN when it has no date.
    duration_s : float
    launches, passes : int
    error : str
        Why it could not be read; empty when it could.
    """

    name: str
    start_utc_s: float = math.nan
    duration_s: float = 0.0
    launches: int = 0
    passes: int = 0
    error: str = ""


def new_sheet_text(logs: Sequence[FoundLog]) -> str:
    """Return the text of a starting sheet: one setup per log, what is unknown as notes to fill in.

    The text is a valid sheet beside the named files; names are escaped, so that none can write into it.
    """
    usable = [log for log in logs if not log.error and _encodable(log.name)]
    names = setup_names([log.name for log in usable])
    parts = [_HEAD, _day(usable), _VEHICLE]
    parts += [_setup(name, log) for name, log in zip(names, usable, strict=True)]
    left_out = [log for log in logs if log not in usable]
    if left_out:
        parts.append("# Not used:\n" + "".join(f"# {_why(log)}\n" for log in left_out))
    return "\n".join(parts)


_HEAD = """\
# A day sheet: which log belongs to which setup, on which machine, under which conditions.
# What follows a # is a note. Take the # away from a line once you know its value; lines you don't know may stay away.
# Setups made below are one per log: give them the names of what you changed, and put the logs of one setup together.
# The first setup is the one that the others are compared with.
"""
_VEHICLE = """\
[vehicle]
# name = "pit bike"
# mass_kg = 142                # with rider and fuel
# tyre_circumference_m = 1.32  # rolled out: mark the tyre and the ground, roll one turn, measure
# teeth = [15, 41]             # driving, driven; a second pair for a second stage
# max_engine_rpm = 6500        # your own safe limit
"""


def _day(logs: Sequence[FoundLog]) -> str:
    start = min((log.start_utc_s for log in logs if math.isfinite(log.start_utc_s)), default=math.nan)
    moment = utc_text(start)
    date = f"date = {moment[:10]}             # of the first log, by UTC" if moment else "# date = 2026-05-17"
    return f"""\
[day]
{date}
# place = "old airfield"
# utc_offset = "+02:00"        # what your clock is ahead of UTC; needed for from and to
# air_temperature_c = 21.0
# pressure_hpa = 1009.0        # at the place itself
# humidity_pct = 55
# wind_mps = 1.5
# wind_from_deg = 250          # 0 is north, 90 east
# tyre_pressure_kpa = 180      # these four may also differ from setup to setup
# rider_mass_kg = 75
# posture = "upright"
# clothing = "one-piece suit"
"""


def _setup(name: str, log: FoundLog) -> str:
    return f"""\
[[setup]]
name = {_quoted(name)}
files = [{_quoted(log.name)}]
# {_times(log)}{_count(log.launches, "launch", "launches")}, {_count(log.passes, "pass", "passes")}
# skip = [{_quoted(log.name + "#1")}]  # launch 1, for a reason other than its time
"""


def _times(log: FoundLog) -> str:
    begin, end = utc_text(log.start_utc_s), utc_text(log.start_utc_s + log.duration_s)
    return f"{begin[11:19]} to {end[11:19]} UTC, " if begin and end else f"{log.duration_s:.0f} s without a date, "


def _count(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}"


def _why(log: FoundLog) -> str:
    reason = log.error or "its name is not text in any encoding a sheet can hold; rename it"
    return shown(reason if log.name in reason else f"{log.name}: {reason}")


def setup_names(files: Iterable[str]) -> list[str]:
    """Return a name for the setup of each file: the file's own, as short as it stays unlike the others."""
    names: list[str] = []
    taken: set[str] = set()
    for number, file in enumerate(files, start=1):
        path = PurePath(file)
        wishes = [path.name.split(".")[0], path.name, file, f"{file} ({number})"]
        name = next(wish.strip() for wish in wishes if wish.strip() and wish.strip().casefold() not in taken)
        taken.add(name.casefold())
        names.append(name)
    return names


def _encodable(name: str) -> bool:
    return not any(unicodedata.category(char) == "Cs" for char in name)


def _quoted(text: str) -> str:
    """Return a text as a basic string of TOML; whatever cannot be seen is written as an escape."""
    return "".join(map(_visible, json.dumps(text, ensure_ascii=False)))


def _visible(char: str) -> str:
    if unicodedata.category(char) not in {"Cc", "Cf", "Co", "Cn", "Zl", "Zp"}:
        return char
    return f"\\u{ord(char):04x}" if ord(char) <= 0xFFFF else f"\\U{ord(char):08x}"
