"""Sentences of one moment brought together: one row for each epoch that has a fix.

A receiver writes a burst of sentences for each epoch. Those with a time (RMC, GGA, GNS, GLL) belong together when
their times differ by less than half the usual step, since some receivers round them differently; those without one
(VTG, GSA) belong to the burst they stand in.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from traceanalyze.order import median
from traceanalyze.parsers.nmea.batches import NOTHING, Batch, Rows, nothing_of
from traceanalyze.parsers.nmea.framing import BoolArray, IndexArray
from traceanalyze.parsers.nmea.sentences import GGA, GLL, GNS, GSA, KINDS, NO_DAY, RMC, VTG, ZDA
from traceanalyze.trace import FloatArray, Remark

_DAY_S: Final = 86_400.0
#: Times within this share of the usual step belong to one epoch; below one half, so that none belongs to two.
_SAME_EPOCH_SHARE: Final = 0.45
#: ... and within this many seconds whatever the step [s].
_SAME_EPOCH_S: Final = 0.45
#: The same while no step is known [s]: half the step of the fastest receivers in use.
_SAME_EPOCH_UNKNOWN_S: Final = 0.02
#: Times closer than this are equal [s]: receivers state microseconds at best.
_EQUAL_S: Final = 1e-6
#: Sentences kept back while waiting for the end of an epoch; more than that never end.
_MOST_HELD: Final = 20_000
#: Two speeds of one epoch disagree when they differ by more than this [m/s]: rounding to 0.1 kn explains 0.05.
_SPEEDS_AGREE_MPS: Final = 0.3
#: Epochs in which RMC and VTG are compared; after them, VTG is read only where RMC leaves the speed open.
_MOST_COMPARED: Final = 500
#: Share of rows before the one that precedes them from which on a log is taken to be interleaved.
_INTERLEAVED_SHARE: Final = 0.2
#: Rows of one time that are made one row then; there are as many as sentence types and talkers.
_MOST_MERGED: Final = 9
#: Where the kinds of sentences with a time stand in order of trust for time, and for position.
_TIMED: Final = (RMC, GGA, GNS, GLL)
_PLACED: Final = (GGA, GNS, RMC, GLL)

_NONE: Final = np.zeros(0, np.intp)

#: Says which RMC sentences may be used, given all of a batch and, for each RMC, the GGA of its epoch (-1: none).
Admission = Callable[[Batch, IndexArray], BoolArray]


def every_rmc(batch: Batch, gga: IndexArray) -> BoolArray:
    """Admit them all."""
    return np.ones(gga.size, bool)


def rmc_that_gga_confirms(batch: Batch, gga: IndexArray) -> BoolArray:
    """Admit those whose time and position are those of a GGA: to 1 ms, and to 0.0003 degrees (33 m of latitude)."""
    rmc = batch.columns[RMC]
    known = np.flatnonzero(gga >= 0)
    admitted = np.zeros(gga.size, bool)
    if known.size:
        other = {name: values[gga[known]] for name, values in batch.columns[GGA].items()}
        admitted[known] = np.abs(rmc["time_s"][known] - other["time_s"]) < 1e-3
        for name in ("lat_deg", "lon_deg"):
            admitted[known] &= np.abs(rmc[name][known] - other[name]) < 3e-4
    return admitted


@dataclass(slots=True)
class Joiner:
    """Makes rows of sentences, batch by batch.

    Attributes
    ----------
    admission : Admission
        Which RMC sentences are used.
    tally : Counter
        Epochs left out, by reason, and RMC sentences that were not admitted (as `checksum`).
    speeds_compared, speeds_differ : int
        Epochs with the speeds of both RMC and VTG, and those where they disagree.
    values_repeated : int
        RMC sentences with the time of the one before, but other values.
    """

    admission: Admission
    tally: Counter[str] = field(default_factory=Counter)
    speeds_compared: int = 0
    speeds_differ: int = 0
    values_repeated: int = 0
    _tolerance_s: float = 0.0

    def rows(self, found: Iterable[Batch]) -> Iterator[Rows]:
        """Yield rows in the order of the log from what was found in each block; an epoch is never torn."""
        held = NOTHING
        for batch in found:
            whole = held.followed_by(batch)
            self._learn_step(whole)
            epoch = _epochs(whole, self._tolerance_s or _SAME_EPOCH_UNKNOWN_S)
            begun = int(np.searchsorted(epoch, epoch[-1])) if whole.size else 0
            cut = begun if whole.size - begun < _MOST_HELD else whole.size
            ready, held = whole.split(cut)
            if cut:
                yield self._joined(ready, epoch[:cut])
        if held.size:
            yield self._joined(held, _epochs(held, self._tolerance_s or _SAME_EPOCH_UNKNOWN_S))

    def _learn_step(self, batch: Batch) -> None:
        """Take the usual step between epochs from the first batch that shows it."""
        if self._tolerance_s:
            return
        for kind in _TIMED:
            step_s = np.abs(_step(batch.columns[kind]["time_s"])) if kind in batch.columns else np.zeros(0)
            step_s = step_s[step_s > _EQUAL_S]
            if step_s.size >= 3:
                share_s = _SAME_EPOCH_SHARE * median(step_s)
                self._tolerance_s = min(share_s, self._tolerance_s or _SAME_EPOCH_S)

    def _joined(self, batch: Batch, epoch: IndexArray) -> Rows:
        """Return the rows of whole epochs, numbered from 0."""
        columns = {kind: batch.columns.get(kind) or nothing_of(kind) for kind in KINDS}
        batch = batch._replace(columns=columns)
        table = _Table(batch, epoch)
        rmc = batch.columns[RMC]
        admitted = self.admission(batch, table.chosen[GGA][table.epoch_of(RMC)]) | rmc["void"]
        self.tally["checksum"] += int((~admitted).sum())
        table.choose(RMC, admitted & ~rmc["void"])
        usable = np.any([table.chosen[kind] >= 0 for kind in _TIMED], axis=0)
        silenced = table.has_void(RMC) & (table.chosen[RMC] < 0)
        self.tally["void_fix"] += table.void_fixes(usable) + int((silenced & usable).sum())
        self.tally["duplicate"] += int(table.repeats()[usable].sum())
        self.values_repeated += table.changed_repeats()
        rows = self._columns(table, silenced)
        if usable.all():
            return rows
        kept = np.flatnonzero(usable)
        return {name: values[kept] for name, values in rows.items()}

    def _columns(self, table: _Table, silenced: BoolArray) -> Rows:
        """Return the columns of all epochs; VTG counts only where no RMC says that there is no fix."""
        speed_mps, course_deg = table.column(RMC, "speed_mps"), table.column(RMC, "course_deg")
        wanted = np.isnan(speed_mps) & ~silenced
        wanted[: max(_MOST_COMPARED - self.speeds_compared, 0)] = True
        other_mps, other_deg = self._read_vtg(table, wanted)
        other_mps[silenced] = other_deg[silenced] = np.nan
        gap_mps = np.abs(speed_mps - other_mps)
        self.speeds_compared += int(np.isfinite(gap_mps).sum())
        self.speeds_differ += int((gap_mps > _SPEEDS_AGREE_MPS).sum())
        time_s = table.first_of("time_s", _TIMED)
        return {
            "time_s": time_s,
            "day": _filled(table.column(RMC, "day"), table.day_of_zda(time_s)),
            "speed_mps": _filled(speed_mps, other_mps),
            "course_deg": _filled(course_deg, other_deg),
            **{name: table.first_of(name, _PLACED) for name in ("lat_deg", "lon_deg")},
            **{name: table.first_of(name, (GGA, GNS)) for name in ("altitude_m", "satellites")},
            "hdop": table.first_of("hdop", (GGA, GNS, GSA)),
            "quality": table.first_of("quality", _PLACED),
            "spare": np.all([table.chosen[kind] < 0 for kind in (RMC, GGA, GNS)], axis=0) & np.isnan(other_mps),
        }

    def _read_vtg(self, table: _Table, wanted: BoolArray) -> tuple[FloatArray, FloatArray]:
        """Return speed and course of the VTG of some epochs; NaN where there is none, or it is void or malformed."""
        speed_mps, course_deg = np.full((2, table.size), np.nan)
        epochs = np.flatnonzero(wanted & (table.chosen[VTG] >= 0))
        for which, reading in table.batch.read_later(table.chosen[VTG][epochs]) if epochs.size else ():
            self.tally["malformed"] += int(reading.malformed.sum())
            self.tally["out_of_range"] += int(reading.outside.sum())
            bad = reading.malformed | reading.outside | reading.void
            speed_mps[epochs[which]] = np.where(bad, np.nan, reading.columns["speed_mps"])
            course_deg[epochs[which]] = np.where(bad, np.nan, reading.columns["course_deg"])
        return speed_mps, course_deg


class _Table:
    """Sentences by kind and epoch.

    Attributes
    ----------
    batch : Batch
        All of them.
    size : int
        How many epochs there are.
    chosen : mapping of int to (epochs,) int
        For each kind the number of the sentence used in each epoch: the first usable one; -1 where there is none.
    """

    def __init__(self, batch: Batch, epoch: IndexArray) -> None:
        self.batch = batch
        self._epoch: dict[int, IndexArray] = {kind: epoch[batch.places.get(kind, _NONE)] for kind in KINDS}
        self._again: dict[int, IndexArray] = {kind: self._repeated(kind) for kind in (*_TIMED, VTG)}
        self.size = int(epoch[-1]) + 1
        self.chosen: dict[int, IndexArray] = {}
        for kind in KINDS:
            self.choose(kind, ~batch.columns[kind]["void"] if kind != VTG else batch.columns[VTG]["block"] >= 0)
        self.choose(GLL, ~batch.columns[GLL]["void"] & np.isfinite(batch.columns[GLL]["time_s"]))
        self._hand_on_surplus()

    def epoch_of(self, kind: int) -> IndexArray:
        """Return the epoch of each sentence of a kind."""
        return self._epoch[kind]

    def choose(self, kind: int, usable: BoolArray) -> None:
        """Take the first usable sentence of each epoch."""
        rows = np.flatnonzero(usable)[::-1]
        self.chosen[kind] = np.full(self.size, -1)
        self.chosen[kind][self._epoch[kind][rows]] = rows

    def has_void(self, kind: int) -> BoolArray:
        """Whether each epoch has a sentence of a kind that states that there is no fix."""
        found = np.zeros(self.size, bool)
        found[self._epoch[kind][self.batch.columns[kind]["void"]]] = True
        return found

    def repeats(self) -> IndexArray:
        """Return how many times more than once each epoch was written: one talker's sentences of a kind."""
        most = np.zeros(self.size, np.intp)
        for kind in _TIMED:
            again = self._again[kind]
            if again.size:
                most = np.maximum(most, np.bincount(self._epoch[kind][again], minlength=self.size))
        return most

    def changed_repeats(self) -> int:
        """Return how many RMC have the time of the one before, but other values."""
        again, rmc = self._again[RMC], self.batch.columns[RMC]
        again = again[~rmc["void"][again]]
        return int((rmc["speed_mps"][again] != rmc["speed_mps"][again - 1]).sum())

    def void_fixes(self, usable: BoolArray) -> int:
        """Return how many fixes are void: in each run of epochs without a usable one, the sentences of one kind."""
        if usable.all():
            return 0
        run = np.cumsum(np.diff(usable, prepend=usable[0]))
        most = np.zeros(int(run[-1]) + 1, np.intp)
        for kind in _TIMED:
            epoch, talker = self._epoch[kind], self.batch.columns[kind]["talker"]
            rows = np.flatnonzero(~usable[epoch] & self.batch.columns[kind]["void"])
            for name in np.unique(talker[rows]):
                of_one = run[epoch[rows[talker[rows] == name]]]
                most = np.maximum(most, np.bincount(of_one, minlength=most.size))
        return int(most.sum())

    def _repeated(self, kind: int) -> IndexArray:
        """Return the sentences of a kind that follow one of the same talker in the same epoch."""
        epoch, talker = self._epoch[kind], self.batch.columns[kind]["talker"]
        return np.flatnonzero((epoch[1:] == epoch[:-1]) & (talker[1:] == talker[:-1])) + 1

    def _hand_on_surplus(self) -> None:
        """Give a second VTG to the next epoch when that has none: its burst begins with it, or its RMC was lost."""
        surplus = self._again[VTG]
        surplus = surplus[self._epoch[VTG][surplus] + 1 < self.size]
        surplus = surplus[self.chosen[VTG][self._epoch[VTG][surplus] + 1] < 0]
        self.chosen[VTG][self._epoch[VTG][surplus] + 1] = surplus

    def column(self, kind: int, name: str) -> FloatArray:
        """Return a column of a kind for each epoch; NaN where it has none (-1 for `quality`, also NaN for `day`)."""
        values, rows = self.batch.columns[kind][name], self.chosen[kind]
        known = rows >= 0
        if known.all():
            one_each = values.size == self.size  # none is left over, so they stand in order
            found = (values if one_each else values[rows]).astype(float, copy=False)
        else:
            found = values[rows].astype(float) if values.size else np.zeros(self.size)
            found[~known] = np.nan
        if name == "day":
            found[found == NO_DAY] = np.nan
        return found

    def day_of_zda(self, time_s: FloatArray) -> FloatArray:
        """Return the day that ZDA gives each epoch, whose time of day may lie on the other side of midnight."""
        return self.column(ZDA, "day") + np.rint((self.column(ZDA, "time_s") - time_s) / _DAY_S)

    def first_of(self, name: str, kinds: tuple[int, ...]) -> FloatArray:
        """Return, for each epoch, the column of the first kind that says something."""
        found = self.column(kinds[0], name)
        for kind in kinds[1:]:
            unknown = np.flatnonzero(np.isnan(found))
            rows = self.chosen[kind][unknown]
            if not (rows >= 0).any():
                continue
            found = found.copy()
            found[unknown[rows >= 0]] = self.batch.columns[kind][name][rows[rows >= 0]]
        return found


