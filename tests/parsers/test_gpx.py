"""GPX 1.0 and 1.1: what the schemas say, what loggers write all the same, and what must be refused."""

from datetime import UTC, datetime, timedelta, timezone
from random import Random
from xml.sax.saxutils import quoteattr

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from traceanalyze.errors import FormatError, LimitError
from traceanalyze.parsers.gpx import read_bytes, sniff
from traceanalyze.parsers.gpx.instants import read_instants
from traceanalyze.parsers.gpx.numbers import WIDEST, read_numbers
from traceanalyze.parsers.options import ReadOptions
from traceanalyze.trace import Source, Trace

POINT = '<trkpt lat="51.5" lon="-0.1"><time>2026-06-14T12:00:0{}Z</time>{}</trkpt>'


def read(text: str | bytes, **options: int) -> Trace:
    data = text.encode() if isinstance(text, str) else text
    return read_bytes(data, Source(path="x.gpx", format="gpx"), ReadOptions(**options))


def gpx(*points: str, root: str = "gpx") -> str:
    return f"<{root}><trk><trkseg>{''.join(points)}</trkseg></trk></{root}>"


def times(*texts: str) -> Trace:
    return read(gpx(*(f'<trkpt lat="51" lon="0"><time>{text}</time></trkpt>' for text in texts)))


def moments(*texts: bytes) -> list[tuple[int, int] | None]:
    joined = np.frombuffer(b"".join(texts), np.uint8)
    end = np.cumsum([len(text) for text in texts])
    found = read_instants(joined, end - [len(text) for text in texts], end)
    pairs = zip(found.second.tolist(), found.nanosecond.tolist(), strict=True)
    return [pair if known else None for pair, known in zip(pairs, found.known, strict=True)]


class TestSpeed:
    # GPX 1.0 (TopoGrafix 2002): trkpt holds ele, time, course, speed, ...; speed in m/s. 30 mph = 13.4112 m/s exactly,
    # by the international mile of 1609.344 m.
    def test_gpx_1_0_has_it_below_the_point(self) -> None:
        trace = read(gpx(POINT.format(0, "<speed>13.4112</speed>"), POINT.format(1, "<speed>0</speed>")))
        assert trace.speed_mps.tolist() == [13.4112, 0.0]
        assert trace.speed_source == "receiver"

    def test_gpx_1_1_with_the_element_of_1_0_is_common(self) -> None:
        text = gpx(POINT.format(0, "<speed>13.4112</speed>"))
        text = text.replace("<gpx>", '<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">')
        assert read(text).speed_mps.tolist() == [13.4112]

    # The extension schemas TrackPointExtension v2 and gpxdata name the element `speed`; prefixes are the writer's own
    @pytest.mark.parametrize(
        "extension",
        [
            "<gpxtpx:TrackPointExtension><gpxtpx:speed>7.25</gpxtpx:speed></gpxtpx:TrackPointExtension>",
            "<ns3:TrackPointExtension><ns3:hr>90</ns3:hr><ns3:speed>7.25</ns3:speed></ns3:TrackPointExtension>",
            '<TrackPointExtension xmlns="urn:x"><speed>7.25</speed></TrackPointExtension>',
            "<gpxdata:speed>7.25</gpxdata:speed>",
            "<speed>7.25</speed>",
            "<a:speed >7.25</a:speed >",
        ],
    )
    def test_any_extension_may_hold_it(self, extension: str) -> None:
        assert read(gpx(POINT.format(0, f"<extensions>{extension}</extensions>"))).speed_mps.tolist() == [7.25]

    def test_the_points_own_speed_wins_over_an_extension(self) -> None:
        extension = "<extensions><speed>9</speed></extensions>"
        trace = read(
            gpx(POINT.format(0, extension + "<speed>7</speed>"), POINT.format(1, "<speed>7</speed>" + extension))
        )
        assert trace.speed_mps.tolist() == [7.0, 7.0]

    def test_a_waypoints_or_metadata_speed_is_nobodys(self) -> None:
        stray = '<wpt lat="1" lon="2"><speed>99</speed></wpt><metadata><time>1999-01-01T00:00:00Z</time></metadata>'
        text = gpx(POINT.format(0, "")).replace("<gpx>", "<gpx>" + stray).replace("</gpx>", stray + "</gpx>")
        trace = read(text)
        assert np.isnan(trace.speed_mps).all()
        assert trace.speed_source == "positions"
        assert trace.utc_s(0) == datetime(2026, 6, 14, 12, tzinfo=UTC).timestamp()

    def test_acceleration_in_extensions_is_not_taken_for_speed(self) -> None:
        extension = '<extensions><acc:accel x="0.1" y="0" z="9.8"/><acc:speedometer>5</acc:speedometer></extensions>'
        assert np.isnan(read(gpx(POINT.format(0, extension))).speed_mps).all()

    @pytest.mark.parametrize(("text", "kind"), [("fast", "malformed"), ("nan", "malformed"), ("-3", "out_of_range")])
    def test_a_senseless_speed_is_counted_and_left_out(self, text: str, kind: str) -> None:
        trace = read(gpx(POINT.format(0, f"<speed>{text}</speed>"), POINT.format(1, "<speed>2</speed>")))
        assert trace.tally == {kind: 1}
        assert np.isnan(trace.speed_mps[0])
        assert trace.speed_mps[1] == 2.0

    def test_minus_one_is_a_phones_word_for_unknown(self) -> None:
        trace = read(gpx(POINT.format(0, "<speed>-1</speed><course>-1.0</course>")))
        assert np.isnan(trace.speed_mps[0])
        assert np.isnan(trace.course_deg[0])
        assert not trace.tally

    def test_an_empty_speed_is_missing_not_the_neighbours(self) -> None:
        trace = read(gpx(POINT.format(0, "<ele>5</ele><speed/>"), POINT.format(1, "<ele>6</ele><speed> </speed>")))
        assert np.isnan(trace.speed_mps).all()
        assert trace.altitude_m.tolist() == [5.0, 6.0]
        assert not trace.tally

    def test_a_text_split_by_elements_is_no_number(self) -> None:
        assert np.isnan(read(gpx(POINT.format(0, "7<speed><unit/></speed>"))).speed_mps).all()


