"""The bytes of a GPX file -> blocks of markup that expat has proved well-formed, damaged places left out.

In these blocks every `<` begins a tag and every tag is closed, so they can be read by looking for bytes. Comments are
taken out and CDATA sections made plain text beforehand; a document type, and so every entity, is refused by expat.
"""

from __future__ import annotations

import codecs
import re
from collections import Counter
from collections.abc import Iterator
from typing import Any, Final, NamedTuple
from xml.parsers import expat

from traceanalyze.errors import FormatError, LimitError

#: Size of a block [bytes]: one of 1-4 MiB stays in the processor's cache and holds memory down.
BLOCK_BYTES: Final = 1 << 21
#: Size of the first block after a damaged place [bytes]; it doubles from there, so that many damages cost little.
_FIRST_BYTES: Final = 1 << 14
#: Damaged places after which the rest of a file is given up.
MAX_DAMAGES: Final = 1000
#: Closing tags in a row passed over in search of a place to cut; deeper nesting is refused anyway.
_CLOSINGS: Final = 200
#: What a piece found after damage is put behind, so that it reads like a whole file.
_FRAGMENT_START: Final = b"<gpx><trk><trkseg>"

_SPECIAL: Final = re.compile(rb"<[!?]")
_PREFIXED_POINT: Final = re.compile(rb"<([^<>\s/:!?]{1,100}:)trkpt[\s/>]")
_DECLARED: Final = re.compile(rb"<\?xml[^>]{0,200}?\sencoding\s*=\s*[\"']([A-Za-z][A-Za-z0-9._:-]{0,60})[\"']")
_MARKS: Final = (
    (codecs.BOM_UTF32_LE, "utf-32"), (codecs.BOM_UTF32_BE, "utf-32"), (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"), (b"<\0", "utf-16-le"), (b"\0<", "utf-16-be"),
)  # fmt: skip
_UNICODE: Final = re.compile(r"utf-?8|(us-)?ascii|(utf|ucs|iso-10646-ucs)-?(16|32|2|4)([bl]e)?")
_HARMLESS: Final = bytes.maketrans(b"<>&", b"???")


def _codes(*names: str) -> frozenset[int]:
    return frozenset(expat.errors.codes[getattr(expat.errors, f"XML_ERROR_{name}")] for name in names)


_ENDED: Final = _codes("NO_ELEMENTS", "UNCLOSED_TOKEN", "PARTIAL_CHAR", "UNCLOSED_CDATA_SECTION")
_JUNK_AFTER: Final = _codes("JUNK_AFTER_DOC_ELEMENT")
_MISMATCH: Final = _codes("TAG_MISMATCH")
#: Found only at the end of a declaration, whose beginning may hold anything.
_DECLARATION: Final = _codes("XML_DECL")


class Block(NamedTuple):
    """Well-formed markup, cut before an opening tag.

    Attributes
    ----------
    text : bytes
    depth : int or None
        How deep a document or fragment is nested where this block begins it; None for a block that goes on
        where the last one stopped.
    """

    text: bytes
    depth: int | None


def as_ascii_superset(data: bytes) -> tuple[bytes, str]:
    """Return the file in an encoding whose lower half is ASCII, and the name expat reads it by.

    All that is read are ASCII tags and numbers, so any single-byte or East Asian encoding may pass for Latin-1, and so
    may what says UTF-8 but is not.

    Raises
    ------
    FormatError
        If the declared encoding is unknown, or hides ASCII.
    """
    for mark, name in _MARKS:
        if data.startswith(mark):
            return data.decode(name, "replace").removeprefix("\ufeff").encode("utf-8", "replace"), "utf-8"
    data = data.removeprefix(codecs.BOM_UTF8).lstrip()
    declared = _DECLARED.match(data)
    name = declared[1].decode("ascii").lower() if declared else "utf-8"
    if _UNICODE.fullmatch(name):
        return data, "utf-8" if _is_utf8(data) else "iso-8859-1"
    if not _keeps_ascii(name):
        raise FormatError(f"its text encoding {name!r} is unknown", advice="save it as UTF-8")
    return data, "iso-8859-1"


def _keeps_ascii(name: str) -> bool:
    probe = bytes(range(128)) + b"\x1b$B<!\x1b(B~{<!~}"  # what ISO-2022 and HZ switch alphabets by
    try:
        return probe.decode(name) == probe.decode("ascii")
    except (LookupError, ValueError):
        return False


def _is_utf8(data: bytes) -> bool:
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        for begin in range(0, len(data), BLOCK_BYTES):
            decoder.decode(data[begin : begin + BLOCK_BYTES])
    except UnicodeDecodeError:
        return False
    return True


def without_comments(text: bytes) -> bytes:
    """Return markup without comments, processing instructions and CDATA marks; a declaration in front stays.

    One pass. What is left open at the end is dropped. A document type stays, for expat to refuse.
    """
    parts, taken, at = [], 0, max(text.find(b"?>"), 0) if text.startswith(b"<?xml") else 0
    if text.find(b"!", at) < 0 and text.find(b"?", at + 1) < 0:  # one byte is found ten times faster than a pattern
        return text
    while found := _SPECIAL.search(text, at):
        begin = found.start()
        opening, closing = _special(text, begin)
        if not closing:
            at = begin + 2
            continue
        end = text.find(closing, begin + opening)
        parts.append(text[taken:begin])
        if opening == 9:
            parts.append(text[begin + 9 : max(end, begin + 9)].translate(_HARMLESS))
        elif taken < begin and text[begin - 1] != ord(">"):
            parts.append(b" ")  # so that no tag or number grows together from its halves
        taken = at = len(text) if end < 0 else end + len(closing)
    return b"".join((*parts, text[taken:])) if parts else text


def _special(text: bytes, begin: int) -> tuple[int, bytes]:
    """Length of the opening mark and the closing mark; the latter empty for what must stay."""
    if text.startswith(b"<!--", begin):
        return 4, b"-->"
    if text.startswith(b"<![CDATA[", begin):
        return 9, b"]]>"
    return 2, b"?>" if text.startswith(b"<?", begin) else b""


def without_prefix(text: bytes) -> bytes:
    """Return markup whose GPX tags have no namespace prefix; the prefix is that of the first `trkpt`."""
    if b"<trkpt" in text or not (found := _PREFIXED_POINT.search(text)):
        return text
    prefix = found[1]
    return text.replace(b"<" + prefix, b"<").replace(b"</" + prefix, b"</")


class _Proof:
    """One run of expat over one document or fragment."""

    def __init__(self, encoding: str, start: bytes = b"") -> None:
        self._parser = expat.ParserCreate(encoding)
        self._parser.StartDoctypeDeclHandler = _refuse
        self._parser.Parse(start, False)
        self._fed = len(start)

    def wrong(self, piece: bytes, last: bool) -> tuple[int, int] | None:
        """Return what is wrong with the next piece, as expat's code, and how many bytes before it are right."""
        try:
            self._parser.Parse(piece, last)
        except expat.ExpatError as error:
            right = 0 if error.code in _DECLARATION else self._parser.ErrorByteIndex - self._fed
            return error.code, min(max(right, 0), len(piece))
        self._fed += len(piece)
        return None


def _refuse(*_: Any) -> None:
    raise FormatError(
        "it declares a document type, which can hide entities that grow without end",
        advice="remove the <!DOCTYPE ...> part or export the track again",
    )


def proven_blocks(text: bytes, encoding: str, tally: Counter[str]) -> Iterator[Block]:
    """Yield the blocks that expat finds well-formed; count damaged places and a cut end in `tally`.

    After damage, reading goes on at the next track point.

    Raises
    ------
    FormatError
        If the file declares a document type.
    LimitError
        If a text or a tag is longer than a block.
    """
    begin, size, damages = 0, BLOCK_BYTES, 0
    proof = _Proof(encoding)
    depth: int | None = 0
    while begin < len(text):
        end = _cut(text, begin, size)
        piece = text[begin:end]
        wrong = proof.wrong(piece, end == len(text))
        if wrong is None:
            yield Block(piece, depth)
            begin, size, depth = end, min(2 * size, BLOCK_BYTES), None
            continue
        code, good = wrong
        yield Block(_whole_tags(piece[:good]), depth)
        bad, again = begin + good, not good and damages
        begin = -1 if code in _ENDED else text.find(b"<trkpt", bad + (not good))
        if begin < 0 or damages == MAX_DAMAGES:
            tally.update(_last_loss(text, bad, code, damages))
            return
        damages += 1
        tally["malformed"] += not (again or (code in _JUNK_AFTER and text.startswith((b"<gpx", b"<?xml"), bad)))
        proof, depth, size = _Proof(encoding, _FRAGMENT_START), _FRAGMENT_START.count(b"<"), _FIRST_BYTES


def _cut(text: bytes, begin: int, size: int) -> int:
    """Return where a block of about `size` bytes may end: before an opening tag, or at the end of the file."""
    end = begin + size
    if end >= len(text):
        return len(text)
    for _ in range(_CLOSINGS):
        end = text.rfind(b"<", begin + 1, end)
        if end < 0:
            return _cut_far(text, begin, size)
        if text[end + 1] != ord("/"):
            break
    return end


def _cut_far(text: bytes, begin: int, size: int) -> int:
    if size >= BLOCK_BYTES:
        raise LimitError(
            f"a tag or text in it is longer than {BLOCK_BYTES / 1e6:.0f} MB", advice="export the track again"
        )
    return _cut(text, begin, BLOCK_BYTES)


def _whole_tags(piece: bytes) -> bytes:
    """Return the piece without the tag that expat broke off in."""
    begin = piece.find(b"<", piece.rfind(b">") + 1)
    return piece if begin < 0 else piece[:begin]


def _last_loss(text: bytes, bad: int, code: int, damages: int) -> dict[str, int]:
    """Tell what is lost where no further point follows: the end of a cut file, one more damage, or nothing."""
    if text.endswith(b"</gpx>", 0, bad) or text[:bad].rstrip().endswith(b"</gpx>"):
        return {}
    if code in _ENDED or text.find(b"<", bad) < 0:
        return {"truncated": 1}
    if damages and code in _MISMATCH | _JUNK_AFTER:
        return {}  # the closing tags of the damaged whole, read behind a fragment
    return {"malformed": 1}
