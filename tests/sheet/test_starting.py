"""The starting sheet: valid TOML that names the very files, whatever they are called."""

import tomllib
from datetime import UTC, date, datetime

from hypothesis import given
from hypothesis import strategies as st

from traceanalyze.sheet import FoundLog, new_sheet_text, read_sheet

MORNING = datetime(2026, 5, 17, 9, 0, tzinfo=UTC).timestamp()


def test_a_starting_sheet_is_read_back(tmp_path):
    for name in ("run1.nmea", "run1.gpx", "sub.dir.csv"):
        (tmp_path / name).touch()
    logs = [
        FoundLog(name="run1.nmea", start_utc_s=MORNING + 3600, duration_s=724, launches=4, passes=1),
        FoundLog(name="run1.gpx", start_utc_s=MORNING, duration_s=60, launches=1, passes=2),
        FoundLog(name="sub.dir.csv"),
        FoundLog(name="notes.txt", error="not a log this program reads"),
    ]
    text = new_sheet_text(logs)
    (tmp_path / "day.toml").write_text(text)
    sheet = read_sheet(tmp_path / "day.toml")
    assert sheet.day.date == date(2026, 5, 17)
    assert [setup.name for setup in sheet.setups] == ["run1", "run1.gpx", "sub"]
    assert sheet.files == tuple(tmp_path / log.name for log in logs[:3])
    assert "# 10:00:00 to 10:12:04 UTC, 4 launches, 1 pass\n" in text
    assert "# 0 s without a date, 0 launches, 0 passes\n" in text
    assert "# notes.txt: not a log this program reads\n" in text


def test_every_note_that_is_a_key_can_be_switched_on(tmp_path):
    (tmp_path / "run1.nmea").touch()
    text = new_sheet_text([FoundLog(name="run1.nmea", start_utc_s=MORNING)])
    switched = "\n".join(line[2:] if " = " in line and line.startswith("# ") else line for line in text.splitlines())
    (tmp_path / "day.toml").write_text(switched)
    sheet = read_sheet(tmp_path / "day.toml")
    assert sheet.vehicle.teeth == ((15, 41),)
    assert sheet.day.utc_offset_s == 7200
    assert sheet.setups[0].skip[0].number == 1


@given(st.lists(st.text(st.characters(exclude_categories=("Cs",)), min_size=1, max_size=20), unique=True, max_size=6))
def test_no_name_can_write_into_the_sheet(names):
    text = new_sheet_text([FoundLog(name=name, launches=2) for name in names])
    setups = tomllib.loads(text).get("setup", [])
    assert [setup["files"] for setup in setups] == [[name] for name in names]
    assert len({setup["name"].casefold() for setup in setups}) == len(names)
    assert all(setup["name"].strip() for setup in setups)


@given(st.text(max_size=30), st.text(max_size=30))
def test_a_reason_is_only_ever_a_note(name, reason):
    text = new_sheet_text([FoundLog(name=name, error="refused " + reason), FoundLog(name="\udcff.nmea")])
    assert set(tomllib.loads(text)) == {"day", "vehicle"}
    assert "\\xff.nmea: its name is not text" in text
