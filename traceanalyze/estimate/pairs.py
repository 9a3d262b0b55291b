"""Out-and-back: passes in opposite directions, averaged, each still shown."""

from __future__ import annotations

import math
from typing import Final

from traceanalyze.results import Estimate, Pass, PassPair
from traceanalyze.settings import TOP_SPEEDS_APART
from traceanalyze.trace import Remark

#: Headings this close to opposite are one strip ridden both ways [degrees]; this close to each other, one direction.
_WITHIN_DEG: Final = 40.0
#: Passes further apart in time are not out and back [s]: the wind has turned, or it is another road.
_WITHIN_S: Final = 600.0


def pair_passes(passes: tuple[Pass, ...]) -> tuple[PassPair, ...]:
    """Return the pairs of passes in opposite directions; each pass is used once, with its next opposite neighbour.

    The arithmetic mean of both directions is what the rules take (Directive 95/1/EC Annex I, section 7, as replaced
    by Directive 2006/27/EC Annex III); wind along the track all but cancels in it.
    """
    pairs = []
    free = list(passes)
    while len(free) > 1:
        first = free.pop(0)
        partner = next((other for other in free if _out_and_back(first, other)), None)
        if partner is not None:
            free.remove(partner)
            pairs.append(_pair(first, partner))
    return tuple(pairs)


def _out_and_back(first: Pass, second: Pass) -> bool:
    soon = second.start_s - first.end_s <= _WITHIN_S
    return soon and _turn_deg(first, second) >= 180 - _WITHIN_DEG


def _pair(first: Pass, second: Pass) -> PassPair:
    a, b = first.sustained, second.sustained
    mean = Estimate((a.value + b.value) / 2, math.hypot(a.stderr, b.stderr) / 2)
    apart = apart_share(a.value, b.value)
    return PassPair(first=first, second=second, mean=mean, apart=apart, remarks=_apart_remarks(apart))


def apart_share(a_mps: float, b_mps: float) -> float:
    """Return the difference of two speeds over their mean."""
    return abs(a_mps - b_mps) / ((a_mps + b_mps) / 2)


def _apart_remarks(apart: float) -> tuple[Remark, ...]:
    if apart <= TOP_SPEEDS_APART:
        return ()
    text = (
        f"both directions are {100 * apart:.1f} % apart, more than the {100 * TOP_SPEEDS_APART:.0f} % that rules allow "
        "two consecutive top speeds: wind, slope, or a run that was not flat out"
    )
    return (Remark("top-speeds-apart", text),)


def _turn_deg(a: Pass, b: Pass) -> float:
    """Angle between two headings [degrees], 0 to 180; NaN when one is unknown."""
    return abs((a.heading_deg - b.heading_deg + 180.0) % 360.0 - 180.0)


def direction_remarks(passes: tuple[Pass, ...]) -> tuple[Remark, ...]:
    """Return what the directions of passes leave open: only one ridden, none known, or fewer than two runs each."""
    if not passes:
        return ()
    known = [one for one in passes if one.heading_deg == one.heading_deg]
    if not known:
        text = "no direction is known: whether wind and slope cancel cannot be told"
        return (Remark("direction-unknown", text),)
    turns = [_turn_deg(known[0], one) for one in known]
    there = sum(turn <= _WITHIN_DEG for turn in turns)
    back = sum(turn >= 180 - _WITHIN_DEG for turn in turns)
    if not back:
        if there < len(known):  # a loop or several roads: no out and back to speak of
            return ()
        text = "all passes run one way: the top speed holds the wind and the slope; ride the strip back as well"
        return (Remark("one-direction", text),)
    if min(there, back) < 2:
        return (Remark("few-passes", "fewer than two passes in one of the directions: repeat them"),)
    return ()
