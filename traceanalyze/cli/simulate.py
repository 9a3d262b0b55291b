"""`traceanalyze simulate`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from traceanalyze.cli import options as opt
from traceanalyze.cli.screen import print_json, print_text
from traceanalyze.errors import shown

FORMATS = ("nmea", "gpx", "csv")
#: Which format the ending of a name asks for.
ENDINGS = {".nmea": "nmea", ".txt": "nmea", ".log": "nmea", ".gpx": "gpx", ".csv": "csv"}


OutPath = Annotated[
    Path, typer.Option("--out", metavar="PATH", help="The log; its truth goes beside it, as PATH.truth.json.")
]
Format = Annotated[
    str, typer.Option("--format", metavar="FORMAT", help="nmea, gpx or csv; the ending of --out when not given.")
]
Spring = Annotated[
    str, typer.Option("--setup", metavar="SPRING", help="Clutch spring of the pit bike: standard or stiff.")
]
Launches = Annotated[int, typer.Option("--launches", metavar="N", help="Standing starts, up and down the strip.")]
Passes = Annotated[int, typer.Option("--passes", metavar="N", help="Out-and-back pairs of top-speed passes.")]
Aborted = Annotated[int, typer.Option("--aborted", metavar="N", help="Starts broken off before a launch.")]
Rate = Annotated[float, typer.Option("--rate", metavar="HZ", help="Epochs of the receiver in a second.")]
Noise = Annotated[float, typer.Option("--noise", metavar="MPS", help="Standard deviation of one speed sample [m/s].")]
Accelerometer = Annotated[
    float, typer.Option("--accelerometer", metavar="HZ", help="Add accelerometer rows at this rate (csv only).")
]
Wind = Annotated[float, typer.Option("--wind", metavar="MPS", help="Wind along the strip [m/s].")]
Grade = Annotated[float, typer.Option("--grade", metavar="PCT", help="Slope along the strip [%].")]
FaultCount = Annotated[
    int, typer.Option("--faults", metavar="N", help="Gaps, lost fixes, spikes and damaged lines, N of each.")
]
Random = Annotated[int, typer.Option("--random", metavar="N", help="Start of the random numbers.")]


def simulate(
    out: OutPath = Path("simulated.nmea"),
    log_format: Format = "",
    setup: Spring = "standard",
    launches: Launches = 4,
    passes: Passes = 2,
    aborted: Aborted = 0,
    rate: Rate = 10.0,
    noise: Noise = 0.05,
    accelerometer: Accelerometer = 0.0,
    wind: Wind = 0.0,
    grade: Grade = 0.0,
    faults: FaultCount = 0,
    random: Random = 1,
    json: opt.Json = False,
    force: opt.Force = False,
) -> int:
    """A log of a ride whose truth is exactly known, and that truth beside it; for practice and tests.

    Machine, rider and place are invented.

    \b
    Examples:
      traceanalyze simulate --out ride.nmea --setup stiff --random 7
      traceanalyze simulate --out ride.gpx --rate 1 --launches 6 --passes 0
      traceanalyze simulate --out ride.csv --rate 1 --accelerometer 100
    """
    from traceanalyze.report.files import check_output, write_atomically
    from traceanalyze.simulate.logs import make_log, recipe_of

    truth_path = out.with_name(out.name + ".truth.json")
    recipe = recipe_of(
        log_format=opt.one_of(log_format or ENDINGS.get(out.suffix.lower(), "nmea"), "--format", FORMATS),
        setup=setup,
        ride=(launches, passes, aborted),
        receiver=(rate, noise),
        accelerometer_hz=accelerometer,
        road=(wind, grade),
        faults=faults,
        random=random,
    )
    for path in (out, truth_path):
        check_output(path, force=force)
    made = make_log(recipe)
    write_atomically(out, made.data, force=force)
    write_atomically(truth_path, made.truth_bytes(), force=force)
    if json:
        print_json(made.summary() | {"log": str(out), "truth": str(truth_path)})
    else:
        print_text(f"{shown(out)}: {made}\n{shown(truth_path)}: what is true about it")
    return 0