class TestOtherFields:
    def test_all_of_them(self) -> None:
        fields = "<ele>-12.5</ele><course>359.9</course><fix>dgps</fix><sat>9</sat><hdop>0.8</hdop>"
        trace = read(gpx(POINT.format(0, fields)))
        assert (trace.altitude_m[0], trace.course_deg[0], trace.quality[0]) == (-12.5, 359.9, 2)
        assert (trace.satellites[0], trace.hdop[0]) == (9.0, 0.8)

    # GPX 1.1 fixType: none, 2d, 3d, dgps, pps; GGA's quality 1 GPS, 2 differential, 3 PPS
    @pytest.mark.parametrize(("fix", "quality"), [("2d", 1), ("3d", 1), ("dgps", 2), ("pps", 3), ("rtk?", -1)])
    def test_kinds_of_fix(self, fix: str, quality: int) -> None:
        assert read(gpx(POINT.format(0, f"<fix>{fix}</fix>"))).quality.tolist() == [quality]

    def test_a_point_without_fix_is_void(self) -> None:
        trace = read(gpx(POINT.format(0, "<fix>none</fix>"), POINT.format(1, "")))
        assert trace.points == 1
        assert trace.tally == {"void_fix": 1}

    def test_latitude_and_longitude_zero_mean_no_fix(self) -> None:
        void = '<trkpt lat="0.0" lon="0"><time>2026-06-14T12:00:05Z</time></trkpt>'
        assert read(gpx(POINT.format(0, ""), void)).tally == {"void_fix": 1}

    def test_elements_of_other_namespaces_are_not_the_points_own(self) -> None:
        trace = read(gpx(POINT.format(0, "<x:ele>99</x:ele><extensions><ele>98</ele></extensions>")))
        assert np.isnan(trace.altitude_m).all()


