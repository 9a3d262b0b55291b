"""Plain values that anybody may have written -> records, or one line that says which value is wrong."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import MISSING, Field, fields
from datetime import date
from typing import Any, Final, TypeVar

from traceanalyze.book.records import (
    CurveRecord,
    Record,
    RemarkRecord,
    ResultRecord,
    RunRecord,
)
from traceanalyze.errors import BookError

R = TypeVar("R", bound=Record)
#: From a value and its place to what the record keeps.
Check = Callable[[Any, str], Any]

#: Whole numbers above this lose digits in other programs' JSON (RFC 8259 section 6).
_MOST: Final = 2**53 - 1
_LONGEST_TEXT: Final = 100_000
_DEEPEST: Final = 4
_ADVICE: Final = "restore a copy, or import what book export wrote"


def record(kind: type[R], value: Any, place: str) -> R:
    """Return a record from plain values.

    Raises
    ------
    BookError
        Naming the place of a value that is missing, unknown or unfit.
    """
    if not isinstance(value, Mapping):
        raise _unfit(place, "an object")
    known = {one.name: one for one in fields(kind)}
    for key in value:
        if key not in known:
            raise BookError(f"{place} has an unknown key {str(key)[:40]!r}", advice=_ADVICE)
    return kind(**{name: _field(one, value, place) for name, one in known.items()})


def records(kind: type[R], value: Any, place: str) -> tuple[R, ...]:
    """Return a list of records of one kind.

    Raises
    ------
    BookError
        As `record`.
    """
    if not isinstance(value, list):
        raise _unfit(place, "a list")
    return tuple(record(kind, one, f"{place}[{i}]") for i, one in enumerate(value))


def _field(one: Field[Any], value: Mapping[str, Any], place: str) -> Any:
    if one.name in value:
        return (_BY_NAME.get(one.name) or _BY_TYPE[str(one.type)])(value[one.name], f"{place}.{one.name}")
    if one.default is not MISSING:
        return one.default
    if one.default_factory is not MISSING:
        return one.default_factory()
    raise BookError(f"{place} has no {one.name}", advice=_ADVICE)


def _unfit(place: str, what: str) -> BookError:
    return BookError(f"{place} is not {what}", advice=_ADVICE)


def _number(value: Any, place: str) -> float:
    if not isinstance(value, int | float) or isinstance(value, bool) or not abs(value) < 1e300:
        raise _unfit(place, "a number")
    return float(value)


def _whole(value: Any, place: str) -> int:
    if type(value) is not int or not 0 <= value <= _MOST:
        raise _unfit(place, "a whole number")
    return value


def _flag(value: Any, place: str) -> bool:
    if not isinstance(value, bool):
        raise _unfit(place, "true or false")
    return value


def _text(value: Any, place: str) -> str:
    if not isinstance(value, str) or len(value) > _LONGEST_TEXT or any("\ud800" <= char <= "\udfff" for char in value):
        raise _unfit(place, "text")
    return value


def _optional(check: Check) -> Check:
    return lambda value, place: None if value is None else check(value, place)


def _one_of(*known: str) -> Check:
    def check(value: Any, place: str) -> str:
        if value not in known or not isinstance(value, str):
            raise _unfit(place, "one of " + ", ".join(map(repr, known)))
        return value

    return check


def _pattern(pattern: str, what: str) -> Check:
    def check(value: Any, place: str) -> str:
        if not isinstance(value, str) or not re.fullmatch(pattern, value, re.ASCII):
            raise _unfit(place, what)
        return value

    return check


def _date(value: Any, place: str) -> str:
    text = str(_pattern(r"\d{4}-\d\d-\d\d", "a date such as 2026-05-17")(value, place))
    try:
        date.fromisoformat(text)
    except ValueError:
        raise _unfit(place, "a date that exists") from None
    return text


def _name(value: Any, place: str) -> str:
    if not _text(value, place).strip():
        raise _unfit(place, "a name")
    return str(value)


def _number_in_log(value: Any, place: str) -> int:
    if _whole(value, place) == 0:
        raise _unfit(place, "a number from 1 on")
    return int(value)


def _counts(value: Any, place: str) -> dict[str, int]:
    if not isinstance(value, Mapping):
        raise _unfit(place, "an object of counts")
    return {_text(key, place): _whole(count, place) for key, count in value.items()}


def _teeth(value: Any, place: str) -> tuple[tuple[int, int], ...]:
    pairs: list[Any] = value if isinstance(value, list) else [None]
    if not all(isinstance(pair, list) and len(pair) == 2 for pair in pairs):
        raise _unfit(place, "a list of pairs of teeth")
    return tuple((_whole(driving, place), _whole(driven, place)) for driving, driven in pairs)


def _facts(value: Any, place: str, depth: int = 0) -> Any:
    """Check small free JSON."""
    if depth > _DEEPEST or (depth == 0 and not isinstance(value, Mapping)):
        raise _unfit(place, "an object of plain facts")
    if isinstance(value, Mapping):
        return {_text(key, place): _facts(one, place, depth + 1) for key, one in value.items()}
    if isinstance(value, list):
        return [_facts(one, place, depth + 1) for one in value]
    if value is None or isinstance(value, bool):
        return value
    return _text(value, place) if isinstance(value, str) else _number(value, place)


def _points(value: Any, place: str) -> tuple[float | None, ...]:
    if not isinstance(value, list):
        raise _unfit(place, "a list of numbers")
    if all(type(one) is float and abs(one) < 1e300 for one in value):  # most by far; a book holds half a million
        return tuple(value)
    return tuple(None if one is None else _number(one, place) for one in value)


def _curve(value: Any, place: str) -> CurveRecord:
    curve = record(CurveRecord, value, place)
    if len({len(getattr(curve, one.name)) for one in fields(curve)}) != 1:
        raise _unfit(place, "lists of one length")
    if any(speed is None or not math.isfinite(speed) for speed in curve.speed_mps):
        raise _unfit(f"{place}.speed_mps", "a list of numbers")
    return curve


_BY_TYPE: Final[dict[str, Check]] = {
    "str": _text,
    "int": _whole,
    "float": _number,
    "float | None": _optional(_number),
    "bool | None": _optional(_flag),
    "Mapping[str, int]": _counts,
    "Mapping[str, Any]": _facts,
    "tuple[tuple[int, int], ...]": _teeth,
    "tuple[float | None, ...]": _points,
    "CurveRecord | None": _optional(_curve),
    "tuple[ResultRecord, ...]": lambda value, place: records(ResultRecord, value, place),
    "tuple[RemarkRecord, ...]": lambda value, place: records(RemarkRecord, value, place),
    "tuple[RunRecord, ...]": lambda value, place: records(RunRecord, value, place),
}
_BY_NAME: Final[dict[str, Check]] = {
    "kind": _one_of("launch", "pass"),
    "unit": _one_of("s", "m/s"),
    "status": _one_of("ok", "partial"),
    "start_rule": _one_of("", "rollout", "rest", "threshold"),
    "sha256": _pattern("[0-9a-f]{64}", "the SHA-256 of a file"),
    "date": _date,
    "vehicle": _name,
    "setup": _name,
    "name": _name,
    "measure": _name,
    "number": _number_in_log,
}
