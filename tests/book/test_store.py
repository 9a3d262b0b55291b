"""What is kept of a log, and of the same log again."""

import math
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from tests.book.making import MORNING, entry, in_memory, log, undated
from traceanalyze.book.entries import entries_of_files, entries_of_sheet
from traceanalyze.book.opening import open_book, open_book_to_write
from traceanalyze.book.reading import all_fittings, all_runs
from traceanalyze.book.store import add_entries, add_entry, fingerprint_of, remove_logs
from traceanalyze.book.tables import vehicles_of
from traceanalyze.errors import BookError, UsageError
from traceanalyze.results import RunSheet
from traceanalyze.sheet import Conditions, Day, DaySheet, Setup, Skip, Vehicle
from traceanalyze.trace import Remark


@pytest.fixture
def book():
    with in_memory() as opened:
        yield opened


def test_what_was_measured_is_what_is_read(book):
    sheet = log("run1.nmea", [4.05, 3.98], tops=[25.5])
    add_entry(book, entry(sheet))
    launch, _, top = all_runs(book)
    assert (launch.run.vehicle, launch.run.setup, launch.run.date) == ("pit bike", "standard spring", "2026-05-17")
    assert (launch.run.number, launch.run.start_s, launch.run.start_stderr_s) == (1, 60.0, 0.03)
    assert launch.run.utc_s == MORNING + 60
    assert launch.run.heading_deg == 90
    results = {(one.measure, one.start_rule): one for one in launch.run.results}
    mine = sheet.launches[0].times[0].elapsed
    kept = results["0-30 mph", "rollout"]
    assert (kept.value, kept.stderr, kept.low95, kept.high95) == (mine.value, mine.stderr, mine.low95, mine.high95)
    assert results["20-30 mph", ""].distance_m == 20
    curve = sheet.launches[0].curve
    assert launch.run.curve.speed_mps == tuple(curve.speed_mps)
    missing = [math.isnan(time) for time in curve.time_s]
    assert [time is None for time in launch.run.curve.time_s] == missing
    assert any(missing)
    (speed,) = top.run.results
    assert (speed.measure, speed.window, speed.value, speed.unit) == ("top speed", "1 s", 25.5, "m/s")
    assert (top.run.levelled_off, top.run.projected_mps) == (True, None)
    assert (launch.log.path, launch.log.rate_hz, dict(launch.log.skipped)) == ("run1.nmea", 10.0, {"checksum": 1})
    assert [remark.code for remark in launch.log.remarks] == ["low-rate"]


def test_the_same_log_again_adds_nothing_whatever_it_is_called(book):
    assert add_entry(book, entry(log("run1.nmea", [4.0, 4.1]))).status == "added"
    again = add_entry(book, entry(log("copy of run1.nmea", [4.0, 4.1], content="run1.nmea"), "stiff spring"))
    assert (again.status, again.setups, again.dates) == ("known", ("standard spring",), ("2026-05-17",))
    assert len(all_runs(book)) == 2
    assert {one.run.setup for one in all_runs(book)} == {"standard spring"}


def test_several_logs_of_one_archive_are_several(book):
    for member in ("a.nmea", "b.nmea"):  # they share the bytes of the file they came in
        sheet = log(f"day.zip:{member}", [4.0], content="day.zip")
        assert add_entry(book, entry(sheet, file="day.zip")).status == "added"
        assert add_entry(book, entry(sheet, file="day.zip")).status == "known"
    assert [(one.log.path, one.log.member, one.file) for one in all_runs(book)] == [
        ("day.zip", "a.nmea", "day.zip:a.nmea"),
        ("day.zip", "b.nmea", "day.zip:b.nmea"),
    ]


def test_a_log_without_runs_is_not_kept_so_that_it_can_be_added_rightly_later(book):
    assert add_entry(book, entry(log("run1.nmea", []))).status == "empty"
    assert add_entry(book, entry(log("run1.nmea", [4.0]))).status == "added"


def test_a_log_without_a_date_needs_one(book):
    with pytest.raises(BookError, match=r"run1\.nmea: the log has no date.*--date 2026-05-17"):
        add_entry(book, entry(undated("run1.nmea", [4.0])))
    add_entry(book, entry(undated("run1.nmea", [4.0]), date=date(2026, 5, 16)))
    (run,) = all_runs(book)
    assert (run.run.date, run.run.utc_s) == ("2026-05-16", None)


