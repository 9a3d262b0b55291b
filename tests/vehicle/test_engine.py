"""Engine speeds beside road speeds, against the published form of the arithmetic."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceanalyze.vehicle.engine import NO_ENGINE, engine_speeds, rpm_text
from traceanalyze.vehicle.gearing import DriveTrain

#: French decree of 27 March 1979, article 2: V[km/h] = 0.06 D n R, D metres a wheel turn, R driving / driven teeth.
RPM_AT_1_MPS = 3.6 / (0.06 * 1.32) * (48 / 18) * (36 / 15)


def train(**changed):
    facts = {"teeth": ((18, 48), (15, 36)), "tyre_circumference_m": 1.32, "engagement_rpm": 2500.0}
    return DriveTrain(**facts | changed)


def test_setups_geared_alike_share_a_scale_above_the_higher_engagement():
    shared = engine_speeds({"a": train(max_engine_rpm=6500.0), "b": train(engagement_rpm=2700.0)})
    ticks = shared.ticks(0.0, 15.5)
    assert [rpm for _, rpm in ticks] == [3000, 3500, 4000, 4500]
    # 1e-9: the same arithmetic, but for rounding
    assert [speed * RPM_AT_1_MPS for speed, _ in ticks] == pytest.approx([rpm for _, rpm in ticks], rel=1e-9)
    assert shared.limit_mps() * RPM_AT_1_MPS == pytest.approx(6500)
    assert "below 2700 rpm clutch or belt slips" in shared.note
    assert shared.known_at(9.5)  # 2763 rpm
    assert not shared.known_at(9.2)  # 2676 rpm


def test_where_engagement_is_not_stated_nothing_is_sure():
    shared = engine_speeds({"a": train(), "b": train(engagement_rpm=math.nan)})
    assert shared.train is not None
    assert "true only where clutch or belt does not slip" in shared.note
    assert not shared.known_at(30.0)
    assert shared.ticks(0.0, 15.5)[0][1] == 1000


def test_unlike_gearings_and_unknown_ones_have_no_scale_and_say_so():
    unlike = engine_speeds({"a": train(), "b": train(teeth=((18, 48), (15, 38)))})
    assert unlike.train is None
    assert "geared differently" in unlike.note
    assert unlike.ticks(0, 30) == []
    assert "drive train of b" in engine_speeds({"a": train(), "b": None}).note
    assert engine_speeds({"a": None}) == NO_ENGINE
    assert math.isnan(NO_ENGINE.limit_mps())
    assert NO_ENGINE.note == ""


def test_words_at_a_speed():
    limited = train(max_engine_rpm=6500.0)
    # 13.4112 m/s (30 mph) * 290.909 a m/s = 3901.4 rpm
    assert rpm_text(limited, 13.4112) == "3900"
    assert rpm_text(limited, 8.0) == "-"
    assert rpm_text(limited, 23.0) == "6690, above your limit"


@given(
    low=st.floats(0, 40), span=st.floats(0.01, 60), engaged=st.one_of(st.just(math.nan), st.floats(500, 9000)),
    driven=st.integers(9, 80),
)  # fmt: skip
def test_ticks_are_few_rising_and_never_below_engagement(low, span, engaged, driven):
    one = train(teeth=((12, driven),), engagement_rpm=engaged)
    ticks = engine_speeds({"a": one}).ticks(low, low + span)
    speeds = [speed for speed, _ in ticks]
    assert len(ticks) <= 7
    assert speeds == sorted(set(speeds))
    assert all(low * (1 - 1e-9) <= speed <= (low + span) * (1 + 1e-9) for speed in speeds)
    assert math.isnan(engaged) or all(rpm >= engaged * (1 - 1e-9) for _, rpm in ticks)
