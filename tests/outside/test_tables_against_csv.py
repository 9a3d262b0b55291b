"""Real tables of open recordings, every value against Python's csv module and pandas, figures against published ones.

The recordings are read as a rider would drop them; where no guess is safe the refusal names the option to give.
"""

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from traceanalyze.errors import FormatError
from traceanalyze.parsers.options import ReadOptions
from traceanalyze.parsers.table import read_bytes
from traceanalyze.trace import Source, Trace, utc_text

MPH = 0.44704  # m/s, exact: international mile
G_MPS2 = 9.80665  # exact, CGPM 1901


def read(path: Path, **options: object) -> Trace:
    return read_bytes(path.read_bytes(), Source(path=str(path)), ReadOptions(**options))


def columns(path: Path, *names: str) -> dict[str, np.ndarray]:
    """Read columns of a table (all, without names) by the csv module and float()."""
    with path.open(newline="") as file:
        rows = list(csv.DictReader(file))
    return {name: np.array([float(row[name] or "nan") for row in rows]) for name in names or rows[0]}


# file, column of time and its unit, column of speed and its unit [m/s]
PLAIN = [
    ("comma2k19/can_speed_83hz.csv", "t_s", 1.0, "speed_mps", 1.0),
    ("comma2k19/fused_pose_speed_20hz.csv", "t_s", 1.0, "speed_mps", 1.0),
    ("comma2k19/gnss_ublox_10hz.csv", "utc_ms", 1e-3, "speed_mps", 1.0),
    ("kingston2008/gnss_vel_1hz.csv", "t_s", 1.0, "hor_speed_mps", 1.0),
    ("kingston2008/obd_speed_1hz.csv", "t_s", 1.0, "obd_speed_mps", 1.0),
    ("driveplotr/nds_data.csv", "time_utc", 1.0, "speed_mph", MPH),
]
UNSTATED = [
    ("navinst19/Speed_StereoVO_OBDII_Reference_Toronto_T19_2.csv", "ref_vf"),
    ("navinst19/Speed_StereoVO_OBDII_Reference_Kingston_K19_1.csv", "ref_vf"),
    ("navinst19/OBDII_Kingston_21_08_19_Trj_15Hz_ZED.csv", "odom_speed"),
    ("navinst19/OBDII_Toronto_13_10_19_Trj1_15Hz_ZED.csv", "odom_speed"),
    ("navinst19/OBDII_Toronto_13_10_19_Trj2_15Hz_ZED.csv", "odom_speed"),
]


@pytest.mark.parametrize(("name", "clock", "unit_s", "speed", "unit_mps"), PLAIN)
def test_every_value_is_that_of_the_csv_module(
    open_data: Path, name: str, clock: str, unit_s: float, speed: str, unit_mps: float
) -> None:
    trace, table = read(open_data / name), columns(open_data / name, clock, speed)
    assert trace.speed_mps.tolist() == (np.abs(table[speed]) * unit_mps).tolist()
    # 1 ns: what the clock keeps; the recordings' own stamps are microseconds at best
    assert trace.t_s == pytest.approx((table[clock] - table[clock][0]) * unit_s, abs=1.1e-9 if unit_s == 1.0 else 1e-6)
    assert not trace.tally


@pytest.mark.parametrize(("name", "speed"), UNSTATED)
def test_an_unstated_unit_is_refused_and_the_named_column_read_exactly(open_data: Path, name: str, speed: str) -> None:
    with pytest.raises(FormatError, match=r"--column speed=\S+ --speed-unit"):
        read(open_data / name)
    trace = read(open_data / name, columns={"speed": speed}, speed_unit="m/s")
    frame = pd.read_csv(open_data / name, dtype=str).astype(float).drop_duplicates("gps_sec")
    assert trace.speed_mps.tolist() == frame[speed].abs().tolist()


