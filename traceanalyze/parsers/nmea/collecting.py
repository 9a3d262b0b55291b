"""One pass over a log: what each block says, sentence by sentence; what cannot be trusted or read is counted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from traceanalyze.parsers.nmea.framing import BoolArray, ByteArray, IndexArray, Sentences, find_sentences, make_block
from traceanalyze.parsers.nmea.sentences import KINDS, RMC, kinds_of, read_sentences

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
        `talker`, the two letters as one number.
    """

    kinds: ByteArray
    columns: Mapping[int, Mapping[str, NDArray[Any]]]

    def split(self, place: int) -> tuple[Batch, Batch]:
        """Return the first `place` sentences and the others."""
        counts = np.bincount(self.kinds[:place], minlength=KINDS.stop).tolist()
        before = {k: {n: v[: counts[k]] for n, v in columns.items()} for k, columns in self.columns.items()}
        after = {k: {n: v[counts[k] :] for n, v in columns.items()} for k, columns in self.columns.items()}
        return Batch(self.kinds[:place], before), Batch(self.kinds[place:], after)

    def joined(self, later: Batch) -> Batch:
        """Return these sentences and the later ones."""
        columns = dict(self.columns)
        for kind, added in later.columns.items():
            own = columns.get(kind)
            columns[kind] = {n: np.concatenate((own[n], v)) for n, v in added.items()} if own else added
        return Batch(np.concatenate((self.kinds, later.kinds)), columns)


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
    _bare: Counter[bytes] = field(default_factory=Counter)
    _proprietary: set[bytes] = field(default_factory=set)

    def batches(self, chunks: Iterable[bytes]) -> Iterator[Batch]:
        """Yield what the sentences of a log say, block by block."""
        for pieces in whole_lines(chunks):
            sentences = find_sentences(make_block(*pieces))
            kind = kinds_of(sentences.tags)
            trusted = self.trust(sentences, kind)
            self._count(sentences, kind, trusted)
            columns = dict(self._columns(sentences, kind, trusted))
            yield Batch(kind[trusted & (kind > 0)], columns)
        for tag, count in self._bare.items():  # meant without a checksum only if it never has one
            self.tally["truncated"] += count if tag[:8] in self._proprietary else 0

    def _columns(
        self, sentences: Sentences, kind: ByteArray, trusted: BoolArray
    ) -> Iterator[tuple[int, dict[str, NDArray[Any]]]]:
        """Read each kind; sentences that cannot be read are taken out of `trusted`."""
        for number in KINDS:
            rows = np.flatnonzero((kind == number) & trusted)
            if not rows.size:
                continue
            reading = read_sentences(sentences, number, rows)
            talker = sentences.tags[rows].astype(np.uint16)
            columns = {**reading.columns, "void": reading.void, "talker": talker}
            bad = reading.malformed | reading.outside
            if bad.any():
                self.tally["malformed"] += int(reading.malformed.sum())
                self.tally["out_of_range"] += int(reading.outside.sum())
                trusted[rows[bad]] = False
                columns = {name: values[~bad] for name, values in columns.items()}
            yield number, columns

    def _count(self, sentences: Sentences, kind: ByteArray, trusted: BoolArray) -> None:
        wrong = sentences.starred & ~sentences.matched
        self.tally["checksum"] += int((wrong & ~trusted).sum())
        self.tally["malformed"] += sentences.tails
        for counter, which in ((self.right, sentences.matched), (self.wrong, wrong)):
            counter.update(dict(enumerate(np.bincount(kind[which], minlength=KINDS.stop).tolist())))
        if not sentences.starred.all():
            self._count_unstarred(sentences, kind, trusted)
        own = sentences.tags[sentences.starred & ((sentences.tags & np.uint64(0xFF)) == ord("P"))]
        self._proprietary.update(word.to_bytes(8, "little").partition(b",")[0] for word in set(own.tolist()))

    def _count_unstarred(self, sentences: Sentences, kind: ByteArray, trusted: BoolArray) -> None:
        cut, bare = sentences.cut_short()
        self.tally["truncated"] += cut - int((trusted & ~sentences.starred).sum())
        self._bare.update(bare)
        rows = np.flatnonzero(~sentences.starred & (kind > 0))
        length = sentences.last[rows] - sentences.first[rows] - 1
        self.lengths.update(zip(kind[rows].tolist(), length.tolist(), strict=True))


def whole_lines(chunks: Iterable[bytes]) -> Iterator[list[bytes | memoryview]]:
    """Yield the same bytes cut where lines end (where none ends, before a sentence), in pieces."""
    rest: list[bytes | memoryview] = []
    for chunk in chunks:
        cut = max(chunk.rfind(b"\n"), chunk.rfind(b"\r")) + 1
        if not cut and sum(map(len, rest)) > _LONGEST_LINE:
            cut = max(chunk.rfind(b"$"), 0) or len(chunk)
        view = memoryview(chunk)
        if cut:
            yield [*rest, view[:cut]]
            rest = []
        if cut < len(chunk):
            rest.append(view[cut:])
    if rest:
        yield rest


def nothing_of(kind: int) -> Mapping[str, NDArray[Any]]:
    """Return the columns of a kind of which there is no sentence."""
    none: IndexArray = np.zeros(0, np.intp)
    reading = read_sentences(find_sentences(make_block()), kind, none)
    return {**reading.columns, "void": reading.void, "talker": np.zeros(0, np.uint16)}
