"""What sentences say, kind by kind, in the order of the log."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from traceanalyze.parsers.nmea.fields import Fields
from traceanalyze.parsers.nmea.framing import Block, IndexArray, find_sentences, make_block
from traceanalyze.parsers.nmea.layouts import fields_of
from traceanalyze.parsers.nmea.sentences import VTG, Reading, reach_of, read_fields

Rows = dict[str, NDArray[Any]]


class Batch(NamedTuple):
    """Sentences that say something, in the order of the log.

    Attributes
    ----------
    size : int
        How many there are.
    places : mapping of int to (k,) int
        For each kind that occurs, which of all sentences are of it.
    columns : mapping of int to mapping
        For each of these kinds, the columns of its sentences in the same order: those of `Reading`, `void`, and
        `talker`, the two letters as one number. For VTG, which is seldom needed, only where each is to be read:
        `block`, `begin` and `end`.
    blocks : mapping
        The blocks that sentences to be read are in, by number.
    """

    size: int
    places: Mapping[int, IndexArray]
    columns: Mapping[int, Rows]
    blocks: Mapping[int, Block]

    def split(self, place: int) -> tuple[Batch, Batch]:
        """Return the first `place` sentences and the others."""
        counts = {kind: int(np.searchsorted(places, place)) for kind, places in self.places.items()}
        first = {kind: places[: counts[kind]] for kind, places in self.places.items()}
        last = {kind: places[counts[kind] :] - place for kind, places in self.places.items()}
        before = {k: {n: v[: counts[k]] for n, v in columns.items()} for k, columns in self.columns.items()}
        after = {k: {n: v[counts[k] :] for n, v in columns.items()} for k, columns in self.columns.items()}
        needed = set(after[VTG]["block"].tolist()) if VTG in after else set()
        blocks = {number: block for number, block in self.blocks.items() if number in needed}
        return Batch(place, first, before, self.blocks), Batch(self.size - place, last, after, blocks)

    def followed_by(self, other: Batch) -> Batch:
        """Return these sentences and those of another batch after them."""
        if not self.size:
            return other
        places, columns = dict(self.places), dict(self.columns)
        for kind, later in other.places.items():
            places[kind] = np.concatenate((places.get(kind, later[:0]), later + self.size))
            earlier = columns.get(kind)
            columns[kind] = {
                name: np.concatenate((earlier[name], values)) if earlier else values
                for name, values in other.columns[kind].items()
            }
        return Batch(self.size + other.size, places, columns, {**self.blocks, **other.blocks})

    def read_later(self, rows: IndexArray) -> Iterator[tuple[IndexArray, Reading]]:
        """Yield what VTG sentences in these rows say, block by block, and which of the rows are meant."""
        places = self.columns[VTG]
        for number, block in self.blocks.items():
            which = np.flatnonzero(places["block"][rows] == number)
            if which.size:
                begin, end = (places[name][rows[which]] for name in ("begin", "end"))
                for some, fields in fields_of(block, begin, end, reach_of(VTG)):
                    yield which[some], read_fields(VTG, fields)


#: No sentence at all.
NOTHING: Final = Batch(0, {}, {}, {})


def in_place(readings: Sequence[tuple[IndexArray, Reading]], size: int) -> Rows:
    """Return the columns of `size` sentences of one kind from readings that tell which of them each is of."""
    columns: Rows = {}
    for name, first in {**readings[0][1].columns, "void": readings[0][1].void}.items():
        if len(readings) == 1:
            columns[name] = first if first.size == size else np.broadcast_to(first, (size,))
            continue
        columns[name] = np.empty(size, first.dtype)
        for which, reading in readings:
            columns[name][which] = reading.void if name == "void" else reading.columns[name]
    return columns


@cache
def nothing_of(kind: int) -> Rows:
    """Return the columns of a kind of which there is no sentence."""
    none: IndexArray = np.zeros(0, np.intp)
    reading = read_fields(kind, Fields(find_sentences(make_block()), none, reach_of(kind)))
    return {**reading.columns, "void": reading.void, "talker": np.zeros(0, np.uint16), "block": none}
