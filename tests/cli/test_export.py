"""`traceanalyze export`, its files opened by general libraries: pandas, gpxpy, json with the rules of RFC 7946."""

import csv
import io
import json
import re
import sys
import xml.etree.ElementTree as ET

import gpxpy
import numpy as np
import pandas as pd
import pytest

from tests.cli.conftest import SAMPLES
from traceanalyze.parsers import read
from traceanalyze.trace import make_trace

GPX = "{http://www.topografix.com/GPX/1/1}"


@pytest.fixture(scope="module")
def trace():
    return read(SAMPLES / "standard_spring_1.nmea")


@pytest.fixture
def export(say, tmp_path):
    """Export a log and return the path of what was written."""

    def exported(log, kind):
        path = tmp_path / f"out.{kind}"
        said = say("export", log, "--to", kind, "--out", path)
        assert said.status == 0, said.err
        assert said.err == f"written: {path}\n"
        return path

    return exported


def same(one, other):
    """Check that two readings of a ride agree: to a microsecond, a micrometre a second, 0.01 mm."""
    assert one.points == other.points
    for name, atol in (
        ("t_s", 1.1e-6),
        ("speed_mps", 1e-6),
        ("lat_deg", 1e-10),
        ("lon_deg", 1e-10),
        ("altitude_m", 1e-4),
    ):
        np.testing.assert_allclose(getattr(one, name), getattr(other, name), rtol=0, atol=atol, err_msg=name)
    assert one.utc_s(0) == pytest.approx(other.utc_s(0), abs=1e-6)


def test_csv_with_pandas_and_back(export, ride, trace):
    path = export(ride, "csv")
    frame = pd.read_csv(path, parse_dates=["utc"])
    assert len(frame) == trace.points
    np.testing.assert_allclose(frame["speed_mps"], trace.speed_mps, atol=5e-7)
    np.testing.assert_allclose(frame["lat_deg"], trace.lat_deg, atol=1e-10)
    assert frame["utc"].iloc[0] == pd.Timestamp("2026-05-17T09:00:00Z")
    assert frame["satellites"].dtype.kind == "i"
    same(read(path), trace)


def test_parquet_with_pandas(export, ride, trace):
    pytest.importorskip("pyarrow")
    frame = pd.read_parquet(export(ride, "parquet"))
    np.testing.assert_array_equal(frame["speed_mps"], trace.speed_mps)
    np.testing.assert_array_equal(frame["time_s"], trace.t_s)
    assert frame["utc"].iloc[1] == pd.Timestamp("2026-05-17T09:00:00.1Z")
    assert str(frame["utc"].dt.tz) == "UTC"


def test_without_pyarrow_parquet_says_what_to_do(say, ride, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    said = say("export", ride, "--to", "parquet", "--out", tmp_path / "a.parquet")
    assert (said.status, len(said.err.splitlines())) == (1, 1)
    assert "pip install 'traceanalyze[parquet]'" in said.err
    assert not list(tmp_path.iterdir())


def test_gpx_with_gpxpy_and_back(export, ride, trace):
    path = export(ride, "gpx")
    found = gpxpy.parse(path.read_text())
    (points,) = [segment.points for track in found.tracks for segment in track.segments]
    assert len(points) == trace.points
    np.testing.assert_allclose([point.latitude for point in points], trace.lat_deg, atol=1e-10)
    np.testing.assert_allclose([point.elevation for point in points], trace.altitude_m, atol=1e-4)
    assert points[1].time.isoformat() == "2026-05-17T09:00:00.100000+00:00"
    same(read(path), trace)


def test_gpx_keeps_to_the_schema(export, ride):
    # gpx.xsd of GPX 1.1 (TopoGrafix 2004): gpx has version and creator; trkType: name ... trkseg in this order;
    # wptType: ele, time, magvar, geoidheight, name, cmt, desc, src, link, sym, type, fix, sat, hdop, vdop, pdop, ...,
    # extensions in this order; lat in [-90, 90], lon in [-180, 180); numbers are xsd:decimal, which has no exponent
    root = ET.fromstring(export(ride, "gpx").read_text())
    assert root.tag == f"{GPX}gpx"
    assert root.get("version") == "1.1"
    assert root.get("creator")
    (track,) = list(root)
    assert [child.tag.removeprefix(GPX) for child in track] == ["name", "trkseg"]
    order = ["ele", "time", "sat", "hdop", "extensions"]
    decimal = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)")  # XML Schema Part 2, 3.2.3
    for point in track.iter(f"{GPX}trkpt"):
        names = [child.tag.removeprefix(GPX) for child in point]
        assert names == sorted(names, key=order.index)
        numbers = [point.get("lat"), point.get("lon"), point.findtext(f"{GPX}ele"), point.findtext(f"{GPX}hdop")]
        assert all(decimal.fullmatch(number) for number in numbers)
        assert -90 <= float(numbers[0]) <= 90
        assert -180 <= float(numbers[1]) < 180
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z", point.findtext(f"{GPX}time"))  # xsd:dateTime
        extension = point.find(f"{GPX}extensions")
        assert all(not child.tag.startswith(GPX) for child in extension)  # 'from a schema other than this schema'


