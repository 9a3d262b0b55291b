"""The whole command line over a corpus of damaged and hostile files: a result or one line, never anything else."""

import io
import json
import os
import re
import subprocess
import sys
import time
from contextlib import redirect_stderr, redirect_stdout
from itertools import islice
from pathlib import Path

import pytest

from tests.cli.contract import check_measure_document
from tests.hostile import corpus
from traceanalyze import __version__, session
from traceanalyze.cli.app import run
from traceanalyze.errors import shown

#: Longest that one file may take [s].
LONGEST_S = 10.0
#: Characters that could steer a terminal: controls other than newline and tab, and marks of direction.
STEERING = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]")


def said(*words):
    """Run a command line here; return its status, its output and its lines on standard error."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2))
    begin = time.monotonic()
    with redirect_stdout(out), redirect_stderr(err):
        status = run([str(word) for word in words])
    assert time.monotonic() - begin < LONGEST_S, words
    texts = []
    for stream in (out, err):
        stream.flush()
        texts.append(stream.buffer.getvalue().decode("utf-8"))
    return status, texts[0], texts[1].splitlines()


def strict(text):
    """Return a JSON document; NaN and infinities are none."""
    return json.loads(text, parse_constant=lambda word: pytest.fail(f"{word} in JSON"))


def check_lines(lines, path):
    for line in lines:
        assert line.startswith(f"traceanalyze: {shown(path)}"), line
        assert "; " in line, line  # a reason, and what to do
        assert "fault in this program" not in line, line
        assert not STEERING.search(line), line


def check(path):
    """Measure a file for a program and for a person."""
    status, out, lines = said(path, "--json")
    document = strict(out)
    check_measure_document(document, __version__)
    refused = [entry for entry in document["files"] if entry["status"] == "refused"]
    assert status == (1 if refused else 0)
    assert len(lines) == len(refused)
    check_lines(lines, path)
    status_again, out, lines_again = said(path)
    assert (status_again, lines_again) == (status, lines)
    assert not STEERING.search(out)
    assert "nan" not in re.sub(r"[^\s(]*/[^\s]*|'[^']*'", "", out.lower()).split()
    return document["files"]


@pytest.fixture
def once(monkeypatch):
    """Measure each file once, though it is asked for twice: for a program and for a person."""
    real, known = session.measure_file, {}

    def measured(path, asked):
        if path not in known:
            known[path] = real(path, asked)
        return known[path]

    monkeypatch.setattr(session, "measure_file", measured)


@pytest.mark.parametrize("part", corpus.PARTS, ids=lambda part: part.__name__)
def test_every_file_is_measured_or_refused_in_one_line(part, tmp_path, once):
    count = 0
    for count, (name, data) in enumerate(part(), start=1):
        path = tmp_path / f"{count}.log"
        path.write_bytes(data)
        try:
            check(path)
        except BaseException as error:
            error.add_note(f"file of the corpus: {name}")
            raise
        path.unlink()
    assert count > 30


@pytest.mark.parametrize("whole", [corpus.nmea(), corpus.gpx(), corpus.table()])
def test_the_undamaged_ride_is_fine(whole, tmp_path):
    path = tmp_path / "ride"
    path.write_bytes(whole)
    (entry,) = check(path)
    assert (entry["status"], len(entry["launches"]), len(entry["passes"])) == ("ok", 1, 1)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Every twelfth file of the corpus, as the logs of a day."""
    path = tmp_path_factory.mktemp("day")
    files = [file for part in corpus.PARTS for file in part() if "bomb" not in file[0]]
    for k, (_, data) in enumerate(islice(files, 0, None, 12)):
        (path / f"{k:03d}.log").write_bytes(data)
    return path


