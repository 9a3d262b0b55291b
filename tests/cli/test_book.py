"""The commands of the run book, as somebody types them. The sample logs are the project's own simulation."""

import io
import json
import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pandas as pd
import pytest

from traceanalyze.cli.app import run

SAMPLES = Path(__file__).resolve().parents[2] / "sample_traces"


@pytest.fixture(scope="module")
def made_once(tmp_path_factory):
    path = tmp_path_factory.mktemp("made") / "runs.book"
    assert run(["book", "add", str(SAMPLES / "day.toml"), "--book", str(path), "--quiet"]) == 0
    return path


@pytest.fixture
def book(made_once, tmp_path, monkeypatch):
    path = shutil.copy(made_once, tmp_path / "runs.book")
    monkeypatch.setenv("TRACEANALYZE_BOOK", str(path))
    return Path(path)


@pytest.fixture
def say(capsys):
    """Run a command line; return its status, what it printed and what it said beside."""

    def said(*words):
        status = run([str(word) for word in words])
        out, err = capsys.readouterr()
        return status, out, err

    return said


def test_add_says_what_was_added_and_a_second_time_that_nothing_was(say, tmp_path):
    book = tmp_path / "new.book"
    words = ("book", "add", f"a b={SAMPLES / 'standard_spring_1.nmea'}", "--book", book)
    status, out, err = say(*words, "--vehicle", "pit bike", "--place", "field")
    assert (status, err) == (0, f"run book: {book}\n")
    assert out == f"{SAMPLES}/standard_spring_1.nmea: added 2 launches, 2 passes to a b (2026-05-17)\n"
    status, out, _ = say(*words)
    assert (status, out.endswith("in the book already, as a b (2026-05-17): nothing added\n")) == (0, True)


def test_add_keeps_what_the_day_sheet_says(book, say):
    status, out, _ = say("book", "show", "--json")
    document = json.loads(out)
    assert (status, document["schema"]) == (0, "traceanalyze.book-show/1")
    runs = document["runs"]
    assert {run["vehicle"] for run in runs} == {"pit bike (invented)"}
    launches = [run for run in runs if run["kind"] == "launch"]
    # the truth of the samples: 2, 4 and 2 launches, out and back along 75 and 255 degrees
    assert [run["setup"].split()[0] for run in launches] == ["standard"] * 2 + ["stiff"] * 4 + ["standard"] * 2
    assert [run["order"] for run in launches] == [1, 2, 3, 4, 5, 6, 7, 8]
    assert [run["direction"] for run in launches] == ["E", "W"] * 4
    measures = {result["measure"] for result in launches[0]["results"]}
    assert {"0-20 mph", "0-30 mph", "10-30 mph", "20-30 mph", "60 ft"} <= measures
    assert not [remark for run in runs for remark in run["remarks"] if remark["code"] == "not-reached"]


def test_list_shows_every_setup_with_uncertainty(book, say):
    status, out, _ = say("book", "list")
    assert status == 0
    assert "standard spring     1     2         4       4" in out
    assert "stiff spring        1     1         4       4" in out
    assert out.count("±") == 4
    _, out, _ = say("book", "list", "--units", "metric", "--measure", "top speed")
    assert "top speed [km/h]" in out
    document = json.loads(say("book", "list", "--json")[1])
    assert [one["setup"] for one in document["setups"]] == ["standard spring", "stiff spring"]
    assert document["setups"][0]["means"][1]["unit"] == "m/s"


def test_show_prints_runs_and_conditions_harmlessly(book, say):
    with closing(sqlite3.connect(book)) as plain:
        plain.execute("UPDATE setups SET name = 'a\x1b[31m' || char(8238) || '\nb' WHERE name = 'stiff spring'")
        plain.commit()
    status, out, _ = say("book", "show")
    assert status == 0
    assert "wind_mps 1.5" in out
    assert "#p4" in out
    assert "a\\x1b[31m\\u202e\\nb (pit bike (invented))" in out
    assert not set(out) & {"\x1b", "\u202e"}
    assert "no setup 'x' is in the run book; there are: " in say("book", "show", "x")[2]


