"""What tests of commands share: a command line said, and what came of it."""

import json
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from traceanalyze.cli.app import run

SAMPLES = Path(__file__).resolve().parents[2] / "sample_traces"


@dataclass(frozen=True)
class Said:
    """What one command line did."""

    status: int
    out: str
    err: str

    @property
    def document(self):
        """The JSON on standard output; NaN and infinities, which JSON has not (RFC 8259, 6), are a failure."""
        return json.loads(self.out, parse_constant=lambda word: pytest.fail(f"{word} in JSON"))

    @property
    def errors(self):
        """The lines on standard error that are errors."""
        return [line for line in self.err.splitlines() if line.startswith("traceanalyze: ")]


@pytest.fixture
def say(capsysbinary):
    """Run a command line in this process."""

    def said(*words):
        capsysbinary.readouterr()
        status = run([str(word) for word in words])
        out, err = capsysbinary.readouterr()
        return Said(status, out.decode("utf-8", "surrogateescape"), err.decode("utf-8", "surrogateescape"))

    return said


def process(*words, cwd=None, stdin=b"", env=None, **options):
    """Run the program as a process of its own and return it finished, its output as bytes."""
    place = {"PYTHONPATH": str(SAMPLES.parent)} | (env or {})
    return subprocess.run(
        [sys.executable, "-m", "traceanalyze", *map(str, words)],
        cwd=cwd,
        input=stdin,
        capture_output=not options,
        timeout=60,
        env=os.environ | place,
        check=False,
        **options,
    )


@pytest.fixture(scope="session")
def ride() -> Path:
    """A sample log: simulated by this project, two launches and two passes."""
    return SAMPLES / "standard_spring_1.nmea"


@pytest.fixture(scope="session")
def short(ride, tmp_path_factory) -> Path:
    """The first forty seconds of it: one launch."""
    path = tmp_path_factory.mktemp("short") / "short.nmea"
    path.write_bytes(b"".join(ride.read_bytes().splitlines(keepends=True)[:1200]))
    return path
