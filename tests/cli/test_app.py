"""The root: which words name a command, and what becomes of everything raised."""

import io
import os
import shutil
import subprocess
import sys
from importlib import import_module

import pytest
import typer

from tests.cli.conftest import process
from traceanalyze import __version__, session
from traceanalyze.cli import app, measuring, screen


def test_version_and_help(say):
    assert say("--version").out == f"traceanalyze {__version__}\n"
    shown = say("--help")
    assert shown.status == 0
    assert all(f"\n  {name} " in shown.out for name in app.COMMANDS)
    assert max(map(len, shown.out.splitlines())) <= 100
    assert say("help").out == say("-h").out == shown.out


@pytest.mark.parametrize("name", app.COMMANDS)
def test_every_command_is_there_and_shows_an_example(name, say):
    module = import_module(f"traceanalyze.cli.{name}")
    assert callable(getattr(module, name, None)) or isinstance(module.app, typer.Typer)
    shown = say(name, "--help")
    assert shown.status == 0
    assert "Example" in shown.out or name == "book"  # a group: each of its commands has one
    assert f"traceanalyze {name}" in shown.out


@pytest.mark.parametrize(
    ("words", "words_said"),
    [
        ([], "no log given"),
        (["mesure", "x.nmea"], "do you mean: traceanalyze measure"),
        (["ride"], "no command and no file is called 'ride'"),
        (["measure", "--jsn", "x"], "--json"),
        (["measure"], "Missing argument"),
        (["day"], "Missing argument"),
        (["x.nmea", "--units", "nautical"], "use one of imperial, metric"),
        (["x.nmea", "--start", "green"], "use one of rollout, rest, threshold"),
        (["x.nmea", "--measure", "0-30"], "'0-30' is not a known measure"),
        (["x.nmea", "--window", "1h"], "unknown unit"),
        (["x.nmea", "--column", "speed"], "--column wants WHAT=NAME"),
    ],
)
def test_wrong_usage_is_one_line_and_status_2(words, words_said, say):
    said = say(*words)
    assert said.status == 2
    assert said.out == ""
    assert len(said.err.splitlines()) == len(said.errors) == 1
    assert words_said in said.err


def test_a_file_called_like_a_command_is_reached(say, short, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    shutil.copy(short, "health")
    for words in (["./health"], ["--", "health"], ["measure", "health"]):
        said = say(*words)
        assert (said.status, "1 launch:" in said.out) == (0, True)


def test_a_file_without_ending_and_options_first(say, short, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    shutil.copy(short, "ride")
    assert "1 launch:" in say("ride").out
    assert say("--json", "ride").document["files"][0]["path"] == "ride"
    assert say("--units", "metric", "ride").status == 0


def test_standard_input(say, short, monkeypatch):
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(short.read_bytes())))
    entry = say("-", "--json").document["files"][0]
    assert (entry["path"], entry["status"], len(entry["launches"])) == ("-", "ok", 1)


def test_the_module_is_the_same_program(short, say):
    done = process(short)
    assert done.returncode == 0
    assert done.stdout.decode() == say(short).out


def test_an_interrupt_is_130(say, short, monkeypatch):
    def interrupted(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(measuring, "measured", interrupted)
    said = say(short)
    assert (said.status, said.out) == (130, "")
    assert said.err.strip() == "traceanalyze: interrupted"


def test_a_fault_of_ours_is_one_line_with_its_place_and_costs_only_its_log(say, short, monkeypatch, tmp_path):
    other = shutil.copy(short, tmp_path / "other.nmea")
    real = session.read_all
    monkeypatch.setattr(session, "read_all", lambda path, options: real(path, options) if path != str(short) else 1 / 0)
    said = say(short, other)
    assert said.status == 1
    assert "ZeroDivisionError in test_app.py" in said.err
    assert len(said.err.splitlines()) == 1
    assert "1 launch:" in said.out


def test_too_little_memory_is_one_line(say, short, monkeypatch):
    def full(*_):
        raise MemoryError

    monkeypatch.setattr(session, "read_all", full)
    said = say(short)
    assert (said.status, len(said.err.splitlines())) == (1, 1)
    assert "too large for the memory" in said.err


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="the system has no /dev/full")  # noqa: PTH110
def test_a_full_disk_is_a_failure(short):
    with open("/dev/full", "wb") as full:  # noqa: PTH123
        done = process(short, stdout=full, stderr=subprocess.PIPE)
    assert done.returncode == 1
    assert done.stderr.decode() == "traceanalyze: no space left on device; check the disk and the permissions\n"


@pytest.mark.skipif(os.name == "nt", reason="pipes of POSIX")
@pytest.mark.parametrize("words", [["--json"], []])
def test_a_closed_pipe_is_silent(short, words):
    reading, writing = os.pipe()
    os.close(reading)
    try:
        done = process(short, *words, stdout=writing, stderr=subprocess.PIPE)
    finally:
        os.close(writing)
    assert (done.returncode, done.stderr) == (0, b"")


@pytest.mark.skipif(os.name == "nt", reason="a shell of POSIX")
def test_closed_streams_do_no_harm(short):
    done = subprocess.run(
        ["sh", "-c", f"'{sys.executable}' -m traceanalyze '{short}' >&- 2>&-"], timeout=60, check=False
    )
    assert done.returncode == 0


def test_names_never_steer_the_terminal(say, tmp_path):
    name = tmp_path / "a\x1b[31m\u202egpj.\x07\nb"
    name.write_bytes(b"no log\n")
    said = say(name)
    assert said.status == 1
    assert len(said.err.splitlines()) == 1
    assert r"a\x1b[31m\u202egpj.\x07\nb" in said.err


def test_bold_is_for_terminals_that_want_it(say, short, monkeypatch):
    assert "\x1b" not in say(short).out
    monkeypatch.setattr(screen.sys.stdout.__class__, "isatty", lambda self: True, raising=False)
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm")
    assert "\x1b[1m" in say(short).out
    assert "\x1b" not in say(short, "--no-color").out
    monkeypatch.setenv("NO_COLOR", "1")  # https://no-color.org: any value that is not empty
    assert "\x1b" not in say(short).out


@pytest.mark.parametrize("encoding", ["ascii", "latin-1"])
def test_a_terminal_without_unicode_gets_plain_signs(short, encoding):
    done = process(short, env={"PYTHONIOENCODING": encoding})
    assert done.returncode == 0
    text = done.stdout.decode(encoding)
    assert "±" in text if encoding == "latin-1" else "+-" in text
