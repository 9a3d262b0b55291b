"""Files as users drop them: plain, packed, several in one, damaged, and things that are no files at all."""

import bz2
import codecs
import gzip
import io
import os
import socket
import sys
import zipfile
from hashlib import sha256
from pathlib import Path

import pytest

from tests.parsers.nmea_logs import ride
from traceanalyze import parsers
from traceanalyze.errors import FormatError, InputError, LimitError, TraceError
from traceanalyze.parsers.containers import HEAD_BYTES, Member, open_members
from traceanalyze.parsers.options import ReadOptions

LOG = b"".join(ride(50))


def written(path: Path, data: bytes) -> str:
    """Write a file and return its path as text."""
    path.write_bytes(data)
    return str(path)


def archive(*entries: tuple[str, bytes], packing: int = zipfile.ZIP_DEFLATED) -> bytes:
    """Return a zip archive."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", packing) as file:
        for name, data in entries:
            file.writestr(name, data)
    return out.getvalue()


def only(path: str, options: ReadOptions | None = None) -> Member:
    """Return the one member of a file."""
    (member,) = open_members(path, options)
    assert isinstance(member, Member)
    return member


class TestPlain:
    """A file that is not packed."""

    def test_its_bytes_and_their_hash(self, tmp_path: Path) -> None:
        path = written(tmp_path / "log.txt", LOG)
        member = only(path)
        assert member.data() == b"".join(member.chunks()) == LOG
        assert (member.label, member.name, member.size) == (path, "", len(LOG))
        assert member.sha256 == sha256(LOG).hexdigest()

    def test_the_hash_is_made_while_it_is_read(self, tmp_path: Path) -> None:
        path = written(tmp_path / "log.txt", LOG)
        member = only(path)
        list(member.chunks())
        Path(path).unlink()
        assert member.sha256 == sha256(LOG).hexdigest()

    def test_a_large_one_comes_in_pieces(self, tmp_path: Path) -> None:
        data = LOG * 200
        pieces = list(only(written(tmp_path / "log", data)).chunks())
        assert len(pieces) > 4
        assert b"".join(pieces) == data
        assert only(str(tmp_path / "log")).head() == data[:HEAD_BYTES]

    def test_an_empty_one_is_refused(self, tmp_path: Path) -> None:
        with pytest.raises(FormatError, match="the file is empty; check that"):
            only(written(tmp_path / "log", b""))

    def test_one_that_is_too_large_is_refused_with_both_sizes(self, tmp_path: Path) -> None:
        path = written(tmp_path / "log", bytes(3_000_000))
        with pytest.raises(LimitError, match="holds 3 MB, more than the 2 MB allowed"):
            only(path, ReadOptions(max_plain_bytes=2_000_000))
        with pytest.raises(LimitError, match="holds 3 MB, more than the 2 MB allowed"):
            only(path, ReadOptions(max_unpacked_bytes=2_000_000)).data()

    @pytest.mark.parametrize(
        "name",
        [
            "a b.nmea",
            "it's.log",
            "new\nline.gpx",
            "%s{0}.csv",
            "\u202egpx.exe",
            "<script>.nmea",
            b"\xff\xfe.log",
            "nmea",
        ],
    )
    def test_its_name_does_not_matter(self, tmp_path: Path, name: str | bytes) -> None:
        path = os.path.join(os.fsencode(tmp_path), os.fsencode(name))  # noqa: PTH118  # bytes, as the system has them
        text = written(Path(os.fsdecode(path)), LOG)
        trace = parsers.read(text)
        assert trace.points == 50
        assert trace.source.path == text

    def test_one_that_vanishes_while_it_is_read(self, tmp_path: Path) -> None:
        path = tmp_path / "log"
        member = only(written(path, LOG))
        path.unlink()
        with pytest.raises(InputError, match="no such file"):
            member.data()


class TestNoFiles:
    """Whatever is no regular file is refused at once, in one line."""

    def test_nothing_there(self, tmp_path: Path) -> None:
        with pytest.raises(InputError, match=r"missing\.nmea: no such file; check the name"):
            parsers.read(tmp_path / "missing.nmea")
        with pytest.raises(InputError, match="no such file"):
            parsers.read(Path(written(tmp_path / "log", LOG)) / "below")

    def test_a_folder_points_to_day(self, tmp_path: Path) -> None:
        with pytest.raises(InputError, match="it is a folder; name the logs in it, or use the command `day`"):
            parsers.read(tmp_path)

    @pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
    def test_a_pipe_does_not_block(self, tmp_path: Path) -> None:
        os.mkfifo(tmp_path / "pipe")
        with pytest.raises(InputError, match="it is a pipe, not a file; give a file, or `-`"):
            parsers.read(tmp_path / "pipe")

    @pytest.mark.skipif(not hasattr(socket, "AF_UNIX"), reason="this system has no sockets in its file system")
    def test_devices_and_sockets(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        with pytest.raises(InputError, match="it is a device"):
            parsers.read("/dev/null")
        with socket.socket(socket.AF_UNIX) as server:
            monkeypatch.chdir(tmp_path)  # a socket's path may have 107 bytes only
            server.bind("socket")
            with pytest.raises(InputError):
                parsers.read(tmp_path / "socket")

    def test_a_link_to_itself(self, tmp_path: Path) -> None:
        (tmp_path / "loop").symlink_to(tmp_path / "loop")
        with pytest.raises(InputError, match="a link that leads back to itself"):
            parsers.read(tmp_path / "loop")

    def test_a_link_to_a_log_is_followed(self, tmp_path: Path) -> None:
        (tmp_path / "link").symlink_to(written(tmp_path / "log", LOG))
        assert parsers.read(tmp_path / "link").points == 50

    @pytest.mark.parametrize("name", ["a\0b", "x" * 5000])
    def test_what_no_file_can_be_called(self, name: str) -> None:
        with pytest.raises(InputError):
            parsers.read(name)

    @pytest.mark.skipif(getattr(os, "geteuid", int)() == 0, reason="the superuser may read everything")
    def test_no_permission(self, tmp_path: Path) -> None:
        path = Path(written(tmp_path / "log", LOG))
        path.chmod(0)
        with pytest.raises(InputError, match="no permission to read it"):
            parsers.read(path)

    def test_no_permission_is_told_apart(self, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
        path = written(tmp_path / "log", LOG)
        for error, words in (
            (PermissionError(13, "x"), "no permission"),
            (OSError(5, "Input/output error"), "input/output"),
        ):
            monkeypatch.setattr(os, "open", lambda *_, error=error, **__: (_ for _ in ()).throw(error))
            with pytest.raises(InputError, match=words):
                parsers.read(path)


class TestGzip:
    """Files packed with gzip (RFC 1952)."""

    def test_it_is_unpacked(self, tmp_path: Path) -> None:
        data = gzip.compress(LOG)
        member = only(written(tmp_path / "log.gz", data))
        assert member.data() == LOG
        assert member.sha256 == sha256(data).hexdigest()  # of the file as it lies on disk

    def test_several_streams_and_padding_are_one_file(self, tmp_path: Path) -> None:
        half = len(LOG) // 2
        data = gzip.compress(LOG[:half]) + gzip.compress(LOG[half:]) + bytes(512)
        member = only(written(tmp_path / "log", data))
        assert member.data() == LOG
        assert not member.tally
        assert only(written(tmp_path / "log", gzip.compress(LOG) + b"trailing rubbish")).data() == LOG

    def test_of_a_cut_one_what_comes_before_is_kept(self, tmp_path: Path) -> None:
        trace = parsers.read(written(tmp_path / "log.gz", gzip.compress(LOG)[:-300]))
        assert 10 < trace.points < 50
        assert trace.damaged
        assert "is cut short" in trace.remarks[0].text

    def test_one_wrong_bit_costs_the_line_it_is_in(self, tmp_path: Path) -> None:
        stored = bytearray(gzip.compress(LOG * 9, compresslevel=0))
        stored[5_000] ^= 1
        trace = parsers.read(written(tmp_path / "log.gz", bytes(stored)))
        assert trace.points == 50
        assert trace.tally["checksum"] == 1
        assert "is damaged" in trace.remarks[0].text

    def test_nothing_but_a_head_is_refused(self, tmp_path: Path) -> None:
        with pytest.raises(FormatError, match="the gzip packing is cut short; copy the file"):
            parsers.read(written(tmp_path / "log.gz", gzip.compress(LOG)[:11]))
        with pytest.raises(FormatError, match="the gzip packing is damaged"):
            parsers.read(written(tmp_path / "log.gz", b"\x1f\x8b" + bytes(50)))

    def test_a_bomb_is_refused_before_it_grows(self, tmp_path: Path) -> None:
        data = gzip.compress(bytes(50_000_000))
        with pytest.raises(LimitError, match="unpacks to more than the 5 MB allowed"):
            parsers.read(written(tmp_path / "log.gz", data), ReadOptions(max_unpacked_bytes=5_000_000))

    def test_twice_is_unpacked_and_thrice_is_refused(self, tmp_path: Path) -> None:
        twice = gzip.compress(gzip.compress(LOG))
        assert only(written(tmp_path / "log", twice)).data() == LOG
        with pytest.raises(LimitError, match="packed more than 2 times over"):
            only(written(tmp_path / "log", gzip.compress(twice)))


class TestZip:
    """Zip archives."""

    def test_one_log_among_litter_keeps_the_name_of_the_archive(self, tmp_path: Path) -> None:
        data = archive(
            ("day/", b""), ("day/run.nmea", LOG), ("__MACOSX/day/._run.nmea", b"\0\5\x16\7"), ("day/.DS_Store", b"\0"),
            ("Thumbs.db", b"\xd0\xcf"), ("day/readme.txt", b"what a day"), ("empty.log", b""),
        )  # fmt: skip
        path = written(tmp_path / "day.zip", data)
        (trace,) = parsers.read_all(path)
        assert trace.points == 50
        assert trace.source.path == path
        assert trace.source.sha256 == sha256(data).hexdigest()
        assert not trace.remarks

    def test_several_logs_are_named_by_their_entries(self, tmp_path: Path) -> None:
        path = written(tmp_path / "day.zip", archive(("one.nmea", LOG), ("sub/two.txt", LOG[:4000])))
        traces = parsers.read_all(path)
        assert [trace.source.path for trace in traces] == [f"{path}:one.nmea", f"{path}:sub/two.txt"]
        with pytest.raises(FormatError, match=r"day\.zip: it holds 2 logs; read_all\(\) returns them all"):
            parsers.read(path)

    def test_names_that_lead_elsewhere_lead_nowhere(self, tmp_path: Path) -> None:
        parsers.read_all(written(tmp_path / "evil.zip", archive(("../../evil.nmea", LOG), ("/etc/evil.nmea", LOG))))
        assert not (tmp_path.parent.parent / "evil.nmea").exists()

    @pytest.mark.parametrize("packing", [zipfile.ZIP_STORED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
    def test_any_packing_inside(self, tmp_path: Path, packing: int) -> None:
        assert parsers.read(written(tmp_path / "log.zip", archive(("a", LOG), packing=packing))).points == 50

    def test_what_cannot_be_read_is_remarked_when_the_rest_can(self, tmp_path: Path) -> None:
        data = bytearray(archive(("good.nmea", LOG), ("bad.nmea", LOG)))
        begin = data.index(b"bad.nmea") + 8
        data[begin + 50 : begin + 60] = bytes(10)
        (trace,) = parsers.read_all(written(tmp_path / "day.zip", bytes(data)))
        assert trace.points == 50
        assert [remark.code for remark in trace.remarks] == ["member-left-out"]
        assert "bad.nmea in the archive is damaged" in trace.remarks[0].text

    def test_a_password_is_said(self, tmp_path: Path) -> None:
        data = bytearray(archive(("secret.nmea", LOG)))
        for signature, at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):  # APPNOTE 4.4.4: bit 0 of the flags
            data[data.index(signature) + at] |= 1
        with pytest.raises(FormatError, match=r"secret\.nmea in the archive has a password; unpack it first"):
            parsers.read(written(tmp_path / "day.zip", bytes(data)))

    def test_an_archive_without_logs(self, tmp_path: Path) -> None:
        with pytest.raises(FormatError, match="no log in the archive"):
            parsers.read(written(tmp_path / "a.zip", archive(("one.txt", b"\x01\x02hello"), ("two.bin", b"\x00" * 50))))
        with pytest.raises(FormatError, match="no log in the archive"):
            parsers.read(written(tmp_path / "a.zip", archive()))

    @pytest.mark.parametrize("change", [lambda d: d[: len(d) // 2], lambda d: d[:4] + bytes(200), lambda d: d[:-10]])
    def test_a_damaged_archive(self, tmp_path: Path, change) -> None:
        with pytest.raises(FormatError, match="the zip archive is damaged or cut short; copy it again"):
            parsers.read(written(tmp_path / "day.zip", change(archive(("a.nmea", LOG)))))

    def test_bombs_of_all_kinds(self, tmp_path: Path) -> None:
        options = ReadOptions(max_unpacked_bytes=5_000_000)
        zeros = bytes(6_000_000)
        flat = archive(("bomb", zeros))
        nested = archive(*[(f"{k}.zip", archive(("bomb", zeros[:1_000_000]))) for k in range(9)])
        deep = archive(("a.zip", archive(("b.zip", archive(("c", LOG))))))
        many = archive(*[(f"{k}", b"x") for k in range(1_001)])
        for data in (flat, nested, deep, many):
            with pytest.raises(LimitError):
                parsers.read_all(written(tmp_path / "bomb.zip", data), options)

    def test_an_archive_in_an_archive_and_a_packed_log_in_one(self, tmp_path: Path) -> None:
        data = archive(("inner.zip", archive(("a.nmea", LOG))), ("b.nmea.gz", gzip.compress(LOG)))
        assert len(parsers.read_all(written(tmp_path / "day.zip", data))) == 2
        broken = archive(("a.nmea", LOG), ("b.zip", b"PK\x03\x04 no archive"), ("c.xz", b"\xfd7zXZ\x00..."))
        (trace,) = parsers.read_all(written(tmp_path / "day.zip", broken))
        assert [remark.text.split(":")[0] for remark in trace.remarks] == ["b.zip", "c.xz"]


def test_other_packings_are_named(tmp_path: Path) -> None:
    with pytest.raises(FormatError, match="it is packed with bzip2; unpack it first"):
        parsers.read(written(tmp_path / "log.bz2", bz2.compress(LOG)))


ENCODINGS = {
    "utf-8 with mark": codecs.BOM_UTF8 + LOG,
    "utf-16 little with mark": codecs.BOM_UTF16_LE + LOG.decode().encode("utf-16-le"),
    "utf-16 big with mark": codecs.BOM_UTF16_BE + LOG.decode().encode("utf-16-be"),
    "utf-16 little": LOG.decode().encode("utf-16-le"),
    "utf-16 big": LOG.decode().encode("utf-16-be"),
    "utf-32 little with mark": codecs.BOM_UTF32_LE + LOG.decode().encode("utf-32-le"),
    "utf-32 big with mark": codecs.BOM_UTF32_BE + LOG.decode().encode("utf-32-be"),
}


@pytest.mark.parametrize("data", ENCODINGS.values(), ids=ENCODINGS.keys())
def test_encodings(tmp_path: Path, data: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("traceanalyze.parsers.files.CHUNK_BYTES", 1001)  # pieces that cut characters
    member = only(written(tmp_path / "log", data))
    assert member.head() == LOG
    assert member.data() == LOG


def test_damaged_utf_16_costs_its_lines_only(tmp_path: Path) -> None:
    data = bytearray(ENCODINGS["utf-16 little with mark"])
    data[1003] = 0xD8  # half a surrogate pair
    trace = parsers.read(written(tmp_path / "log", bytes(data)))
    assert trace.points == 50
    assert trace.tally["checksum"] == 1
    assert parsers.read(written(tmp_path / "log", bytes(data[:-1]))).points == 50


class TestStandardInput:
    """`-` as a path."""

    class Pipe:
        def __init__(self, data: bytes) -> None:
            self.buffer = io.BytesIO(data)

    def test_a_log(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(sys, "stdin", self.Pipe(gzip.compress(LOG)))
        trace = parsers.read("-")
        assert (trace.points, trace.source.path) == (50, "-")

    def test_too_much(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(sys, "stdin", self.Pipe(LOG))
        with pytest.raises(LimitError, match="-: it"):
            parsers.read("-", ReadOptions(max_unpacked_bytes=100))

    def test_nothing(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(sys, "stdin", None)
        with pytest.raises(InputError, match="standard input cannot be read"):
            parsers.read("-")


class TestContentDecides:
    """Which reader takes a log."""

    def test_the_ending_does_not(self, tmp_path: Path) -> None:
        assert parsers.read(written(tmp_path / "run.gpx", LOG)).source.format == "nmea"

    def test_sentences_far_from_the_beginning(self, tmp_path: Path) -> None:
        trace = parsers.read(written(tmp_path / "log", b"\x00\xff" * 200_000 + b"\n" + LOG))
        assert (trace.source.format, trace.points) == ("nmea", 50)

    @pytest.mark.parametrize(
        "data", [b"\x89PNG\r\n\x1a\n" + bytes(90_000), b"%PDF-1.7\n\x80\x81", b"\x00", b"\x7fELF" + bytes(9)]
    )
    def test_what_is_no_log_is_refused_with_advice(self, tmp_path: Path, data: bytes) -> None:
        with pytest.raises(FormatError, match=r"x: not a log this program reads; NMEA, GPX and CSV logs are read"):
            parsers.read(written(tmp_path / "x", data))

    def test_a_text_that_could_be_a_table_is_no_log_and_says_why(self, tmp_path: Path) -> None:
        path = written(tmp_path / "notes.txt", b"98;102;41\n95;100;38\n" * 9)
        with pytest.raises(FormatError, match=r"notes\.txt: not a log this program reads; taken as CSV, .*; "):
            parsers.read(path)

    def test_columns_that_are_named_make_a_table_of_anything(self, tmp_path: Path) -> None:
        path = written(tmp_path / "x", b"\x01\x02\n" * 9)
        with pytest.raises(FormatError) as caught:
            parsers.read(path, ReadOptions(columns={"speed": "v"}))
        assert "not a log" not in str(caught.value)

    def test_a_format_that_is_read_whole_keeps_to_the_smaller_limit(self, tmp_path: Path) -> None:
        path = written(tmp_path / "x.gpx", b'<?xml version="1.0"?><gpx>' + b" " * 3_000_000)
        with pytest.raises(LimitError, match=r"x\.gpx: it holds 3 MB, more than the 2 MB allowed"):
            parsers.read(path, ReadOptions(max_unpacked_bytes=2_000_000))

    def test_errors_name_the_file_as_it_was_given(self, tmp_path: Path) -> None:
        with pytest.raises(TraceError) as caught:
            parsers.read(written(tmp_path / "void", b"$GPRMC,,V,,,,,,,,,,N*53\r\n"))
        assert str(caught.value).startswith(f"{tmp_path}/void: no valid fix in it")
