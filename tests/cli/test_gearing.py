"""`traceanalyze gearing`: arithmetic against the published form, predictions against the simulator's truth."""

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from tests.cli.measured import measured_once
from tests.vehicle.rides import launched, true_time_s
from traceanalyze.cli.gearing import gearing
from traceanalyze.errors import SignalError, UsageError
from traceanalyze.simulate import Practice, Receiver, Recipe, make_log, pit_bike
from traceanalyze.simulate.machines import Surroundings
from traceanalyze.simulate.pushes import Go
from traceanalyze.simulate.rides import Brake, Coast, Turn, Wait

SAMPLES = Path(__file__).resolve().parents[2] / "sample_traces"
app = typer.Typer(pretty_exceptions_enable=False)
app.command()(gearing)


@pytest.fixture(autouse=True, scope="module")
def remembered():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("traceanalyze.report.gearing_run.measure_file", measured_once)
        yield


def run(*words):
    return CliRunner().invoke(app, [str(word) for word in words], catch_exceptions=True)


def document(*words):
    done = run(*words, "--json")
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def test_speeds_and_engine_speeds_by_the_published_formula():
    # French decree of 27 March 1979, article 2: V[km/h] = 0.06 D n R = 0.06 * 1.32 * n * 15/41: n = 3451.1 at 100 km/h
    shown = document("--teeth", "15/41", "--tyre", "1.32", "--max-rpm", "6500", "--units", "metric")
    row = next(row for row in shown["table"] if row["speed_mps"] == pytest.approx(100 / 3.6, abs=1e-6))
    assert row["engine_rpm"] == pytest.approx(100 / 0.06 / 1.32 * 41 / 15, abs=0.1)
    assert shown["drive_train"]["ratio"] == pytest.approx(41 / 15, abs=1e-6)
    assert shown["drive_train"]["speed_at_limit_mps"] == pytest.approx(6500 * 0.06 * 1.32 * 15 / 41 / 3.6, abs=1e-5)
    assert shown["changed"] is None
    assert shown["predictions"] == []
    above = [row["above_limit"] for row in shown["table"]]
    assert above[-2:] == [True, True] or above[-1:] == [True]
    assert not above[0]


def test_what_a_person_sees():
    text = run("--teeth", "18/48,15/36", "--tyre", 1.32, "--max-rpm", 6500, "--engagement-rpm", 2400).output
    assert max(map(len, text.splitlines())) <= 80
    assert "your limit of 6500 rpm is 50.0 mph" in " ".join(text.split())
    assert "ABOVE YOUR LIMIT" in text
    assert "clutch may slip" in text
    assert "Caution:" in text
    unlimited = run("--teeth", "18/48,15/36", "--tyre", 1.32).output
    assert "no limit of the engine was stated" in " ".join(unlimited.split())
    assert "ABOVE" not in unlimited


@pytest.fixture(scope="module")
def predicted():
    return document(SAMPLES / "day.toml", "--new-teeth", "18/48,15/34", "--engine-inertia", 0.008)


def test_predictions_from_the_sample_traces(predicted):
    """The standard spring geared 15/34 instead of 15/36, ridden by the simulator: 0.45 s slower to 30 mph."""
    bike = pit_bike()
    longer = replace(bike, drive=replace(bike.drive, ratios=(48 / 18 * 34 / 15,)))
    truth = true_time_s(*launched(longer)) - true_time_s(*launched(bike))
    assert truth > 0.4
    found = {one["measure"]: one for one in predicted["predictions"]}
    change = found["0-30 mph"]["difference"]
    assert abs(change["value"] - truth) < 2 * change["stderr"]
    assert change["stderr"] < 0.15 * truth
    low, high = found["0-30 mph"]["difference"]["interval95"]
    assert low < truth < high
    top = found["top speed"]
    true_top = launched(longer, lift_mps=14.0)[1].terminal_mps - launched(bike, lift_mps=14.0)[1].terminal_mps
    assert abs(top["difference"]["value"] - true_top) < 2 * top["difference"]["stderr"]
    assert predicted["launches"] == 4
    assert predicted["passes"] == 4
    assert predicted["assumed"]["mass_kg"] == 142


def test_air_density_comes_from_the_sheets_weather(predicted):
    # 21 degrees, 1009 hPa, 55 %: 1.18948 kg/m^3 by the ideal two-gas formula with Magnus' vapour pressure (4e-4)
    assert predicted["assumed"]["air_density_kgm3"] == pytest.approx(1.1895, rel=1e-3)


def test_engine_speeds_above_the_limit_are_flagged_in_predictions():
    shown = run(SAMPLES / "day.toml", "--new-teeth", "18/48,15/34", "--max-rpm", 3000)
    assert shown.exit_code == 0, shown.output
    assert "3685 rpm at its end: ABOVE YOUR LIMIT" in shown.output
    asked = document(SAMPLES / "day.toml", "--new-teeth", "18/48,15/34", "--max-rpm", 3000)
    assert next(one for one in asked["predictions"] if one["measure"] == "0-30 mph")["above_limit"] is True


