"""What the sentence types say: fields of many sentences of a type -> arrays in SI units, and which say nothing usable.

Field tables: E. S. Raymond, NMEA Revealed (gpsd, www/NMEA.adoc), sections on RMC, GGA, VTG, GNS, GLL, GSA and ZDA.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from traceanalyze.parsers.nmea.fields import BLANK, Fields
from traceanalyze.parsers.nmea.framing import BoolArray, ByteArray, WordArray
from traceanalyze.trace import FloatArray
from traceanalyze.units import KMH, KNOT

#: `day` of a sentence without a date.
NO_DAY: Final = -(2**31)
#: Two-digit years from this one on are of the last century.
_CENTURY_TURN: Final = 80

#: Fix quality as GGA codes it, for each letter of the FAA mode indicator; 0 for the letters that are no fix: not
#: valid, entered by hand, simulated.
_QUALITY_OF_MODE: Final = {"A": 1, "D": 2, "P": 3, "R": 4, "F": 5, "E": 6, "N": 0, "M": 0, "S": 0}
_MODE_QUALITY: Final = np.full(256, -1, np.int8)
for _letter, _quality in _QUALITY_OF_MODE.items():
    _MODE_QUALITY[ord(_letter)] = _quality
#: Qualities of GGA that are a fix: all but none (0), entered by hand (7) and simulated (8).
_FIXES: Final = np.isin(np.arange(256), [ord(digit) for digit in "1234569"])
_QUALITIES: Final = np.isin(np.arange(256), [BLANK, *(ord(digit) for digit in "0123456789")])
_LETTERS: Final = np.isin(np.arange(256), [BLANK, *range(ord("A"), ord("Z") + 1)])
_LOW_BITS: Final = np.uint64(0x7F7F7F7F7F7F7F7F)


class Reading(NamedTuple):
    """What `k` sentences of one type say.

    Attributes
    ----------
    columns : mapping of str to (k,) array
        Values; NaN where a field is empty. Those of void sentences mean nothing, but `time_s`. An array of shape
        (1,) holds for all.
    void : (k,) bool
        Sentences that state themselves that there is no fix.
    malformed, outside : (k,) bool
        Sentences that are not of the stated form, or hold an impossible value; none of them is void.
    """

    columns: Mapping[str, NDArray[Any]]
    void: BoolArray
    malformed: BoolArray
    outside: BoolArray


def _reading(fields: Fields, void: BoolArray, **columns: NDArray[Any]) -> Reading:
    malformed = fields.malformed & ~void
    outside = fields.outside & ~void & ~malformed
    return Reading(columns, np.broadcast_to(void, malformed.shape), malformed, outside)


def _rmc(fields: Fields) -> Reading:
    status, mode = fields.letter(2), fields.letter(12)
    quality = _MODE_QUALITY[mode]
    void = (status == ord("V")) | (status == BLANK) | (quality == 0)
    fields.malformed |= (fields.count < 9) | (~void & (status != ord("A"))) | ~_LETTERS[mode]
    return _reading(
        fields,
        void,
        time_s=_time(fields, 1, void),
        **_position(fields, 3),
        speed_mps=fields.value(7) * KNOT,
        course_deg=_course(fields, 8),
        day=_day(fields, 9),
        quality=quality,
    )


def _gga(fields: Fields) -> Reading:
    quality, unit = fields.letter(6), fields.letter(10)
    void = ~_FIXES[quality] & _QUALITIES[quality]
    fields.malformed |= (fields.count < 6) | ~_QUALITIES[quality] | ((unit != BLANK) & (unit != ord("M")))
    return _fix(fields, void, quality - np.uint8(ord("0")))


def _gns(fields: Fields) -> Reading:
    modes = fields.letters(6)
    quality = np.zeros(modes.size, np.uint8)
    for letter in "EADPFR":  # the best of the constellations' fixes counts
        quality[_has(modes, letter)] = _QUALITY_OF_MODE[letter]
    fields.malformed |= fields.count < 6
    return _fix(fields, quality == 0, quality)


def _fix(fields: Fields, void: BoolArray, quality: ByteArray) -> Reading:
    """Read what GGA and GNS have in common."""
    return _reading(
        fields,
        void,
        time_s=_time(fields, 1, void),
        **_position(fields, 2),
        altitude_m=fields.signed_value(9),
        hdop=fields.value(8),
        satellites=fields.value(7),
        quality=quality.astype(np.int8),
    )


def _gll(fields: Fields) -> Reading:
    status, mode = fields.letter(6), fields.letter(7)
    quality = _MODE_QUALITY[mode]
    void = (status == ord("V")) | ((status == BLANK) & (fields.count > 5)) | (quality == 0)
    fields.malformed |= (fields.count < 4) | (~void & (status != ord("A")) & (status != BLANK)) | ~_LETTERS[mode]
    return _reading(fields, void, time_s=_time(fields, 5, void), **_position(fields, 1), quality=quality)


def _vtg(fields: Fields) -> Reading:
    """Read both forms: nine fields with a letter after each value, and the old one of four values."""
    old = (fields.count == 4) & (fields.letter(2) != ord("T"))
    mode, knots_unit, hourly_unit = fields.letter(9), fields.letter(6), fields.letter(8)
    void = _MODE_QUALITY[mode] == 0
    fields.malformed |= ~old & ((fields.count < 8) | ((knots_unit != BLANK) & (knots_unit != ord("N"))))
    fields.malformed |= ((hourly_unit != BLANK) & (hourly_unit != ord("K"))) | ~_LETTERS[mode]
    fields.move(old, source=3, target=5)
    fields.move(old, source=4, target=7)
    speed_mps = fields.value(5) * KNOT
    if np.isnan(speed_mps).any():
        speed_mps = np.where(np.isnan(speed_mps), fields.value(7) * KMH, speed_mps)
    return _reading(fields, void, speed_mps=speed_mps, course_deg=_course(fields, 1))


def _gsa(fields: Fields) -> Reading:
    fix = fields.letter(2)
    void = (fix == ord("1")) | (fix == BLANK)
    fields.malformed |= (fields.count < 17) | (~void & (fix != ord("2")) & (fix != ord("3")))
    return _reading(fields, void, hdop=fields.value(16))


def _zda(fields: Fields) -> Reading:
    time_s = fields.clock(1)
    day, month, year = (fields.digits(number) for number in (2, 3, 4))
    for part, size in ((day, 2), (month, 2), (year, 4)):
        fields.malformed |= ~part.blank & ((part.size != size) | (part.scale > 1))
    blank = np.isnan(time_s) | day.blank | month.blank | year.blank
    days = _days(np.where(blank, -1, (year.whole * 100 + month.whole) * 100 + day.whole), _full_date)
    fields.outside |= days == NO_DAY
    return _reading(fields, blank, time_s=time_s, day=days)


#: The sentence types that are read, in one table: tag, how, and the last field looked at.
TYPES: Final[Mapping[str, tuple[Callable[[Fields], Reading], int]]] = {
    "RMC": (_rmc, 12),
    "GGA": (_gga, 10),
    "VTG": (_vtg, 9),
    "GNS": (_gns, 9),
    "GLL": (_gll, 7),
    "GSA": (_gsa, 16),
    "ZDA": (_zda, 4),
}
#: Number of each type where kinds of sentences are kept in arrays; 0 is every other sentence.
RMC, GGA, VTG, GNS, GLL, GSA, ZDA = KINDS = range(1, len(TYPES) + 1)
_TAG_WORDS: Final = [int.from_bytes(f"{tag},".encode(), "little") for tag in TYPES]


def kinds_of(tags: WordArray) -> ByteArray:
    """Return the kind of sentences from the eight bytes after their `$`: two of the talker, then three and a comma."""
    tag = (tags >> np.uint64(16)).astype(np.uint32)
    kind = np.zeros(tag.size, np.uint8)
    for number, word in zip(KINDS, _TAG_WORDS, strict=True):
        kind += np.uint8(number) * (tag == word)
    return kind


def reach_of(kind: int) -> int:
    """Return the last field of a kind of sentence that is looked at."""
    return _READERS[kind][1]


def read_fields(kind: int, fields: Fields) -> Reading:
    """Return what sentences of one kind say."""
    return _READERS[kind][0](fields)


_READERS: Final = dict(zip(KINDS, TYPES.values(), strict=True))


def _time(fields: Fields, number: int, void: BoolArray) -> FloatArray:
    """Return the time of day; that of a void sentence counts only when nothing is wrong with it."""
    time_s = fields.clock(number)
    doubtful = void & (fields.malformed | fields.outside)
    return np.where(doubtful, np.nan, time_s) if doubtful.any() else time_s


def _position(fields: Fields, number: int) -> dict[str, FloatArray]:
    """Return latitude and longitude, the former in field `number`."""
    lat_deg, lon_deg = fields.angle(number, 90, b"NS"), fields.angle(number + 2, 180, b"EW")
    fields.malformed |= np.isnan(lat_deg) != np.isnan(lon_deg)
    return {"lat_deg": lat_deg, "lon_deg": lon_deg}


def _course(fields: Fields, number: int) -> FloatArray:
    course_deg = fields.value(number)
    fields.outside |= course_deg > 360
    return course_deg


def _day(fields: Fields, number: int) -> NDArray[np.int32]:
    """Return a date, `ddmmyy`, as days since 1970."""
    digits = fields.digits(number)
    day = _days(np.where(digits.blank, -1, digits.whole), _short_date)
    fields.malformed |= ~digits.blank & ((day == NO_DAY) | (digits.size != 6) | (digits.scale > 1))
    return day


def _days(code: NDArray[np.int64], to_date: Callable[[int], date]) -> NDArray[np.int32]:
    """Return days since 1970 of dates written as whole numbers; `NO_DAY` where there is none."""
    if code.size and (code == code[0]).all():
        return np.array([_day_number(int(code[0]), to_date)], np.int32)
    steps = np.flatnonzero(np.diff(code, prepend=np.iinfo(np.int64).min))
    days = [_day_number(number, to_date) for number in code[steps].tolist()]
    return np.repeat(np.array(days, np.int32), np.diff(steps, append=code.size))


def _day_number(code: int, to_date: Callable[[int], date]) -> int:
    try:
        return to_date(code).toordinal() - date(1970, 1, 1).toordinal() if code >= 0 else NO_DAY
    except ValueError:
        return NO_DAY


def _short_date(code: int) -> date:
    year = code % 100
    return date(year + (1900 if year >= _CENTURY_TURN else 2000), code // 100 % 100, code // 10_000)


def _full_date(code: int) -> date:
    return date(code // 10_000, code // 100 % 100, code % 100)


def _has(words: NDArray[np.uint64], letter: str) -> BoolArray:
    """Whether a byte of each word is the letter (S. E. Anderson, Bit Twiddling Hacks, 'zero byte')."""
    different = words ^ np.uint64(ord(letter) * 0x0101010101010101)
    found: BoolArray = ~(((different & _LOW_BITS) + _LOW_BITS) | different | _LOW_BITS) != 0
    return found