def test_a_log_that_nobody_dated_does_not_stop_the_rest(book):
    entries = [entry(undated("run1.nmea", [4.0])), entry(log("run2.nmea", [4.0]))]
    added, errors = add_entries(book, entries)
    assert [(one.path, one.status) for one in added] == [("run2.nmea", "added")]
    assert len(errors) == 1
    assert errors[0].startswith("run1.nmea: the log has no date")


def test_the_day_is_the_riders_not_that_of_greenwich(book):
    late = MORNING + 15.5 * 3600  # 00:30 UTC on the 18th, 19:30 on the 17th at UTC-5
    add_entry(book, entry(log("run1.nmea", [4.0], origin=late), utc_offset_s=-5 * 3600.0))
    add_entry(book, entry(log("run2.nmea", [4.0], origin=late)))
    assert [one.run.date for one in all_runs(book)] == ["2026-05-17", "2026-05-18"]


def test_remarks_about_measures_not_reached_say_nothing_new_in_a_book(book):
    sheet = log("run1.nmea", [4.0])
    remarks = (Remark("not-reached", "0-60 mph was not reached"), Remark("creep", "it crept"))
    add_entry(book, entry(replace(sheet, launches=(replace(sheet.launches[0], remarks=remarks),))))
    assert [one.code for one in all_runs(book)[0].run.remarks] == ["creep"]


def test_names_no_database_can_hold_are_kept_as_escapes(book):
    sheet = log("run\udcff\n\x1b[31m.nmea", [4.0])
    add_entry(book, entry(sheet, "a\udcfe\0b", vehicle="'; DROP TABLE runs; --", place="<script>"))
    (one,) = all_runs(book)
    assert one.log.path == "run\\udcff\n\x1b[31m.nmea"
    assert (one.run.setup, one.run.vehicle, one.run.place) == ("a\\udcfe\0b", "'; DROP TABLE runs; --", "<script>")
    assert add_entry(book, entry(sheet, "a\udcfe\0b")).status == "known"


# --- from words and sheets --------------------------------------------------------------------------------------------
def test_one_log_in_two_setups_is_refused():
    sheet = log("run1.nmea", [4.0])
    copy = log("copy.nmea", [4.0], content="run1.nmea")
    with pytest.raises(UsageError, match=r"copy\.nmea is in setup 'a' and in 'b'"):
        entries_of_files(
            {"a": [("run1.nmea", [sheet])], "b": [("copy.nmea", [copy])]},
            vehicle=Vehicle(), date=None, place="", window="1 s",
        )  # fmt: skip


def test_refused_logs_are_passed_over():
    refused = RunSheet(path="x", status="refused", error="x: not a log")
    nothing = entries_of_files({"a": [("x", [refused])]}, vehicle=Vehicle(), date=None, place="", window="1 s")
    assert nothing == []


def test_a_day_sheet_shares_out_one_log_by_the_clock_and_marks_what_was_skipped(book):
    file = Path("day.nmea")
    day = Day(date=date(2026, 5, 17), place="field", utc_offset_s=7200.0, conditions=Conditions(wind_mps=1.5))
    bike = Vehicle(name="pit bike", mass_kg=142, teeth=((15, 41),))
    noon = 11 * 3600.0 + 210  # 09:03:30 UTC: between the third and the fourth launch
    sheet = DaySheet(
        path=Path("day.toml"),
        day=day,
        vehicle=bike,
        setups=(
            Setup(name="a", files=(file,), to_s=noon, vehicle=bike, conditions=day.conditions, notes="warm"),
            Setup(
                name="b", files=(file,), from_s=noon, vehicle=Vehicle(name="pit bike", mass_kg=142, teeth=((15, 38),)),
                conditions=Conditions(wind_mps=2.5, rider_mass_kg=70, tyre_pressure_kpa=(150.0, 160.0)),
                skip=(Skip(file, "launch", 5), Skip(file, "pass", 6)),
            ),
        ),
    )  # fmt: skip
    whole = log("day.nmea", [4.0, 4.1, 4.2, 4.3, 4.4, 4.5], tops=[25.0] * 6)
    (only,) = entries_of_sheet(sheet, {file: [whole]}, window="1 s")
    added = add_entry(book, only)
    assert (added.launches, added.passes, added.left_out, added.setups) == (6, 6, 2, ("a", "b"))
    runs = [(one.run.setup, one.run.kind, one.run.number, bool(one.run.left_out)) for one in all_runs(book)]
    assert [one for one in runs if one[1] == "launch"] == [
        *(("a", "launch", k, False) for k in (1, 2, 3)),
        *(("b", "launch", k, k == 5) for k in (4, 5, 6)),
    ]
    assert sum(one[3] for one in runs) == 2
    first, second = all_fittings(book)
    assert first.facts == {"mass_kg": 142, "teeth": [[15, 41]], "wind_mps": 1.5, "notes": "warm"}
    assert second.facts == {
        "mass_kg": 142, "teeth": [[15, 38]], "wind_mps": 2.5, "rider_mass_kg": 70, "tyre_pressure_kpa": [150, 160],
    }  # fmt: skip
    (vehicle,) = vehicles_of(book.connection)
    assert (vehicle.name, vehicle.mass_kg, vehicle.teeth, vehicle.max_engine_rpm) == (
        "pit bike",
        142,
        ((15, 41),),
        None,
    )


