"""Blocks of proved markup -> the columns of the track points in them.

A block is looked at as an array of bytes: where tags begin and end, how deep they nest, which of them are points, and
which texts stand in a point's elements. A tag is known by its local name; a point's own elements (`ele`, `time`,
`speed`, ...) by standing directly below it, a speed or course in an extension by standing anywhere below it.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from traceanalyze.errors import LimitError
from traceanalyze.parsers.gpx.instants import Instants, nothing, read_instants
from traceanalyze.parsers.gpx.markup import Block
from traceanalyze.parsers.gpx.numbers import WIDEST, odd_number, read_numbers, resolved
from traceanalyze.trace import FloatArray

Bytes = NDArray[np.uint8]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]
Words = NDArray[np.uint64]

#: Deepest nesting of tags that is read; GPX needs about ten.
MAX_DEPTH: Final = 100
#: Longest text or tag that is read [bytes].
MAX_TEXT_BYTES: Final = 1_000_000

#: Elements of a point that hold a number, and what they are called in a trace.
NUMBERS: Final = {
    "ele": "altitude_m", "speed": "speed_mps", "course": "course_deg", "hdop": "hdop", "sat": "satellites"
}  # fmt: skip
#: Those that are also read from anywhere inside a point's extensions.
_EXTENDED: Final = ("speed", "course")
#: GPX's kinds of fix as GGA's fix quality codes them; 2d and 3d are ordinary fixes.
_FIXES: Final = {b"none": 0, b"2d": 1, b"3d": 1, b"dgps": 2, b"pps": 3}

#: Bytes around a block, so that looking before its first or behind its last tag stays inside.
_MARGIN: Final = b"\0" * (WIDEST + 8)
#: White space taken off many cells at a time [bytes]; what has more is done one by one.
_SPACES: Final = 48
_SPACE: Final = np.isin(np.arange(256), list(b" \t\r\n"))
_NAME_END: Final = _SPACE | np.isin(np.arange(256), list(b"/>"))
_TAG: Final = re.compile(rb"<[^<>\"']*(?:\"[^\"<]*\"[^<>\"']*|'[^'<]*'[^<>\"']*)*>")
_ATTRIBUTE: Final = re.compile(rb"\s([^\s=<>\"'/]+)\s*=\s*(?:\"([^\"]*)\"|'([^']*)')")


class Columns(NamedTuple):
    """Every track point of a file, in its order.

    Attributes
    ----------
    values : dict of str to (n,) float
        `lat_deg`, `lon_deg` and the columns of `NUMBERS`; NaN where missing or no number.
    quality : (n,) int8
        Fix quality; -1 where unknown.
    instants : Instants
        Of every point, `known` False where it has no time or no valid one.
    part : (n,) int64
        Rising number of the track segment.
    complete : (n,) bool
        False for a point that damage or the end of the file cut off.
    malformed : dict of str to (n,) bool
        Where `lat_deg`, `lon_deg`, `time` or a column of `NUMBERS` holds text that is no number or moment.
    """

    values: dict[str, FloatArray]
    quality: NDArray[np.int8]
    instants: Instants
    part: Ints
    complete: Flags
    malformed: dict[str, Flags]


@dataclass(slots=True)
class _Place:
    """Where reading stands between two blocks."""

    depth: int = 0
    points: int = 0  #: begun so far
    open_points: int = 0  #: 1 within a point
    point_depth: int = 0  #: of the latest point
    part: int = 0


class _Tags(NamedTuple):
    """The tags of one block: places of `<` and `>`, nesting, place and first eight bytes of each name."""

    text: Bytes
    first: Ints
    last: Ints
    closing: Flags
    opening: Flags
    depth: Ints
    name_at: Ints
    name: Words
    words: Words

    def named(self, name: str, rows: Ints | None = None) -> Ints:
        """Return which tags (of these rows) have this name, without a prefix."""
        like = np.flatnonzero(_begins(self.name if rows is None else self.name[rows], name.encode()))
        at = self.name_at[like if rows is None else rows[like]] + len(name)
        return like[_NAME_END[self.text[at]]]


@dataclass(slots=True)
class _Found:
    """What the blocks have given so far: per column which points it is of and their values, in file order."""

    cells: defaultdict[str, list[tuple[Ints, Any]]] = field(default_factory=lambda: defaultdict(list))
    parts: list[Ints] = field(default_factory=list)
    cut_off: list[int] = field(default_factory=list)

    def add(self, name: str, owner: Ints, value: Any) -> None:
        """Keep values of points, the first where a point has several."""
        first = np.flatnonzero(np.diff(owner, prepend=-1))
        self.cells[name].append((owner[first], value[first]))

    def of(self, name: str) -> Iterator[tuple[Ints, Any]]:
        """Return what was kept, latest first, so that the earliest is written last and stays."""
        yield from reversed(self.cells[name])


def read_points(blocks: Iterable[Block]) -> Columns:
    """Return the track points of a file.

    Raises
    ------
    LimitError
        If tags nest deeper than `MAX_DEPTH`, or a text is longer than `MAX_TEXT_BYTES`.
    """
    found, place = _Found(), _Place()
    for block in blocks:
        if block.depth is not None:
            _leave_point(place, found)
            place.depth, place.part = block.depth, place.part + 1
        if block.text:
            _read_block(block.text, place, found)
    _leave_point(place, found)
    return _columns(found, place.points)


def _leave_point(place: _Place, found: _Found) -> None:
    if place.open_points > 0:
        found.cut_off.append(place.points - 1)
    place.open_points = 0


def _read_block(block: bytes, place: _Place, found: _Found) -> None:
    tags = _tags(block, place.depth)
    if not tags.first.size:
        return
    _check_limits(tags)
    points = tags.named("trkpt")
    begun = points[~tags.closing[points]]
    within = place.open_points + _running(tags, begun, points[~tags.opening[points]])
    owner = place.points - 1 + np.cumsum(_marked(tags, begun))
    segment = np.concatenate((tags.named("trk"), tags.named("trkseg")))
    part = place.part + np.cumsum(_marked(tags, segment[tags.opening[segment]]))
    found.parts.append(part[begun])
    point_depth = np.concatenate(([place.point_depth], tags.depth[begun]))
    _read_positions(tags, begun, owner[begun], found)
    leaf = 1 + np.flatnonzero(tags.closing[1:] & tags.opening[:-1] & (within[1:] > 0))
    height = tags.depth[leaf] - point_depth[owner[leaf] - place.points + 1]
    _read_leaves(tags, leaf, owner[leaf], height, found)
    place.depth = int(tags.depth[-1]) - (not tags.opening[-1])
    place.points, place.open_points = int(owner[-1]) + 1, int(within[-1])
    place.point_depth, place.part = int(point_depth[-1]), int(part[-1])


def _marked(tags: _Tags, rows: Ints) -> Flags:
    marks = np.zeros(tags.first.size, bool)
    marks[rows] = True
    return marks


def _running(tags: _Tags, begun: Ints, ended: Ints) -> Ints:
    """Count at each tag what has begun so far less what has ended; an empty tag does both."""
    step = np.zeros(tags.first.size, np.int64)
    step[begun] += 1
    step[ended] -= 1
    return np.cumsum(step)


def _tags(block: bytes, depth: int) -> _Tags:
    text = np.frombuffer(_MARGIN + block + _MARGIN, np.uint8)
    first = np.flatnonzero(text == ord("<"))
    last = _tag_ends(text, first)
    kind = text[first + 1]
    closing = kind == ord("/")
    opening = ~closing & (text[last - 1] != ord("/")) & (kind != ord("?"))
    after = depth + np.cumsum(opening.astype(np.int64) - closing)
    words = np.ndarray((text.size - 7,), "<u8", text.data, 0, (1,))
    name_at = first + 1 + closing
    return _Tags(text, first, last, closing, opening, after + ~opening, name_at, words[name_at], words)


def _tag_ends(text: Bytes, first: Ints) -> Ints:
    """Place of the `>` of each tag. As many of them as tags: one each; else some stand in texts or in values."""
    ends = np.flatnonzero(text == ord(">"))
    if ends.size == first.size:
        return ends
    last = ends[np.searchsorted(ends, first)]
    quotes = _quotes(text)
    block = text.tobytes()
    for row in np.flatnonzero(np.searchsorted(quotes, first) < np.searchsorted(quotes, last)).tolist():
        if found := _TAG.match(block, first[row]):
            last[row] = found.end() - 1
    return last


def _quotes(text: Bytes) -> Ints:
    return np.flatnonzero((text == ord('"')) | (text == ord("'")))


def _begins(words: Words, start: bytes) -> Flags:
    """Whether these words of eight bytes begin with given ones."""
    mask = np.uint64((1 << 8 * len(start)) - 1)
    alike: Flags = (words & mask) == np.uint64(int.from_bytes(start, "little"))
    return alike


def _check_limits(tags: _Tags) -> None:
    if tags.depth.max() > MAX_DEPTH:
        raise LimitError(f"its tags are nested more than {MAX_DEPTH} deep", advice="export the track again")
    if np.max(tags.first[1:] - tags.last[:-1], initial=0) > MAX_TEXT_BYTES:
        raise LimitError(f"a text in it is longer than {MAX_TEXT_BYTES / 1e6:.0f} MB", advice="export the track again")


def _read_positions(tags: _Tags, begun: Ints, owner: Ints, found: _Found) -> None:
    """Read `lat` and `lon` of the points that begin at these tags, in either order."""
    quotes = _quotes(tags.text)
    at = np.searchsorted(quotes, tags.first[begun])
    usual = np.searchsorted(quotes, tags.last[begun]) - at == 4
    at = at[usual]
    one, end_one, two, end_two = (quotes[at + k] for k in range(4))
    name_one, name_two = (_attribute(tags, place) for place in (one, two))
    right, swapped = (name_one == 1) & (name_two == 2), (name_one == 2) & (name_two == 1)
    cells = ((one, end_one, two, end_two, right), (two, end_two, one, end_one, swapped))
    for lat, lat_end, lon, lon_end, rows in cells:
        if rows.any():
            found.add("lat", owner[usual][rows], _numbers(tags, lat[rows] + 1, lat_end[rows]))
            found.add("lon", owner[usual][rows], _numbers(tags, lon[rows] + 1, lon_end[rows]))
    usual[usual] = right | swapped
    for row in np.flatnonzero(~usual).tolist():
        _read_odd_position(tags, int(begun[row]), owner[row : row + 1], found)


def _attribute(tags: _Tags, quote: Ints) -> Ints:
    """Return 1 where `lat=` stands before these quotes, 2 where `lon=` does, 0 elsewhere."""
    spaced = _SPACE[tags.text[quote - 5]]
    lat, lon = (_begins(tags.words[quote - 4], name) for name in (b"lat=", b"lon="))
    return np.where(spaced, lat + 2 * lon, 0)


def _read_odd_position(tags: _Tags, tag: int, owner: Ints, found: _Found) -> None:
    """Read a point's attributes where there are others among them, or spaces around their signs."""
    text = tags.text[tags.first[tag] : tags.last[tag]].tobytes()
    values = {name: one or two for name, one, two in _ATTRIBUTE.findall(text)}
    for name in ("lat", "lon"):
        if cell := values.get(name.encode()):
            found.add(name, owner, np.array([odd_number(cell)]))


