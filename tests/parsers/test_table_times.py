"""Time stamps of tables: text, GPS weeks, counts since 1970, columns that are completed by others."""

from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from traceanalyze.errors import FormatError, UsageError
from traceanalyze.parsers.options import ReadOptions
from traceanalyze.parsers.table import read_bytes
from traceanalyze.parsers.table.rows import Texts
from traceanalyze.parsers.table.stamps import read_stamps
from traceanalyze.trace import Source, Trace, utc_text

HEADER = "time,speed_mps\n"


def texts(*cells: str) -> Texts:
    width = max(map(len, cells))
    return Texts(np.array([list(cell.encode("latin-1").ljust(width, b"\0")) for cell in cells], np.uint8))


def read(text: str, **options: object) -> Trace:
    return read_bytes(text.encode(), Source(), ReadOptions(**options))


def timed(stamps: list[object], **options: object) -> Trace:
    return read(HEADER + "".join(f"{stamp},{k}.5\n" for k, stamp in enumerate(stamps)), **options)


def guess(trace: Trace) -> str:
    return next(remark.text for remark in trace.remarks if remark.code == "columns-guessed")


class TestText:
    # the reference is Python's own datetime.fromisoformat
    @settings(deadline=None)  # a loaded machine is no failure
    @given(
        st.lists(
            st.datetimes(datetime(1990, 1, 1), datetime(2090, 1, 1), timezones=st.just(UTC)), min_size=1, max_size=6
        ),
        st.integers(-12 * 60, 14 * 60),
        st.sampled_from(["T", " "]),
    )
    def test_iso_stamps_of_any_zone(self, moments: list[datetime], zone_min: int, gap: str) -> None:
        zone = timezone(timedelta(minutes=zone_min))
        cells = [moment.astimezone(zone).isoformat(gap) for moment in moments]
        stamps = read_stamps(texts(*cells))
        ns = stamps.day * 86_400_000_000_000 + stamps.clock_ns
        assert stamps.readable.all()
        assert stamps.dated
        assert ns.tolist() == [
            (datetime.fromisoformat(cell) - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1) * 1000
            for cell in cells
        ]

    @pytest.mark.parametrize(
        ("cell", "form"),
        [
            ("2026-05-17 09:00:01.25", "%Y-%m-%d %H:%M:%S.%f"),
            ("17.05.2026 09:00:01", "%d.%m.%Y %H:%M:%S"),
            ("17/05/2026 9:00:01", "%d/%m/%Y %H:%M:%S"),
            ("05/17/2026 09:00:01 PM", "%m/%d/%Y %I:%M:%S %p"),
            ("17-May-2026 09:00:01", "%d-%b-%Y %H:%M:%S"),
            ("20260517T090001", "%Y%m%dT%H%M%S"),
            ("2026/05/17 00:00", "%Y/%m/%d %H:%M"),
        ],
    )
    def test_usual_orders(self, cell: str, form: str) -> None:
        stamps = read_stamps(texts(cell))
        expected = datetime.strptime(cell, form).replace(tzinfo=UTC).timestamp()
        assert (stamps.day * 86_400 + stamps.clock_ns / 1e9).tolist() == [expected]

    @pytest.mark.parametrize(
        "cell",
        ["2026-02-30 09:00:00", "2026-13-01", "24:00:00", "09:60:00", "hello", "2026-05-17T09", "13:00 PM", "1:2:3"],
    )
    def test_no_such_moment(self, cell: str) -> None:
        assert not read_stamps(texts(cell)).readable.any()

    def test_points_mean_day_first(self) -> None:  # common practice, no source
        trace = timed(["04.05.2026 10:00:00", "04.05.2026 10:00:01"])
        assert utc_text(trace.utc0_s[0]) == "2026-05-04T10:00:00.000000Z"

    def test_a_date_that_reads_two_ways_is_left_out_and_said(self) -> None:
        trace = timed(["04/05/2026 10:00:00", "04/05/2026 10:00:01"])
        assert utc_text(trace.utc0_s[0]) is None
        assert trace.t_s.tolist() == [0.0, 1.0]
        assert "'04/05/2026 10:00:00'" in next(r.text for r in trace.remarks if r.code == "date-unclear")

    def test_another_row_may_decide_it(self) -> None:
        trace = timed(["04/30/2026 23:59:59", "05/01/2026 00:00:00", "05/01/2026 00:00:01"])
        assert utc_text(trace.utc0_s[0]) == "2026-04-30T23:59:59.000000Z"
        assert trace.t_s.tolist() == [0.0, 1.0, 2.0]

    def test_time_of_day_goes_on_after_midnight(self) -> None:
        assert timed(["23:59:59.5", "00:00:00.0", "00:00:00.5"]).t_s.tolist() == [0.0, 0.5, 1.0]

    def test_an_unreadable_stamp_costs_its_row_only(self) -> None:
        trace = timed(["10:00:00", "10:00:61", "10:00:02", "", "10:00:04"])
        assert trace.t_s.tolist() == [0.0, 2.0, 4.0]
        assert trace.tally["malformed"] == 1
        assert trace.tally["no_time"] == 1


