"""Opens what a user names (plain, gzip, zip, standard input) without harm, and hands out the logs inside as bytes."""

from __future__ import annotations

import codecs
import contextlib
import hashlib
import io
import os
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Final, NamedTuple

from traceanalyze.errors import FormatError, LimitError, TraceError
from traceanalyze.parsers.files import CHUNK_BYTES, START_BYTES, LogFile, opened, standard_input, too_large
from traceanalyze.parsers.options import ReadOptions
from traceanalyze.trace import Remark

#: Bytes a format is recognised by.
HEAD_BYTES: Final = 65_536
#: Members looked at in one archive; a day of logs is some dozens.
_MAX_MEMBERS: Final = 1_000
#: Archives within archives that are opened.
_MAX_DEPTH: Final = 2
#: Packed bytes unpacked at a time: what is lost around damage, were it not gone through byte by byte.
_SLICE_BYTES: Final = 4_096
_GZIP: Final = b"\x1f\x8b"
_ZIP: Final = (b"PK\x03\x04", b"PK\x05\x06")
_OTHER_PACKING: Final = {
    b"BZh": "bzip2", b"\xfd7zXZ\x00": "xz", b"\x28\xb5\x2f\xfd": "zstandard", b"7z\xbc\xaf\x27\x1c": "7-Zip",
    b"Rar!\x1a\x07": "RAR", b"\x04\x22\x4d\x18": "LZ4", b"\x1f\x9d": "compress",
}  # fmt: skip
_TEXT: Final = bytes((9, 10, 13, *range(32, 127)))
_MARKS: Final = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """One candidate for a log: a file, or what was packed in one.

    Text in UTF-16 or UTF-32 (told by its byte order mark, or by every second byte being zero) is handed out
    as UTF-8, without any mark; all other bytes are handed out as they are. A declaration of the encoding inside
    the text is then no longer true.

    Attributes
    ----------
    label : str
        The path as the user gave it.
    name : str
        Name inside an archive; empty for a file of its own.
    size : int
        Bytes, unpacked.
    tally : mapping of str to int
        What unpacking lost, by kind.
    remarks : tuple of Remark
        What unpacking has to say.
    content, whole : LogFile or bytes
        Its own bytes, and those of the file it is or was packed in.
    """

    label: str
    name: str = ""
    size: int = 0
    tally: Mapping[str, int] = field(default_factory=dict)
    remarks: tuple[Remark, ...] = ()
    content: LogFile | bytes = b""
    whole: LogFile | bytes = b""
    max_whole_bytes: int = 0

    @property
    def sha256(self) -> str:
        """SHA-256 of the file's bytes as they lie on disk, so members of one archive share it."""
        return self.whole.sha256 if isinstance(self.whole, LogFile) else hashlib.sha256(self.whole).hexdigest()

    def head(self) -> bytes:
        """Return the first 64 KiB, as text in UTF-8 where it is text."""
        return _text(_start(self.content), HEAD_BYTES)

    def chunks(self) -> Iterator[bytes]:
        """Yield the bytes from first to last, some hundred kilobytes at a time, cut anywhere.

        Raises
        ------
        InputError
            If the file can no longer be read.
        """
        encoding, mark = _encoding(_start(self.content))
        pieces = _blocks(self.content)
        if encoding in ("", "utf-8"):
            yield next(pieces, b"")[mark:]
            yield from pieces
            return
        decoder = codecs.getincrementaldecoder(encoding)(errors="replace")
        for index, block in enumerate(pieces):
            yield decoder.decode(block[mark:] if not index else block).encode("utf-8", "replace")
        yield decoder.decode(b"", final=True).encode("utf-8", "replace")

    def data(self) -> bytes:
        """Return all the bytes at once.

        Raises
        ------
        LimitError
            If they are more than a whole log may have.
        InputError
            If the file can no longer be read.
        """
        if self.size > self.max_whole_bytes:
            raise too_large(self.size, self.max_whole_bytes)
        return b"".join(self.chunks())


class Refused(NamedTuple):
    """A file inside an archive that cannot be unpacked, and why."""

    name: str
    error: TraceError


