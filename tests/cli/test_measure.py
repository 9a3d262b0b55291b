"""`traceanalyze measure`: machine output to the letter, files as they come, outputs never over anything."""

import gzip
import hashlib
import json
import zipfile

import pytest

from tests.cli.conftest import SAMPLES
from tests.cli.contract import check_measure_document
from traceanalyze import __version__, session


def entry_of(said):
    (entry,) = said.document["files"]
    return entry


@pytest.fixture
def sample(say, ride):
    return entry_of(say("measure", ride, "--json"))


def test_the_document_to_the_letter(say, ride):
    document = say(
        ride, SAMPLES / "standard_spring_1_second_logger.gpx", SAMPLES / "accelerometer.csv", "--json"
    ).document
    check_measure_document(document, __version__)
    assert [entry["format"] for entry in document["files"]] == ["nmea", "gpx", "csv"]


def test_what_is_said_of_the_file(sample, ride):
    assert sample["sha256"] == hashlib.sha256(ride.read_bytes()).hexdigest()
    assert sample["path"] == str(ride)
    assert sample["time_origin_utc"] == "2026-05-17T09:00:00.000000Z"
    # one RMC sentence an epoch
    assert sample["points"] == ride.read_bytes().count(b"RMC,")
    assert sample["rate_hz"] == pytest.approx(10)


def test_times_agree_with_the_simulated_truth(sample, ride):
    # The truth comes from the simulator's own integration, not from the estimator. 4 standard uncertainties: each of
    # some 20 values may be outside by chance once in 16,000.
    truth = json.loads(ride.with_name(ride.name + ".truth.json").read_text())
    for launch, true in zip(sample["launches"], truth["launches"], strict=True):
        assert launch["start_s"] == pytest.approx(true["onset_s"], abs=4 * launch["start_stderr_s"])
        known = {(one["measure"], one["start_rule"]): one["elapsed_s"] for one in true["times"]}
        compared = [one for one in launch["times"] if (one["measure"], one["start_rule"]) in known]
        assert len(compared) >= 6
        for one in compared:
            assert one["elapsed_s"] == pytest.approx(known[one["measure"], one["start_rule"]], abs=4 * one["stderr_s"])
    for one, true in zip(sample["passes"], truth["passes"], strict=True):
        assert one["sustained_mps"] == pytest.approx(true["sustained_mps"], abs=4 * one["stderr_mps"])


def test_asked_measures(say, short):
    words = ["--measure", "0-30 MPH", "--measure", "10-20mph", "--measure", "0-200 km/h", "--measure", "30-0 mph"]
    entry = entry_of(say(short, *words, "--json"))
    (launch,) = entry["launches"]
    rules = [(one["measure"], one["start_rule"]) for one in launch["times"]]
    assert rules[:3] == [("0-30 mph", rule) for rule in ("rollout", "rest", "threshold")]
    assert ("10-20 mph", None) in rules
    assert "0-200 km/h" not in {measure for measure, _ in rules}
    assert any("0-200 km/h" in remark["text"] for remark in launch["remarks"])


@pytest.mark.parametrize(("window", "length"), [("100m", 100.0), ("3s", 3 * 22.0)])
def test_other_windows(say, ride, window, length):
    one = entry_of(say(ride, "--window", window, "--json"))["passes"][0]
    # 22 m/s is what the pit bike holds; the length of a window of time is that within a tenth
    assert one["window_m"] == pytest.approx(length, rel=0.1)
    assert one["window_s"] * one["sustained_mps"] == pytest.approx(one["window_m"], rel=0.01)


def test_units_and_start_rule_are_for_people_only(say, short):
    plain = say(short, "--json").document
    assert say(short, "--json", "--units", "metric", "--start", "rest").document == plain
    metric = say(short, "--units", "metric", "--start", "rest").out
    assert "km/h" in metric
    assert "peak km/h" in metric
    assert "the clock starts at the onset of motion" in metric


def test_quiet_leaves_results_and_errors(say, short, tmp_path):
    said = say(short, tmp_path / "none.nmea", "--quiet", "--plot", tmp_path / "ride.png")
    assert "1 launch:" in said.out
    assert len(said.err.splitlines()) == len(said.errors) == 1


def test_refused_files_leave_the_others_alone(say, short, tmp_path):
    bad, empty = tmp_path / "bad.gpx", tmp_path / "empty.nmea"
    bad.write_text("<html></html>")
    empty.touch()
    said = say(bad, short, empty, tmp_path / "none.csv", "--json")
    assert said.status == 1
    check_measure_document(said.document, __version__)
    entries = said.document["files"]
    assert [entry["status"] for entry in entries] == ["refused", "ok", "refused", "refused"]
    assert said.errors == [f"traceanalyze: {entry['error']}" for entry in entries if entry["error"]]
    assert all("; " in line for line in said.errors)  # a reason and what to do


def test_damage_is_partial_and_counted(say, short, tmp_path):
    lines = short.read_bytes().splitlines(keepends=True)
    lines[30] = lines[30].replace(b",", b";", 1)
    lines[40] = lines[40][:30] + b"\r\n"
    damaged = tmp_path / "damaged.nmea"
    damaged.write_bytes(b"".join(lines))
    entry = entry_of(say(damaged, "--json"))
    assert entry["status"] == "partial"
    assert sum(entry["skipped"].values()) == 2
    assert "left out: " in say(damaged).out


