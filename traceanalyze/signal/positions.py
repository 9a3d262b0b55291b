"""Speed over ground from positions alone, by a smoother, with its uncertainty.

Differences of noisy positions are no speeds. Positions are taken as a chain of integrators driven by white jerk, in a
plane laid along the track. How noisy they are is found by which noise makes the log most likely where it moves. How
lively the ride is changes from second to second: a bank of three smoothers, one for steady riding, one for ordinary
driving and one for a start from rest, weighs itself at every sample by how well each foretold the positions of the
seconds around, both before and after. So the corner at a start stays sharp and a steady top speed is not torn about by
noise. Single positions that jump are left out; where all later positions have jumped, the step counts for nothing.

Sources: Y. Bar-Shalom, X. R. Li, T. Kirubarajan, Estimation with Applications to Tracking and Navigation (Wiley 2001),
section 6.2.3 (white jerk) and 11.6 (weights by likelihood); P. J. Huber, Robust Statistics (Wiley 1981), section 4.6.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from traceanalyze.errors import SignalError
from traceanalyze.order import median
from traceanalyze.signal.geodesy import local_east_north_m
from traceanalyze.signal.jumps import Screened, screen
from traceanalyze.signal.noise import SpeedNoise
from traceanalyze.signal.smoothing import Series, Smoothed, foretold, smooth
from traceanalyze.signal.timebase import nominal_period_s
from traceanalyze.trace import FloatArray, Remark

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]

#: Spectral densities of the jerk [m^2/s^5] of steady riding, ordinary driving, and starts. A jerk of 3 m/s^3 that
#: lasts 0.3 s has 3; simulated rides at 1 to 10 Hz with position noise of 0.003 to 0.3 m are read best with 0.3 to 10.
DENSITIES: Final = np.array([0.3, 3.0, 30.0])
#: Seconds around a sample whose positions weigh the smoothers (sd of the window), but no fewer samples than this.
_WEIGH_S: Final = 0.6
_WEIGH_SAMPLES: Final = 1.5
#: Standard deviations of one position that are tried [m]: from a survey receiver to a phone in a pocket.
_SIGMAS_M: Final = np.geomspace(0.002, 4.1, 9)
#: Samples of a piece of ride, and how many pieces, that the noise of positions is found from.
_PIECE: Final = 250
_PIECES: Final = 8
#: Samples at the start of a piece that are foretold from next to nothing.
_LEAD_IN: Final = 5
#: State before the first sample of a run: speed [m/s] and acceleration [m/s^2], standard deviations.
_START_SPEED_MPS: Final = 40.0
_START_ACCELERATION_MPS2: Final = 4.0
#: A pause longer than this [s] (and than three periods) begins a new run. Loggers that save memory write a point only
#: where the ride changes, up to ten seconds apart at a steady speed; the smoother knows how little it knows there.
_LONGEST_PAUSE_S: Final = 20.0
#: A position further off than this many standard deviations is trusted less (Huber).
_ROBUST: Final = 4.0
#: What positions carry of a receiver's own slow errors of speed [m/s] and their time constant [s]: in open recordings
#: of three receivers smoothed positions differ from Doppler speeds by 0.04 to 0.12 m/s.
_CARRIED_MPS: Final = 0.04
_CARRIED_TAU_S: Final = 1.5
#: Rest: slower than this [m/s] for so long [s]; margins left out at both ends [s].
_REST_BELOW_MPS: Final = 0.6
_REST_AT_LEAST_S: Final = 4.0
_REST_MARGIN_S: Final = 1.0
#: Faster than this is motion [m/s].
_MOVING_MPS: Final = 2.0
#: Share of it that is slow: smoothing leaves hardly any white noise.
_SLOW_SHARE: Final = 0.98
#: Lag at which the errors of smoothed speeds have lost 1 - 1/e of their correlation, over the smoother's memory: from
#: the spectrum w^2 / (1 + w^6) of the error, by quadrature.
_DECAY: Final = 1.06
#: No smoother of samples is finer than this share of their period.
_FINEST: Final = 0.2
#: A smoother rings at a corner: up to so many smears before a start the velocity points backwards. It does where a
#: speed this many times as large and above this [m/s] follows the other way; who rolls back into a start is not told
#: from that, and either is taken for rest.
_RINGS: Final = 2.5
_RING_TIMES: Final = 4.0
_RING_MPS: Final = 1.0
#: Overlap of lanes in memories of the smoother, and at most so many samples.
_MEMORIES: Final = 12.0
_MOST_OVERLAP: Final = 400
#: A speed less certain than this [m/s] is none.
_WORTHLESS_MPS: Final = 2.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PositionSpeed:
    """Speed found from positions.

    Attributes
    ----------
    speed_mps : (n,) float
        Speed over ground [m/s]; NaN where no position is near enough to tell.
    stderr_mps : (n,) float
        Its standard uncertainty [m/s]; NaN likewise.
    course_deg : (n,) float
        Direction of motion, clockwise from north [degrees]; NaN where the speed is NaN or lost in its uncertainty.
    noise : SpeedNoise
        What later stages may take it for: nearly all of its noise is slow, since smoothing spreads it.
    position_sigma_m : float
        Standard deviation of one position from its neighbours in one direction [m].
    smear_s : float
        Time over which the smoother smears a corner of the speed [s].
    left_out : (n,) bool
        Positions that jump away and back, or were held while the ride went on.
    shifted : (n,) bool
        Where all positions from here on have jumped.
    remarks : tuple of Remark
    """

    speed_mps: FloatArray
    stderr_mps: FloatArray
    course_deg: FloatArray
    noise: SpeedNoise
    position_sigma_m: float
    smear_s: float
    left_out: BoolArray
    shifted: BoolArray
    remarks: tuple[Remark, ...]


def speed_from_positions(
    t_s: FloatArray, lat_deg: FloatArray, lon_deg: FloatArray, stretch: NDArray[Any]
) -> PositionSpeed:
    """Return the speed at each point of a log that states positions only.

    Parameters
    ----------
    t_s, lat_deg, lon_deg : (n,) float
        Increasing times [s] and positions [degrees], NaN where missing.
    stretch : (n,) int
        Points of different stretches are never compared.

    Raises
    ------
    SignalError
        If shapes differ, or fewer than four points have a position.
    """
    if not t_s.shape == lat_deg.shape == lon_deg.shape == np.shape(stretch):
        raise SignalError("times, positions and stretch numbers differ in length")
    rows = np.flatnonzero(np.isfinite(lat_deg) & np.isfinite(lon_deg))
    if rows.size < 4:
        raise SignalError(f"only {rows.size} points have a position", advice="record speed or positions at every point")
    t, part = t_s[rows], np.asarray(stretch)[rows]
    period_s = _period_s(t, part)
    step_s = np.diff(t, prepend=t[0])
    fresh = (np.diff(part, prepend=part[0] - 1) != 0) | (step_s > max(_LONGEST_PAUSE_S, 3 * period_s))
    plane = np.column_stack(local_east_north_m(lat_deg[rows], lon_deg[rows]))
    seen = screen(step_s, plane, fresh)
    series = _series(step_s, seen, fresh)
    sigma_m = _position_sigma_m(series, period_s)
    velocity, smoothing2 = _by_bank(_with_sigma(series, sigma_m), sigma_m, period_s)
    memory_s = _memory_s(sigma_m, period_s, DENSITIES[1])
    smear_s = float(np.hypot(memory_s, _FINEST * period_s))
    velocity = np.where(_ringing(t, velocity, _RINGS * smear_s, period_s)[:, None], 0.0, velocity)
    speed_mps = np.hypot(*velocity.T)
    squares, rest_s = _rest(t, speed_mps, fresh)
    resting2 = float(squares.mean()) / 2 if squares.size else 0.0
    carried2 = max(_CARRIED_MPS**2, resting2 - median(smoothing2))
    noise = _speed_noise(speed_mps, smoothing2, carried2, (squares, rest_s), memory_s)
    noise = replace(noise, period_s=period_s)
    stderr_mps = np.sqrt(smoothing2 + carried2)
    course_deg = np.degrees(np.arctan2(velocity[:, 0], velocity[:, 1])) % 360
    known = stderr_mps < _WORTHLESS_MPS
    certain = known & (speed_mps > 2 * stderr_mps)
    return PositionSpeed(
        speed_mps=_spread(t_s.size, rows[known], speed_mps[known]),
        stderr_mps=_spread(t_s.size, rows[known], stderr_mps[known]),
        course_deg=_spread(t_s.size, rows[certain], course_deg[certain]),
        noise=noise,
        position_sigma_m=sigma_m,
        smear_s=smear_s,
        left_out=_marks(t_s.size, rows[seen.left_out]),
        shifted=_marks(t_s.size, rows[seen.jump_m2 > 0]),
        remarks=_remarks(noise, sigma_m, seen, t),
    )


def _spread(size: int, rows: IntArray, values: FloatArray) -> FloatArray:
    column = np.full(size, np.nan)
    column[rows] = values
    return column


def _marks(size: int, rows: IntArray) -> BoolArray:
    marks = np.zeros(size, bool)
    marks[rows] = True
    return marks


def _period_s(t: FloatArray, part: NDArray[Any]) -> float:
    period_s = nominal_period_s(t, part)
    return period_s if np.isfinite(period_s) else 1.0


def _series(step_s: FloatArray, seen: Screened, fresh: BoolArray) -> Series:
    """The positions as a chain of order three, in units of their own variance: 1 for each."""
    return Series(
        step_s=np.where(fresh, 0.0, step_s),
        measured=seen.plane_m,
        variance=np.where(seen.left_out, np.inf, 1.0),
        fresh=fresh,
        jump=seen.jump_m2,
        start=seen.plane_m,
        start_variance=np.array([1.0, 1e6, 1e4]),
    )


def _with_sigma(series: Series, sigma_m: float) -> Series:
    """The same in metres."""
    return replace(
        series,
        variance=series.variance * sigma_m**2,
        start_variance=np.array([sigma_m, _START_SPEED_MPS, _START_ACCELERATION_MPS2]) ** 2,
    )


def _position_sigma_m(series: Series, period_s: float) -> float:
    """Return the noise of one position [m] that makes the ride likeliest, whichever density fits each second best.

    Variances and densities times s give the same foresight, with its variance times s: one pass tries all.
    """
    densities = (DENSITIES / _SIGMAS_M[:, None] ** 2).ravel()
    scaled = replace(series, jump=np.where(series.jump > 0, 1e6, 0.0))
    square, variance = foretold(scaled, densities, _moving_pieces(series))
    square, variance = square[:, _LEAD_IN:], variance[:, _LEAD_IN:]
    scale = np.repeat(_SIGMAS_M**2, DENSITIES.size)[:, None, None]
    used = np.isfinite(variance)
    off = np.sqrt(square / variance / scale)
    surprise = np.log(np.where(used, variance * scale, 1.0)) + np.where(off < _ROBUST, off**2 / 2, _huber_tail(off))
    block = max(3, round(2 * _WEIGH_S / period_s))
    blocks = np.add.reduceat(-surprise, np.arange(0, surprise.shape[1], block), axis=1)
    blocks = blocks.reshape(_SIGMAS_M.size, DENSITIES.size, -1)
    best = blocks.max(axis=1)
    evidence = (best + np.log(np.exp(blocks - best[:, None]).mean(axis=1))).sum(axis=1)
    return float(np.exp(_peak(np.log(_SIGMAS_M), evidence)))


def _huber_tail(off: FloatArray) -> FloatArray:
    """Huber's loss of standardised residuals beyond his bound: a straight line on from the parabola."""
    return _ROBUST * (off - _ROBUST / 2)


