"""Which runs belong to a setup: clock windows against the calendar of the standard library."""

import math
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceanalyze.results import Estimate, Launch, Pass, RunSheet
from traceanalyze.sheet import Day, Setup, Skip
from traceanalyze.sheet.choosing import in_window, is_skipped, runs_in_window, without_skipped


def log(starts_s, *, origin_s=math.nan):
    launches = tuple(
        Launch(
            number=k,
            start=Estimate(start, 0.03),
            end_s=start + 9,
            start_utc_s=origin_s + start,
            peak_speed_mps=14.0,
        )
        for k, start in enumerate(starts_s, start=1)
    )
    passes = tuple(
        Pass(
            number=k, start_s=start + 20, end_s=start + 30, window_s=1.0, window_m=27.0, window_start_s=start + 25,
            sustained=Estimate(27.0, 0.05), peak_mps=27.1, held_s=3.0, levelled_off=True,
        )
        for k, start in enumerate(starts_s, start=1)
    )  # fmt: skip
    return RunSheet(path="day.nmea", status="ok", time_origin_utc_s=origin_s, launches=launches, passes=passes)


CEST = timezone(timedelta(hours=2))
DAY = Day(date=date(2026, 5, 17), utc_offset_s=7200)


@given(st.integers(0, 86399), st.integers(0, 86399), st.integers(-3 * 86400, 3 * 86400))
def test_a_window_is_what_the_calendar_says(begin, end, at):
    setup = Setup(name="a", from_s=begin, to_s=end)
    moment = datetime(2026, 5, 17, tzinfo=CEST) + timedelta(seconds=at)  # stdlib's own arithmetic of zones
    local = moment.astimezone(CEST)
    of_day_s = local.hour * 3600 + local.minute * 60 + local.second
    expected = local.date() == date(2026, 5, 17) and begin <= of_day_s < end
    assert in_window(moment.timestamp(), setup, DAY) is expected


def test_runs_of_one_log_are_shared_out_and_none_is_in_two():
    origin = datetime(2026, 5, 17, 12, 0, tzinfo=UTC).timestamp()  # 14:00 on the rider's clock
    whole = log([60, 299, 300, 1700, 1800], origin_s=origin)
    first = runs_in_window(whole, Setup(name="a", from_s=14 * 3600, to_s=14 * 3600 + 300), DAY)
    second = runs_in_window(whole, Setup(name="b", from_s=14 * 3600 + 300), DAY)
    assert [one.number for one in first.launches] == [1, 2]
    assert [one.number for one in second.launches] == [3, 4, 5]
    assert [one.number for one in first.passes] == [1]  # the pass after launch 2 starts at 319 s
    assert [one.number for one in second.passes] == [2, 3, 4, 5]


def test_without_a_date_every_day_has_its_window():
    origin = datetime(2026, 5, 18, 12, 0, tzinfo=UTC).timestamp()
    setup = Setup(name="a", from_s=14 * 3600, to_s=15 * 3600)
    assert len(runs_in_window(log([60], origin_s=origin), setup, Day(utc_offset_s=7200)).launches) == 1
    assert len(runs_in_window(log([60], origin_s=origin), setup, DAY).launches) == 0


def test_a_log_without_a_clock_says_why_no_run_counts():
    sheet = runs_in_window(log([60]), Setup(name="a", from_s=0.0), DAY)
    assert (sheet.launches, sheet.passes) == ((), ())
    assert [remark.code for remark in sheet.remarks] == ["no-clock-for-window"]
    assert runs_in_window(log([60]), Setup(name="a"), DAY).launches  # without a window it needs none


@pytest.mark.parametrize("name", ["run3.nmea", "link.nmea", "./run3.nmea"])
def test_skipped_runs_are_left_out_under_any_name_of_the_file(tmp_path, name):
    (tmp_path / "run3.nmea").touch()
    (tmp_path / "link.nmea").symlink_to("run3.nmea")
    skips = (Skip(tmp_path / "run3.nmea", "launch", 2), Skip(tmp_path / "run3.nmea", "pass", 1))
    setup = Setup(name="a", files=(tmp_path / "run3.nmea",), skip=skips)
    sheet = without_skipped(log([60, 200, 400]), setup, str(tmp_path) + "/" + name)
    assert [one.number for one in sheet.launches] == [1, 3]
    assert [one.number for one in sheet.passes] == [2, 3]
    assert not sheet.remarks
    assert is_skipped(setup, tmp_path / "run3.nmea", "launch", 2)
    assert not is_skipped(setup, tmp_path / "run1.nmea", "launch", 2)


def test_a_skip_that_fits_no_run_is_told():
    setup = Setup(name="a", skip=(Skip(Path("run3.nmea"), "launch", 7), Skip(Path("other.nmea"), "launch", 9)))
    sheet = without_skipped(log([60, 200]), setup, "run3.nmea")
    assert [remark.text for remark in sheet.remarks] == ["the day sheet skips launch 7, which is no run of this setup"]