def merged_by_time(time_s: FloatArray, rows: Rows) -> tuple[FloatArray, Rows, tuple[Remark, ...]]:
    """Return rows in order of time, those of one time as one, where sentences of one time do not stand together.

    Some receivers state the time of one sentence type an epoch late, and some logs mix talkers with different delays:
    then many a row is before the one that precedes it. Other logs are returned as they are.
    """
    back = np.count_nonzero(np.diff(time_s) < 0)
    if back <= _INTERLEAVED_SHARE * time_s.size:
        return time_s, rows, ()
    order = np.argsort(time_s, kind="stable")  # rows without a time come last, each on its own
    time_s = time_s[order]
    begins = np.flatnonzero(~(np.diff(time_s, prepend=np.nan) <= _EQUAL_S))
    sizes = np.diff(begins, append=time_s.size)
    merged: Rows = {}
    for name, values in rows.items():
        ordered = values[order]
        merged[name] = ordered[begins]
        for later in range(1, min(int(sizes.max(initial=1)), _MOST_MERGED)):
            groups = np.flatnonzero((sizes > later) & np.isnan(merged[name]))
            merged[name][groups] = ordered[begins[groups] + later]
    text = f"{back} fixes are written after a later one: they were joined and put in order by their times"
    return time_s[begins], merged, (Remark("sorted-by-time", text),)


