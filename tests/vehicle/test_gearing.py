"""Gearing against published arithmetic."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceanalyze.errors import UsageError
from traceanalyze.units import KMH
from traceanalyze.vehicle.gearing import (
    DriveTrain,
    engine_rpm_at,
    may_slip,
    over_limit,
    parse_teeth,
    speed_at_mps,
    teeth_text,
    with_teeth,
)

TRAIN = DriveTrain(teeth=((15, 41),), tyre_circumference_m=math.pi * 0.33, max_engine_rpm=6500, engagement_rpm=2400)


def test_ratio_is_driven_over_driving():
    assert TRAIN.ratio == pytest.approx(41 / 15)
    two = DriveTrain(teeth=((18, 48), (15, 36)), tyre_circumference_m=1.32)
    assert two.ratio == pytest.approx(48 / 18 * 36 / 15)  # 6.4


def test_speed_by_the_published_formula():
    # French decree of 27 March 1979, article 2: V[km/h] = 0.06 D n R, D metres a wheel turn, n 1/min, R the ratio:
    # 0.06 * 1.036726 * 2000 / 2.733333 = 45.5148 km/h. 0.01: driving and driven swapped would give 340
    assert 0.06 * math.pi * 0.33 * 2000 * (15 / 41) == pytest.approx(45.5148, abs=1e-4)
    assert float(speed_at_mps(TRAIN, 2000)) / KMH == pytest.approx(45.5148, abs=0.01)


@given(st.floats(100, 20000), st.integers(5, 60), st.integers(5, 90), st.floats(0.3, 3))
def test_engine_speed_and_road_speed_are_inverse(rpm, driving, driven, circumference):
    train = DriveTrain(teeth=((driving, driven),), tyre_circumference_m=circumference)
    assert float(engine_rpm_at(train, speed_at_mps(train, rpm))) == pytest.approx(rpm)


def test_a_larger_driven_sprocket_turns_the_engine_faster():
    shorter = with_teeth(TRAIN, ((15, 45),))
    assert float(engine_rpm_at(shorter, 20.0)) / float(engine_rpm_at(TRAIN, 20.0)) == pytest.approx(45 / 41)
    assert shorter.max_engine_rpm == 6500


def test_flags():
    rpm = np.array([2000.0, 2500.0, 6500.0, 6501.0])
    np.testing.assert_array_equal(over_limit(TRAIN, rpm), [False, False, False, True])
    np.testing.assert_array_equal(may_slip(TRAIN, rpm), [True, False, False, False])
    unstated = DriveTrain(teeth=((15, 41),), tyre_circumference_m=1.3)
    assert not over_limit(unstated, rpm).any()
    assert not may_slip(unstated, rpm).any()


@pytest.mark.parametrize(
    ("text", "teeth"), [("15/41", ((15, 41),)), (" 18:48 , 15/36", ((18, 48), (15, 36)))]
)  # fmt: skip
def test_teeth_as_they_are_written(text, teeth):
    assert parse_teeth(text) == teeth
    assert parse_teeth(teeth_text(teeth)) == teeth


@pytest.mark.parametrize("text", ["", "15", "15/", "15/0", "15/41,", "fifteen/41", "-15/41", "15/41/3", "2/5000"])
def test_teeth_that_are_none(text):
    with pytest.raises(UsageError, match="names no sprockets"):
        parse_teeth(text)


def test_impossible_trains():
    with pytest.raises(UsageError, match="without teeth"):
        DriveTrain(teeth=(), tyre_circumference_m=1.3)
    with pytest.raises(UsageError, match="tyre circumference of 0 m"):
        DriveTrain(teeth=((15, 41),), tyre_circumference_m=0)
    with pytest.raises(UsageError, match="an engine speed of -5 rpm"):
        DriveTrain(teeth=((15, 41),), tyre_circumference_m=1.3, max_engine_rpm=-5)