def _peak(x: FloatArray, y: FloatArray) -> float:
    """Place of the largest of evenly spaced values, between them by a parabola."""
    k = int(np.argmax(y))
    if not 0 < k < y.size - 1:
        return float(x[k])
    left, top, right = y[k - 1 : k + 2]
    return float(x[k] + 0.5 * (x[1] - x[0]) * (left - right) / (left - 2 * top + right))


def _moving_pieces(series: Series) -> IntArray:
    """Return the samples (time, piece) of the pieces of the log that move most."""
    n = series.step_s.size
    length = min(_PIECE, n)
    way_m = np.hypot(*np.diff(series.measured, axis=0, prepend=series.measured[:1]).T)
    moving = (way_m > _MOVING_MPS * series.step_s) & ~series.fresh
    begin = np.arange(0, n - length + 1, length)
    share = np.add.reduceat(moving[: begin.size * length], begin)
    most = np.sort(np.argsort(-share, kind="stable")[:_PIECES])
    return np.asarray(begin[most] + np.arange(length)[:, None])


def _by_bank(series: Series, sigma_m: float, period_s: float) -> tuple[FloatArray, FloatArray]:
    """Return velocity (n, 2) [m/s] and its variance (n,) in each direction, by all densities together."""
    memory_s = _memory_s(sigma_m, period_s, DENSITIES[0])
    overlap = min(max(20, round(_MEMORIES * memory_s / period_s)), _MOST_OVERLAP)
    found = smooth(series, DENSITIES, overlap, _ROBUST)
    weight = _weights(found, period_s)[..., None]
    velocity = (weight * found.rate).sum(axis=0)
    apart = ((found.rate - velocity) ** 2).mean(axis=2)
    return velocity, (weight[..., 0] * (found.rate_variance + apart)).sum(axis=0)


