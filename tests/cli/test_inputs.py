"""Files as people drop them: quoted, escaped, as addresses (RFC 8089), as patterns."""

import os

import pytest

from traceanalyze.cli.inputs import as_dropped


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for name in ("ride one.nmea", "b.nmea", "a.nmea", "50% off.gpx", "weird[1].csv", "it's.csv"):
        (tmp_path / name).write_text("x")
    return tmp_path


def test_names_that_exist_are_left_alone(folder):
    names = ["ride one.nmea", "weird[1].csv", "it's.csv", "50% off.gpx", "-"]
    assert as_dropped(names) == names


@pytest.mark.parametrize("form", ["file://{}", "file://localhost{}", "FILE://{}", "file:{}"])
def test_addresses_of_this_machine(folder, form):
    # RFC 8089, 2: file-hier-part is "//" auth-path or local-path; auth is empty or localhost for the local machine.
    # RFC 3986, 2.1: a space is %20, a percent sign %25
    assert as_dropped([form.format(f"{folder}/ride%20one.nmea")]) == [f"{folder}/ride one.nmea"]
    assert as_dropped([form.format(f"{folder}/50%25%20off.gpx")]) == [f"{folder}/50% off.gpx"]


def test_addresses_of_other_machines_are_no_files_here(folder):
    address = f"file://server{folder}/a.nmea"
    assert as_dropped([address]) == [address]


@pytest.mark.parametrize(
    "word", ["'ride one.nmea'", '"ride one.nmea"', "ride\\ one.nmea", " ride one.nmea ", "'ride one.nmea' "]
)
def test_quotes_and_escapes_that_terminals_paste(folder, word):  # common practice, no source
    assert as_dropped([word]) == ["ride one.nmea"]


def test_patterns_the_shell_did_not_expand(folder):
    assert as_dropped(["*.nmea"]) == ["a.nmea", "b.nmea", "ride one.nmea"]
    assert as_dropped(["'?.nmea'"]) == ["a.nmea", "b.nmea"]
    assert as_dropped(["nothing*.nmea"]) == ["nothing*.nmea"]


def test_home(folder, monkeypatch):
    monkeypatch.setenv("HOME", str(folder))
    monkeypatch.setenv("USERPROFILE", str(folder))
    assert as_dropped(["~/a.nmea"]) == [os.path.join(str(folder), "a.nmea")]  # noqa: PTH118 - as text


@pytest.mark.parametrize(
    "word", ["", "none.nmea", "http://example.org/a.nmea", "a\0b", "[", "~nobody/x", "file:", "'", "\udc80"]
)
def test_what_is_no_file_stays_as_it_is(folder, word):
    assert as_dropped([word]) == [word]


def test_order_and_repeats_stay(folder):
    assert as_dropped(["b.nmea", "a.nmea", "b.nmea"]) == ["b.nmea", "a.nmea", "b.nmea"]
