"""Traces and results for other programs: what is unknown stays unknown, names and places stay apart."""

import csv
import io
import json

import numpy as np
import pytest

from traceanalyze.errors import FormatError
from traceanalyze.report.exports import trace_columns, trace_csv, trace_frame, trace_geojson, trace_gpx
from traceanalyze.results import RunSheet
from traceanalyze.session import Study
from traceanalyze.trace import make_trace, utc_text

NAN = float("nan")


def study(trace):
    return Study(sheet=RunSheet(path="a/b.nmea", status="ok"), trace=trace)


@pytest.fixture
def gappy():
    return make_trace(
        [0.0, 0.1, 0.2, 9.0],
        speed_mps=[1.23456789, NAN, 0.0, 2.0],
        lat_deg=[41.123456789012, NAN, 41.0, 41.0],
        lon_deg=[-38.0, NAN, -38.0, NAN],
        quality=[1, -1, 0, 4],
        satellites=[12, NAN, 0, 9],
        stretch=[0, 0, 0, 1],
        utc0_s=[1.0e9, NAN],
    )


def test_unknown_is_none_and_an_empty_cell(gappy):
    columns = trace_columns(gappy)
    assert columns["speed_mps"] == [1.234568, None, 0.0, 2.0]
    assert columns["lat_deg"] == [41.123456789, None, 41.0, 41.0]
    assert columns["quality"] == [1, None, 0, 4]
    assert columns["satellites"] == [12, None, 0, 9]
    assert columns["utc"][1:] == ["2001-09-09T01:46:40.100000Z", "2001-09-09T01:46:40.200000Z", None]
    rows = list(csv.DictReader(io.StringIO(trace_csv(study(gappy)).decode())))
    assert (rows[1]["speed_mps"], rows[3]["utc"], rows[2]["speed_mps"]) == ("", "", "0.0")


def test_moments_are_those_of_the_rest_of_the_program():
    trace = make_trace(np.arange(50) * 0.123457, utc0_s=1_779_008_400.000001)
    assert trace_columns(trace)["utc"] == [utc_text(trace.utc_s(k)) for k in range(50)]


def test_a_frame_has_nan_and_no_time_where_unknown(gappy):
    frame = trace_frame(gappy)
    assert frame["speed_mps"].isna().tolist() == [False, True, False, False]
    assert frame["utc"].isna().tolist() == [False, False, False, True]


def test_lines_end_at_holes_and_where_positions_are_missing():
    t_s = np.concatenate([np.arange(0, 5, 0.5), np.arange(60, 65, 0.5)])
    trace = make_trace(t_s, speed_mps=np.ones(20), lat_deg=41 + t_s * 1e-5, lon_deg=np.full(20, -38.0))
    document = json.loads(trace_geojson(study(trace)))
    times = [feature["properties"]["time_s"] for feature in document["features"]]
    assert times == [0, 1, 2, 3, 60, 61, 62, 63, 64]
    jump = [
        abs(b[1] - a[1])
        for one in document["features"]
        for a, b in zip(one["geometry"]["coordinates"][:-1], one["geometry"]["coordinates"][1:], strict=True)
    ]
    assert max(jump) < 1.1e-5  # half a second's way, never the minute between


def test_a_log_without_positions_gives_no_path():
    trace = make_trace([0.0, 1.0], speed_mps=[1.0, 2.0])
    assert json.loads(trace_geojson(study(trace))) == {"type": "FeatureCollection", "features": []}
    with pytest.raises(FormatError, match="no point in it has a position"):
        trace_gpx(study(trace))