def test_columns_are_chosen_by_their_place_too(open_data: Path) -> None:
    path = open_data / "comma2k19" / "can_wheel_speed_83hz.csv"
    with pytest.raises(FormatError, match=r"'w0', 'w1', 'w2', 'w3'; name it: --column speed=NAME"):
        read(path)
    assert read(path, columns={"speed": "3"}, speed_unit="m/s").speed_mps.tolist() == columns(path)["w1"].tolist()


def test_north_and_east_velocity(open_data: Path) -> None:
    path = open_data / "kingston2008" / "ins_ref_1hz.csv"
    table = columns(path)
    assert read(path).speed_mps.tolist() == np.hypot(table["vn_mps"], table["ve_mps"]).tolist()


def test_unstated_velocities_told_by_positions(open_data: Path) -> None:
    trace, table = read(open_data / "pyins" / "gnss.csv"), columns(open_data / "pyins" / "gnss.csv")
    assert trace.speed_mps.tolist() == np.hypot(table["VN"], table["VE"]).tolist()
    assert trace.lat_deg.tolist() == table["lat"].tolist()
    assert "m/s, by the distance between positions" in trace.remarks[0].text
    assert trace.speed_mps.max() * 3.6 == pytest.approx(64.6, abs=0.05)  # km/h, as the recording's description has it


@pytest.mark.parametrize(
    ("name", "axes", "unit_mps2"),
    [
        ("comma2k19/imu_accel_104hz.csv", ("fwd", "right", "down"), 1.0),
        ("kingston2008/imu_10hz.csv", ("fx", "fy", "fz"), 1.0),
        ("driveplotr/nds_data.csv", ("accel_x", "accel_y", "accel_z"), G_MPS2),
    ],
)
def test_accelerometers(open_data: Path, name: str, axes: tuple[str, str, str], unit_mps2: float) -> None:
    found, table = read(open_data / name).accelerometer, columns(open_data / name, *axes)
    assert found is not None
    force = np.stack([table[axis] for axis in axes], axis=1)
    kept = np.isfinite(force).any(axis=1)
    np.testing.assert_array_equal(found.force_mps2, force[kept] * unit_mps2)


def test_drives_of_one_file(open_data: Path) -> None:
    trace = read(open_data / "driveplotr" / "nds_data.csv")
    drives = columns(open_data / "driveplotr" / "nds_data.csv", "drive")["drive"]
    assert trace.utc0_s.size == len(set(drives)) == 28  # 28 drives, as the recording's description says
    assert np.unique(np.stack([trace.stretch, drives]), axis=1).shape[1] == 28
    assert utc_text(trace.utc0_s[0]) == "2019-05-23T20:54:11.000000Z"  # Unix time 1558644851
    assert trace.speed_mps.max() * 3.6 == pytest.approx(136, abs=0.5)  # km/h, as described


REWRITTEN: list[tuple[str, Callable[[pd.DataFrame], str]]] = [
    ("semicolons and decimal commas", lambda f: f.to_csv(index=False, sep=";", decimal=",")),
    ("tabs, Windows line ends", lambda f: f.to_csv(index=False, sep="\t", lineterminator="\r\n")),
    ("all quoted", lambda f: f.to_csv(index=False, quoting=csv.QUOTE_ALL)),
    ("exponents", lambda f: f.to_csv(index=False, float_format="%.17e")),
    ("blanks between", lambda f: f.to_string(index=False, float_format=lambda x: format(x, ".17g")) + "\n"),
]


@pytest.mark.parametrize("dialect", [kind for _, kind in REWRITTEN], ids=[name for name, _ in REWRITTEN])
def test_a_real_table_rewritten_by_pandas_reads_the_same(
    open_data: Path, dialect: Callable[[pd.DataFrame], str]
) -> None:
    path = open_data / "comma2k19" / "gnss_ublox_10hz.csv"
    frame = pd.read_csv(path, dtype=str).astype(float)
    again = read_bytes(dialect(frame).encode(), Source())
    trace = read(path)
    assert again.speed_mps.tolist() == trace.speed_mps.tolist()
    assert again.lat_deg.tolist() == trace.lat_deg.tolist()
    assert again.t_s.tolist() == trace.t_s.tolist()
