"""Speeds of a vehicle rolling out -> rolling resistance and drag area, each with its uncertainty.

Runs in both directions tell the wind and the slope along the strip from the resistance: with one direction only,
both go into the result unseen, and the result says so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from traceanalyze.errors import SignalError
from traceanalyze.results import Estimate
from traceanalyze.trace import FloatArray, Remark
from traceanalyze.units import GRAVITY_MPS2
from traceanalyze.vehicle.roadload import coast_speed_mps

#: Rounds of Gauss and Newton: the problem is nearly linear, five already settle to rounding.
_ROUNDS = 12
#: Step of the derivatives, as a share of each parameter's natural size.
_STEP = 1e-5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CoastDown:
    """One roll-out: times [s] and speeds [m/s], each (n,); `direction` 1 or -1 along the strip."""

    t_s: FloatArray
    speed_mps: FloatArray
    direction: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class RoadLoadFit:
    """What roll-outs tell.

    Attributes
    ----------
    crr, cda_m2 : Estimate
    correlation : float
        Of the errors of both: strongly negative when the speeds span little.
    constant_n, square_kgpm : Estimate
        Resistance = constant + square * v^2.
    headwind_mps, grade_pct : Estimate
        Along direction 1; NaN from one direction only.
    residual_mps : float
        Standard deviation of what the fit leaves.
    remarks : tuple of Remark
    """

    crr: Estimate
    cda_m2: Estimate
    correlation: float
    constant_n: Estimate
    square_kgpm: Estimate
    headwind_mps: Estimate
    grade_pct: Estimate
    residual_mps: float
    remarks: tuple[Remark, ...] = ()


def fit_coastdowns(
    runs: Sequence[CoastDown],
    *,
    mass_kg: float,
    rotating_share: float = 0.04,
    air_density_kgm3: float = 1.2,
    slow_tau_s: float = 1.0,
) -> RoadLoadFit:
    """Return rolling resistance and drag area by least squares on the closed form of the roll-out.

    The noise is taken from what the fit leaves; it is allowed to be correlated over `slow_tau_s` (a receiver's slow
    error), which widens the uncertainty by the equation of propagation, not by a guess.

    Raises
    ------
    SignalError
        If there is no run, or one with fewer than 8 samples or less than 2 m/s of slowing down.
    """
    _check(runs)
    both = len({run.direction for run in runs}) == 2
    inertia_kg = mass_kg * (1 + rotating_share)
    start = _first_guess(runs, both)
    best, jacobian, residual = _least_squares(runs, start, both)
    spread = _covariance(runs, jacobian, residual, slow_tau_s)
    scale = np.array([inertia_kg, inertia_kg])
    constant, square = best[:2] * scale
    errors = np.sqrt(np.diag(spread))
    to_crr, to_cda = 1 / (mass_kg * GRAVITY_MPS2), 2 / air_density_kgm3
    wind, slope = (Estimate(math.nan, math.nan),) * 2
    if both:
        wind = Estimate(float(best[2]), float(errors[2]))
        per_pct = inertia_kg * to_crr * 100
        slope = Estimate(float(best[3]) * per_pct, float(errors[3]) * per_pct)
    return RoadLoadFit(
        crr=Estimate(float(constant) * to_crr, float(errors[0]) * inertia_kg * to_crr),
        cda_m2=Estimate(float(square) * to_cda, float(errors[1]) * inertia_kg * to_cda),
        correlation=float(spread[0, 1] / (errors[0] * errors[1])) if errors[:2].all() else math.nan,
        constant_n=Estimate(float(constant), float(errors[0]) * inertia_kg),
        square_kgpm=Estimate(float(square), float(errors[1]) * inertia_kg),
        headwind_mps=wind,
        grade_pct=slope,
        residual_mps=float(residual.std()),
        remarks=_remarks(runs, both),
    )


def _check(runs: Sequence[CoastDown]) -> None:
    if not runs:
        raise SignalError(
            "no roll-out to fit", advice="let the vehicle roll with the drive cut for ten seconds or more"
        )
    for run in runs:
        if run.t_s.size < 8 or not np.isfinite(run.speed_mps).all() or np.ptp(run.speed_mps) < 2:
            raise SignalError(
                "a roll-out too short to tell the resistance",
                advice="let the speed fall by 5 m/s or more, with 8 samples or more and no gap",
            )


def _first_guess(runs: Sequence[CoastDown], both: bool) -> FloatArray:
    """Constant and square part per mass by a straight line of deceleration over v^2; then wind, slope, first speeds."""
    slow, squares = [], []
    for run in runs:
        t, v = run.t_s - run.t_s[0], run.speed_mps
        line = np.polynomial.polynomial.polyfit(t, v, 2)
        slow.append(-(line[1] + 2 * line[2] * t))
        squares.append(v * v)
    a, c = np.polynomial.polynomial.polyfit(np.concatenate(squares), np.concatenate(slow), 1)
    firsts = [float(run.speed_mps[0]) for run in runs]
    return np.array([max(a, 0.02), max(c, 1e-5), *([0.0, 0.0] if both else []), *firsts])


def _speeds(runs: Sequence[CoastDown], parameters: FloatArray, both: bool) -> FloatArray:
    """Speeds of the model at every sample: `du/dt = -(a + d s + c u^2)` for the air speed u = v + d w."""
    a, c = parameters[:2]
    wind, slope = parameters[2:4] if both else (0.0, 0.0)
    firsts = parameters[4:] if both else parameters[2:]
    return np.concatenate(
        [
            coast_speed_mps(run.t_s - run.t_s[0], first + run.direction * wind, a + run.direction * slope, c)
            - run.direction * wind
            for run, first in zip(runs, firsts, strict=True)
        ]
    )


def _least_squares(
    runs: Sequence[CoastDown], parameters: FloatArray, both: bool
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Gauss and Newton with halved steps where a full one is worse; returns parameters, Jacobian and residuals."""
    measured = np.concatenate([run.speed_mps for run in runs])
    residual = measured - _speeds(runs, parameters, both)
    jacobian = _jacobian(runs, parameters, both)
    for _ in range(_ROUNDS):
        move = np.linalg.lstsq(jacobian, residual, rcond=None)[0]
        for halving in range(8):
            tried = parameters + move / 2**halving
            left = measured - _speeds(runs, tried, both)
            if left @ left <= residual @ residual * (1 + 1e-12):
                parameters, residual = tried, left
                break
        jacobian = _jacobian(runs, parameters, both)
    return parameters, jacobian, residual