def _filled(values: FloatArray, others: FloatArray) -> FloatArray:
    unknown = np.isnan(values)
    return np.where(unknown, others, values) if unknown.any() else values


def _step(time_s: FloatArray) -> FloatArray:
    """Return the steps of times of day, the shorter way round midnight, which a leap second puts off [s]."""
    step_s = np.diff(time_s)
    step_s[(time_s[:-1] >= _DAY_S) & (time_s[1:] < _DAY_S)] += 1
    return step_s - _DAY_S * np.rint(step_s / _DAY_S)


def _epochs(batch: Batch, tolerance_s: float) -> IndexArray:
    """Return the epoch of each sentence, rising from 0."""
    time_s, timed = np.full(batch.size, np.nan), np.zeros(batch.size, bool)
    places = {kind: batch.places[kind] for kind in _TIMED if kind in batch.places}
    for kind, of_kind in places.items():
        time_s[of_kind], timed[of_kind] = batch.columns[kind]["time_s"], True
    if GLL in places:  # an old GLL has no time
        timed[places[GLL]] = np.isfinite(time_s[places[GLL]])
        places[GLL] = places[GLL][timed[places[GLL]]]
    rows = np.flatnonzero(timed)
    time_s, rank = time_s[rows], np.cumsum(timed) - 1
    step_s = np.abs(_step(time_s))
    same = (step_s <= tolerance_s) | (np.isnan(time_s[1:]) & np.isnan(time_s[:-1]))
    new = np.concatenate(([False], ~same))[: rows.size]
    number = np.cumsum(new)
    for of_kind in places.values():  # no kind has two times in one epoch
        own = rank[of_kind]
        again = np.flatnonzero(np.diff(number[own]) == 0)
        again = again[np.abs(_step(time_s[own]))[again] > _EQUAL_S] if again.size else again
        if again.size:
            new[own[again + 1]] = True
            number = np.cumsum(new)
    begins = np.zeros(batch.size, np.intp)
    begins[rows] = new
    epoch: IndexArray = np.cumsum(begins)
    return epoch
