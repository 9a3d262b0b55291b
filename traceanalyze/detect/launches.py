"""Standing starts: where the vehicle leaves rest and reaches speed without stopping."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from traceanalyze.detect.motion import Motion, find_motion, piece_number
from traceanalyze.settings import (
    CLIMB_KEEPS,
    CREEP_AT_LEAST_S,
    CREEP_EVEN_SHARE,
    CREEP_MPS,
    CREEP_SAMPLES,
    CREEP_SIGMAS,
    HESITATION_MPS,
    HESITATION_SHARE,
    LAUNCH_SPEED_MPS,
    MOTION_SMOOTHING_S,
    ROLL_ENTRY_MPS2,
    ROLL_HELD_S,
    ROLL_LEAVE_MPS2,
    ROLL_MPS,
    ROLL_SHARE,
    ROLL_STEADY_MPS,
)
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.trace import FloatArray, IntArray, Remark, Trace

#: The climb is drawn back to a corner from where it leaves the standing level and from where it reaches this [m/s].
_CORNER_MPS: Final = 2.5
#: Mean and standard deviation of Rayleigh's law over sigma.
_RAYLEIGH_MEAN: Final = 1.2533
_RAYLEIGH_SD: Final = 0.6551
#: Whatever the noise, this is rest [m/s].
_QUIET_MPS: Final = 0.03


class LaunchSpan(NamedTuple):
    """Where one launch lies; all are places in the trace.

    Attributes
    ----------
    first : int
        Start of the rest before the launch.
    onset : int
        Last sample at rest before the climb.
    corner : int
        Last sample before the climb proper; later than `onset` when the vehicle crept in between.
    peak : int
        Highest speed of the climb.
    last : int
        Last sample of this motion: the one at rest again, or the one before a gap or the log's end.
    remarks : tuple of Remark
    """

    first: int
    onset: int
    corner: int
    peak: int
    last: int
    remarks: tuple[Remark, ...] = ()


def launch_level_mps(lowest_target_mps: float) -> float:
    """Return the speed a launch must reach [m/s]: 30 km/h, or the lowest asked target if that is less."""
    return min(LAUNCH_SPEED_MPS, lowest_target_mps) if lowest_target_mps > 0 else LAUNCH_SPEED_MPS


def find_launches(
    trace: Trace, noise: SpeedNoise, lowest_target_mps: float = float("nan"), motion: Motion | None = None
) -> tuple[LaunchSpan, ...]:
    """Return the launches of a trace, in order of time.

    A launch leaves rest and passes `launch_level_mps` without stopping. Aborted starts, rolling starts (no rest
    seen before), shuffles and noise are none; the onset is the last rest before the climb, so that a shuffle does
    not count. A start that a gap cuts, or that begins from a steady roll, is left to `untimed_launches`.

    Parameters
    ----------
    noise : SpeedNoise
        Of the trace's speeds; the levels of rest follow it.
    lowest_target_mps : float
        Lowest speed asked for in a standing measure [m/s]; NaN for none.
    motion : Motion, optional
        What `find_motion` returns for the trace, where it is known already.
    """
    motion = motion or find_motion(trace, noise)
    level_mps = launch_level_mps(lowest_target_mps)
    climbs = _climbs(motion, noise, level_mps)
    return tuple(_span(motion, noise, climb, level_mps) for climb in climbs if not _rolled(motion, noise, climb))


class _Climb(NamedTuple):
    """A motion that begins at rest and reaches the level: places among the samples of a `Motion`."""

    start: int  # of the stop before
    stop: int  # first sample under way
    reached: int  # first sample at the level
    end: int  # exclusive stop of the motion
    onset: int  # last sample at rest


def _climbs(motion: Motion, noise: SpeedNoise, level_mps: float) -> list[_Climb]:
    """Return the motions that begin at rest and reach the level without stopping or vanishing in a gap."""
    number = piece_number(motion.pieces, motion.stops[:, 0])
    climbs = []
    for k, (start, stop) in enumerate(motion.stops.tolist()):
        last_of_piece = k + 1 == number.size or number[k + 1] != number[k]
        end = int(motion.pieces[number[k], 1] if last_of_piece else motion.stops[k + 1, 0])
        fast = motion.smooth_mps[stop:end] >= level_mps
        if fast.any():
            climbs.append(_Climb(start, stop, stop + int(np.argmax(fast)), end, _onset(motion, noise, start, stop)))
    return climbs


def _rolled(motion: Motion, noise: SpeedNoise, climb: _Climb) -> bool:
    """Tell a start from a roll: gently to walking or running pace, held for seconds, then straight to full throttle."""
    part = slice(climb.onset, climb.reached + 1)
    t_s, v = motion.t_s[part], motion.smooth_mps[part]
    before = np.searchsorted(t_s, t_s - ROLL_HELD_S, side="right") - 1
    earlier = v[np.maximum(before, 0)]
    steady = (before >= 0) & (np.abs(v - earlier) < ROLL_STEADY_MPS)
    steady &= (np.minimum(v, earlier) >= ROLL_MPS) & (v <= ROLL_SHARE * v[-1])
    if not steady.any():
        return False
    at = int(np.flatnonzero(steady)[-1])
    if np.ptp(v[before[at] : at + 1]) > ROLL_STEADY_MPS + 4 * noise.sigma_mps:
        return False
    entry_s = t_s[int(np.argmax(v >= 0.8 * v[at]))] - t_s[0]
    gently = 0.8 * v[at] < ROLL_ENTRY_MPS2 * entry_s
    sags = v[at:].min() < v[at] - ROLL_STEADY_MPS
    return bool(gently and not sags and _steepest_mps2(t_s[at:], v[at:]) > ROLL_LEAVE_MPS2)


def _steepest_mps2(t_s: FloatArray, v: FloatArray) -> float:
    """Highest mean acceleration over a second or, in a slower log, over a step."""
    before = np.maximum(np.searchsorted(t_s, t_s - 1.0, side="right") - 1, 0)
    return float(((v - v[before])[1:] / (t_s - t_s[before])[1:]).max(initial=0.0))


def _span(motion: Motion, noise: SpeedNoise, climb: _Climb, level_mps: float) -> LaunchSpan:
    smooth, onset, reached = motion.smooth_mps, climb.onset, climb.reached
    corner = _corner(motion, onset, climb.stop, climb.end)
    climb_end = _climb_end(smooth[reached : climb.end], reached)
    peak = reached + int(np.argmax(smooth[reached:climb_end]))
    first, last = _rest_start(motion, climb.start, onset), _at_rest_again(motion, climb.end)
    remarks = (*_creep(motion, noise, onset, corner), *_hesitation(motion, climb.stop, reached, level_mps))
    row = motion.row
    return LaunchSpan(int(row[first]), int(row[onset]), int(row[corner]), int(row[peak]), int(row[last]), remarks)


def _onset(motion: Motion, noise: SpeedNoise, start: int, stop: int) -> int:
    """Last sample that looks like rest: as quiet as the noise at rest if the stop has such, else its quietest."""
    smooth = motion.smooth_mps[start:stop]
    averaged = 1 + 2 * int(0.5 * MOTION_SMOOTHING_S / noise.period_s)
    sigmas = _RAYLEIGH_MEAN + 2 * _RAYLEIGH_SD / averaged**0.5
    quiet = max(_QUIET_MPS, sigmas * noise.rest_sigma_mps, smooth.min())
    below = np.flatnonzero(smooth <= min(motion.rest_mps, quiet))
    return start + int(below[-1])


def _corner(motion: Motion, onset: int, stop: int, end: int) -> int:
    """Last sample before the climb, drawn back to zero from its first metres a second; not before the onset."""
    if stop + 1 >= end:
        return onset
    fast = np.flatnonzero(motion.smooth_mps[stop + 1 : end] >= _CORNER_MPS)
    above = stop + 1 + (int(fast[0]) if fast.size else 0)
    v0_mps, v1_mps = motion.smooth_mps[stop], motion.smooth_mps[above]
    t0_s, t1_s = motion.t_s[stop], motion.t_s[above]
    if v1_mps <= v0_mps:
        return onset
    corner_s = t0_s - v0_mps * (t1_s - t0_s) / (v1_mps - v0_mps)
    return max(onset, int(np.searchsorted(motion.t_s[:stop], corner_s, side="right")) - 1)


def _climb_end(smooth: FloatArray, begin: int) -> int:
    """First sample that has lost half of the speed reached before, exclusive stop of the climb."""
    lost = smooth < CLIMB_KEEPS * np.maximum.accumulate(smooth)
    return begin + (int(np.argmax(lost)) if lost.any() else smooth.size)


def _at_rest_again(motion: Motion, end: int) -> int:
    """First sample at rest after the motion, or the last of the motion when a gap or the log's end cuts it."""
    if end == motion.piece_of(end - 1)[1]:
        return end - 1
    k = int(np.searchsorted(motion.stops[:, 0], end))  # the stop that ended it
    return end + int(np.argmax(motion.smooth_mps[end : motion.stops[k, 1]] <= motion.rest_mps))


