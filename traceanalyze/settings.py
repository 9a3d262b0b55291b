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

# --- detect --------------------------------------------------------------------------------------------------------
#: Window speeds are averaged over before rest and motion are told apart [s]; no launch is much shorter.
MOTION_SMOOTHING_S: Final = 0.5
#: At rest: below 1 km/h, or below 2.5 sigma of the noise at rest if that is more (Rayleigh's law: 96 % of samples).
REST_LEVEL_MPS: Final = 1 / 3.6
REST_SIGMAS: Final = 2.5
#: Standing or creeping, but not under way: below this, or 4 sigma; a dragging clutch creeps at 0.1-0.4 m/s.
STAND_LEVEL_MPS: Final = 0.6
STAND_SIGMAS: Final = 4.0
#: Shortest stop [s]: a driver who stops at a line and goes on stands below the standing level for a second or so.
REST_AT_LEAST_S: Final = 0.5
#: A vehicle brakes and leaves no harder than this [m/s^2]; a gap that leaves no time for both hides no stop.
BRAKE_MPS2: Final = 8.0
LEAVE_MPS2: Final = 6.0
#: A launch passes this speed without stopping [m/s], or the lowest asked target if that is less: 30 km/h.
LAUNCH_SPEED_MPS: Final = 30 / 3.6
#: A launch's climb ends where speed falls below this share of what it had reached.
CLIMB_KEEPS: Final = 0.5
#: The vehicle crept before its climb when it was faster than this [m/s], and than this many sigma of rest (Rayleigh's
#: law: 1 in 450 for a single sample), for this long [s] and so many samples (one less in logs so slow that a start has
#: gained a metre a second from one sample to the next but one); a soft start gains speed all the while,
#: a creep has this share of its mean speed in its first half already.
CREEP_MPS: Final = 0.12
CREEP_SIGMAS: Final = 3.5
CREEP_AT_LEAST_S: Final = 0.8
CREEP_SAMPLES: Final = 3
CREEP_EVEN_SHARE: Final = 0.75
#: A rolling start: gently [m/s^2] up to this speed [m/s] or more, but to no more than this share of the level, held
#: within so much [m/s] for so long [s], then left at full throttle [m/s^2]. Drives of cars in traffic hesitate on the
#: way up too, but gather speed slowly afterwards: none of 360 real ones looks like this.
ROLL_MPS: Final = 1.0
ROLL_SHARE: Final = 0.6
ROLL_STEADY_MPS: Final = 0.5
ROLL_HELD_S: Final = 2.4
ROLL_ENTRY_MPS2: Final = 1.2
ROLL_LEAVE_MPS2: Final = 2.0
#: A climb hesitates when speed falls by this much [m/s], and by this share of what was reached, before the target.
HESITATION_MPS: Final = 1.0
HESITATION_SHARE: Final = 0.2
#: A pass tops at least this share of the file's best, and is bounded by dips below that share of the best.
PASS_TOP_SHARE: Final = 0.8
PASS_DIP_SHARE: Final = 0.7
#: A launch that is cut short pulls harder than this over its last twentieth of speed [m/s^2]; it is no pass where a
#: stretch that ran out of pull is faster.
PASS_PULL_MPS2: Final = 0.9
#: Nothing slower than this is a pass [m/s]: 20 km/h, a walk or a push of the bike is none.
PASS_AT_LEAST_MPS: Final = 20 / 3.6
#: A coast-down slows between these [m/s^2] (rolling resistance alone makes 0.1-0.3, drag at 25 m/s about 1.5 for the
#: lightest vehicles), for at least so long [s] and so much [m/s]; slopes are taken over this window [s].
COAST_DECELERATION_MPS2: Final = (0.05, 2.0)
COAST_AT_LEAST_S: Final = 5.0
COAST_LOSES_MPS: Final = 3.0
COAST_SLOPE_S: Final = 1.6
#: Its last third slows by no more than this share of the first third's deceleration.
COAST_EASES_SHARE: Final = 1.1

