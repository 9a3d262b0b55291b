"""Rides and receivers of many kinds with exactly known truth, for scoring estimators: made apart from the package.

A ride is integrated at 1 kHz from an acceleration law (thrust, power and drag limits, clutch or belt take-up of
several shapes, wheelspin, gear changes, an unsteady hand, a shuffle before the start), many rides at once. A
receiver is a separate step: low-pass, a two-dimensional noise vector (white and Gauss-Markov) whose length
is reported, rounding.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

STEP_S = 0.001
LEAD_S = 12.0  #: time before the onset in the fine arrays
RIDE_S = 26.0  #: time after it
ROLLOUT_M = 0.3048
THRESHOLD_MPS = 1 / 3.6
TARGET_MPS = 13.4112
ROUNDINGS = (0.001 * 1852 / 3600, 0.01 * 1852 / 3600, 0.1 * 1852 / 3600, 0.1 / 3.6, 0.01 / 3.6)


@dataclass(frozen=True)
class Ride:
    """One ride: fine truth from -LEAD_S to RIDE_S around the onset at 0, and the moments that count."""

    kind: str
    fine_t_s: Floats
    fine_v_mps: Floats
    rollout_s: float
    threshold_s: float
    target_s: float
    target_m: float


@dataclass(frozen=True)
class Log:
    """What a receiver wrote of a ride: samples, and when the onset was on its clock (its delay included)."""

    t_s: Floats
    speed_mps: Floats
    onset_s: float


KINDS = ("thrust", "power", "belt", "clutch", "spin", "gears", "judder", "unsteady")


def make_rides(count: int, seed: int, creep_share: float = 0.0) -> list[Ride]:
    """Return `count` rides of all kinds in turn."""
    rng = np.random.default_rng(seed)
    kinds = np.array([KINDS[i % len(KINDS)] for i in range(count)])
    v, x, t = _integrate(rng, kinds)
    rides = []
    lead = np.arange(-LEAD_S, 0, STEP_S)
    for i in range(count):
        before = _before(rng, lead, bool(rng.random() < creep_share))
        roll = _first(t, x[:, i], ROLLOUT_M)
        thr = _first(t, v[:, i], THRESHOLD_MPS)
        tgt = _first(t, v[:, i], TARGET_MPS)
        rides.append(
            Ride(
                str(kinds[i]),
                np.concatenate((lead, t)),
                np.concatenate((before, v[:, i])),
                roll,
                thr,
                tgt,
                float(np.interp(tgt, t, x[:, i])),
            )
        )
    return rides


def _first(t: Floats, y: Floats, level: float) -> float:
    over = np.flatnonzero(y >= level)
    if not over.size:
        return float("nan")
    k = max(int(over[0]), 1)
    return float(t[k - 1] + STEP_S * (level - y[k - 1]) / (y[k] - y[k - 1]))


def _before(rng: np.random.Generator, lead: Floats, creeps: bool) -> Floats:
    """Speed before the onset: mostly rest, in a third of the rides a shuffle of some centimetres."""
    v = np.zeros(lead.size)
    if creeps:
        return np.maximum(v, rng.uniform(0.1, 0.4) * (lead > -rng.uniform(1.0, 4.0)))
    if rng.random() < 0.35:
        at, width, top = -rng.uniform(1.6, 8.0), rng.uniform(0.3, 0.9), rng.uniform(0.1, 0.7)
        bump = np.clip((lead - at + width) / width, 0, 2)
        v += top * np.sin(np.pi * bump / 2) ** 2
    return v


def _ramp(u: Floats, tau: Floats, shape: NDArray[np.int64]) -> Floats:
    """Take-up of the drive from 0 to 1, `u` after the onset."""
    z = np.clip(u / tau, 0, 1)
    forms = np.stack(
        (
            z,
            z * z * (3 - 2 * z),
            1 - np.exp(-2.5 * np.maximum(u, 0) / tau),
            z**1.6,
            0.45 * np.clip(u / (0.3 * tau), 0, 1) + 0.55 * z**2,
            np.sqrt(z),
        )
    )
    return np.take_along_axis(forms, shape[None, :], 0)[0]


def _integrate(rng: np.random.Generator, kinds: NDArray[np.str_]) -> tuple[Floats, Floats, Floats]:
    n = kinds.size
    steps = round(RIDE_S / STEP_S)
    t = np.arange(steps + 1) * STEP_S
    is_kind = {kind: kinds == kind for kind in KINDS}
    a0 = np.exp(rng.uniform(np.log(1.8), np.log(6.0), n))
    tau = np.exp(rng.uniform(np.log(0.04), np.log(0.5), n))
    tau = np.where(is_kind["clutch"], rng.uniform(0.25, 0.9, n), tau)
    shape = rng.integers(0, 6, n)
    top = TARGET_MPS * rng.uniform(1.4, 3.0, n)  # drag-limited speed
    corner = np.where(is_kind["power"] | is_kind["gears"], rng.uniform(5, 12, n), np.inf)  # thrust to power
    peak = np.minimum(TARGET_MPS * rng.uniform(1.03, 1.5, n), 0.93 * top)
    peak = np.maximum(peak, TARGET_MPS * 1.05)
    spin_end = rng.uniform(0.3, 1.2, n)
    spin = np.where(is_kind["spin"], rng.uniform(0.15, 0.5, n), 0.0)
    shift_v = np.where(is_kind["gears"], rng.uniform(5, 12, n), np.inf)
    shift_s = rng.uniform(0.12, 0.35, n)
    belt_v = rng.uniform(2, 6, n)
    judder_hz, judder = rng.uniform(3, 7, n), np.where(is_kind["judder"], rng.uniform(0.1, 0.35, n), 0.0)
    hand = np.where(is_kind["unsteady"], rng.uniform(0.05, 0.15, n), 0.02)
    v, x = np.zeros((steps + 1, n)), np.zeros((steps + 1, n))
    wobble = np.zeros(n)
    shifting = np.full(n, np.inf)
    closed = np.full(n, np.inf)
    brake = rng.uniform(0.8, 4.0, n)
    slope = a0 * 0.95
    for k in range(steps):
        now, speed = t[k], v[k]
        wobble += -wobble * STEP_S / 0.5 + hand * np.sqrt(2 * STEP_S / 0.5) * rng.normal(size=n)
        a = a0 * _ramp(np.full(n, now), tau, shape) * np.minimum(1.0, corner / np.maximum(speed, 0.1))
        a *= 1 - (speed / top) ** 2
        a = np.where(is_kind["belt"], a * (0.6 + 0.4 * np.minimum(1, (speed / belt_v) ** 2)), a)
        a *= 1 - spin / (1 + np.exp(np.minimum((now - spin_end) / 0.03, 50.0)))
        a *= 1 + judder * np.sin(2 * np.pi * judder_hz * now) * np.exp(-now / 0.6)
        a *= 1 + wobble
        shifting = np.where((speed >= shift_v) & np.isinf(shifting), now, shifting)
        in_shift = np.clip((now - shifting) / 0.03, 0, 1) * np.clip((shifting + shift_s - now) / 0.03, 0, 1)
        a = a * (1 - in_shift) - 0.4 * in_shift
        a = np.where(now > shifting + shift_s, 0.8 * a, a)
        a = np.maximum(a, np.where(np.isinf(shifting), 0.05 * a0 * (now > 0.5 * tau), -1.0))
        closed = np.where((speed >= peak) & np.isinf(closed), now, closed)
        gone = np.clip((now - closed) / 0.15, 0, 1)
        a = a * (1 - gone) - np.minimum(brake, slope * 2) * gone
        v[k + 1] = np.maximum(speed + a * STEP_S, 0)
        x[k + 1] = x[k] + (speed + v[k + 1]) / 2 * STEP_S
    return v, x, t


def record(
    ride: Ride,
    rng: np.random.Generator,
    rate_hz: float,
    sigma_mps: float,
    *,
    low_pass_share: float = 0.3,
    lagging_share: float = 0.0,
    hold_mps: float = 0.0,
    rounding_mps: float | None = None,
) -> Log:
    """Return what a receiver of this rate and noise writes of a ride."""
    period_s = 1 / rate_hz
    lead_s = rng.uniform(8, 30)
    t = np.arange(0, lead_s + min(ride.target_s + 6, RIDE_S - 1), period_s) + rng.uniform(0, period_s)
    fine = ride.fine_v_mps
    if rng.random() < low_pass_share:
        smear = _low_pass if rng.random() < lagging_share else _flat_low_pass
        fine = smear(fine, rng.uniform(1.0, 4.0))
    v = np.interp(t - lead_s, ride.fine_t_s, fine, left=0.0)
    share, tau_s = rng.uniform(0.3, 0.7), rng.uniform(0.5, 3.0)
    along, across = (_noise(rng, t.size, period_s, sigma_mps, share, tau_s) for _ in range(2))
    seen = np.hypot(v + along, across)
    if hold_mps:
        seen = np.where(seen < hold_mps, 0.0, seen)
    q = ROUNDINGS[rng.integers(0, len(ROUNDINGS))] if rounding_mps is None else rounding_mps
    seen = np.round(seen / q) * q if q else seen
    return Log(np.round(t, 6), seen, lead_s)


def _flat_low_pass(v: Floats, cut_hz: float) -> Floats:
    """Second-order Butterworth low-pass (bilinear transform): its lag is the same at all low frequencies."""
    w = np.tan(np.pi * cut_hz * STEP_S)
    scale = 1 + np.sqrt(2) * w + w * w
    gain, back1, back2 = w * w / scale, 2 * (w * w - 1) / scale, (1 - np.sqrt(2) * w + w * w) / scale
    drive = gain * (v + 2 * np.concatenate(([v[0]], v[:-1])) + np.concatenate(([v[0], v[0]], v[:-2])))
    out, last, before = np.empty_like(v), v[0], v[0]
    for k, value in enumerate(drive.tolist()):
        last, before = value - back1 * last - back2 * before, last
        out[k] = last
    return out


def _low_pass(v: Floats, cut_hz: float) -> Floats:
    """Low-pass of first order, lagging."""
    keep = np.exp(-2 * np.pi * cut_hz * STEP_S)
    out, last = np.empty_like(v), 0.0
    for k, value in enumerate(v.tolist()):
        last = keep * last + (1 - keep) * value
        out[k] = last
    return out


def _noise(rng: np.random.Generator, n: int, period_s: float, sigma: float, share: float, tau_s: float) -> Floats:
    rho = np.exp(-period_s / tau_s)
    kicks = rng.normal(size=n) * sigma * np.sqrt(share * (1 - rho**2))
    slow, last = np.empty(n), rng.normal() * sigma * np.sqrt(share)
    for k, kick in enumerate(kicks.tolist()):
        last = rho * last + kick
        slow[k] = last
    return slow + rng.normal(size=n) * sigma * np.sqrt(1 - share)
