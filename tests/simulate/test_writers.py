"""Logs are read back by general parsers of other makers, value by value."""

import csv
import io
from datetime import UTC, datetime

import gpxpy
import numpy as np
import pynmea2
import pytest

from traceanalyze.errors import UsageError
from traceanalyze.simulate.damage import Faults, spoil, spoil_lines
from traceanalyze.simulate.machines import ConstantThrust, Vehicle
from traceanalyze.simulate.rides import Brake, Go, Wait, ride
from traceanalyze.simulate.sensors import AccelerometerUnit, Receiver, feel, receive
from traceanalyze.simulate.writers import GPX_SPEED_NAMESPACE, START_UTC_S, NmeaStyle, gpx, nmea, sentence, table

RUN = ride(Vehicle(drive=ConstantThrust(450.0)), [Wait(3.0), Go(lift_mps=12.0), Brake(), Wait(2.0)])
SEEN = receive(RUN, Receiver(rate_hz=5.0), np.random.default_rng(2))


def test_checksums_of_published_sentences():
    # gpsd, "NMEA Revealed" (E. S. Raymond): sentences as printed there
    assert sentence("GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,") == (
        b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n"
    )
    assert sentence("GPVTG,220.86,T,,M,2.550,N,4.724,K,A").endswith(b"*34\r\n")


def parsed(data):
    return [pynmea2.parse(line, check=True) for line in data.decode("ascii").split("\r\n") if line]


def test_nmea_read_by_a_general_parser():
    sentences = parsed(nmea(SEEN))
    rmc = [s for s in sentences if s.sentence_type == "RMC"]
    gga = [s for s in sentences if s.sentence_type == "GGA"]
    vtg = [s for s in sentences if s.sentence_type == "VTG"]
    assert len(rmc) == len(gga) == len(vtg) == SEEN.t_s.size
    # half a unit of the last decimal: 0.0005 kn = 0.00026 m/s; 5e-6 minutes of arc; 0.05 m
    np.testing.assert_allclose([s.spd_over_grnd * 1852 / 3600 for s in rmc], SEEN.speed_mps, atol=2.6e-4)
    np.testing.assert_allclose([s.latitude for s in rmc], SEEN.lat_deg, atol=0.51e-5 / 60)
    np.testing.assert_allclose([s.longitude for s in gga], SEEN.lon_deg, atol=0.51e-5 / 60)
    np.testing.assert_allclose([s.altitude for s in gga], SEEN.altitude_m, atol=0.0501)
    np.testing.assert_allclose([s.spd_over_grnd_kmph / 3.6 for s in vtg], SEEN.speed_mps, atol=2e-4)
    assert rmc[0].datetime == datetime(2026, 5, 17, 9, 0, 0, tzinfo=UTC)
    stamps = [s.datetime.timestamp() - START_UTC_S for s in rmc]
    np.testing.assert_allclose(stamps, SEEN.t_s, atol=1e-6)
    assert all(s.status == "A" for s in rmc)


def test_nmea_across_midnight_and_new_year():
    eve = datetime(2025, 12, 31, 23, 59, 59, 900_000, tzinfo=UTC).timestamp()
    first, second = [s for s in parsed(nmea(SEEN, eve)) if s.sentence_type == "RMC"][:2]
    assert str(first.datetime) == "2025-12-31 23:59:59.900000+00:00"
    assert str(second.datetime) == "2026-01-01 00:00:00.100000+00:00"


def test_styles_of_nmea():
    southern = SEEN.lat_deg * -1, SEEN.lon_deg * -1
    moved = type(SEEN)(
        **{name: getattr(SEEN, name) for name in SEEN.__slots__}
        | dict(zip(("lat_deg", "lon_deg"), southern, strict=True))
    )
    style = NmeaStyle(talker="GP", speed_decimals=1, minute_decimals=4, course=False)
    data = nmea(moved, style=style)
    assert b"VTG" not in data
    assert data.startswith(b"$GPRMC,090000.00,A,40")
    assert len(data.split(b",")[3]) == len("ddmm.mmmm")
    rmc = parsed(data)[0]
    assert rmc.lat_dir == "S"
    assert rmc.lon_dir == "E"
    assert len(data.split(b",")[7].split(b".")[1]) == 1
    odd = receive(RUN, Receiver(rate_hz=18.0), np.random.default_rng(2))
    assert b",090000.056," in nmea(odd)  # 1/18 s needs milliseconds


def test_minutes_never_round_to_sixty():
    edge = type(SEEN)(
        t_s=np.array([0.0]), lat_deg=np.array([41.9999999999]), lon_deg=np.array([0.0]), altitude_m=np.array([0.0]),
        speed_mps=np.array([0.0]), course_deg=np.array([359.999]), fix=np.array([True]),
    )  # fmt: skip
    data = nmea(edge)
    assert b"4200.00000,N" in data
    assert b",0.00," in data  # a course of 359.999 is north, not 360


