"""Times written down by hand: a strict table, every mistake with its row and column."""

import json
import math
from contextlib import suppress

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from traceanalyze.errors import SheetError, TraceError, UsageError
from traceanalyze.judge.quantity import Amount, parse_amount
from traceanalyze.judge.runs_csv import read_runs
from traceanalyze.judge.table import compare_rows, compare_table
from traceanalyze.units import MPH

TIMES = """setup,value,order,direction
stock,4.05,1,E
stock,4.19,2,W
stiff spring,3.90,3,E
stiff spring,4.01,4,W
stiff spring,3.78,5,E
stiff spring,3.97,6,W
stock,4.02,7,E
stock,3.99,8,W
"""


def table(text, **options):
    return compare_rows(read_runs(text.encode() if isinstance(text, str) else text), **options)


def test_a_table_is_judged_like_any_runs():
    found = table(TIMES)
    # the same eight runs by numpy.linalg.lstsq: 0.1475 s quicker (a plain difference of means, the design is balanced)
    assert found.headline.difference == pytest.approx(-0.1475, abs=1e-9)
    assert (found.baseline, found.changed, found.verdict) == ("stock", "stiff spring", "better")
    assert json.loads(json.dumps(found.to_dict(), allow_nan=False))["curves"] is None


def test_semicolons_and_decimal_commas():
    text = TIMES.replace(",", ";").replace(".", ",")
    assert table(text).to_dict() == table(TIMES).to_dict()


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16"])
def test_encodings_of_spreadsheets(encoding):
    assert table(TIMES.encode(encoding)).to_dict() == table(TIMES).to_dict()


def test_line_ends_comments_and_spaces_do_not_matter():
    text = "# springs\r\n" + TIMES.replace("\n", "\r\n").replace(",", " , ") + "\r\n,,,\r\n"
    assert table(text).to_dict() == table(TIMES).to_dict()


def test_windows_letters_survive():
    assert table(TIMES.replace("stock", "größer").encode("cp1252")).baseline == "größer"


def test_baseline_and_measures_by_name():
    assert table(TIMES, baseline="stiff spring").verdict == "worse"
    with pytest.raises(UsageError, match="no run of setup 'soft'"):
        table(TIMES, baseline="soft")
    with pytest.raises(UsageError, match="cannot be compared with itself"):
        table(TIMES, baseline="stock", changed="stock")


def test_three_setups_need_both_names():
    text = TIMES + "soft,4.3,9,E\nsoft,4.4,10,W\n"
    with pytest.raises(UsageError, match="two setups are compared"):
        table(text)
    assert table(text, baseline="stock", changed="soft").changed == "soft"


def test_top_speeds_in_the_unit_of_the_table():
    frame = pd.DataFrame(
        {
            "setup": list("AABBBBAA"),
            "value": [46.1, 46.5, 47.4, 47.9, 47.5, 48.0, 46.0, 46.4],
            "order": range(1, 9),
            "direction": list("EWEWEWEW"),
            "unit": ["mph"] * 8,
        }
    )
    found = compare_table(frame, measure="top speed", smallest=1.0)
    one = found.headline
    assert (one.unit, one.shown_unit) == ("m/s", "mph")
    # means 47.7 and 46.25 mph; 1 mph = 0.44704 m/s exactly
    assert one.difference == pytest.approx(1.45 * 0.44704, abs=1e-9)
    assert one.smallest_meaningful == pytest.approx(MPH)
    assert "mph" in one.why
    for measure in ("top speed mph", "Top speed (mph)"):
        same = compare_table(frame.drop(columns="unit").assign(measure=measure))
        assert same.headline.difference == pytest.approx(one.difference)
    bare = compare_table(frame.drop(columns="unit"), measure="top speed")
    assert bare.headline.difference == pytest.approx(1.45)  # no unit said: m/s


def test_units_behind_the_numbers():
    found = table(
        "setup,value,measure\nA,40 mph,top speed\nA,40.5 mph,top speed\nB,42 mph,top speed\nB,42.2mph,top speed\n"
    )
    assert found.headline.baseline_mean == pytest.approx(40.25 * 0.44704)
    with pytest.raises(SheetError, match="0-30 mph cannot be in mph"):
        table("setup,value\nA,4 mph\nA,4 mph\nB,4 mph\nB,4 mph\n")
    with pytest.raises(SheetError, match="is given in"):
        table("setup,value,unit\nA,4,s\nA,4,s\nB,4,mph\nB,4,s\n", measures=["top speed"])


def test_several_measures_in_one_table():
    text = "setup,value,measure,order\n" + "".join(
        f"{s},{v + more},{m},{i}\n"
        for i, (s, v) in enumerate(zip("ABBAABBA", (4.0, 3.6, 3.62, 4.05, 4.02, 3.61, 3.6, 4.01), strict=True), 1)
        for m, more in (("60 ft", 0.0), ("0-30 mph", 1.0))
    )
    found = table(text, measures=["0-30 mph"])
    assert [one.measure for one in found.measures] == ["0-30 mph", "60 ft"]
    assert [one.measure for one in table(text, measures=["60 ft"], only=True).measures] == ["60 ft"]
    with pytest.raises(UsageError, match="no run of 100 m"):
        table(text, measures=["100 m"], only=True)


def test_days_in_a_table_are_compared_within():
    text = "setup,value,order,day\n" + "".join(
        f"{s},{4.0 - 0.3 * (s == 'B') + 0.5 * (d == 'mon') + 0.01 * (i % 3)},{i},{d}\n"
        for d in ("mon", "tue")
        for i, s in enumerate("ABBA", 1)
    )
    assert "day" in table(text).headline.model


