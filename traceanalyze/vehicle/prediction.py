"""What another sprocket would do to times and top speed, from measured runs; with the uncertainty of the runs.

The difference is calculated launch by launch, so the scatter of the rider is in it; mass and resistance are varied by
their own uncertainties; what the method itself misses is allowed for as a share of the difference.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from traceanalyze.errors import SignalError
from traceanalyze.results import Curve, Estimate
from traceanalyze.trace import FloatArray, Remark
from traceanalyze.units import KMH, MPH, Measure, StartRule
from traceanalyze.vehicle.climbs import elapsed_s
from traceanalyze.vehicle.gearing import DriveTrain
from traceanalyze.vehicle.roadload import resistance_n
from traceanalyze.vehicle.thrust import Machine, Pull, mean_thrust, pull_of, regeared, regeared_thrust

#: Share of a predicted difference that the method itself may miss: on simulated launches it is off by 0.4 % with the
#: engine's inertia known and by 4 % with that of 0.008 kg m^2 left out; heavier flywheels are left out more often.
METHOD_SHARE = 0.10
#: How far a thrust between two measured speeds may bow away from the straight line, as a share of its fall between
#: them: full-throttle torque curves of small engines are convex upwards (common practice, no source).
BOW_SHARE = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction:
    """One measure before and after a change, and what the change makes.

    Attributes
    ----------
    measure : str
    start_rule : str or None
    before, after, difference : Estimate
        [s], or [m/s] for `top speed`; NaN when the runs cannot tell.
    runs : int
        Launches (or passes) it rests on.
    """

    measure: str
    start_rule: str | None
    before: Estimate
    after: Estimate
    difference: Estimate
    runs: int
    remarks: tuple[Remark, ...] = ()


def predict_time(
    curves: Sequence[Curve], machine: Machine, train: DriveTrain, measure: Measure, rule: StartRule = "rollout"
) -> Prediction:
    """Return a launch measure with another drive train.

    Raises
    ------
    SignalError
        If there is no launch with a curve.
    """
    pulls = _pulls(curves, machine)
    before = np.array([elapsed_s(pull.climb, measure, rule) for pull in pulls])
    change = np.array([elapsed_s(regeared(pull, machine, train), measure, rule) for pull in pulls]) - before
    kept = np.isfinite(change)
    name = rule if measure.from_rest else None
    if not kept.any():
        nothing = Estimate(math.nan, math.nan)
        reached = np.isfinite(before)
        shown = _mean(before[reached], 0.0) if reached.any() else nothing
        return Prediction(
            measure=measure.label, start_rule=name, before=shown, after=nothing, difference=nothing,
            runs=int(reached.sum()), remarks=(_untold(bool(reached.any())),),
        )  # fmt: skip
    used = [pull for pull, keep in zip(pulls, kept, strict=True) if keep]
    own = [_own_variance(pull, machine, train, measure, rule) for pull in used]
    base_s = float(change[kept].mean())
    loads = _load_stderr(curves, machine, train, measure, rule, base_s)
    shared = math.hypot(loads, METHOD_SHARE * base_s, math.sqrt(sum(own)) / len(own))
    return Prediction(
        measure=measure.label,
        start_rule=name,
        before=_mean(before[kept], 0.0),
        after=_mean(before[kept] + change[kept], shared),
        difference=_mean(change[kept], shared),
        runs=len(used),
    )


def _pulls(curves: Sequence[Curve], machine: Machine) -> list[Pull]:
    if not curves:
        raise SignalError("no launch to calculate with", advice="give logs with launches from rest")
    return [pull_of(curve, machine) for curve in curves]


def _untold(reached: bool) -> Remark:
    if reached:
        return Remark(
            "engine-faster", "the engine would turn faster, or pull harder against drag, than it was measured"
        )
    return Remark("not-reached", "no launch reached it")


def _mean(values: FloatArray, shared_stderr: float) -> Estimate:
    """Mean of n runs: standard uncertainty sd / sqrt(n) and what all share; interval by Student's t for n > 1."""
    n, mean = values.size, float(values.mean())
    if n < 2:
        return Estimate(mean, shared_stderr if shared_stderr else math.nan)
    from scipy.special import stdtrit  # only where something is predicted

    own = float(values.std(ddof=1)) / math.sqrt(n)
    half = math.hypot(float(stdtrit(n - 1, 0.975)) * own, 1.96 * shared_stderr)
    return Estimate(mean, math.hypot(own, shared_stderr), mean - half, mean + half)


def _own_variance(pull: Pull, machine: Machine, train: DriveTrain, measure: Measure, rule: StartRule) -> float:
    """Variance of one launch's difference by the error of its measured thrust [s^2]: gradient, covariance, gradient."""

    def after_s(thrust_n: FloatArray) -> float:
        return elapsed_s(regeared_thrust(pull.climb, thrust_n, machine, train), measure, rule)

    base = after_s(pull.thrust_n)
    step = 1e-3 * float(np.abs(pull.thrust_n).mean())
    bent = pull.thrust_n + step * np.eye(pull.thrust_n.size)
    gradient = np.nan_to_num((np.array([after_s(row) for row in bent]) - base) / step)
    return float(gradient @ pull.covariance_n2 @ gradient)


