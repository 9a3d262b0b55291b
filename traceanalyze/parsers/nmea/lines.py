"""Lines that are one whole sentence and nothing else, which nearly all lines are: found and checked in a few scans."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from traceanalyze.parsers.nmea.framing import (
    Block,
    BoolArray,
    ByteArray,
    IndexArray,
    WordArray,
    is_capital,
    states,
)

_LINE_FEED, _RETURN = 10, 13
#: Shortest sentence that is looked at: `$` and a tag, `*` and two digits.
_SHORTEST: Final = 8
#: Lines that are asked how many carriage returns precede the line feed: none, one, or two with some loggers.
_ASKED: Final = 9


class Lines(NamedTuple):
    """The lines of a block that are one sentence with a right checksum, and where the others are.

    Attributes
    ----------
    begin, star : (k,) int
        Places of the `$` and of the `*` of each.
    tags : (k,) uint64
        The eight bytes after each `$`, the first of them in the lowest bits.
    odd_begin, odd_end : (m,) int
        For every other line, unless it is empty, the place of the line end before it, and the place after its own.
    """

    begin: IndexArray
    star: IndexArray
    tags: WordArray
    odd_begin: IndexArray
    odd_end: IndexArray

    def none(self) -> Lines:
        """Return the same without any line."""
        return self._replace(begin=self.begin[:0], star=self.star[:0], tags=self.tags[:0])


def find_lines(block: Block) -> Lines:
    """Return the lines of a block."""
    text = block.text
    edge = _line_ends(text)
    edge = edge[:-1] if edge[-1] == edge[-2] + 1 else edge  # the end that every block is given, where it has its own
    begin, end = edge[:-1] + 1, edge[1:]
    returns = _returns(text, begin, end)
    sums = np.bitwise_xor.reduceat(text, edge)[:-1] ^ text.take(edge[:-1]) ^ np.uint8(returns % 2 * _RETURN)
    stop = end - returns
    star, sign, tags = stop - 3, text.take(begin), block.words[begin + 1]
    one, two = text.take(stop - 2), text.take(stop - 1)
    sums ^= sign ^ one ^ two ^ np.uint8(ord("*"))
    whole = states(one, two, sums) & ((sign == ord("$")) | (sign == ord("!"))) & (text.take(star) == ord("*"))
    whole &= is_capital(tags, 0) & is_capital(tags, 1) & (stop - begin >= _SHORTEST)
    dollar = text == ord("$")
    if np.count_nonzero(dollar) > np.count_nonzero(sign == ord("$")):
        whole &= ~_holds_another(dollar, begin)
    if whole.all():
        return Lines(begin, star, tags, begin[:0], end[:0])
    kept, odd = np.flatnonzero(whole), np.flatnonzero(~whole)
    odd = odd[(end[odd] > begin[odd]) & ((stop[odd] > begin[odd]) | (text[begin[odd]] != _RETURN))]
    return Lines(begin[kept], star[kept], tags[kept], begin[odd] - 1, end[odd] + 1)


def _returns(text: ByteArray, begin: IndexArray, end: IndexArray) -> int:
    """Return how many carriage returns end a line, as most of a few lines say."""
    asked = np.linspace(0, begin.size - 1, _ASKED).astype(np.intp)
    lines = (text[begin[k] : end[k]].tobytes() for k in asked)
    counts = sorted(len(line) - len(line.rstrip(b"\r")) for line in lines)
    return counts[_ASKED // 2]


def _holds_another(dollar: BoolArray, begin: IndexArray) -> BoolArray:
    """Whether a line has a `$` that is not its first byte: joined sentences match a checksum once in 256 times."""
    found = np.zeros(begin.size, bool)
    dollar[begin] = False
    found[np.searchsorted(begin, np.flatnonzero(dollar), side="right") - 1] = True
    return found


def _line_ends(text: ByteArray) -> IndexArray:
    """Return the places of all line feeds; of carriage returns too where there are none but those of the padding."""
    end = np.flatnonzero(text == _LINE_FEED)
    return end if end.size > 2 else np.flatnonzero((text == _LINE_FEED) | (text == _RETURN))
