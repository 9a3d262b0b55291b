"""What cannot be true is marked; what a vehicle or a receiver can do is left alone."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from traceanalyze.errors import SignalError
from traceanalyze.signal.cleaning import BoolArray, clean_positions, clean_speed
from traceanalyze.trace import FloatArray, Remark


def cleaned(
    t_s: FloatArray, speed_mps: FloatArray, lat: FloatArray | None = None, lon: FloatArray | None = None
) -> tuple[BoolArray, tuple[Remark, ...]]:
    none = np.full(t_s.size, np.nan)
    return clean_speed(
        t_s, speed_mps, none if lat is None else lat, none if lon is None else lon, np.zeros(t_s.size, int)
    )


def ride(rate_hz: float, seed: int, sigma_mps: float = 0.05) -> tuple[FloatArray, FloatArray]:
    """Rest, a launch, a steady stretch, a hard stop, an aborted start, twice over: nothing false in it."""
    knots_s = np.array([0, 8, 12, 16, 24, 27, 35, 36.5, 37.5, 45.0])
    knots_mps = np.array([0, 0, 13, 16, 16.3, 0, 0, 4.5, 0, 0.0])
    t_s = np.arange(0, 90, 1 / rate_hz)
    true = np.interp(t_s % 45, knots_s, knots_mps)
    noise = np.random.default_rng(seed).normal(0, sigma_mps, (2, t_s.size))
    return t_s, np.hypot(true + noise[0], noise[1])


def way(t_s: FloatArray, speed_mps: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Positions of a straight drive east along the equator at these speeds."""
    metres = np.concatenate(([0.0], np.cumsum(0.5 * (speed_mps[1:] + speed_mps[:-1]) * np.diff(t_s))))
    return np.zeros(t_s.size), metres / 111_195.0


@given(
    st.sampled_from([1, 2, 5, 10, 18, 25]),
    st.integers(0, 2**32 - 1),
    st.sampled_from([0.03, 0.15]),
    st.sampled_from([0, 0.0514, 0.2778]),
)
@settings(max_examples=60, deadline=None)
def test_a_sound_ride_loses_nothing(rate_hz: float, seed: int, sigma_mps: float, step_mps: float) -> None:
    t_s, speed_mps = ride(rate_hz, seed, sigma_mps)
    if step_mps:  # 0.1 kn, 1 km/h
        speed_mps = np.round(speed_mps / step_mps) * step_mps
    glitch, remarks = cleaned(t_s, speed_mps)
    assert not glitch.any()
    assert remarks == ()


@pytest.mark.parametrize("rate_hz", [1, 5, 10, 25])
@pytest.mark.parametrize("height_mps", [1944.4, 30.0, 9.5])  # 7,000 km/h, as real logs have it; and less absurd ones
def test_one_sample_spikes_are_marked_and_nothing_else(rate_hz: int, height_mps: float) -> None:
    t_s, speed_mps = ride(rate_hz, 3)
    at = [int(k * rate_hz) for k in (4, 18, 22, 50, 68)]
    speed_mps[at] += height_mps
    assert np.flatnonzero(cleaned(t_s, speed_mps)[0]).tolist() == at


def test_a_spike_to_zero_at_speed() -> None:
    t_s, speed_mps = ride(10, 4)
    speed_mps[180] = 0.0
    glitch, remarks = cleaned(t_s, speed_mps)
    assert np.flatnonzero(glitch).tolist() == [180]
    assert "18.0 s" in remarks[0].text


def test_an_excursion_of_a_second_between_impossible_steps() -> None:
    t_s, speed_mps = ride(10, 5)
    speed_mps[180:190] += 25.0
    assert np.flatnonzero(cleaned(t_s, speed_mps)[0]).tolist() == list(range(180, 190))


@pytest.mark.parametrize("rate_hz", [1, 10, 25])
def test_a_speed_frozen_for_six_seconds_while_the_vehicle_slows(rate_hz: int) -> None:
    t_s = np.arange(0, 40, 1 / rate_hz)
    speed_mps = np.interp(t_s, [0, 12, 24, 40], [18.0, 18.0, 9.0, 9.0])
    speed_mps += np.random.default_rng(1).normal(0, 0.05, t_s.size)
    first, last = 14 * rate_hz, 20 * rate_hz
    speed_mps[first : last + 1] = speed_mps[first]
    # the first of the equal values is the last true one
    assert np.flatnonzero(cleaned(t_s, speed_mps)[0]).tolist() == list(range(first + 1, last + 1))


