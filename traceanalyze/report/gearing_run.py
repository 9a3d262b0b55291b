"""Words and options of `gearing` -> a drive train, perhaps a changed one, and what the measured runs say of both."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from traceanalyze.errors import UsageError
from traceanalyze.results import Launch, Pass
from traceanalyze.session import Asked, measure_file
from traceanalyze.setups import is_sheet, refusals, runs_of_files, runs_of_sheet
from traceanalyze.sheet import DaySheet, Setup, read_sheet
from traceanalyze.trace import Remark
from traceanalyze.vehicle.air import air_density_kgm3
from traceanalyze.vehicle.gearing import DriveTrain, Teeth, with_teeth
from traceanalyze.vehicle.prediction import Prediction, predict_time, predict_top_speed
from traceanalyze.vehicle.roadload import RoadLoad
from traceanalyze.vehicle.thrust import Machine
from traceanalyze.vehicle.tops import mean_top

NAN = float("nan")


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """What the options state; NaN or empty where they are silent (a day sheet may then speak).

    Attributes
    ----------
    teeth, new_teeth : Teeth
    tyre_circumference_m, max_engine_rpm, engagement_rpm : float
    mass_kg, crr, cda_m2, air_density_kgm3, engine_inertia_kgm2 : float
    setup : str or None
        Which setup of a day sheet; the first when None.
    """

    teeth: Teeth = ()
    new_teeth: Teeth = ()
    tyre_circumference_m: float = NAN
    max_engine_rpm: float = NAN
    engagement_rpm: float = NAN
    mass_kg: float = NAN
    crr: float = NAN
    cda_m2: float = NAN
    air_density_kgm3: float = NAN
    engine_inertia_kgm2: float = NAN
    setup: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Gearing:
    """What there is to show.

    Attributes
    ----------
    train : DriveTrain
    changed : DriveTrain or None
    machine : Machine or None
        What the predictions were calculated with.
    predictions : tuple of Prediction
    launches, passes : int
        Runs they rest on.
    remarks : tuple of Remark
    refused : tuple of str
        One line for each log that could not be read.
    """

    train: DriveTrain
    changed: DriveTrain | None = None
    machine: Machine | None = None
    predictions: tuple[Prediction, ...] = ()
    launches: int = 0
    passes: int = 0
    remarks: tuple[Remark, ...] = ()
    refused: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Runs:
    launches: tuple[Launch, ...] = ()
    passes: tuple[Pass, ...] = ()
    refused: tuple[str, ...] = ()


def study_gearing(words: Sequence[str], given: Given, asked: Asked) -> Gearing:
    """Return the drive train and, with logs and other teeth, what the change would do.

    Parameters
    ----------
    words : sequence of str
        Logs, or one day sheet; none for the table alone.

    Raises
    ------
    UsageError, SheetError
        If the drive train or the mass is not stated, or a sheet is wrong.
    """
    sheet = read_sheet(words[0]) if is_sheet(words) else None
    setup = _setup(sheet, given.setup) if sheet else None
    train = _train(given, setup)
    if not given.new_teeth:
        if words and sheet is None:
            raise UsageError("logs but no other sprocket", advice="add --new-teeth, such as --new-teeth 15/44")
        return Gearing(train=train)
    changed = with_teeth(train, given.new_teeth)
    if not words:
        return Gearing(train=train, changed=changed)
    machine = _machine(given, setup, train)
    runs = _sheet_runs(sheet, setup, asked) if sheet and setup else _log_runs(words, asked)
    return _predicted(train, changed, machine, runs, asked)


def _setup(sheet: DaySheet, name: str | None) -> Setup:
    for setup in sheet.setups:
        if name is None or setup.name == name:
            return setup
    if name is None:
        return Setup(name="", vehicle=sheet.vehicle, conditions=sheet.day.conditions)
    known = ", ".join(setup.name for setup in sheet.setups)
    raise UsageError(f"no setup is called {name!r}", advice=f"there are: {known}")


def _train(given: Given, setup: Setup | None) -> DriveTrain:
    stated = setup.vehicle if setup else None
    teeth = given.teeth or (stated.teeth if stated else ())
    tyre_m = _first(given.tyre_circumference_m, stated.tyre_circumference_m if stated else NAN)
    if not teeth or math.isnan(tyre_m):
        missing = "the teeth" if not teeth else "the tyre's circumference"
        raise UsageError(
            f"{missing} of the drive train must be known",
            advice="state --teeth 15/41 and --tyre 1.32, or a day sheet with teeth and tyre_circumference_m",
        )
    return DriveTrain(
        teeth=teeth,
        tyre_circumference_m=tyre_m,
        max_engine_rpm=_first(given.max_engine_rpm, stated.max_engine_rpm if stated else NAN),
        engagement_rpm=_first(given.engagement_rpm, stated.engagement_rpm if stated else NAN),
    )


def _first(*values: float) -> float:
    return next((value for value in values if not math.isnan(value)), NAN)


def _machine(given: Given, setup: Setup | None, train: DriveTrain) -> Machine:
    mass_kg = _first(given.mass_kg, setup.vehicle.mass_kg if setup else NAN)
    if math.isnan(mass_kg):
        raise UsageError(
            "the mass with rider must be known to predict", advice="state --mass 142, or mass_kg in the day sheet"
        )
    usual = RoadLoad(mass_kg=mass_kg)
    load = RoadLoad(
        mass_kg=mass_kg,
        crr=_first(given.crr, usual.crr),
        cda_m2=_first(given.cda_m2, usual.cda_m2),
        air_density_kgm3=_first(given.air_density_kgm3, _density(setup), usual.air_density_kgm3),
        crr_stderr=usual.crr_stderr if math.isnan(given.crr) else 0.1 * given.crr,
        cda_stderr_m2=usual.cda_stderr_m2 if math.isnan(given.cda_m2) else 0.05 * given.cda_m2,
    )
    return Machine(load=load, train=train, engine_inertia_kgm2=_first(given.engine_inertia_kgm2, 0.0))


def _density(setup: Setup | None) -> float:
    """Air density of the day, when temperature and pressure are written down; half-moist air when humidity is not."""
    if setup is None:
        return NAN
    air = setup.conditions
    if math.isnan(air.air_temperature_c) or math.isnan(air.pressure_hpa):
        return NAN
    return air_density_kgm3(air.air_temperature_c, 100 * air.pressure_hpa, _first(air.humidity_pct, 50.0) / 100)


def _log_runs(words: Sequence[str], asked: Asked) -> _Runs:
    (all_of_it,) = runs_of_files({"": list(words)}, lambda file: measure_file(file, asked))
    return _Runs(launches=all_of_it.launches, passes=all_of_it.passes, refused=tuple(refusals([all_of_it])))


def _sheet_runs(sheet: DaySheet, setup: Setup, asked: Asked) -> _Runs:
    files = setup.files or sheet.files
    (own,) = (
        runs
        for runs in runs_of_sheet(sheet, {file: measure_file(file, asked) for file in files})
        if runs.name == setup.name
    )
    return _Runs(launches=own.launches, passes=own.passes, refused=tuple(refusals([own])))


def _predicted(train: DriveTrain, changed: DriveTrain, machine: Machine, runs: _Runs, asked: Asked) -> Gearing:
    curves = [launch.curve for launch in runs.launches if launch.curve is not None]
    if not curves:
        nothing = Remark("no-launch", "no launch in the logs: nothing can be predicted")
        return Gearing(train=train, changed=changed, machine=machine, remarks=(nothing,), refused=runs.refused)
    times = [
        predict_time(curves, machine, changed, measure, asked.start_rule)
        for measure in asked.measures
        if measure.kind in ("standing", "rolling", "distance")
    ]
    top, remarks = mean_top(runs.passes)
    if math.isfinite(top.value):
        times.append(predict_top_speed(curves, top, machine, changed, len(runs.passes)))
    return Gearing(
        train=train,
        changed=changed,
        machine=machine,
        predictions=tuple(times),
        launches=len(curves),
        passes=len(runs.passes),
        remarks=remarks,
        refused=runs.refused,
    )
