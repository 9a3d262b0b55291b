"""Every number somebody might want to tune, with its reason. Read-only; one section a room."""

from __future__ import annotations

from typing import Final

# --- what is timed -------------------------------------------------------------------------------------------------
#: Length the vehicle rolls before the clock of the `rollout` rule starts [m]: one foot, common practice in the trade;
#: SAE J1491 (JUL2006) 3.3 takes the same 0.3048 m as initial vehicle movement.
ROLLOUT_M: Final = 0.3048
#: Speed at which the clock of the `threshold` rule starts [m/s]: 1 km/h.
THRESHOLD_MPS: Final = 1 / 3.6
#: Measures reported when none is asked for.
DEFAULT_MEASURES: Final = ("0-20 mph", "0-30 mph", "60 ft")
#: Step of the grid of speeds on which every launch keeps its curve [m/s]; one grid makes runs comparable.
CURVE_STEP_MPS: Final = 0.25
#: Window of the sustained speed when none is asked for [s].
SUSTAINED_WINDOW_S: Final = 1.0

# --- parsers -------------------------------------------------------------------------------------------------------
#: Largest input after unpacking [bytes]; a day at 25 Hz of NMEA is about 500 MB, GPX and archives are held tighter.
MAX_UNPACKED_BYTES: Final = 200_000_000
#: Largest plain file [bytes].
MAX_PLAIN_BYTES: Final = 2_000_000_000
#: Speeds above this are no land vehicle of this kind [m/s]; such a sample is a glitch.
MAX_SPEED_MPS: Final = 150.0
#: How many later points must stay before the latest time for a step back to be a new session, not a stray point.
SESSION_POINTS: Final = 3