# --- book ----------------------------------------------------------------------------------------------------------
#: Measures the run book keeps of every launch beside those asked for: what somebody may want to compare next year,
#: when the log is gone. None ends below the lowest of `DEFAULT_MEASURES`, which decides what counts as a launch.
BOOK_MEASURES: Final = (
    "0-20 mph", "0-30 mph", "0-40 mph", "0-50 km/h", "0-60 mph", "10-30 mph", "20-30 mph", "20-40 mph", "60 ft",
    "100 m", "1/8 mi",
)  # fmt: skip

# --- top speed -----------------------------------------------------------------------------------------------------
#: Samples around a top are averaged in blocks of this length [s]; corners are, too, so that none is blurred.
SUMMIT_BLOCK_S: Final = 0.3
#: Finest step of the moments a path is drawn on [s]; where acceleration changes by 5 m/s^2 a path of straight pieces
#: loses 0.003 m of way.
SUMMIT_GRID_S: Final = 0.08
#: Time before the throttle closes over which acceleration is told [s].
SUMMIT_SLOPE_S: Final = 2.0
#: Roughness of the acceleration [m^2/s^5]: it wanders by the root of it within a second. From a plateau to gusts.
SUMMIT_ROUGHNESS: Final = (0.0003, 0.003, 0.03, 0.3)
#: The corner where the throttle closes: change of acceleration (standard deviation) [m/s^2], time it takes [s], and
#: the share of tops without one (the log ends, or speed fades away).
CORNER_SD_MPS2: Final = 4.0
CORNER_RAMPS_S: Final = (0.06, 0.2, 0.4)
CORNER_NONE: Final = 0.3
#: Moments at which the throttle may close are tried in steps of the first [s], then in finer ones where weight is,
#: until the sum of squared weights is below the last (as if seven shared it evenly) or the step below the second.
CORNER_COARSE_S: Final = 0.2
CORNER_FINEST_S: Final = 0.01
CORNER_SHARED: Final = 0.15
#: A corner that takes away less acceleration than this is not the throttle closing [m/s^2].
SUMMIT_FALL_MPS2: Final = 0.3
#: Samples so long before and after the top belong to it [s], and one and a half windows more: less than the ten seconds
#: in which drag makes an acceleration fade, so that the fade need not be known well.
SUMMIT_BEFORE_S: Final = 6.0
SUMMIT_AFTER_S: Final = 3.0
#: Stated uncertainties are wider than the posterior by this: noise is known to 8 % or so, as by 80 degrees of freedom,
#: for which Student's t is so much wider than the normal law.
SUSTAINED_WIDENING: Final = 1.02
#: Gaining surely more than this is still accelerating [m/s^2] (at 25 m/s a light vehicle gains it 1 % below its limit);
#: surely less than the second is levelled off; between them nobody can tell.
LEVEL_MPS2: Final = 0.05
LEVEL_SURE_MPS2: Final = 0.15
#: Speed is held while it stays within this share of the top.
HELD_SHARE: Final = 0.005
#: Shortest measured base of the rules for top speed [m]: French arrete of 27 March 1979, article 2.
MEASURED_BASE_M: Final = 100.0
#: The approach whose fading pull is followed: from this share of the top, for so long at most [s].
APPROACH_SHARE: Final = 0.75
APPROACH_S: Final = 25.0
#: Drag over mass, 0.5 rho CdA / m [1/m]: the usual value (CdA 0.55 m^2, 150 kg with the rider) and how far others lie
#: from it, in the logarithm: upright minibikes and karts within a factor of two, cars at the far end.
DRAG_PER_MASS: Final = (0.0022, 0.7)
#: Share of vehicles that run into a governor or a rev limiter before drag stops them; common practice, no source.
GOVERNED: Final = 0.2
#: A limiting speed is told while the law fits (chi-square within so many standard deviations of its mean) and its
#: standard uncertainty is less than this share.
LIMIT_MISFIT: Final = 3.0
LIMIT_STDERR_SHARE: Final = 0.05
#: Samples of an approach are averaged in blocks of this length [s].
LIMIT_BLOCK_S: Final = 0.5
#: Gusts and undulations of the road push by so much [m/s^2] for so long [s], from next to nothing to the half percent
#: of slope that road-load rules allow (40 CFR 1066.310); which it is, the approach itself tells.
DISTURBANCE_MPS2: Final = (0.005, 0.015, 0.05)
DISTURBANCE_TAU_S: Final = 3.0