def test_a_day_of_them(folder, tmp_path):
    out = tmp_path / "out"
    logs = len(list(folder.iterdir()))
    status, text, lines = said("day", folder, "--out", out, "--workers", 1, "--quiet", "--no-pictures")
    assert status == 1
    assert text.startswith(f"{logs} logs: ")
    assert not STEERING.search(text)
    assert 0 < len(lines) < logs
    results = strict((out / "results.json").read_text())
    check_measure_document(results, __version__)
    assert sum(entry["status"] == "refused" for entry in results["files"]) == len(lines)
    assert (out / "report.html").stat().st_size > 1000
    status, _, lines_again = said("health", *sorted(folder.iterdir()), "--json")
    assert (status, lines_again) == (1, lines)


#: Logs of the corpus that are read though there is little or nothing in them.
MEAGRE = ("csv-two-rows", "csv-all-zero", "csv-accelerometer", "nmea-speed-", "gpx-segments", "csv-half-a-launch")


def test_meagre_logs_through_every_command(tmp_path):
    wanted = {name: data for part in corpus.PARTS[1:5] for name, data in part() if name in MEAGRE}
    assert len(wanted) == len(MEAGRE)
    for name, data in wanted.items():
        path = tmp_path / f"{name}.log"
        path.write_bytes(data)
        other = tmp_path / "whole.nmea"
        other.write_bytes(corpus.nmea())
        outputs = ["--plot", tmp_path / f"{name}.png", "--report", tmp_path / f"{name}.html"]
        for words in (
            [path, *outputs, "--quiet"],
            ["health", path],
            ["export", path, "--results"],
            ["export", path, "--to", "csv"],
            ["export", path, "--to", "geojson"],
            ["export", path, "--to", "gpx"],
            ["compare", f"a={path}", f"b={other}"],
            ["overlay", f"a={path}", f"b={other}", "--out", tmp_path / f"{name}.svg", "--quiet"],
        ):
            status, out, lines = said(*words)
            assert status in (0, 1), (name, words, lines)
            assert len(lines) == status, (name, words, lines)
            assert not any("fault in this program" in line for line in lines), (name, words, lines)
            assert not STEERING.search(out), (name, words)


def test_what_is_no_file(tmp_path):
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    (tmp_path / "one").symlink_to(tmp_path / "two")
    (tmp_path / "two").symlink_to(tmp_path / "one")
    (tmp_path / "dangling").symlink_to(tmp_path / "gone")
    (tmp_path / "folder.nmea").mkdir()
    (tmp_path / "file").write_bytes(corpus.nmea())
    places = [
        tmp_path, tmp_path / "folder.nmea", tmp_path / "loop", tmp_path / "one", tmp_path / "dangling",
        tmp_path / "gone", tmp_path / "file" / "below", tmp_path / ("x" * 255), tmp_path / ("y" * 5000), "/", "",
        "a\0b", ".", "..",
    ]  # fmt: skip
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe")
        places += [
            tmp_path / "pipe",
            *(device for device in ("/dev/zero", "/dev/null", "/dev/tty") if Path(device).exists()),
        ]
    for place in places:
        status, out, lines = said("measure", place, "--json")
        (entry,) = strict(out)["files"]
        assert (status, entry["status"], len(lines)) == (1, "refused", 1), place
        check_lines(lines, place)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="nothing is closed to the superuser")
def test_no_permission(tmp_path):
    path = tmp_path / "closed.nmea"
    path.write_bytes(corpus.nmea())
    path.chmod(0)
    status, _, lines = said(path)
    assert (status, len(lines)) == (1, 1)
    assert "permission" in lines[0]


NAMES = (
    "two\nlines.nmea", "tab\there.gpx", "\x1b[31mred.nmea", "bell\x07.csv", "\u202egpj.emag.nmea", "%s{0}%n.nmea", "{}",
    "$HOME", "<script>alert(1)<", "a'b\"c.nmea", "-dash.nmea", "--json.nmea", "*.nmea", "[ab].nmea", "~", "=1+1.csv",
    "a,b.nmea", "e\u0301.nmea", "\U0001f3cd.nmea", " ", "a=b.nmea", "#1.nmea", "\x9b2J.nmea",
    os.fsdecode(b"\xff\xfe.nmea"), "n" * 250,
)  # fmt: skip