def test_compare_from_the_book_is_compare_from_the_logs(book, say):
    """The same runs of one day must give the same verdict, whichever way they came."""
    status, out, _ = say("book", "compare", "standard spring", "stiff spring", "--json")
    from_book = json.loads(out)
    from_logs = json.loads(say("compare", SAMPLES / "day.toml", "--json")[1])
    assert status == 0
    assert [one["measure"] for one in from_book["measures"]] == [one["measure"] for one in from_logs["measures"]]
    for mine, theirs in zip(from_book["measures"], from_logs["measures"], strict=True):
        for key in ("difference", "stderr", "p_value", "verdict", "run_scatter", "model", "more_runs_each"):
            assert mine[key] == theirs[key], (mine["measure"], key)
        for key in ("baseline_runs", "changed_runs"):
            assert [_ridden(run) for run in mine[key]] == [_ridden(run) for run in theirs[key]]
    assert from_book["curves"]["bands"] == from_logs["curves"]["bands"]
    assert say("book", "compare", "standard spring", "stiff spring")[1].startswith(from_book["measures"][0]["why"][:40])


def _ridden(run):
    return run["value"], run["stderr"], run["direction"], run["order"], Path(run["file"]).name, run["launch"]


def test_compare_takes_a_smallest_difference(book, say):
    words = (
        "book",
        "compare",
        "standard spring",
        "stiff spring",
        "--json",
        "--smallest",
        "0.05",
        "--smallest",
        "1 mph",
    )
    found = {one["measure"]: one["smallest_meaningful"] for one in json.loads(say(*words)[1])["measures"]}
    assert found["0-30 mph"] == 0.05
    assert found["top speed"] == pytest.approx(0.44704)  # 1 mph, exact


def test_scatter_with_its_uncertainty(book, say):
    status, out, _ = say("book", "scatter", "--measure", "0-30 mph", "--json")
    document = json.loads(out)
    assert (status, document["df"], document["start_rule"]) == (0, 4, "rollout")  # 2 setups x 2 ways x (2 - 1)
    # JCGM 100:2008, E.4.3: the relative uncertainty of a standard deviation is about 1 / sqrt(2 df)
    assert document["stderr"] == pytest.approx(document["scatter"] / 8**0.5, abs=1e-6)
    assert "4 degrees of freedom" in say("book", "scatter")[1]
    assert "cannot be told yet" in say("book", "scatter", "--measure", "1/8 mi")[1]


def test_export_and_import_make_the_same_book(book, say, tmp_path):
    first, second, other = tmp_path / "a.json", tmp_path / "b.json", tmp_path / "other.book"
    assert say("book", "export", "--out", first)[0] == 0
    assert say("book", "import", first, "--book", other)[1] == "3 logs added, no logs known already\n"
    assert say("book", "import", first, "--book", other)[1] == "no logs added, 3 logs known already\n"
    assert say("book", "export", "--book", other, "--out", second)[0] == 0
    assert first.read_bytes() == second.read_bytes()
    assert json.loads(say("book", "export")[1]) == json.loads(first.read_text())


def test_export_to_a_table(book, say):
    frame = pd.read_csv(io.StringIO(say("book", "export", "--to", "csv")[1]))
    times = frame[(frame["measure"] == "0-30 mph") & (frame["start_rule"] == "rollout")]
    assert times.groupby("setup")["value"].count().to_dict() == {"standard spring": 4, "stiff spring": 4}


def test_export_never_replaces_the_book_or_a_file_unasked(book, say, tmp_path):
    before = book.read_bytes()
    status, _, err = say("book", "export", "--out", book, "--force")
    assert (status, "same file as the input" in err) == (1, True)
    (tmp_path / "old.json").write_text("mine")
    assert "exists already" in say("book", "export", "--out", tmp_path / "old.json")[2]
    assert (book.read_bytes(), (tmp_path / "old.json").read_text()) == (before, "mine")


