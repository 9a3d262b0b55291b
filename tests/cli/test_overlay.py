"""`traceanalyze overlay`: setups by words or by a day sheet, one picture that never goes over anything."""

import json
import re

import pytest

from tests.cli.conftest import SAMPLES


@pytest.fixture
def words():
    return [
        f"standard={SAMPLES}/standard_spring_1.nmea,{SAMPLES}/standard_spring_2.nmea",
        f"stiff={SAMPLES}/stiff_spring.nmea",
    ]


def test_setups_and_their_runs(say, words, tmp_path):
    said = say("overlay", *words, "--out", tmp_path / "a.png", "--json")
    assert said.status == 0
    assert (tmp_path / "a.png").read_bytes().startswith(b"\x89PNG")
    document = said.document
    assert document["schema"] == "traceanalyze.overlay/1"
    assert [(one["name"], one["runs"]) for one in document["setups"]] == [("standard", 4), ("stiff", 4)]
    for one in document["setups"]:
        low, high = one["time_band95_s"]
        middle = [(a, t, b) for a, t, b in zip(low, one["time_s"], high, strict=True) if None not in (a, t, b)]
        assert middle
        assert all(a <= t <= b for a, t, b in middle)


def test_means_agree_with_the_simulated_truth(say, words, tmp_path):
    said = say("overlay", *words, "--out", tmp_path / "a.svg", "--json")
    for one, files in zip(
        said.document["setups"], (["standard_spring_1", "standard_spring_2"], ["stiff_spring"]), strict=True
    ):
        true = [
            time["elapsed_s"]
            for file in files
            for launch in json.loads((SAMPLES / f"{file}.nmea.truth.json").read_text())["launches"]
            for time in launch["times"]
            if (time["measure"], time["start_rule"]) == ("0-20 mph", "rollout")
        ]
        # 0.03 s: four launches, each known to about 0.025 s, and 0.125 m/s of grid at 2 m/s^2 read off linearly
        at_20_mph = min(range(len(one["speed_mps"])), key=lambda k: abs(one["speed_mps"][k] - 20 * 0.44704))
        slope = one["accel_mps2"][at_20_mph]
        found = one["time_s"][at_20_mph] + (20 * 0.44704 - one["speed_mps"][at_20_mph]) / slope
        assert found == pytest.approx(sum(true) / len(true), abs=0.03)


def test_a_day_sheet_and_units(say, tmp_path):
    said = say("overlay", SAMPLES / "day.toml", "--out", tmp_path / "a.pdf", "--units", "metric")
    assert said.status == 0
    assert (tmp_path / "a.pdf").read_bytes().startswith(b"%PDF")
    assert "km/h" in said.out
    assert f"picture: {tmp_path / 'a.pdf'}" in said.err


@pytest.mark.parametrize(("limit_rpm", "over"), [(3000, 2), (9000, 0)])
def test_an_engine_above_the_builders_limit_is_told(say, tmp_path, limit_rpm, over):
    # passes of about 22.4 m/s: n = 60 V / (D R) = 60 * 22.4 / (1.32 * 18/48 * 15/36) = 6520 rpm (French decree of
    # 27 March 1979, article 2: V = 0.06 D n R, in km/h)
    sheet = tmp_path / "day.toml"
    text = (
        (SAMPLES / "day.toml")
        .read_text()
        .replace('files = ["', f'files = ["{SAMPLES}/')
        .replace(', "', f', "{SAMPLES}/')
    )
    sheet.write_text(re.sub(r"max_engine_rpm = \d+", f"max_engine_rpm = {limit_rpm}", text))
    said = say("overlay", sheet, "--out", tmp_path / "a.png")
    assert said.status == 0
    assert said.out.count("turned the engine") == over
    again = say("overlay", sheet, "--out", tmp_path / "b.png", "--json")
    assert [one["code"] for one in again.document["remarks"]] == ["engine-above-limit"] * over


def test_patterns_and_the_same_name_again(say, tmp_path):
    said = say("overlay", f"a={SAMPLES}/standard*_1.nmea", f"a={SAMPLES}/standard*_2.nmea", f"b={SAMPLES}/stiff*.nmea",
               "--out", tmp_path / "a.png", "--json")  # fmt: skip
    assert [one["runs"] for one in said.document["setups"]] == [4, 4]


def test_a_refused_log_is_told_and_the_rest_drawn(say, words, tmp_path):
    said = say("overlay", *words, f"gone={tmp_path}/none.nmea", "--out", tmp_path / "a.png", "--quiet")
    assert said.status == 1
    assert said.errors == [f"traceanalyze: {tmp_path}/none.nmea: no such file; check the name and the folder"]
    assert (tmp_path / "a.png").exists()


@pytest.mark.parametrize(
    ("given", "status", "reason"),
    [
        (["ride.nmea"], 2, "does not name a setup and its logs"),
        (["=ride.nmea"], 2, "does not name a setup and its logs"),
        (["a="], 2, "does not name a setup and its logs"),
        (["none.toml"], 1, "none.toml"),
        (["a=b.nmea", "--out", "x.bmp"], 1, "PNG, SVG or PDF"),
        (["a=b.nmea", "--out", "gone/x.png"], 1, "folder does not exist"),
    ],
)
def test_what_makes_no_sense_is_one_line(say, tmp_path, monkeypatch, given, status, reason):
    monkeypatch.chdir(tmp_path)
    said = say("overlay", *given)
    assert (said.status, len(said.err.splitlines())) == (status, 1)
    assert reason in said.err


def test_outputs_are_not_written_over(say, words, tmp_path):
    taken = tmp_path / "a.png"
    taken.write_text("mine")
    assert "exists already" in say("overlay", *words, "--out", taken).err
    assert taken.read_text() == "mine"
    log = tmp_path / "log.png"
    log.write_bytes((SAMPLES / "stiff_spring.nmea").read_bytes())
    said = say("overlay", f"a={log}", words[0], "--out", log, "--force")
    assert "same file as the input" in said.err
    assert log.read_bytes().startswith(b"$GN")
