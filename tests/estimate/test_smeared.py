"""Launches of logs that state positions only: as uncertain as they are wrong."""

import numpy as np
import pytest

from traceanalyze.estimate.smeared import smeared
from traceanalyze.results import Launch
from traceanalyze.session import study_trace
from traceanalyze.signal.geodesy import radii_m
from traceanalyze.trace import Trace, make_trace

LAT_DEG = 48.0
TARGET_MPS = 13.4112  # 30 mph: 1609.344 m / 3600 s exactly (the mile of 1959)


def ride(rng: np.random.Generator, rate_hz: float, sigma_m: float) -> tuple[Trace, float]:
    """Make positions of a start whose pull comes on over a while and then stays, and its true time from rest to 30 mph.

    Twice integrated by hand: x = a u^3 / 6 tau while it comes on, a (u^2 / 2 - tau u / 2 + tau^2 / 6) thereafter.
    """
    a, tau_s, leaves_s = rng.uniform(2, 5), rng.uniform(0.05, 0.4), rng.uniform(12, 20)
    to_target_s = TARGET_MPS / a + tau_s / 2
    t_s = np.arange(0, leaves_s + to_target_s + 2, 1 / rate_hz) + rng.uniform(0, 1 / rate_hz)
    u = np.maximum(t_s - leaves_s, 0.0)
    way_m = a * np.where(u < tau_s, u**3 / (6 * tau_s), u**2 / 2 - tau_s * u / 2 + tau_s**2 / 6)
    north, east = (way_m * part + rng.normal(0, sigma_m, t_s.size) for part in (0.8, 0.6))
    along_m, across_m = radii_m(LAT_DEG)
    lon_deg = np.degrees(east / across_m / np.cos(np.radians(LAT_DEG)))
    lat_deg = LAT_DEG + np.degrees(north / along_m)
    return make_trace(t_s, lat_deg=lat_deg, lon_deg=lon_deg, speed_source="positions"), to_target_s


def launch_of(trace: Trace) -> Launch:
    (launch,) = study_trace(trace).sheet.launches
    return launch


@pytest.mark.parametrize(("rate_hz", "sigma_m"), [(10.0, 0.05), (5.0, 0.1)])
def test_times_from_rest_are_as_uncertain_as_stated(rate_hz: float, sigma_m: float) -> None:
    rng = np.random.default_rng(8)
    covered = []
    for _ in range(20):
        trace, true_s = ride(rng, rate_hz, sigma_m)
        elapsed = launch_of(trace).time("0-30 mph", "rest").elapsed
        covered.append(elapsed.low95 <= true_s <= elapsed.high95)
    # 15 or fewer of 20 happen once in 400 times at 95 %; without the smear it is 9 to 11
    assert sum(covered) >= 16


def test_what_is_counted_from_later_is_widened_less() -> None:
    launch = launch_of(ride(np.random.default_rng(3), 10.0, 0.05)[0])
    assert "smeared-start" in [remark.code for remark in launch.remarks]
    wide = smeared(launch, 0.3)
    for before, after in zip(launch.times, wide.times, strict=True):
        assert after.elapsed.value == before.elapsed.value
        assert after.elapsed.stderr >= before.elapsed.stderr
    added = {
        after.start_rule: np.sqrt(after.elapsed.stderr**2 - before.elapsed.stderr**2)
        for before, after in zip(launch.times, wide.times, strict=True)
        if after.measure == "0-30 mph"
    }
    assert added["rest"] > added["threshold"] > added["rollout"] > 0


def test_stated_speeds_are_not_smeared() -> None:
    launch = launch_of(ride(np.random.default_rng(4), 10.0, 0.05)[0])
    assert smeared(launch, 0.0) is launch
