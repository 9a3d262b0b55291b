"""Remarks that several runs share become one line."""

from traceanalyze.report.notes import note_lines
from traceanalyze.results import Estimate, Launch, Pass, RunSheet
from traceanalyze.trace import Remark


def launches(*texts):
    """A launch for each tuple of (code, text) pairs."""
    return tuple(
        Launch(
            number=k,
            start=Estimate(1.0, 0.1),
            end_s=9.0,
            peak_speed_mps=15.0,
            remarks=tuple(Remark(*one) for one in own),
        )
        for k, own in enumerate(texts, start=1)
    )


def notes(**parts):
    return note_lines(RunSheet(path="a", status="ok", **parts))


def test_the_log_first_then_launches_then_passes():
    one = Pass(number=1, start_s=1, end_s=9, window_s=1, window_m=9, window_start_s=2, sustained=Estimate(9, 0.1),
               peak_mps=9, held_s=1, levelled_off=None, remarks=(Remark("p", "of the pass"),))  # fmt: skip
    found = notes(remarks=(Remark("l", "of the log"),), launches=launches([("a", "of the launch")]), passes=(one,))
    assert found == ["of the log", "launch 1: of the launch", "pass 1: of the pass"]


def test_the_same_text_is_said_once():
    same = [("a", "late")]
    assert notes(launches=launches(same, same)) == ["all launches: late"]
    assert notes(launches=launches(same, [], same, same, same)) == ["launches 1, 3-5: late"]


def test_texts_that_differ_in_one_number_are_joined():
    found = notes(launches=launches([("a", "lost 9.5 m/s on 8.3 m/s")], [("a", "lost 10 m/s on 8.3 m/s")], []))
    assert found == ["launches 1, 2: lost 9.5 to 10 m/s on 8.3 m/s"]


def test_texts_that_differ_in_more_stay_apart():
    found = notes(launches=launches([("a", "1 of 2")], [("a", "3 of 4")]))
    assert found == ["launch 1: 1 of 2", "launch 2: 3 of 4"]
    found = notes(launches=launches([("a", "lost 1 of 2")], [("a", "lost 3 of 4")]))
    assert found == ["launch 1: lost 1 of 2", "launch 2: lost 3 of 4"]


def test_measures_are_no_numbers():
    found = notes(launches=launches([("a", "0-20 mph: grazed")], [("a", "0-30 mph: grazed")], [("a", "60 ft: grazed")]))
    assert found == ["launch 1: 0-20 mph: grazed", "launch 2: 0-30 mph: grazed", "launch 3: 60 ft: grazed"]


def test_what_the_table_shows_is_not_said_again():
    assert notes(launches=launches([("not-reached", "0-30 mph was not reached")])) == []