class _Room:
    """How many more bytes may come out of one file, however they are packed in it."""

    def __init__(self, limit: int) -> None:
        self.limit = self.left = limit

    def check(self, size: int) -> None:
        """Refuse `size` more bytes when there is no room for them."""
        if size > self.left:
            raise too_large(self.limit + 1, self.limit)

    def take(self, size: int) -> None:
        """Use up room."""
        self.check(size)
        self.left -= size


def open_members(path: str | os.PathLike[str], options: ReadOptions | None = None) -> Iterator[Member | Refused]:
    """Yield what may be logs in a file, in the archive's order; `-` is standard input.

    Nothing is ever written to disk, names inside archives are never followed, and only regular files are opened.

    Raises
    ------
    InputError
        If the path is missing, a folder, a device or pipe, or must not be read.
    FormatError
        If the file is empty, or packed in a way that cannot be unpacked.
    LimitError
        If it is larger, or unpacks to more, than the options allow.
    """
    options = options or ReadOptions()
    label = os.fspath(path)
    try:
        yield from _members(label, options)
    except TraceError as error:
        raise error.at(label) from None


def _members(label: str, options: ReadOptions) -> Iterator[Member | Refused]:
    content: LogFile | bytes
    if label == "-":
        content = standard_input(options.max_unpacked_bytes)
        size = len(content)
    else:
        content = LogFile(label, options.max_plain_bytes)
        size = content.size
    if size == 0:
        raise FormatError("the file is empty", advice="check that the logger had a card and was switched off properly")
    limit = options.max_unpacked_bytes
    whole = Member(label=label, size=size, content=content, whole=content, max_whole_bytes=limit)
    yield from _unpacked(whole, _Room(limit), 0)


def _unpacked(member: Member, room: _Room, depth: int) -> Iterator[Member | Refused]:
    """Yield a member itself, or what is packed in it."""
    start = _start(member.content)[:8]
    packing = next((name for magic, name in _OTHER_PACKING.items() if start.startswith(magic)), None)
    if packing:
        raise FormatError(f"it is packed with {packing}", advice="unpack it first; gzip and zip are opened as they are")
    if not start.startswith((_GZIP, *_ZIP)):
        yield member
        return
    if depth >= _MAX_DEPTH:
        raise LimitError(f"it is packed more than {_MAX_DEPTH} times over", advice="unpack it first")
    if start.startswith(_GZIP):
        yield from _unpacked(_gunzipped(member, room), room, depth + 1)
        return
    for inner in _unzipped(member, room):
        if isinstance(inner, Refused):
            yield inner
            continue
        try:
            yield from _unpacked(inner, room, depth + 1)
        except FormatError as error:
            yield Refused(inner.name, error)


def _gunzipped(member: Member, room: _Room) -> Member:
    """Return what a gzip file holds; of a damaged one, what comes before the damage."""
    data, trouble = _inflated(_blocks(member.content), room)
    room.take(len(data))
    if trouble and not data:
        raise FormatError(f"the gzip packing is {trouble}", advice="copy the file from the logger again")
    note = Remark("packing-damaged", f"the gzip packing is {trouble}: what comes before that was read")
    return replace(
        member,
        size=len(data),
        content=data,
        tally={"truncated": 1} if trouble else {},
        remarks=(note,) if trouble else (),
    )


def _inflated(pieces: Iterator[bytes], room: _Room) -> tuple[bytes, str]:
    """Return the content of one or more gzip streams, and what is wrong with the last: '' when nothing is."""
    out = bytearray()
    machine: zlib._Decompress | None = None
    complete = False
    for piece in _slices(pieces):
        while piece:
            if machine is None:  # a new stream, or the padding after the last
                piece = piece.lstrip(b"\0") if complete else piece
                machine = zlib.decompressobj(31)
                if not piece:
                    break
            before = machine.copy()
            try:
                out += machine.decompress(piece, CHUNK_BYTES)
            except zlib.error:
                out += _byte_by_byte(before, piece)
                return bytes(out), "" if complete and not piece.startswith(_GZIP) else "damaged"
            room.check(len(out))
            complete = machine.eof
            piece, machine = (machine.unused_data, None) if complete else (machine.unconsumed_tail, machine)
    if machine is not None:
        out += machine.flush()
    return bytes(out), "" if complete or (machine is not None and machine.eof) else "cut short"


