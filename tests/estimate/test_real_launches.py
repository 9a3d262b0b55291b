"""Launches of open recordings: a 5 Hz reference cut to 1 Hz, and two instruments in one car."""

import numpy as np
import pytest

from traceanalyze.detect.launches import find_launches
from traceanalyze.errors import SignalError
from traceanalyze.estimate.crossings import at_speed
from traceanalyze.estimate.fit import fit_free
from traceanalyze.estimate.launch import measure_launch
from traceanalyze.estimate.readout import rolling_time
from traceanalyze.prepare import prepared
from traceanalyze.signal.noise import estimate_noise
from traceanalyze.trace import make_trace
from traceanalyze.units import parse_measure

MEASURES = tuple(parse_measure(word) for word in ("0-20 mph", "0-30 mph", "20-30 mph"))


def launches(trace):
    noise = estimate_noise(trace.t_s, trace.speed_mps, trace.stretch)
    out = []
    for span in find_launches(trace, noise, 20 * 0.44704):
        try:
            out.append(measure_launch(trace, span, noise, MEASURES))
        except SignalError:
            continue
    return out


@pytest.mark.parametrize("town", ["Toronto_T19_2", "Kingston_K19_1"])
def test_intervals_of_a_log_cut_to_1_hz_cover_its_5_hz_values(open_data, town):
    # hanymragab/plans2025-resources (MIT), inertial reference speed `ref_vf`, 5 Hz, the first half hour. By the rollout
    # rule, the default: 19 in 20, less three standard deviations of a binomial law for the number compared
    import pandas as pd

    frame = pd.read_csv(open_data / "navinst19" / f"Speed_StereoVO_OBDII_Reference_{town}.csv")
    t = (frame.gps_sec - frame.gps_sec[0]).to_numpy()
    keep = np.concatenate(([True], np.diff(t) > 0))
    t, v = t[keep][:9000], np.abs(frame.ref_vf.to_numpy()[keep][:9000])
    full, cut = launches(make_trace(t, speed_mps=v)), launches(make_trace(t[::5], speed_mps=v[::5]))
    hits = []
    for one in full:
        same = [other for other in cut if abs(other.start.value - one.start.value) < 2.5]
        for result in one.times:
            found = same[0].time(result.measure, result.start_rule) if same else None
            if found is not None and result.start_rule in (None, "rollout"):
                hits.append(found.elapsed.low95 <= result.elapsed.value <= found.elapsed.high95)
    assert len(full) >= 10
    assert len(hits) >= 15
    assert np.mean(hits) > 0.95 - 3 * np.sqrt(0.95 * 0.05 / len(hits))


def test_two_instruments_in_one_car_agree(open_data):
    # google/gps-measurement-tools (Apache-2.0): an automotive receiver and an inertial reference, both 1 Hz. Plain
    # interpolation gives pairs 9.54/9.53, 9.80/9.81, 12.14/12.17, 12.87/13.10, 25.66/25.62 s
    from traceanalyze.parsers import read

    folder = open_data / "google_gmt"
    ours, reference = (
        launches(read(folder / name))
        for name in (
            "MTV.Local1.ublox-F9K.20200206-181434.nmea",
            "MTV.Local1.SPAN.20200206-181434.gga",
        )
    )
    pairs = [
        (one.time("0-30 mph", "rollout"), other.time("0-30 mph", "rollout"))
        for one in ours
        for other in reference
        if abs(one.start_utc_s - other.start_utc_s) < 3
    ]
    gaps = [
        (a.elapsed.value - b.elapsed.value, np.hypot(a.elapsed.stderr, b.elapsed.stderr))
        for a, b in pairs
        if a is not None and b is not None and a.elapsed.value < 30
    ]
    assert len(gaps) >= 4
    assert max(abs(gap) for gap, spread in gaps if spread < 0.5) < 0.25  # one run grazes 30 mph: known to 2 s
    assert all(abs(gap) < 3 * spread for gap, spread in gaps)


@pytest.mark.parametrize(("low", "high", "known_s"), [(20, 30, 3.622), (20, 40, None), (25, 35, None), (30, 40, None)])
def test_rolling_times_agree_with_camera_and_inertial_sensors(open_data, low, high, known_s):
    # comma2k19 (MIT licence): a 10 Hz receiver beside speeds fused from camera, inertial sensors and raw ranges. Three
    # standard uncertainties, and those small enough to tell a tenth of a second
    from traceanalyze.parsers import read

    folder = open_data / "comma2k19"
    fused = np.genfromtxt(folder / "fused_pose_speed_20hz.csv", delimiter=",", names=True)
    ready = prepared(read(folder / "gnss_ublox_10hz.csv"))
    measure = parse_measure(f"{low}-{high} mph")
    climb = ready.trace.t_s < 9.0
    paths = fit_free(ready.trace.t_s[climb], ready.trace.speed_mps[climb], ready.noise)
    found = rolling_time(at_speed(paths, measure.from_mps), at_speed(paths, measure.to_mps), measure)
    ends_s = np.interp((measure.from_mps, measure.to_mps), fused["speed_mps"][:180], fused["t_s"][:180])
    truth_s = float(ends_s[1] - ends_s[0])
    assert known_s is None or truth_s == pytest.approx(known_s, abs=0.01)
    assert abs(found.elapsed.value - truth_s) < 3 * found.elapsed.stderr
    assert found.elapsed.stderr < 0.08
