"""`traceanalyze day`: every log of a folder or sheet, a bad one never stopping the rest, the same bytes every time."""

import hashlib
import json
import os
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.cli.conftest import SAMPLES, process
from tests.cli.contract import check_file
from traceanalyze import session
from traceanalyze.cli import day as command
from traceanalyze.sheet import read_sheet

SHEET = """\
[day]
date = 2026-05-17
utc_offset = "+00:00"

[[setup]]
name = "standard"
files = ["a.nmea"]

[[setup]]
name = "gpx <b>"
files = ["b.gpx"]
"""


@pytest.fixture
def folder(tmp_path, short):
    """A day of two logs that can be read and one that cannot."""
    path = tmp_path / "logs"
    path.mkdir()
    shutil.copy(short, path / "a.nmea")
    shutil.copy(SAMPLES / "standard_spring_1_second_logger.gpx", path / "b.gpx")
    (path / "c.csv").write_text("no numbers\nhere\n")
    (path / "notes.md").write_text("not a log")
    (path / ".hidden.nmea").write_text("litter")
    return path


def digests(folder):
    files = sorted(path for path in Path(folder).rglob("*") if path.is_file())
    return {str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


def test_a_folder_with_a_bad_log(say, folder, tmp_path):
    out = tmp_path / "out"
    said = say("day", folder, "--out", out, "--workers", 1)
    assert said.status == 1
    assert said.out.startswith("3 logs: 3 launches, ")
    assert "1 could not be read" in said.out
    assert len(said.errors) == 1
    assert "c.csv" in said.errors[0]
    assert sorted(digests(out)) == [
        "compare-b-against-a.png", "comparisons.json", "overlay.png", "pictures/a.png", "pictures/b.png",
        "report.html", "results.csv", "results.json",
    ]  # fmt: skip
    results = json.loads((out / "results.json").read_text())
    assert [entry["status"] for entry in results["files"]] == ["ok", "ok", "refused"]
    for entry in results["files"]:
        check_file(entry)
    assert f"written to {out}: results.csv, results.json" in said.err


def test_json_is_all_there_is_on_standard_output(say, folder):
    said = say("day", folder, "--json", "--quiet", "--workers", 1)
    document = said.document
    assert document["schema"] == "traceanalyze.day/1"
    assert [setup["name"] for setup in document["setups"]] == ["a", "b"]
    assert [one["changed"] for one in document["comparisons"]] == ["b"]
    assert len(said.err.splitlines()) == 1


def test_a_sheet_says_which_log_is_which_setup(say, folder, tmp_path):
    (folder / "day.toml").write_text(SHEET)
    by_folder = say("day", folder, "--json")
    assert [setup["name"] for setup in by_folder.document["setups"]] == ["standard", "gpx <b>"]
    assert by_folder.status == 0  # the bad log is not named in the sheet
    by_sheet = say("day", folder / "day.toml", "--out", tmp_path / "out", "--no-pictures", "--json")
    assert by_sheet.document["comparisons"] == by_folder.document["comparisons"]
    assert sorted(digests(tmp_path / "out")) == ["comparisons.json", "report.html", "results.csv", "results.json"]


def test_windows_and_skips(say, folder, ride):
    shutil.copy(ride, folder / "long.nmea")
    # its launches start at 09:00:15 and 09:00:48
    (folder / "day.toml").write_text(
        '[day]\nutc_offset = "+02:00"\n'
        '[[setup]]\nname = "first"\nfiles = ["long.nmea"]\nfrom = "11:00:00"\nto = "11:00:40"\n'
        '[[setup]]\nname = "second"\nfiles = ["long.nmea"]\nfrom = "11:00:40"\nto = "11:10"\nskip = ["long.nmea#p1"]\n'
    )
    setups = say("day", folder, "--json").document["setups"]
    assert [(one["name"], one["launches"], one["passes"]) for one in setups] == [("first", 1, 0), ("second", 1, 1)]


def test_a_new_sheet_reads_back_without_mistakes(say, folder):
    said = say("day", folder, "--new-sheet", "--workers", 1)
    assert said.status == 1  # for the bad log
    path = folder / "day.toml"
    assert f"written: {path}" in said.err
    sheet = read_sheet(path)
    assert [setup.name for setup in sheet.setups] == ["a", "b"]
    assert "c.csv" in path.read_text()
    assert "# 09:00:00 to " in path.read_text()
    again = say("day", folder, "--new-sheet")
    assert "exists already" in again.err
    path.write_text("nonsense")
    assert say("day", folder, "--new-sheet", "--force", "--workers", 1).status == 1
    assert read_sheet(path).setups == sheet.setups
    elsewhere = folder.parent / "other.toml"
    assert say("day", folder, "--new-sheet", "--out", elsewhere, "--workers", 1).status == 1
    assert elsewhere.is_file()


def test_mistakes_of_a_sheet_are_all_told_at_once(say, folder):
    (folder / "day.toml").write_text(SHEET.replace("date", "dte").replace("b.gpx", "d.gpx"))
    said = say("day", folder)
    assert (said.status, said.out) == (2, "")
    assert len(said.errors) == len(said.err.splitlines()) >= 2
    assert "dte" in said.err
    assert "d.gpx" in said.err


@pytest.mark.parametrize("name", ["results.csv", "report.html", "pictures/b.png", "compare-b-against-a.png"])
def test_outputs_are_refused_before_the_work(say, folder, tmp_path, monkeypatch, name):
    taken = tmp_path / "out" / name
    taken.parent.mkdir(parents=True)
    taken.write_text("mine")
    monkeypatch.setattr(session, "read_all", lambda *_: pytest.fail("work was done for nothing"))
    said = say("day", folder, "--out", tmp_path / "out", "--workers", 1)
    assert (said.status, said.out, len(said.err.splitlines())) == (1, "", 1)
    assert f"{name}: exists already" in said.err
    assert taken.read_text() == "mine"


def test_the_folder_of_the_logs_is_no_place_for_results(say, folder):
    before = digests(folder)
    for words in ([folder, "--out", folder], [folder, "--out", folder, "--force"]):
        said = say("day", *words)
        assert (said.status, len(said.err.splitlines())) == (1, 1)
        assert "is the folder of the logs" in said.err
    assert digests(folder) == before


@pytest.mark.parametrize(
    ("words", "status", "reason"),
    [
        (["gone"], 1, "no such folder or day sheet"),
        (["gone.toml"], 1, "gone.toml"),
        (["a.nmea"], 1, "neither a folder nor a day sheet"),
        (["empty"], 1, "no log in this folder"),
        ([".", "--baseline", "none"], 2, "no setup is called 'none'"),
        ([".", "--workers", "0"], 2, "--workers"),
    ],
)
def test_what_makes_no_sense_is_one_line(say, folder, monkeypatch, words, status, reason):
    monkeypatch.chdir(folder)
    (folder / "empty").mkdir()
    (folder / "c.csv").unlink()
    said = say("day", *words)
    assert (said.status, len(said.err.splitlines())) == (status, 1)
    assert reason in said.err


def test_the_same_bytes_everywhere(say, folder, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (folder / "day.toml").write_text(SHEET)
    here = say("day", "logs", "--out", "out", "--workers", 1).out
    before = digests(tmp_path / "out")
    shutil.rmtree(tmp_path / "out")
    env = {"TZ": "Asia/Kolkata", "LC_ALL": "tr_TR.UTF-8", "LANG": "de_DE.UTF-8", "PYTHONHASHSEED": "77"}
    done = process("day", "logs", "--out", "out", "--workers", 2, cwd=tmp_path, env=env)
    assert done.returncode == 0, done.stderr
    assert done.stdout.decode() == here
    assert digests(tmp_path / "out") == before
    assert len(before) == 8


def test_progress_is_for_terminals(say, folder, monkeypatch, capsysbinary):
    assert "reading" not in say("day", folder, "--workers", 1).err
    monkeypatch.setattr(command.sys.stderr.__class__, "isatty", lambda self: True, raising=False)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("FORCE_COLOR", "1")
    assert "reading" in say("day", folder, "--workers", 1).err
    assert "reading" not in say("day", folder, "--workers", 1, "--quiet").err


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
def test_an_interrupt_ends_it_with_130(folder, tmp_path):
    import signal
    import sys
    import time

    for k in range(400):  # more than any machine measures before the interrupt
        os.link(SAMPLES / "stiff_spring.nmea", folder / f"d{k}.nmea")
    env = os.environ | {"PYTHONPATH": str(SAMPLES.parent)}
    words = [sys.executable, "-m", "traceanalyze", "day", str(folder), "--workers", "2"]
    running = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=env, start_new_session=True)
    time.sleep(2)
    os.killpg(running.pid, signal.SIGINT)  # as a terminal does, to every process of the group
    out, err = running.communicate(timeout=30)
    assert running.returncode == 130
    assert (out, err.decode().strip()) == (b"", "traceanalyze: interrupted")


def test_json_holds_what_compare_says_of_the_vehicle(say, tmp_path):
    # the sheet of the samples has teeth, tyre, slope and air
    words = ("--out", tmp_path / "out", "--no-pictures", "--workers", 1, "--json")
    day = json.loads(say("day", SAMPLES, *words).out)
    compared = json.loads(say("compare", SAMPLES / "day.toml", "--json").out)
    written = json.loads((tmp_path / "out" / "comparisons.json").read_text())
    for key in ("engine_speeds", "corrected"):
        assert day[key] == compared[key] == written[key]
        assert day[key]
