"""What the name of a column says: which quantity, in which unit, and how much it can be trusted to be that."""

from __future__ import annotations

import re
from typing import Final, Literal, NamedTuple

Role = Literal[
    "time", "date", "week", "year", "month", "day", "hour", "minute", "second", "millisecond", "speed", "vn", "ve",
    "lat", "lon", "altitude", "course", "hdop", "satellites", "quality", "fix", "valid", "ax", "ay", "az", "drive",
]  # fmt: skip

_TIME: Final = {
    "s": "s sec secs second seconds sekunden",
    "ms": "ms msec msecs millis millisecond milliseconds",
    "us": "us µs μs usec usecs micros microsecond microseconds",
    "ns": "ns nsec nsecs nanos nanosecond nanoseconds",
}
_SPEED: Final = {
    "km/h": "km/h kmh kph kmph km_h",
    "mph": "mph mi/h",
    "m/s": "m/s mps m_s ms ms-1 ms^-1 m.s-1",
    "kn": "kn kt kts knot knots",
}
_FORCE: Final = {"g": "g gs g0", "mg": "mg", "m/s2": "m/s2 m/s^2 m/s² m/s/s mps2 ms2 m_s2 m_s_2 ms-2 mss m/s**2 m.s-2"}
_ANGLE: Final = {"deg": "deg degree degrees ° dd decdeg grad", "rad": "rad radian radians", "e7": "e7 1e7 1e-7deg"}
_LENGTH: Final = {"m": "m meter meters metre metres mtr", "ft": "ft foot feet"}
_TABLES: Final = {"time": _TIME, "speed": _SPEED, "vn": _SPEED, "ve": _SPEED, "lat": _ANGLE, "lon": _ANGLE,
           "course": _ANGLE, "altitude": _LENGTH, "ax": _FORCE, "ay": _FORCE, "az": _FORCE}  # fmt: skip
_UNITS: Final = {
    role: {word: unit for unit, words in table.items() for word in words.split()} for role, table in _TABLES.items()
}


def _set(words: str) -> frozenset[str]:
    return frozenset(words.split())


_TIME_WORDS = _set("""
    time t timestamp utc epoch unix unixtime sec secs seconds elapsed tow itow sow clock ts datetime zeit temps
    tiempo tempo uhrzeit zeitstempel gpstime systemtime uptime millis ms msec micros us ns
""")
_NO_TIME = _set("""
    minute minutes hour hours day month year week zone tz offset lap split delta dt diff age exposure accuracy
    acc tacc error err duration interval speed accel distance engine source
""")
_SPEED_WORDS = _set("""
    speed velocity vel v sog spd gspeed groundspeed gpsspeed gpsvel hspeed hvel geschwindigkeit vitesse
    velocidad velocita velocità snelheid speed2d speedoverground speed3d
""")
_PLAIN_SPEED = _set("in gps gnss ground hor horizontal 2d over h g receiver doppler current speedoverground")
_NO_SPEED = _set("""
    accuracy acc sacc error err std sd sigma stderr unc uncertainty limit source engine wind air vertical vert
    climb down up angular gyro rot rotation target ratio diff delta dop vdop shaft crank fan flag valid status
    dev var variance quality type x y z d u rpm count id unit units lateral
""")
#: Words of columns that were made from another column: never taken for a recording.
_BY_PRODUCT = _set("""
    sorted smoothed smooth filtered filt lowpass interp interpolated resampled cumulative cum predicted model
    modelled estimated est avg average mean max min median peak top rank
""")
_VEHICLE = _set("obd obd2 obdii can ecu wheel vehicle odom odometer odo dash dashboard speedo speedometer bus veh")
_NORTH, _EAST = _set("n north vn veln velnorth vnorth"), _set("e east ve vele veleast veast")
_VELOCITY = _set("v vel velocity speed vn ve veln vele velnorth veleast vnorth veast")
_LAT = _set("lat latitude breite breitengrad latitud latitudine")
_LON = _set("lon lng long longitude laenge länge längengrad longitud longitudine")
_ALTITUDE = _set("msl alt altitude height elevation ele elev hmsl höhe hoehe altitud")
#: Words that change nothing about a position, altitude or course.
_NEUTRAL = _set("""
    gps gnss wgs84 h position pos of the above mean sea level ellipsoid over ground true fix loc location
""")
_COURSE = _set("course heading bearing cog track hdg azimuth kurs")
_NO_COURSE = _set("gyro raw mag magnetic accuracy acc error err id number of vehicle motion std change rate")
_SATELLITES = _set("sats satellites numsv nsat nsats numsats satcount siv satellite")
_FORCE_WORDS = _set("a acc accel acceleration accelerometer accelero acceleromètre f gf gforce force g aacc imu accl")
_NO_FORCE = _set("""
    gyro mag magnetometer grav gravity rot rotation rate angular event accuracy linear lin user error err std
    grv bias cat category max min avg quat
""")
_AXIS_WORDS: Final[dict[Role, frozenset[str]]] = {
    "ax": _set("x fwd forward long longitudinal surge"),
    "ay": _set("y right left lat lateral sway"),
    "az": _set("z down up vert vertical heave"),
}
_AXES: Final = {word: role for role, words in _AXIS_WORDS.items() for word in words}
_DRIVE = _set("""
    drive session trip ride run segment drives rides sessionid driveid tripid rideid runid track_id trackid
""")
_SINGLE: Final[dict[str, Role]] = {"year": "year", "month": "month", "day": "day", "hour": "hour", "minute": "minute",
           "min": "minute", "second": "second", "date": "date", "datum": "date", "fecha": "date",
           "week": "week", "wn": "week", "weeknumber": "week"}  # fmt: skip
