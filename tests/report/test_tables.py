"""Tables and sentences in plain text."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceanalyze.errors import shown
from traceanalyze.report.tables import (
    clock_text,
    counted,
    duration_text,
    heading_text,
    listed,
    numbers_text,
    table_text,
    wrapped,
)


def test_columns_stand_under_each_other():
    text = table_text(["#", "name", "time"], [["1", "a", "4.05 ± 0.02"], ["12", "long name", "-"]])
    assert text.splitlines() == [
        "   #  name              time",
        "   1  a          4.05 ± 0.02",
        "  12  long name            -",
    ]
    assert table_text(["a"], []) == "  a"
    assert table_text(["a"], [["1"]], bold=True).startswith("\x1b[1m")


@given(st.lists(st.tuples(st.text("ab ±µ", max_size=9), st.text("0123456789.-", max_size=9)), min_size=1, max_size=9))
def test_every_row_of_a_table_has_its_cells_in_the_same_columns(rows):
    lines = table_text(["one", "two"], rows).splitlines()
    assert len(lines) == len(rows) + 1
    width = 2 + max(3, *(len(row[0]) for row in rows)) + 2
    for line, row in zip(lines[1:], rows, strict=True):
        assert line[2:width].rstrip() == row[0].rstrip()
        assert line[width:].strip() == row[1]


@pytest.mark.parametrize(
    ("time_s", "text"),
    [
        (0, "0:00.0"),
        (59.96, "1:00.0"),
        (245.3, "4:05.3"),
        (3599.94, "59:59.9"),
        (3600, "1:00:00.0"),
        (7325.26, "2:02:05.3"),
    ],
)
def test_clock(time_s, text):
    assert clock_text(time_s) == text


@pytest.mark.parametrize(
    ("time_s", "text"),
    [
        (0, "0 s"), (57.4, "57 s"), (99.4, "99 s"), (144, "2 min 24 s"), (7199, "119 min 59 s"), (7200, "2 h 0 min"),
        (11100, "3 h 5 min"), (86400 * 27.2, "27 days"),
    ],
)  # fmt: skip
def test_duration(time_s, text):
    assert duration_text(time_s) == text


# compass points: eight sectors of 45 degrees centred on N, NE, ... (common practice, no source)
@pytest.mark.parametrize(
    ("heading", "text"),
    [
        (0, "0° N"),
        (22.4, "22° N"),
        (22.6, "23° NE"),
        (90, "90° E"),
        (180, "180° S"),
        (359.7, "0° N"),
        (337.4, "337° NW"),
    ],
)
def test_heading(heading, text):
    assert heading_text(heading) == text
    assert heading_text(float("nan")) == "-"


def test_counts():
    assert [counted(n, "pass", "passes") for n in (0, 1, 2)] == ["no passes", "1 pass", "2 passes"]
    assert counted(3, "log") == "3 logs"


@given(st.sets(st.integers(1, 60), min_size=1))
def test_numbers_read_back(numbers):
    text = numbers_text(sorted(numbers))
    read = set()
    for part in text.split(", "):
        first, _, last = part.partition("-")
        read |= set(range(int(first), int(last or first) + 1))
    assert read == numbers


def test_numbers_are_short():
    assert numbers_text([1, 3, 4, 5, 8, 9]) == "1, 3-5, 8, 9"


@given(st.text(max_size=300), st.integers(30, 120))
def test_wrapped_text_keeps_its_width_and_its_words(text, width):
    lines = wrapped(text, width=width, first="  - ", rest="    ").splitlines()
    longest = max((len(word) for word in shown(text).split()), default=0)
    assert all(len(line) <= width or longest > width - 8 for line in lines)
    assert all(char.isprintable() for line in lines for char in line)


def test_listed():
    assert (
        listed(["one two three four five six", "seven"], width=20) == "  - one two three\n    four five six\n  - seven"
    )
