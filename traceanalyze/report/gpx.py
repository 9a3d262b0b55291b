"""A trace -> GPX 1.1, valid against its published schema.

Schema: TopoGrafix, GPX 1.1 (http://www.topografix.com/GPX/1/1/gpx.xsd, 2004). Written as text: numbers need no
escaping, and a day at 10 Hz as a tree of elements would take a gigabyte. Version 1.1 has no element for the speed of a
point; it goes into its extensions, by the public schema of `GPX_DATA`, whose `speed` is in m/s.
"""

from __future__ import annotations

from collections.abc import Iterator
from html import escape  # the five characters of XML too; xml.sax loads a network client

import numpy as np

from traceanalyze.errors import FormatError, shown
from traceanalyze.trace import FloatArray, Trace

GPX_DATA = "http://www.cluetrust.com/XML/GPXDATA/1/0"
_HEAD = """\
<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator={creator} xmlns="http://www.topografix.com/GPX/1/1" xmlns:gpxdata="{extension}"
 xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"
 xsi:schemaLocation="http://www.topografix.com/GPX/1/1 http://www.topografix.com/GPX/1/1/gpx.xsd">
<trk><name>{name}</name>
"""
#: Elements of a point in the order of the schema: attribute of the trace, decimals, what stands around the number.
_ELEMENTS = (
    ("altitude_m", 4, "<ele>{}</ele>"),
    ("time", 0, "<time>{}Z</time>"),
    ("satellites", 0, "<sat>{}</sat>"),
    ("hdop", 3, "<hdop>{}</hdop>"),
    ("speed_mps", 6, "<extensions><gpxdata:speed>{}</gpxdata:speed></extensions>"),
)


def gpx_text(trace: Trace, name: str, creator: str) -> str:
    """Return the points that have a position as one track, a segment for each stretch.

    Raises
    ------
    FormatError
        If no point has a position.
    """
    placed = np.flatnonzero(np.isfinite(trace.lat_deg) & np.isfinite(trace.lon_deg))
    if not placed.size:
        raise FormatError("no point in it has a position, and GPX needs them", advice="export it with --to csv")
    head = _HEAD.format(
        creator=f'"{escape(shown(creator))}"', extension=GPX_DATA, name=escape(shown(name), quote=False)
    )
    return "".join([head, *_segments(trace, placed), "</trk>\n</gpx>\n"])


def _segments(trace: Trace, placed: np.ndarray[tuple[int], np.dtype[np.intp]]) -> Iterator[str]:
    points = _points(trace, placed)
    begins = np.flatnonzero(np.diff(trace.stretch[placed], prepend=-1))
    for begin, end in zip(begins.tolist(), [*begins[1:].tolist(), placed.size], strict=True):
        yield "<trkseg>\n" + "".join(points[begin:end]) + "</trkseg>\n"


def _points(trace: Trace, placed: np.ndarray[tuple[int], np.dtype[np.intp]]) -> list[str]:
    lat = _decimals(trace.lat_deg[placed], 10)
    lon = _decimals((trace.lon_deg[placed] + 180) % 360 - 180, 10)  # the schema has -180 and no 180
    columns = [
        [form.format(text) if text else "" for text in _texts(trace, name, placed, decimals)]
        for name, decimals, form in _ELEMENTS
    ]
    return [
        f'<trkpt lat="{y}" lon="{x}">{"".join(inner)}</trkpt>\n'
        for y, x, *inner in zip(lat, lon, *columns, strict=True)
    ]


def _texts(trace: Trace, name: str, placed: np.ndarray[tuple[int], np.dtype[np.intp]], decimals: int) -> list[str]:
    if name == "time":
        return moment_texts(trace.utc0_s[trace.stretch[placed]] + trace.t_s[placed])
    return _decimals(getattr(trace, name)[placed], decimals)


def _decimals(values: FloatArray, decimals: int) -> list[str]:
    """Return numbers in plain decimals, since the schema has no exponents; '' where unknown."""
    return [
        (text.rstrip("0").rstrip(".") if "." in text else text) if (text := f"{value:.{decimals}f}") != "nan" else ""
        for value in values.tolist()
    ]


def moment_texts(unix_s: FloatArray) -> list[str]:
    """Return moments as ISO 8601 text with microseconds, without a zone; '' where unknown."""
    unix_us = np.round(unix_s * 1e6)
    dated = np.isfinite(unix_us)
    texts = np.datetime_as_string(np.where(dated, unix_us, 0).astype("datetime64[us]"), unit="us")
    return [text if is_dated else "" for text, is_dated in zip(texts.tolist(), dated.tolist(), strict=True)]
