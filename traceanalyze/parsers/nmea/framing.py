"""Where sentences begin and end in a block of bytes, and which of them are whole.

A sentence is `$` (or `!`), a tag, fields, `*` and two hexadecimal digits: the exclusive-or of all bytes between
`$` and `*` (E. S. Raymond, NMEA Revealed, section 'NMEA Encoding Conventions'). What stands before the `$` or
after the digits does not matter, so time stamps of a logger, wrapped lines and binary blocks need no rule of their own.
"""

from __future__ import annotations

import re
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

IndexArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]
ByteArray = NDArray[np.uint8]
WordArray = NDArray[np.uint64]

#: Bytes added before and after the text of a block, so that eight bytes can be loaded around any place in it.
_PAD: Final = 16
_FILLER: Final = b"\x7f" * (_PAD - 1)
#: All bytes that part a sentence are below this one, and in ordinary logs no other byte is.
_BELOW: Final = 45
_NONE, _START, _STAR, _END = range(4)
_ROLE: Final = np.zeros(256, np.uint8)
_ROLE[[36, 33, 42, 10, 13]] = _START, _START, _STAR, _END, _END
_HEX: Final = frozenset(b"0123456789ABCDEFabcdef")
_BYTE: Final = np.uint64(0xFF)

#: What remains of a sentence that was cut within its tag.
_CUT_TAG: Final = re.compile(rb"[$!][A-Z]{0,2}[A-Z0-9]{0,6}")
#: A proprietary sentence without a checksum: some receivers never write one.
_BARE: Final = re.compile(rb"\$(P[A-Z0-9]{3,}),[ -~]*")
_PRINTABLE: Final = bytes(range(32, 127))
_OTHERS_TO_ZERO: Final = bytes(code if code in _PRINTABLE else 0 for code in range(256))
#: Bytes that the rest of a sentence must have after noise, so that noise alone does not make one.
_SHORTEST_REST: Final = 6


class Block(NamedTuple):
    """Bytes of a log that begin and end where lines do.

    Attributes
    ----------
    text : (n,) uint8
        The bytes, with a line end and some filler before and after.
    words : (n - 7,) uint64
        The eight bytes from each place on, the first of them in the lowest bits.
    """

    text: ByteArray
    words: WordArray

    def before(self, place: IndexArray) -> WordArray:
        """Return the eight bytes before each place, the last of them in the highest bits."""
        return self.words[place - 8]

    def cut_out(self, begin: int, end: int) -> bytes:
        """Return the bytes of one piece."""
        return self.text[begin:end].tobytes()

    def excerpt(self, begin: IndexArray, end: IndexArray) -> Excerpt:
        """Return some pieces as a block of their own, one after another in the order they have here."""
        order = np.argsort(begin, kind="stable")
        begin, end = begin[order], np.minimum(end[order], self.text.size - _PAD)
        view = self.text.data
        own = make_block(*[view[one:other] for one, other in zip(begin.tolist(), end.tolist(), strict=True)])
        return Excerpt(own, begin, _PAD + np.cumsum(end - begin) - (end - begin))


class Excerpt(NamedTuple):
    """Pieces of a block as one of their own: where each of them begins there, and here."""

    block: Block
    begin: IndexArray
    begin_here: IndexArray

    def origin(self, place: IndexArray) -> IndexArray:
        """Return where bytes of this block stand in the one that the pieces are from."""
        piece = np.maximum(np.searchsorted(self.begin_here, place, side="right") - 1, 0)
        return self.begin[piece] + (place - self.begin_here[piece])


def make_block(*pieces: bytes | memoryview) -> Block:
    """Return the block of bytes that begin and end where lines do; the pieces follow one another."""
    padded = b"".join((_FILLER, b"\n", *pieces, b"\n", _FILLER))
    text = np.frombuffer(padded, np.uint8)
    return Block(text, np.ndarray((text.size - 7,), "<u8", padded, 0, (1,)))