def test_a_shorter_sprocket_leaves_the_top_speed_untold():
    shown = run(SAMPLES / "day.toml", "--new-teeth", "18/48,15/38", "--setup", "stiff spring")
    assert shown.exit_code == 0, shown.output
    text = " ".join(shown.output.split())
    assert "cannot tell" in text
    # 49.6 mph at 6.4 * 38/36 engine turns for a turn of the wheel: 49.6 * 36 / 38 = 47 mph
    assert re.search(r"the engine would turn faster than it was measured; not below 2[01]\.\d m/s \(47 mph, ", text)
    assert max(map(len, shown.output.splitlines())) <= 80


def test_logs_named_one_by_one(tmp_path):
    log = tmp_path / "ride.nmea"
    log.write_bytes(make_log(Recipe(practice=Practice(launches=1, passes=0), receiver=Receiver(rate_hz=5.0))).data)
    (tmp_path / "none.nmea").write_text("no log at all")
    words = ["--teeth", "18/48,15/36", "--tyre", 1.32, "--mass", 142, "--new-teeth", "18/48,15/34"]
    one = run(log, *words)
    assert one.exit_code == 0, one.output
    assert "Predicted from 1 launch" in one.output
    assert "the engine's own inertia is not known" in one.output
    refused = CliRunner().invoke(
        app, [str(word) for word in [log, tmp_path / "none.nmea", *words]], standalone_mode=False
    )
    assert refused.return_value == 1
    assert "none.nmea" in refused.stderr
    assert "Predicted from 1 launch" in refused.stdout


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "the teeth of the drive train must be known"),
        (["--teeth", "15/41"], "circumference of the drive train must be known"),
        (["--teeth", "15x41", "--tyre", 1.3], "names no sprockets"),
        (["--teeth", "15/41", "--tyre", 130], "a tyre circumference of 130 m"),
        ([SAMPLES / "stiff_spring.nmea", "--teeth", "15/41", "--tyre", 1.3], "logs but no other sprocket"),
        ([SAMPLES / "stiff_spring.nmea", "--teeth", "15/41", "--tyre", 1.3, "--new-teeth", "15/44"], "the mass with"),
        ([SAMPLES / "day.toml", "--setup", "soft spring"], "no setup is called 'soft spring'"),
        (["--teeth", "15/41", "--tyre", 1.3, "--units", "furlongs"], "--units 'furlongs' is not known"),
    ],
)
def test_what_is_missing_is_said(words, said):
    refused = run(*words)
    assert isinstance(refused.exception, UsageError)
    assert said in str(refused.exception)


@pytest.fixture(scope="module")
def rolling(tmp_path_factory):
    """A log of the simulated pit bike rolling out twice each way, wind and slope along the strip known exactly."""
    one_way = (Wait(6.0), Go(lift_mps=20.0), Coast(4.0), Brake(), Wait(3.0), Turn())
    around = Surroundings(wind_mps=-1.5, grade_pct=0.2)
    log = tmp_path_factory.mktemp("rolling") / "roll.nmea"
    log.write_bytes(make_log(Recipe(script=one_way * 4, around=around, random=5)).data)
    return log


def test_roll_outs_tell_the_resistance(rolling):
    found = document("--mass", 142, "--coastdown", rolling)
    told = found["coastdown"]
    bike = pit_bike()
    # within three standard uncertainties of what the simulator rode with, and sharp enough to be of use
    for name, truth, useful in (("crr", bike.crr, 0.001), ("cda_m2", bike.cda_m2, 0.02)):
        stderr = told[f"{name}_stderr" if name == "crr" else "cda_stderr_m2"]
        assert abs(told[name] - truth) < 3 * stderr, name
        assert stderr < useful, name
    assert told["roll_outs"] == [2, 2]
    assert abs(told["headwind_mps"] - 1.5) < 3 * told["headwind_stderr_mps"]
    assert abs(told["grade_pct"] - 0.2) < 3 * told["grade_stderr_pct"]
    assert (found["drive_train"], found["table"], found["predictions"]) == (None, [], [])
    text = run("--mass", 142, "--coastdown", rolling).output
    assert "From 4 roll-outs (2 one way, 2 the other; ± standard uncertainty)" in text
    assert "the drive must be cut" in text
    assert max(map(len, text.splitlines())) <= 80


def test_predictions_take_the_resistance_from_roll_outs_unless_it_is_stated(rolling):
    words = [SAMPLES / "day.toml", "--new-teeth", "18/48,15/34", "--coastdown", rolling]
    found = document(*words)
    assert found["assumed"]["crr"] == found["coastdown"]["crr"]
    assert found["assumed"]["cda_m2"] == found["coastdown"]["cda_m2"]
    assert found["coastdown"]["air_density_kgm3"] == found["assumed"]["air_density_kgm3"]
    stated = document(*words, "--crr", 0.03)
    assert (stated["assumed"]["crr"], stated["assumed"]["cda_m2"]) == (0.03, found["coastdown"]["cda_m2"])


def test_a_log_without_a_roll_out_says_what_to_ride(tmp_path):
    shown = run("--mass", 142, "--coastdown", SAMPLES / "stiff_spring.nmea")
    assert isinstance(shown.exception, SignalError)
    assert "let the vehicle roll with the drive cut" in str(shown.exception)


def test_help_shows_an_example():
    assert "traceanalyze gearing day.toml --new-teeth" in run("--help").output
