"""What sentences say, kind by kind, in the order of the log."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from traceanalyze.parsers.nmea.fields import Fields
from traceanalyze.parsers.nmea.framing import Block, ByteArray, IndexArray, find_sentences, make_block
from traceanalyze.parsers.nmea.layouts import fields_of
from traceanalyze.parsers.nmea.sentences import KINDS, VTG, Reading, reach_of, read_fields

Rows = dict[str, NDArray[Any]]


class Batch(NamedTuple):
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
    blocks: Mapping[int, Block]

    def split(self, place: int) -> tuple[Batch, Batch]:
        """Return the first `place` sentences and the others."""
        counts = np.bincount(self.kinds[:place], minlength=KINDS.stop).tolist()
        before = {k: {n: v[: counts[k]] for n, v in columns.items()} for k, columns in self.columns.items()}
        after = {k: {n: v[counts[k] :] for n, v in columns.items()} for k, columns in self.columns.items()}
        needed = set(after[VTG]["block"].tolist()) if VTG in after else set()
        blocks = {number: block for number, block in self.blocks.items() if number in needed}
        return Batch(self.kinds[:place], before, self.blocks), Batch(self.kinds[place:], after, blocks)

    def pieces(self) -> list[Piece]:
        """Return the same as pieces that precede any others."""
        place = np.arange(-self.kinds.size, 0)
        return [Piece(kind, place[self.kinds == kind], dict(columns)) for kind, columns in self.columns.items()]

    def read_later(self, rows: IndexArray) -> Iterator[tuple[IndexArray, Reading]]:
        """Yield what VTG sentences in these rows say, block by block, and which of the rows are meant."""
        places = self.columns[VTG]
        for number, block in self.blocks.items():
            which = np.flatnonzero(places["block"][rows] == number)
            if which.size:
                begin, end = (places[name][rows[which]] for name in ("begin", "end"))
                for some, fields in fields_of(block, begin, end, reach_of(VTG)):
                    yield which[some], read_fields(VTG, fields)


class Piece(NamedTuple):
    """Some sentences of a kind: their places, and their columns; those of shape (1,) hold for all."""

    kind: int
    begin: IndexArray
    columns: Rows


def in_order(pieces: Iterable[Piece], blocks: Mapping[int, Block]) -> Batch:
    """Return the sentences of all pieces in the order of the log."""
    by_kind: dict[int, list[Piece]] = {}
    for piece in pieces:
        if piece.begin.size:
            by_kind.setdefault(piece.kind, []).append(piece)
    columns: dict[int, Rows] = {}
    begins, kinds = [np.zeros(0, np.intp)], [np.zeros(0, np.uint8)]
    for kind, of_kind in by_kind.items():
        begin = np.concatenate([piece.begin for piece in of_kind])
        order = np.argsort(begin, kind="stable")
        columns[kind] = _scattered(of_kind, order)
        begins.append(begin[order])
        kinds.append(np.full(begin.size, kind, np.uint8))
    return Batch(np.concatenate(kinds)[np.argsort(np.concatenate(begins), kind="stable")], columns, blocks)


def _scattered(pieces: list[Piece], order: IndexArray) -> Rows:
    """Return the columns of pieces of one kind, every sentence in its place."""
    slot = np.empty(order.size, np.intp)
    slot[order] = np.arange(order.size)
    slots = np.split(slot, np.cumsum([piece.begin.size for piece in pieces])[:-1])
    columns: Rows = {}
    for name, first in pieces[0].columns.items():
        columns[name] = np.empty(order.size, first.dtype)
        for piece, place in zip(pieces, slots, strict=True):
            columns[name][place] = piece.columns[name]
    return columns


@cache
def nothing_of(kind: int) -> Rows:
    """Return the columns of a kind of which there is no sentence."""
    none: IndexArray = np.zeros(0, np.intp)
    reading = read_fields(kind, Fields(find_sentences(make_block()), none, reach_of(kind)))
    return {**reading.columns, "void": reading.void, "talker": np.zeros(0, np.uint16), "block": none}
