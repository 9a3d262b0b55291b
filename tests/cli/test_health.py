"""`traceanalyze health`: is this logger good enough, and what to do."""

import pytest

from tests.cli.conftest import SAMPLES

KEYS = {
    "rate_hz", "period_s", "jitter_s", "gaps", "longest_gap_s", "noise_mps", "slow_mps", "resolution_mps", "hold_mps",
    "rest_s", "speed_lag_s", "satellites", "hdop", "fix_share", "expected_stderr_s", "expected_from",
}  # fmt: skip


def table(path, rows):
    path.write_text("time_s,speed_mps\n" + "".join(f"{t:.3f},{v:.3f}\n" for t, v in rows))
    return path


def test_a_good_logger(say, ride):
    said = say("health", ride)
    assert said.status == 0
    assert "Good: expect one 0-30 mph time to be right within ±0.0" in said.out
    assert "10 Hz" in said.out
    (entry,) = say("health", ride, "--json").document["files"]
    assert set(entry["quality"]) == KEYS
    # what the simulator was told: 10 Hz, 0.05 m/s, no gap, 14 satellites; a tenth for the noise, which some 40 s of
    # rest show no better
    quality = entry["quality"]
    assert quality["rate_hz"] == pytest.approx(10)
    assert quality["noise_mps"] == pytest.approx(0.05, rel=0.1)
    assert (quality["gaps"], quality["satellites"]) == (0, 14)
    assert entry["judgement"] in said.out.replace("\n    ", " ")


def test_a_slow_logger_is_told_to_repeat(say):
    said = say("health", SAMPLES / "standard_spring_1_second_logger.gpx")
    assert said.status == 0
    assert "1 Hz is slow: repeat each launch" in said.out
    assert "or use a 10 Hz logger" in said.out


def test_gaps_and_no_rest_are_told(say, tmp_path):
    moving = [(k / 10, 10 + 0.2 * (k % 7)) for k in range(900) if k // 100 % 2 == 0]
    said = say("health", table(tmp_path / "gaps.csv", moving))
    # five stretches of 10 s with 10 s between: from the last sample of one to the first of the next 10.1 s
    assert "4 dropouts, the longest of 10.1 s" in said.out
    assert "check power, card and antenna lead" in said.out
    assert "Stand still for at least three seconds" in said.out


def ramp():
    """Rest, then 0.2 m/s^2 up to 12 m/s, at 10 Hz."""
    return [(k / 10, min(max(0, k - 100) * 0.02, 12)) for k in range(1200)]


def test_rounding_is_told(say, tmp_path):
    rows = [(t, round(v / (1852 / 3600)) * 1852 / 3600) for t, v in ramp()]  # whole knots: 1852 m an hour each
    said = say("health", table(tmp_path / "coarse.csv", rows), "--json")
    (entry,) = said.document["files"]
    assert entry["quality"]["resolution_mps"] == pytest.approx(1852 / 3600, abs=1e-6)
    assert any("more decimals" in step for step in entry["advice"])


def test_a_receiver_that_shows_zero_while_it_creeps_is_told(say, tmp_path):
    up = [v for _, v in ramp()]
    speeds = 3 * [*up, *reversed(up)]  # six starts and stops: one alone might be a sudden one
    rows = [(k / 10, v if v >= 1 else 0) for k, v in enumerate(speeds)]
    said = say("health", table(tmp_path / "hold.csv", rows), "--json")
    (entry,) = said.document["files"]
    assert entry["quality"]["hold_mps"] == pytest.approx(1, abs=0.05)
    assert any("static hold" in step for step in entry["advice"])


def test_refused_logs_are_in_the_document_and_on_standard_error(say, ride, tmp_path):
    bad = tmp_path / "bad.nmea"
    bad.write_bytes(b"\0" * 100)
    said = say("health", bad, ride, "--json", "--quiet", "--no-color")
    assert (said.status, len(said.errors)) == (1, 1)
    entry = said.document["files"][0]
    assert (entry["status"], entry["quality"], entry["judgement"]) == ("refused", None, None)
    assert say("health", bad).out == ""


def test_a_clock_that_leaps_by_a_thousand_years_does_no_harm(say, tmp_path):
    years = [2026] * 199 + [3026]
    points = [
        f'<trkpt lat="{41 + 1e-4 * k}" lon="-38"><time>{year}-05-17T12:{k // 60:02d}:{k % 60:02d}Z</time>'
        f"<speed>{10 + k % 60 / 10}</speed></trkpt>"
        for k, year in enumerate(years)
    ]
    path = tmp_path / "leap.gpx"
    path.write_text(f"<gpx><trk><trkseg>{''.join(points)}</trkseg></trk></gpx>")
    said = say("health", path, "--json")
    assert (said.status, said.err) == (0, "")
    assert said.document["files"][0]["quality"]["speed_lag_s"] is None
