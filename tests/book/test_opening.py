"""Opening a book: where it lies, what is refused, older layouts. The outside here is SQLite itself."""

import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.book.making import entry, log
from traceanalyze.book.exchange import book_document
from traceanalyze.book.opening import Book, book_place, data_folder, open_book, open_book_to_write
from traceanalyze.book.reading import all_runs
from traceanalyze.book.schema import APPLICATION_ID, SCHEMA_VERSION, STEPS, bring_up_to_date
from traceanalyze.book.store import add_entry
from traceanalyze.errors import BookError, TraceError


@pytest.fixture(scope="module")
def made_once(tmp_path_factory):
    path = tmp_path_factory.mktemp("made") / "runs.book"
    with open_book_to_write(path) as opened:
        add_entry(opened, entry(log("run1.nmea", [4.0, 4.1, 4.2], tops=[25.0])))
    return path


@pytest.fixture
def book(tmp_path, made_once):
    return Path(shutil.copy(made_once, tmp_path))


@contextmanager
def as_nobody():
    """Act as a user without rights, since root may write anywhere."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.fixture
def open_folder():
    """A folder that every user may reach (pytest's own may be closed to others)."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o755)
    yield folder
    folder.chmod(0o700)
    shutil.rmtree(folder)


# --- place ------------------------------------------------------------------------------------------------------------
def test_the_platforms_data_folders():
    home = Path("/home/u")
    # XDG Base Directory Specification 0.8: '$XDG_DATA_HOME ... should be used. If ... not set or empty, a default equal
    # to $HOME/.local/share'; 'All paths ... must be absolute. If ... a relative path ... consider the path invalid and
    # ignore it.'
    assert data_folder({"XDG_DATA_HOME": "/data"}, "linux", home) == Path("/data")
    assert data_folder({"XDG_DATA_HOME": ""}, "linux", home) == home / ".local/share"
    assert data_folder({"XDG_DATA_HOME": "data"}, "freebsd14", home) == home / ".local/share"
    # Apple, File System Programming Guide: ~/Library/Application Support
    assert data_folder({"XDG_DATA_HOME": "/data"}, "darwin", home) == home / "Library/Application Support"
    assert data_folder({"LOCALAPPDATA": "/c/Local"}, "win32", home) == Path("/c/Local")
    assert data_folder({}, "win32", home) == home / "AppData/Local"


def test_given_wins_over_variable_wins_over_platform(monkeypatch, tmp_path):
    assert book_place("a.book", {"TRACEANALYZE_BOOK": "b.book"}) == Path("a.book")
    assert book_place(None, {"TRACEANALYZE_BOOK": "b.book"}) == Path("b.book")
    monkeypatch.setattr(Path, "home", lambda: tmp_path)
    monkeypatch.setattr(sys, "platform", "linux")
    assert book_place(None, {"TRACEANALYZE_BOOK": ""}) == tmp_path / ".local/share/traceanalyze/runs.book"


def test_nothing_is_made_before_something_is_added(tmp_path):
    place = tmp_path / "data" / "traceanalyze" / "runs.book"
    with pytest.raises(BookError, match=r"no run book here; traceanalyze book add makes one"):
        open_book(place)
    assert not list(tmp_path.iterdir())
    with open_book_to_write(place):
        pass
    assert place.parent.stat().st_mode & 0o777 == 0o700  # XDG: 'created with permission 0700'


def test_other_folders_are_not_made(tmp_path):
    with pytest.raises(BookError, match="its folder does not exist; make the folder first"):
        open_book_to_write(tmp_path / "no" / "runs.book")
    assert not list(tmp_path.iterdir())


# --- the file ---------------------------------------------------------------------------------------------------------
def test_it_is_one_sound_database_file(book):
    assert [path.name for path in book.parent.iterdir()] == ["runs.book"]  # nothing beside it at rest
    # https://sqlite.org/fileformat2.html section 1.3: bytes 0-15 'SQLite format 3', 68-71 the application id
    head = book.read_bytes()[:100]
    assert head[:16] == b"SQLite format 3\x00"
    assert head[68:72] == b"TAbk"
    with closing(sqlite3.connect(book)) as plain:
        assert plain.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert plain.execute("PRAGMA foreign_key_check").fetchall() == []
        assert plain.execute("PRAGMA user_version").fetchone() == (SCHEMA_VERSION,)
        rows = plain.execute("SELECT setup, measure, value, unit FROM all_results WHERE start_rule = 'rollout'")
        assert rows.fetchall() == [("standard spring", "0-30 mph", value, "s") for value in (4.0, 4.1, 4.2)]


def test_reading_writes_nothing(book):
    before, stamp = book.read_bytes(), book.stat().st_mtime_ns
    with open_book(book) as opened:
        assert len(all_runs(opened)) == 4
        with pytest.raises(sqlite3.OperationalError, match="readonly"):
            opened.connection.execute("DELETE FROM logs")
    assert book.read_bytes() == before
    assert book.stat().st_mtime_ns == stamp
    assert [path.name for path in book.parent.iterdir()] == ["runs.book"]


def test_a_reader_never_holds_up_a_writer(book):
    with open_book(book) as reader, open_book_to_write(book) as writer:
        add_entry(writer, entry(log("run2.nmea", [4.0])))
        assert len(all_runs(reader)) == 4  # as it stood when it was opened


def test_a_book_in_a_closed_folder_can_be_read_and_not_written(open_folder, book):
    copy = open_folder / "runs.book"
    shutil.copy(book, copy)
    copy.chmod(0o444)
    open_folder.chmod(0o555)
    with as_nobody():
        with open_book(copy) as opened:
            assert len(all_runs(opened)) == 4
        with pytest.raises(BookError, match="the run book cannot be written; check the permissions") as caught:
            _add_one(copy)
        with pytest.raises(BookError, match="cannot be opened"):
            open_book_to_write(open_folder / "new.book")
    assert "\n" not in str(caught.value)
    assert copy.read_bytes() == book.read_bytes()


def test_a_book_that_may_not_be_read(open_folder, book):
    copy = open_folder / "runs.book"
    shutil.copy(book, copy)
    copy.chmod(0o000)
    with (
        as_nobody(),
        pytest.raises(BookError, match="cannot be opened; check the name, the folder and the permissions"),
    ):
        open_book(copy)


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"$GPRMC,120000.00,A" * 100, "is not a run book; give the file of a run book, or a new name"),
        (b"SQLite format 3\x00" + b"\x10\x00\x01\x01\x00\x40\x20\x20" + b"\xff" * 4096, "not a run book|damaged"),
        (b"SQLite format 3\x00", "not a run book|damaged"),
    ],
)
def test_other_files_are_refused_and_left_alone(tmp_path, content, reason):
    path = tmp_path / "run1.nmea"
    path.write_bytes(content)
    for opening in (open_book, open_book_to_write):
        with pytest.raises(BookError, match=reason):
            opening(path)
    assert path.read_bytes() == content
    assert [one.name for one in tmp_path.iterdir()] == ["run1.nmea"]


