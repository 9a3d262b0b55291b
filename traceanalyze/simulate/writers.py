"""Receiver and accelerometer logs as files: NMEA 0183, GPX 1.1, CSV. Bytes out; nothing here opens a file."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import reduce
from operator import xor

import numpy as np

from traceanalyze.errors import UsageError
from traceanalyze.simulate.sensors import AccelerometerLog, ReceiverLog
from traceanalyze.trace import FloatArray
from traceanalyze.units import KMH, KNOT

#: When simulated rides begin unless told otherwise: Unix time of 2026-05-17T09:00:00Z.
START_UTC_S = 1779008400
#: Namespace of the element that carries speed in our GPX files (GPX 1.1 dropped its own).
GPX_SPEED_NAMESPACE = "urn:traceanalyze:gpx-speed:1"


@dataclass(frozen=True, slots=True, kw_only=True)
class NmeaStyle:
    """How a receiver writes NMEA 0183.

    Attributes
    ----------
    talker : str
        Two letters: `GN` for several constellations, `GP` for one.
    speed_decimals, minute_decimals : int
        Decimals of the speed in knots and of the minutes of arc.
    course : bool
        Whether VTG sentences are written too.
    """

    talker: str = "GN"
    speed_decimals: int = 3
    minute_decimals: int = 5
    course: bool = True


def sentence(body: str) -> bytes:
    """Return a sentence with its frame and checksum (exclusive or of all bytes between `$` and `*`; NMEA 0183)."""
    raw = body.encode("ascii")
    return b"$%b*%02X\r\n" % (raw, reduce(xor, raw, 0))


def nmea(log: ReceiverLog, start_utc_s: float = START_UTC_S, style: NmeaStyle | None = None) -> bytes:
    """Return RMC, GGA and, if asked, VTG of each epoch."""
    style = style or NmeaStyle()
    clock, date = _clock_texts(log.t_s, start_utc_s)
    lat, lon = _angles(log.lat_deg, "NS", 2, style), _angles(log.lon_deg, "EW", 3, style)
    values = zip(log.speed_mps.tolist(), log.course_deg.tolist(), log.altitude_m.tolist(), strict=True)
    rows = zip(clock, date, lat, lon, values, log.fix.tolist(), strict=True)
    bodies = (
        _fixed(time, day, f"{north},{east}", moving, style) if fix else _without_fix(time, day, style)
        for time, day, north, east, moving, fix in rows
    )
    return b"".join(sentence(body) for epoch in bodies for body in epoch)


def _fixed(clock: str, date: str, where: str, moving: tuple[float, float, float], style: NmeaStyle) -> list[str]:
    """The sentences of one epoch, without frame; `moving` is speed, course, altitude."""
    (speed_mps, course_deg, up_m), talker = moving, style.talker
    knots = f"{speed_mps / KNOT:.{style.speed_decimals}f}"
    track = "" if math.isnan(course_deg) else f"{round(course_deg, 2) % 360:.2f}"
    bodies = [
        f"{talker}RMC,{clock},A,{where},{knots},{track},{date},,,A",
        f"{talker}GGA,{clock},{where},1,14,0.80,{up_m:.1f},M,0.0,M,,",
    ]
    if style.course:
        bodies.append(f"{talker}VTG,{track},T,,M,{knots},N,{speed_mps / KMH:.{style.speed_decimals}f},K,A")
    return bodies


def _without_fix(clock: str, date: str, style: NmeaStyle) -> list[str]:
    """What a receiver writes while it has no position."""
    talker = style.talker
    bodies = [f"{talker}RMC,{clock},V,,,,,,,{date},,,N", f"{talker}GGA,{clock},,,,,0,00,99.99,,,,,,"]
    return [*bodies, f"{talker}VTG,,,,,,,,,N"] if style.course else bodies


def _clock_texts(t_s: FloatArray, start_utc_s: float) -> tuple[list[str], list[str]]:
    """Times of day and dates as NMEA writes them; three decimals only when two are not enough."""
    stamp_ms = np.round((start_utc_s + t_s) * 1000).astype(np.int64).tolist()
    short = all(ms % 10 == 0 for ms in stamp_ms)
    clock, date, dates = [], [], {}
    for ms in stamp_ms:
        day, in_day = divmod(ms, 86_400_000)
        if day not in dates:
            dates[day] = (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(days=day)).strftime("%d%m%y")
        seconds, part = divmod(in_day, 1000)
        minutes, s = divmod(seconds, 60)
        fraction = f"{part // 10:02d}" if short else f"{part:03d}"
        clock.append(f"{minutes // 60:02d}{minutes % 60:02d}{s:02d}.{fraction}")
        date.append(dates[day])
    return clock, date


def _angles(degrees: FloatArray, signs: str, width: int, style: NmeaStyle) -> list[str]:
    """Angles as degrees and minutes with their hemisphere, such as `4807.03800,N`."""
    unit = 10**style.minute_decimals
    whole = np.round(np.abs(degrees) * 60 * unit).astype(np.int64).tolist()
    texts = []
    for value, negative in zip(whole, (degrees < 0).tolist(), strict=True):
        turns, rest = divmod(value, 60 * unit)
        minutes, part = divmod(rest, unit)
        fraction = f".{part:0{style.minute_decimals}d}" if style.minute_decimals else ""
        texts.append(f"{turns:0{width}d}{minutes:02d}{fraction},{signs[negative]}")
    return texts


def gpx(
    log: ReceiverLog, start_utc_s: float = START_UTC_S, *, name: str = "simulated ride", speed: bool = True
) -> bytes:
    """Return one GPX 1.1 track; with `speed`, an extension element carries the receiver's speed [m/s]."""
    rows = zip(
        _iso_texts(log.t_s, start_utc_s), log.lat_deg.tolist(), log.lon_deg.tolist(), log.altitude_m.tolist(),
        log.speed_mps.tolist(), log.fix.tolist(), strict=True,
    )  # fmt: skip
    points = [
        f'<trkpt lat="{lat:.8f}" lon="{lon:.8f}"><ele>{up:.2f}</ele><time>{time}</time>'
        + (f"<extensions><s:speed>{v:.3f}</s:speed></extensions>" if speed else "")
        + "</trkpt>\n"
        for time, lat, lon, up, v, fix in rows
        if fix
    ]
    extra = f' xmlns:s="{GPX_SPEED_NAMESPACE}"' if speed else ""
    return "".join(
        [
            '<?xml version="1.0" encoding="UTF-8"?>\n',
            f'<gpx version="1.1" creator="traceanalyze simulate" xmlns="http://www.topografix.com/GPX/1/1"{extra}>\n',
            f"<trk><name>{_escaped(name)}</name><trkseg>\n",
            *points,
            "</trkseg></trk>\n</gpx>\n",
        ]
    ).encode()


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _iso_texts(t_s: FloatArray, start_utc_s: float) -> list[str]:
    """Times as ISO 8601 with milliseconds."""
    stamp_ms = np.round((start_utc_s + t_s) * 1000).astype(np.int64)
    return [f"{one}Z" for one in np.datetime_as_string(stamp_ms.astype("datetime64[ms]")).tolist()]


