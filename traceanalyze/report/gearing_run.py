"""Words and options of `gearing` -> a drive train, perhaps a changed one, and what the measured runs say of both."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from traceanalyze.errors import UsageError
from traceanalyze.report.coasting import RolledOut, roll_outs
from traceanalyze.report.machine import air_density_of, sheet_of
from traceanalyze.results import Estimate, Launch, Pass
from traceanalyze.session import Asked, measure_file
from traceanalyze.setups import refusals, runs_of_files, runs_of_sheet
from traceanalyze.sheet import DaySheet, Setup
from traceanalyze.trace import Remark
from traceanalyze.vehicle.gearing import DriveTrain, Teeth, with_teeth
from traceanalyze.vehicle.prediction import Prediction, predict_time, predict_top_speed
from traceanalyze.vehicle.roadload import RoadLoad
from traceanalyze.vehicle.thrust import Machine
from traceanalyze.vehicle.tops import mean_top

NAN = float("nan")
#: Density of the air when nothing is known of it [kg/m^3]: 20 degrees C at sea level.
USUAL_AIR_KGM3 = 1.2


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
    coastdowns : tuple of str
        Logs in which the vehicle rolls out: they tell rolling resistance and drag area where the options are silent.
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
    coastdowns: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Gearing:
    """What there is to show.

    Attributes
    ----------
    train : DriveTrain or None
        None when only roll-outs were asked for.
    changed : DriveTrain or None
    rolled : RolledOut or None
        What roll-outs told of the resistance.
    machine : Machine or None
        What the predictions were calculated with.
    predictions : tuple of Prediction
    launches, passes : int
        Runs they rest on.
    remarks : tuple of Remark
    refused : tuple of str
        One line for each log that could not be read.
    """

    train: DriveTrain | None
    changed: DriveTrain | None = None
    rolled: RolledOut | None = None
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
    sheet = sheet_of(words)
    setup = _setup(sheet, given.setup) if sheet else None
    rolled = _rolled(given, setup, asked) if given.coastdowns else None
    if rolled is not None and not (given.teeth or given.new_teeth or (setup and setup.vehicle.teeth)):
        return Gearing(train=None, rolled=rolled, refused=rolled.refused)
    train = _train(given, setup)
    refused = rolled.refused if rolled else ()
    if not given.new_teeth:
        if words and sheet is None:
            raise UsageError("logs but no other sprocket", advice="add --new-teeth, such as --new-teeth 15/44")
        return Gearing(train=train, rolled=rolled, refused=refused)
    changed = with_teeth(train, given.new_teeth)
    if not words:
        return Gearing(train=train, changed=changed, rolled=rolled, refused=refused)
    machine = _machine(given, setup, train, rolled)
    runs = _sheet_runs(sheet, setup, asked) if sheet and setup else _log_runs(words, asked)
    found = _predicted(train, changed, machine, runs, asked)
    return replace(found, rolled=rolled, refused=(*refused, *found.refused))


def _rolled(given: Given, setup: Setup | None, asked: Asked) -> RolledOut:
    return roll_outs(
        given.coastdowns,
        asked,
        mass_kg=_mass_kg(given, setup),
        air_density_kgm3=_first(given.air_density_kgm3, _density(setup), USUAL_AIR_KGM3),
    )


def _mass_kg(given: Given, setup: Setup | None) -> float:
    mass_kg = _first(given.mass_kg, setup.vehicle.mass_kg if setup else NAN)
    if math.isnan(mass_kg):
        raise UsageError("the mass with rider must be known", advice="state --mass 142, or mass_kg in the day sheet")
    return mass_kg


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


def _machine(given: Given, setup: Setup | None, train: DriveTrain, rolled: RolledOut | None) -> Machine:
    usual = RoadLoad(mass_kg=_mass_kg(given, setup))
    crr = _known(given.crr, 0.1, rolled.fit.crr if rolled else Estimate(usual.crr, usual.crr_stderr))
    cda = _known(given.cda_m2, 0.05, rolled.fit.cda_m2 if rolled else Estimate(usual.cda_m2, usual.cda_stderr_m2))
    load = RoadLoad(
        mass_kg=usual.mass_kg,
        crr=crr.value,
        cda_m2=cda.value,
        air_density_kgm3=_first(given.air_density_kgm3, _density(setup), usual.air_density_kgm3),
        crr_stderr=crr.stderr,
        cda_stderr_m2=cda.stderr,
    )
    return Machine(load=load, train=train, engine_inertia_kgm2=_first(given.engine_inertia_kgm2, 0.0))


def _known(stated: float, share: float, otherwise: Estimate) -> Estimate:
    """What is stated, known to a share of itself; else the other estimate."""
    return otherwise if math.isnan(stated) else Estimate(stated, share * stated)


def _density(setup: Setup | None) -> float:
    return NAN if setup is None else air_density_of(setup)


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
