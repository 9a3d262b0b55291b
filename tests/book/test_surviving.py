"""Two programs at once, and kill -9 at any moment: every log wholly in the book or not at all, none lost, none twice.

SQLite itself is the judge: its integrity check on the file as it was left.
"""

import os
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from tests.book.making import entry, log
from traceanalyze.book.opening import open_book, open_book_to_write
from traceanalyze.book.reading import all_runs
from traceanalyze.book.store import add_entry

ROOT = Path(__file__).resolve().parents[2]
HEAD = """
import os, signal, sys
sys.path.insert(0, sys.argv[2])
from tests.book.making import entry, log
from traceanalyze.book.opening import open_book_to_write
from traceanalyze.book.store import add_entry
"""
RUNS = 12


def started(code, book, *words):
    command = [sys.executable, "-c", HEAD + code, book, ROOT, *words]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def check(book, told):
    """The file is sound, every log in it is whole, and every log that was told to be in it is."""
    with closing(sqlite3.connect(book)) as plain:
        assert plain.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert plain.execute("PRAGMA foreign_key_check").fetchall() == []
        rows = plain.execute(
            "SELECT path, (SELECT count(*) FROM runs WHERE log_id = logs.id), (SELECT count(*) FROM results JOIN runs "
            "ON runs.id = run_id WHERE log_id = logs.id), (SELECT count(*) FROM curves JOIN runs ON runs.id = run_id "
            "WHERE log_id = logs.id), (SELECT count(*) FROM remarks WHERE log_id = logs.id) FROM logs"
        ).fetchall()
    assert all(counts == (RUNS, 3 * RUNS, RUNS, 1) for _, *counts in [(r[0], r[1:]) for r in rows] for counts in counts)
    assert {path for path, *_ in rows} >= set(told)
    return {path for path, *_ in rows}


KILLED = """
with open_book_to_write(sys.argv[1]) as book:
    for k in range(100_000):
        name = f"{sys.argv[3]}-{k}.nmea"
        add_entry(book, entry(log(name, [4.0] * 12)))
        print(name, flush=True)
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no kill -9 here")
def test_killed_at_any_moment(tmp_path):
    book = tmp_path / "runs.book"
    told = set()
    for round_, delay_s in enumerate((0.0, 0.008, 0.03)):
        child = started(KILLED, book, str(round_))
        told.add(child.stdout.readline().strip())
        time.sleep(delay_s)
        child.kill()
        told |= {line for line in child.communicate()[0].split("\n") if line.endswith(".nmea")}
        there = check(book, told)
        assert len(there - told) <= round_ + 1  # at most one a kill was committed and not yet told
    with open_book_to_write(book) as opened:  # and the book goes on as if nothing had been
        assert add_entry(opened, entry(log("last.nmea", [4.0] * RUNS))).status == "added"
    check(book, told | {"last.nmea"})


MIDWAY = """
with open_book_to_write(sys.argv[1]) as book:
    book.connection.execute("PRAGMA cache_size = 1")  # so that the change reaches the file before it is finished
    with book.change() as connection:
        connection.execute("DELETE FROM results")
        connection.execute("UPDATE runs SET start_s = -1")
        connection.execute("UPDATE curves SET points = '[]'")
        os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no kill -9 here")
@pytest.mark.parametrize("opening", [open_book, open_book_to_write])
def test_killed_in_the_middle_of_a_change_that_had_reached_the_file(tmp_path, opening):
    book = tmp_path / "runs.book"
    with open_book_to_write(book) as opened:
        for k in range(4):
            add_entry(opened, entry(log(f"{k}.nmea", [4.0] * RUNS)))
    before = book.read_bytes()
    child = started(MIDWAY, book)
    assert child.communicate()[1] == ""
    assert child.returncode == -signal.SIGKILL
    assert book.read_bytes() != before  # the file really was left half changed
    assert (tmp_path / "runs.book-journal").stat().st_size > 0
    with opening(book) as opened:  # reading alone puts it right, too
        assert len(all_runs(opened)) == 4 * RUNS
    assert book.read_bytes() == before
    assert check(book, ()) == {f"{k}.nmea" for k in range(4)}


AT_ONCE = """
with open_book_to_write(sys.argv[1]) as book:
    print("ready", flush=True)
    sys.stdin.readline()
    for k in range(5):
        for name in (f"{sys.argv[3]}-{k}.nmea", f"shared-{k}.nmea"):
            print(name, add_entry(book, entry(log(name, [4.0] * 12))).status, flush=True)
"""


def test_two_programs_at_once(tmp_path):
    book = tmp_path / "runs.book"
    command = [sys.executable, "-c", HEAD + AT_ONCE, book, ROOT]
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    children = [subprocess.Popen([*command, name], **pipes) for name in ("a", "b")]
    assert [child.stdout.readline() for child in children] == ["ready\n", "ready\n"]  # both made or found the book
    for child in children:
        child.stdin.write("go\n")
        child.stdin.flush()
    said = [child.communicate() for child in children]
    assert [errors for _, errors in said] == ["", ""]
    status = [line.split() for text, _ in said for line in text.splitlines()]
    names = {name for name, _ in status}
    assert len(names) == 15
    for name in names:  # of two that bring the same log one adds it, and both know
        expected = ["added", "known"] if name.startswith("shared") else ["added"]
        assert sorted(what for other, what in status if other == name) == expected
    assert check(book, names) == names


def test_a_program_that_waits_too_long_says_so(tmp_path, monkeypatch):
    book = tmp_path / "runs.book"
    open_book_to_write(book).connection.close()
    monkeypatch.setattr("traceanalyze.book.opening.PATIENCE_S", 0.05)
    with closing(sqlite3.connect(book, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        for opening in (open_book, open_book_to_write):
            with pytest.raises(Exception, match="in use by another program; try again when that has ended"):
                opening(book)
        other.execute("COMMIT")
    open_book_to_write(book).connection.close()


def test_workers_that_were_forked_do_not_share_a_connection(tmp_path):
    """Each opening is its own: a child's opening and closing leaves the parent's locks and book alone."""
    book = tmp_path / "runs.book"
    with open_book_to_write(book) as opened:
        child = started("open_book_to_write(sys.argv[1]).connection.close(); print(os.getpid())", book)
        assert child.communicate()[0].strip() != str(os.getpid())
        assert add_entry(opened, entry(log("run1.nmea", [4.0] * RUNS))).status == "added"
    check(book, {"run1.nmea"})
