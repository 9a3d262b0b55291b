"""The sample traces are what their script makes, byte for byte, and small."""

import importlib.util
import json
import tomllib
from pathlib import Path

import pytest

SAMPLES = Path(__file__).resolve().parents[2] / "sample_traces"


@pytest.fixture(scope="module")
def made():
    spec = importlib.util.spec_from_file_location("make_samples", SAMPLES / "make.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.files()


def test_the_script_makes_them_again_byte_for_byte(made):
    for name, data in made.items():
        assert (SAMPLES / name).read_bytes() == data, f"{name} differs: run python sample_traces/make.py"


def test_nothing_else_lies_there_and_it_is_small(made):
    there = {path.name for path in SAMPLES.iterdir() if path.is_file()}
    assert there == {*made, "README.md", "make.py", "day.toml", ".gitattributes"}
    assert sum(path.stat().st_size for path in SAMPLES.iterdir() if path.is_file()) < 3_000_000


def truth_of(name):
    return json.loads((SAMPLES / f"{name}.truth.json").read_text())


def elapsed_s(name):
    return [
        one["elapsed_s"]
        for launch in truth_of(name)["launches"]
        for one in launch["times"]
        if one["measure"] == "0-30 mph" and one["start_rule"] == "rollout"
    ]


def test_four_launches_and_two_pairs_of_passes_for_each_spring():
    standard = [truth_of(f"standard_spring_{k}.nmea") for k in (1, 2)]
    stiff = [truth_of("stiff_spring.nmea")]
    for logs in (standard, stiff):
        assert sum(len(log["launches"]) for log in logs) == 4
        headings = [one["heading_deg"] for log in logs for one in log["passes"]]
        assert sorted(headings) == [75.0, 75.0, 255.0, 255.0]


def test_the_runs_drawn_show_about_the_true_difference():
    standard = elapsed_s("standard_spring_1.nmea") + elapsed_s("standard_spring_2.nmea")
    stiff = elapsed_s("stiff_spring.nmea")
    gain = sum(standard) / 4 - sum(stiff) / 4
    assert 0.15 < gain < 0.25


def test_the_day_sheet_names_the_logs_and_the_machine():
    sheet = tomllib.loads((SAMPLES / "day.toml").read_text())
    assert {file for setup in sheet["setup"] for file in setup["files"]} <= {path.name for path in SAMPLES.iterdir()}
    teeth = sheet["vehicle"]["teeth"]
    assert teeth[1] / teeth[0] * teeth[3] / teeth[2] == pytest.approx(6.4)


def test_readers_are_told_that_it_is_simulated():
    assert "Nobody's real ride" in (SAMPLES / "README.md").read_text()
    assert "nobody's real ride" in truth_of("stiff_spring.nmea")["note"]
