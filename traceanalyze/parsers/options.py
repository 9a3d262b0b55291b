"""What the user may say about a log that the log does not say itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from traceanalyze.settings import MAX_PLAIN_BYTES, MAX_UNPACKED_BYTES


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadOptions:
    """How to read a log; every default lets the content decide.

    Attributes
    ----------
    columns : mapping of str to str
        For tables: which column holds a quantity, such as `{"speed": "ref_vf"}`.
    speed_unit, accel_unit, time_unit : str or None
        For tables: unit of those columns where the header does not say it.
    max_unpacked_bytes : int
        Largest size of a packed log after unpacking [bytes].
    max_plain_bytes : int
        Largest size of a log that is not packed [bytes].
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    speed_unit: str | None = None
    accel_unit: str | None = None
    time_unit: str | None = None
    max_unpacked_bytes: int = MAX_UNPACKED_BYTES
    max_plain_bytes: int = MAX_PLAIN_BYTES
