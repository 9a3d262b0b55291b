"""Cells of digits become exactly the numbers that Python's float() and int() read from them."""

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from traceanalyze.parsers.table.blocks import alike, marked, padded
from traceanalyze.parsers.table.decimals import BAD, BLANK, NUMBER, Decimals, decimals


def read(cells: list[str]) -> Decimals:
    """Read one column of cells, each in a row of two."""
    text = padded(("\n".join(f"{cell},1" for cell in cells) + "\n").encode())
    return decimals((alike(text, 2) or marked(text, 2)).cells(0))


# float() is correctly rounded (D. Gay's algorithm, as the Python documentation says): the outside reference.
# The examples are known to be hard: 2^53 + 1 and its neighbours (halfway between doubles), 17 to 19 digits, halves of a
# gap, and 9007199254740993.0 with the tie broken by a digit far behind.
plain_numbers = st.builds(
    lambda sign, whole, fraction: f"{sign}{whole}{'.' + fraction if fraction is not None else ''}",
    st.sampled_from(["", "-", "+"]),
    st.integers(0, 10**19).map(str),
    st.none() | st.text("0123456789", max_size=20),
)


@settings(deadline=None)  # a loaded machine is no failure
@given(st.lists(plain_numbers, min_size=1, max_size=12))
@example(["9007199254740993", "9007199254740991", "-9007199254740993.0", "0.30000000000000004"])
@example(["0.1", "1.1", "2.2250738585072014", "4.35", "179769313486231570", "1.7976931348623157"])
@example(["9007199254740992.5", "9007199254740993.0000001", "72057594037927945", "36028797018963964.5"])
@example(["178638.607472956719", "641236.039141368994", "407107.570405056671"])  # a hair off halfway between doubles
@example(["0.000000000000000001", "999999999999999999", "1778999999000000001", "9223372036854775807"])
def test_values_are_those_of_float(cells: list[str]) -> None:
    numbers = read(cells)
    for k, cell in enumerate(cells):
        if abs(float(cell)) < 2**63:
            assert numbers.state[k] == NUMBER
            assert numbers.value[k] == float(cell), cell


@settings(deadline=None)  # a loaded machine is no failure
@given(st.lists(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e15, max_value=1e15), min_size=1))
def test_repr_of_any_double_comes_back(values: list[float]) -> None:
    assert read([repr(value) for value in values]).value.tolist() == values


@settings(deadline=None)  # a loaded machine is no failure
@given(st.lists(st.integers(-(10**18) + 1, 10**18 - 1), min_size=1), st.integers(0, 9))
def test_mantissa_and_places_hold_every_digit(values: list[int], places: int) -> None:
    cells = [f"{'-' if v < 0 else ''}{abs(v) // 10**places}.{abs(v) % 10**places:0{places}d}" for v in values]
    numbers = read(cells if places else [str(v) for v in values])
    assert [(int(m), int(p)) for m, p in zip(numbers.mantissa, numbers.places, strict=True)] == [
        (v, places) for v in values
    ]


@pytest.mark.parametrize("blank", ["", "NaN", "nan", "null", "-", "N/A", "None", "--", ".", "nan(ind)"])
def test_blank_words_are_no_numbers_and_no_damage(blank: str) -> None:
    numbers = read(["1.5", blank, "2"])
    assert numbers.state.tolist() == [NUMBER, BLANK, NUMBER]
    assert math.isnan(numbers.value[1])


# float() itself accepts the last four; a log that holds them is damaged
@pytest.mark.parametrize(
    "cell", ["1.2.3", "1-2", "--5", "5-", "0x1F", "12km", "1e", "+", "e5", "1 2", "inf", "Infinity", "1_0", "١"]
)
def test_what_is_no_plain_number_is_bad_not_a_guess(cell: str) -> None:
    numbers = read(["1.5", cell, "2"])
    assert numbers.state[1] == BAD
    assert math.isnan(numbers.value[1])
    assert numbers.value[[0, 2]].tolist() == [1.5, 2.0]


@pytest.mark.parametrize("cell", ["1e3", "-2.5E-3", "+.5", "5.", "1.0e+02", "-0.0", "00012.50"])
def test_other_spellings_of_numbers(cell: str) -> None:
    assert read([cell]).value[0] == float(cell)


def test_a_block_of_lines_alike_reads_as_one_read_cell_by_cell() -> None:
    rng = np.random.default_rng(3)
    lines = [f"{t:.3f},{x:.5f},{n},{y:.2f}" for t, x, n, y in zip(*rng.normal(size=(4, 500)) * 900, strict=True)]
    lines = [line.replace(line.split(",")[2], str(k * 7)) for k, line in enumerate(lines)]
    text = padded(("\n".join(lines) + "\n").encode())
    fast, slow = alike(text, 4), marked(text, 4)
    assert fast is not None
    for column in range(4):
        expected = [float(line.split(",")[column]) for line in lines]
        assert decimals(fast.cells(column)).value.tolist() == expected
        assert decimals(slow.cells(column)).value.tolist() == expected


def test_values_are_right_without_a_wide_float_too(monkeypatch: pytest.MonkeyPatch) -> None:
    # where a long double is no longer than a double (Windows, ARM), every long mantissa is read by float()
    monkeypatch.setattr("traceanalyze.parsers.table.decimals._WIDE", False)
    cells = ["178638.607472956719", "9007199254740993", "-0.019187470314561292", "1.5"]
    assert read(cells).value.tolist() == [float(cell) for cell in cells]