class TestPositions:
    @pytest.mark.parametrize(
        "lat", ["95", "nan", "inf", "-91", "1e999", "9_9", "٤٥", "0x2d", "", "45,5", "1..2", "--1"]
    )
    def test_a_bad_latitude_costs_that_point_only(self, lat: str) -> None:
        bad = f'<trkpt lat="{lat}" lon="0"><time>2026-06-14T12:00:05Z</time></trkpt>'
        trace = read(gpx(POINT.format(0, ""), bad, POINT.format(1, "")))
        assert trace.points == 2
        assert trace.tally == {"out_of_range" if lat in ("95", "-91") else "malformed": 1}

    @pytest.mark.parametrize(
        "attributes",
        ["lat='51.5' lon='-0.1'", 'lon="-0.1" lat="51.5"', ' lat = "51.5"\n\tlon\n=\n"-0.1" ',
         'id="3" lat="51.5" lon="-0.1"', 'lat="&#53;1.5" lon="&#x2d;0.1"', 'lat=" 51.5" lon="-0.1 "',
         'lat="+51.50" lon="-.1"', 'lat="5.15e1" lon="-1E-1"',
         'lat="51.500000000000000000000" lon="-0.10000000000000001"', 'n=">" lat="51.5" lon="-0.1"'],
    )  # fmt: skip
    def test_every_spelling_of_the_attributes(self, attributes: str) -> None:
        trace = read(gpx(f"<trkpt {attributes}><time>2026-06-14T12:00:00Z</time></trkpt>"))
        assert (trace.lat_deg[0], trace.lon_deg[0]) == (51.5, -0.1)
        assert not trace.tally

    @pytest.mark.parametrize(
        "attributes", ["", 'lat="51"', 'xlat="51" lon="0"', 'lat="" lon="0"', 'lat="&#x663;" lon="0"']
    )
    def test_a_point_without_position_is_malformed(self, attributes: str) -> None:
        bad = f"<trkpt {attributes}><time>2026-06-14T12:00:05Z</time></trkpt>"
        assert read(gpx(POINT.format(0, ""), bad)).tally == {"malformed": 1}