def _ringing(t: FloatArray, velocity: FloatArray, reach_s: float, period_s: float) -> BoolArray:
    """Mark velocities (n, 2) that are no motion but the smoother's answer to a start soon after."""
    speed_mps, rings = np.hypot(*velocity.T), np.zeros(t.size, bool)
    for lead in range(1, min(int(np.ceil(reach_s / period_s)), t.size - 1) + 1):
        against = (velocity[:-lead] * velocity[lead:]).sum(axis=1) < 0
        faster = speed_mps[lead:] > np.maximum(_RING_TIMES * speed_mps[:-lead], _RING_MPS)
        soon = t[lead:] - t[:-lead] < reach_s + period_s
        rings[:-lead] |= against & faster & soon
    return rings


def _memory_s(sigma_m: float, period_s: float, density: float) -> float:
    """Time constant [s] of the smoother of positions driven by white jerk: (sigma^2 period / density)^(1/6)."""
    return float((sigma_m**2 * period_s / density) ** (1 / 6))


def _weights(found: Smoothed, period_s: float) -> FloatArray:
    """Weight (k, n) of each density by its likelihood in a Gaussian window around each sample."""
    sd = max(_WEIGH_S / period_s, _WEIGH_SAMPLES)
    reach = min(int(3 * sd), (found.log_density.shape[1] - 1) // 2)
    window = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sd) ** 2)
    around = np.array([np.convolve(row, window, "same") for row in found.log_density])
    weight = np.exp(around - around.max(axis=0))
    return np.asarray(weight / weight.sum(axis=0))


