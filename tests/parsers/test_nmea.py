"""What NMEA sentences say, against published examples; and that how they are wrapped does not matter."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.parsers.nmea_logs import gga, read_lines, read_log, ride, rmc, sentence, stamp, vtg
from traceanalyze.errors import FormatError
from traceanalyze.parsers import nmea
from traceanalyze.trace import Trace

# Published examples, checksums included: E. S. Raymond, NMEA Revealed (gpsd, www/NMEA.adoc), sections of each type;
# the last two RMC are the classic examples of many introductions to NMEA 0183.
GNRMC = b"$GNRMC,001031.00,A,4404.13993,N,12118.86023,W,0.146,,100117,,,A*7B\r\n"
GNGGA = b"$GNGGA,001043.00,4404.14036,N,12118.85961,W,1,12,0.98,1113.0,M,-21.3,M*47\r\n"
GPVTG = b"$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34\r\n"
GPGNS = b"$GPGNS,112257.00,3844.24011,N,00908.43828,W,AN,03,10.5,,*57\r\n"
GPGST = b"$GPGST,182141.000,15.5,15.3,7.2,21.8,0.9,0.5,0.8*54\r\n"
GNGSA = b"$GNGSA,A,3,80,71,73,79,69,,,,,,,,1.83,1.09,1.47*17\r\n"
GPZDA = b"$GPZDA,160012.71,11,03,2004,-1,00*7D\r\n"
GPGGA = b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n"
OLD_RMC = b"$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68\r\n"
CLASSIC_RMC = b"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A\r\n"
# Published examples whose checksums are wrong (the same page; the RMC in the documentation of a general parser).
WRONG = (
    b"$GPRMC,225446.33,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E,A*68\r\n",
    b"$GPBOD,099.3,T,105.6,M,POINTB*01\r\n",
    b"$PGRME,15.0,M,45.0,M,25.0,M*22\r\n",
)
KNOT = 1852 / 3600  # m/s, exact definition of the knot


def same(one: Trace, other: Trace) -> bool:
    """Whether two traces hold the same values."""
    names = ("t_s", "speed_mps", "lat_deg", "lon_deg", "altitude_m", "course_deg", "hdop", "satellites", "quality")
    return all(np.array_equal(getattr(one, name), getattr(other, name), equal_nan=True) for name in names)


def test_published_rmc_with_empty_course() -> None:
    trace = read_log(GNRMC)
    # 44 deg 04.13993' and 121 deg 18.86023', by hand; 1e-12 is rounding
    assert trace.lat_deg[0] == pytest.approx(44 + 4.13993 / 60, abs=1e-12)
    assert trace.lon_deg[0] == pytest.approx(-121 - 18.86023 / 60, abs=1e-12)
    assert trace.speed_mps[0] == 0.146 * KNOT
    assert np.isnan(trace.course_deg[0])
    assert trace.utc_s(0) == 1484007031.0  # date -u -d '2017-01-10 00:10:31' +%s
    assert trace.quality[0] == 1  # FAA mode A


def test_published_rmc_before_modes_existed() -> None:
    trace = read_lines([OLD_RMC])
    assert trace.speed_mps[0] == 0.5 * KNOT
    assert trace.course_deg[0] == 54.7
    assert (trace.lat_deg[0], trace.lon_deg[0]) == (49 + 16.45 / 60, -(123 + 11.12 / 60))
    assert trace.quality[0] == -1
    assert [remark.code for remark in trace.remarks] == ["old-date"]


def test_published_rmc_and_gga_are_one_epoch() -> None:
    trace = read_lines([CLASSIC_RMC, GPGGA])
    assert trace.points == 1
    assert trace.speed_mps[0] == pytest.approx(11.523556, abs=5e-7)  # 22.4 kn by definition of the knot
    assert trace.lat_deg[0] == pytest.approx(48.1173, abs=1e-12)
    assert trace.lon_deg[0] == pytest.approx(11.516666666667, abs=1e-12)
    assert (trace.altitude_m[0], trace.hdop[0], trace.satellites[0], trace.quality[0]) == (545.4, 0.9, 8, 1)


def test_published_gga_without_its_last_fields_gives_a_position_without_speed() -> None:
    trace = read_log(GNGGA)
    assert trace.speed_source == "positions"
    assert (trace.altitude_m[0], trace.satellites[0], trace.hdop[0]) == (1113.0, 12, 0.98)
    assert np.isnan(trace.speed_mps[0])
    assert np.isnan(trace.utc0_s[0])


def test_published_vtg_gives_the_speed_that_gga_lacks() -> None:
    trace = read_lines([GNGGA, GPVTG])
    assert trace.speed_mps[0] == 2.550 * KNOT  # knots, not the rounded 4.724 km/h, which are 1.3122 m/s
    assert trace.course_deg[0] == 220.86


@pytest.mark.parametrize("copies", [1, 40])
def test_vtg_of_the_old_form_and_without_knots(copies: int) -> None:
    def speeds(body: str) -> list[float]:
        lines = (line for k in range(copies) for line in (gga(stamp(36_000 + k)), sentence(body)))
        return read_lines(lines).speed_mps.tolist()

    assert speeds("GPVTG,220.9,207.0,002.6,004.7") == [2.6 * KNOT] * copies
    assert speeds("GPVTG,,T,,M,,N,4.724,K,A") == pytest.approx([4.724 / 3.6] * copies)


@pytest.mark.parametrize("copies", [1, 40])
def test_heights_below_the_sea(copies: int) -> None:
    # -30.00 as ac12.log of gpsd's test/daemon has it, -0028 as triton400.log
    for text, height_m in (("-30.00", -30.0), ("-0028", -28.0), ("-0.5", -0.5), ("-5", -5.0), ("", np.nan)):
        trace = read_lines(gga(stamp(36_000 + k), height=text) for k in range(copies))
        assert trace.altitude_m.tolist() == pytest.approx([height_m] * copies, nan_ok=True)
    assert dict(read_lines([rmc("090000.00"), *[gga("100000.00", height="-")] * copies]).tally) == {"malformed": copies}


def test_published_gns_with_one_mode_for_each_constellation() -> None:
    trace = read_log(GPGNS)
    assert trace.lat_deg[0] == pytest.approx(38 + 44.24011 / 60, abs=1e-12)
    assert (trace.quality[0], trace.satellites[0], trace.hdop[0]) == (1, 3, 10.5)
    assert np.isnan(trace.altitude_m[0])


@pytest.mark.parametrize(("modes", "quality"), [("AN", 1), ("DA", 2), ("NRA", 4), ("FF", 5), ("E", 6), ("AAAAN", 1)])
def test_the_best_constellation_of_gns_counts(modes: str, quality: int) -> None:
    assert read_log(sentence(f"GNGNS,112257.00,3844.2,N,00908.4,W,{modes},03,10.5,,")).quality[0] == quality


def test_gsa_gives_the_dilution_that_rmc_lacks_and_zda_the_date_that_gga_lacks() -> None:
    assert read_lines([OLD_RMC, GNGSA]).hdop[0] == 1.09
    trace = read_lines([sentence("GPGGA,160012.71,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,"), GPZDA])
    assert trace.utc_s(0) == pytest.approx(1079020812.71 + 7168 * 86400, abs=1e-6)  # 2004-03-11, 1024 weeks on


def test_gst_is_known_and_holds_nothing_a_trace_keeps() -> None:
    assert not read_lines([GNRMC, GPGST]).tally


@pytest.mark.parametrize("line", WRONG)
def test_published_examples_with_wrong_checksums_are_never_used(line: bytes) -> None:
    trace = read_lines([GNRMC, line])
    assert trace.points == 1
    assert dict(trace.tally) == {"checksum": 1}


@pytest.mark.parametrize("talker", ["GP", "GN", "GL", "GA", "GB", "BD", "QZ", "GQ", "PQ", "GI", "II", "IN"])
def test_any_talker(talker: str) -> None:
    trace = read_log(sentence(f"{talker}RMC,120000.00,A,5100.00,N,00030.00,E,10.0,90.0,170526,,,A"))
    assert trace.speed_mps[0] == 10 * KNOT


def test_checksums_in_small_letters() -> None:
    assert same(read_log(GNRMC.replace(b"*7B", b"*7b")), read_log(GNRMC))


@pytest.mark.parametrize(
    "line",
    [
        rmc("120000.00", status="V"),
        rmc("120000.00", mode="N"),
        rmc("120000.00", mode="S"),
        rmc("120000.00", mode="M"),
        gga("120000.00", quality="0"),
        gga("120000.00", quality="7"),
        gga("120000.00", quality="8"),
        gga("120000.00", quality=""),
        sentence("GPRMC,,V,,,,,,,,,,N"),
        sentence("GNGNS,120000.00,3844.2,N,00908.4,W,NNN,03,10.5,,"),
        sentence("GPGLL,3844.2,N,00908.4,W,120000.00,V,N"),
        sentence("GPRMC,235946.005,V,8960.000000,N,00000.000000,E,0.000,0.00,050180,,,N"),
    ],
)
def test_what_says_itself_that_it_is_no_fix_is_void(line: bytes) -> None:
    trace = read_lines([rmc("115959.00"), line])
    assert trace.points == 1
    assert dict(trace.tally) == {"void_fix": 1}


def test_a_void_epoch_counts_once_whatever_it_consists_of() -> None:
    void = [rmc("120001.00", status="V", mode="N"), gga("120001.00", quality="0"), vtg("", mode="N")]
    blank = [sentence("GPRMC,,V,,,,,,,,,,N"), sentence("GPGGA,,,,,,0,00,99.99,,,,,,")]
    trace = read_lines([rmc("120000.00"), *void, *blank, *blank, rmc("120004.00")])
    assert dict(trace.tally) == {"void_fix": 3}
    assert trace.speed_mps.tolist() == [10 * KNOT] * 2


def test_no_speed_is_taken_from_vtg_while_rmc_says_void() -> None:
    trace = read_lines([rmc("120000.00", status="V", mode="N"), gga("120000.00"), vtg("10.8")])
    assert np.isnan(trace.speed_mps[0])
    assert trace.lat_deg[0] == 51
    assert dict(trace.tally) == {"void_fix": 1}


def test_nothing_but_void_fixes_is_refused_with_their_number() -> None:
    with pytest.raises(FormatError, match=r"no valid fix in it: the receiver marked all 2 as void; wait"):
        read_lines([rmc("120000.00", status="V"), rmc("120001.00", status="V")])


@pytest.mark.parametrize(
    ("body", "kind"),
    [
        ("GPRMC,120000.00,A,5100.0,N,00030.0,E,nan,90.0,170526,,,A", "malformed"),
        ("GPRMC,120000.00,A,5100.0,N,00030.0,E,inf,90.0,170526,,,A", "malformed"),
        ("GPRMC,120000.00,A,5100.0,N,00030.0,E,-12,90.0,170526,,,A", "malformed"),
        ("GPRMC,120000.00,A,5100.0,N,00030.0,E,9_9,90.0,170526,,,A", "malformed"),
        ("GPRMC,120000.00,A,5100.0,N,00030.0,E,1e3,90.0,170526,,,A", "malformed"),
        ("GPRMC,120000.00,A,5100.0,N,00030.0,E, 12,90.0,170526,,,A", "malformed"),
        ("GPRMC,120000.00,A,5100.0,N,00030.0,E,1.2.3,90.0,170526,,,A", "malformed"),
        ("GPRMC,120000.00,A,5100.0,N,00030.0,E,.,90.0,170526,,,A", "malformed"),
        ("GPRMC,120000.00,A,5100.0,N,00030.0,E,123456789.0,90.0,170526,,,A", "malformed"),
        ("GPRMC,120000.00,A,5100.0,X,00030.0,E,10.0,90.0,170526,,,A", "malformed"),
        ("GPRMC,120000.00,A,,,00030.0,E,10.0,90.0,170526,,,A", "malformed"),
        ("GPRMC,120000.00,A,5100.0,N,00030.0,E,10.0,90.0,1705,,,A", "malformed"),
        ("GPRMC,120000.00,A,5100.0,N,00030.0,E,10.0,90.0,2208-1,,,A", "malformed"),
        ("GPRMC,120000.00,A,5100.0,N,00030.0,E,10.0,90.0,310226,,,A", "malformed"),
        ("GPRMC,12000.00,A,5100.0,N,00030.0,E,10.0,90.0,170526,,,A", "malformed"),
        ("GPRMC,120000.00,B,5100.0,N,00030.0,E,10.0,90.0,170526,,,A", "malformed"),
        ("GPRMC,120000.00,A,5100.0,N,00030.0,E,10.0", "malformed"),
        ("GPGGA,120000.00,5100.0,N,00030.0,E,1,08,0.9,100.0,F,47.0,M,,", "malformed"),
        ("GPGGA,120000.00,5100.0,N,00030.0,E,1,08,0.9,--1.0,M,47.0,M,,", "malformed"),
        ("GPRMC,240000.00,A,5100.0,N,00030.0,E,10.0,90.0,170526,,,A", "out_of_range"),
        ("GPRMC,120060.00,A,5100.0,N,00030.0,E,10.0,90.0,170526,,,A", "out_of_range"),
        ("GPRMC,126000.00,A,5100.0,N,00030.0,E,10.0,90.0,170526,,,A", "out_of_range"),
        ("GPRMC,120000.00,A,5160.0,N,00030.0,E,10.0,90.0,170526,,,A", "out_of_range"),
        ("GPRMC,120000.00,A,9000.1,N,00030.0,E,10.0,90.0,170526,,,A", "out_of_range"),
        ("GPRMC,120000.00,A,5100.0,N,18000.1,E,10.0,90.0,170526,,,A", "out_of_range"),
        ("GPRMC,120000.00,A,5100.0,N,00030.0,E,10.0,361.0,170526,,,A", "out_of_range"),
    ],
)
def test_a_sentence_with_one_wrong_field_is_left_out_whole(body: str, kind: str) -> None:
    # read alone, and as one of many of the same form: both ways of reading know the same rules
    assert dict(read_lines([rmc("115959.00"), sentence(body)]).tally) == {kind: 1}
    trace = read_lines([rmc("115959.00"), *[sentence(body)] * 40])
    assert dict(trace.tally) == {kind: 40}
    assert trace.points == 1


@pytest.mark.parametrize(
    ("body", "kind"),
    [
        ("GPVTG,090.0,T,,M,10.0,K,,K,A", "malformed"),
        ("GPVTG,090.0,T,,M,nan,N,,K,A", "malformed"),
        ("GPVTG,090.0,T,,M,10.0", "malformed"),
        ("GPVTG,361.0,T,,M,10.0,N,,K,A", "out_of_range"),
    ],
)
def test_a_vtg_with_one_wrong_field_states_no_speed(body: str, kind: str) -> None:
    trace = read_lines([gga("115959.00"), sentence(body), gga("120000.00"), vtg()])
    assert dict(trace.tally) == {kind: 1}
    assert np.isnan(trace.speed_mps[0])
    assert trace.speed_mps[1] == 10 * KNOT


def test_vtg_far_on_in_a_log_is_read_where_rmc_is_lost() -> None:
    lines = ride(3000)
    lost = [2000, 2001, 2999]
    trace = read_lines(line for k, line in enumerate(lines) if k % 3 or k // 3 not in lost)
    assert same(trace, read_lines(lines))


def test_arabic_digits_are_no_digits() -> None:
    body = "GPRMC,120000.00,A,5100.0,N,00030.0,E,\u0661\u0660.0,90.0,170526,,,A"
    assert dict(read_lines([rmc("115959.00"), sentence(body)]).tally) == {"malformed": 1}


@settings(deadline=None)
@given(
    whole=st.integers(0, 9999),
    places=st.integers(0, 12),
    part=st.integers(0, 10**12 - 1),
    copies=st.sampled_from([1, 30]),
)
def test_a_decimal_is_what_python_reads(whole: int, places: int, part: int, copies: int) -> None:
    # pure Python's float() is the reference; equality is exact up to 15 digits, and one rounding more beyond
    text = f"{whole}.{part:012d}"[: len(str(whole)) + 1 + places] if places else f"{whole}"
    trace = read_lines([rmc(stamp(36_000 + k, 0), knots=text) for k in range(copies)])
    assert trace.speed_mps == pytest.approx(float(text) * KNOT, rel=0 if len(text) <= 16 else 3e-16, abs=0)


WRAPPINGS = {
    "line feeds only": lambda line: line.replace(b"\r\n", b"\n"),
    "carriage returns only": lambda line: line.replace(b"\r\n", b"\r"),
    "two carriage returns": lambda line: line.replace(b"\r\n", b"\r\r\n"),
    "a time stamp before": lambda line: b"2026-05-17 09:00:00.123 " + line,
    "a wrapping dialect": lambda line: b"NMEA," + line.replace(b"\r\n", b",1779008400123\r\n"),
    "spaces after": lambda line: line.replace(b"\r\n", b"  \r\n"),
    "tag blocks": lambda line: b"\\s:station,c:1577836800*31\\" + line,
    "binary before": lambda line: b"\xb5b\x01\x07\x5c\x00\x10\xff$\x00*1,\x0a\xfe" + line,
    "no line ends": lambda line: line.replace(b"\r\n", b""),
    "blank lines between": lambda line: line + b"\r\n\r\n",
    "a line of another program between": lambda line: b"Raw,123,456,7.5\r\n" + line,
    "ships between": lambda line: line + b"!AIVDM,1,1,,B,13aGhtw0R<OJf=6LgQ?Ad1FF05`L,0*24\r\n",
    "proprietary sentences between": lambda line: line + b"$PMTK010,001*2E\r\n",
    "comments between": lambda line: line + b"# $GPRMC,120000.00,V is void, $GPGGA,1*00 is not read\r\n",
}


@pytest.mark.parametrize("wrapped", WRAPPINGS.values(), ids=WRAPPINGS.keys())
def test_what_stands_around_sentences_does_not_matter(wrapped) -> None:
    lines = ride(60)
    trace = read_lines(map(wrapped, lines))
    assert same(trace, read_lines(lines))
    assert trace.points == 60
    assert not trace.tally


def test_lines_longer_than_a_block_and_blocks_of_many_lines() -> None:
    lines = ride(9000)  # 1.7 MB, with 3 MB of one line without end between: more than one block
    trace = read_lines([*lines[:13_500], b"\x00" * 3_000_000, *lines[13_500:]])
    assert same(trace, read_lines(lines))
    assert (trace.speed_mps / KNOT).tolist() == pytest.approx([k % 97 / 4 for k in range(9000)], abs=1e-12)


def test_more_layouts_of_one_length_than_are_sorted() -> None:
    # latitude and longitude with 1 to 12 decimals each, 13 in all: twelve layouts, thirty lines each
    lines, lats, lons = [], [], []
    for places in range(1, 13):
        for k in range(30):
            lat, lon = f"0.{k + 1:0{places}d}"[: places + 2], f"0.{'7' * (13 - places)}"
            time = stamp(36_000 + len(lines), 0)
            lines.append(sentence(f"GPRMC,{time},A,510{lat},N,0003{lon},E,10.0,090.0,170526,,,A"))
            lats.append(51 + float(lat) / 60)
            lons.append((30 + float(lon)) / 60)
    trace = read_lines(lines)
    assert trace.points == 360
    assert trace.lat_deg == pytest.approx(np.array(lats), abs=1e-13)  # rounding of 51 is 7e-15
    assert trace.lon_deg == pytest.approx(np.array(lons), abs=1e-13)


def test_sniffing() -> None:
    assert nmea.sniff(b"# a comment\r\n" + GNRMC) == 1.0
    assert nmea.sniff(b"\x00" * 999 + GNRMC) == 1.0
    assert nmea.sniff(b"$GPRMC,120000,A,51,N\r\n$GPRMC,120001,A,51,N\r\n") > 0
    assert nmea.sniff(b"time,speed\r\n1,2\r\n") == 0
    assert nmea.sniff(b"") == 0
    assert nmea.sniff(b"prices rose by $US 5, $CAN 6*\r\n") == 0


def test_a_log_of_ships_only_is_refused_in_one_line() -> None:
    with pytest.raises(FormatError, match="no position or speed with a time; switch on RMC and GGA"):
        read_log(b"!AIVDM,1,1,,B,13aGhtw0R<OJf=6LgQ?Ad1FF05`L,0*24\r\n")


def test_speeds_that_disagree_are_remarked() -> None:
    lines = [line for k in range(20) for line in (rmc(stamp(36_000 + k)), vtg("12.0"))]
    trace = read_lines(lines)
    assert [remark.code for remark in trace.remarks] == ["speeds-differ"]
    assert trace.speed_mps[0] == 10 * KNOT
