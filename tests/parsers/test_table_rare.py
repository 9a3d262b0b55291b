"""Tables of rare kinds: what is completed, left out or refused when columns contradict or lack each other."""

import numpy as np
import pytest

from traceanalyze.errors import FormatError, UsageError
from traceanalyze.parsers.options import ReadOptions
from traceanalyze.parsers.table import read_bytes
from traceanalyze.parsers.table.words import meaning
from traceanalyze.trace import Source, Trace, utc_text

NINE_S = 1_779_008_400  # 2026-05-17 09:00:00 UTC as Unix time


def read(text: str, **options: object) -> Trace:
    return read_bytes(text.encode(), Source(), ReadOptions(**options))


def table(header: str, *rows: str) -> str:
    return "".join(f"{line}\n" for line in (header, *rows))


def codes(trace: Trace) -> set[str]:
    return {remark.code for remark in trace.remarks}


class TestClocks:
    def test_a_date_column_that_reads_two_ways(self) -> None:
        trace = read(table("date,time,speed_mps", *(f"04/05/2026,10:00:0{k},1" for k in range(5))))
        assert utc_text(trace.utc0_s[0]) is None
        assert "date-unclear" in codes(trace)

    def test_a_date_column_that_holds_no_dates(self) -> None:
        trace = read(table("date,time,speed_mps", *(f"today,10:00:0{k},1" for k in range(5))))
        assert utc_text(trace.utc0_s[0]) is None
        assert trace.t_s.tolist() == [0, 1, 2, 3, 4]

    def test_a_week_beside_a_time_that_is_no_time_of_week(self) -> None:
        trace = read(table("week,tow,speed_mps", *(f"2422,{700_000 + k},1" for k in range(5))))
        assert utc_text(trace.utc0_s[0]) is None

    def test_a_running_count_of_milliseconds_is_a_finer_clock(self) -> None:
        rows = (f"{NINE_S + k // 10},{5000 + 100 * k},1" for k in range(40))
        trace = read(table("utc,millis,speed_mps", *rows))
        assert np.diff(trace.t_s) == pytest.approx(0.1)
        assert utc_text(trace.utc0_s[0]) == "2026-05-17T09:00:00.000000Z"

    def test_milliseconds_beside_a_clock_that_has_them_already(self) -> None:
        rows = (f"2026-05-17 09:00:0{k // 10}.{k % 10},{k % 10 * 100},1" for k in range(40))
        assert np.diff(read(table("time,ms,speed_mps", *rows)).t_s) == pytest.approx(0.1)

    def test_a_date_that_runs_away_from_the_clock_dates_nothing(self) -> None:
        rows = (f"{NINE_S + k // 10 * 7},{k / 10:.1f},1" for k in range(60))
        assert utc_text(read(table("utc,t_s,speed_mps", *rows)).utc0_s[0]) is None

    def test_zones_of_two_digits(self) -> None:
        trace = read(table("time,speed_mps", "2026-05-17T11:00:00+02,1", "2026-05-17T11:00:01+02,1"))
        assert utc_text(trace.utc0_s[0]) == "2026-05-17T09:00:00.000000Z"

    def test_stamps_of_too_many_shapes(self) -> None:
        rows = [f"2026-05-17T09:00:{k % 60:02d}Z,1" for k in range(60)]
        rows += [f"{chr(97 + k % 26)}{chr(97 + k // 26)}{k},1" for k in range(90)]
        with pytest.raises(FormatError, match="no column of times"):
            read(table("time,speed_mps", *reversed(rows)))


