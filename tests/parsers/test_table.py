"""Tables as loggers, phones and spreadsheets write them; what is taken for what, and what is refused."""

from collections.abc import Callable

import numpy as np
import pytest

from traceanalyze.errors import FormatError, LimitError, UsageError
from traceanalyze.parsers.options import ReadOptions
from traceanalyze.parsers.table import read_bytes, sniff
from traceanalyze.parsers.table.words import meaning
from traceanalyze.trace import Source, Trace, utc_text

MPH, KMH, KNOT = 0.44704, 1 / 3.6, 1852 / 3600  # m/s, exact: international mile and nautical mile (NIST SP 811)
G_MPS2 = 9.80665  # exact, CGPM 1901
N = 40
SPEED = np.maximum(0, (np.arange(N) - 10) * 0.3).round(2)


def read(text: str | bytes, **options: object) -> Trace:
    data = text.encode() if isinstance(text, str) else text
    return read_bytes(data, Source(path="x.csv"), ReadOptions(**options))


def table(header: str, row: Callable[[int], str], rows: int = N, end: str = "\n") -> str:
    return end.join([header, *(row(k) for k in range(rows))]) + end


def plain(k: int) -> str:
    return f"{k / 10:.1f},{SPEED[k]:.2f}"


def guess(trace: Trace) -> str:
    return next(remark.text for remark in trace.remarks if remark.code == "columns-guessed")


PLAIN = table("time_s,speed_mps", plain)


class TestDialects:
    @pytest.mark.parametrize(
        "text",
        [
            PLAIN,
            PLAIN.replace(",", ";"),
            PLAIN.replace(",", "\t"),
            PLAIN.replace(",", " | "),
            PLAIN.replace(",", "    ").replace("\n", "  \n   "),
            PLAIN.replace(",", ";").replace(".", ","),
            PLAIN.replace(",", "\t").replace(".", ","),
            PLAIN.replace("\n", "\r\n"),
            PLAIN.replace("\n", "\r"),
            "\ufeff" + PLAIN,
            "sep=;\n" + PLAIN.replace(",", ";"),
            "# a logger\n% of some kind\n// version 2\n\n" + PLAIN,
            "Recorder,v2\nSerial,0017\n\n" + PLAIN,
            PLAIN.replace("\n", "\n\n"),
            PLAIN.replace("2.0,3.00\n", "2.0,3.00\n# pause, here\ntime_s,speed_mps\n"),
            "\n".join(",".join(f'"{cell}"' for cell in line.split(",")) for line in PLAIN.split("\n")[:-1]) + "\n",
            "# " + PLAIN,
            PLAIN.replace("time_s,speed_mps", "time,speed\ns,m/s"),
            PLAIN.replace("time_s,speed_mps", "time,speed\n[s],[m/s]"),
            PLAIN.replace("\n", ",\n"),
            PLAIN.replace("\n", ",\n").replace("speed_mps,", "speed_mps"),
            PLAIN.replace(",", "\0,", 0) + "\0\0\0\0\0",
        ],
    )
    def test_all_read_the_same(self, text: str) -> None:
        trace = read(text)
        assert trace.t_s == pytest.approx(np.arange(N) / 10, abs=1e-9)
        assert trace.speed_mps.tolist() == SPEED.tolist()
        assert not trace.damaged

    def test_quoted_numbers_with_decimal_commas(self) -> None:
        text = "\n".join(
            ",".join(f'"{c}"' for c in line.split(",")).replace(".", ",") for line in PLAIN.split("\n")[:-1]
        )
        assert read(text + "\n").speed_mps.tolist() == SPEED.tolist()

    def test_latin_1_names(self) -> None:
        trace = read(table("time_s;speed_mps;höhe_m", lambda k: plain(k).replace(",", ";") + ";12.5").encode("latin-1"))
        assert trace.altitude_m.tolist() == [12.5] * N

    def test_both_decimal_signs_are_refused(self) -> None:
        with pytest.raises(FormatError, match="decimal points and with decimal commas"):
            read(table("time_s;speed_mps", lambda k: f"{k / 10:.1f};{k},25"))

    def test_decimal_commas_between_commas_are_refused(self) -> None:
        with pytest.raises(FormatError, match=r"names 2 columns but the rows hold 4 cells.*semicolons"):
            read(table("time_s,speed_mps", lambda k: f"{k},1,{k},25"))

    def test_a_comma_with_three_digits_is_a_thousands_separator_unless_others_say_decimal(self) -> None:
        with pytest.raises(FormatError, match=r"'1,000.5' in column 'speed_mps'.*thousands"):
            read(table("time_s,speed_mps", lambda k: f'{k / 10:.1f},"1,{k:03d}.5"'))
        assert read(table("time_s;speed_mps", lambda k: f"{k};0,{k:03d}")).speed_mps[5] == 0.005

    def test_repeated_headers_are_counted(self) -> None:
        trace = read(PLAIN.replace("2.0,3.00\n", "2.0,3.00\ntime_s,speed_mps\n"))
        assert trace.tally == {"repeated_header": 1}