#: Columns of our CSV logs.
RECEIVER_COLUMNS = ("lat_deg", "lon_deg", "altitude_m", "speed_mps", "course_deg")
FORCE_COLUMNS = ("ax_mps2", "ay_mps2", "az_mps2")


def table(log: ReceiverLog | None, felt: AccelerometerLog | None = None, start_utc_s: float = START_UTC_S) -> bytes:
    """Return a CSV of receiver rows, accelerometer rows, or both by their stamps; cells of the other kind are blank.

    Raises
    ------
    UsageError
        If there is neither.
    """
    if log is None and felt is None:
        raise UsageError("a table of nothing", advice="give a receiver log or an accelerometer log")
    names = ("unix_time_s", *(RECEIVER_COLUMNS if log else ()), *(FORCE_COLUMNS if felt else ()))
    rows: list[tuple[float, str]] = []
    if log is not None:
        rows += _receiver_rows(log, start_utc_s, blank="," * len(FORCE_COLUMNS) if felt else "")
    if felt is not None:
        rows += _force_rows(felt, start_utc_s, blank="," * len(RECEIVER_COLUMNS) if log else "")
    rows.sort(key=lambda row: row[0])
    return "\n".join([",".join(names), *(text for _, text in rows), ""]).encode()


def _receiver_rows(log: ReceiverLog, start_utc_s: float, blank: str) -> list[tuple[float, str]]:
    rows = zip(
        log.t_s.tolist(), log.lat_deg.tolist(), log.lon_deg.tolist(), log.altitude_m.tolist(),
        log.speed_mps.tolist(), log.course_deg.tolist(), log.fix.tolist(), strict=True,
    )  # fmt: skip
    return [
        (t, f"{start_utc_s + t:.3f},{lat:.8f},{lon:.8f},{up:.2f},{v:.3f},{'' if c != c else f'{c:.2f}'}{blank}")
        if fix
        else (t, f"{start_utc_s + t:.3f},,,,,{blank}")
        for t, lat, lon, up, v, c, fix in rows
    ]


def _force_rows(felt: AccelerometerLog, start_utc_s: float, blank: str) -> list[tuple[float, str]]:
    rows = zip(felt.t_s.tolist(), felt.force_mps2.tolist(), strict=True)
    return [(t, f"{start_utc_s + t:.4f}{blank},{x:.3f},{y:.3f},{z:.3f}") for t, (x, y, z) in rows]
