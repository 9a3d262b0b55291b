"""Simulated logs through the package's own readers: two halves that know nothing of each other must agree."""

import numpy as np
import pytest

from traceanalyze.parsers import read
from traceanalyze.simulate import AccelerometerUnit, Faults, Practice, Receiver, Recipe, make_log

SMALL = Practice(launches=1, passes=0)


def read_back(tmp_path, recipe):
    made = make_log(recipe)
    path = tmp_path / f"ride.{recipe.log_format}"
    path.write_bytes(made.data)
    return read(path), made


@pytest.mark.parametrize("log_format", ["nmea", "gpx", "csv"])
def test_every_format_carries_the_same_ride(tmp_path, log_format):
    trace, made = read_back(tmp_path, Recipe(practice=SMALL, log_format=log_format, receiver=Receiver(rate_hz=5.0)))
    reference = make_log(Recipe(practice=SMALL, log_format="csv", receiver=Receiver(rate_hz=5.0)))
    rows = [line.split(",") for line in reference.data.decode().splitlines()[1:]]
    assert trace.source.format == log_format
    assert trace.points == len(rows)
    # half a unit of the last decimal of each format: 0.001 kn, 0.001 m/s
    np.testing.assert_allclose(trace.speed_mps, [float(row[4]) for row in rows], atol=0.0012)
    np.testing.assert_allclose(trace.lat_deg, [float(row[1]) for row in rows], atol=1e-7)
    np.testing.assert_allclose(trace.t_s, [float(row[0]) - float(rows[0][0]) for row in rows], atol=2e-6)
    assert made.truth["launches"] == reference.truth["launches"]


def test_every_damaged_line_is_counted_and_nothing_else(tmp_path):
    trace, _ = read_back(tmp_path, Recipe(practice=SMALL, faults=Faults(flipped=7, cut=5)))
    assert sum(trace.tally.get(kind, 0) for kind in ("checksum", "malformed", "truncated")) == 12
    assert trace.damaged
    clean, _ = read_back(tmp_path, Recipe(practice=SMALL))
    assert not clean.damaged


def test_receiver_and_accelerometer_in_one_table(tmp_path):
    recipe = Recipe(
        practice=SMALL, log_format="csv", receiver=Receiver(rate_hz=1.0), accelerometer=AccelerometerUnit(rate_hz=50.0)
    )
    trace, made = read_back(tmp_path, recipe)
    assert trace.accelerometer is not None
    count = int(made.truth["duration_s"] * 50) + 1
    assert trace.accelerometer.t_s.size == count
    assert trace.points == int(made.truth["duration_s"]) + 1
    still = trace.accelerometer.force_mps2[trace.accelerometer.t_s < 5]
    assert np.linalg.norm(still.mean(axis=0)) == pytest.approx(9.80665, abs=0.05)
