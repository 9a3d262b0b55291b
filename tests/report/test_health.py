"""The judgement of a logger and the advice, word by word."""

from dataclasses import replace

import pytest

from traceanalyze.estimate.quality import LogQuality
from traceanalyze.report.health import advice, health_document, health_text, judgement
from traceanalyze.results import RunSheet
from traceanalyze.session import Study

NAN = float("nan")
GOOD = LogQuality(
    rate_hz=10.0,
    period_s=0.1,
    jitter_s=0.0,
    gaps=0,
    longest_gap_s=0.0,
    noise_mps=0.05,
    slow_mps=0.03,
    resolution_mps=0.0,
    hold_mps=0.0,
    rest_s=30.0,
    speed_lag_s=NAN,
    satellites=12.0,
    hdop=0.8,
    fix_share=1.0,
    expected_stderr_s=0.02,
    expected_from="launches",
)


# interval of a normal law: 1.96, here 2, standard uncertainties hold 95 in 100
@pytest.mark.parametrize(
    ("stderr_s", "basis", "sentence"),
    [
        (
            0.02,
            "launches",
            "Good: expect one 0-30 mph time to be right within ±0.04 s, 95 times in 100 (as the launches",
        ),
        (
            0.06,
            "noise",
            "Fair: expect one 0-30 mph time to be right within ±0.12 s, 95 times in 100 (judged by its rate",
        ),
        (0.2, "noise", "Rough: expect one 0-30 mph time to be right within ±0.4 s, 95 times in 100"),
        (NAN, "noise", "Cannot tell yet"),
    ],
)
def test_the_judgement(stderr_s, basis, sentence):
    assert judgement(replace(GOOD, expected_stderr_s=stderr_s, expected_from=basis)).startswith(sentence)


def test_a_good_logger_needs_no_advice():
    assert advice(GOOD) == []


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        (
            {"rate_hz": 1.0, "expected_stderr_s": 0.05},
            "1 Hz is slow: repeat each launch four times, or use a 10 Hz logger.",
        ),
        ({"rate_hz": 1.0, "expected_stderr_s": 0.5}, "repeat each launch ten times"),
        ({"rate_hz": 0.1, "period_s": 10.0, "expected_stderr_s": NAN}, "A point every 10 s is slow"),
        ({"expected_stderr_s": 0.1}, "Repeat each launch at least four times"),
        ({"noise_mps": 0.2}, "mount the antenna flat"),
        ({"hold_mps": 0.5}, "static hold"),
        ({"resolution_mps": 0.2778}, "more decimals"),
        ({"gaps": 9}, "dropouts"),
        ({"rest_s": 1.0}, "Stand still for at least three seconds"),
        ({"hdop": 3.0}, "HDOP above 2"),
    ],
)
def test_each_weakness_has_its_own_advice(changed, words):
    (step,) = advice(replace(GOOD, **changed))
    assert words in step


def test_refused_logs_have_an_entry_and_no_block():
    refused = Study(sheet=RunSheet(path="a", status="refused", error="a: no; copy it"))
    assert health_text([refused]) == ""
    (entry,) = health_document([refused])["files"]
    assert (entry["error"], entry["quality"], entry["advice"]) == ("a: no; copy it", None, [])
