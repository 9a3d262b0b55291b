"""Rows as a reader found them -> one Trace: repeated, missing and backward times settled, losses counted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from traceanalyze.errors import FormatError
from traceanalyze.order import median
from traceanalyze.settings import SESSION_POINTS
from traceanalyze.trace import Accelerometer, FloatArray, Remark, Source, Trace, trace_of

#: Rows searched for an earlier copy of a row that comes late: all of a session while it goes back this seldom, so
#: that a log written twice is found; a few when it goes back often, so that the search ends soon.
_SELDOM = 50
_LOOK_BACK = 5000
#: Share of steps going back in time above which the rows are simply not in order, and are sorted.
_SHUFFLED_SHARE = 0.05


def assemble(
    *,
    time_s: FloatArray,
    epoch_s: float,
    columns: Mapping[str, NDArray[Any]],
    session: NDArray[np.integer[Any]] | None = None,
    accelerometer: Accelerometer | None = None,
    speed_source: str = "receiver",
    source: Source,
    tally: Mapping[str, int],
    remarks: tuple[Remark, ...] = (),
) -> Trace:
    """Return the trace of rows in file order.

    Parameters
    ----------
    time_s : (n,) float
        Time of each row [s] counted from `epoch_s`; NaN where the row has none (counted as `no_time`).
        Counted from a nearby whole second, so that a double keeps nanoseconds.
    epoch_s : float
        Unix time [s] of `time_s` = 0; NaN for a log without a date.
    columns : mapping
        Arrays of `Trace`, each (n,); handed over for good.
    session : (n,) int, optional
        Rising numbers that set apart what the file itself sets apart (track segments).
    accelerometer : Accelerometer, optional
        Its `t_s` counted from `epoch_s` too; it is moved to the trace's clock here.

    Raises
    ------
    FormatError
        If no row has a time.
    """
    counts = Counter(tally)
    sorted_note: tuple[Remark, ...] = ()
    if session is None and time_s.size and _rises(time_s):
        part = np.zeros(time_s.size, np.int32)  # nothing to settle, as in most logs: copies would be large
    else:
        rows, part, sorted_note = _kept_rows(time_s, session, columns, counts)
        time_s, columns = time_s[rows], {name: values[rows] for name, values in columns.items()}
    if not time_s.size and accelerometer is None:
        raise FormatError("no point in it has a time", advice="record with times switched on")
    t_s, offset_s = _one_clock(time_s, part)
    first_s = float(time_s[0]) if time_s.size else float(accelerometer.t_s[0]) if accelerometer else 0.0
    notes = remarks + sorted_note + _clock_remarks(t_s, part, offset_s, session is not None)
    if accelerometer is not None:
        accelerometer = Accelerometer(
            t_s=accelerometer.t_s - first_s,
            force_mps2=accelerometer.force_mps2,
            shared_clock=accelerometer.shared_clock,
        )
    return trace_of(
        t_s,
        utc0_s=epoch_s + first_s + offset_s,
        stretch=part,
        **columns,
        accelerometer=accelerometer,
        speed_source=speed_source,
        source=source,
        tally={kind: count for kind, count in counts.items() if count},
        remarks=notes,
        history=("read",),
    )


def _rises(time_s: FloatArray) -> bool:
    return bool(np.isfinite(time_s[[0, -1]]).all() and (time_s[1:] > time_s[:-1]).all())


def _kept_rows(
    time_s: FloatArray,
    session: NDArray[np.integer[Any]] | None,
    columns: Mapping[str, NDArray[Any]],
    counts: Counter[str],
) -> tuple[NDArray[Any], NDArray[np.int32], tuple[Remark, ...]]:
    """Return the rows to keep in order of time, the stretch of each, and what there is to remark; count the others."""
    timed = np.isfinite(time_s)
    counts["no_time"] += int(time_s.size - timed.sum())
    rows = np.flatnonzero(timed)
    parts = np.zeros(rows.size, np.int64) if session is None else np.asarray(session)[rows]
    rows, parts, sorted_note = _in_order(time_s, rows, parts)
    keep, part, stray = _settled(time_s, parts, rows, tuple(columns.values()))
    counts["duplicate"] += stray["duplicate"]
    counts["out_of_order"] += stray["out_of_order"]
    return rows[keep], part[keep], sorted_note


def _in_order(
    time_s: FloatArray, rows: NDArray[Any], session: NDArray[Any]
) -> tuple[NDArray[Any], NDArray[Any], tuple[Remark, ...]]:
    """Sort rows that are written in no order of time (newest first, merged files); leave ordinary logs alone."""
    back = int(((np.diff(time_s[rows]) < 0) & (np.diff(session) == 0)).sum())
    if back <= max(20, _SHUFFLED_SHARE * rows.size) and not (back and back == rows.size - 1):
        return rows, session, ()
    order = np.lexsort((time_s[rows], session))
    note = Remark("sorted-by-time", f"{back} rows stand before an earlier one: the rows were sorted by their times")
    return rows[order], session[order], (note,)


def _settled(
    time_s: FloatArray, session: NDArray[Any], rows: NDArray[Any], columns: tuple[NDArray[Any], ...]
) -> tuple[NDArray[np.bool_], NDArray[np.int32], Counter[str]]:
    """Mark which of `rows` to keep and number their stretches; count repeated and stray rows."""
    stray: Counter[str] = Counter()
    keep = np.ones(rows.size, bool)
    keep[1:] = (np.diff(time_s[rows]) != 0) | (np.diff(session) != 0)
    stray["duplicate"] = int(rows.size - keep.sum())
    distinct = np.flatnonzero(keep)
    late, new = _late_rows(time_s[rows[distinct]], session[distinct], _Content(rows[distinct], columns), stray)
    part = np.zeros(rows.size, np.int32)
    part[distinct] = np.cumsum(new)
    keep[distinct[late]] = False
    kept_part = part[keep]
    if kept_part.size:  # renumber: a stretch that lost every row leaves no hole
        part[keep] = np.cumsum(np.diff(kept_part, prepend=kept_part[0]) != 0)
    return keep, part, stray


class _Content(NamedTuple):
    """What rows hold beside their times."""

    rows: NDArray[Any]
    columns: tuple[NDArray[Any], ...]

    def same(self, ones: NDArray[Any], others: NDArray[Any]) -> NDArray[np.bool_]:
        """Whether rows hold the same as others, unknown values included."""
        equal = np.ones(ones.size, bool)
        for values in self.columns:
            one, other = values[self.rows[ones]], values[self.rows[others]]
            equal &= (one == other) | ((one != one) & (other != other))
        return equal


def _copies(time_s: FloatArray, content: _Content, late: NDArray[Any], earlier: NDArray[Any]) -> NDArray[np.bool_]:
    """Whether late rows are copies of earlier ones: the same time and the same content."""
    order = earlier[np.argsort(time_s[earlier], kind="stable")]
    place = np.minimum(np.searchsorted(time_s[order], time_s[late]), order.size - 1)
    copies: NDArray[np.bool_] = time_s[order[place]] == time_s[late]
    return copies & content.same(late, order[place])


def _late_rows(
    time_s: FloatArray, session: NDArray[Any], content: _Content, stray: Counter[str]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Mark rows that come after a later time without starting a session, and rows that start one."""
    n = time_s.size
    late, new = np.zeros(n, bool), np.zeros(n, bool)
    breaks = np.flatnonzero((np.diff(time_s) <= 0) | (np.diff(session) != 0)) + 1
    if not breaks.size:
        return late, new
    start, latest = 0, time_s[breaks[0] - 1]
    look_back = n if breaks.size <= _SELDOM else _LOOK_BACK
    for begin, end in zip(breaks.tolist(), [*breaks[1:].tolist(), n], strict=True):
        behind = int(np.searchsorted(time_s[begin:end], latest, side="right"))
        if session[begin] != session[begin - 1]:
            new[begin], start, behind = True, begin, 0
        else:  # at least the first is behind: only steps back and sessions make breaks
            late_rows, earlier = np.arange(begin, begin + behind), np.arange(max(start, begin - look_back), begin)
            known = _copies(time_s, content, late_rows, earlier)
            if behind >= SESSION_POINTS and not known.all():
                new[begin], start, behind = True, begin, 0
            else:
                stray["duplicate"] += int(known.sum())
                stray["out_of_order"] += int(behind - known.sum())
        late[begin : begin + behind] = True
        if begin + behind < end:
            latest = time_s[end - 1]
    return late, new