def _read_leaves(tags: _Tags, leaf: Ints, owner: Ints, height: Ints, found: _Found) -> None:
    """Read the elements of points that hold text alone; `leaf` are their closing tags."""
    for name in (*NUMBERS, "fix", "time"):
        rows = tags.named(name, leaf)
        own = height[rows] == 1
        _read_cells(tags, name, leaf[rows[own]], owner[rows[own]], found)
        if name in _EXTENDED:
            rows = np.union1d(rows[~own], _prefixed(tags, name, leaf))
            _read_cells(tags, "extended " + name, leaf[rows], owner[rows], found)


def _read_cells(tags: _Tags, name: str, leaf: Ints, owner: Ints, found: _Found) -> None:
    start, end = _trimmed(tags.text, tags.last[leaf - 1] + 1, tags.first[leaf])
    full = start < end
    if not full.all():
        start, end, owner = start[full], end[full], owner[full]
    if owner.size:
        found.add(name, owner, _READERS.get(name, _numbers)(tags, start, end))


def _prefixed(tags: _Tags, name: str, leaf: Ints) -> Ints:
    """Return which of these closing tags have this name behind a prefix."""
    _, end = _trimmed(tags.text, tags.name_at[leaf], tags.last[leaf])
    return np.flatnonzero(_begins(tags.words[end - len(name) - 1], b":" + name.encode()))