class TestDamage:
    def test_longer_and_shorter_rows_are_counted_never_shifted(self) -> None:
        text = PLAIN.replace("2.0,3.00\n", "2.0,3.00,9\n").replace("3.0,6.00\n", "3.0\n")
        trace = read(text)
        assert trace.tally["malformed"] == 2
        assert trace.points == N - 2
        assert set(trace.speed_mps) <= set(SPEED)

    def test_an_open_quote_costs_its_line_only(self) -> None:
        trace = read(PLAIN.replace("2.0,3.00\n", '2.0,"3.00\n'))
        assert trace.tally["malformed"] == 1
        assert trace.points == N - 1

    @pytest.mark.parametrize("cell", ["3.0.0", "abc", "3,0x", "1e999", "--3"])
    def test_an_unreadable_cell_costs_its_row(self, cell: str) -> None:
        trace = read(PLAIN.replace("2.0,3.00\n", f'2.0,"{cell}"\n'))
        assert trace.points == N - 1
        assert trace.tally["malformed"] == 1

    @pytest.mark.parametrize("cell", ["", "NaN", "null", "-"])
    def test_a_blank_cell_is_no_damage(self, cell: str) -> None:
        trace = read(PLAIN.replace("2.0,3.00\n", f"2.0,{cell}\n"))
        assert np.isnan(trace.speed_mps[20])
        assert trace.points == N
        assert not trace.damaged

    def test_the_last_line_without_its_end_is_kept_only_if_whole(self) -> None:
        assert read(PLAIN[:-1]).points == N  # two decimals like all before it: nothing can be missing
        for cut in range(2, 9):
            trace = read(PLAIN[:-cut])
            assert trace.points == N - 1
            assert trace.tally["truncated"] == 1

    def test_every_cut_gives_a_part_or_our_error(self) -> None:
        text = table("time_s,speed_mps,lat,lon", lambda k: plain(k) + f",{50 + k / 1e5:.5f},8.00000", 12)
        whole = read(text)
        for cut in range(len(text)):
            try:
                part = read(text[:cut])
            except FormatError:
                continue
            assert part.t_s.tolist() == whole.t_s[: part.points].tolist()
            assert part.speed_mps.tolist() == whole.speed_mps[: part.points].tolist()

    def test_empty_rows_hold_nothing(self) -> None:
        trace = read(PLAIN + ",\n,\n")
        assert trace.points == N
        assert not trace.damaged

    def test_header_without_rows(self) -> None:
        with pytest.raises(FormatError, match="no whole row"):
            read("time_s,speed_mps\n")

    def test_more_rows_than_memory_is_meant_for(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr("traceanalyze.parsers.table.rows.MOST_ROWS", 30)
        with pytest.raises(LimitError, match="more than 30 rows; cut the log into parts"):
            read(PLAIN)

    def test_rows_with_a_cell_more_than_the_header_everywhere(self) -> None:
        with pytest.raises(FormatError, match=r"names 2 columns but the rows hold 3"):
            read(table("time_s,speed_mps", lambda k: f"{k}," + plain(k)))


class TestUnits:
    @pytest.mark.parametrize(
        ("name", "unit_mps"),
        [
            ("speed_kmh", KMH), ("Speed (mph)", MPH), ("v [m/s]", 1.0), ("hor_speed_mps", 1.0), ("km/h", KMH),
            ("Geschwindigkeit in km/h", KMH), ("SOG (kn)", KNOT), ("GroundSpeedKts", KNOT), ("gps speed [kph]", KMH),
            ("speed_m_s", 1.0), ("Speed over ground (knots)", KNOT), ("gSpeed (m/s)", 1.0), ("vitesse_km_h", KMH),
        ],
    )  # fmt: skip
    def test_units_in_names(self, name: str, unit_mps: float) -> None:
        trace = read(table(f"time_s;{name}", lambda k: f"{k / 10};{10 + k}"))
        assert trace.speed_mps == pytest.approx((10 + np.arange(N)) * unit_mps, rel=1e-15)

    def test_an_unstated_unit_is_refused_naming_the_option(self) -> None:
        with pytest.raises(FormatError, match=r"'speed' is not stated.*--column speed=speed --speed-unit"):
            read(PLAIN.replace("speed_mps", "speed"))

    def test_the_option_states_it(self) -> None:
        trace = read(PLAIN.replace("speed_mps", "speed"), speed_unit="mph")
        assert trace.speed_mps == pytest.approx(SPEED * MPH, rel=1e-15)

    def test_unknown_unit(self) -> None:
        with pytest.raises(UsageError, match="unknown unit 'furlong'"):
            read(PLAIN, speed_unit="furlong")

    # a degree of longitude on the equator of WGS 84 is 2 pi 6378137 m / 360 = 111319.49 m
    @pytest.mark.parametrize(("unit", "unit_mps"), [("m/s", 1.0), ("km/h", KMH), ("mph", MPH), ("kn", KNOT)])
    def test_positions_tell_an_unstated_unit(self, unit: str, unit_mps: float) -> None:
        v = np.linspace(0, 20, 200)
        lon = 8 + np.cumsum(v * 0.1) / 111_319.49
        trace = read(
            table("time_s,lat,lon,speed", lambda k: f"{k / 10:.1f},0.0,{lon[k]:.9f},{v[k] / unit_mps:.4f}", 200)
        )
        assert trace.speed_mps == pytest.approx(v, abs=1e-4)
        assert f"({unit}, by the distance between positions)" in guess(trace)

    def test_positions_contradict_a_stated_unit(self) -> None:
        v = np.linspace(0, 20, 200)
        lon = 8 + np.cumsum(v * 0.1) / 111_319.49
        row: Callable[[int], str] = lambda k: f"{k / 10:.1f},0.0,{lon[k]:.9f},{v[k] * 3.6:.4f}"  # noqa: E731
        trace = read(table("time_s,lat,lon,speed_mph", row, 200))
        assert "says km/h" in next(r.text for r in trace.remarks if r.code == "unit-doubtful")


class TestColumns:
    def test_named_by_option(self) -> None:
        text = PLAIN.replace("speed_mps", "ref_vf")
        with pytest.raises(FormatError, match=r"no column of speeds among 'time_s', 'ref_vf'.*--column speed=NAME"):
            read(text)
        trace = read(text, columns={"speed": "ref_vf"}, speed_unit="m/s")
        assert trace.speed_mps.tolist() == SPEED.tolist()

    def test_without_a_header_by_place(self) -> None:
        text = PLAIN.partition("\n")[2]
        with pytest.raises(FormatError, match=r"no header.*--column time=1 --column speed=2"):
            read(text)
        trace = read(text, columns={"time": "1", "speed": "2"}, speed_unit="m/s", time_unit="s")
        assert trace.speed_mps.tolist() == SPEED.tolist()

    def test_unknown_names(self) -> None:
        with pytest.raises(FormatError, match="no column 'spd'; its columns are 'time_s', 'speed_mps'"):
            read(PLAIN, columns={"speed": "spd"})
        with pytest.raises(UsageError, match="--column spood="):
            read(PLAIN, columns={"spood": "speed_mps"})
        with pytest.raises(FormatError, match="holds text"):
            read(
                table("time,note", lambda k: f"10:00:{k:02d},1"),
                columns={"speed": "time", "time": "time"},
                speed_unit="m/s",
            )

    def test_the_receivers_own_speed_before_all_others(self) -> None:
        header = "time_s,wheel_speed_kmh,speed_smoothed_kmh,ref_speed_kmh,GPS Speed (km/h)"
        trace = read(table(header, lambda k: f"{k / 10},1,2,3,4"))
        assert trace.speed_mps == pytest.approx([4 * KMH] * N)
        assert "other speeds, not used: 'ref_speed_kmh', 'wheel_speed_kmh'" in guess(trace)
        assert "not used: 'speed_smoothed_kmh' (made from other columns)" in guess(trace)

    @pytest.mark.parametrize("name", ["speed_sorted_mps", "speed_smoothed_mps", "avg_speed_mps", "max speed (m/s)"])
    def test_by_products_are_never_guessed(self, name: str) -> None:
        with pytest.raises(FormatError, match="no column of speeds"):
            read(PLAIN.replace("speed_mps", name))

    def test_a_sorted_copy_is_told_by_its_values(self) -> None:
        rng = np.random.default_rng(1)
        v = rng.uniform(0, 20, 300)
        text = table("time_s,speed_a_mps,speed_b_mps", lambda k: f"{k / 10},{np.sort(v)[k]:.3f},{v[k]:.3f}", 300)
        assert read(text).speed_mps == pytest.approx(v, abs=1e-3)
        alone = table("time_s,speed_a_mps", lambda k: f"{k / 10},{np.sort(v)[k]:.3f}", 300)
        assert "never falls (is it a sorted copy?)" in guess(read(alone))

    def test_horizontal_speed_from_north_and_east(self) -> None:
        trace = read(table("time_s,vn_mps,ve_mps,vd_mps", lambda k: f"{k},3,-4,12"))
        assert trace.speed_mps.tolist() == [5.0] * N  # 3-4-5; with the vertical part it would be 13

    def test_position_course_and_the_rest(self) -> None:
        header = "time_s,Latitude,Longitude,alt (ft),heading,hdop,sats,fix_quality,speed_mps"
        trace = read(table(header, lambda k: f"{k},-33.5,151.25,100,-90,0.8,11,2,1"))
        assert trace.lat_deg[0] == -33.5
        assert trace.lon_deg[0] == 151.25
        assert trace.altitude_m[0] == pytest.approx(30.48)  # 100 ft, 0.3048 m exactly
        assert (trace.course_deg[0], trace.hdop[0], trace.satellites[0], trace.quality[0]) == (270.0, 0.8, 11.0, 2)

    def test_positions_only(self) -> None:
        trace = read(table("time,lat,lon", lambda k: f"2026-05-17T09:00:{k:02d}Z,50.{k:05d},8.1"))
        assert trace.speed_source == "positions"
        assert np.isnan(trace.speed_mps).all()

    @pytest.mark.parametrize(
        ("name", "void"), [("fix", "0"), ("status", "V"), ("fix_quality", "0"), ("valid", "false")]
    )
    def test_void_fixes_are_left_out(self, name: str, void: str) -> None:
        good = {"0": "1", "V": "A", "false": "true"}[void]
        trace = read(table(f"time_s,speed_mps,{name}", lambda k: plain(k) + f",{void if k < 5 else good}"))
        assert np.isnan(trace.speed_mps[:5]).all()
        assert trace.speed_mps[5:].tolist() == SPEED[5:].tolist()
        assert trace.tally["void_fix"] == 5
        assert not trace.damaged

    def test_zero_zero_is_no_position(self) -> None:
        trace = read(table("time_s,speed_mps,lat,lon", lambda k: plain(k) + (",0.0,0.0" if k < 3 else ",50.1,8.2")))
        assert trace.tally["void_fix"] == 3
        assert np.isnan(trace.lat_deg[:3]).all()

    def test_a_speed_of_minus_one_means_none(self) -> None:
        trace = read(table("time_s,speed_mps", lambda k: f"{k / 10},{-1 if k < 4 else SPEED[k]}"))
        assert np.isnan(trace.speed_mps[:4]).all()

    def test_reverse_is_speed_too(self) -> None:
        trace = read(table("time_s,speed_mps", lambda k: f"{k / 10},{-SPEED[k]}"))
        assert trace.speed_mps.tolist() == SPEED.tolist()
        assert any(remark.code == "speed-sign" for remark in trace.remarks)

    def test_drives_are_stretches_of_their_own(self) -> None:
        trace = read(table("drive,time_s,speed_mps", lambda k: f"{k // 20},{k % 20 / 10},1"))
        assert trace.utc0_s.size == 2
        assert np.bincount(trace.stretch).tolist() == [20, 20]

    def test_what_options_say_is_not_called_a_guess(self) -> None:
        trace = read(PLAIN, columns={"speed": "speed_mps", "time": "time_s"}, speed_unit="m/s")
        assert not any(remark.code == "columns-guessed" for remark in trace.remarks)

    def test_a_minute_of_the_hour_is_no_clock(self) -> None:
        trace = read(table("gps_minute,time_utc,speed_mps", lambda k: f"{k},{1_779_008_400 + k},1"))
        assert utc_text(trace.utc0_s[0]) == "2026-05-17T09:00:00.000000Z"


class TestAccelerometer:
    @pytest.mark.parametrize(("names", "factor"), [("ax,ay,az", 1.0), ("ax_mps2,ay_mps2,az_mps2", 1.0),
        ("accel_x (g),accel_y (g),accel_z (g)", G_MPS2), ("acc_x,acc_y,acc_z", G_MPS2), ("gFx,gFy,gFz", G_MPS2),
        ("acc_x_mg,acc_y_mg,acc_z_mg", G_MPS2 / 1000), ("fwd,right,down", 1.0)])  # fmt: skip
    def test_alone(self, names: str, factor: float) -> None:
        trace = read(table(f"time_s,{names}", lambda k: f"{k / 100},{0.1 / factor},{-0.2 / factor},{9.8 / factor}"))
        assert trace.points == 0
        assert trace.speed_source == "accelerometer"
        assert trace.accelerometer is not None
        assert trace.accelerometer.force_mps2 == pytest.approx(np.tile([0.1, -0.2, 9.8], (N, 1)), rel=1e-12)
        assert trace.accelerometer.t_s == pytest.approx(np.arange(N) / 100)

    def test_neither_gravity_nor_unit_is_refused_or_left_out(self) -> None:
        row: Callable[[int], str] = lambda k: f"{k / 100},0.1,0.2,0.3"  # noqa: E731
        with pytest.raises(FormatError, match="--accel-unit g or m/s2"):
            read(table("time_s,ax,ay,az", row))
        found = read(table("time_s,ax,ay,az", row), accel_unit="g").accelerometer
        assert found is not None
        assert found.force_mps2[0, 2] == pytest.approx(0.3 * G_MPS2)
        both = read(table("time_s,ax,ay,az,speed_mps", lambda k: row(k) + ",1"))
        assert both.accelerometer is None
        assert "no accelerometer" in guess(both)

    def test_gravity_is_believed_before_a_name(self) -> None:
        trace = read(table("time_s,ax_g,ay_g,az_g", lambda k: f"{k / 100},0,0,9.8"))
        assert trace.accelerometer is not None
        assert trace.accelerometer.force_mps2[0, 2] == 9.8
        assert "though its name says g" in guess(trace)

    def test_gyroscope_and_gravity_estimates_are_left_alone(self) -> None:
        header = "time_s,gyro_x,gyro_y,gyro_z,grav_x,grav_y,grav_z,accel_x,accel_y,accel_z"
        found = read(table(header, lambda k: f"{k / 100},7,7,7,0,0,1,0.5,0,1")).accelerometer
        assert found is not None
        assert found.force_mps2[0, 0] == pytest.approx(0.5 * G_MPS2)

    def test_one_axis_with_a_unit(self) -> None:
        found = read(table("time_s,longitudinal acceleration (g)", lambda k: f"{k / 100},0.5")).accelerometer
        assert found is not None
        assert found.force_mps2[0, 0] == pytest.approx(0.5 * G_MPS2)
        assert np.isnan(found.force_mps2[:, 1:]).all()

    def test_blank_speeds_between_receiver_rows(self) -> None:
        text = table("time_s,speed_mps,ax,ay,az", lambda k: f"{k / 100:.2f},{k if k % 10 == 0 else ''},0,0,9.8")
        trace = read(text)
        assert trace.t_s == pytest.approx([0.0, 0.1, 0.2, 0.3])
        assert trace.accelerometer is not None
        assert trace.accelerometer.t_s.size == N
        assert trace.accelerometer.shared_clock

    def test_held_speeds_are_repeats_not_samples(self) -> None:
        v = np.concatenate([np.zeros(20), np.arange(60) * 0.2])  # 10 Hz, at rest for 2 s
        text = table("time_s,speed_mps,ax,ay,az", lambda k: f"{k / 100:.2f},{v[k // 10]:.2f},0.01,{k % 7},9.8", 800)
        trace = read(text)
        assert trace.t_s == pytest.approx(np.arange(80) / 10)
        assert trace.speed_mps == pytest.approx(v)

    def test_clock_of_both_begins_with_the_receiver(self) -> None:
        text = table("time_s,speed_mps,ax,ay,az", lambda k: f"{5 + k / 100:.2f},{k if k >= 10 else ''},0,0,9.8")
        trace = read(text)
        assert trace.accelerometer is not None
        assert trace.t_s[0] == 0.0
        assert trace.accelerometer.t_s[0] == pytest.approx(-0.1)


class TestSniff:
    @pytest.mark.parametrize(
        ("head", "sure"),
        [
            (PLAIN, 0.8),
            (table("time_s,ax,ay,az", lambda k: f"{k},0,0,1"), 0.8),
            (table("a,b", lambda k: f"{k},{k}"), 0.3),
            (PLAIN.partition("\n")[2], 0.3),
            ("$GPRMC,092750.000,A,5321.6802,N,00630.3372,W,0.02,31.66,280511,,,A*43\n", 0.0),
            ("NMEA,$GPGGA,092750.000,5321.6802,N,00630.3372,W,1,8,1.03,61.7,M,55.2,M,,*76,12\n" * 3, 0.0),
            ('<?xml version="1.0"?><gpx>1,2</gpx>', 0.0),
            ("hello, world\nthis is, some text\n", 0.0),
            ('{"a": 1, "b": [2, 3]}\n', 0.0),
            ("", 0.0),
            ("\x00\x01\x02,\x03\n\xff,\n", 0.0),
        ],
    )
    def test_head(self, head: str, sure: float) -> None:
        assert sniff(head.encode("latin-1")) == sure


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("speed_source", None), ("engine_speed", None), ("speed_accuracy_mps", None), ("sAcc", None),
        ("wind_speed", None), ("vertical_speed_mps", None), ("speed_limit", None), ("lap_time", None),
        ("gyro_heading", None), ("x", None), ("distance_miles", None), ("lat", "lat"), ("gps_long", "lon"),
        ("long_acc", "ax"), ("lateral acceleration", "ay"), ("Date", "date"), ("iTOW", "time"),
        ("seconds_elapsed", "time"), ("time of day", "time"), ("numSV", "satellites"),
    ],
)  # fmt: skip
def test_meaning_of_names(name: str, expected: str | None) -> None:
    found = meaning(name)
    assert (found.role if found else None) == expected
