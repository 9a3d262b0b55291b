"""Every value of real NMEA logs against pynmea2, an NMEA library of another author; each intended difference listed.

The reference looks for sentences with a regular expression, checks them byte by byte, and lets pynmea2 read them. Its
rules: RMC of status A, GGA of quality 1 to 6 or 9, GNS with a mode that is a fix, GLL of status A; all with a time.
Both convert 1 kn = 1852 m/h, so speeds are equal to the last bit, as are positions and heights.
"""

from __future__ import annotations

import functools
import operator
import re
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pynmea2
import pytest

from traceanalyze import parsers
from traceanalyze.errors import FormatError
from traceanalyze.trace import Trace

_SENTENCE = re.compile(rb"\$([A-Z]{2}(RMC|GGA|GNS|GLL|VTG),[^$*\r\n!]*)\*([0-9A-Fa-f]{2})")

#: Logs in which every fix is marked void, so that they are refused: status V, quality 0, or 8 (simulator).
VOID = {
    "eXplorist110.log": 10,
    "garmin-geko201.log": 18,  # 10.8 kn of a simulator, status V, quality 8
    "skytraq.log": 17,
    "tn200.log": 19,
    "ublox-lea-5q.log": 10,
}
#: Times of day of valid RMC that are not used, and why.
NOT_USED = {
    "april6_2019.log": {151.099},  # its date reads 2208-1
}
#: What is damaged in these files, counted by eye: {kind: number}. All others are whole.
DAMAGED = {
    "april6_2019.log": {"malformed": 1},
    "firefly-II.log": {"checksum": 23},  # each GGA: its quality was taken out without a new checksum
    "garmin48.log": {"truncated": 1},  # line 84 ends in *7
    "gpsdf.log": {"checksum": 46},  # proprietary sentences that end in *00
    "isync.log": {"truncated": 1, "malformed": 1},  # a GSV in two pieces, another sentence between
    "triton400.log": {"truncated": 1},  # line 19
}
#: A cold start with cut and doubled lines: too many kinds of damage to count by eye.
COLD_START = "gp-320fw-2019-04-07-coldboot.log"


def _sentences(data: bytes) -> Iterator[tuple[str, Any]]:
    for found in _SENTENCE.finditer(data):
        if functools.reduce(operator.xor, found[1]) == int(found[3], 16):
            yield found[2].decode(), pynmea2.parse(found[0].decode(), check=True)


def _seconds(moment: Any) -> float:
    return round(moment.hour * 3600 + moment.minute * 60 + moment.second + moment.microsecond / 1e6, 6)


def _is_fix(kind: str, sentence: Any) -> bool:
    if kind == "RMC":
        return sentence.status == "A" and sentence.mode_indicator not in ("N", "S", "M")
    if kind == "GGA":
        return sentence.gps_qual in (1, 2, 3, 4, 5, 6, 9)
    if kind == "GNS":
        return any(letter in sentence.mode_indicator for letter in "ADEFPR")
    return kind == "GLL" and sentence.status == "A"


def _reference(data: bytes) -> dict[str, dict[float, set[Any]]]:
    """Return, by time of day, every speed [m/s], position [deg] and height [m] that valid sentences state."""
    values: dict[str, dict[float, set[Any]]] = {name: defaultdict(set) for name in ("speed", "position", "height")}
    for kind, sentence in _sentences(data):
        if not _is_fix(kind, sentence) or not sentence.timestamp:
            continue
        second = _seconds(sentence.timestamp)
        if kind == "RMC":
            values["speed"][second].add(float(sentence.spd_over_grnd) * (1852 / 3600))
        if kind == "GGA" and sentence.altitude is not None:
            values["height"][second].add(sentence.altitude)
        values["position"][second].add((sentence.latitude, sentence.longitude))
    return values


def _time_of_day_s(trace: Trace) -> np.ndarray:
    clock_s = trace.utc0_s[trace.stretch] if np.isfinite(trace.utc0_s[0]) else 0.0
    return np.round(np.mod(clock_s + trace.t_s, 86_400), 6)


def _logs(folder: Path) -> list[Path]:
    return sorted(folder.glob("gpsd_nmea/*.log")) + sorted(folder.glob("google_gmt/*.nmea"))