def _one_clock(time_s: FloatArray, part: NDArray[np.int32]) -> tuple[FloatArray, FloatArray]:
    """Return strictly increasing times from 0, and what each stretch's own clock is ahead of them [s]."""
    if not time_s.size:
        return time_s, np.zeros(1)
    t_s = time_s - time_s[0]
    starts = np.flatnonzero(np.diff(part, prepend=-1))
    if starts.size == 1:
        return t_s, np.zeros(1)
    steps = np.diff(t_s)
    rising = steps[steps > 0]
    pause_s = median(rising) if rising.size else 1.0
    offset_s = np.zeros(starts.size)
    shift = 0.0
    for k, begin in enumerate(starts.tolist()[1:], start=1):
        if t_s[begin] - shift <= t_s[begin - 1] - offset_s[k - 1]:
            shift = float(t_s[begin] - (t_s[begin - 1] - offset_s[k - 1])) - pause_s
        offset_s[k] = shift
    return t_s - offset_s[part], offset_s


def _clock_remarks(
    t_s: FloatArray, part: NDArray[np.int32], offset_s: FloatArray, segmented: bool
) -> tuple[Remark, ...]:
    back = np.flatnonzero(np.diff(offset_s) < 0) + 1
    if not back.size or segmented:
        return ()
    first = int(np.searchsorted(part, back[0]))
    step_s = float(offset_s[back[0] - 1] - offset_s[back[0]])
    text = f"the log's clock goes back by {step_s:.1f} s at {t_s[first]:.1f} s: what follows is a session of its own"
    if back.size > 1:
        text += f" (and {back.size - 1} more such steps)"
    return (Remark("clock-went-back", text),)
