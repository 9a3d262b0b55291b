"""`traceanalyze simulate` writes a log and its truth, whole or not at all."""

import json

import pytest
import typer
from typer.testing import CliRunner

from traceanalyze.cli.simulate import simulate
from traceanalyze.errors import OutputError, UsageError

app = typer.Typer(pretty_exceptions_enable=False)
app.command()(simulate)


def run(*words):
    return CliRunner().invoke(app, [str(word) for word in words], catch_exceptions=True)


def test_log_and_truth_are_written(tmp_path):
    out = tmp_path / "ride.nmea"
    done = run("--out", out, "--launches", 1, "--passes", 0)
    assert done.exit_code == 0, done.output
    assert out.read_bytes().startswith(b"$GNRMC,090000.00,A,")
    truth = json.loads((tmp_path / "ride.nmea.truth.json").read_text())
    assert len(truth["launches"]) == 1
    assert "1 launches, 0 passes" in done.output


@pytest.mark.parametrize(
    ("name", "words", "head"),
    [
        ("a.gpx", [], b"<?xml"),
        ("a.csv", ["--accelerometer", "50"], b"unix_time_s"),
        ("a.dat", ["--format", "CSV"], b"unix_time_s"),
        ("a.dat", [], b"$GNRMC"),
    ],
)
def test_the_format_is_asked_for_or_read_off_the_ending(tmp_path, name, words, head):
    out = tmp_path / name
    done = run("--out", out, "--launches", 1, "--passes", 0, "--rate", 1, "--json", *words)
    assert done.exit_code == 0, done.output
    assert out.read_bytes().startswith(head)
    document = json.loads(done.stdout)
    assert document["schema"] == "traceanalyze.simulate/1"
    assert document["launches"] == 1
    assert document["log"] == str(out)


def test_nothing_is_overwritten_unasked(tmp_path):
    out = tmp_path / "ride.nmea"
    (tmp_path / "ride.nmea.truth.json").write_text("mine")
    refused = run("--out", out, "--launches", 1, "--passes", 0)
    assert isinstance(refused.exception, OutputError)
    assert not out.exists()
    assert (tmp_path / "ride.nmea.truth.json").read_text() == "mine"
    assert run("--out", out, "--launches", 1, "--passes", 0, "--force").exit_code == 0
    assert "traceanalyze.truth/1" in (tmp_path / "ride.nmea.truth.json").read_text()


@pytest.mark.parametrize(
    "words",
    [
        ["--format", "xml"], ["--setup", "soft"], ["--launches", "-1"], ["--rate", "0"], ["--noise", "-1"],
        ["--accelerometer", "100"], ["--launches", "2", "--aborted", "3"], ["--random", "-4"], ["--wind", "90"],
        ["--wind", "nan"], ["--noise", "nan"], ["--rate", "inf"], ["--accelerometer", "nan"],
    ],
)  # fmt: skip
def test_what_makes_no_sense_is_refused(tmp_path, words):
    refused = run("--out", tmp_path / "ride.nmea", *words)
    assert isinstance(refused.exception, UsageError)
    assert not list(tmp_path.iterdir())


def test_help_shows_an_example():
    assert "traceanalyze simulate --out ride.nmea" in run("--help").output
