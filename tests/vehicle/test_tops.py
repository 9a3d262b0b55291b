"""The top speed that calculations start from: both directions alike, never the best of n."""

import math

import pytest

from traceanalyze.results import Estimate, Pass
from traceanalyze.vehicle.tops import mean_top


def one(speed, heading, levelled=True, stderr=0.05):
    return Pass(
        number=1, start_s=0.0, end_s=9.0, heading_deg=heading, window_s=1.0, window_m=speed, window_start_s=5.0,
        sustained=Estimate(speed, stderr), peak_mps=speed, held_s=3.0, levelled_off=levelled,
    )  # fmt: skip


def test_directions_count_alike():
    # three out at 22.5, one back at 21.5: (22.5 + 21.5) / 2, not the mean of four
    top, remarks = mean_top([one(22.4, 75), one(22.5, 80), one(22.6, 70), one(21.5, 255)])
    assert top.value == pytest.approx(22.0)
    assert not remarks
    # 0.1 / sqrt(3) = 0.0577 from the scatter one way, 0.05 stated the other: halves of both, squared and added
    assert top.stderr == pytest.approx(math.hypot(0.1 / math.sqrt(3), 0.05) / 2)


def test_passes_still_accelerating_are_left_out():
    top, _ = mean_top([one(22.5, 75), one(25.0, 75, levelled=False), one(21.5, 255, levelled=None)])
    assert top.value == pytest.approx(22.0)
    none, remarks = mean_top([one(25.0, 75, levelled=False)])
    assert math.isnan(none.value)
    assert "no pass levelled off" in remarks[0].text
    assert mean_top([])[1][0].text == "no pass at speed"


def test_one_direction_is_said():
    top, remarks = mean_top([one(22.5, 359), one(22.7, 3)])
    assert top.value == pytest.approx(22.6)
    assert remarks[0].code == "one-direction"
    unknown, remarks = mean_top([one(22.5, 75), one(21.5, math.nan)])
    assert unknown.value == pytest.approx(22.0)
    assert remarks[0].code == "one-direction"
