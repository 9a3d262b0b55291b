"""The cleaned trace and the results for other programs: CSV, Parquet, GeoJSON, GPX."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from traceanalyze import __version__
from traceanalyze.errors import FormatError, OutputError, UsageError
from traceanalyze.report.cells import csv_text
from traceanalyze.report.day import unlike
from traceanalyze.report.files import make_folder
from traceanalyze.report.gpx import gpx_text, moment_texts
from traceanalyze.results import RUN_COLUMNS, RunSheet, number, run_rows
from traceanalyze.session import Asked, Study, study_files
from traceanalyze.trace import FloatArray, Trace, utc_text

if TYPE_CHECKING:
    import pandas as pd

TRACE_COLUMNS = (
    "time_s", "utc", "lat_deg", "lon_deg", "altitude_m", "speed_mps", "course_deg", "quality", "hdop", "satellites",
    "stretch",
)  # fmt: skip
#: Decimals kept: 0.01 mm for degrees, a micrometre or a microsecond for the rest; finer than any receiver.
DEGREE_DECIMALS, DECIMALS = 10, 6
#: Length of one piece of the path in GeoJSON [s]: short enough to be coloured by its speed.
PIECE_S = 1.0


def trace_columns(trace: Trace) -> dict[str, list[Any]]:
    """Return the points of a trace as columns (see `TRACE_COLUMNS`), None where unknown."""
    columns: dict[str, list[Any]] = {"time_s": rounded(trace.t_s)}
    columns["utc"] = [f"{text}Z" if text else None for text in moment_texts(_unix_s(trace))]
    for name in TRACE_COLUMNS[2:]:
        values = getattr(trace, name)
        columns[name] = rounded(values, DEGREE_DECIMALS if name in ("lat_deg", "lon_deg") else DECIMALS)
    columns["satellites"] = [value if value is None else round(value) for value in columns["satellites"]]
    columns["quality"] = [value if value >= 0 else None for value in trace.quality.tolist()]
    return columns


def rounded(values: NDArray[Any], decimals: int = DECIMALS) -> list[Any]:
    """Return numbers rounded, None where unknown; whole numbers stay whole."""
    if values.dtype.kind != "f":
        whole: list[Any] = values.tolist()
        return whole
    return [None if value != value else value for value in np.round(values, decimals).tolist()]


def trace_frame(trace: Trace) -> pd.DataFrame:
    """Return the points of a trace as a pandas frame, SI units, NaN where unknown."""
    import pandas as pd

    unix_us = np.round(_unix_s(trace) * 1e6)
    moments = np.where(np.isfinite(unix_us), unix_us, np.iinfo(np.int64).min).astype(np.int64).view("datetime64[us]")
    values = {
        "time_s": trace.t_s,
        "utc": pd.Series(moments).dt.tz_localize("UTC"),
        **{name: getattr(trace, name) for name in TRACE_COLUMNS[2:]},
    }
    return pd.DataFrame(values, columns=list(TRACE_COLUMNS))


def _unix_s(trace: Trace) -> FloatArray:
    unix_s: FloatArray = trace.utc0_s[trace.stretch] + trace.t_s
    return unix_s


def trace_csv(study: Study) -> bytes:
    """Return the cleaned trace as CSV."""
    columns = trace_columns(_trace(study))
    rows = (dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True))
    return csv_text(TRACE_COLUMNS, rows).encode()


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
    placed = np.flatnonzero(np.isfinite(trace.lat_deg) & np.isfinite(trace.lon_deg))
    if placed.size < 2:
        return
    t_s, stretch = trace.t_s[placed], trace.stretch[placed]
    piece = np.floor(t_s / PIECE_S).astype(np.int64)
    starts = np.flatnonzero(np.diff(piece, prepend=piece[0] - 1))
    for begin, end in zip(starts.tolist(), [*starts[1:].tolist(), placed.size - 1], strict=True):
        if end <= begin or stretch[begin] != stretch[end] or t_s[end] - t_s[begin] > 3 * PIECE_S:
            continue
        rows = placed[begin : end + 1]
        speeds = trace.speed_mps[rows]
        speed = float(np.nanmean(speeds)) if np.isfinite(speeds).any() else float("nan")
        yield _feature(
            _line([_position(trace, int(k)) for k in rows]),
            {"kind": "path", "time_s": number(t_s[begin]), "utc": utc_text(trace.utc_s(int(rows[0]))),
             "speed_mps": number(speed)},
        )  # fmt: skip


def _line(positions: list[list[float]]) -> dict[str, Any]:
    """Return positions as a line, cut in two where it crosses the 180th meridian (RFC 7946, 3.1.9)."""
    for k, (one, other) in enumerate(pairwise(positions), start=1):
        if abs(other[0] - one[0]) > 180:
            edge = 180.0 if one[0] > 0 else -180.0
            share = (edge - one[0]) / (other[0] + 2 * edge - one[0] or 1.0)
            lat = round(one[1] + share * (other[1] - one[1]), 8)
            return {
                "type": "MultiLineString",
                "coordinates": [[*positions[:k], [edge, lat]], [[-edge, lat], *positions[k:]]],
            }
    return {"type": "LineString", "coordinates": positions}


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
    placed = np.flatnonzero(np.isfinite(trace.lat_deg) & np.isfinite(trace.lon_deg))
    if not placed.size:
        return None
    k = int(placed[np.argmin(np.abs(trace.t_s[placed] - time_s))])
    return k if abs(trace.t_s[k] - time_s) <= 2 else None


def _position(trace: Trace, k: int) -> list[float]:
    position = [round(float(trace.lon_deg[k]), 8), round(float(trace.lat_deg[k]), 8)]
    altitude = float(trace.altitude_m[k])
    return [*position, round(altitude, 3)] if np.isfinite(altitude) else position


def _feature(geometry: dict[str, Any], properties: dict[str, Any]) -> dict[str, Any]:
    return {"type": "Feature", "geometry": geometry, "properties": properties}


def trace_gpx(study: Study) -> bytes:
    """Return the path as GPX 1.1, a segment for each stretch.

    Raises
    ------
    FormatError
        If the log has no positions.
    """
    name, creator = Path(study.sheet.path).name, f"traceanalyze {__version__}"
    return gpx_text(_trace(study), name, creator).encode("utf-8", "backslashreplace")


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


def exported(
    names: Sequence[str], asked: Asked, kind: str | None, out: Path | None
) -> tuple[list[tuple[Path | None, bytes]], list[str]]:
    """Return what is to be written and where, and one line for each log that gives nothing.

    Parameters
    ----------
    names, asked
        The logs, and how they are read.
    kind : str or None
        One of `TRACE_FORMATS`; None for the results of all logs in one CSV.
    out : path or None
        A file, or a folder (always one for several logs; it is made if need be); None for standard output.

    Raises
    ------
    UsageError
        If several traces would have to share standard output.
    OutputError
        If the folder cannot be made, or a package is missing.
    """
    studies = study_files(names, asked)
    refused = [study.sheet.error for study in studies if study.sheet.error]
    read = [study for study in studies if study.trace is not None]
    if kind is None:
        content = results_csv([study.sheet for study in read])
        return ([(_in_folder(out, "results.csv"), content)] if read else []), refused
    if len(read) > 1 and out is None:
        raise UsageError("several logs cannot share standard output", advice="name a folder with --out")
    if len(read) > 1 and out is not None:
        make_folder(out, inputs=names)
    ending, writer = TRACE_FORMATS[kind]
    stems = unlike(Path(study.sheet.path).stem.strip("-") or "standard-input" for study in read)
    made: list[tuple[Path | None, bytes]] = []
    for stem, study in zip(stems, read, strict=True):
        try:
            made.append((_in_folder(out, f"{stem}{ending}"), writer(study)))
        except FormatError as error:
            refused.append(str(error.at(study.sheet.path)))
    return made, refused


def _in_folder(out: Path | None, name: str) -> Path | None:
    return out / name if out is not None and out.is_dir() else out


def results_csv(sheets: Sequence[RunSheet]) -> bytes:
    """Return every result of every log as one CSV, safe to open in a spreadsheet."""
    rows = [_json_cells(row) for sheet in sheets for row in run_rows(sheet)]
    return csv_text(RUN_COLUMNS, rows).encode()


def _json_cells(row: dict[str, Any]) -> dict[str, Any]:
    return {key: number(value) if isinstance(value, float) else value for key, value in row.items()}
