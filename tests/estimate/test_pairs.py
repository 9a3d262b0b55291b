"""Out and back: means of both directions, and what is said about them."""

import math

import pytest

from traceanalyze.estimate.pairs import apart_share, direction_remarks, pair_passes
from traceanalyze.results import Estimate, Pass


def a_pass(number: int, heading_deg: float, speed_mps: float, stderr_mps: float = 0.03) -> Pass:
    return Pass(
        number=number, start_s=100.0 * number, end_s=100.0 * number + 9, heading_deg=heading_deg, window_s=1.0,
        window_m=speed_mps, window_start_s=100.0 * number + 5, sustained=Estimate(speed_mps, stderr_mps),
        peak_mps=speed_mps, held_s=2.0, levelled_off=True,
    )  # fmt: skip


def test_out_and_back_are_averaged() -> None:
    (pair,) = pair_passes((a_pass(1, 91, 23.357147, 0.03), a_pass(2, 271, 19.530443, 0.04)))
    # arithmetic mean of +-3 m/s wind in a worked case of square drag at constant power: 21.443794 m/s (still 21.399392)
    assert pair.mean.value == pytest.approx(21.443795, abs=1e-6)
    assert pair.mean.stderr == pytest.approx(0.025, abs=1e-12)
    assert pair.to_dict()["passes"] == [1, 2]
    assert [remark.code for remark in pair.remarks] == ["top-speeds-apart"]


@pytest.mark.parametrize(("a", "b", "warns"), [(48.2, 47.1, False), (48.6, 47.1, True)])
def test_three_percent_of_the_mean(a: float, b: float, warns: bool) -> None:
    # Directive 95/1/EC Annex I 7 as replaced by 2006/27/EC Annex III: two consecutive tests must not diverge by more
    # than 3 %; 2.308 % passes, 3.135 % does not
    (pair,) = pair_passes((a_pass(1, 10, a / 3.6), a_pass(2, 190, b / 3.6)))
    assert bool(pair.remarks) is warns
    assert apart_share(48.2, 47.1) == pytest.approx(0.02308, abs=5e-6)
    assert apart_share(48.6, 47.1) == pytest.approx(0.03135, abs=5e-6)


def test_each_pass_is_used_once_with_its_next_opposite() -> None:
    ridden = (a_pass(1, 0, 25), a_pass(2, 2, 25), a_pass(3, 181, 24), a_pass(4, 179, 24), a_pass(5, 1, 25))
    pairs = pair_passes(ridden)
    assert [(pair.first.number, pair.second.number) for pair in pairs] == [(1, 3), (2, 4)]


def test_headings_across_north_and_unknown_ones() -> None:
    assert len(pair_passes((a_pass(1, 350, 25), a_pass(2, 175, 25)))) == 1
    assert pair_passes((a_pass(1, math.nan, 25), a_pass(2, 175, 25))) == ()
    assert pair_passes(()) == ()


def test_what_directions_leave_open() -> None:
    def codes(*passes: Pass) -> list[str]:
        return [remark.code for remark in direction_remarks(passes)]

    assert codes() == []
    assert codes(a_pass(1, math.nan, 25)) == ["direction-unknown"]
    assert codes(a_pass(1, 90, 25), a_pass(2, 95, 25)) == ["one-direction"]
    assert codes(a_pass(1, 90, 25), a_pass(2, 272, 25)) == ["few-passes"]
    assert codes(a_pass(1, 90, 25), a_pass(2, 272, 25), a_pass(3, 88, 25), a_pass(4, 270, 25)) == []
    assert codes(a_pass(1, 90, 25), a_pass(2, 180, 25)) == []