def test_gpx_of_odd_places_and_names(monkeypatch):
    from traceanalyze.report.gpx import gpx_text

    odd = make_trace(
        np.arange(4.0), lat_deg=[1e-7, np.nan, -90, 0], lon_deg=[180, 1, -1e-9, -180], speed_mps=[1e-7, 1, np.nan, 2],
        stretch=[0, 0, 1, 1], utc0_s=[np.nan, 1e9],
    )  # fmt: skip
    text = gpx_text(odd, 'a<b>&"c"\x1b', 'x"y')
    root = ET.fromstring(text)
    points = list(root.iter(f"{GPX}trkpt"))
    assert [point.get("lon") for point in points] == ["-180", "-0.000000001", "-180"]
    assert points[0].get("lat") == "0.0000001"
    assert [len(segment) for segment in root.iter(f"{GPX}trkseg")] == [1, 2]
    assert root.findtext(f"{GPX}trk/{GPX}name") == 'a<b>&"c"\\x1b'
    assert [point.findtext(f"{GPX}time") for point in points] == [
        None,
        "2001-09-09T01:46:42.000000Z",
        "2001-09-09T01:46:43.000000Z",
    ]


def positions(geometry):
    kind, coordinates = geometry["type"], geometry["coordinates"]
    return [coordinates] if kind == "Point" else coordinates


def test_geojson_keeps_to_its_rules(export, ride, trace):
    # RFC 7946: 3.3 a FeatureCollection has features; 3.2 a Feature has geometry and properties; 3.1.1 a position is
    # longitude, latitude and perhaps altitude; 3.1.4 a line has two or more; 4 no crs member
    document = json.loads(export(ride, "geojson").read_text())
    assert set(document) == {"type", "features"}
    assert document["type"] == "FeatureCollection"
    kinds = {}
    for feature in document["features"]:
        assert set(feature) == {"type", "geometry", "properties"}
        assert feature["type"] == "Feature"
        geometry = feature["geometry"]
        assert geometry["type"] in ("Point", "LineString")
        assert geometry["type"] == "Point" or len(geometry["coordinates"]) >= 2
        for longitude, latitude, *altitude in positions(geometry):
            assert -180 <= longitude <= 180
            assert -90 <= latitude <= 90
            assert len(altitude) <= 1
        kinds.setdefault(feature["properties"]["kind"], []).append(feature)
    assert [len(kinds[kind]) for kind in ("launch", "pass")] == [2, 2]
    drawn = sum(len(feature["geometry"]["coordinates"]) - 1 for feature in kinds["path"])
    assert drawn == trace.points - 1  # every point is joined to the next, once
    speeds = [feature["properties"]["speed_mps"] for feature in kinds["path"]]
    assert max(speeds) == pytest.approx(np.nanmax(trace.speed_mps), abs=0.2)
    assert kinds["launch"][0]["properties"]["0-30 mph rollout [s]"] == pytest.approx(5.63, abs=0.05)


