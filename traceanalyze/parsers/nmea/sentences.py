"""What the sentence types say: fields of many sentences of a type -> arrays in SI units, and which say nothing usable.

Field tables: E. S. Raymond, NMEA Revealed (gpsd, www/NMEA.adoc), sections on RMC, GGA, VTG, GNS, GLL, GSA and ZDA.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from traceanalyze.parsers.nmea.fields import BLANK, Decimals, Fields
from traceanalyze.parsers.nmea.framing import BoolArray, ByteArray, IndexArray, Sentences, WordArray
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


@dataclass(frozen=True, slots=True)
class Reading:
    """What `k` sentences of one type say.

    Attributes
    ----------
    columns : mapping of str to (k,) array
        Values; NaN where a field is empty. Those of void sentences mean nothing, but `time_s`.
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
    return Reading(columns, void, malformed, outside)


def _rmc(fields: Fields) -> Reading:
    status, mode = fields.letter(2), fields.letter(12)
    quality = _MODE_QUALITY[mode]
    void = (status == ord("V")) | (status == BLANK) | (quality == 0)
    fields.malformed |= (fields.count < 9) | (~void & (status != ord("A"))) | ~_LETTERS[mode]
    clock, lat, lon, speed, course, day = fields.decimals(1, 3, 5, 7, 8, 9)
    return _reading(
        fields,
        void,
        time_s=_time(fields, clock, void),
        **_position(fields, lat, lon, 4),
        speed_mps=speed.value() * KNOT,
        course_deg=_course(fields, course),
        day=_day(fields, day),
        quality=quality,
    )


def _gga(fields: Fields) -> Reading:
    quality, unit = fields.letter(6), fields.letter(10)
    void = ~_FIXES[quality] & _QUALITIES[quality]
    fields.malformed |= (fields.count < 6) | ~_QUALITIES[quality] | ((unit != BLANK) & (unit != ord("M")))
    return _fix(fields, void, quality - ord("0"))


def _gns(fields: Fields) -> Reading:
    modes = fields.letters(6)
    quality = np.zeros(modes.size, np.uint8)
    for letter in "EADPFR":  # the best of the constellations' fixes counts
        quality[_has(modes, letter)] = _QUALITY_OF_MODE[letter]
    fields.malformed |= fields.count < 6
    return _fix(fields, quality == 0, quality)


def _fix(fields: Fields, void: BoolArray, quality: ByteArray) -> Reading:
    """Read what GGA and GNS have in common."""
    clock, lat, lon, satellites, hdop = fields.decimals(1, 2, 4, 7, 8)
    return _reading(
        fields,
        void,
        time_s=_time(fields, clock, void),
        **_position(fields, lat, lon, 3),
        altitude_m=fields.signed_value(9),
        hdop=hdop.value(),
        satellites=satellites.value(),
        quality=quality.astype(np.int8),
    )


def _gll(fields: Fields) -> Reading:
    status, mode = fields.letter(6), fields.letter(7)
    quality = _MODE_QUALITY[mode]
    void = (status == ord("V")) | ((status == BLANK) & (fields.count > 5)) | (quality == 0)
    fields.malformed |= (fields.count < 4) | (~void & (status != ord("A")) & (status != BLANK)) | ~_LETTERS[mode]
    clock, lat, lon = fields.decimals(5, 1, 3)
    return _reading(
        fields,
        void,
        time_s=_time(fields, clock, void),
        **_position(fields, lat, lon, 2),
        quality=quality,
    )


def _vtg(fields: Fields) -> Reading:
    """Read both forms: nine fields with a letter after each value, and the old one of four values."""
    old = (fields.count == 4) & (fields.letter(2) != ord("T"))
    mode, knots_unit, hourly_unit = fields.letter(9), fields.letter(6), fields.letter(8)
    void = _MODE_QUALITY[mode] == 0
    fields.malformed |= ~old & ((fields.count < 8) | ((knots_unit != BLANK) & (knots_unit != ord("N"))))
    fields.malformed |= ((hourly_unit != BLANK) & (hourly_unit != ord("K"))) | ~_LETTERS[mode]
    if old.any():
        for edges in (fields.begin, fields.end):
            edges[5, old], edges[7, old] = edges[3, old], edges[4, old]
    course, knots = fields.decimals(1, 5)
    speed_mps = knots.value() * KNOT
    if knots.blank.any():
        speed_mps = np.where(knots.blank, fields.decimals(7)[0].value() * KMH, speed_mps)
    return _reading(fields, void, speed_mps=speed_mps, course_deg=_course(fields, course))


def _gsa(fields: Fields) -> Reading:
    fix = fields.letter(2)
    void = (fix == ord("1")) | (fix == BLANK)
    fields.malformed |= (fields.count < 17) | (~void & (fix != ord("2")) & (fix != ord("3")))
    return _reading(fields, void, hdop=fields.decimals(16)[0].value())


def _zda(fields: Fields) -> Reading:
    clock, day, month, year = fields.decimals(1, 2, 3, 4)
    time_s = fields.clock(clock)
    for part, size in ((day, 2), (month, 2), (year, 4)):
        fields.malformed |= ~part.blank & ((part.size != size) | (part.scale > 1))
    blank = clock.blank | day.blank | month.blank | year.blank
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
        kind[tag == word] = number
    return kind


def read_sentences(sentences: Sentences, kind: int, rows: IndexArray) -> Reading:
    """Return what the sentences in these rows say, all of one kind."""
    reader, reach = _READERS[kind]
    return reader(Fields(sentences, rows, reach))


_READERS: Final = dict(zip(KINDS, TYPES.values(), strict=True))


def _time(fields: Fields, clock: Decimals, void: BoolArray) -> FloatArray:
    """Return the time of day; that of a void sentence counts only when nothing is wrong with it."""
    time_s = fields.clock(clock)
    doubtful = void & (fields.malformed | fields.outside)
    if doubtful.any():
        time_s[doubtful] = np.nan
    return time_s


def _position(fields: Fields, lat: Decimals, lon: Decimals, number: int) -> dict[str, FloatArray]:
    """Return latitude and longitude, the side of the former in field `number`."""
    fields.malformed |= lat.blank != lon.blank
    return {
        "lat_deg": fields.angle(lat, fields.letter(number), 90, b"NS"),
        "lon_deg": fields.angle(lon, fields.letter(number + 2), 180, b"EW"),
    }


def _course(fields: Fields, course: Decimals) -> FloatArray:
    course_deg = course.value()
    fields.outside |= course_deg > 360
    return course_deg


def _day(fields: Fields, digits: Decimals) -> NDArray[np.int32]:
    """Return the date of RMC, `ddmmyy`, as days since 1970."""
    day = _days(np.where(digits.blank, -1, digits.whole), _short_date)
    fields.malformed |= ~digits.blank & ((day == NO_DAY) | (digits.size != 6) | (digits.scale > 1))
    return day


def _days(code: NDArray[np.int64], to_date: Callable[[int], date]) -> NDArray[np.int32]:
    """Return days since 1970 of dates written as whole numbers; `NO_DAY` where there is none."""
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