@pytest.mark.skipif(os.name == "nt", reason="names of POSIX")
def test_names_are_printed_without_harm(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for name in NAMES:
        good, bad = Path(name), Path("bad")
        good.write_bytes(b"time_s,speed_mps\n0,1\n1,2\n2,1\n")
        for words in ([f"./{name}"], ["--", name], [tmp_path / name]):
            status, out, lines = said(*words)
            assert (status, lines) == (0, []), (name, words, lines)
            assert "No launch found" in out
            assert not STEERING.search(out), name
        status, out, _ = said("--json", f"./{name}")
        assert strict(out)["files"][0]["path"] == f"./{name}"
        bad.mkdir()
        worse = bad / name
        worse.write_bytes(b"\0")
        status, _, lines = said(worse)
        assert (status, len(lines)) == (1, 1)
        check_lines(lines, worse)
        good.unlink()
        worse.unlink()
        bad.rmdir()


@pytest.mark.skipif(os.name == "nt", reason="names of POSIX")
@pytest.mark.parametrize(
    "name", ["\x1b[31mred", "<script>alert(1)<", "$\\frac{1}{2}$^", os.fsdecode(b"\xff"), "\U0001f3cd"]
)
def test_names_do_no_harm_in_pictures_and_pages(name, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path(name).write_bytes(b"time_s,speed_mps\n0,1\n1,2\n2,1\n")
    status, _, lines = said(f"./{name}", "--plot", "p.svg", "--report", "r.html", "--quiet")
    assert (status, lines) == (0, [])
    for output in ("p.svg", "r.html"):
        text = Path(output).read_text()
        assert "<script>alert(1)<" not in text
        assert not re.search("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]", text)


def measured_apart(*words, **options):
    """Run the program as a process; return its status, its lines of errors, and its most memory [MB]."""
    env = os.environ | {"PYTHONPATH": str(Path(__file__).resolve().parents[2])}
    with subprocess.Popen(
        [sys.executable, "-m", "traceanalyze", *map(str, words)],
        stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, env=env, **options,
    ) as process:  # fmt: skip
        lines = process.stderr.read().decode().splitlines()
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
    return process.returncode, lines, used.ru_maxrss / 1024


@pytest.mark.skipif(sys.platform != "linux", reason="memory is told in other units elsewhere")
def test_bombs_and_millions_stay_small_and_quick(tmp_path):
    bombs = [data for name, data in corpus.packed() if "bomb" in name]
    paths = []
    for k, data in enumerate(bombs):
        paths.append(tmp_path / f"{k}.zip")
        paths[-1].write_bytes(data)
    head = b"time_s,speed_mps\n0,1\n"
    floods = {"blank": b"\n" * 40_000_000, "commas": b"," * 120_000_000 + b"\n"}
    for name, flood in floods.items():
        paths.append(tmp_path / f"{name}.csv")
        paths[-1].write_bytes(head + flood + b"1,2\n")
    million = tmp_path / "million.csv"
    thousand = [f"{k / 1000:.3f},{abs(12 - k % 20 * 1.3):.2f}\n" for k in range(1000)]  # swings no vehicle makes
    with million.open("w") as file:
        file.write("time_s,speed_mps\n")
        for second in range(1000):
            file.writelines(f"{second}{row[1:]}" for row in thousand)
    sparse = tmp_path / "sparse.nmea"
    with sparse.open("wb") as file:
        file.truncate(150_000_000)
    begin = time.monotonic()
    status, lines, memory_mb = measured_apart(*paths, million, sparse)
    assert time.monotonic() - begin < 3 * LONGEST_S  # of eight files
    assert (status, len(lines)) == (1, len(bombs) + 1)  # and zeros are no log
    assert memory_mb < 1000
