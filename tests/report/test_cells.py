"""Cells against what spreadsheets and other CSV readers make of them."""

import csv
import io
import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceanalyze.report.cells import csv_text, safe_cell


@pytest.mark.parametrize(
    "text",
    # OWASP, 'CSV Injection': cells beginning with any of = + - @ TAB CR may be run as formulas. The second is its own
    # example of a harmful cell.
    ["=1+1", '=cmd|" /C calc"!A0', "+1", "-1+2", "@SUM(A1)", "\tx", "\r=1"],
)
def test_a_text_that_could_run_gets_an_apostrophe(text):
    assert safe_cell(text) == "'" + text


@pytest.mark.parametrize("value", ["", "stiff spring", "a=b", " =1", "'=1", "1-2", -1.5, -3, None, True])
def test_everything_else_stays(value):
    assert safe_cell(value) is value


TEXTS = st.text(st.characters(exclude_categories=("Cs",)), max_size=12)


@given(rows=st.lists(st.fixed_dictionaries({"name": TEXTS, "value": st.floats(allow_nan=False, allow_infinity=False)})))
def test_another_reader_reads_the_same_rows_and_no_formula(rows):
    # the reader is Python's own csv module in its strict RFC 4180 form, which shares no code with the writer's callers
    found = list(csv.DictReader(io.StringIO(csv_text(["name", "value"], rows), newline=""), strict=True))
    assert [row["name"] for row in found] == [safe_cell(row["name"]) for row in rows]
    assert [float(row["value"]) for row in found] == [row["value"] for row in rows]  # every digit came back
    assert not any(row["name"].startswith(("=", "+", "-", "@", "\t", "\r")) for row in found)


def test_pandas_reads_line_ends_inside_a_cell():
    text = csv_text(["name", "n"], [{"name": "two\r\nlines", "n": 1}, {"name": 'a "quote", a comma', "n": 2}])
    frame = pd.read_csv(io.StringIO(text))
    assert list(frame["n"]) == [1, 2]
    assert frame["name"][1] == 'a "quote", a comma'


def test_what_is_missing_is_an_empty_cell():
    row = {"a": math.nan, "b": math.inf, "c": None, "d": np.float64(-0.25), "e": True, "f": np.int64(-3)}
    assert csv_text("abcdefg", [row]) == "a,b,c,d,e,f,g\n,,,-0.25,true,-3,\n"


def test_a_column_cannot_be_lost():
    with pytest.raises(KeyError, match="speed"):
        csv_text(["a"], [{"a": 1, "speed": 2}])