class TestGpsWeek:
    # Week 0 began on 6 January 1980 (IS-GPS-200, 3.3.4); the second roll-over to week 2048 was at midnight GPS time of
    # 6 to 7 April 2019, 18 s before midnight UTC (US Naval Observatory notice; IERS Bulletin C 52: 18 s since 2017).
    def test_week_and_second(self) -> None:
        trace = timed(["2048:0.5", "2048:1.5"])
        assert utc_text(trace.utc0_s[0]) == "2019-04-06T23:59:42.500000Z"

    # The first roll-over, to week 1024, came when GPS was 13 s ahead: 21 August 1999 23:59:47 UTC (USNO).
    def test_week_in_a_column_and_milliseconds_of_week(self) -> None:
        trace = read("week,iTOW,speed_mps\n" + "".join(f"1024,{100 * k},1.0\n" for k in range(20)))
        assert utc_text(trace.utc0_s[0]) == "1999-08-21T23:59:47.000000Z"
        assert trace.t_s[-1] == 1.9

    def test_time_of_week_without_a_week_has_no_date(self) -> None:
        trace = read("gps_sec,speed_mps\n604799,1\n604799.5,1\n0,1\n0.5,2\n")
        assert utc_text(trace.utc0_s[0]) is None
        assert trace.t_s.tolist() == [0.0, 0.5, 1.0, 1.5]


class TestNumbers:
    @pytest.mark.parametrize(("unit", "per_second"), [("s", 1), ("ms", 10**3), ("us", 10**6), ("ns", 10**9)])
    def test_counts_since_1970_are_told_by_their_size(self, unit: str, per_second: int) -> None:
        start = 1_779_008_400 * per_second  # 2026-05-17 09:00:00 UTC
        trace = timed([start + k * per_second for k in range(4)])
        assert utc_text(trace.utc0_s[0]) == "2026-05-17T09:00:00.000000Z"
        assert trace.t_s.tolist() == [0.0, 1.0, 2.0, 3.0]
        assert f"({unit} since 1970)" in guess(trace)

    def test_nanoseconds_lose_no_digit_beside_a_blank(self) -> None:
        trace = timed([1_779_008_400_000_000_001, "", 1_779_008_400_100_000_003])
        assert trace.t_s[1] == pytest.approx(0.100000002, abs=1e-15)  # one ns of 0.1 s is 1e-9: would show
        assert trace.tally["no_time"] == 1

    def test_decimals_of_unix_seconds_lose_no_digit(self) -> None:
        trace = timed(["1779008400.000000001", "1779008400.100000003"])
        assert trace.t_s[1] == pytest.approx(0.100000002, abs=1e-15)

    @pytest.mark.parametrize(("step", "period_s"), [("0.1", 0.1), ("100", 0.1), ("40000", 0.04)])
    def test_small_unlabelled_counts_by_their_step(self, step: str, period_s: float) -> None:
        trace = timed([float(step) * k for k in range(60)])
        assert np.diff(trace.t_s) == pytest.approx(period_s)
        assert "by its step" in guess(trace)

    def test_a_step_that_does_not_tell_is_refused_naming_the_option(self) -> None:
        with pytest.raises(FormatError, match="--time-unit s, ms, us or ns"):
            timed([10 * k for k in range(30)])
        assert np.diff(timed([10 * k for k in range(30)], time_unit="ms").t_s) == pytest.approx(0.01)

    def test_a_unit_that_makes_no_sense_is_refused(self) -> None:
        with pytest.raises(FormatError, match="steps of 100 s"):
            read("time_s,speed_mps\n" + "".join(f"{1000 + 100 * k},1\n" for k in range(30)))

    def test_unknown_unit_of_the_option(self) -> None:
        with pytest.raises(UsageError, match="unit of time"):
            timed([1, 2, 3], time_unit="fortnight")

    def test_hours_minutes_seconds_written_together(self) -> None:
        clock = [f"{k // 600 + 9:02d}{k // 10 % 60:02d}{k % 10 * 6:02d}.0" for k in range(590, 620)]
        trace = timed(clock)
        assert np.diff(trace.t_s) == pytest.approx(6.0)
        assert "hhmmss" in guess(trace)