_PREFIXES = _set("gps gnss utc local number no nr")


class Meaning(NamedTuple):
    """What a column's name says.

    Attributes
    ----------
    role : str
        The quantity.
    unit : str
        In one spelling (`km/h`, `ms`, `g`, `deg`); empty where the name does not say.
    rank : int
        For speeds: 0 the receiver's own, 1 of unknown origin, 2 with the vertical part, 3 the vehicle's bus or wheels,
        9 made from another column.
    group : str
        For accelerometer axes: what the columns of one sensor have in common.
    """

    role: Role
    unit: str = ""
    rank: int = 0
    group: str = ""


def known_unit(cell: str) -> bool:
    """Tell whether a cell under a header is a unit of some quantity here."""
    word = _bare(cell.strip("[]() "))
    return any(word in table for table in _UNITS.values())


def unit_word(role: str, word: str) -> str:
    """Return the one spelling of a unit of this quantity; empty when it is none."""
    return _UNITS.get(role, {}).get(_bare(word), "")


def _bare(word: str) -> str:
    return (
        word.strip()
        .lower()
        .replace(" ", "")
        .replace("·", ".")
        .replace("⁻", "-")
        .replace("²", "2")
        .replace("/sec", "/s")
    )


def tokens(name: str) -> list[str]:
    """Return the words of a column's name in lower case: 'GroundSpeed_kmh' -> ground, speed, kmh."""
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z]{2})", " ", name)
    return re.findall(r"[^\W_]+", spaced.lower())


def meaning(name: str, unit_cell: str = "") -> Meaning | None:
    """Return what a column is, by its name and the cell of a row of units under it; None for none of ours."""
    bracket = re.search(r"[\[(]([^\])]{1,20})[\])]", name)
    stated = (bracket[1] if bracket else "") or unit_cell.strip("[]() ")
    words = tokens(name.replace(bracket[0], " ") if bracket else name)
    alone = unit_word("speed", stated if not words else name)
    if alone and _bare(name) != "ms":
        return Meaning("speed", alone)
    for known in (_force, _position, _speed, _quality, _clock):
        found = known(words, stated)
        if found is not None:
            return found
    return None


def _with_unit(role: str, words: list[str], stated: str) -> tuple[list[str], str]:
    """Return the words without a unit at their end, and the unit that name or brackets state."""
    if unit := unit_word(role, stated):
        return words, unit
    for length in (3, 2, 1):
        tail = "_".join(words[-length:])
        if len(words) > length and tail in _UNITS[role]:
            return words[:-length], _UNITS[role][tail]
    return words, ""


