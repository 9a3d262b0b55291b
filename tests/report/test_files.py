"""Writing to disk: whole or not at all, never over an input. The outside here is the operating system itself."""

import errno
import os
import signal
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest

from traceanalyze.errors import OutputError
from traceanalyze.report.files import check_output, make_folder, write_atomically

linux_only = pytest.mark.skipif(sys.platform != "linux", reason="uses a device or limit of Linux")


def only(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_writes_bytes_and_text_as_they_are(tmp_path):
    write_atomically(tmp_path / "a.csv", "x,y\r\n1,2\n")
    write_atomically(tmp_path / "b.png", b"\x89PNG\r\n\x1a\n")
    assert (tmp_path / "a.csv").read_bytes() == b"x,y\r\n1,2\n"
    assert (tmp_path / "b.png").read_bytes() == b"\x89PNG\r\n\x1a\n"
    assert only(tmp_path) == ["a.csv", "b.png"]  # no temporary name is left


def test_text_from_an_undecodable_name_is_escaped(tmp_path):
    write_atomically(tmp_path / "a.txt", "run\udcff.nmea ± 1")  # PEP 383: how a byte 0xff in a name arrives
    assert (tmp_path / "a.txt").read_bytes() == b"run\\udcff.nmea \xc2\xb1 1"


def test_refuses_to_overwrite_unless_forced(tmp_path):
    out = tmp_path / "a.txt"
    out.write_text("old")
    with pytest.raises(OutputError, match=r"a\.txt: exists already; name another output, or add --force"):
        write_atomically(out, "new")
    assert out.read_text() == "old"
    write_atomically(out, "new", force=True)
    assert out.read_text() == "new"
    assert only(tmp_path) == ["a.txt"]


@pytest.mark.parametrize("kind", ["itself", "symbolic link", "hard link", "roundabout"])
def test_an_input_is_never_replaced(tmp_path, kind):
    log = tmp_path / "run.nmea"
    log.write_text("$GPRMC")
    out = {"itself": log, "roundabout": tmp_path / "sub" / ".." / "run.nmea"}.get(kind, tmp_path / "out.csv")
    (tmp_path / "sub").mkdir()
    if kind == "symbolic link":
        out.symlink_to(log)
    elif kind == "hard link":
        os.link(log, out)
    with pytest.raises(OutputError, match="is the same file as the input"):
        write_atomically(out, "x", force=True, inputs=[tmp_path / "other.nmea", log])
    assert log.read_text() == "$GPRMC"


def test_a_link_is_followed_and_stays_a_link(tmp_path):
    (tmp_path / "disk").mkdir()
    (tmp_path / "out.csv").symlink_to(tmp_path / "disk" / "real.csv")
    write_atomically(tmp_path / "out.csv", "1")
    write_atomically(tmp_path / "out.csv", "2", force=True)
    assert (tmp_path / "out.csv").is_symlink()
    assert (tmp_path / "disk" / "real.csv").read_text() == "2"


def test_the_mode_follows_the_umask_and_a_replaced_file_keeps_its_own(tmp_path):
    before = os.umask(0o027)
    try:
        write_atomically(tmp_path / "new", "x")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "new").stat().st_mode) == 0o640
    (tmp_path / "new").chmod(0o604)
    write_atomically(tmp_path / "new", "y", force=True)
    assert stat.S_IMODE((tmp_path / "new").stat().st_mode) == 0o604


def test_a_name_as_long_as_the_file_system_allows(tmp_path):
    name = "n" * os.pathconf(tmp_path, "PC_NAME_MAX")
    write_atomically(tmp_path / name, "x")
    with pytest.raises(OutputError, match="name too long"):
        write_atomically(tmp_path / (name + "n"), "x")
    assert only(tmp_path) == [name]


@pytest.mark.parametrize(
    ("make", "reason"),
    [
        (lambda p: p.mkdir(), "is a folder; give the name of a file in it"),
        (lambda p: os.mkfifo(p), "is a device or a pipe, not a file"),
        (lambda p: p.symlink_to(p), "symbolic links"),  # strerror of ELOOP
    ],
)
def test_only_a_file_can_be_written(tmp_path, make, reason):
    make(tmp_path / "out")
    with pytest.raises(OutputError, match=reason):
        write_atomically(tmp_path / "out", "x", force=True)
    assert only(tmp_path) == ["out"]


def test_names_that_are_none():
    for name in ("no\0name", ""):
        with pytest.raises(OutputError, match="; "):
            write_atomically(name, "x", force=True)


def test_a_missing_folder_is_named_and_not_made(tmp_path):
    with pytest.raises(OutputError, match="its folder does not exist; make the folder first"):
        write_atomically(tmp_path / "no" / "a.txt", "x")
    assert only(tmp_path) == []


@linux_only
def test_the_full_device_is_a_failure_and_survives():
    # full(4), Linux manual pages: 'Writes to the /dev/full device will fail with an ENOSPC error'
    before = Path("/dev/full").stat().st_rdev
    with pytest.raises(OutputError, match="device"):
        write_atomically("/dev/full", "x", force=True)
    assert Path("/dev/full").stat().st_rdev == before  # as root a plain rename would have replaced it


