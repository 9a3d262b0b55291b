"""`traceanalyze gearing`: speeds and engine speeds of a drive train, and what another sprocket would do."""

from __future__ import annotations

from typing import Annotated

import typer

from traceanalyze.cli import options as opt
from traceanalyze.cli.screen import colour_wanted, complain, print_json, print_text

NAN = float("nan")


Files = Annotated[
    list[str] | None, typer.Argument(metavar="[FILE...]", help="Logs of the machine as it is, or its day sheet.")
]
TeethText = Annotated[
    str, typer.Option("--teeth", metavar="TEETH", help="Driving/driven of each stage, such as 18/48,15/36.")
]
NewTeeth = Annotated[str, typer.Option("--new-teeth", metavar="TEETH", help="The sprockets you think of, all stages.")]
Tyre = Annotated[float, typer.Option("--tyre", metavar="M", help="Length rolled in one turn of the driven wheel [m].")]
MaxRpm = Annotated[float, typer.Option("--max-rpm", metavar="RPM", help="Your own safe limit of the engine.")]
Engagement = Annotated[
    float, typer.Option("--engagement-rpm", metavar="RPM", help="Above it clutch or belt no longer slips.")
]
SetupName = Annotated[
    str | None, typer.Option("--setup", metavar="NAME", help="Which setup of the day sheet (default: the first).")
]
Mass = Annotated[float, typer.Option("--mass", metavar="KG", help="With rider and fuel [kg].")]
Crr = Annotated[float, typer.Option("--crr", metavar="X", help="Rolling resistance coefficient.")]
Cda = Annotated[float, typer.Option("--cda", metavar="M2", help="Drag area [m^2].")]
AirDensity = Annotated[float, typer.Option("--air-density", metavar="X", help="Of the air [kg/m^3].")]
Inertia = Annotated[
    float, typer.Option("--engine-inertia", metavar="X", help="Of crankshaft, flywheel, clutch [kg m^2].")
]
Coastdowns = Annotated[
    list[str] | None,
    typer.Option(
        "--coastdown", metavar="FILE", help="A log in which the vehicle rolls out, drive cut. Repeatable; both ways."
    ),
]


def gearing(
    files: Files = None,
    teeth: TeethText = "",
    tyre: Tyre = NAN,
    max_rpm: MaxRpm = NAN,
    engagement_rpm: Engagement = NAN,
    new_teeth: NewTeeth = "",
    setup: SetupName = None,
    mass: Mass = NAN,
    crr: Crr = NAN,
    cda: Cda = NAN,
    air_density: AirDensity = NAN,
    engine_inertia: Inertia = NAN,
    coastdown: Coastdowns = None,
    measures: opt.Measures = None,
    start: opt.Start = "rollout",
    window: opt.WindowText = "1s",
    json: opt.Json = False,
    units: opt.Units = "imperial",
    no_color: opt.NoColor = False,
) -> int:
    """Speeds and engine speeds of a drive train; from measured runs, what another sprocket would do.

    Engine speeds above your stated limit are flagged wherever they are computed. Below full engagement the clutch
    slips and engine speed says nothing about road speed.

    \b
    Examples:
      traceanalyze gearing --teeth 15/41 --tyre 1.32 --max-rpm 6500
      traceanalyze gearing day.toml --new-teeth 18/48,15/38
      traceanalyze gearing run1.nmea run2.nmea --teeth 15/41 --tyre 1.32 --mass 142 --new-teeth 15/44
      traceanalyze gearing --mass 142 --coastdown east.nmea --coastdown west.nmea
    """
    from traceanalyze.report.gearing_run import Given, study_gearing
    from traceanalyze.report.gearing_text import gearing_document, gearing_text
    from traceanalyze.vehicle.gearing import parse_teeth

    asked = opt.asked(measures, start, window, units)
    given = Given(
        teeth=parse_teeth(teeth) if teeth else (),
        new_teeth=parse_teeth(new_teeth) if new_teeth else (),
        tyre_circumference_m=tyre,
        max_engine_rpm=max_rpm,
        engagement_rpm=engagement_rpm,
        mass_kg=mass,
        crr=crr,
        cda_m2=cda,
        air_density_kgm3=air_density,
        engine_inertia_kgm2=engine_inertia,
        setup=setup,
        coastdowns=tuple(coastdown or ()),
    )
    result = study_gearing(files or [], given, asked)
    complain(result.refused)
    if json:
        print_json(gearing_document(result, asked.system))
    else:
        print_text(gearing_text(result, asked.system, bold=colour_wanted(no_color)))
    return 1 if result.refused else 0
