"""`traceanalyze plan`: the next runs, decided before they are ridden."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from traceanalyze.cli import options as opt
from traceanalyze.cli.screen import complain, print_json, print_text
from traceanalyze.errors import UsageError
from traceanalyze.settings import REACTION_S, STOPPING_MPS2
from traceanalyze.units import LENGTH_UNITS

Logs = Annotated[
    list[str] | None,
    typer.Argument(metavar="[FILE...]", help="Logs at hand (or SETUP=FILE,..., or a day sheet) for the scatter."),
]
MeasureText = Annotated[str, typer.Option("--measure", metavar="TEXT", help="What will count.")]
Difference = Annotated[
    str | None, typer.Option("--difference", metavar="X", help='Worth finding: 0.1, "0.05 s", "0.5 mph".')
]
Scatter = Annotated[str | None, typer.Option("--scatter", metavar="SD", help="Your own run-to-run standard deviation.")]
ScatterDf = Annotated[
    float, typer.Option("--scatter-df", metavar="N", min=0, help="Degrees of freedom behind --scatter.")
]
TypicalTime = Annotated[
    float | None, typer.Option("--time", metavar="S", min=0.1, help="Typical time of the measure [s].")
]
TopSpeed = Annotated[
    str | None, typer.Option("--top-speed", metavar="SPEED", help='Top speed, such as "45 mph", for the strip.')
]
RunUp = Annotated[float | None, typer.Option("--run-up", metavar="LENGTH", min=0, help="Run-up, in ft (metric: m).")]
Deceleration = Annotated[float, typer.Option("--deceleration", metavar="A", min=0.5, max=12, help="Braking [m/s^2].")]
Reaction = Annotated[float, typer.Option("--reaction", metavar="S", min=0, max=10, help="Time before braking [s].")]
Setups = Annotated[str, typer.Option("--setups", metavar="A,B", help="Names of both setups.")]
Ways = Annotated[str, typer.Option("--ways", metavar="OUT,BACK", help="Names of both ways.")]
Book = Annotated[
    Path | None,
    typer.Option("--book", metavar="FILE", help="Take your earlier runs from this run book ($TRACEANALYZE_BOOK too)."),
]
Vehicle = Annotated[str | None, typer.Option("--vehicle", metavar="NAME", help="Which machine of the run book.")]
MoreSwaps = Annotated[
    bool, typer.Option("--more-swaps", help="A|BB|AA|BB|A: when warm-up or the fitting itself may matter.")
]


def plan(
    logs: Logs = None,
    measure: MeasureText = "0-30 mph",
    difference: Difference = None,
    scatter: Scatter = None,
    scatter_df: ScatterDf = 0.0,
    time: TypicalTime = None,
    top_speed: TopSpeed = None,
    run_up: RunUp = None,
    deceleration: Deceleration = STOPPING_MPS2,
    reaction: Reaction = REACTION_S,
    setups: Setups = "A,B",
    ways: Ways = "out,back",
    more_swaps: MoreSwaps = False,
    book: Book = None,
    vehicle: Vehicle = None,
    start: opt.Start = "rollout",
    units: opt.Units = "imperial",
    json: opt.Json = False,
) -> int:
    """How many runs, in which order and direction, show a difference; the strip they need; the safety list.

    \b
    Examples:
      traceanalyze plan --difference 0.1 --scatter 0.07 --scatter-df 6
      traceanalyze plan run1.nmea run2.nmea --setups "standard spring,stiff spring"
      traceanalyze plan --measure "top speed" --top-speed "45 mph" --deceleration 3
      traceanalyze plan --book runs.book --vehicle "pit bike"
    """
    from traceanalyze.judge.quantity import parse_amount
    from traceanalyze.report.own_scatter import BookWish
    from traceanalyze.report.plan_run import Wish, plan_from_words
    from traceanalyze.report.plan_text import plan_text
    from traceanalyze.units import START_RULES, length_unit, parse_measure, speed_unit

    system = opt.one_of(units, "--units", ("imperial", "metric"))
    top = parse_amount(top_speed, "--top-speed") if top_speed is not None else None
    if top is not None and top.unit == "s":
        raise UsageError(f"--top-speed {top_speed!r} is no speed", advice='write it like "45 mph"')
    wish = Wish(
        measure=parse_measure(measure),
        difference=parse_amount(difference, "--difference") if difference is not None else None,
        scatter=parse_amount(scatter, "--scatter") if scatter is not None else None,
        scatter_df=scatter_df,
        typical_s=time,
        top_mps=top.si(speed_unit(system)) if top is not None else None,
        run_up_m=run_up * LENGTH_UNITS[length_unit(system)] if run_up is not None else None,
        deceleration_mps2=deceleration,
        reaction_s=reaction,
        names=_pair(setups, "--setups"),
        directions=_pair(ways, "--ways"),
        more_swaps=more_swaps,
        start_rule=opt.one_of(start, "--start", START_RULES),
        system=system,
    )
    found, refused = plan_from_words(wish, logs or [], BookWish(path=book, vehicle=vehicle))
    complain(refused)
    if json:
        print_json(found.to_dict())
    else:
        print_text(plan_text(found, system))
    return 1 if refused else 0


def _pair(text: str, option: str) -> tuple[str, str]:
    first, sign, second = (part.strip() for part in text.partition(","))
    if not (sign and first and second) or first == second:
        raise UsageError(f"{option} {text!r} are not two different names", advice=f'write {option} "one,other"')
    return first, second
