"""What `health` says: one sentence of judgement, the figures, and what to do about them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any

from traceanalyze import __version__
from traceanalyze.errors import shown
from traceanalyze.estimate.quality import LogQuality, log_quality
from traceanalyze.report.measure_text import FAIR_STDERR_S, GOOD_STDERR_S, damage_text
from traceanalyze.report.tables import WIDTH, counted, duration_text, listed, wrapped
from traceanalyze.session import Study


def health_document(studies: Iterable[Study]) -> dict[str, Any]:
    """Return the JSON document of `health`, SI units."""
    return {
        "schema": "traceanalyze.health/1",
        "version": __version__,
        "files": [_file_entry(study) for study in studies],
    }


def _file_entry(study: Study) -> dict[str, Any]:
    sheet = study.sheet.to_dict()
    entry = {key: sheet[key] for key in ("path", "status", "error", "format", "points", "duration_s", "skipped")}
    if study.trace is None or study.noise is None:
        return entry | {"quality": None, "judgement": None, "advice": [], "remarks": []}
    quality = log_quality(study.trace, study.noise, study.sheet.launches)
    return entry | {
        "quality": quality.to_dict(),
        "judgement": judgement(quality),
        "advice": advice(quality),
        "remarks": sheet["remarks"],
    }


def health_text(studies: Sequence[Study], *, width: int = WIDTH) -> str:
    """Return the whole screen, one block per log that was read."""
    return "\n\n".join(_block(study, width) for study in studies if study.trace is not None)


def _block(study: Study, width: int) -> str:
    assert study.trace is not None
    assert study.noise is not None
    quality = log_quality(study.trace, study.noise, study.sheet.launches)
    lines = [shown(study.sheet.path), wrapped(judgement(quality), width=width, rest="    "), ""]
    lines += [
        wrapped(text, width=width, first=f"  {name:<18}", rest=" " * 20) for name, text in _figures(study, quality)
    ]
    if steps := advice(quality):
        lines += ["", "  What to do", listed(steps, width=width)]
    if study.sheet.remarks:
        lines += ["", "  Notes", listed((shown(remark.text) for remark in study.sheet.remarks), width=width)]
    return "\n".join(lines)


def judgement(quality: LogQuality) -> str:
    """Return the one sentence: good, fair or rough, and the uncertainty to expect."""
    expected = quality.expected_stderr_s
    if not math.isfinite(expected):
        return "Cannot tell yet: there is too little motion in this log to judge it."
    word = "Good" if expected <= GOOD_STDERR_S else "Fair" if expected <= FAIR_STDERR_S else "Rough"
    basis = (
        "as the launches in this log show" if quality.expected_from == "launches" else "judged by its rate and noise"
    )
    digits = 2 if expected < 0.095 else 1
    return (
        f"{word}: expect one 0-30 mph time to be right within ±{2 * expected:.{digits}f} s, 95 times in 100 ({basis})."
    )


def _figures(study: Study, quality: LogQuality) -> Iterable[tuple[str, str]]:
    yield "rate", f"{quality.rate_hz:.3g} Hz (a sample every {quality.period_s:.3g} s)"
    yield "beat", _beat_text(quality)
    if quality.gaps:
        longest = quality.longest_gap_s
        length = f"{longest:.1f} s" if longest < 100 else duration_text(longest)
        yield "dropouts", f"{counted(quality.gaps, 'dropout')}, the longest of {length}"
    else:
        yield "dropouts", "none"
    yield "speed noise", _noise_text(quality)
    yield (
        "rounding",
        f"steps of {quality.resolution_mps:.3g} m/s" if quality.resolution_mps else "finer than can be seen",
    )
    yield "near rest", _hold_text(quality)
    yield "delay", _delay_text(study, quality)
    yield "fix", _fix_text(quality)
    yield "damage", damage_text(study.sheet)


def _beat_text(quality: LogQuality) -> str:
    if quality.jitter_s < 0.0005:
        return "even"
    if quality.jitter_s < 0.5 * quality.period_s:
        return f"samples come within {1000 * quality.jitter_s:.0f} ms of an even beat"
    return f"none: samples come {quality.jitter_s:.2g} s away from an even beat"


def _noise_text(quality: LogQuality) -> str:
    rest = f"from {quality.rest_s:.0f} s of rest and the motion" if quality.rest_s else "no rest to read it from"
    return f"{quality.noise_mps:.2g} m/s per sample, {quality.slow_mps:.2g} of it slow ({rest})"


def _hold_text(quality: LogQuality) -> str:
    if quality.hold_mps:
        return f"shows zero below about {quality.hold_mps:.2g} m/s: start times carry more uncertainty"
    return "speeds are shown down to the noise"


def _delay_text(study: Study, quality: LogQuality) -> str:
    if not math.isfinite(quality.speed_lag_s):
        return "cannot be told (a constant delay cancels in every elapsed time)"
    if abs(quality.speed_lag_s) < 0.05:
        return "none seen: speeds and positions agree within 0.05 s"
    side = "behind" if quality.speed_lag_s > 0 else "ahead of"
    return (
        f"speeds are {abs(quality.speed_lag_s):.2f} s {side} the positions (a constant delay cancels in elapsed times)"
    )


def _fix_text(quality: LogQuality) -> str:
    parts = []
    if math.isfinite(quality.fix_share):
        parts.append(f"{100 * quality.fix_share:.0f} % of the points with a good fix")
    if math.isfinite(quality.satellites):
        parts.append(f"{quality.satellites:.0f} satellites")
    if math.isfinite(quality.hdop):
        parts.append(f"HDOP {quality.hdop:.2g}")
    return ", ".join(parts) or "not logged"


def advice(quality: LogQuality) -> list[str]:
    """Return what to do about what was found, most useful first."""
    steps = []
    if quality.rate_hz < 4:
        runs = (
            max(4, math.ceil((quality.expected_stderr_s / 0.03) ** 2))
            if math.isfinite(quality.expected_stderr_s)
            else 4
        )
        times = _number(min(runs, 10))
        rate = f"{quality.rate_hz:.2g} Hz" if quality.rate_hz >= 0.45 else f"A point every {quality.period_s:.2g} s"
        steps.append(f"{rate} is slow: repeat each launch {times} times, or use a 10 Hz logger.")
    elif quality.expected_stderr_s > FAIR_STDERR_S:
        steps.append("Repeat each launch at least four times: one alone says little.")
    if quality.noise_mps > 0.12:
        steps.append("The speed is noisy: mount the antenna flat under open sky, away from ignition leads.")
    if quality.hold_mps:
        steps.append("Switch off any 'static hold' in the receiver, and use the rollout rule, which suffers least.")
    if quality.resolution_mps > 0.12:
        steps.append("Record speed with more decimals (0.1 km/h or 0.1 kn, or finer).")
    if quality.gaps > 3:
        steps.append("There are dropouts: check power, card and antenna lead.")
    if quality.rest_s < 3:
        steps.append("Stand still for at least three seconds before each launch: the start is read from that rest.")
    if math.isfinite(quality.hdop) and quality.hdop > 2:
        steps.append("Few satellites in good places (HDOP above 2): wait for a better sky, away from walls and trees.")
    return steps


def _number(count: int) -> str:
    return {4: "four", 5: "five", 6: "six", 7: "seven", 8: "eight", 9: "nine", 10: "ten"}.get(count, str(count))