def test_no_launch_is_no_failure(say, short, tmp_path):
    rest = tmp_path / "rest.nmea"
    rest.write_bytes(b"".join(short.read_bytes().splitlines(keepends=True)[:300]))
    said = say(rest)
    assert said.status == 0
    assert "No launch found" in said.out
    assert entry_of(say(rest, "--json"))["launches"] == []


def test_packed_logs(say, short, tmp_path):
    packed = tmp_path / "short.nmea.gz"
    packed.write_bytes(gzip.compress(short.read_bytes()))
    assert len(entry_of(say(packed, "--json"))["launches"]) == 1
    archive = tmp_path / "day.zip"
    with zipfile.ZipFile(archive, "w") as file:
        file.write(short, "one.nmea")
        file.write(SAMPLES / "standard_spring_1_second_logger.gpx", "two/ride.gpx")
        file.writestr("one point.csv", "time_s,speed_mps\n0,1\n")
    said = say(archive, "--json")
    check_measure_document(said.document, __version__)
    entries = said.document["files"]
    assert [entry["path"] for entry in entries[:2]] == [f"{archive}:one.nmea", f"{archive}:two/ride.gpx"]
    assert [len(entry["launches"]) for entry in entries[:2]] == [1, 2]


def test_a_folder_is_refused_with_a_hint(say, tmp_path):
    said = say(tmp_path)
    assert said.status == 1
    assert "`day`" in said.err


@pytest.mark.parametrize(("name", "start"), [("a.png", b"\x89PNG"), ("a.svg", b"<?xml"), ("a.PDF", b"%PDF")])
def test_pictures_by_the_ending(say, short, tmp_path, name, start):
    said = say(short, "--plot", tmp_path / name)
    assert said.status == 0
    assert (tmp_path / name).read_bytes().startswith(start)
    assert f"picture: {tmp_path / name}" in said.err


def test_one_picture_a_file(say, short, ride, tmp_path):
    assert say(short, ride, "--plot", tmp_path / "a.png").status == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a-1.png", "a-2.png"]


def test_outputs_are_refused_before_the_work(say, short, tmp_path, monkeypatch):
    taken = tmp_path / "taken.png"
    taken.write_text("mine")
    monkeypatch.setattr(session, "read_all", lambda *_: pytest.fail("work was done for nothing"))
    for words, reason in (
        (["--plot", taken], "exists already"),
        (["--plot", tmp_path / "a.bmp"], "PNG, SVG or PDF"),
        (["--plot", tmp_path / "gone" / "a.png"], "folder does not exist"),
        (["--report", taken], "exists already"),
        (["--report", short, "--force"], "same file as the input"),
        (["--report", tmp_path], "is a folder"),
    ):
        said = say(short, *words)
        assert (said.status, said.out, len(said.err.splitlines())) == (1, "", 1)
        assert reason in said.err
    assert taken.read_text() == "mine"


def test_results_to_a_file(say, short, tmp_path):
    said = say(short, "--json", "--out", tmp_path / "a.json")
    assert (said.status, said.out, said.err) == (0, "", f"written: {tmp_path / 'a.json'}\n")
    assert json.loads((tmp_path / "a.json").read_text()) == say(short, "--json").document
    assert say(short, "--out", tmp_path / "a.txt", "--quiet").err == ""
    assert (tmp_path / "a.txt").read_text() == say(short).out
    assert "exists already" in say(short, "--out", tmp_path / "a.txt").err


def test_force_replaces_an_output_but_never_an_input(say, short, tmp_path):
    taken = tmp_path / "taken.png"
    taken.write_text("old")
    assert say(short, "--plot", taken, "--force").status == 0
    assert taken.read_bytes().startswith(b"\x89PNG")
    log = tmp_path / "log.svg"  # content decides what it is
    log.write_bytes(short.read_bytes())
    link = tmp_path / "link.svg"
    link.symlink_to(log)
    for output in (log, link):
        said = say(log, "--plot", output, "--force")
        assert said.status == 1
        assert "same file as the input" in said.err
    assert log.read_bytes() == short.read_bytes()


def test_columns_named_by_options(say, tmp_path):
    table = tmp_path / "table.csv"
    rows = "\n".join(f"{k / 10},{min(max(k - 50, 0) * 0.05, 15) * 3.6:.2f},7" for k in range(500))
    table.write_text(f"tick,v2,v3\n{rows}\n")
    assert say(table).status == 1
    said = say(
        table, "--column", "speed=v2", "--column", "time=tick", "--time-unit", "s", "--speed-unit", "km/h", "--json"
    )
    entry = entry_of(said)
    # constant 0.5 m/s^2: from rest to 30 mph (13.4112 m/s exactly, the international mile) in 26.82 s; 0.3 s for the
    # rounding of the table and the unseen first tenth
    times = {(one["measure"], one["start_rule"]): one["elapsed_s"] for one in entry["launches"][0]["times"]}
    assert times["0-30 mph", "rest"] == pytest.approx(13.4112 / 0.5, abs=0.3)
