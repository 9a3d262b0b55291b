"""Exact factors against their definitions, and the words of the trade."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceanalyze.errors import UsageError
from traceanalyze.units import KMH, KNOT, LENGTH_UNITS, MPH, SPEED_UNITS, parse_measure, parse_window

# 40 CFR 1066.20(b)(4): 1 mile = 1609.344 m. The nautical mile is 1852 m (First International Extraordinary
# Hydrographic Conference, Monaco 1929). The foot is 0.3048 m (international yard and pound agreement, 1959).
# atol: the factors are exact decimals or one division, so anything above rounding is a mistake


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (MPH, 0.44704),
        (30 * MPH, 13.4112),
        (KNOT, 0.514444444444),
        (22.4 * KNOT, 11.523555555556),
        (48.28032 * KMH, 13.4112),
        (60 * LENGTH_UNITS["ft"], 18.288),
        (LENGTH_UNITS["mi"] / 8, 201.168),
    ],
)
def test_factors_are_the_defined_ones(value: float, expected: float) -> None:
    assert value == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "label", "kind"),
    [
        ("0-30 mph", "0-30 mph", "standing"),
        (" 0 - 30MPH ", "0-30 mph", "standing"),
        ("0-50 km/h", "0-50 km/h", "standing"),
        ("0-50 kmh", "0-50 km/h", "standing"),
        ("20-40 mph", "20-40 mph", "rolling"),
        ("30-0 mph", "30-0 mph", "stopping"),
        ("60 ft", "60 ft", "distance"),
        ("60feet", "60 ft", "distance"),
        ("100 m", "100 m", "distance"),
        ("1/8 mi", "1/8 mi", "distance"),
        ("1/8 mile", "1/8 mi", "distance"),
        ("Top Speed", "top speed", "top speed"),
        ("top-speed", "top speed", "top speed"),
        ("0-15 m/s", "0-15 m/s", "standing"),
        ("0-20 kn", "0-20 kn", "standing"),
    ],
)
def test_measures_are_read_as_the_trade_writes_them(text: str, label: str, kind: str) -> None:
    measure = parse_measure(text)
    assert (measure.label, measure.kind) == (label, kind)
    assert parse_measure(measure.label) == measure or math.isnan(measure.distance_m)


def test_a_measure_carries_si_numbers() -> None:
    assert parse_measure("20-40 mph").from_mps == pytest.approx(8.9408, abs=1e-12)
    assert parse_measure("20-40 mph").to_mps == pytest.approx(17.8816, abs=1e-12)
    assert parse_measure("1/8 mi").distance_m == pytest.approx(201.168, abs=1e-12)


@pytest.mark.parametrize(
    "text", ["", "30", "0-30", "0-30 furlongs", "30-30 mph", "1/0 mi", "0-9999 mph", "0-30 mph x", "٣ m"]
)
def test_what_is_no_measure_is_refused_with_examples(text: str) -> None:
    with pytest.raises(UsageError, match=r"write it like|known are"):
        parse_measure(text)


@given(st.integers(1, 200), st.sampled_from(sorted(SPEED_UNITS)))
def test_every_label_reads_back_as_itself(top: int, unit: str) -> None:
    measure = parse_measure(f"0-{top} {unit}")
    assert parse_measure(measure.label).to_mps == measure.to_mps


def test_windows_are_times_or_lengths() -> None:
    assert parse_window("1s").duration_s == 1
    assert parse_window("3 s").duration_s == 3
    assert parse_window("100m").length_m == 100
    assert parse_window("300 ft").length_m == pytest.approx(91.44, abs=1e-12)
    for text in ("0s", "1e9 m", "fast", "100"):
        with pytest.raises(UsageError, match="write a time such as"):
            parse_window(text)
