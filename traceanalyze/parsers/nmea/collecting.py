"""One pass over a log: what each block says, sentence by sentence; what cannot be trusted or read is counted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from traceanalyze.parsers.nmea.batches import Batch, Rows, in_place
from traceanalyze.parsers.nmea.framing import (
    Block,
    BoolArray,
    ByteArray,
    Excerpt,
    IndexArray,
    Sentences,
    WordArray,
    find_sentences,
    make_block,
)
from traceanalyze.parsers.nmea.layouts import fields_of
from traceanalyze.parsers.nmea.lines import find_lines
from traceanalyze.parsers.nmea.sentences import KINDS, RMC, VTG, kinds_of, reach_of, read_fields

#: Bytes looked at together: enough that calls cost little, few enough for the cache.
_BLOCK_BYTES: Final = 1 << 22
#: A line longer than this that has no end is no text: it is looked at in pieces.
_LONGEST_LINE: Final = 1 << 20

#: Says which sentences may be used: given all of a block, and the kind of each.
Trust = Callable[[Sentences, ByteArray], BoolArray]


def checksum_right(sentences: Sentences, kind: ByteArray) -> BoolArray:
    """Trust sentences whose checksum is right: the rule for every ordinary log."""
    return sentences.matched


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
        Sentences without a checksum, by kind and number of fields, as long as none with one was seen.
    """

    trust: Trust
    tally: Counter[str] = field(default_factory=Counter)
    right: Counter[int] = field(default_factory=Counter)
    wrong: Counter[int] = field(default_factory=Counter)
    lengths: Counter[tuple[int, int]] = field(default_factory=Counter)
    _bare: Counter[bytes] = field(default_factory=Counter)
    _proprietary: set[bytes] = field(default_factory=set)

    def found(self, chunks: Iterable[bytes]) -> Iterator[Batch]:
        """Yield what the sentences of a log say, block by block."""
        for number, pieces in enumerate(whole_lines(chunks)):
            yield self._batch(make_block(*pieces), number)
        for tag, count in self._bare.items():  # meant without a checksum only if it never has one
            self.tally["truncated"] += count if tag[:8] in self._proprietary else 0

    def _batch(self, block: Block, block_number: int) -> Batch:
        """Read each kind of sentence in a block, but VTG, which is seldom needed."""
        begin, end, tags, kind = self._trusted(block)
        rows: dict[int, IndexArray] = {}
        columns: dict[int, Rows] = {}
        for number in KINDS:
            of_kind = np.flatnonzero(kind == number)
            if not of_kind.size:
                continue
            where = {"begin": begin[of_kind], "end": end[of_kind]}
            if number == VTG:
                found, bad = where | {"block": np.full(of_kind.size, block_number)}, np.zeros(of_kind.size, bool)
            else:
                found, bad = self._read(number, block, **where)
            found["talker"] = tags[of_kind].astype(np.uint16)
            if bad.any():
                kind[of_kind[bad]] = 0
                found = {name: values[~bad] for name, values in found.items()}
            rows[number], columns[number] = of_kind[~bad] if bad.any() else of_kind, found
        place = np.cumsum(kind > 0)
        places = {number: place[of_kind] - 1 for number, of_kind in rows.items()}
        return Batch(int(place[-1]) if place.size else 0, places, columns, {block_number: block})

    def _trusted(self, block: Block) -> tuple[IndexArray, IndexArray, WordArray, ByteArray]:
        """Return where the trusted sentences of a block begin and end, their tags and kinds; count the others."""
        lines = find_lines(block)
        kind = kinds_of(lines.tags)
        if not lines.odd_begin.size:
            self._note_right(lines.tags, kind)
            return lines.begin, lines.star, lines.tags, kind
        if lines.odd_begin.size > lines.begin.size:
            lines, kind, odd = lines.none(), kind[:0], Excerpt(block, *np.zeros((2, 1), np.intp))
        else:
            odd = block.excerpt(lines.odd_begin, lines.odd_end)
        sentences = find_sentences(odd.block)
        self._note_right(lines.tags, kind)
        odd_kind = kinds_of(sentences.tags)
        trusted = self._sorted_out(sentences, odd_kind)
        begin = np.concatenate((lines.begin, odd.origin(sentences.begin[trusted])))
        end = np.concatenate((lines.star, odd.origin(sentences.end[trusted])))
        tags = np.concatenate((lines.tags, sentences.tags[trusted]))
        order = np.argsort(begin, kind="stable")
        return begin[order], end[order], tags[order], np.concatenate((kind, odd_kind[trusted]))[order]

    def _sorted_out(self, sentences: Sentences, kind: ByteArray) -> BoolArray:
        """Return which sentences are trusted; count the others by what is wrong with them."""
        trusted = self.trust(sentences, kind)
        wrong = sentences.wrong()
        self._note_right(sentences.tags[sentences.matched], kind[sentences.matched])
        self.wrong.update(_counted(kind[wrong]))
        self.tally["checksum"] += int((wrong & ~trusted).sum())
        self.tally["malformed"] += sentences.tails
        if not sentences.starred.all():
            cut, bare = sentences.cut_short()
            self.tally["truncated"] += cut - int((trusted & ~sentences.starred).sum())
            self._bare.update(bare)
            self._note_lengths(sentences, kind)
        return trusted

    def _note_lengths(self, sentences: Sentences, kind: ByteArray) -> None:
        if self.right or self.wrong:
            return
        rows = np.flatnonzero(~sentences.starred & (kind > 0))
        length = sentences.last[rows] - sentences.first[rows] - 1
        self.lengths.update(zip(kind[rows].tolist(), length.tolist(), strict=True))

    def _note_right(self, tags: WordArray, kind: ByteArray) -> None:
        self.right.update(_counted(kind))
        own = tags[(tags & np.uint64(0xFF)) == ord("P")]
        self._proprietary.update(word.to_bytes(8, "little").partition(b",")[0] for word in set(own.tolist()))

    def _read(self, kind: int, block: Block, begin: IndexArray, end: IndexArray) -> tuple[Rows, BoolArray]:
        """Return what sentences of one kind say, and which of them say it wrongly; these are counted."""
        found = fields_of(block, begin, end, reach_of(kind))
        readings = [(which, read_fields(kind, fields)) for which, fields in found]
        bad = np.zeros(begin.size, bool)
        for which, reading in readings:
            bad[which] = reading.malformed | reading.outside
            self.tally["malformed"] += int(reading.malformed.sum())
            self.tally["out_of_range"] += int(reading.outside.sum())
        return in_place(readings, begin.size), bad


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


def _counted(kind: ByteArray) -> dict[int, int]:
    return {number: count for number, count in enumerate(np.bincount(kind, minlength=1).tolist()) if count}