class TestTimes:
    # W3C XML Schema Part 2 (2004) 3.2.7: an offset is subtracted; 24:00:00 is the first instant of the next day
    @pytest.mark.parametrize(
        ("text", "same"),
        [
            ("2026-06-14T08:00:00.1-04:00", "2026-06-14T12:00:00.100Z"),
            ("2026-06-14T17:30:00+05:30", "2026-06-14T12:00:00Z"),
            ("2026-06-14T24:00:00Z", "2026-06-15T00:00:00Z"),
            ("2024-02-29T24:00:00.000Z", "2024-03-01T00:00:00Z"),
            ("2026-01-01T00:30:00+01:00", "2025-12-31T23:30:00Z"),
            ("2026-06-14 12:00:00z", "2026-06-14T12:00:00Z"),
            ("2026-06-14T14:00:00+0200", "2026-06-14T12:00:00Z"),
            ("2026-06-14T12:00:00.50000000000000000000Z", "2026-06-14T12:00:00.5Z"),
            ("2026-06-14T12:00:00", "2026-06-14T12:00:00Z"),
        ],
    )
    def test_equal_moments(self, text: str, same: str) -> None:
        one, other = moments(text.encode(), same.encode())
        assert one == other
        assert one is not None

    def test_unix_seconds(self) -> None:
        # 2026-06-14T12:00:00Z = 1781438400 (POSIX; also by datetime); 1901 lies before the epoch
        assert moments(b"2026-06-14T12:00:00.000000001Z") == [(1781438400, 1)]
        before = datetime(1901, 12, 13, 20, 45, 52, tzinfo=UTC).timestamp()
        assert moments(b"1901-12-13T20:45:52.2073437Z") == [(int(before), 207343700)]

    @pytest.mark.parametrize(
        "text",
        ["2026-02-29T12:00:00Z", "2100-02-29T12:00:00Z", "2026-13-01T00:00:00Z", "2026-00-01T00:00:00Z",
         "2026-06-31T00:00:00Z", "2026-06-00T00:00:00Z", "2026-06-14T25:00:00Z", "2026-06-14T24:00:01Z",
         "2026-06-14T24:00:00.5Z", "2026-06-14T12:60:00Z", "2026-06-14T12:00:61Z", "2026-06-14T12:00:60Z",
         "2026-06-14T12:00:00+14:01", "2026-06-14T12:00:00+01:60", "2026-06-14T12:00:00.Z", "0000-06-14T12:00:00Z",
         "2026-06-14T12:00Z", "20260614T120000Z", "14.06.2026 12:00:00", "2026-06-14T12:00:00 UTC", "2026-6-14T1:0:0Z",
         "٢٠٢٦-06-14T12:00:00Z"],
    )  # fmt: skip
    def test_no_moment(self, text: str) -> None:
        assert moments(text.encode()) == [None]

    def test_a_bad_time_costs_that_point_and_is_counted(self) -> None:
        trace = times("2026-06-14T12:00:00Z", "yesterday", "2026-06-14T12:00:01Z", "to&#100;ay", "today")
        assert trace.t_s.tolist() == [0.0, 1.0]
        assert trace.tally == {"malformed": 3}

    def test_a_missing_time_is_counted_as_such(self) -> None:
        trace = read(gpx(POINT.format(0, ""), '<trkpt lat="51" lon="0"/>', '<trkpt lat="51" lon="0"><time/></trkpt>'))
        assert trace.points == 1
        assert trace.tally == {"no_time": 2}

    def test_nanoseconds_of_a_long_log_survive(self) -> None:
        # a double near 1.8e9 s (Unix time) has steps of 240 ns; counted from the log's start 8 h make 4e-12 s
        trace = times("2026-06-14T00:00:00.000000000Z", "2026-06-14T08:00:00.123456789Z")
        assert trace.t_s[1] == 28800 + 123456789 / 1e9

    # Leap seconds so far fell on the ends of June and December: IERS Bulletin C; the last one was 2016-12-31T23:59:60Z
    def test_a_leap_second_is_a_second(self) -> None:
        trace = times("2016-12-31T23:59:59Z", "2016-12-31T23:59:60Z", "2017-01-01T00:00:00Z", "2017-01-01T00:00:01Z")
        assert trace.t_s.tolist() == [0.0, 1.0, 2.0, 3.0]

    def test_times_without_zone_are_remarked(self) -> None:
        assert [remark.code for remark in times("2026-06-14T12:00:00").remarks] == ["no-time-zone"]

    def test_one_time_for_all_points_is_refused(self) -> None:
        with pytest.raises(FormatError, match=r"all 3 points carry the same time \(2026-06-14T12:00:00"):
            times(*["2026-06-14T12:00:00Z"] * 3)

    @settings(max_examples=40, deadline=None)
    @given(
        st.lists(
            st.tuples(
                st.datetimes(datetime(1, 1, 2), datetime(9999, 12, 30)),
                st.none() | st.integers(-14 * 60, 14 * 60),
                st.integers(0, 9),
            ),
            min_size=1,
            max_size=60,
        )
    )
    def test_equal_to_the_standard_librarys_reading(self, rows: list[tuple[datetime, int | None, int]]) -> None:
        """Law: a moment is what `datetime.fromisoformat` reads, whatever its offset and number of decimals."""
        texts, expected = [], []
        for moment, offset_min, places in rows:
            zone = UTC if offset_min is None else timezone(timedelta(minutes=offset_min))
            whole = moment.replace(microsecond=0, tzinfo=zone)
            fraction = f".{moment.microsecond:06d}000"[: places + 1] if places else ""
            text = whole.isoformat()
            text = text[:19] + fraction + (text[19:] if offset_min is not None else "Z")
            texts.append(text.encode())
            seconds = (whole - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(seconds=1)
            expected.append((seconds, int(fraction[1:].ljust(9, "0")) if places else 0))
        assert moments(*texts) == expected

    def test_more_layouts_than_are_read_together(self) -> None:
        texts = [f"2026-06-14T12:00:00.{'1' * n}{zone}".encode() for n in range(1, 31) for zone in ("Z", "+00:00")]
        expected = [(1781438400, int(("1" * n).ljust(9, "0")[:9])) for n in range(1, 31) for _ in range(2)]
        assert moments(*texts, b"x" * 30) == [*expected, None]


class TestStructure:
    def test_each_segment_and_track_is_a_stretch(self) -> None:
        part = "<trkseg>{}</trkseg>"
        segments = (
            part.format(POINT.format(0, "") + POINT.format(1, "")) + part.format("") + part.format(POINT.format(5, ""))
        )
        text = f"<gpx><trk>{segments}</trk><trk>{part.format(POINT.format(7, ''))}</trk></gpx>"
        trace = read(text)
        assert trace.stretch.tolist() == [0, 0, 1, 2]
        assert trace.t_s.tolist() == [0.0, 1.0, 5.0, 7.0]

    @pytest.mark.parametrize(
        "text",
        [
            gpx(POINT.format(0, "<speed>3</speed>")),
            '<?xml version="1.0"?>\n' + gpx(POINT.format(0, "<speed>3</speed>")),
            '\n\n <?xml version="1.0"?>' + gpx(POINT.format(0, "<speed>3</speed>")),
            gpx(POINT.format(0, "<speed>3</speed>")).replace("<gpx>", '<gpx xmlns="urn:other">'),
            gpx(POINT.format(0, "<speed>3</speed>")).replace("<", "<g:").replace("<g:/", "</g:"),
            gpx(POINT.format(0, "<speed >\n 3\t</speed >").replace("</trkpt>", "</trkpt\n>")),
            gpx(POINT.format(0, f"<speed>{' ' * 500}3{' ' * 500}</speed>")),
            gpx(POINT.format(0, "<speed>&#51;</speed>").replace(">2026", ">&#x32;026")),
            gpx(POINT.format(0, "<speed><![CDATA[3]]></speed>").replace(">2026", "><![CDATA[20]]>26")),
            gpx("<!-- <trkpt> -- > -->" + POINT.format(0, "<!-- a > b --><speed>3</speed><?x <trkpt ?>")),
            gpx(POINT.format(0, "<desc>4 > 3 \"</desc><cmt a='\"' b='>'>!</cmt><speed unit='>'>3</speed>")),
            gpx("<name><![CDATA[<trkpt lat='1' lon='2'></trkpt> & ]]></name>" + POINT.format(0, "<speed>3</speed>")),
        ],
        ids=["bare", "declared", "blank lines first", "odd namespace", "prefixed", "spaced", "far spaced", "references",
             "cdata", "comments", "angle brackets", "a point in cdata"],
    )  # fmt: skip
    def test_legal_spellings_of_one_file(self, text: str) -> None:
        trace = read(text)
        assert (trace.points, trace.speed_mps[0], trace.lat_deg[0]) == (1, 3.0, 51.5)
        assert trace.utc_s(0) == 1781438400
        assert not trace.tally

    # XML 1.0 (fifth edition) 4.3.3 and F: byte order marks and declared encodings
    @pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "latin-1",
                                          "windows-1252", "koi8-r", "shift_jis", "us-ascii"])  # fmt: skip
    def test_encodings(self, encoding: str) -> None:
        name = "Я" if encoding == "koi8-r" else "表" if encoding == "shift_jis" else "x" if "ascii" in encoding else "é"
        text = f'<?xml version="1.0" encoding="{encoding.removesuffix("-sig")}"?>' + gpx(
            f"<name>{name}</name>", POINT.format(0, "")
        )
        trace = read(text.encode(encoding))
        assert trace.points == 1
        assert not trace.tally

    def test_utf_8_that_is_not(self) -> None:
        trace = read(gpx("<name>Müller</name>", POINT.format(0, "")).encode("latin-1"))
        assert trace.points == 1
        assert not trace.tally

    def test_utf_16_already_decoded_though_still_declared(self) -> None:
        assert read('<?xml version="1.0" encoding="UTF-16"?>' + gpx(POINT.format(0, ""))).points == 1

    @pytest.mark.parametrize("encoding", ["klingon", "utf-7", "cp037", "hex", "iso-2022-jp"])
    def test_unknown_encodings_are_named(self, encoding: str) -> None:
        with pytest.raises(FormatError, match=f"text encoding '{encoding}' is unknown"):
            read(f'<?xml version="1.0" encoding="{encoding}"?>' + gpx(POINT.format(0, "")))