def test_another_programs_database_is_refused_and_left_alone(tmp_path):
    path = tmp_path / "other.db"
    with closing(sqlite3.connect(path)) as other:
        other.execute("CREATE TABLE logs (x)")
        other.commit()
    before = path.read_bytes()
    for opening in (open_book, open_book_to_write):
        with pytest.raises(BookError, match="is not a run book"):
            opening(path)
    assert path.read_bytes() == before


def test_places_that_are_no_file(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    for path in (tmp_path, tmp_path / "pipe", tmp_path / "loop", "a\0b", "/dev/null", tmp_path / "runs.book" / "x"):
        for opening in (open_book, open_book_to_write):
            with pytest.raises(BookError) as caught:
                opening(path)
            assert "\n" not in str(caught.value)


@pytest.mark.parametrize("name", ["a b?mode=memory#x%41.book", "ü'\".book", "-.book", "file:x.book"])
def test_names_are_never_interpreted(tmp_path, name, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with open_book_to_write(name) as opened:
        add_entry(opened, entry(log("run1.nmea", [4.0])))
    with open_book(name) as opened:
        assert len(all_runs(opened)) == 1
    assert [path.name for path in tmp_path.iterdir()] == [name]


def test_an_empty_file_is_a_new_book(tmp_path):
    (tmp_path / "runs.book").touch()  # what is left when the program is killed right after opening it
    with open_book(tmp_path / "runs.book") as opened:
        assert all_runs(opened) == ()
    with open_book_to_write(tmp_path / "runs.book") as opened:
        add_entry(opened, entry(log("run1.nmea", [4.0])))


@pytest.mark.skipif(sys.platform != "linux", reason="uses a limit of Linux")
def test_a_full_disk_changes_nothing(book):
    before = book.read_bytes()
    code = (
        "import resource, signal, sys; sys.path.insert(0, sys.argv[2])\n"
        "from tests.book.making import entry, log\n"
        "from traceanalyze.book.opening import open_book_to_write\n"
        "from traceanalyze.book.store import add_entry\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (170_000, 170_000))\n"
        "with open_book_to_write(sys.argv[1]) as book: add_entry(book, entry(log('big.nmea', [4.0] * 300)))"
    )
    root = Path(__file__).resolve().parents[2]
    done = subprocess.run([sys.executable, "-c", code, book, root], capture_output=True, text=True)
    assert "BookError" in done.stderr
    assert "the disk" in done.stderr
    assert book.read_bytes() == before
    with open_book(book) as opened:
        assert len(all_runs(opened)) == 4


# --- layouts ----------------------------------------------------------------------------------------------------------
def book_of_version_1(path):
    """A book as the first layout had it, with one run, written by plain SQL."""
    with closing(sqlite3.connect(path, isolation_level=None)) as old:
        for statement in STEPS[0]:
            old.execute(statement)
        old.execute("PRAGMA user_version = 1")
        old.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        old.execute("INSERT INTO vehicles (name, mass_kg) VALUES ('pit bike', 142)")
        old.execute("INSERT INTO setups (vehicle_id, name) VALUES (1, 'standard spring')")
        old.execute("INSERT INTO days (date, place) VALUES ('2026-05-17', 'field')")
        old.execute(
            "INSERT INTO logs (sha256, path, status, points, duration_s, version) "
            "VALUES (?, 'a.nmea', 'ok', 9, 8.5, '0')",
            ("a" * 64,),
        )
        old.execute(
            "INSERT INTO runs (log_id, setup_id, day_id, kind, number, start_s) VALUES (1, 1, 1, 'launch', 1, 12.5)"
        )
        old.execute(
            "INSERT INTO results (run_id, measure, start_rule, value, stderr, unit) "
            "VALUES (1, '0-30 mph', 'rollout', 4.05, 0.02, 's')"
        )
        old.execute("INSERT INTO remarks (log_id, run_id, code, text) VALUES (1, 1, 'creep', 'it crept')")


def test_an_older_book_is_read_as_it_is_and_brought_up_to_date_on_writing(tmp_path):
    path = tmp_path / "old.book"
    book_of_version_1(path)
    before = path.read_bytes()
    with open_book(path) as opened:
        (run,) = all_runs(opened)
        assert run.run.results[0].value == 4.05
        assert [remark.code for remark in run.run.remarks] == ["creep"]
        assert (run.run.left_out, run.run.curve) == ("", None)
        document = book_document(opened)
    assert path.read_bytes() == before  # reading brought only a copy up to date
    with open_book_to_write(path) as opened:
        add_entry(opened, entry(log("run1.nmea", [4.0]), left_out={("launch", 1)}))
    with open_book(path) as opened:
        runs = all_runs(opened)
        assert {run.run.left_out for run in runs} == {"", "skipped on the day sheet"}
        assert book_document(opened)["logs"][0] == document["logs"][0]  # nothing of the old was lost
    with closing(sqlite3.connect(path)) as plain:
        assert plain.execute("PRAGMA user_version").fetchone() == (2,)
        assert plain.execute("PRAGMA integrity_check").fetchall() == [("ok",)]


def test_an_old_book_brought_up_to_date_is_laid_out_like_a_new_one(tmp_path):
    book_of_version_1(tmp_path / "old.book")
    open_book_to_write(tmp_path / "old.book").connection.close()
    open_book_to_write(tmp_path / "new.book").connection.close()
    with closing(sqlite3.connect(tmp_path / "old.book")) as old, closing(sqlite3.connect(tmp_path / "new.book")) as new:
        sql = "SELECT type, name, sql FROM sqlite_master ORDER BY 1, 2"
        assert old.execute(sql).fetchall() == new.execute(sql).fetchall()


def test_a_newer_book_is_refused_and_left_alone(book):
    with closing(sqlite3.connect(book)) as newer:
        newer.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
    before = book.read_bytes()
    for opening in (open_book, open_book_to_write):
        with pytest.raises(
            BookError, match=r"of a newer program \(layout 3, this program knows 2\); update traceanalyze"
        ):
            opening(book)
    assert book.read_bytes() == before


@pytest.mark.parametrize(
    "change",
    [
        "DROP TABLE remarks",
        "ALTER TABLE results RENAME COLUMN value TO amount",
        "CREATE TRIGGER t AFTER INSERT ON logs BEGIN DELETE FROM runs; END",
        "PRAGMA user_version = 1",
        "PRAGMA user_version = -1",
    ],
)
def test_a_book_that_was_rearranged_is_refused(book, change):
    with closing(sqlite3.connect(book)) as plain:
        plain.execute(change)
        plain.commit()
    if change == "PRAGMA user_version = 1":  # says it is older than it is: the step fails, and nothing is changed
        with pytest.raises(BookError):
            open_book_to_write(book)
        return
    for opening in (open_book, open_book_to_write):
        with pytest.raises(BookError, match="not laid out as it was made"):
            opening(book)


def test_a_step_that_fails_changes_nothing(tmp_path, monkeypatch):
    path = tmp_path / "old.book"
    book_of_version_1(path)
    before = path.read_bytes()
    broken = (STEPS[0], (*STEPS[1], "CREATE TABLE logs (again)"))
    monkeypatch.setattr("traceanalyze.book.schema.STEPS", broken)
    with pytest.raises(BookError, match="already exists"):
        open_book_to_write(path)
    assert path.read_bytes() == before


def test_every_version_is_reached_from_every_earlier_one():
    for start in range(SCHEMA_VERSION + 1):
        with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
            bring_up_to_date(connection, start)
            bring_up_to_date(connection)
            assert connection.execute("PRAGMA user_version").fetchone() == (SCHEMA_VERSION,)


# --- damage -----------------------------------------------------------------------------------------------------------
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_a_damaged_book_is_an_error_or_a_part_and_nothing_else(book, data):
    content = bytearray(book.read_bytes())
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(content) - 1))
        content[at : at + 8] = data.draw(st.binary(min_size=1, max_size=8))
    if data.draw(st.booleans()):
        del content[data.draw(st.integers(0, len(content) - 1)) :]
    damaged = book.parent / "damaged.book"
    damaged.write_bytes(content)
    for use in (_read_all, _add_one):
        try:
            use(damaged)
        except TraceError as error:
            assert "\n" not in str(error)  # noqa: PT017 - anything else is the failure


