"""The cleaned trace and the results for other programs: CSV, Parquet, GeoJSON, GPX."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from traceanalyze import __version__
from traceanalyze.errors import OutputError
from traceanalyze.report.cells import csv_text
from traceanalyze.results import RUN_COLUMNS, RunSheet, number, run_rows
from traceanalyze.session import Study
from traceanalyze.trace import Trace, utc_text

if TYPE_CHECKING:
    import pandas as pd

TRACE_COLUMNS = (
    "time_s", "utc", "lat_deg", "lon_deg", "altitude_m", "speed_mps", "course_deg", "quality", "hdop", "satellites",
    "stretch",
)  # fmt: skip
#: Length of one piece of the path in GeoJSON [s]: short enough to be coloured by its speed.
PIECE_S = 1.0
#: A public extension schema whose `speed` is in m/s; readers match it by namespace.
GPX_SPEED_NAMESPACE = "http://www.cluetrust.com/XML/GPXDATA/1/0"


def trace_rows(trace: Trace) -> Iterator[dict[str, Any]]:
    """Yield the points of a trace as rows (see `TRACE_COLUMNS`), None where unknown."""
    for k in range(trace.points):
        yield {
            "time_s": number(trace.t_s[k]),
            "utc": utc_text(trace.utc_s(k)),
            "lat_deg": _exact(trace.lat_deg[k]),
            "lon_deg": _exact(trace.lon_deg[k]),
            "altitude_m": number(trace.altitude_m[k]),
            "speed_mps": number(trace.speed_mps[k]),
            "course_deg": number(trace.course_deg[k]),
            "quality": int(trace.quality[k]) if trace.quality[k] >= 0 else None,
            "hdop": number(trace.hdop[k]),
            "satellites": number(trace.satellites[k]),
            "stretch": int(trace.stretch[k]),
        }


def _exact(degrees: float) -> float | None:
    """Degrees to ten decimals: 0.01 mm, finer than any receiver."""
    return round(float(degrees), 10) if np.isfinite(degrees) else None


def trace_frame(trace: Trace) -> pd.DataFrame:
    """Return the points of a trace as a pandas frame, SI units, NaN where unknown."""
    import pandas as pd

    unix_ns = np.round((trace.utc0_s[trace.stretch] + trace.t_s) * 1e6) * 1e3
    values = {
        "time_s": trace.t_s,
        "utc": pd.to_datetime(pd.Series(unix_ns), unit="ns", utc=True),
        **{name: getattr(trace, name) for name in TRACE_COLUMNS[2:]},
    }
    return pd.DataFrame(values, columns=list(TRACE_COLUMNS))


def trace_csv(study: Study) -> bytes:
    """Return the cleaned trace as CSV."""
    return csv_text(TRACE_COLUMNS, trace_rows(_trace(study))).encode()


def trace_parquet(study: Study) -> bytes:
    """Return the cleaned trace as Parquet.

    Raises
    ------
    OutputError
        If pyarrow is not installed.
    """
    try:
        import pyarrow  # noqa: F401
    except ImportError:
        raise OutputError(
            "Parquet needs the package pyarrow, which is not installed",
            advice="run: pip install 'traceanalyze[parquet]', or export with --to csv",
        ) from None
    buffer = io.BytesIO()
    trace_frame(_trace(study)).to_parquet(buffer, index=False)
    return buffer.getvalue()


def trace_geojson(study: Study) -> bytes:
    """Return the path in pieces with their speed, and a point for each launch and pass, as GeoJSON (RFC 7946)."""
    trace = _trace(study)
    features = [*_path_features(trace), *_event_features(trace, study.sheet)]
    document = {"type": "FeatureCollection", "features": features}
    return (json.dumps(document, allow_nan=False, separators=(",", ":")) + "\n").encode()


def _path_features(trace: Trace) -> Iterator[dict[str, Any]]:
    known = np.flatnonzero(np.isfinite(trace.lat_deg) & np.isfinite(trace.lon_deg))
    if known.size < 2:
        return
    t_s, stretch = trace.t_s[known], trace.stretch[known]
    piece = np.floor(t_s / PIECE_S).astype(np.int64)
    starts = np.flatnonzero(np.diff(piece, prepend=piece[0] - 1))
    for begin, end in zip(starts.tolist(), [*starts[1:].tolist(), known.size - 1], strict=True):
        if end <= begin or stretch[begin] != stretch[end] or t_s[end] - t_s[begin] > 3 * PIECE_S:
            continue
        rows = known[begin : end + 1]
        speeds = trace.speed_mps[rows]
        speed = float(np.nanmean(speeds)) if np.isfinite(speeds).any() else float("nan")
        yield _feature(
            {"type": "LineString", "coordinates": [_position(trace, int(k)) for k in rows]},
            {"kind": "path", "time_s": number(t_s[begin]), "utc": utc_text(trace.utc_s(int(rows[0]))),
             "speed_mps": number(speed)},
        )  # fmt: skip


def _event_features(trace: Trace, sheet: RunSheet) -> Iterator[dict[str, Any]]:
    for kind, items in (("launch", sheet.launches), ("pass", sheet.passes)):
        for item in items:
            values = item.to_dict()
            if (k := _located(trace, values["start_s"])) is None:
                continue
            flat = {key: value for key, value in values.items() if not isinstance(value, list | dict)}
            for result in values.get("times", ()):
                name = " ".join(filter(None, (result["measure"], result["start_rule"])))
                flat[f"{name} [s]"] = result["elapsed_s"]
            yield _feature({"type": "Point", "coordinates": _position(trace, k)}, {"kind": kind, **flat})


def _located(trace: Trace, time_s: float) -> int | None:
    """Index of the point nearest in time that has a position; None when none is within two seconds."""
    known = np.flatnonzero(np.isfinite(trace.lat_deg) & np.isfinite(trace.lon_deg))
    if not known.size:
        return None
    k = int(known[np.argmin(np.abs(trace.t_s[known] - time_s))])
    return k if abs(trace.t_s[k] - time_s) <= 2 else None


def _position(trace: Trace, k: int) -> list[float]:
    position = [round(float(trace.lon_deg[k]), 8), round(float(trace.lat_deg[k]), 8)]
    altitude = float(trace.altitude_m[k])
    return [*position, round(altitude, 3)] if np.isfinite(altitude) else position


def _feature(geometry: dict[str, Any], properties: dict[str, Any]) -> dict[str, Any]:
    return {"type": "Feature", "geometry": geometry, "properties": properties}


def trace_gpx(study: Study) -> bytes:
    """Return the path as GPX 1.1, speed in a public extension, one track segment per stretch."""
    import xml.etree.ElementTree as ET
    from datetime import UTC, datetime, timedelta

    from gpxpy import gpx as g

    trace = _trace(study)
    document = g.GPX()
    document.creator = f"traceanalyze {__version__}"
    document.nsmap["gpxdata"] = GPX_SPEED_NAMESPACE
    track = g.GPXTrack()
    document.tracks.append(track)
    segments = [g.GPXTrackSegment() for _ in range(trace.utc0_s.size)]
    for k in np.flatnonzero(np.isfinite(trace.lat_deg) & np.isfinite(trace.lon_deg)).tolist():
        point = g.GPXTrackPoint(float(trace.lat_deg[k]), float(trace.lon_deg[k]), number(trace.altitude_m[k]))
        if np.isfinite(trace.utc_s(k)):
            point.time = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=round(trace.utc_s(k) * 1e6))
        if np.isfinite(trace.speed_mps[k]):
            element = ET.Element(f"{{{GPX_SPEED_NAMESPACE}}}speed")
            element.text = repr(number(trace.speed_mps[k]))
            point.extensions.append(element)
        segments[int(trace.stretch[k])].points.append(point)
    track.segments = [segment for segment in segments if segment.points]
    return document.to_xml(version="1.1").encode()


def _trace(study: Study) -> Trace:
    assert study.trace is not None, "refused logs are told before"
    return study.trace


#: What `--to` understands: the ending of the file and what makes its bytes.
TRACE_FORMATS: dict[str, tuple[str, Callable[[Study], bytes]]] = {
    "csv": (".csv", trace_csv),
    "parquet": (".parquet", trace_parquet),
    "geojson": (".geojson", trace_geojson),
    "gpx": (".gpx", trace_gpx),
}


def results_csv(sheets: Sequence[RunSheet]) -> bytes:
    """Return every result of every log as one CSV, safe to open in a spreadsheet."""
    rows = [_json_cells(row) for sheet in sheets for row in run_rows(sheet)]
    return csv_text(RUN_COLUMNS, rows).encode()


def _json_cells(row: dict[str, Any]) -> dict[str, Any]:
    return {key: number(value) if isinstance(value, float) else value for key, value in row.items()}