def test_a_setup_of_the_sheet_without_files_looks_at_every_log(book):
    sheet = DaySheet(
        path=Path("day.toml"),
        day=Day(utc_offset_s=0.0),
        setups=(Setup(name="a", to_s=36000.0), Setup(name="b", from_s=36000.0)),
    )
    logs = {Path("1"): [log("1", [4.0])], Path("2"): [log("2", [4.0], origin=MORNING + 3600)]}
    for one in entries_of_sheet(sheet, logs, window="1 s"):
        add_entry(book, one)
    assert [(one.run.setup, one.log.path) for one in all_runs(book)] == [("a", "1"), ("b", "2")]


def test_what_is_stated_later_adds_to_what_was_stated(book):
    add_entry(book, entry(log("run1.nmea", [4.0])))
    more = entry(log("run2.nmea", [4.0]), date=date(2026, 5, 18))
    add_entry(book, replace(more, vehicle=Vehicle(name="pit bike", mass_kg=145, tyre_circumference_m=1.3)))
    (vehicle,) = vehicles_of(book.connection)
    assert (vehicle.mass_kg, vehicle.tyre_circumference_m) == (145, 1.3)


# --- taking out -------------------------------------------------------------------------------------------------------
def test_a_log_that_was_taken_out_can_be_added_in_another_way(tmp_path):
    with open_book_to_write(tmp_path / "runs.book") as book:
        _taken_out_and_added(book)


def _taken_out_and_added(book):
    add_entry(book, entry(log("run1.nmea", [4.0, 4.1])))
    add_entry(book, entry(log("run2.nmea", [4.0]), vehicle="kart", place="hall"))
    (gone,) = remove_logs(book, path="run1.nmea")
    assert (gone.status, gone.launches, gone.setups) == ("removed", 2, ("standard spring",))
    assert [one.run.vehicle for one in all_runs(book)] == ["kart"]
    assert [one.name for one in vehicles_of(book.connection)] == ["kart"]
    assert [one.vehicle for one in all_fittings(book)] == ["kart"]
    for table, count in {"days": 1, "setups": 1, "curves": 1, "remarks": 1, "fittings": 1}.items():
        assert book.connection.execute(f"SELECT count(*) FROM {table}").fetchone() == (count,)
    assert add_entry(book, entry(log("run1.nmea", [4.0, 4.1]), "stiff spring")).status == "added"
    with pytest.raises(BookError, match=r"no log 'run9\.nmea' is in the run book"):
        remove_logs(book, path="run9.nmea")


def test_a_log_is_known_by_its_bytes_also_when_taken_out(book, tmp_path):
    (tmp_path / "now here.nmea").write_text("run1.nmea")  # the bytes that the log was made up from
    add_entry(book, entry(log("was there.nmea", [4.0], content="run1.nmea")))
    sha256 = fingerprint_of(str(tmp_path / "now here.nmea"))
    assert len(remove_logs(book, sha256=sha256, path="now here.nmea")) == 1
    assert fingerprint_of("no such file") == fingerprint_of(str(tmp_path)) == ""


def test_a_copy_in_memory_is_as_good_as_the_file(tmp_path):
    with open_book_to_write(tmp_path / "runs.book") as book:
        add_entry(book, entry(log("run1.nmea", [4.0])))
        with open_book(book.path) as copy:
            assert all_runs(copy) == all_runs(book)
