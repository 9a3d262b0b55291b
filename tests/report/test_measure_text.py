"""What `measure` shows: the sentence, the tables, the notes; no more digits than the uncertainty allows."""

import math

import pytest

from traceanalyze.report.measure_text import headline, log_line, measure_text
from traceanalyze.results import Estimate, Launch, Pass, RunSheet, TimeResult
from traceanalyze.session import Asked
from traceanalyze.trace import Remark
from traceanalyze.units import parse_measure, parse_window

NAN = float("nan")


def launch(number, time_s, stderr_s=0.02, measure="0-30 mph", heading_deg=90.0):
    times = () if time_s is None else tuple(
        TimeResult(measure=measure, start_rule=rule, elapsed=Estimate(time_s, stderr_s), distance_m=30)
        for rule in ("rollout", "rest", "threshold")
    )  # fmt: skip
    return Launch(
        number=number, start=Estimate(65.04, 0.03), end_s=80, heading_deg=heading_deg, peak_speed_mps=15, times=times
    )


def one_pass(number, speed_mps, stderr_mps=0.04):
    return Pass(number=number, start_s=100, end_s=120, window_s=1, window_m=speed_mps, window_start_s=110,
                sustained=Estimate(speed_mps, stderr_mps), peak_mps=speed_mps, held_s=2, levelled_off=None)  # fmt: skip


def sheet(**parts):
    facts = {"path": "ride.nmea", "status": "ok", "format": "nmea", "duration_s": 144.0, "rate_hz": 10.0,
             "speed_source": "receiver", "speed_noise_mps": 0.05, "max_speed_mps": 5.0}  # fmt: skip
    return RunSheet(**facts | parts)


# round half up of the means by Directive 2006/27/EC, Annex III ('exact half rounds up')
@pytest.mark.parametrize(
    ("times", "sentence"),
    [
        ([], "No launch found; highest speed 11.2 mph."),
        ([4.045], "1 launch: 0-30 mph in 4.05 s; highest speed 11.2 mph."),
        ([4.0, 4.2], "2 launches: 0-30 mph in 4.10 s on average (4.00 to 4.20); highest speed 11.2 mph."),
        (
            [4.0, None, 4.2],
            "3 launches: 0-30 mph in 4.10 s on average of 2 of them (4.00 to 4.20); highest speed 11.2 mph.",
        ),
        ([4.0, None], "2 launches: 0-30 mph in 4.00 s (one of them); highest speed 11.2 mph."),
        ([None], "1 launch; highest speed 11.2 mph."),
    ],
)
def test_the_sentence(times, sentence):
    launches = tuple(launch(k, time) for k, time in enumerate(times, start=1))
    assert headline(sheet(launches=launches), Asked()) == sentence


def test_the_sentence_of_passes_and_without_speed():
    found = sheet(passes=(one_pass(1, 22.0), one_pass(2, 22.352)))  # 22.352 m/s = 50 mph exactly
    assert headline(found, Asked()) == "No launch found; 2 passes, the fastest 50.0 mph over 1 s."
    assert headline(sheet(passes=(one_pass(1, 22.352),)), Asked()) == "No launch found; 1 pass, 50.0 mph over 1 s."
    metric = Asked(system="metric", window=parse_window("100m"))
    assert "80.5 km/h over 100 m" in headline(found, metric)
    assert headline(sheet(max_speed_mps=NAN), Asked()) == "No launch found."


@pytest.mark.parametrize(
    ("stderr_s", "words"),
    [
        (0.02, "; good: one 0-30 mph is known to about ±0.04 s."),
        (0.045, "; fair: one 0-30 mph is known to about ±0.09 s, so repeat each launch."),
        (0.2, "; rough: one 0-30 mph is known only to about ±0.4 s; repeat each launch at least four times."),
        (5.0, "known only to about ±10 s; repeat"),
    ],
)
def test_the_log_line_says_how_far_to_trust(stderr_s, words):
    line = log_line(sheet(launches=(launch(1, 4.05, stderr_s),)), Asked())
    assert line.startswith("Log: 2 min 24 s at 10 Hz, speed noise 0.05 m/s, nothing damaged")
    assert words in line


def test_the_log_line_tells_losses_and_sources():
    line = log_line(
        sheet(skipped={"checksum": 3, "void_fix": 12, "glitch": 0}, speed_source="receiver+accelerometer", rate_hz=0.1),
        Asked(),
    )
    assert "with a point every 10 s" in line
    assert "speed from receiver and accelerometer" in line
    assert "left out: 3 with a wrong checksum, 12 without a fix" in line


def test_the_tables():
    asked = Asked(measures=(parse_measure("0-30 mph"), parse_measure("60 ft")))
    text = measure_text(
        [sheet(launches=(launch(1, 4.054, 0.018), launch(2, None)), passes=(one_pass(1, 22.352),))], asked
    )
    lines = [line.split() for line in text.splitlines()]
    # the Particle Data Group's rule: an uncertainty of 0.018 keeps two digits, 0.089 mph one
    assert ["1", "1:05.0", "90°", "E", "4.054", "±", "0.018", "-", "33.6"] in lines
    assert ["2", "1:05.0", "90°", "E", "-", "-", "33.6"] in lines
    assert ["1", "1:40.0", "-", "50.00", "±", "0.09", "73", "ft", "2.0", "s", "cannot", "tell", "-"] in lines
    assert text.rstrip().endswith("95 times in 100.")


def test_long_notes_are_wrapped_and_names_made_harmless():
    note = Remark("long", "word " * 60)
    text = measure_text([sheet(path="a\x1b[2J\nb", remarks=(note,))], Asked(), width=70)
    assert max(map(len, text.splitlines())) <= 70
    assert r"a\x1b[2J\nb" in text


def test_refused_logs_are_not_shown_here():
    assert measure_text([RunSheet(path="a", status="refused", error="a: no")], Asked()) == ""


def test_nothing_unknown_is_printed_as_nan():
    odd = sheet(launches=(launch(1, 4.0, NAN, heading_deg=NAN),), speed_noise_mps=NAN, rate_hz=NAN)
    assert "nan" not in measure_text([odd], Asked()).lower()
    assert math.isnan(odd.rate_hz)