def test_remove_lets_a_log_be_added_in_another_way(book, say):
    status, out, _ = say("book", "remove", SAMPLES / "stiff_spring.nmea")
    assert (status, "removed 4 launches, 4 passes of stiff spring" in out) == (0, True)
    assert "stiff" not in say("book", "list")[1]
    status, _, err = say("book", "remove", SAMPLES / "stiff_spring.nmea")
    assert (status, "no log" in err) == (1, True)


def test_a_refused_log_is_told_and_the_others_are_kept(say, tmp_path):
    (tmp_path / "notes.txt").write_text("hello\n" * 20)
    log = SAMPLES / "standard_spring_1.nmea"
    status, out, err = say("book", "add", f"a={tmp_path / 'notes.txt'},{log}", "--book", tmp_path / "x.book")
    assert (status, "added 2 launches" in out) == (1, True)
    assert len([line for line in err.splitlines() if line.startswith("traceanalyze: ")]) == 1
    status, out, _ = say("book", "add", f"a={tmp_path / 'notes.txt'}", "--book", tmp_path / "y.book", "--json")
    assert (status, json.loads(out)["logs"], (tmp_path / "y.book").exists()) == (1, [], False)


def test_nothing_is_written_without_add(say, tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    monkeypatch.delenv("TRACEANALYZE_BOOK", raising=False)
    monkeypatch.setenv("HOME", str(tmp_path))
    for words in (["list"], ["show"], ["scatter"], ["export"], ["compare", "a", "b"]):
        status, _, err = say("book", *words)
        assert (status, "no run book here; traceanalyze book add makes one" in err) == (1, True)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("words", "status", "told"),
    [
        ([], 2, "Missing command"),
        (["add"], 2, "Missing argument"),
        (["add", "run1.nmea"], 2, "does not name a setup and its logs"),
        (["add", "a=x.nmea", "--date", "17.5.2026"], 2, "is no date; write it like --date 2026-05-17"),
        (["add", "day.toml"], 1, "no such file"),
        (["lsit"], 2, "No such command"),
        (["list", "--measure", "fast"], 2, "is not a known measure"),
        (["list", "--units", "stone"], 2, "--units 'stone' is not known"),
        (["compare", "stiff spring", "stiff spring"], 2, "cannot be compared with itself"),
        (["compare", "standard spring", "soft spring"], 1, "no setup 'soft spring'"),
        (["scatter", "--vehicle", "kart"], 1, "no vehicle 'kart' is in the run book"),
        (["export", "--to", "xml"], 2, "--to 'xml' is not known"),
        (["import", "no.json"], 1, "no such file"),
    ],
)
def test_wrong_words_are_one_line(book, say, words, status, told):
    found, out, err = say("book", *words)
    assert (found, out) == (status, "")
    assert told in err
    assert len(err.splitlines()) == 1


def test_a_sheet_with_options_it_should_say_itself(say, tmp_path):
    status, _, err = say("book", "add", SAMPLES / "day.toml", "--place", "x", "--book", tmp_path / "x.book")
    assert (status, "do not go with a day sheet; write them in the sheet" in err) == (2, True)


def test_help_has_an_example_for_each_command_and_loads_nothing_heavy():
    code = (
        "import sys; from traceanalyze.cli.app import run\n"
        "for name in ('add', 'remove', 'list', 'show', 'compare', 'scatter', 'export', 'import'):\n"
        "    assert run(['book', name, '--help']) == 0\n"
        "sys.exit(sum(heavy in sys.modules for heavy in ('numpy', 'scipy', 'pandas', 'matplotlib', 'sqlite3')))"
    )
    environment = os.environ | {"PYTHONPATH": str(SAMPLES.parent), "COLUMNS": "100"}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=environment)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.count("traceanalyze book ") >= 8 * 2  # the usage line and an example of each