def test_gpx_read_by_a_general_parser():
    track = gpxpy.parse(gpx(SEEN).decode())
    points = track.tracks[0].segments[0].points
    np.testing.assert_allclose([p.latitude for p in points], SEEN.lat_deg, atol=0.51e-8)
    np.testing.assert_allclose([p.elevation for p in points], SEEN.altitude_m, atol=0.0051)
    np.testing.assert_allclose([p.time.timestamp() - START_UTC_S for p in points], SEEN.t_s, atol=1e-6)
    speeds = [float(p.extensions[0].text) for p in points]
    assert points[0].extensions[0].tag == f"{{{GPX_SPEED_NAMESPACE}}}speed"
    np.testing.assert_allclose(speeds, SEEN.speed_mps, atol=0.0006)
    assert track.version == "1.1"


def test_gpx_without_speed_and_with_an_odd_name():
    data = gpx(SEEN, name="<a & b>", speed=False)
    track = gpxpy.parse(data.decode())
    assert track.tracks[0].name == "<a & b>"
    assert not track.tracks[0].segments[0].points[0].extensions
    assert b"speed" not in data


def test_csv_of_receiver_and_accelerometer():
    felt = feel(RUN, AccelerometerUnit(rate_hz=50.0, clock_offset_s=0.14), np.random.default_rng(1))
    rows = list(csv.DictReader(io.StringIO(table(SEEN, felt).decode())))
    receiver = [row for row in rows if row["speed_mps"]]
    forces = [row for row in rows if row["ax_mps2"]]
    assert len(receiver) == SEEN.t_s.size
    assert len(forces) == felt.t_s.size
    assert len(rows) == len(receiver) + len(forces)
    np.testing.assert_allclose([float(row["speed_mps"]) for row in receiver], SEEN.speed_mps, atol=5.1e-4)
    np.testing.assert_allclose([float(row["az_mps2"]) for row in forces], felt.force_mps2[:, 2], atol=5.1e-4)
    stamps = np.array([float(row["unix_time_s"]) for row in rows])
    assert (np.diff(stamps) >= 0).all()
    np.testing.assert_allclose([float(row["unix_time_s"]) - START_UTC_S for row in forces], felt.t_s, atol=1e-4)


def test_csv_of_one_instrument_alone():
    felt = feel(RUN, AccelerometerUnit(rate_hz=50.0), np.random.default_rng(1))
    assert table(SEEN).splitlines()[0] == b"unix_time_s,lat_deg,lon_deg,altitude_m,speed_mps,course_deg"
    assert table(None, felt).splitlines()[0] == b"unix_time_s,ax_mps2,ay_mps2,az_mps2"
    with pytest.raises(UsageError, match="a table of nothing"):
        table(None)


def test_faults_are_made_and_no_more_of_them_than_asked():
    long = ride(Vehicle(drive=ConstantThrust(450.0)), [Wait(30.0), Go(lift_mps=15.0), Brake(), Wait(60.0)])
    log = receive(long, Receiver(rate_hz=10.0), np.random.default_rng(2))
    gappy = spoil(log, Faults(gaps=2), np.random.default_rng(1))
    assert (np.diff(gappy.t_s) > 0.3).sum() == 2
    lost = spoil(log, Faults(lost_fixes=2), np.random.default_rng(1))
    assert 10 <= (~lost.fix).sum() <= 62
    spiked = spoil(log, Faults(spikes=3), np.random.default_rng(1))
    assert (np.abs(spiked.speed_mps - log.speed_mps) > 5).sum() == 3
    frozen = spoil(log, Faults(freezes=1), np.random.default_rng(1))
    assert 19 <= (np.diff(frozen.speed_mps) == 0).sum() <= 60


def test_damaged_lines_fail_their_checksums():
    data = nmea(SEEN)
    spoilt = spoil_lines(data, Faults(flipped=5, cut=4), np.random.default_rng(3))
    bad = 0
    for line in spoilt.decode("latin-1").split("\n")[:-1]:
        try:
            pynmea2.parse(line.rstrip("\r"), check=True)
        except (pynmea2.ParseError, ValueError):
            bad += 1
    assert bad == 9
    assert spoil_lines(data, Faults(), np.random.default_rng(3)) == data


def test_lost_fixes_are_written_as_such():
    lost = spoil(SEEN, Faults(lost_fixes=1), np.random.default_rng(1))
    sentences = parsed(nmea(lost))
    void = [s for s in sentences if s.sentence_type == "RMC" and s.status == "V"]
    assert len(void) == (~lost.fix).sum() > 0
    assert all(s.spd_over_grnd is None and not s.lat for s in void)
    zero = [s for s in sentences if s.sentence_type == "GGA" and s.gps_qual == 0]
    assert len(zero) == len(void)
    assert len(gpxpy.parse(gpx(lost).decode()).tracks[0].segments[0].points) == lost.fix.sum()
