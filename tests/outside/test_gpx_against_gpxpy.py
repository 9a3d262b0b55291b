"""Every value of every open GPX file against another general GPX library, gpxpy (tkrajina, 1.6).

Intended differences, each seen in one of the files:
- a point without a time is no sample of a drive: left out and counted (`cerknicko-without-times`, `korita-zbevnica`);
- a file without a timed track point is refused with the reason (routes, waypoints, empty tracks);
- a file whose points all carry one time is refused (`Mojstrovka`: 1901-12-13T20:45:52.207 for all 184);
- a point whose time goes back is left out and counted (`first_and_last_elevation`, its last but one);
- gpxpy cuts times to microseconds, here they are kept to nanoseconds (`Mojstrovka` again);
- gpxpy drops `speed` of a file that says 1.1 (none of these files has one; the reader's own tests do).
"""

from datetime import UTC
from pathlib import Path

import gpxpy
import numpy as np
import pytest

from traceanalyze.errors import FormatError
from traceanalyze.parsers.gpx import read_bytes
from traceanalyze.parsers.options import ReadOptions
from traceanalyze.trace import Source, Trace

FIX_QUALITY = {"none": 0, "2d": 1, "3d": 1, "dgps": 2, "pps": 3}
NO_TRACK = "no track points|no recorded track"
#: Files that give no trace, and the reason that must be said.
REFUSED = {
    "Mojstrovka.gpx": "all 184 points carry the same time",
    "custom_schema_locations.gpx": NO_TRACK,
    "default_schema_locations.gpx": NO_TRACK,
    "gpx1.1_with_extensions.gpx": "waypoints",
    "gpx1.1_with_extensions_without_namespaces.gpx": "waypoints",
    "gpx_with_garmin_extension.gpx": "waypoints",
    "route.gpx": "a planned route",
    "track-with-extremes.gpx": "no point in it has a time",
    "track-with-small-floats.gpx": "no point in it has a time",
    "track_with_dilution_errors.gpx": "no point in it has a time",
    "unicode.gpx": "waypoints",
    "unicode2.gpx": "no track points",
    "unicode_with_bom.gpx": "waypoints",
    "unicode_with_bom_noencoding.gpx": "waypoints",
}
#: What is left out of the others, all of it counted.
LEFT_OUT = {
    "cerknicko-jezero-without-elevations.gpx": {"no_time": 1},
    "cerknicko-without-times.gpx": {"no_time": 291},
    "first_and_last_elevation.gpx": {"out_of_order": 1},
    "korita-zbevnica.gpx": {"no_time": 358},
}
FILES = 28


def ours(path: Path) -> Trace:
    return read_bytes(path.read_bytes(), Source(path=path.name, format="gpx"), ReadOptions())


def gpxpy_points(path: Path) -> list[tuple[int, object]]:
    """Track points that have a time, with the number of their segment."""
    parsed = gpxpy.parse(path.read_text(encoding="utf-8-sig"))
    segments = [segment for track in parsed.tracks for segment in track.segments]
    return [(k, point) for k, segment in enumerate(segments) for point in segment.points if point.time is not None]


def unix_s(time) -> float:
    return (time if time.tzinfo else time.replace(tzinfo=UTC)).timestamp()


def test_all_files_are_looked_at(open_data: Path) -> None:
    names = {path.name for path in (open_data / "gpxpy").glob("*.gpx")}
    assert len(names) == FILES
    assert names > REFUSED.keys() | LEFT_OUT.keys()


def test_every_value(open_data: Path) -> None:
    for path in sorted((open_data / "gpxpy").glob("*.gpx")):
        if path.name not in REFUSED:
            check(path)


def check(path: Path) -> None:
    trace, points = ours(path), gpxpy_points(path)
    assert dict(trace.tally) == LEFT_OUT.get(path.name, {}), path.name
    if "out_of_order" in trace.tally:
        moments = np.array([unix_s(point.time) for _, point in points])
        latest = np.maximum.accumulate(moments)
        points = [both for both, moment, top in zip(points, moments, latest, strict=True) if moment == top]
    assert trace.points == len(points), path.name
    columns = {
        "lat_deg": "latitude", "lon_deg": "longitude", "altitude_m": "elevation", "speed_mps": "speed",
        "course_deg": "course", "hdop": "horizontal_dilution", "satellites": "satellites",
    }  # fmt: skip
    for column, name in columns.items():
        theirs = [getattr(point, name, None) for _, point in points]
        expected = [np.nan if value is None else float(value) for value in theirs]
        # exactly: both read the same decimal text to the nearest double
        np.testing.assert_array_equal(getattr(trace, column), expected, err_msg=f"{path.name} {column}")
    moments = [trace.utc_s(k) for k in range(trace.points)]
    # 1 us: gpxpy cuts further digits off, and a double near 1.5e9 s has steps of 0.24 us
    np.testing.assert_allclose(moments, [unix_s(point.time) for _, point in points], rtol=0, atol=1e-6)
    fixes = [FIX_QUALITY.get(point.type_of_gpx_fix or "", -1) for _, point in points]
    assert trace.quality.tolist() == fixes
    segments = np.unique([k for k, _ in points], return_inverse=True)[1]
    assert trace.stretch.tolist() == segments.tolist()


@pytest.mark.parametrize("name", sorted(REFUSED))
def test_refusals(open_data: Path, name: str) -> None:
    with pytest.raises(FormatError, match=REFUSED[name]):
        ours(open_data / "gpxpy" / name)


def test_a_real_drive(open_data: Path) -> None:
    # around-visnjan-with-car: the description that comes with the open recordings gives 93 km/h by positions
    points = gpxpy_points(open_data / "gpxpy" / "around-visnjan-with-car.gpx")
    trace = ours(open_data / "gpxpy" / "around-visnjan-with-car.gpx")
    assert trace.duration_s == unix_s(points[-1][1].time) - unix_s(points[0][1].time)
    assert trace.speed_source == "positions"
