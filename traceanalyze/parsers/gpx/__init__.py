"""GPX 1.0 and 1.1 -> Trace: every complete track point of a file, however it ends.

Read by local names, so that odd, absent and undeclared namespaces do no harm. Speed is taken from `speed` below
`trkpt` (in the schema of 1.0; in 1.1 it is not, but common) or from an element of that name in any extension; by all
of these definitions in m/s. Sources: GPX 1.0 and 1.1 schemas (TopoGrafix 2002, 2004).
"""

from __future__ import annotations

import re
from collections import Counter
from typing import TYPE_CHECKING, Final

import numpy as np

from traceanalyze.errors import FormatError, LimitError
from traceanalyze.parsers.assembly import assemble
from traceanalyze.parsers.gpx.instants import Instants
from traceanalyze.parsers.gpx.markup import as_ascii_superset, proven_blocks, without_comments, without_prefix
from traceanalyze.parsers.gpx.points import Columns, Flags, read_points
from traceanalyze.parsers.options import ReadOptions
from traceanalyze.trace import FloatArray, Remark, Source, Trace, utc_text

if TYPE_CHECKING:
    from traceanalyze.parsers.containers import Member

#: Points closer together than this on average [s] have no times of their own.
_CLOSEST_S: Final = 1e-3
#: What phones write for an unknown speed or course; common practice, no source.
_UNKNOWN: Final = -1.0
_ROOT: Final = re.compile(rb"<(?:[^<>\s/:!?]+:)?gpx[\s>]|<trkpt\s")
_OTHER_KINDS: Final = ((b"<rtept", "a planned route"), (b"<wpt", "waypoints"))


def sniff(head: bytes) -> bool:
    """Return whether a file that begins with these bytes (UTF-8) is GPX, or XML whose kind does not show yet."""
    text = without_comments(head.lstrip())
    return bool(_ROOT.search(text)) or (text.startswith(b"<?xml") and text.rfind(b"<") == 0)


def read(member: Member, source: Source, options: ReadOptions) -> Trace:
    """Return the trace of a GPX file; see `read_bytes`."""
    return read_bytes(member.data(), source, options)


def read_bytes(data: bytes, source: Source, options: ReadOptions) -> Trace:
    """Return the recorded tracks of a GPX file as one trace; every segment is a stretch of its own.

    Raises
    ------
    FormatError
        If it is no GPX, declares a document type, is in an unknown encoding, or holds no track point with a time.
    LimitError
        If it is larger than the options allow, or nested or filled beyond reason.
    """
    if len(data) > options.max_unpacked_bytes:
        raise LimitError(
            f"it holds {len(data) / 1e6:.0f} MB, more than the {options.max_unpacked_bytes / 1e6:.0f} MB read of a GPX",
            advice="cut the track into shorter ones",
        )
    tally: Counter[str] = Counter()
    text, encoding = as_ascii_superset(data)
    text = without_prefix(without_comments(text))
    points = read_points(proven_blocks(text, encoding, tally))
    if not points.complete.any():
        raise _no_points(text, tally)
    return _trace(points, tally, source)


def _no_points(text: bytes, tally: Counter[str]) -> FormatError:
    """Say what the file is, where it is not a track."""
    if not _ROOT.search(text):
        return FormatError("it is XML, but not GPX", advice="export the recorded track as GPX, NMEA or CSV")
    if b"<trkpt" in text:
        return FormatError("it is damaged or cut before its first track point ends", advice="copy the file again")
    for tag, kind in _OTHER_KINDS:
        if tag in text:
            return FormatError(
                f"it holds {kind}, no recorded track", advice="export the recorded track, with its times"
            )
    if tally["truncated"] or tally["malformed"]:
        return FormatError("it is damaged or cut before any track point", advice="copy the file again")
    return FormatError("it holds no track points", advice="export the recorded track, with its times")


def _trace(points: Columns, tally: Counter[str], source: Source) -> Trace:
    keep = _usable(points, tally)
    if not keep.any():
        lost = ", ".join(f"{kind} {count}" for kind, count in tally.items() if count)
        raise FormatError(f"none of its {keep.size} track points can be used ({lost})", advice="export the track again")
    values = {name: column[keep] for name, column in points.values.items()}
    for name in ("speed_mps", "course_deg"):
        values[name][values[name] < 0] = np.nan
    instants = points.instants[keep]
    base, time_s = _seconds(instants)
    _refuse_one_moment(base, time_s)
    return assemble(
        time_s=time_s,
        epoch_s=float(base),
        columns={**values, "quality": points.quality[keep]},
        session=points.part[keep],
        speed_source="receiver" if np.isfinite(values["speed_mps"]).any() else "positions",
        source=source,
        tally=tally,
        remarks=_zone_remark(instants),
    )


def _usable(points: Columns, tally: Counter[str]) -> Flags:
    """Mark the points to keep, and count what the others (and single numbers) were lost for."""
    lat_deg, lon_deg, bad = points.values["lat_deg"], points.values["lon_deg"], points.malformed
    missing = ~np.isfinite(lat_deg) | ~np.isfinite(lon_deg)
    malformed = points.complete & (missing | bad["time"])
    out_of_range = points.complete & ~malformed & ((np.abs(lat_deg) > 90) | (np.abs(lon_deg) > 180))
    keep = points.complete & ~malformed & ~out_of_range
    void = keep & ((points.quality == 0) | ((lat_deg == 0) & (lon_deg == 0)))
    keep &= ~void
    tally["void_fix"] += int(void.sum())
    tally["malformed"] += int(malformed.sum())
    tally["malformed"] += sum(int((keep & bad[name]).sum()) for name in points.values)
    negative = keep & (points.values["speed_mps"] < 0) & (points.values["speed_mps"] != _UNKNOWN)
    tally["out_of_range"] += int(out_of_range.sum() + negative.sum())
    return keep


def _seconds(instants: Instants) -> tuple[int, FloatArray]:
    """Return a whole Unix second near the first moment, and all moments counted from it [s]; NaN where unknown.

    What follows a leap second is moved by it, so that elapsed times are true.
    """
    known = instants.known
    base = int(instants.second[known][0]) if known.any() else 0
    passed = np.maximum.accumulate(instants.leap & known) & ~instants.leap if known.size else known
    time_s = (instants.second - base + passed) + instants.nanosecond / 1e9
    return base, np.where(known, time_s, np.nan)


def _refuse_one_moment(base: int, time_s: FloatArray) -> None:
    known = time_s[np.isfinite(time_s)]
    if known.size > 1 and np.ptp(known) < _CLOSEST_S * (known.size - 1):
        raise FormatError(
            f"all {known.size} points carry the same time ({utc_text(base + float(known[0]))})",
            advice="export the track again with the time of each point",
        )


def _zone_remark(instants: Instants) -> tuple[Remark, ...]:
    bare = int((instants.known & ~instants.zoned).sum())
    if not bare:
        return ()
    text = f"times without a zone ({bare} points) are taken as UTC, as the format means them"
    return (Remark("no-time-zone", text),)
