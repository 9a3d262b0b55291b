"""NMEA 0183 logs of satellite receivers -> Trace.

`lines` finds lines that are one whole sentence, `framing` sentences anywhere; `layouts` reads alike ones as a table,
`fields` any others; `sentences` knows the types; `collecting` goes through the log once and makes `batches`; `epochs`
joins sentences of one moment; `dates` makes one clock. What is used, and what is not:

- A sentence counts only when its checksum is right, and every field that is read is of its strict form. A sentence with
  a wrong checksum (`checksum`), without one (`truncated`), of another form or without beginning (`malformed`), or with
  an impossible value (`out_of_range`) is left out whole. Lines that begin with `#` are comments. Sentences of other
  types need only a right checksum; proprietary ones may lack it when all of their tag do.
- RMC with status V, GGA of quality 0, 7 or 8, FAA modes N, M and S are no fix: counted as `void_fix`, once an epoch.
- A log in which no sentence at all has a checksum is read without, whole lines of the usual length only, and says so.
- A log in which no RMC has a right checksum, of at least ten, but at least nine in ten GGA have, is read with those RMC
  whose time and position a GGA confirms, if those are nine in ten, and says so.
- Speed is that of RMC; that of VTG where RMC has none. VTG is read only there, and for comparison at the beginning of a
  log. Positions are those of GGA, GNS, RMC, GLL, in this order. An
  epoch of GLL alone, without speed, in a log that has better ones is left out (`lone_position`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from traceanalyze.errors import FormatError
from traceanalyze.parsers.assembly import assemble
from traceanalyze.parsers.containers import Member
from traceanalyze.parsers.nmea.batches import Rows
from traceanalyze.parsers.nmea.collecting import (
    Sieve,
    Trust,
    checksum_right,
    checksum_right_or_rmc,
    of_usual_length,
    whole_lines,
)
from traceanalyze.parsers.nmea.dates import one_clock
from traceanalyze.parsers.nmea.epochs import Admission, Joiner, every_rmc, merged_by_time, rmc_that_gga_confirms
from traceanalyze.parsers.nmea.framing import find_sentences, make_block
from traceanalyze.parsers.nmea.sentences import GGA, RMC, kinds_of
from traceanalyze.parsers.options import ReadOptions
from traceanalyze.trace import Remark, Source, Trace

#: A log begins within so many bytes of its file; two gigabytes of something else are not searched to their end.
_LOOKED_AT: Final = 100_000_000
#: First bytes of a head that nearly always tell enough.
_GLANCE_BYTES: Final = 4096
#: Sentences of a kind from which on all of them being wrong, or without a checksum, is a habit and no damage.
_HABIT: Final = 10
#: Least share of right GGA, and of confirmed RMC, for RMC with wrong checksums to be used.
_CONFIRMED_SHARE: Final = 0.9
#: Share of epochs whose RMC and VTG may state different speeds before it is worth a remark.
_DIFFER_SHARE: Final = 0.02
#: Once so large a piece was given back, the C library of Linux keeps what blocks give back for the next ones, instead
#: of asking for fresh pages each time (mallopt(3) on M_MMAP_THRESHOLD, which follows such pieces up to 32 MiB).
_KEPT_BYTES: Final = 33_000_000
#: Share of repeated epochs that must hold other values than the first one for the times to be called too coarse.
_REPEATED_SHARE: Final = 0.2


def sniff(head: bytes) -> float:
    """Return how surely the head of a file is such a log: 1 with a right checksum, 0.6 by its lines alone, 0 no."""
    for part in (head[:_GLANCE_BYTES], head):
        sentences = find_sentences(make_block(part))
        if sentences.matched.any():
            return 1.0
    known = kinds_of(sentences.tags) > 0
    return 0.6 if int((known & ~sentences.starred).sum()) >= 2 or bool(known.any() and sentences.starred.all()) else 0.0


def holds_sentences(chunks: Iterable[bytes]) -> bool:
    """Return whether a sentence of a known type with a right checksum is in the first `_LOOKED_AT` bytes."""
    looked_at = 0
    for pieces in whole_lines(chunks):
        if (looked_at := looked_at + sum(map(len, pieces))) > _LOOKED_AT:
            return False
        sentences = find_sentences(make_block(*pieces))
        if bool((sentences.matched & (kinds_of(sentences.tags) > 0)).any()):
            return True
    return False


def read(member: Member, source: Source, options: ReadOptions) -> Trace:
    """Return the drive that a log holds.

    Raises
    ------
    FormatError
        If no fix in it can be used.
    InputError
        If the file can no longer be read.
    """
    found = _pass(member, checksum_right, every_rmc)
    if not sum((found.sieve.right + found.sieve.wrong).values()) and found.sieve.lengths:
        found = _pass(member, of_usual_length(found.sieve.lengths), every_rmc)
        text = "no sentence in the log has a checksum: damage may have gone unseen"
        found.remarks.append(Remark("no-checksums", text))
    elif _wrong_by_habit(found.sieve):
        found = _with_confirmed_rmc(member) or found
    tally = found.sieve.tally + found.joiner.tally
    remarks = (*found.remarks, *_joining_remarks(found.joiner))
    if not found.rows:
        raise _no_fix(tally)
    columns = _whole(found.rows)
    spare = columns.pop("spare")
    if not spare.all():  # GLL alone, beside epochs that tell more: a late copy, which would only tear the series
        tally["lone_position"] = int(spare.sum())
        columns = {name: values[~spare] for name, values in columns.items()} if spare.any() else columns
    time_s, epoch_s, date_remarks = one_clock(columns.pop("time_s"), columns.pop("day"))
    time_s, columns, order_remarks = merged_by_time(time_s, columns)
    quality = columns["quality"]
    columns["quality"] = np.where(np.isnan(quality), -1, quality).astype(np.int8)
    return assemble(
        time_s=time_s,
        epoch_s=epoch_s,
        columns=columns,
        speed_source="receiver" if np.isfinite(columns["speed_mps"]).any() else "positions",
        source=source,
        tally=tally,
        remarks=remarks + date_remarks + order_remarks,
    )


@dataclass(slots=True)
class _Found:
    """What one pass over a log found."""

    sieve: Sieve
    joiner: Joiner
    rows: list[Rows]
    remarks: list[Remark] = field(default_factory=list)


def _pass(member: Member, trust: Trust, admission: Admission) -> _Found:
    np.empty(_KEPT_BYTES, np.uint8)
    sieve, joiner = Sieve(trust), Joiner(admission)
    rows = [piece for piece in joiner.rows(sieve.found(member.chunks())) if piece["time_s"].size]
    return _Found(sieve, joiner, rows)


def _wrong_by_habit(sieve: Sieve) -> bool:
    """Whether no RMC of many has a right checksum, while nearly all GGA have."""
    right, wrong = sieve.right, sieve.wrong
    enough = wrong[RMC] >= _HABIT and right[GGA] >= _HABIT
    return enough and not right[RMC] and right[GGA] >= _CONFIRMED_SHARE * (right[GGA] + wrong[GGA])


def _with_confirmed_rmc(member: Member) -> _Found | None:
    """Return what is found with RMC that a GGA confirms; None when too few are confirmed."""
    found = _pass(member, checksum_right_or_rmc, rmc_that_gga_confirms)
    total, refused = found.sieve.wrong[RMC], found.joiner.tally["checksum"]
    if refused > (1 - _CONFIRMED_SHARE) * total:
        return None
    text = (
        f"every RMC sentence has a wrong checksum: {total - refused} of {total} are used, those whose time and position"
    )
    found.remarks.append(Remark("rmc-checksums", f"{text} a GGA sentence confirms"))
    return found


def _joining_remarks(joiner: Joiner) -> Iterator[Remark]:
    differ, compared = joiner.speeds_differ, joiner.speeds_compared
    if differ > _DIFFER_SHARE * compared:
        text = f"RMC and VTG state different speeds in {differ} of {compared} epochs: RMC is used"
        yield Remark("speeds-differ", text)
    if joiner.values_repeated > _REPEATED_SHARE * max(joiner.tally["duplicate"], _HABIT):
        text = f"{joiner.values_repeated} fixes have the time of the one before but other values, so they are left out"
        yield Remark("repeated-times", f"{text}: switch on fractions of seconds in the receiver")


def _no_fix(tally: Counter[str]) -> FormatError:
    if tally["void_fix"]:
        reason = f"no valid fix in it: the receiver marked all {tally['void_fix']} as void"
        return FormatError(reason, advice="wait until the receiver has a fix, then ride")
    damaged = sum(tally.values())
    if damaged:
        return FormatError(f"none of its sentences can be used: {damaged} are damaged", advice="copy the log again")
    return FormatError(
        "its sentences hold no position or speed with a time", advice="switch on RMC and GGA in the receiver"
    )


def _whole(pieces: list[Rows]) -> Rows:
    """Return the columns of all pieces, each given up as soon as it is used."""
    return {name: np.concatenate([piece.pop(name) for piece in pieces]) for name in list(pieces[0])}
