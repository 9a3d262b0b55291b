"""One ride, one log, one truth: everything that `traceanalyze simulate` makes, as bytes."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

import numpy as np

from traceanalyze import __version__
from traceanalyze.errors import UsageError
from traceanalyze.simulate.damage import Faults, spoil, spoil_lines
from traceanalyze.simulate.machines import Surroundings, Vehicle
from traceanalyze.simulate.presets import Practice, actions, pit_bike
from traceanalyze.simulate.rides import Action, Ride, Strip, ride
from traceanalyze.simulate.sensors import AccelerometerUnit, Receiver, ReceiverLog, feel, receive
from traceanalyze.simulate.truth import truth
from traceanalyze.simulate.writers import START_UTC_S, NmeaStyle, gpx, nmea, table
from traceanalyze.trace import utc_text

LogFormat = Literal["nmea", "gpx", "csv"]
NOTE = "simulated by traceanalyze: an invented machine, rider and place, nobody's real ride"


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """Everything that decides what a simulated log holds; the same recipe gives the same bytes.

    Attributes
    ----------
    random : int
        Start of the random numbers. Rider, receiver, accelerometer and faults draw from streams of their own, so
        that another receiver logs the very same ride.
    vehicle : Vehicle or None
        The invented pit bike with the `setup`'s spring when None.
    script : tuple of Action
        What the rider does; made from `practice` when empty.
    receiver : Receiver or None
        None for a log of the accelerometer alone.
    accelerometer : AccelerometerUnit or None
    log_format : str
        `nmea`, `gpx` or `csv`.
    gpx_speed : bool
        Whether GPX points carry speeds.
    """

    random: int = 1
    setup: str = "standard"
    vehicle: Vehicle | None = None
    practice: Practice = field(default_factory=Practice)
    script: tuple[Action, ...] = ()
    strip: Strip = field(default_factory=Strip)
    around: Surroundings = field(default_factory=Surroundings)
    receiver: Receiver | None = field(default_factory=Receiver)
    accelerometer: AccelerometerUnit | None = None
    faults: Faults = field(default_factory=Faults)
    log_format: LogFormat = "nmea"
    nmea_style: NmeaStyle = field(default_factory=NmeaStyle)
    gpx_speed: bool = True
    start_utc_s: float = START_UTC_S

    def __post_init__(self) -> None:
        if self.accelerometer and self.log_format != "csv":
            raise UsageError(
                f"{self.log_format} has no place for an accelerometer",
                advice="write csv, or leave the accelerometer out",
            )
        if self.receiver is None and self.accelerometer is None:
            raise UsageError("a log without any instrument", advice="give a receiver or an accelerometer")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SimulatedLog:
    """A log's bytes, what is true about it (JSON-ready), and the ride behind both."""

    data: bytes
    truth: dict[str, Any]
    ride: Ride

    def truth_bytes(self) -> bytes:
        """Return the truth as a JSON file."""
        return (json.dumps(self.truth, indent=1, allow_nan=False) + "\n").encode()

    def summary(self) -> dict[str, Any]:
        """Return how much is in it, JSON-ready."""
        return {
            "schema": "traceanalyze.simulate/1",
            "version": __version__,
            "format": self.truth["format"],
            "sha256": self.truth["sha256"],
            "duration_s": self.truth["duration_s"],
            "launches": len(self.truth["launches"]),
            "passes": len(self.truth["passes"]),
        }

    def __str__(self) -> str:
        launches, passes = len(self.truth["launches"]), len(self.truth["passes"])
        return f"simulated ride of {self.truth['duration_s']:.0f} s, {launches} launches, {passes} passes"


def recipe_of(
    *,
    log_format: LogFormat,
    setup: str,
    ride: tuple[int, int, int],
    receiver: tuple[float, float],
    accelerometer_hz: float,
    road: tuple[float, float],
    faults: int,
    random: int,
) -> Recipe:
    """Return the recipe that a few plain numbers ask for.

    Parameters
    ----------
    ride : (int, int, int)
        Launches, pairs of passes, starts broken off.
    receiver : (float, float)
        Rate [Hz] and noise [m/s].
    accelerometer_hz : float
        0 for none; else it is mounted askew, with a bias and a clock of its own.
    road : (float, float)
        Wind [m/s] and slope [%] along the strip.
    faults : int
        How many of each kind.

    Raises
    ------
    UsageError
        If a number is out of range.
    """
    launches, passes, aborted = ride
    if random < 0 or not 0 <= faults <= 1000 or not all(abs(one) <= 20 for one in road):
        raise UsageError(
            "a number is out of range", advice="--random from 0, --faults 0 to 1000, --wind and --grade -20 to 20"
        )
    return Recipe(
        random=random,
        setup=setup,
        practice=Practice(
            launches=launches, passes=passes, aborted=aborted, shuffles=min(1, max(launches - aborted, 0))
        ),
        around=Surroundings(wind_mps=road[0], grade_pct=road[1]),
        receiver=Receiver(rate_hz=receiver[0], sigma_mps=receiver[1]),
        accelerometer=askew(accelerometer_hz) if accelerometer_hz else None,
        faults=Faults(gaps=faults, lost_fixes=faults, spikes=faults, freezes=faults, flipped=faults, cut=faults),
        log_format=log_format,
    )