def test_geojson_is_cut_at_the_180th_meridian():
    from traceanalyze.report.exports import trace_geojson
    from traceanalyze.results import RunSheet
    from traceanalyze.session import Study

    # RFC 7946, 3.1.9: a line that crosses the antimeridian is cut in two
    east = make_trace([0.0, 0.4, 0.8], lat_deg=[10, 11, 12], lon_deg=[179.5, -179.5, -178.5], speed_mps=[1, 1, 1])
    document = json.loads(trace_geojson(Study(sheet=RunSheet(path="a", status="ok"), trace=east)))
    (feature,) = document["features"]
    assert feature["geometry"] == {
        "type": "MultiLineString",
        "coordinates": [[[179.5, 10], [180.0, 10.5]], [[-180.0, 10.5], [-179.5, 11], [-178.5, 12]]],
    }


def test_results_are_safe_in_a_spreadsheet(say, short, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    name = "=1+1.nmea"
    (tmp_path / name).write_bytes(short.read_bytes())
    said = say("export", f"./{name}", name, "--results")
    assert said.status == 0
    rows = list(csv.DictReader(io.StringIO(said.out)))
    assert {row["file"] for row in rows} == {f"./{name}", f"'{name}"}
    # OWASP, 'CSV Injection': no text cell begins with = + - @ TAB CR
    for row in csv.reader(io.StringIO(said.out)):
        for cell in row:
            try:
                float(cell)
            except ValueError:
                assert not cell.startswith(("=", "+", "-", "@", "\t", "\r")), cell
    frame = pd.read_csv(io.StringIO(said.out))
    assert set(frame.loc[frame["measure"] == "0-30 mph", "start_rule"]) == {"rollout", "rest", "threshold"}
    assert ((frame["low95"] <= frame["value"]) & (frame["value"] <= frame["high95"])).all()


def test_several_logs_go_to_a_folder(say, ride, short, tmp_path):
    said = say(
        "export",
        ride,
        short,
        SAMPLES / "standard_spring_1_second_logger.gpx",
        "--to",
        "gpx",
        "--out",
        tmp_path / "tracks",
    )
    assert said.status == 0
    assert sorted(path.name for path in (tmp_path / "tracks").iterdir()) == [
        "short.gpx", "standard_spring_1.gpx", "standard_spring_1_second_logger.gpx",
    ]  # fmt: skip
    twice = say("export", ride, ride, "--out", tmp_path / "twice")
    assert twice.status == 0
    assert len(list((tmp_path / "twice").iterdir())) == 2
    assert say("export", ride, short).status == 2


def test_to_standard_output(say, short):
    said = say("export", short, "--to", "geojson")
    assert (said.status, said.err) == (0, "")
    assert said.document["type"] == "FeatureCollection"


def test_a_log_without_positions_is_told(say, tmp_path):
    table = tmp_path / "speeds.csv"
    table.write_text("time_s,speed_mps\n" + "".join(f"{k / 10},{k % 9}\n" for k in range(99)))
    said = say("export", table, "--to", "gpx")
    assert (said.status, said.out, len(said.err.splitlines())) == (1, "", 1)
    assert "no point in it has a position" in said.err


def test_refused_logs_and_outputs(say, ride, tmp_path):
    taken = tmp_path / "taken.csv"
    taken.write_text("mine")
    for words, reason in (
        ([ride, "--out", taken], "exists already"),
        ([ride, "--out", ride, "--force"], "same file as the input"),
        ([ride, "--to", "xlsx"], "use one of csv, parquet, geojson, gpx"),
        ([tmp_path / "none.nmea"], "no such file"),
        ([tmp_path / "none.nmea", "--results"], "no such file"),
    ):
        said = say("export", *words)
        assert said.status in (1, 2)
        assert said.out == ""
        assert len(said.err.splitlines()) == 1
        assert reason in said.err
    assert taken.read_text() == "mine"
    assert say("export", ride, "--out", taken, "--force").status == 0
    assert taken.read_text().startswith("time_s,")