def test_an_order_column_or_the_rows_themselves():
    head, *rows = TIMES.splitlines()
    shuffled = table("\n".join([head, *sorted(rows)]), baseline="stock")
    assert shuffled.headline.difference == pytest.approx(table(TIMES).headline.difference)
    assert [run.order for run in shuffled.headline.baseline_runs] == [1, 2, 7, 8]
    listed = table("\n".join(line.rsplit(",", 2)[0] for line in TIMES.splitlines()))
    assert [run.order for run in listed.headline.changed_runs] == [3, 4, 5, 6]
    assert "order-as-listed" in {remark.code for remark in listed.remarks}


def test_a_value_without_uncertainty_has_that_of_its_last_digit():
    rough = table(
        "setup,value,order\n" + "".join(f"{s},{4.1 if s == 'A' else 4.0},{i}\n" for i, s in enumerate("ABBAABBA", 1))
    )
    # rounding to 0.1 s: uniform over +-0.05, standard deviation 0.1 / sqrt(12) (GUM, JCGM 100:2008, 4.3.7)
    assert rough.headline.baseline_runs[0].stderr == pytest.approx(0.1 / math.sqrt(12))
    assert rough.headline.stderr >= 0.1 / math.sqrt(12) * math.sqrt(2 / 4) * (1 - 1e-9)
    stated = table("setup,value,stderr\nA,4.1,0.5\nA,4.1,0.5\nB,4.0,0.5\nB,4.0,0.5\n")
    assert stated.headline.baseline_runs[0].stderr == 0.5


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "is empty"),
        ("setup,time\nA,4\n", "no column 'value'"),
        ("setup,value,ordr\nA,4,1\n", "unknown column 'ordr'; the nearest known one is 'order'"),
        ("setup,value,value\nA,4,4\n", "two columns are called 'value'"),
        ("setup,value\n", "holds no run"),
        ("setup,value\nA,4.0\nA,four\n", "row 3, column value: 'four' is not a number"),
        ("setup,value\nA,nan\n", "row 2, column value: 'nan' is not a number"),
        ("setup,value\nA,1e999\n", "row 2, column value: '1e999' is not a number"),
        ("setup,value\nA,-4\n", "row 2, column value: '-4' must be above 0"),
        ("setup,value\nA,0\n", "row 2, column value: '0' must be above 0"),
        ("setup,value\nA,\n", "row 2, column value: is empty"),
        ("setup,value\n,4\n", "row 2, column setup: is empty"),
        ("setup,value\nA,٤\n", "row 2, column value: '٤' is not a number"),
        ("setup,value,stderr\nA,4,-1\n", "row 2, column stderr: '-1' must not be below 0"),
        ("setup,value,unit\nA,4,furlongs\n", "row 2, column unit: 'furlongs' is none of"),
        ("setup,value,unit\nA,4 mph,s\n", "row 2, column unit: 's' though the value says mph"),
        ("setup,value,measure\nA,4,0-30 bananas\n", "row 2, column measure: '0-30 bananas' is no measure"),
        ("setup,value,order\nA,4,first\n", "row 2, column order: 'first' is no place"),
        ("setup,value,order\nA,4,1\nB,4,1\n", "row 3, column order: 1 stands in row 2 too"),
        ("setup,value,order\nA,4,1\nB,4,\n", "row 3, column order: is empty while others have one"),
        ("setup,value\nA,4,05\n", "row 2: 3 cells under 2 columns"),
        ('setup,value\nA,"4\n', "row 2: a quote is not closed"),
        (b"setup,value\n\0\0", "is not a text"),
        (b"x" * 2_000_001, "too large"),
    ],
)
def test_mistakes_are_told_with_row_and_column(text, reason):
    with pytest.raises(SheetError) as caught:
        table(text)
    assert reason in str(caught.value)


def test_every_mistake_is_told_at_once():
    with pytest.raises(SheetError) as caught:
        table("setup,value\nA,x1\nB,-3\n,4\n")
    assert str(caught.value).count("\n") == 2


def test_a_frame_with_nothing_in_a_cell():
    frame = pd.DataFrame({"setup": ["A", "A", "B", "B"], "value": [4.0, 4.1, 3.9, float("nan")]})
    with pytest.raises(SheetError, match="row 4, column value: is empty"):
        compare_table(frame)
    frame["value"] = [4.0, 4.1, 3.9, 3.95]
    frame["direction"] = ["E", None, "E", "W"]
    found = compare_table(frame)
    assert "direction-missing" in {remark.code for remark in found.all_remarks}


def test_amounts_as_people_write_them():
    assert parse_amount("0.05", "--smallest") == Amount(0.05)
    assert parse_amount(" 0.5 MPH ", "--smallest") == Amount(0.5, "mph")
    assert parse_amount(".1s", "--smallest") == Amount(0.1, "s")
    for text in ("", "-1", "0", "x", "1e3", "nan", "0.1 banana"):
        with pytest.raises(UsageError):
            parse_amount(text, "--smallest")


def test_a_smallest_difference_speaks_of_its_own_unit():
    found = table(TIMES, smallest=[Amount(0.5, "mph"), Amount(0.2)])
    assert found.headline.smallest_meaningful == 0.2
    assert table(TIMES, smallest=[Amount(0.5, "mph")]).headline.smallest_meaningful == 0.10


@settings(max_examples=150, deadline=None)
@given(st.text(alphabet='ab,;.\t"\n0123456789-#setupvalorder ', max_size=120))
def test_any_text_gives_a_table_or_our_error(text):
    for data in (text, "setup,value,order\n" + text):
        with suppress(TraceError):  # anything else fails the test
            table(data)
