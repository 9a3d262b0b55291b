"""Export and import: exact both ways, whatever is in the book; nothing but our error for whatever is in the file.

JSON is read back here by the standard library alone (RFC 8259), the table by pandas.
"""

import io
import json
import math
from copy import deepcopy

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.book.making import MORNING, entry, in_memory, log
from traceanalyze.book.checking import records
from traceanalyze.book.exchange import RESULT_TABLE, book_document, import_document, read_export
from traceanalyze.book.reading import all_runs
from traceanalyze.book.records import LogRecord, plain
from traceanalyze.book.store import add_entry
from traceanalyze.errors import BookError, InputError, TraceError
from traceanalyze.report.book_export import export_text


@pytest.fixture
def book():
    with in_memory() as opened:
        add_entry(opened, entry(log("run1.nmea", [4.05, 3.98], tops=[25.5])))
        add_entry(opened, entry(log("=run2.nmea", [4.2], origin=MORNING + 900), "@stiff", left_out={("launch", 1)}))
        yield opened


def test_a_book_comes_back_exactly(book):
    text = export_text(book, "json")
    with in_memory() as other:
        assert (import_document(other, text).added, import_document(other, text).known) == (2, 2)
        assert export_text(other, "json") == text
        assert all_runs(other) == all_runs(book)


def test_the_document_is_plain_json(book):
    document = json.loads(export_text(book, "json"), parse_constant=pytest.fail)  # no NaN, no Infinity
    assert document["schema"] == "traceanalyze.book/1"
    first = document["logs"][0]["runs"][0]
    assert (first["setup"], first["results"][0]["value"], first["results"][0]["unit"]) == ("standard spring", 4.05, "s")
    assert None in first["curve"]["time_s"]
    assert document["logs"][1]["runs"][0]["left_out"] == "skipped on the day sheet"
    assert document["vehicles"] == [
        {
            "name": "pit bike", "mass_kg": 142.0, "tyre_circumference_m": None, "teeth": [], "max_engine_rpm": None,
            "engagement_rpm": None,
        }
    ]  # fmt: skip


def test_pandas_reads_the_table_and_no_cell_is_a_formula(book):
    frame = pd.read_csv(io.StringIO(export_text(book, "csv")))
    assert tuple(frame.columns) == RESULT_TABLE
    rollout = frame[(frame["measure"] == "0-30 mph") & (frame["start_rule"] == "rollout")]
    assert list(rollout["value"]) == [4.05, 3.98, 4.2]
    assert list(rollout["file"]) == ["run1.nmea", "run1.nmea", "'=run2.nmea"]
    assert list(rollout["setup"]) == ["standard spring", "standard spring", "'@stiff"]
    assert rollout["start_utc"].iloc[0] == "2026-05-17T09:01:00.000000Z"
    assert frame[frame["measure"] == "top speed"]["window"].tolist() == ["1 s"]
    assert list(rollout["order"]) == [1, 2, 3]


def test_what_this_book_says_stays(book):
    document = book_document(book)
    document["vehicles"][0] |= {"mass_kg": 999, "tyre_circumference_m": 1.3}
    document["fittings"][0]["facts"] |= {"mass_kg": 999, "notes": "theirs"}
    import_document(book, json.dumps(document))
    after = book_document(book)
    assert (after["vehicles"][0]["mass_kg"], after["vehicles"][0]["tyre_circumference_m"]) == (142, 1.3)
    assert (after["fittings"][0]["facts"]["mass_kg"], after["fittings"][0]["facts"]["notes"]) == (142, "theirs")


# --- any book ---------------------------------------------------------------------------------------------------------
TEXT = st.text(st.characters(exclude_categories=("Cs",)), max_size=12)
NAME = TEXT.filter(str.strip)
NUMBER = st.floats(allow_nan=False, allow_infinity=False, width=64).filter(lambda x: abs(x) < 1e300)
MAYBE = st.none() | NUMBER
RESULT = st.fixed_dictionaries(
    {
        "measure": NAME,
        "start_rule": st.sampled_from(["", "rollout", "rest", "threshold"]),
        "window": TEXT,
        "value": NUMBER,
        "stderr": MAYBE,
        "unit": st.sampled_from(["s", "m/s"]),
    }
)
CURVE = st.integers(0, 4).flatmap(
    lambda n: st.fixed_dictionaries(
        {"speed_mps": st.lists(NUMBER, min_size=n, max_size=n)}
        | {
            name: st.lists(MAYBE, min_size=n, max_size=n)
            for name in ("time_s", "time_stderr_s", "accel_mps2", "accel_stderr_mps2", "distance_m")
        }
    )
)
RUN = st.fixed_dictionaries(
    {
        "kind": st.sampled_from(["launch", "pass"]),
        "number": st.integers(1, 99),
        "vehicle": NAME,
        "setup": NAME,
        "date": st.dates().map(str),
        "place": TEXT,
        "start_s": NUMBER,
        "utc_s": MAYBE,
        "heading_deg": MAYBE,
        "levelled_off": st.none() | st.booleans(),
        "left_out": TEXT,
        "results": st.lists(RESULT, max_size=3, unique_by=lambda r: (r["measure"], r["start_rule"], r["window"])),
        "remarks": st.lists(st.fixed_dictionaries({"code": TEXT, "text": TEXT}), max_size=2),
        "curve": st.none() | CURVE,
    }
)
LOG = st.fixed_dictionaries(
    {
        "sha256": st.integers(0, 2**256 - 1).map("{:064x}".format),
        "member": TEXT,
        "path": TEXT,
        "status": st.sampled_from(["ok", "partial"]),
        "points": st.integers(0, 2**53 - 1),
        "duration_s": NUMBER,
        "rate_hz": MAYBE,
        "version": TEXT,
        "skipped": st.dictionaries(TEXT, st.integers(0, 10**9), max_size=3),
        "runs": st.lists(RUN, max_size=3, unique_by=lambda r: (r["kind"], r["number"])),
        "remarks": st.lists(st.fixed_dictionaries({"code": TEXT, "text": TEXT}), max_size=2),
    }
)
BOOK = st.lists(LOG, max_size=3, unique_by=lambda one: (one["sha256"], one["member"]))


