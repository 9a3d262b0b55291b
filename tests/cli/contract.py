"""The machine output that others script against: names and types of every key, and what must hold between them."""

import math
import re

ANY_NUMBER = (int, float)
MAYBE_NUMBER = (int, float, type(None))
MAYBE_TEXT = (str, type(None))
UTC = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z")

FILE = {
    "path": str, "status": str, "error": MAYBE_TEXT, "format": MAYBE_TEXT, "sha256": MAYBE_TEXT,
    "time_origin_utc": MAYBE_TEXT, "points": int, "duration_s": ANY_NUMBER, "rate_hz": MAYBE_NUMBER,
    "speed_source": MAYBE_TEXT, "speed_noise_mps": MAYBE_NUMBER, "skipped": dict, "max_speed_mps": MAYBE_NUMBER,
    "launches": list, "passes": list,
}  # fmt: skip
LAUNCH = {
    "number": int, "start_s": ANY_NUMBER, "start_stderr_s": ANY_NUMBER, "start_utc": MAYBE_TEXT,
    "heading_deg": MAYBE_NUMBER, "grade_pct": MAYBE_NUMBER, "peak_speed_mps": ANY_NUMBER, "times": list,
    "remarks": list,
}  # fmt: skip
TIME = {
    "measure": str, "start_rule": MAYBE_TEXT, "elapsed_s": ANY_NUMBER, "stderr_s": ANY_NUMBER, "interval95_s": list,
    "distance_m": ANY_NUMBER,
}  # fmt: skip
PASS = {
    "number": int, "start_s": ANY_NUMBER, "end_s": ANY_NUMBER, "heading_deg": MAYBE_NUMBER, "grade_pct": MAYBE_NUMBER,
    "window_s": ANY_NUMBER, "window_m": ANY_NUMBER, "sustained_mps": ANY_NUMBER, "stderr_mps": ANY_NUMBER,
    "interval95_mps": list, "peak_mps": ANY_NUMBER, "held_s": ANY_NUMBER, "levelled_off": (bool, type(None)),
    "projected_mps": MAYBE_NUMBER, "projected_stderr_mps": MAYBE_NUMBER, "remarks": list,
}  # fmt: skip
SKIPPED = ("checksum", "malformed", "truncated", "void_fix", "duplicate", "glitch", "no_time")
SOURCES = ("receiver", "positions", "accelerometer", "receiver+accelerometer")


def typed(entry, kinds):
    """Check that every key is there with its type; there may be more."""
    assert isinstance(entry, dict)
    for key, kind in kinds.items():
        assert key in entry, key
        assert isinstance(entry[key], kind), (key, entry[key])
        if not (kind is int or kind is bool or (isinstance(kind, tuple) and bool in kind)):
            assert not isinstance(entry[key], bool), key
        if isinstance(entry[key], float):
            assert math.isfinite(entry[key]), key


def check_measure_document(document, version):
    """Check a whole document of `measure --json`."""
    assert document["schema"] == "traceanalyze.measure/1"
    assert document["version"] == version
    assert isinstance(document["files"], list)
    for entry in document["files"]:
        check_file(entry)


def check_file(entry):
    """Check one entry of `files`."""
    typed(entry, FILE)
    assert entry["status"] in ("ok", "partial", "refused")
    assert all(isinstance(entry["skipped"][kind], int) for kind in SKIPPED)
    if entry["status"] == "refused":
        assert "\n" not in entry["error"]
        assert entry["error"].startswith(entry["path"]) or "\\x" in entry["error"] or "\\u" in entry["error"]
        assert (entry["launches"], entry["passes"], entry["points"]) == ([], [], 0)
        return
    assert entry["error"] is None
    assert entry["format"] in ("nmea", "gpx", "csv")
    assert re.fullmatch(r"[0-9a-f]{64}", entry["sha256"])
    assert entry["speed_source"] in SOURCES
    assert entry["time_origin_utc"] is None or UTC.fullmatch(entry["time_origin_utc"])
    for kind, check in (("launches", check_launch), ("passes", check_pass)):
        assert [one["number"] for one in entry[kind]] == list(range(1, len(entry[kind]) + 1))
        for one in entry[kind]:
            check(one, entry["duration_s"])
            for remark in one["remarks"]:
                assert set(remark) == {"code", "text"}
                assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", remark["code"])


def check_launch(launch, duration_s):
    """Check one launch: every measure from rest that was reached stands under all three start rules."""
    typed(launch, LAUNCH)
    assert -1 <= launch["start_s"] <= duration_s
    rules = {}
    for one in launch["times"]:
        typed(one, TIME)
        low, high = one["interval95_s"]
        assert low <= one["elapsed_s"] <= high
        assert one["stderr_s"] > 0
        rules.setdefault(one["measure"], set()).add(one["start_rule"])
    assert all(found in ({None}, {"rollout", "rest", "threshold"}) for found in rules.values()), rules


def check_pass(one, duration_s):
    """Check one pass."""
    typed(one, PASS)
    low, high = one["interval95_mps"]
    assert low <= one["sustained_mps"] <= high
    assert 0 <= one["start_s"] < one["end_s"] <= duration_s
    assert one["sustained_mps"] <= one["peak_mps"] * 1.02 + 0.2