def _rest_start(motion: Motion, start: int, onset: int) -> int:
    """Start of the unbroken rest that ends with the onset; a shuffle before it does not belong."""
    moving = np.flatnonzero(motion.smooth_mps[start : onset + 1] > motion.rest_mps)
    return start + int(moving[-1]) + 1 if moving.size and moving[-1] + 1 < onset + 1 - start else start


def _creep(motion: Motion, noise: SpeedNoise, onset: int, corner: int) -> tuple[Remark, ...]:
    """Remark a vehicle that rolls slowly before the climb: no rule can then say when it started."""
    lasting_s = float(motion.t_s[corner] - motion.t_s[onset])
    crept = motion.smooth_mps[onset + 1 : corner + 1]
    least = CREEP_SAMPLES if noise.period_s <= CREEP_AT_LEAST_S / 2 else CREEP_SAMPLES - 1
    if lasting_s < CREEP_AT_LEAST_S or crept.size < least:
        return ()
    early_mps, speed_mps = float(crept[: crept.size // 2].mean()), float(crept.mean())
    level_mps = max(CREEP_MPS, CREEP_SIGMAS * noise.rest_sigma_mps)
    if speed_mps < level_mps or early_mps < CREEP_EVEN_SHARE * speed_mps:
        return ()
    text = f"it crept at about {speed_mps:.1f} m/s for {lasting_s:.1f} s before the climb: the start is blurred"
    return (Remark("creep", text),)


def _hesitation(motion: Motion, stop: int, reached: int, level_mps: float) -> tuple[Remark, ...]:
    """Remark a climb that lost speed before it reached the level."""
    smooth = motion.smooth_mps[stop : reached + 1]
    highest = np.maximum.accumulate(smooth)
    lost = highest - smooth
    if not ((lost > HESITATION_MPS) & (lost > HESITATION_SHARE * highest)).any():
        return ()
    return (Remark("hesitation", f"it lost {lost.max():.1f} m/s on the way to {level_mps:.1f} m/s"),)


def untimed_launches(
    trace: Trace, noise: SpeedNoise, lowest_target_mps: float = float("nan"), motion: Motion | None = None
) -> tuple[Remark, ...]:
    """Return one remark for each launch that is seen but not timed: a gap cuts it, or it began from a roll."""
    motion = motion or find_motion(trace, noise)
    level_mps = launch_level_mps(lowest_target_mps)
    rolled = tuple(
        Remark("rolling-start", f"a start from a roll at {motion.t_s[climb.stop]:.1f} s is not timed")
        for climb in _climbs(motion, noise, level_mps)
        if _rolled(motion, noise, climb)
    )
    return rolled + _cut_by_gaps(motion, trace.stretch[motion.row], level_mps)


def _cut_by_gaps(motion: Motion, stretch: IntArray, level_mps: float) -> tuple[Remark, ...]:
    remarks = []
    for (_, stop), (begin, end) in zip(motion.pieces[:-1].tolist(), motion.pieces[1:].tolist(), strict=True):
        before = _last_stop(motion, stop)
        if before is None or stretch[stop - 1] != stretch[begin]:
            continue
        comes_out_mps = motion.smooth_mps[begin : _next_stop(motion, begin, end)].max(initial=0.0)
        goes_in_mps = motion.smooth_mps[before:stop].max(initial=0.0)
        if goes_in_mps < level_mps <= comes_out_mps:  # otherwise that launch stands before the gap, or there is none
            gap_s = motion.t_s[begin] - motion.t_s[stop - 1]
            does = "hides the start of" if before == stop else "cuts"
            text = f"a gap of {gap_s:.1f} s in the log at {motion.t_s[stop - 1]:.1f} s {does} a launch: it is not timed"
            remarks.append(Remark("launch-in-gap", text))
    return tuple(remarks)


def _last_stop(motion: Motion, end: int) -> int | None:
    """Where the last stop of the piece that ends at `end` is over; None if the piece has none."""
    k = int(np.searchsorted(motion.stops[:, 1], end, side="right")) - 1
    begin, _ = motion.piece_of(end - 1)
    return int(motion.stops[k, 1]) if k >= 0 and motion.stops[k, 0] >= begin else None


def _next_stop(motion: Motion, begin: int, end: int) -> int:
    """Where the first stop at or after `begin` starts, `end` at the latest."""
    k = int(np.searchsorted(motion.stops[:, 0], begin))
    return min(end, int(motion.stops[k, 0])) if k < motion.stops.shape[0] else end