class TestRefusals:
    @pytest.mark.parametrize(
        ("text", "match"),
        [
            ('<gpx><rte><rtept lat="1" lon="2"/></rte></gpx>', "a planned route, no recorded track"),
            ('<gpx><wpt lat="1" lon="2"/></gpx>', "waypoints, no recorded track"),
            ("<gpx></gpx>", "no track points"),
            ("<gpx><trk><trkseg>", "cut before any track point"),
            ("", "not GPX"),
            ("<kml><Placemark/></kml>", "XML, but not GPX"),
            ('<gpx><trk><trkseg><trkpt lat="1" lon="2">', "before its first track point ends"),
            (gpx('<trkpt lat="1" lon="2"/>'), "no point in it has a time"),
            (gpx('<trkpt lat="1" lon="x"/>', '<trkpt lat="0" lon="0"/>'), r"none of its 2 .*void_fix 1, malformed 1"),
            ('<!DOCTYPE gpx SYSTEM "x.dtd">' + gpx(POINT.format(0, "")), "declares a document type"),
        ],
    )
    def test_one_clear_line(self, text: str, match: str) -> None:
        with pytest.raises(FormatError, match=match) as refused:
            read(text)
        assert refused.value.advice
        assert "\n" not in str(refused.value)

    def test_deep_nesting(self) -> None:
        with pytest.raises(LimitError, match="nested more than 100 deep"):
            read(gpx(POINT.format(0, "<a>" * 98 + "</a>" * 98)))
        assert read(gpx(POINT.format(0, "<a>" * 96 + "</a>" * 96))).points == 1

    def test_long_text(self) -> None:
        with pytest.raises(LimitError, match="longer than 1 MB"):
            read(gpx(POINT.format(0, f"<cmt>{'x' * 1_000_001}</cmt>")))
        assert read(gpx(POINT.format(0, f"<cmt>{'x' * 999_000}</cmt>"))).points == 1

    def test_size(self) -> None:
        text = gpx(POINT.format(0, ""))
        with pytest.raises(LimitError, match="more than the 0 MB read of a GPX"):
            read(text, max_unpacked_bytes=len(text) - 1)
        assert read(text, max_unpacked_bytes=len(text)).points == 1