def _trimmed(text: Bytes, start: Ints, end: Ints) -> tuple[Ints, Ints]:
    """Return cells without the white space around them."""
    start, end = start.copy(), end.copy()
    for place, side, step in ((start, 0, 1), (end, -1, -1)):
        for _ in range(_SPACES):
            loose = _SPACE[text[place + side]] & (start < end)
            if not loose.any():
                break
            place[loose] += step
    for row in np.flatnonzero((start < end) & (_SPACE[text[start]] | _SPACE[text[end - 1]])).tolist():
        cell = text[start[row] : end[row]].tobytes()
        start[row] += len(cell) - len(cell.lstrip())
        end[row] = start[row] + len(cell.strip())
    return start, end


def _numbers(tags: _Tags, start: Ints, end: Ints) -> FloatArray:
    return read_numbers(tags.text, start, end)


def _fixes(tags: _Tags, start: Ints, end: Ints) -> NDArray[np.int8]:
    quality = np.full(start.size, -1, np.int8)
    for word, code in _FIXES.items():
        quality[(end - start == len(word)) & _begins(tags.words[start], word)] = code
    return quality


def _instants(tags: _Tags, start: Ints, end: Ints) -> Instants:
    instants = read_instants(tags.text, start, end)
    for row in np.flatnonzero(~instants.known & (end - start < 400)).tolist():
        cell = tags.text[start[row] : end[row]].tobytes()
        if b"&" in cell:
            text = np.frombuffer(resolved(cell).strip(), np.uint8)
            instants.put(np.array([row]), read_instants(text, np.array([0]), np.array([text.size])))
    return instants


#: How the text of an element is read that is no number.
_READERS: Final[dict[str, Any]] = {"fix": _fixes, "time": _instants}


def _columns(found: _Found, count: int) -> Columns:
    values, malformed = {}, {}
    for element, name in {"lat": "lat_deg", "lon": "lon_deg", **NUMBERS}.items():
        column = np.full(count, np.nan)
        for owner, value in (*found.of("extended " + element), *found.of(element)):
            column[owner] = value
        malformed[name] = np.isinf(column)
        column[malformed[name]] = np.nan
        values[name] = column
    quality = np.full(count, -1, np.int8)
    for owner, value in found.of("fix"):
        quality[owner] = value
    instants, stamped = nothing(count), np.zeros(count, bool)
    for owner, value in found.of("time"):
        instants.put(owner, value)
        stamped[owner] = True
    malformed["time"] = stamped & ~instants.known
    complete = np.ones(count, bool)
    complete[found.cut_off] = False
    return Columns(
        values, quality, instants, np.concatenate((np.zeros(0, np.int64), *found.parts)), complete, malformed
    )