def _rest(t: FloatArray, speed_mps: FloatArray, fresh: BoolArray) -> tuple[FloatArray, float]:
    """Return the squared speeds of the log's rests, their ends left out, and how long they last [s]."""
    slow = speed_mps < _REST_BELOW_MPS
    edges = np.flatnonzero((np.diff(slow, prepend=~slow[:1]) != 0) | fresh)
    squares, seconds = [np.empty(0)], 0.0
    for begin, end in zip(edges.tolist(), [*edges.tolist()[1:], slow.size], strict=True):
        if slow[begin] and t[end - 1] - t[begin] >= _REST_AT_LEAST_S:
            here = t[begin:end]
            inner = (here >= here[0] + _REST_MARGIN_S) & (here <= here[-1] - _REST_MARGIN_S)
            squares.append(speed_mps[begin:end][inner] ** 2)
            seconds += float(here[-1] - here[0]) - 2 * _REST_MARGIN_S
    return np.concatenate(squares), seconds


def _speed_noise(
    speed_mps: FloatArray, smoothing2: FloatArray, carried2: float, rest: tuple[FloatArray, float], memory_s: float
) -> SpeedNoise:
    """Sum up the noise of smoothed speeds; `smoothing2` and `carried2` are its variances by cause."""
    known = smoothing2 < _WORTHLESS_MPS**2
    moving = known & (speed_mps > _MOVING_MPS)
    usual2 = median(smoothing2[moving if moving.any() else known]) if known.any() else _WORTHLESS_MPS**2
    sigma_mps = float(np.sqrt(usual2 + carried2))
    squares, rest_s = rest
    return SpeedNoise(
        sigma_mps=sigma_mps,
        slow_mps=_SLOW_SHARE * sigma_mps,
        slow_tau_s=(usual2 * _DECAY * memory_s + carried2 * _CARRIED_TAU_S) / (usual2 + carried2),
        resolution_mps=0.0,
        hold_mps=0.0,
        rest_s=rest_s,
        period_s=float("nan"),
        rest_sigma_mps=float(np.sqrt(squares.mean() / 2)) if squares.size else sigma_mps,
    )


def _remarks(noise: SpeedNoise, sigma_m: float, seen: Screened, t: FloatArray) -> tuple[Remark, ...]:
    found = [
        Remark(
            "speed-from-positions",
            f"the log states no speed: it is found from positions (each good to {sigma_m:.2g} m), to about "
            f"{noise.sigma_mps:.2g} m/s",
        )
    ]
    for code, mask, words in (
        ("position-jump", seen.left_out, "left out {} positions that jump or were held, the first at {:.1f} s"),
        (
            "position-shift",
            seen.jump_m2 > 0,
            "positions shift by a step {} times, the first at {:.1f} s: no speed",
        ),
    ):
        if mask.any():
            found.append(Remark(code, words.format(int(mask.sum()), t[np.argmax(mask)])))
    return tuple(found)
