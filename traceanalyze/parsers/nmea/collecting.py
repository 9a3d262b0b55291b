"""One pass over a log: what each block says, sentence by sentence; what cannot be trusted or read is counted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from traceanalyze.parsers.nmea.fields import Fields
from traceanalyze.parsers.nmea.framing import (
    Block,
    BoolArray,
    ByteArray,
    IndexArray,
    Sentences,
    WordArray,
    find_sentences,
    make_block,
)
from traceanalyze.parsers.nmea.layouts import Layout, sort_by_layout
from traceanalyze.parsers.nmea.lines import Lines, find_lines
from traceanalyze.parsers.nmea.sentences import KINDS, RMC, VTG, Reading, kinds_of, reach_of, read_fields

Rows = dict[str, NDArray[Any]]

#: Bytes looked at together: enough that calls cost little, few enough for the cache.
_BLOCK_BYTES: Final = 1 << 21
#: A line longer than this that has no end is no text: it is looked at in pieces.
_LONGEST_LINE: Final = 1 << 20

#: Says which sentences may be used: given all of a block, and the kind of each.
Trust = Callable[[Sentences, ByteArray], BoolArray]


def checksum_right(sentences: Sentences, kind: ByteArray) -> BoolArray:
    """Trust sentences whose checksum is right: the rule for every ordinary log."""
    return sentences.matched.copy()


def checksum_right_or_rmc(sentences: Sentences, kind: ByteArray) -> BoolArray:
    """Trust RMC with any checksum too: for a log whose writer got those wrong, every one of them."""
    rmc: BoolArray = kind == RMC
    return sentences.matched | (sentences.starred & rmc)


def of_usual_length(lengths: Counter[tuple[int, int]]) -> Trust:
    """Trust whole lines with the usual number of fields of their kind: for a log without any checksum."""
    usual = np.full(KINDS.stop, -1)
    for (kind, length), _ in reversed(lengths.most_common()):
        usual[kind] = length

    def trusted(sentences: Sentences, kind: ByteArray) -> BoolArray:
        found: BoolArray = sentences.last - sentences.first - 1 == usual[kind]
        return found & ~sentences.starred & sentences.ended()

    return trusted


@dataclass(frozen=True, slots=True)
class Batch:
    """Sentences that say something, in the order of the log.

    Attributes
    ----------
    kinds : (s,) uint8
        The kind of each.
    columns : mapping
        For each kind that occurs, the columns of its sentences in the same order: those of `Reading`, `void`, and
        `talker`, the two letters as one number. For VTG, which is seldom needed, only where each is to be read:
        `block`, `begin` and `end`.
    blocks : mapping
        The blocks that sentences to be read are in, by number.
    """

    kinds: ByteArray
    columns: Mapping[int, Mapping[str, NDArray[Any]]]
    blocks: Mapping[int, Block] = field(default_factory=dict)

    def split(self, place: int) -> tuple[Batch, Batch]:
        """Return the first `place` sentences and the others."""
        counts = np.bincount(self.kinds[:place], minlength=KINDS.stop).tolist()
        before = {k: {n: v[: counts[k]] for n, v in columns.items()} for k, columns in self.columns.items()}
        after = {k: {n: v[counts[k] :] for n, v in columns.items()} for k, columns in self.columns.items()}
        needed = set(after[VTG]["block"].tolist()) if VTG in after else set()
        blocks = {number: block for number, block in self.blocks.items() if number in needed}
        return Batch(self.kinds[:place], before, self.blocks), Batch(self.kinds[place:], after, blocks)

    def joined(self, later: Batch) -> Batch:
        """Return these sentences and the later ones."""
        columns = dict(self.columns)
        for kind, added in later.columns.items():
            own = columns.get(kind)
            columns[kind] = {n: np.concatenate((own[n], v)) for n, v in added.items()} if own else added
        return Batch(np.concatenate((self.kinds, later.kinds)), columns, {**self.blocks, **later.blocks})

    def read_later(self, rows: IndexArray) -> Iterator[tuple[IndexArray, Reading]]:
        """Yield what VTG sentences in these rows say, block by block, and which of the rows are meant."""
        places = self.columns[VTG]
        for number, block in self.blocks.items():
            which = np.flatnonzero(places["block"][rows] == number)
            if which.size:
                begin, end = (places[name][rows[which]] for name in ("begin", "end"))
                sentences = find_sentences(block, _ranges(begin, end))
                fields = Fields(sentences, np.searchsorted(sentences.begin, begin), reach_of(VTG))
                yield which, read_fields(VTG, fields)


@dataclass(frozen=True, slots=True)
class _Piece:
    """Some sentences of a kind: their places, and their columns; those of shape (1,) hold for all."""

    begin: IndexArray
    columns: Rows


@dataclass(slots=True)
class Sieve:
    """What a rule of trust lets through, and what is counted on the way.

    Attributes
    ----------
    tally : Counter
        Sentences left out, by reason.
    right, wrong : Counter
        Sentences with a right and with a wrong checksum, by kind.
    lengths : Counter
        Sentences without a checksum, by kind and number of fields.
    """

    trust: Trust
    tally: Counter[str] = field(default_factory=Counter)
    right: Counter[int] = field(default_factory=Counter)
    wrong: Counter[int] = field(default_factory=Counter)
    lengths: Counter[tuple[int, int]] = field(default_factory=Counter)
    _blocks: int = 0
    _bare: Counter[bytes] = field(default_factory=Counter)
    _proprietary: set[bytes] = field(default_factory=set)

    def batches(self, chunks: Iterable[bytes]) -> Iterator[Batch]:
        """Yield what the sentences of a log say, block by block."""
        for self._blocks, pieces in enumerate(whole_lines(chunks)):
            block = make_block(*pieces)
            yield _in_order(self._pieces(block), {self._blocks: block})
        for tag, count in self._bare.items():  # meant without a checksum only if it never has one
            self.tally["truncated"] += count if tag[:8] in self._proprietary else 0

    def _pieces(self, block: Block) -> list[tuple[int, _Piece]]:
        """Read a block: lines of common layouts layout by layout, what else stands there sentence by sentence."""
        lines = find_lines(block)
        kind = kinds_of(lines.tags)
        layouts = [] if lines.odd_begin.size > lines.begin.size else list(_by_layout(block, lines, kind))
        rare = (kind > 0) & (kind != VTG)
        for _, rows, _ in layouts:
            rare[rows] = False
        begin = np.concatenate((lines.odd_begin, lines.begin[rare] - 1))
        end = np.concatenate((lines.odd_end, lines.star[rare] + 3))
        if begin.size > lines.begin.size:
            return list(self._sentence_by_sentence(find_sentences(block)))
        self._note_right(kind[~rare], lines.tags[~rare])
        pieces = [
            (number, self._piece(number, layout, lines.begin[rows], lines.tags[rows[:1]]))
            for number, rows, layout in layouts
        ]
        vtg = np.flatnonzero(kind == VTG)
        pieces.append((VTG, self._unread(lines.begin[vtg], lines.star[vtg] + 3, lines.tags[vtg])))
        if begin.size:
            pieces += self._sentence_by_sentence(find_sentences(block, _ranges(begin, end)))
        return pieces

    def _sentence_by_sentence(self, sentences: Sentences) -> Iterator[tuple[int, _Piece]]:
        kind = kinds_of(sentences.tags)
        trusted = self.trust(sentences, kind)
        self._count_damage(sentences, kind, trusted)
        for number in KINDS:
            rows = np.flatnonzero((kind == number) & trusted)
            if rows.size and number == VTG:
                yield number, self._unread(sentences.begin[rows], sentences.end[rows] + 3, sentences.tags[rows])
            elif rows.size:
                fields = Fields(sentences, rows, reach_of(number))
                yield number, self._piece(number, fields, sentences.begin[rows], sentences.tags[rows])

    def _unread(self, begin: IndexArray, end: IndexArray, tags: WordArray) -> _Piece:
        columns = {"begin": begin, "end": end, "block": np.array([self._blocks]), "talker": tags.astype(np.uint16)}
        return _Piece(begin, columns)

    def _piece(self, number: int, fields: Fields, begin: IndexArray, tags: WordArray) -> _Piece:
        """Return what sentences of one kind say; those that say it wrongly are counted and left out."""
        reading = read_fields(number, fields)
        columns = {**reading.columns, "void": reading.void, "talker": tags.astype(np.uint16)}
        bad = reading.malformed | reading.outside
        if not bad.any():
            return _Piece(begin, columns)
        self.tally["malformed"] += int(reading.malformed.sum())
        self.tally["out_of_range"] += int(reading.outside.sum())
        kept = {name: np.broadcast_to(values, bad.shape)[~bad] for name, values in columns.items()}
        return _Piece(begin[~bad], kept)

    def _count_damage(self, sentences: Sentences, kind: ByteArray, trusted: BoolArray) -> None:
        self._note_right(kind[sentences.matched], sentences.tags[sentences.matched])
        wrong = sentences.wrong()
        self.wrong.update(_counted(kind[wrong]))
        self.tally["checksum"] += int((wrong & ~trusted).sum())
        self.tally["malformed"] += sentences.tails
        if sentences.starred.all():
            return
        cut, bare = sentences.cut_short()
        self.tally["truncated"] += cut - int((trusted & ~sentences.starred).sum())
        self._bare.update(bare)
        rows = np.flatnonzero(~sentences.starred & (kind > 0))
        length = sentences.last[rows] - sentences.first[rows] - 1
        self.lengths.update(zip(kind[rows].tolist(), length.tolist(), strict=True))

    def _note_right(self, kind: ByteArray, tags: WordArray) -> None:
        self.right.update(_counted(kind))
        own = tags[(tags & np.uint64(0xFF)) == ord("P")]
        self._proprietary.update(word.to_bytes(8, "little").partition(b",")[0] for word in set(own.tolist()))


def whole_lines(chunks: Iterable[bytes]) -> Iterator[list[bytes | memoryview]]:
    """Yield the same bytes in pieces of blocks that are cut where lines end; where none ends, before a sentence."""
    block: list[bytes | memoryview] = []
    size = 0
    for chunk in chunks:
        size += len(chunk)
        cut = max(chunk.rfind(b"\n"), chunk.rfind(b"\r")) + 1 if size >= _BLOCK_BYTES else 0
        if not cut and size > _BLOCK_BYTES + _LONGEST_LINE:
            cut = max(chunk.rfind(b"$"), 0) or len(chunk)
        view = memoryview(chunk)
        if cut:
            yield [*block, view[:cut]]
            block, size = [], len(chunk) - cut
        block.append(view[cut:])
    if size:
        yield block


def _by_layout(block: Block, lines: Lines, kind: ByteArray) -> Iterator[tuple[int, IndexArray, Layout]]:
    for number in KINDS:
        rows = np.flatnonzero(kind == number) if number != VTG else np.zeros(0, np.intp)
        for which, layout in sort_by_layout(block, lines.begin[rows], lines.star[rows]):
            yield number, rows[which], layout


def _ranges(begin: IndexArray, end: IndexArray) -> IndexArray:
    """Return every place of some ranges, from first to last."""
    order = np.argsort(begin, kind="stable")
    begin, size = begin[order], (end - begin)[order]
    steps = np.repeat(begin - np.cumsum(size) + size, size)
    return steps + np.arange(steps.size)


def _in_order(pieces: list[tuple[int, _Piece]], blocks: Mapping[int, Block]) -> Batch:
    """Return the sentences of all pieces in the order of the log."""
    columns: dict[int, Rows] = {}
    begins, kinds = [np.zeros(0, np.intp)], [np.zeros(0, np.uint8)]
    for number in KINDS:
        of_kind = [piece for kind, piece in pieces if kind == number and piece.begin.size]
        if of_kind:
            begin = np.concatenate([piece.begin for piece in of_kind])
            columns[number] = _scattered(of_kind, begin)
            begins.append(begin)
            kinds.append(np.full(begin.size, number, np.uint8))
    return Batch(np.concatenate(kinds)[np.argsort(np.concatenate(begins), kind="stable")], columns, blocks)


def _scattered(pieces: list[_Piece], begin: IndexArray) -> Rows:
    """Return the columns of pieces of one kind, every sentence in its place."""
    if len(pieces) == 1:
        return {name: np.broadcast_to(values, begin.shape) for name, values in pieces[0].columns.items()}
    slot = np.empty(begin.size, np.intp)
    slot[np.argsort(begin, kind="stable")] = np.arange(begin.size)
    slots = np.split(slot, np.cumsum([piece.begin.size for piece in pieces])[:-1])
    columns: Rows = {}
    for name, first in pieces[0].columns.items():
        columns[name] = np.empty(begin.size, first.dtype)
        for piece, place in zip(pieces, slots, strict=True):
            columns[name][place] = piece.columns[name]
    return columns


def _counted(kind: ByteArray) -> dict[int, int]:
    return {number: count for number, count in enumerate(np.bincount(kind, minlength=1).tolist()) if count}


@cache
def nothing_of(kind: int) -> Rows:
    """Return the columns of a kind of which there is no sentence."""
    none: IndexArray = np.zeros(0, np.intp)
    reading = read_fields(kind, Fields(find_sentences(make_block()), none, reach_of(kind)))
    return {**reading.columns, "void": reading.void, "talker": np.zeros(0, np.uint16), "block": none}