_AXIS_AT_END = re.compile(r"(acc|accel|acceleration|gf|gforce|a|f|g)(\d?)([xyz])(\d?)", re.ASCII)


def _whole(word: str) -> re.Match[str]:
    found = re.fullmatch(r"(.*)", word, re.DOTALL)
    assert found
    return found


def _force(words: list[str], stated: str) -> Meaning | None:
    words, unit = _with_unit("ax", words, stated)
    if _NO_FORCE & set(words):
        return None
    words = [part for word in words for part in (_AXIS_AT_END.fullmatch(word) or _whole(word)).groups() if part]
    axis = next((word for word in words if word in _AXES), "")
    rest = [word for word in words if word != axis]
    bare_direction = not rest and axis in ("fwd", "forward", "right", "left", "down", "up")
    if axis and (bare_direction or _FORCE_WORDS & {word.rstrip("0123456789") for word in rest}):
        return Meaning(_AXES[axis], unit, group=" ".join(rest))  # type: ignore[arg-type]
    return None


def _position(words: list[str], stated: str) -> Meaning | None:
    for role, names in (("lat", _LAT), ("lon", _LON), ("altitude", _ALTITUDE), ("course", _COURSE)):
        rest, unit = _with_unit(role, words, stated)
        found = set(rest)
        extra = found - names - _NEUTRAL
        if names & found and not (extra or (role == "course" and found & _NO_COURSE)):
            return Meaning(role, unit)  # type: ignore[arg-type]
    return None


def _speed(words: list[str], stated: str) -> Meaning | None:
    words, unit = _with_unit("speed", words, stated)
    found = set(words)
    if _VELOCITY & found and len(words) <= 3 and not found - _VELOCITY - _NORTH - _EAST - _PLAIN_SPEED:
        if _NORTH & found:
            return Meaning("vn", unit)
        if _EAST & found:
            return Meaning("ve", unit)
    if not _SPEED_WORDS & found or _NO_SPEED & found:
        return None
    if _BY_PRODUCT & found:
        return Meaning("speed", unit, 9)
    if _VEHICLE & found:
        return Meaning("speed", unit, 3)
    if {"3d", "speed3d"} & found:
        return Meaning("speed", unit, 2)
    return Meaning("speed", unit, 1 if found - _SPEED_WORDS - _PLAIN_SPEED else 0)


def _quality(words: list[str], stated: str) -> Meaning | None:
    found = set(words)
    joined = "".join(word for word in words if word not in ("gps", "gnss"))
    if "hdop" in found:
        return Meaning("hdop")
    if joined == "numsv" or (
        _SATELLITES & found and not found - _SATELLITES - _set("gps gnss used num number of count in use fix nr no")
    ):
        return Meaning("satellites")
    if joined in ("fixquality", "quality", "qual", "fixqual"):
        return Meaning("quality")
    if joined in ("fix", "fixtype", "fixmode", "fixstatus"):
        return Meaning("fix")
    if joined in ("valid", "fixvalid", "status", "rmcstatus"):
        return Meaning("valid")
    if found <= _DRIVE | _set("id number no nr num index") and _DRIVE & found:
        return Meaning("drive")
    return None


def _clock(words: list[str], stated: str) -> Meaning | None:
    bare = [word for word in words if word not in _PREFIXES] or words
    if len(bare) == 1 and bare[0] in _SINGLE:
        return Meaning(_SINGLE[bare[0]])
    if len(words) == 1 and bare[0] in ("ms", "msec", "millisecond", "milliseconds", "millis"):
        return Meaning("millisecond", "ms")
    if "of" in words and words[-1] in ("day", "week"):
        bare = words = words[: words.index("of")]
    rest, unit = _with_unit("time", words, stated)
    if _NO_TIME & set(words) or _BY_PRODUCT & set(words):
        return None
    if _TIME_WORDS & set(rest) or (set(rest) <= _PREFIXES and unit):
        return Meaning("time", unit or next((u for word in rest if (u := unit_word("time", word))), ""))
    return None
