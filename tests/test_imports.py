"""What is loaded when: a heavy package only by the command that needs it, seen in fresh processes."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

PROJECT = Path(__file__).resolve().parents[1]
SAMPLES = PROJECT / "sample_traces"
#: Says which packages are loaded after a command line was carried out.
PROBE = """
import sys
from traceanalyze.cli.app import run
status = run(sys.argv[1:])
print("\\nloaded", *sorted({name.partition(".")[0] for name in sys.modules}))
sys.exit(status)
"""


def loaded(*words):
    """Return the top packages that a command line loads."""
    env = os.environ | {"PYTHONPATH": str(PROJECT)}
    done = subprocess.run(
        [sys.executable, "-c", PROBE, *map(str, words)], capture_output=True, text=True, env=env, timeout=60, check=True
    )
    return set(done.stdout.splitlines()[-1].split()[1:])


@pytest.mark.parametrize("words", [["--help"], ["--version"], ["help"]])
def test_help_and_version_load_almost_nothing(words):
    assert not loaded(*words) & {
        "numpy",
        "pandas",
        "scipy",
        "matplotlib",
        "typer",
        "pydantic",
        "rich",
        "pathlib",
        "json",
    }


@pytest.mark.parametrize(
    "command", ["measure", "overlay", "compare", "day", "plan", "gearing", "health", "export", "book"]
)
def test_help_of_a_command_loads_no_numbers(command):
    assert not loaded(command, "--help") & {"numpy", "pandas", "scipy", "matplotlib"}


@pytest.mark.parametrize(
    ("log", "readers"),
    [
        ("standard_spring_1.nmea", ()),
        ("standard_spring_1_second_logger.gpx", ("pyexpat",)),
        ("receiver.csv", ("csv", "pyexpat")),
    ],
)
@pytest.mark.parametrize("words", [[], ["--json"]])
def test_a_plain_measure_loads_numpy_alone(log, readers, words, tmp_path):
    path = SAMPLES / log
    if log.endswith(".csv"):
        path = tmp_path / log
        speeds = [min(max(k - 100, 0) * 0.2, 15) for k in range(400)]
        path.write_text("time_s,speed_mps\n" + "".join(f"{k / 10},{v:.2f}\n" for k, v in enumerate(speeds)))
    found = loaded(path, *words)
    assert "numpy" in found
    heavy = {"pandas", "scipy", "matplotlib", "pynmea2", "gpxpy", "typer", "pydantic", "rich", "logging", "statistics"}
    assert not found & heavy
    assert not found & ({"pyexpat", "csv"} - set(readers))


@pytest.mark.parametrize(
    "words",
    [
        ["measure", "LOG", "--units", "metric", "--measure", "0-20 mph"],
        ["overlay", "a=LOG", "--out", "OUT", "--force", "--quiet"],
        ["compare", "a=LOG", "b=OTHER", "--smallest", "0.1"],
        ["day", "LOGS", "--no-pictures", "--workers", "1", "--out", "OUT"],
        ["book", "add", "a=LOG", "--book", "BOOK"],
        ["plan", "--measure", "0-30 mph"],
    ],
    ids=lambda words: words[0],
)
def test_options_that_are_words_or_paths_need_no_conversion(words, tmp_path):
    logs = tmp_path / "logs"
    shutil.copytree(SAMPLES, logs, ignore=lambda folder, names: [name for name in names if not name.endswith(".nmea")])
    log, other = sorted(logs.iterdir())[:2]
    for name, path in {
        "LOGS": logs,
        "LOG": log,
        "OTHER": other,
        "OUT": tmp_path / "out.png",
        "BOOK": tmp_path / "b",
    }.items():
        words = [str(path) if word == name else word.replace(f"={name}", f"={path}") for word in words]
    found = loaded(*words)
    assert "typer" in found
    assert not found & {"pydantic", "rich", "pandas"}
    if words[0] == "day":  # without a sheet, without a book
        assert not found & {"tomllib", "sqlite3"}


def test_the_package_itself_is_light():
    words = [sys.executable, "-c", "import sys, traceanalyze; print(*sys.modules)"]
    env = os.environ | {"PYTHONPATH": str(PROJECT)}
    done = subprocess.run(words, capture_output=True, text=True, env=env, timeout=60, check=True)
    assert not set(done.stdout.split()) & {"numpy", "pandas", "scipy", "matplotlib"}
