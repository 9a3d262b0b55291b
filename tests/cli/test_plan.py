"""`plan` from the run book: which runs it takes, and that one measure never needs two numbers of runs."""

import json
import re

import pytest

from tests.book.making import entry
from tests.judge.sheets import NOON, launch, one_pass, sheet
from traceanalyze.book.opening import open_book_to_write
from traceanalyze.book.store import add_entries
from traceanalyze.cli.plan import plan
from traceanalyze.errors import BookError

#: Times of one setup, east and west in turn; standard deviation within each way 0.0816 and 0.0816.
TIMES = (4.00, 4.30, 4.10, 4.40, 4.20, 4.50, 4.10, 4.40)


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    place = tmp_path_factory.mktemp("plan") / "runs.book"
    for k, vehicle in enumerate(("kart", "bike")):
        rides = [launch(i + 1, t + k, utc_s=NOON + 600 * i, heading_deg=90.0 + 180 * (i % 2), start_s=600.0 * i + 1)
                 for i, t in enumerate(TIMES)]  # fmt: skip
        log = sheet(f"{vehicle}.nmea", *rides, passes=(one_pass(1, 20.0),), sha256=f"{k:064x}")
        with open_book_to_write(place) as opened:
            add_entries(opened, [entry(log, "standard", vehicle=vehicle)])
    return place


def document(capsys, **options):
    capsys.readouterr()
    assert plan(json=True, **options) == 0
    return json.loads(capsys.readouterr().out)


def test_the_scatter_and_the_typical_time_come_from_the_book(book, capsys):
    found = document(capsys, book=book, vehicle="kart")
    # within each way the times lie 0, 0.1, 0.2, 0.1 apart: sd 0.08165, six degrees of freedom; the usual 2.7 % of the
    # mean of 4.25 s counts as one more: sqrt((0.11475^2 + 6 * 0.08165^2) / 7)
    assert found["scatter"] == pytest.approx(((0.11475**2 + 6 * 0.0816497**2) / 7) ** 0.5, abs=1e-6)
    assert found["scatter_df"] == 6
    assert found["source"] == f"Reckoned with the runs of kart in the run book {book}"
    assert found["strips"][1]["top_mps"] == 20.0
    stated = document(capsys, book=book, vehicle="kart", scatter="0.2")
    assert stated["scatter"] == pytest.approx(0.2)


def test_one_measure_never_needs_two_numbers_of_runs(book, capsys):
    found = document(capsys, book=book, vehicle="kart", difference="0.1")
    mine = {choice["measure"]: choice for choice in found["measures"]}["0-30 mph"]
    assert mine["runs_each"] == found["runs_each"]
    assert mine["difference_s"] == pytest.approx(0.1)


def test_a_book_of_several_machines_wants_one_named(book, capsys, monkeypatch):
    with pytest.raises(BookError, match="several vehicles"):
        plan(book=book)
    monkeypatch.setenv("TRACEANALYZE_BOOK", str(book))
    unused = document(capsys)
    assert "was not used: the run book has several vehicles" in unused["source"]
    assert unused["scatter_source"].startswith("usual for riders")
    assert document(capsys, vehicle="kart")["scatter_source"].startswith("your own")
    monkeypatch.delenv("TRACEANALYZE_BOOK")
    assert document(capsys)["source"] is None


def test_the_screen_says_where_the_runs_are_from(book, capsys):
    assert plan(book=book, vehicle="kart", difference="0.15") == 0
    text = capsys.readouterr().out
    assert max(map(len, text.splitlines())) <= 80 + len(str(book))
    assert re.search(r"Reckoned with the runs of kart in the run book", text)
    assert "By these runs" in text