class TestColumns:
    def test_nothing_but_blanks(self) -> None:
        with pytest.raises(FormatError, match="no row holds a time with a speed or a position"):
            read(table("time_s,speed_mps", "0,", "1,", "2,"))
        with pytest.raises(FormatError, match="length is not that of gravity"):
            read(table("time_s,ax,ay,az", "0,,,", "1,,,", "2,,,"))
        with pytest.raises(FormatError, match="no row holds a time with a speed or a position"):
            read(table("time_s,ax_g,ay_g,az_g", "0,,,", "1,,,", "2,,,"))

    def test_positions_in_no_degrees(self) -> None:
        trace = read(table("time_s,speed_mps,lat,lon", *(f"{k},1,5012345.{k},812345" for k in range(9))))
        assert "positions-unreadable" in codes(trace)
        assert np.isnan(trace.lat_deg).all()

    def test_some_positions_off_the_globe(self) -> None:
        trace = read(table("time_s,speed_mps,lat,lon", *(f"{k},1,{8960 if k == 4 else 50},350" for k in range(9))))
        assert "positions-out-of-range" in codes(trace)
        assert np.isnan(trace.lat_deg[4])
        assert trace.lon_deg[0] == -10

    @pytest.mark.parametrize(
        ("unit", "text"), [("lat_rad,lon_rad", "0.5,0.25"), ("lat_e7,lon_e7", "286478898,143239449")]
    )
    def test_other_units_of_angle(self, unit: str, text: str) -> None:
        trace = read(table(f"time_s,speed_mps,{unit}", *(f"{k},1,{text}" for k in range(3))))
        assert trace.lat_deg[0] == pytest.approx(28.6478898, abs=1e-7)  # 0.5 rad is 90/pi degrees
        assert trace.lon_deg[0] == pytest.approx(14.3239449, abs=1e-7)

    def test_drives_with_names(self) -> None:
        trace = read(table("session,time_s,speed_mps", *(f"{'ab'[k // 5]} run,{k},1" for k in range(10))))
        assert np.bincount(trace.stretch).tolist() == [5, 5]

    def test_speed_in_space_after_speed_over_ground(self) -> None:
        trace = read(table("time_s,speed_3d_mps,speed_2d_mps", *(f"{k},5,4" for k in range(9))))
        assert trace.speed_mps.tolist() == [4.0] * 9
        found = meaning("GPS speed 3D")
        assert found is not None
        assert found.rank == 2

    def test_numbers_without_decimals_at_a_cut_end(self) -> None:
        trace = read(table("time_s,speed_mps", *(f"{k},{k * 10}" for k in range(9)))[:-1])
        assert trace.points == 8  # 80 may be 800 cut short
        assert trace.tally["truncated"] == 1

    def test_blank_cells_too_many(self) -> None:
        trace = read(table("time_s,speed_mps", "0,1", "1,2,,", "2,3", "3,4", "4,5"))
        assert trace.points == 5

    def test_thousands_with_points_in_a_table_of_points(self) -> None:
        trace = read(table("time_s;speed_mps", "0.5;1.5", "1.5;1,234", "2.5;3.5", "3.5;4.5"))
        assert trace.points == 3
        assert trace.tally["malformed"] == 1


class TestAccelerometer:
    def test_axes_named_by_options(self) -> None:
        text = table("time_s,u,v,w", *(f"{k / 100},0.1,0.2,9.8" for k in range(30)))
        found = read(text, columns={"ax": "w", "ay": "u", "az": "v"}).accelerometer
        assert found is not None
        assert found.force_mps2[0].tolist() == [9.8, 0.1, 0.2]

    def test_an_axis_named_by_an_option_takes_no_others_along(self) -> None:
        text = table("time_s,ax,ay,az,w", *(f"{k / 100},0.1,0.2,9.8,0.5" for k in range(30)))
        found = read(text, columns={"ax": "w"}, accel_unit="m/s2").accelerometer
        assert found is not None
        assert found.force_mps2[0, 0] == 0.5
        assert np.isnan(found.force_mps2[:, 1:]).all()

    def test_unknown_unit(self) -> None:
        with pytest.raises(UsageError, match="unit of acceleration 'stone'"):
            read(table("time_s,ax,ay,az", "0,0,0,1", "1,0,0,1"), accel_unit="stone")

    def test_rows_newest_first_are_turned_round(self) -> None:
        found = read(table("time_s,ax,ay,az", *(f"{(99 - k) / 100},{k},0,9.8" for k in range(100))), accel_unit="m/s2")
        assert found.accelerometer is not None
        assert found.accelerometer.force_mps2[0, 0] == 99
        assert found.accelerometer.t_s[-1] == pytest.approx(0.99)

    def test_times_that_step_back_are_counted(self) -> None:
        rows = [f"{k / 100},0,0,9.8" for k in range(50)]
        rows[20] = "0.05,0,0,9.8"
        trace = read(table("time_s,ax,ay,az", *rows))
        assert trace.tally["out_of_order"] == 1
        assert trace.accelerometer is not None
        assert trace.accelerometer.t_s.size == 49

    def test_a_receiver_that_hardly_moves_keeps_every_row(self) -> None:
        rows = (f"{k / 100:.2f},0.00,0,0,9.8" for k in range(200))
        assert read(table("time_s,speed_mps,ax,ay,az", *rows)).points == 200
