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

# --- compare -------------------------------------------------------------------------------------------------------
#: Measures compared when none is asked for; the first that both setups reached is the headline.
COMPARE_MEASURES: Final = ("0-30 mph", "0-20 mph", "60 ft", "top speed")
#: Smallest difference that matters, when none is stated: of a time [s], of a speed [m/s] (0.5 mph). Common practice:
#: what a rider can just notice; no source.
SMALLEST_TIME_S: Final = 0.10
SMALLEST_SPEED_MPS: Final = 0.22352
#: A rider's usual run-to-run standard deviation, as a share of the time or the top speed, when no history is known.
GENERIC_TIME_SCATTER: Final = 0.027
GENERIC_SPEED_SCATTER: Final = 0.013
#: Degrees of freedom the generic scatter counts for, and only when fewer than `LEAST_DF` remain in the data.
GENERIC_DF: Final = 4.0
LEAST_DF: Final = 3
#: A rider's own scatter of other days is worth this share of its degrees of freedom (days differ), up to the maximum.
HISTORY_DF_SHARE: Final = 0.6
HISTORY_DF_MOST: Final = 8.0
#: Drift through the day that must be allowed for where it cannot be fitted: standard deviation of the slope, as a
#: share of the value per run; for a top speed in the same proportion to the scatter as for a time.
DRIFT_TIME_PER_RUN: Final = 0.0035
DRIFT_SPEED_PER_RUN: Final = 0.0017
#: Squared correlation of the setup with direction (and day) above which both cannot be told apart.
CONFOUNDED_R2: Final = 0.95
#: Squared correlation of setup and order: drift is fitted up to the first, a claim must stand `DRIFT_DOUBT` times the
#: usual drift above the second.
FIT_DRIFT_R2: Final = 0.20
ORDER_CONFOUNDED_R2: Final = 0.50
DRIFT_DOUBT: Final = 3.0
#: Level of every claim, and the chance of showing a true difference that planning aims at (Cohen 1988: 0.05, 0.80).
CLAIM_LEVEL: Final = 0.05
POWER: Final = 0.80
#: Runs more than this apart in start are on different days [s]: nobody waits 8 hours between two runs of one day.
DAY_GAP_S: Final = 8 * 3600.0
#: Two consecutive top speeds further apart than this deserve a warning: Directive 2006/27/EC Annex III.
TOP_SPEEDS_APART: Final = 0.03
#: Wind mean, gust and across [m/s], slope [%], air density away from 100 kPa and 293.2 K, and rider mass [kg] above
#: which a comparison is warned about: German StVZO coast-down rule 3.9.2.3; slope 40 CFR 1066.310 (SAE J1263 7.4).
WIND_MEAN_MPS: Final = 3.0
WIND_GUST_MPS: Final = 5.0
WIND_CROSS_MPS: Final = 2.0
GRADE_PCT: Final = 0.5
AIR_DENSITY_OFF: Final = 0.075
MASS_APART_KG: Final = 5.0

# --- plan ----------------------------------------------------------------------------------------------------------
#: Deceleration and reaction time for stopping when none is stated: the comfortable values roads are laid out for
#: (AASHTO, A Policy on Geometric Design: 3.4 m/s^2, 2.5 s; from memory). Light vehicles: state your own.
STOPPING_MPS2: Final = 3.4
REACTION_S: Final = 2.5
#: Typical 0-30 mph time of such a vehicle [s], used only to turn the generic scatter into seconds.
TYPICAL_TIME_S: Final = 4.0
