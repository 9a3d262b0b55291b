"""Errors say where, what and what to try, on one line, whatever a file is called."""

import pickle

from hypothesis import given
from hypothesis import strategies as st

from traceanalyze.errors import FormatError, TraceError, shown


def test_an_error_reads_as_one_line() -> None:
    error = FormatError("not a log this program reads", where="ride\n.txt", advice="record NMEA, GPX or CSV")
    assert str(error) == r"ride\n.txt: not a log this program reads; record NMEA, GPX or CSV"
    assert str(FormatError("why").at("a.gpx")) == "a.gpx: why"


def test_an_error_survives_the_way_between_processes() -> None:
    error = pickle.loads(pickle.dumps(FormatError("why", where="a", advice="try")))
    assert isinstance(error, FormatError)
    assert str(error) == "a: why; try"


@given(st.text())
def test_shown_text_holds_nothing_that_moves_a_terminal(text: str) -> None:
    line = shown(text)
    assert line.isprintable()
    assert shown(line) == line
    line.encode("utf-8")


def test_undecodable_bytes_and_direction_marks_are_written_out() -> None:
    assert shown("a\udcffb") == r"a\xffb"
    assert shown("\u202eexe.gpx") == r"\u202eexe.gpx"
    assert shown("\x1b[31mred") == r"\x1b[31mred"
    assert shown("Straße été 東京") == "Straße été 東京"
    assert isinstance(TraceError("x"), Exception)