def _varied(machine: Machine) -> list[Machine]:
    """The machine with mass, rolling resistance and drag area moved by their standard uncertainties, one at a time."""
    load = machine.load
    moved = [
        replace(load, mass_kg=load.mass_kg + load.mass_stderr_kg),
        replace(load, crr=load.crr + load.crr_stderr),
        replace(load, cda_m2=load.cda_m2 + load.cda_stderr_m2),
    ]
    return [replace(machine, load=one) for one in moved]


def _load_stderr(
    curves: Sequence[Curve], machine: Machine, train: DriveTrain, measure: Measure, rule: StartRule, base_s: float
) -> float:
    """Standard uncertainty of the mean difference by mass and resistance [s]."""

    def change_s(one: Machine) -> float:
        pulls = _pulls(curves, one)
        after = [elapsed_s(regeared(pull, one, train), measure, rule) for pull in pulls]
        before = [elapsed_s(pull.climb, measure, rule) for pull in pulls]
        return float(np.nanmean(np.array(after) - np.array(before)))

    return math.sqrt(sum((change_s(one) - base_s) ** 2 for one in _varied(machine)))


def predict_top_speed(
    curves: Sequence[Curve], top: Estimate, machine: Machine, train: DriveTrain, passes: int = 1
) -> Prediction:
    """Return the top speed with another drive train: where the moved thrust and the resistance balance.

    Parameters
    ----------
    top : Estimate
        Measured top speed [m/s], best the mean of both directions; there thrust and resistance balance.

    Raises
    ------
    SignalError
        If there is no launch with a curve.
    """
    balance = _balance(curves, top.value, machine, train)
    shift = _shift(machine, train)
    nothing = Estimate(math.nan, math.nan)
    if not math.isfinite(balance[0]):
        least = top.value / shift
        shown = f"{least:.1f} m/s ({least / MPH:.0f} mph, {least / KMH:.0f} km/h)"
        text = f"the engine would turn faster than it was measured; not below {shown}"
        return Prediction(
            measure="top speed", start_rule=None, before=top, after=nothing, difference=nothing, runs=passes,
            remarks=(Remark("engine-faster", text),),
        )  # fmt: skip
    difference = balance[0] - top.value
    parts = [balance[1]]
    parts += [_balance(curves, top.value, one, train)[0] - balance[0] for one in _varied(machine)]
    parts += [_balance(curves, top.value + top.stderr, machine, train)[0] - top.stderr - balance[0]]
    stderr = math.sqrt(sum(part**2 for part in parts if math.isfinite(part)))
    return Prediction(
        measure="top speed",
        start_rule=None,
        before=top,
        after=Estimate(balance[0], math.hypot(stderr, top.stderr)),
        difference=Estimate(difference, stderr),
        runs=passes,
    )


def _shift(machine: Machine, train: DriveTrain) -> float:
    """Engine turns a metre, new over old."""
    return train.engine_turns_per_m / machine.train.engine_turns_per_m


def _balance(curves: Sequence[Curve], top_mps: float, machine: Machine, train: DriveTrain) -> tuple[float, float]:
    """Speed where moved thrust and resistance balance [m/s], and its uncertainty by what lies unmeasured below the top.

    Between the end of the launches and the top, thrust is a straight line, known to `BOW_SHARE` of its fall.
    """
    shift = _shift(machine, train)
    speed, thrust = mean_thrust(_pulls(curves, machine))
    below = speed < 0.98 * top_mps
    end_mps, end_n = float(speed[below][-1]), float(thrust[below][-1])
    speed = np.append(speed[below], top_mps)
    thrust = np.append(thrust[below], float(resistance_n(machine.load, top_mps)))
    tried = np.linspace(0.5 * top_mps, top_mps / shift, 2001)
    spare = shift * np.interp(shift * tried, speed, thrust) - resistance_n(machine.load, tried)
    short = np.flatnonzero(spare < -1e-9 * thrust[-1])
    if not short.size or short[0] == 0:
        same = abs(shift - 1) < 1e-9
        return (top_mps, 0.0) if same else (math.nan, math.nan)
    k = int(short[0])
    found = float(np.interp(0.0, [spare[k], spare[k - 1]], [tried[k], tried[k - 1]]))
    slope = float(np.gradient(spare, tried)[k])
    share = min(max((shift * found - end_mps) / (top_mps - end_mps), 0.0), 1.0)
    bow_n = BOW_SHARE * abs(end_n - float(thrust[-1])) * 4 * share * (1 - share)
    return found, abs(shift * bow_n / slope)