@settings(max_examples=40, deadline=None)
@given(logs=BOOK)
def test_any_book_comes_back_exactly(logs):
    with in_memory() as book:
        import_document(book, json.dumps({"schema": "traceanalyze.book/1", "logs": logs}))
        text = export_text(book, "json")
    kept = json.loads(text)["logs"]
    assert kept == [plain(one) for one in records(LogRecord, logs, "logs")]
    for one, mine in zip(logs, kept, strict=True):  # and that is what was given, whatever was left out being null
        assert {key: mine[key] for key in one if key != "runs"} == {key: one[key] for key in one if key != "runs"}
        for run, my_run in zip(one["runs"], mine["runs"], strict=True):
            assert {key: my_run[key] for key in run if key != "results"} == {
                key: run[key] for key in run if key != "results"
            }
            assert [r["value"] for r in my_run["results"]] == [r["value"] for r in run["results"]]
    with in_memory() as again:
        import_document(again, text)
        assert export_text(again, "json") == text
        export_text(again, "csv")


# --- any file ---------------------------------------------------------------------------------------------------------
def paths_of(value, path=()):
    yield path
    items = value.items() if isinstance(value, dict) else enumerate(value[:1]) if isinstance(value, list) else ()
    for key, one in items:
        yield from paths_of(one, (*path, key))


JUNK = [None, True, -1, 1.5, 2**70, "x", "\ud800", [[]], {"x": 1}, "2026-13-01"]


def test_every_value_replaced_by_every_junk_is_our_error_or_no_harm(book):
    document = book_document(book)
    del document["logs"][1:]  # one of each is enough
    del document["logs"][0]["runs"][1:]
    curve = document["logs"][0]["runs"][0]["curve"]
    curve |= {name: values[:2] for name, values in curve.items()}
    document["vehicles"][0]["teeth"] = [[15, 41]]
    for path in paths_of(document):
        for junk in JUNK:
            changed = deepcopy(document)
            target = changed
            for key in path[:-1]:
                target = target[key]
            if path:
                target[path[-1]] = junk
            else:
                changed = junk
            with in_memory() as other:
                try:
                    import_document(other, json.dumps(changed))
                except TraceError as error:
                    assert "\n" not in str(error)  # noqa: PT017 - anything else is the failure
                    assert all_runs(other) == ()  # nothing of it was kept
                else:
                    export_text(other, "json")


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "not a JSON document"),
        ("{", "not a JSON document"),
        ("[" * 100_000, "not a JSON document"),
        ('{"schema": "traceanalyze.book/1", "logs": [NaN]}', "not a JSON document"),
        ('{"x": ' + "9" * 5000 + "}", "not a JSON document"),
        ("[]", "not the export of a run book"),
        ('{"schema": "traceanalyze.measure/1"}', "not the export of a run book"),
        ('{"schema": "traceanalyze.book/2", "logs": []}', "of a newer program"),
        ('{"schema": "traceanalyze.book/1"}', "logs is not a list"),
        ('{"schema": "traceanalyze.book/1", "logs": [{}]}', r"logs\[0\] has no sha256"),
        ('{"schema": "traceanalyze.book/1", "logs": [{"colour": 1}]}', r"logs\[0\] has an unknown key 'colour'"),
    ],
)
def test_other_documents_are_refused(book, text, reason):
    before = all_runs(book)
    with pytest.raises(BookError, match=reason):
        import_document(book, text)
    assert all_runs(book) == before


def test_one_unfit_log_keeps_out_all(book):
    document = book_document(book)
    document["logs"][1]["runs"] *= 2  # one run twice
    with in_memory() as other:
        with pytest.raises(BookError, match=r"logs\[1\] holds a run twice; import what book export wrote"):
            import_document(other, json.dumps(document))
        del document["logs"][1]["runs"][1]
        document["logs"][1]["runs"][0]["results"] *= 2
        with pytest.raises(BookError, match=r"logs\[1\] launch 1 holds a measure twice"):
            import_document(other, json.dumps(document))
        assert all_runs(other) == ()


def test_a_lie_about_a_number_is_named(book):
    document = book_document(book)
    document["logs"][0]["runs"][0]["results"][0]["value"] = "4.05"
    with pytest.raises(BookError, match=r"logs\[0\]\.runs\[0\]\.results\[0\]\.value is not a number"):
        import_document(book, json.dumps(document))
    document["logs"][0]["runs"][0]["results"][0]["value"] = math.inf
    with pytest.raises(BookError, match="not a JSON document"):
        import_document(book, json.dumps(document))


def test_exports_that_cannot_be_read(tmp_path):
    (tmp_path / "latin.json").write_bytes(b'{"x": "\xe9"}')
    with pytest.raises(BookError, match="not a JSON document"):
        read_export(str(tmp_path / "latin.json"))
    for name in (tmp_path, tmp_path / "none.json"):
        with pytest.raises(InputError):
            read_export(str(name))
    (tmp_path / "bom.json").write_bytes(b"\xef\xbb\xbf{}")
    assert read_export(str(tmp_path / "bom.json")) == "{}"