def _read_all(path):
    with open_book(path) as opened:
        all_runs(opened)
        book_document(opened)


def _add_one(path):
    with open_book_to_write(path) as opened:
        add_entry(opened, entry(log("run9.nmea", [4.0])))


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE runs SET start_s = 'soon'",
        "UPDATE results SET value = x'ff'",
        "UPDATE results SET unit = 'mph'",
        "UPDATE logs SET skipped = '{'",
        "UPDATE logs SET skipped = '[]'",
        "UPDATE logs SET sha256 = 'abc'",
        "UPDATE curves SET points = '{\"speed_mps\": [1]}'",
        "UPDATE curves SET points = '" + "[" * 100_000 + "'",
        "UPDATE days SET date = 'yesterday'",
        "UPDATE vehicles SET teeth = '7'",
    ],
)
def test_a_value_that_cannot_be_is_one_line(book, change):
    with closing(sqlite3.connect(book)) as plain:
        plain.execute(change)
        plain.commit()
    with open_book(book) as opened, pytest.raises(BookError) as caught:
        book_document(opened)
    assert "\n" not in str(caught.value)


def test_a_change_that_fails_midway_is_undone(book):
    with open_book_to_write(book) as opened, pytest.raises(KeyboardInterrupt):
        _interrupted(opened)
    with open_book(book) as opened:
        assert len(all_runs(opened)[0].run.results) == 3


def test_opening_to_write_and_adding_nothing_changes_nothing(book):
    before = book.read_bytes()
    open_book_to_write(book).connection.close()
    with open_book_to_write(book) as opened:
        assert add_entry(opened, entry(log("run1.nmea", [4.0, 4.1, 4.2], tops=[25.0]))).status == "known"
    assert book.read_bytes() == before


def _interrupted(book: Book) -> None:
    with book.change() as connection:
        connection.execute("DELETE FROM results")
        raise KeyboardInterrupt