def test_positions_decide_whether_a_constant_speed_is_frozen() -> None:
    t_s, speed_mps = ride(10, 6, 0.01)
    speed_mps = np.round(speed_mps, 2)
    lat, lon = way(t_s, speed_mps)
    held = speed_mps.copy()
    held[165:235] = held[165]  # the vehicle does about this speed
    assert not cleaned(t_s, held, lat, lon)[0].any()
    false = speed_mps.copy()
    false[165:235] = 24.0  # the vehicle does 16 m/s
    assert np.flatnonzero(cleaned(t_s, false, lat, lon)[0]).tolist() == list(range(165, 235))


def test_rest_and_coarse_steps_repeat_values_rightly() -> None:
    t_s = np.arange(0, 60, 0.1)
    rest = np.full(t_s.size, 0.03)
    assert not cleaned(t_s, rest)[0].any()
    cruise = np.where(t_s < 30, 12.5, 12.7778)  # whole km/h
    assert not cleaned(t_s, cruise)[0].any()


def test_the_real_receiver_that_spikes_and_freezes(open_data: Path) -> None:
    import pandas as pd

    rows = pd.read_csv(open_data / "kingston2008" / "gnss_vel_1hz.csv")
    truth = pd.read_csv(open_data / "kingston2008" / "ins_ref_1hz.csv")
    t_s, speed_mps = rows.t_s.to_numpy(float), rows.hor_speed_mps.to_numpy(float)
    glitch, _ = cleaned(t_s - t_s[0], speed_mps)
    marked = set(t_s[glitch].astype(int).tolist())
    # the data's own description: spikes at rows 728-729, 17.81 m/s frozen at 152905-152910, then a half-way value
    assert {152868, 152869, *range(152905, 152912)} <= marked
    true_mps = np.interp(t_s, truth.t_s, np.hypot(truth.vn_mps, truth.ve_mps))
    off = np.abs(speed_mps - true_mps)
    # what is left out is wrong: the mean error of it is far above the receiver's 0.1 m/s; and no true top is lost
    assert np.mean(off[glitch]) > 1.0
    assert len(marked) <= 25
    # inertial reference: top 53.2 km/h; its own scatter against the receiver is 0.12 m/s
    assert speed_mps[~glitch].max() == pytest.approx(53.2 / 3.6, abs=0.3)


@pytest.mark.parametrize("name", ["Kingston_K19_1", "Toronto_T19_2"])
@pytest.mark.parametrize("column", ["ref_vf", "obd_speed"])
def test_real_speeds_without_glitches_lose_nothing(open_data: Path, name: str, column: str) -> None:
    import pandas as pd

    rows = pd.read_csv(open_data / "navinst19" / f"Speed_StereoVO_OBDII_Reference_{name}.csv")
    assert not cleaned(rows.gps_sec.to_numpy(), rows[column].abs().to_numpy())[0].any()


def test_positions_that_jump_away_and_back() -> None:
    t_s, speed_mps = ride(5, 7)
    lat, lon = way(t_s, speed_mps)
    lat[100] += 1.0
    lon[200:202] = 179.0
    jumped, remarks = clean_positions(t_s, lat, lon, np.zeros(t_s.size, int))
    assert np.flatnonzero(jumped).tolist() == [100, 200, 201]
    assert "3 positions" in remarks[0].text
    assert not cleaned(t_s, speed_mps, lat, lon)[0].any()


def test_crossing_the_date_line_is_no_jump() -> None:
    t_s, speed_mps = ride(5, 8)
    lat, lon = way(t_s, speed_mps)
    lon = (lon + 179.9995 + 180) % 360 - 180
    assert not clean_positions(t_s, lat, lon, np.zeros(t_s.size, int))[0].any()


@pytest.mark.parametrize("n", [0, 1, 2, 4])
def test_short_logs_are_left_alone(n: int) -> None:
    assert not cleaned(np.arange(float(n)), np.arange(float(n)))[0].any()


def test_missing_speeds_are_passed_over() -> None:
    t_s, speed_mps = ride(10, 9)
    speed_mps[::7] = np.nan
    assert not cleaned(t_s, speed_mps)[0].any()


def test_refuses_arrays_that_differ() -> None:
    with pytest.raises(SignalError, match="differ in length"):
        clean_speed(np.arange(3.0), np.arange(2.0), np.arange(3.0), np.arange(3.0), np.zeros(3, int))
    with pytest.raises(SignalError, match="differ in length"):
        clean_positions(np.arange(3.0), np.arange(2.0), np.arange(3.0), np.zeros(3, int))