class TestSniff:
    @pytest.mark.parametrize(
        "head",
        ["<gpx>", '<?xml version="1.0"?><!-- x --><gpx version="1.1">', " \n<g:gpx xmlns:g='x'>",
         '<trkpt lat="1" lon="2">', '<?xml version="1.0"?>', '<?xml version="1.0"?><!-- ' + "x" * 70000],
    )  # fmt: skip
    def test_gpx(self, head: str) -> None:
        assert sniff(head.encode()[:65536])

    @pytest.mark.parametrize(
        "head", ["", "$GPRMC,", "time,speed\n", "<kml>", '<?xml version="1.0"?><kml>', "<html><!-- <gpx> -->", "gpx"]
    )
    def test_others(self, head: str) -> None:
        assert not sniff(head.encode())


number = st.decimals(-89, 89, places=7).map(str)
point = st.tuples(number, number, st.none() | st.decimals(0, 80, places=3).map(str))


@settings(max_examples=40, deadline=None)
@given(st.lists(point, min_size=1, max_size=40), st.randoms(use_true_random=False))
def test_what_is_written_is_read(points: list[tuple[str, str, str | None]], random: Random) -> None:
    """Law: every number comes back as `float` reads its text, in whatever order and white space it was written."""
    parts, blank = [], ["", " ", "\n\t", "<!-- > -->", "\r\n"]
    for second, (lat, lon, speed) in enumerate(points):
        attributes = [f"lat={quoteattr(lat)}", f"lon={quoteattr(lon)}"]
        random.shuffle(attributes)
        fields = [f"<time>2026-06-14T12:{second // 60:02d}:{second % 60:02d}Z</time>"]
        fields += [f"<speed>{speed}</speed>"] if speed is not None else []
        fields += [
            random.choice(["<ele>1</ele>", "<x/>", "<extensions><y:z a='<'/></extensions>".replace("<'", "&lt;'")])
        ]
        random.shuffle(fields)
        parts.append(f"<trkpt {' '.join(attributes)}>{random.choice(blank).join(fields)}</trkpt>{random.choice(blank)}")
    kept = [p for p in points if float(p[0]) or float(p[1])]  # zero and zero mean no fix
    assume(kept)
    trace = read(gpx(*parts))
    assert trace.lat_deg.tolist() == [float(p[0]) for p in kept]
    assert trace.lon_deg.tolist() == [float(p[1]) for p in kept]
    speeds = [float("nan") if p[2] is None else float(p[2]) for p in kept]
    np.testing.assert_array_equal(trace.speed_mps, speeds)


def texts_of_numbers() -> st.SearchStrategy[str]:
    plain = st.from_regex(r"[+-]?[0-9]{1,20}(\.[0-9]{0,20})?", fullmatch=True)
    return plain | st.floats(allow_nan=False, allow_infinity=False).map(repr)


@settings(max_examples=60, deadline=None)
@given(st.lists(texts_of_numbers(), min_size=1, max_size=50))
def test_numbers_are_those_of_float(texts: list[str]) -> None:
    """Law: any decimal text gives the double nearest to it, bit for bit, however long it is."""
    end = np.cumsum([len(text) for text in texts])
    block = np.frombuffer("".join(texts).encode() + bytes(WIDEST), np.uint8)
    found = read_numbers(block, end - [len(text) for text in texts], end)
    np.testing.assert_array_equal(found, [float(text) for text in texts])


def test_numbers_half_way_between_two_doubles() -> None:
    # 2^53 + 1 lies half way; ties go to even (IEEE 754-2019 4.3.1). The last three lie so near it that rounding
    # to 64 bits first puts them there, and then on the wrong side
    texts = ["9007199254740993", "9007199254740993.0", "90071992547409931e-1", "9007199254740992.99",
             "93.1456789242708183", "83.9712444068663828", "33.8113894074282193"]  # fmt: skip
    end = np.cumsum([len(text) for text in texts])
    block = np.frombuffer("".join(texts).encode() + bytes(WIDEST), np.uint8)
    assert read_numbers(block, end - [len(text) for text in texts], end).tolist() == [float(text) for text in texts]