def _jacobian(runs: Sequence[CoastDown], parameters: FloatArray, both: bool) -> FloatArray:
    sizes = np.concatenate([[0.2, 2e-3], [1.0, 0.05] if both else [], np.full(len(runs), 10.0)]) * _STEP
    columns = []
    for k, size in enumerate(sizes):
        shift = np.zeros_like(parameters)
        shift[k] = size
        ahead, behind = (_speeds(runs, parameters + sign * shift, both) for sign in (1, -1))
        columns.append((ahead - behind) / (2 * size))
    return np.stack(columns, axis=1)


def _covariance(runs: Sequence[CoastDown], jacobian: FloatArray, residual: FloatArray, tau_s: float) -> FloatArray:
    """(J'J)^-1 J' S J (J'J)^-1 with the noise S of each run: half white, half correlated over `tau_s`."""
    inverse = np.linalg.inv(jacobian.T @ jacobian)
    variance = float(residual @ residual) / max(residual.size - jacobian.shape[1], 1)
    middle, at = np.zeros_like(inverse), 0
    for run in runs:
        part = jacobian[at : at + run.t_s.size]
        lag = np.abs(run.t_s[:, None] - run.t_s[None, :])
        noise = 0.5 * variance * (np.exp(-lag / tau_s) + np.eye(run.t_s.size))
        middle += part.T @ noise @ part
        at += run.t_s.size
    return np.asarray(inverse @ middle @ inverse)


def _remarks(runs: Sequence[CoastDown], both: bool) -> tuple[Remark, ...]:
    remarks = []
    if not both:
        text = "rolled out in one direction only: wind and slope are part of the result"
        remarks.append(Remark("one-direction", text))
    span = max(float(run.speed_mps.max()) for run in runs) / min(float(run.speed_mps.min()) for run in runs)
    if span < 1.5:
        text = "the speeds span too little to tell rolling resistance from drag: roll out from faster to slower"
        remarks.append(Remark("narrow-span", text))
    return tuple(remarks)