def askew(rate_hz: float) -> AccelerometerUnit:
    """Return an accelerometer at a rate, mounted anyhow, with a bias, a scale error and a late clock."""
    return AccelerometerUnit(
        rate_hz=rate_hz,
        roll_deg=12.0,
        pitch_deg=-20.0,
        yaw_deg=35.0,
        bias_mps2=(0.12, -0.08, 0.15),
        scale=(1.01, 0.99, 1.005),
        clock_offset_s=0.14,
    )


def make_ride(recipe: Recipe) -> Ride:
    """Return the ride of a recipe, whatever instruments log it."""
    rng = _stream(recipe, 0)
    script = recipe.script or tuple(actions(recipe.practice, rng))
    vehicle = recipe.vehicle or pit_bike(recipe.setup)
    return ride(vehicle, script, strip=recipe.strip, around=recipe.around, rng=rng)


def make_log(recipe: Recipe) -> SimulatedLog:
    """Return the log and the truth of a recipe.

    Raises
    ------
    UsageError
        If the recipe asks for what cannot be ridden or written.
    """
    made = make_ride(recipe)
    seen = receive(made, recipe.receiver, _stream(recipe, 1)) if recipe.receiver else None
    if seen is not None:
        seen = spoil(seen, recipe.faults, _stream(recipe, 3))
    data, zero_s = _written(recipe, made, seen)
    known = {
        "schema": "traceanalyze.truth/1",
        "version": __version__,
        "note": NOTE,
        "sha256": hashlib.sha256(data).hexdigest(),
        "format": recipe.log_format,
        "time_zero_utc": utc_text(recipe.start_utc_s + zero_s),
        "duration_s": made.duration_s,
        **_circumstances(recipe, made),
        **truth(made, zero_s),
    }
    return SimulatedLog(data=data, truth=known, ride=made)


def _stream(recipe: Recipe, which: int) -> np.random.Generator:
    return np.random.default_rng([recipe.random, which])


def _written(recipe: Recipe, made: Ride, seen: ReceiverLog | None) -> tuple[bytes, float]:
    """The log's bytes, and the moment of the ride that its first stamp names [s]."""
    if recipe.log_format == "csv":
        felt = feel(made, recipe.accelerometer, _stream(recipe, 2)) if recipe.accelerometer else None
        firsts = [float(log.t_s[0]) for log in (seen, felt) if log is not None and log.t_s.size]
        return table(seen, felt, recipe.start_utc_s), min(firsts)
    if seen is None or not seen.t_s.size:
        raise UsageError("nothing is left of the log", advice="ask for fewer gaps")
    if recipe.log_format == "gpx":
        return gpx(seen, recipe.start_utc_s, speed=recipe.gpx_speed), float(seen.t_s[seen.fix][0])
    data = spoil_lines(nmea(seen, recipe.start_utc_s, recipe.nmea_style), recipe.faults, _stream(recipe, 4))
    return data, float(seen.t_s[0])


def _circumstances(recipe: Recipe, made: Ride) -> dict[str, Any]:
    """The recipe's choices, as far as they are numbers."""
    machine = made.vehicle
    return {
        "random": recipe.random,
        "setup": recipe.setup if recipe.vehicle is None else None,
        "vehicle": {
            "mass_kg": machine.mass_kg,
            "rotating_share": machine.rotating_share,
            "crr": machine.crr,
            "cda_m2": machine.cda_m2,
        },
        "strip": asdict(made.strip),
        "air_density_kgm3": made.around.air_density_kgm3,
        "wind_along_strip_mps": made.around.wind_mps,
        "grade_along_strip_pct": made.around.grade_pct,
        "receiver": asdict(recipe.receiver) if recipe.receiver else None,
        "accelerometer": asdict(recipe.accelerometer) if recipe.accelerometer else None,
        "faults": asdict(recipe.faults),
    }