class Sentences(NamedTuple):
    """What begins like a sentence in a block, in the order it stands there.

    Attributes
    ----------
    block : Block
        The bytes.
    marks : (m,) int
        Places of every comma, `$`, `!`, `*` and line end.
    first, last : (k,) int
        Number in `marks` of each sentence's `$` and of what ends it: its `*`, or else a line end or the next `$`.
    begin, end : (k,) int
        The places of these.
    tags : (k,) uint64
        The eight bytes after each `$`, the first of them in the lowest bits.
    starred : (k,) bool
        Whether it has a checksum.
    matched : (k,) bool
        Whether it has a checksum, and that is right.
    tails : int
        How many ends of sentences stand there without their beginnings.
    """

    block: Block
    marks: IndexArray
    first: IndexArray
    last: IndexArray
    begin: IndexArray
    end: IndexArray
    tags: WordArray
    starred: BoolArray
    matched: BoolArray
    tails: int

    def ended(self) -> BoolArray:
        """Whether each sentence without a checksum runs to the end of a line that has an end."""
        found: BoolArray = _ROLE[self.block.text[self.end]] == _END
        return found & (self.end < self.block.text.size - _PAD)

    def wrong(self) -> BoolArray:
        """Whether each sentence has a checksum that is wrong; noise that happens to begin like one has none."""
        rows = np.flatnonzero(self.starred & ~self.matched)
        found = np.zeros(self.starred.size, bool)
        found[rows] = self._proper(rows)
        for row in rows[~found[rows]].tolist():
            found[row] = _is_text(self.block.cut_out(self.begin[row], self.end[row]))
        return found

    def cut_short(self) -> tuple[int, list[bytes]]:
        """Return how many sentences lack a checksum, and the tags of further ones that may be meant so."""
        rows = np.flatnonzero(~self.starred)
        plain = self._proper(rows) & (self.tags[rows] & _BYTE != ord("P"))
        odd = rows[~plain]
        pieces = [self.block.cut_out(*edges) for edges in zip(self.begin[odd], self.end[odd], strict=True)]
        bare = [found[1] for piece in pieces if (found := _BARE.fullmatch(piece))]
        return int(plain.sum()) + sum(map(_is_text, pieces)) - len(bare), bare

    def _proper(self, rows: IndexArray) -> BoolArray:
        """Whether sentences begin with a tag of five capitals and a comma."""
        tags = self.tags[rows]
        proper: BoolArray = (tags >> np.uint64(40)) & _BYTE == ord(",")
        for place in (2, 3, 4):
            proper &= is_capital(tags, place)
        return proper


def _is_text(piece: bytes) -> bool:
    """Whether some bytes look like a sentence: a tag only, or fields and hardly a byte that cannot be printed."""
    has_fields = b"," in piece and len(piece.translate(None, _PRINTABLE)) <= 1 + len(piece) // 10
    return has_fields or _CUT_TAG.fullmatch(piece) is not None


def _is_tail(piece: bytes) -> bool:
    """Whether some bytes that end in `*` and two more are the rest of a sentence that lost its beginning."""
    before, digits = piece[:-3], piece[-2:]
    rest = before.translate(_OTHERS_TO_ZERO).rpartition(b"\0")[2]
    long_enough = len(rest) >= _SHORTEST_REST or len(rest) == len(before)
    started = before.startswith((b"#", b"\\"))  # a comment, a tag block
    return b"," in rest and long_enough and not started and _HEX.issuperset(digits)


def find_sentences(block: Block) -> Sentences:
    """Return everything that begins like a sentence in a block; lines that begin with `#` are comments."""
    text = block.text
    marks, frame, role = _marks(block, np.flatnonzero(text < _BELOW))
    at = np.flatnonzero(role[:-1] == _START)
    first, last = frame[at], frame[at + 1]
    begin, end = marks[first], marks[last]
    one, two = text[end + 1], text[end + 2]
    starred = (role[at + 1] == _STAR) & (one >= 32) & (two >= 32)
    lone = np.flatnonzero((role[1:] == _STAR) & (role[:-1] != _START) & (np.diff(frame) > 1))  # a comma between
    pieces = zip((marks[frame[lone]] + 1).tolist(), (marks[frame[lone + 1]] + 3).tolist(), strict=True)
    tails = sum(_is_tail(block.cut_out(*edges)) for edges in pieces)
    matched = starred & states(one, two, _checksums(text, begin, end))
    return Sentences(block, marks, first, last, begin, end, block.words[begin + 1], starred, matched, tails)


