"""The commands that the README shows are run, as somebody would type them."""

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

PROJECT = Path(__file__).resolve().parents[1]
README = PROJECT / "README.md"
_FENCE = re.compile(r"^```(?:sh|bash|console)\n(.*?)^```", re.DOTALL | re.MULTILINE)


def shown_commands() -> list[str]:
    """Return every line of a shell block that begins with `traceanalyze`, its continuations joined."""
    blocks = _FENCE.findall(README.read_text(encoding="utf-8"))
    lines = [line.strip().removeprefix("$ ") for block in blocks for line in block.replace("\\\n", " ").splitlines()]
    return [line for line in lines if line.split(" ", 1)[0] == "traceanalyze"]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder as the reader has it: the sample traces lie in it, and what one command writes the next may read."""
    path = tmp_path_factory.mktemp("readme")
    shutil.copytree(PROJECT / "sample_traces", path / "sample_traces")
    return path


@pytest.mark.parametrize("line", shown_commands() or [pytest.param("", marks=pytest.mark.skip(reason="none is shown"))])
def test_a_shown_command_runs(line, folder):
    words = shlex.split(line, comments=True)[1:]
    env = os.environ | {"PYTHONPATH": str(PROJECT), "TRACEANALYZE_BOOK": str(folder / "runs.book")}
    done = subprocess.run(
        [sys.executable, "-m", "traceanalyze", *words],
        cwd=folder,
        env=env,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr


def test_files_that_the_readme_names_are_there():
    text = README.read_text(encoding="utf-8")
    for name in set(re.findall(r"sample_traces/[\w.-]+\w(?![\w*?{])", text)):
        assert (PROJECT / name).exists(), name


def test_every_command_shown_exists():
    from traceanalyze.cli.app import COMMANDS, command_of

    for line in shown_commands():
        words = shlex.split(line, comments=True)[1:]
        if words and not words[0].startswith("-"):
            assert command_of(words)[0] in COMMANDS