def test_every_value_of_every_log(open_data: Path) -> None:
    compared = 0
    for path in _logs(open_data):
        expected = _reference(path.read_bytes())
        if path.name in VOID:
            assert not expected["speed"], path.name
            with pytest.raises(FormatError, match=f"marked all {VOID[path.name]} as void"):
                parsers.read(path)
            continue
        trace = parsers.read(path)
        times = _time_of_day_s(trace)
        assert set(expected["speed"]) - set(times.tolist()) == NOT_USED.get(path.name, set()), path.name
        for k, second in enumerate(times.tolist()):
            if second in expected["speed"]:
                assert trace.speed_mps[k] in expected["speed"][second], (path.name, second)
                compared += 1
            if np.isfinite(trace.lat_deg[k]):
                assert (trace.lat_deg[k], trace.lon_deg[k]) in expected["position"][second], (path.name, second)
            if second in expected["height"] and np.isfinite(trace.altitude_m[k]):
                assert trace.altitude_m[k] in expected["height"][second], (path.name, second)
    assert compared > 2500  # 868 of the small logs, 1653 of the drive


def test_damage_is_counted_as_seen_by_eye(open_data: Path) -> None:
    for path in _logs(open_data):
        if path.name in VOID or path.name == COLD_START:
            continue
        expected = {"checksum": 13} if path.suffix == ".nmea" else DAMAGED.get(path.name, {})
        trace = parsers.read(path)
        damage = {kind: count for kind, count in trace.tally.items() if kind not in ("void_fix", "lone_position")}
        assert damage == expected, path.name
        assert trace.damaged is bool(expected)


def test_speeds_of_vtg_where_there_is_no_rmc(open_data: Path) -> None:
    # ericsson-gru04: GNS and VTG; hemi: GGA and VTG, twice a second
    for name, count in (("ericsson-gru04-02-70sec.log", 71), ("hemi.log", 21)):
        path = open_data / "gpsd_nmea" / name
        stated = [
            sentence.spd_over_grnd_kts
            for kind, sentence in _sentences(path.read_bytes())
            if kind == "VTG" and sentence.spd_over_grnd_kts is not None
        ]
        trace = parsers.read(path)
        assert trace.points == count
        assert trace.speed_mps.tolist() == [float(knots) * (1852 / 3600) for knots in stated[-count:]]


def test_a_drive_whose_rmc_checksums_are_all_wrong(open_data: Path) -> None:
    path = open_data / "google_gmt" / "MTV.Local1.SPAN.20200206-181434.gga"
    trace = parsers.read(path)
    # pynmea2 reads the same sentences when it is told to ignore checksums
    lines = [line for line in path.read_text().splitlines() if line.startswith("$GPRMC")]
    stated = [pynmea2.parse(line.split("*")[0]).spd_over_grnd for line in lines]
    assert trace.points == 1748
    assert trace.speed_mps.tolist() == [knots * (1852 / 3600) for knots in stated]
    assert not trace.tally
    assert [remark.code for remark in trace.remarks] == ["rmc-checksums"]


def test_the_receiver_of_the_same_drive_agrees(open_data: Path) -> None:
    folder = open_data / "google_gmt"
    receiver = parsers.read(folder / "MTV.Local1.ublox-F9K.20200206-181434.nmea")
    inertial = parsers.read(folder / "MTV.Local1.SPAN.20200206-181434.gga")
    start_s = receiver.utc0_s[0] - inertial.utc0_s[0]
    place = np.searchsorted(inertial.t_s, receiver.t_s + start_s - 1e-3)
    inside = (place < inertial.points) & (receiver.t_s + start_s >= 0)
    gap_mps = receiver.speed_mps[inside] - inertial.speed_mps[place[inside]]
    # the sets' makers built them to be compared; measured here 0.028 m/s, of which rounding to 0.1 kn makes 0.015.
    # 0.04 would fail if one of them were a second late (1 m/s^2 in traffic)
    assert np.std(gap_mps) < 0.04


QUIRKS = {
    # file: (points, stretches, remarks)
    "humminbird-M37.log": (33, 2, {"clock-went-back", "date-1024-weeks"}),  # line 85: 13 s back, the boat moving on
    "bt451.log": (14, 2, {"clock-went-back"}),  # line 119: two sessions joined
    "mtk-3301.log": (4, 1, set()),  # latitude 8960, year 1980, a line of 203 characters, three without checksum
    "quectel-l76k-dual.log": (130, 1, set()),  # binary between sentences
    "rst39.log": (41, 1, set()),  # GGA ten times a second, RMC once
    "april6_2019.log": (1, 1, {"date-1024-weeks"}),
    COLD_START: (2, 1, set()),
}


@pytest.mark.parametrize("name", QUIRKS)
def test_quirks(open_data: Path, name: str) -> None:
    points, stretches, codes = QUIRKS[name]
    trace = parsers.read(open_data / "gpsd_nmea" / name)
    assert trace.points == points
    assert trace.utc0_s.size == stretches
    assert {remark.code for remark in trace.remarks} == codes
    assert np.nanmax(np.abs(trace.lat_deg)) < 60
    assert np.nanmax(trace.speed_mps) < 17  # bt451: 59.8 km/h