def _slices(pieces: Iterator[bytes]) -> Iterator[bytes]:
    for piece in pieces:
        yield from (piece[begin : begin + _SLICE_BYTES] for begin in range(0, len(piece), _SLICE_BYTES))


def _byte_by_byte(machine: zlib._Decompress, piece: bytes) -> bytes:
    """Return what a damaged slice still gives before the byte that stops it."""
    out = bytearray()
    with contextlib.suppress(zlib.error):
        for byte in piece:  # pragma: no branch  # it never comes to an end
            out += machine.decompress(bytes((byte,)))
    return bytes(out)


def _unzipped(member: Member, room: _Room) -> Iterator[Member | Refused]:
    """Yield the files in a zip archive, each unpacked in memory."""
    import zipfile  # here: it loads bzip2 and lzma, which plain logs never need

    content = member.content
    # NotImplementedError is how zipfile says that it does not know a compression
    damage = (zipfile.BadZipFile, NotImplementedError, ValueError, EOFError, zlib.error, OSError, ArithmeticError)
    with io.BytesIO(content) if isinstance(content, bytes) else opened(content.path) as file:
        try:
            archive = zipfile.ZipFile(file)
        except damage as error:
            raise FormatError("the zip archive is damaged or cut short", advice="copy it again") from error
        entries = [entry for entry in archive.infolist() if not _is_junk(entry.filename)]
        if len(entries) > _MAX_MEMBERS:
            raise LimitError(f"the archive holds {len(entries)} files", advice=f"{_MAX_MEMBERS} at most; unpack it")
        for entry in entries:
            if entry.flag_bits & 0x1:
                locked = FormatError(f"{entry.filename} in the archive has a password", advice="unpack it first")
                yield Refused(entry.filename, locked)
                continue
            try:
                with archive.open(entry) as packed:
                    data = packed.read(room.left + 1)
            except (*damage, RuntimeError):
                broken = FormatError(f"{entry.filename} in the archive is damaged", advice="copy the archive again")
                yield Refused(entry.filename, broken)
                continue
            room.take(len(data))
            if data:
                yield replace(member, name=entry.filename, size=len(data), content=data)


def _is_junk(name: str) -> bool:
    """Whether an entry is a folder or the litter that desktops leave in archives."""
    *folders, last = name.replace("\\", "/").split("/")
    return not last or "__MACOSX" in folders or last.startswith(".") or last == "Thumbs.db"


def _blocks(content: LogFile | bytes) -> Iterator[bytes]:
    if isinstance(content, LogFile):
        return content.blocks()
    return (content[begin : begin + CHUNK_BYTES] for begin in range(0, len(content), CHUNK_BYTES))


def _start(content: LogFile | bytes) -> bytes:
    """Return some first bytes, enough for a head of 64 KiB in any encoding."""
    return content[:START_BYTES] if isinstance(content, bytes) else content.start


def _encoding(start: bytes) -> tuple[str, int]:
    """Return the encoding of a text by its first bytes ('' when it says nothing), and the length of its mark."""
    for mark, name in _MARKS:
        if start.startswith(mark):
            return name, len(mark)
    sample = start[:4096]
    half = len(sample) // 2
    if half >= 8:
        even, odd = sample[: 2 * half : 2], sample[1 : 2 * half : 2]
        for name, zeros, letters in (("utf-16-le", odd, even), ("utf-16-be", even, odd)):
            if zeros.count(0) > 0.95 * half and len(letters.translate(None, _TEXT)) < 0.05 * half:
                return name, 0
    return "", 0


def _text(start: bytes, length: int) -> bytes:
    encoding, mark = _encoding(start)
    if encoding in ("", "utf-8"):
        return start[mark : mark + length]
    return codecs.decode(start[mark:], encoding, "ignore").encode("utf-8", "replace")[:length]