class TestSeveralColumns:
    def test_the_finer_clock_is_taken_and_dated_by_the_coarser(self) -> None:
        rows = "".join(f"{1_779_008_400 + k // 10},{5 + k / 10:.1f},{k / 10:.1f}\n" for k in range(30))
        trace = read("utc,t_s,speed_mps\n" + rows)
        assert np.diff(trace.t_s) == pytest.approx(0.1)
        assert utc_text(trace.utc0_s[0]) == "2026-05-17T09:00:00.000000Z"

    def test_of_two_as_fine_the_utc_one(self) -> None:
        rows = "".join(f"{7 + k / 10:.2f},{1_779_008_400_000 + 100 * k},1.0\n" for k in range(30))
        trace = read("t_s,utc_ms,speed_mps\n" + rows)
        assert "time from 'utc_ms'" in guess(trace)

    def test_rows_sharing_a_whole_second_are_not_many_instants(self) -> None:
        trace = timed([1_779_008_400 + k // 10 for k in range(50)])
        assert trace.t_s.tolist() == [0.0, 1.0, 2.0, 3.0, 4.0]
        assert trace.speed_mps.tolist() == [0.5, 10.5, 20.5, 30.5, 40.5]
        assert trace.tally["duplicate"] == 45
        assert "10 rows share" in next(r.text for r in trace.remarks if r.code == "shared-stamps")

    def test_date_and_time_columns(self) -> None:
        trace = read("Date,Time,speed_mps\n2026-05-17,23:59:59,1\n2026-05-18,00:00:00,2\n")
        assert utc_text(trace.utc0_s[0]) == "2026-05-17T23:59:59.000000Z"
        assert trace.t_s.tolist() == [0.0, 1.0]

    def test_date_as_six_digits_with_clock_face(self) -> None:  # ddmmyy, hhmmss as in NMEA 0183 RMC
        rows = "".join(f"0959{57 + k:02d}.0,040526,1\n" for k in range(3)) + "100000.0,040526,1\n100001.0,040526,1\n"
        assert utc_text(read("utc,date,speed_mps\n" + rows).utc0_s[0]) == "2026-05-04T09:59:57.000000Z"

    def test_year_to_second_in_six_columns(self) -> None:
        rows = "2026,5,17,9,0,0.25,1\n2026,5,17,9,0,0.75,2\n"
        trace = read("year,month,day,hour,min,second,speed_mps\n" + rows)
        assert utc_text(trace.utc0_s[0]) == "2026-05-17T09:00:00.250000Z"
        assert trace.t_s.tolist() == [0.0, 0.5]

    def test_milliseconds_beside_whole_seconds(self) -> None:
        rows = "".join(f"2026-05-17 09:00:{k // 10:02d},{k % 10 * 100},1\n" for k in range(30))
        assert np.diff(read("time,ms,speed_mps\n" + rows).t_s) == pytest.approx(0.1)

    def test_no_time_at_all_names_the_option(self) -> None:
        with pytest.raises(FormatError, match="--column time=NAME"):
            read("speed_mps,lat\n1,2\n2,3\n")
