"""How results round, print and leave for other programs."""

import json
import math

import pytest

from traceanalyze.results import Estimate, RunSheet, number, round_half_up, uncertainty_decimals

# Particle Data Group, Review of Particle Physics, Introduction, 'Rounding' (examples from memory): 0.827 +- 0.119 is
# given as 0.83 +- 0.12, and 0.827 +- 0.367 as 0.8 +- 0.4; an uncertainty of 0.0953 counts as 0.10.


@pytest.mark.parametrize(
    ("value", "stderr", "text"),
    [
        (0.827, 0.119, "0.83 ± 0.12"),
        (0.827, 0.367, "0.8 ± 0.4"),
        (4.0537, 0.0181, "4.054 ± 0.018"),
        (4.0537, 0.0953, "4.05 ± 0.10"),
        (27.049, 1.02, "27.0 ± 1.0"),
        (27.049, 12.3, "27 ± 12"),
    ],
)
def test_an_estimate_shows_no_more_digits_than_it_has(value: float, stderr: float, text: str) -> None:
    assert Estimate(value, stderr).text() == text


def test_an_exact_half_rounds_up() -> None:
    # Directive 2006/27/EC, Annex III: a mean of 46.5 km/h is given as 47
    assert round_half_up(46.5, 0) == "47"
    assert round_half_up(2.675, 2) == "2.68"  # as written, not as the nearest binary number below it


def test_an_unknown_uncertainty_still_prints() -> None:
    assert Estimate(1.25, math.nan).text() == "1.250"
    assert Estimate(math.nan, 0.1).text() == "-"
    assert uncertainty_decimals(0.0) == 3


def test_the_interval_of_a_normal_law() -> None:
    # 1.959964 is the 97.5 % point of the normal law (Abramowitz & Stegun, table 26.5)
    estimate = Estimate(10.0, 2.0)
    assert estimate.interval() == pytest.approx([10 - 3.919928, 10 + 3.919928], abs=1e-6)


def test_nan_never_reaches_json() -> None:
    assert number(math.nan) is None
    assert number(math.inf) is None
    sheet = RunSheet(path="x", status="refused", error="x: why")
    entry = json.loads(json.dumps(sheet.to_dict(), allow_nan=False))
    assert entry["points"] == 0
    assert entry["launches"] == entry["passes"] == []
    assert entry["skipped"]["checksum"] == 0