def test_a_full_disk_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch):
    (tmp_path / "a.txt").write_text("old")

    def full(_handle: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match="no space left on device; check the disk"):
        write_atomically(tmp_path / "a.txt", "new", force=True)
    assert (tmp_path / "a.txt").read_text() == "old"
    assert only(tmp_path) == ["a.txt"]


@linux_only
def test_a_limit_met_in_the_middle_leaves_the_old_file(tmp_path):
    (tmp_path / "a.txt").write_text("old")
    code = (
        "import resource, signal, sys; from traceanalyze.report.files import write_atomically\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN); resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))\n"
        "write_atomically(sys.argv[1], b'x' * 10_000, force=True)"
    )
    done = subprocess.run([sys.executable, "-c", code, tmp_path / "a.txt"], capture_output=True, text=True)
    assert "OutputError" in done.stderr
    assert "file too large" in done.stderr  # strerror of EFBIG: setrlimit(2), RLIMIT_FSIZE
    assert only(tmp_path) == ["a.txt"]
    assert (tmp_path / "a.txt").read_text() == "old"


def test_a_closed_folder_is_one_line(tmp_path, monkeypatch):
    def closed(*_: object, **__: object) -> None:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    monkeypatch.setattr(Path, "open", closed)  # tests may run as root, whom a folder's mode does not stop
    with pytest.raises(OutputError, match="permission denied; check the disk") as caught:
        write_atomically(tmp_path / "a.txt", "x")
    assert "\n" not in str(caught.value)


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_really_closed_folder(tmp_path):
    tmp_path.chmod(0o500)
    with pytest.raises(OutputError, match="permission denied"):
        write_atomically(tmp_path / "a.txt", "x")


def test_without_hard_links_it_still_writes_and_still_refuses(tmp_path, monkeypatch):
    def none(*_: object) -> None:
        raise OSError(errno.EPERM, os.strerror(errno.EPERM))

    monkeypatch.setattr(os, "link", none)
    write_atomically(tmp_path / "a.txt", "1")
    with pytest.raises(OutputError, match="exists already"):
        write_atomically(tmp_path / "a.txt", "2")
    assert (tmp_path / "a.txt").read_text() == "1"


def test_a_file_made_in_the_meantime_is_not_replaced(tmp_path, monkeypatch):
    out = tmp_path / "a.txt"
    fsync = os.fsync
    monkeypatch.setattr(os, "fsync", lambda handle: (out.exists() or out.write_text("theirs"), fsync(handle)))
    with pytest.raises(OutputError, match="exists already"):
        write_atomically(out, "ours")
    assert out.read_text() == "theirs"
    assert only(tmp_path) == ["a.txt"]


@linux_only
def test_a_kill_in_the_middle_leaves_old_or_new_never_a_part(tmp_path):
    out = tmp_path / "a.bin"
    old = b"0" * 3_000_000
    out.write_bytes(old)
    code = (
        "import itertools, sys; from traceanalyze.report.files import write_atomically\n"
        "for k in itertools.count(1): write_atomically(sys.argv[1], b'%d' % (k % 10) * 3_000_000, force=True); "
        "print(k, flush=True)"
    )
    for delay_s in (0.0, 0.003, 0.011):
        child = subprocess.Popen([sys.executable, "-c", code, out], stdout=subprocess.PIPE)
        child.stdout.readline()  # it is writing now
        time.sleep(delay_s)
        child.send_signal(signal.SIGKILL)
        child.wait()
        child.stdout.close()
        content = out.read_bytes()
        assert len(content) == len(old)
        assert len(set(content)) == 1  # all of one writing


def test_check_output_says_it_beforehand(tmp_path):
    check_output(tmp_path / "new.txt")
    (tmp_path / "old.txt").touch()
    check_output(tmp_path / "old.txt", force=True)
    with pytest.raises(OutputError, match="exists already"):
        check_output(tmp_path / "old.txt")


def test_make_folder_makes_one_and_accepts_it_again(tmp_path):
    make_folder(tmp_path / "out")
    make_folder(tmp_path / "out")
    assert (tmp_path / "out").is_dir()
    with pytest.raises(OutputError, match="the folder above it does not exist"):
        make_folder(tmp_path / "a" / "b")
    (tmp_path / "file").touch()
    with pytest.raises(OutputError, match="is there and is no folder"):
        make_folder(tmp_path / "file")
    with pytest.raises(OutputError, match="same file as the input"):
        make_folder(tmp_path / "out", inputs=[tmp_path / "out"])


@linux_only
def test_failures_leave_no_file_open(tmp_path):
    (tmp_path / "a.txt").touch()
    before = only(Path("/proc/self/fd"))
    for _ in range(20):
        with pytest.raises(OutputError):
            write_atomically(tmp_path / "a.txt", "x")
    assert len(only(Path("/proc/self/fd"))) == len(before)