def _marks(block: Block, marks: IndexArray) -> tuple[IndexArray, IndexArray, ByteArray]:
    """Return those places of low bytes that part sentences, which of them are no commas, and the roles of these."""
    byte = block.text.take(marks)
    frame = np.flatnonzero(byte != ord(","))
    role = _ROLE.take(byte.take(frame))
    starts = np.flatnonzero(role == _START)
    role[starts[~_starts_sentence(block, marks[frame[starts]])]] = _NONE
    if role.all():
        return marks, frame, role
    notes = marks[frame[byte[frame] == ord("#")]]
    if notes.size:
        role[_in_comment(block.text, marks[frame], role, notes)] = _NONE
    kept = np.ones(marks.size, bool)
    kept[frame[role == _NONE]] = False
    number = np.cumsum(kept) - 1
    return marks[kept], number[frame[role != _NONE]], role[role != _NONE]


def _starts_sentence(block: Block, place: IndexArray) -> BoolArray:
    """Whether two capitals follow; or the line ends before them, and began here."""
    after = block.words[place + 1]
    one = is_capital(after, 0)
    proper = one & is_capital(after, 1)
    if proper.all():
        return proper
    ended: BoolArray = _ROLE[block.text[place + 1]] == _END
    ended |= one & (_ROLE[block.text[place + 2]] == _END)
    ended &= _ROLE[block.text[place - 1]] == _END
    return proper | ended


def is_capital(words: WordArray, place: int) -> BoolArray:
    """Whether one byte of each word is a capital letter."""
    byte = words >> np.uint64(8 * place) & _BYTE
    capital: BoolArray = byte - np.uint64(ord("A")) < 26  # smaller bytes wrap round to large numbers
    return capital


def _in_comment(text: ByteArray, place: IndexArray, role: ByteArray, notes: IndexArray) -> BoolArray:
    """Whether each mark, but a line end, stands in a line that begins with `#`."""
    begins = notes[_ROLE[text[notes - 1]] == _END]
    ends = place[role == _END]
    after = np.searchsorted(begins, place, side="right") - 1
    if not begins.size:
        return np.zeros(place.size, bool)
    stops = ends[np.minimum(np.searchsorted(ends, begins), ends.size - 1)]
    inside: BoolArray = (after >= 0) & (place < stops[after])
    return inside


def states(one: ByteArray, two: ByteArray, checksum: ByteArray) -> BoolArray:
    """Whether two bytes are the hexadecimal digits of a checksum."""
    stated: BoolArray = (_hex_value(one) << np.uint8(4)) + _hex_value(two) == checksum
    return stated & _is_hex(one) & _is_hex(two)


def _hex_value(digit: ByteArray) -> ByteArray:
    value: ByteArray = (digit & np.uint8(15)) + (digit >> np.uint8(6)) * np.uint8(9)  # letters have the seventh bit set
    return value


def _is_hex(digit: ByteArray) -> BoolArray:
    found: BoolArray = (digit - np.uint8(ord("0")) < 10) | ((digit | np.uint8(32)) - np.uint8(ord("a")) < 6)
    return found


def _checksums(text: ByteArray, begin: IndexArray, end: IndexArray) -> ByteArray:
    """Return the exclusive-or of the bytes between each `$` and what ends its sentence."""
    edges = np.empty(2 * begin.size, np.intp)
    edges[::2], edges[1::2] = begin + 1, end
    sums: ByteArray = np.bitwise_xor.reduceat(text, edges)[::2] if begin.size else np.zeros(0, np.uint8)
    return sums
