"""Rides whose truth is exactly known, and the logs that instruments would have made of them.

Truth first, sensors after: `rides.ride` integrates what the rider does with an invented machine (`machines`,
`presets`) into an exact motion (`motion`); `truth.truth` reads every time and speed off that motion; `sensors`
watch it with their own noise, filters, delays and clocks; `damage` spoils what they saw; `writers` turn it into
bytes. `logs.make_log` does all of it from one `Recipe`, and the same recipe always gives the same bytes.

SI units; times in seconds from the beginning of the ride; directions clockwise from north; the strip is straight,
`direction` 1 along its heading and -1 against it.
"""

from traceanalyze.simulate.damage import Faults
from traceanalyze.simulate.logs import Recipe, SimulatedLog, make_log, make_ride
from traceanalyze.simulate.machines import (
    CappedPower,
    CentrifugalClutch,
    ConstantThrust,
    Engine,
    Powertrain,
    Surroundings,
    Vehicle,
)
from traceanalyze.simulate.presets import Practice, pit_bike
from traceanalyze.simulate.pushes import Go
from traceanalyze.simulate.rides import Brake, Coast, Creep, Ride, Shuffle, Strip, Turn, Wait, ride
from traceanalyze.simulate.sensors import AccelerometerUnit, Receiver, feel, receive
from traceanalyze.simulate.truth import truth
from traceanalyze.simulate.writers import NmeaStyle, gpx, nmea, table

__all__ = [
    "AccelerometerUnit", "Brake", "CappedPower", "CentrifugalClutch", "Coast", "ConstantThrust", "Creep", "Engine",
    "Faults", "Go", "NmeaStyle", "Powertrain", "Practice", "Receiver", "Recipe", "Ride", "Shuffle", "SimulatedLog",
    "Strip", "Surroundings", "Turn", "Vehicle", "Wait", "feel", "gpx", "make_log", "make_ride", "nmea", "pit_bike",
    "receive", "ride", "table", "truth",
]  # fmt: skip
