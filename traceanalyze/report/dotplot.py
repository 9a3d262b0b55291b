"""Numbers on a line of text: an axis, a dot per run with the mean, an interval."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from traceanalyze.results import round_half_up


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """A stretch of values on `width` columns of text; ticks at multiples of `step`."""

    low: float
    high: float
    step: float
    width: int

    def column(self, value: float) -> int:
        """Return the column a value stands in, kept within the axis."""
        share = (value - self.low) / (self.high - self.low)
        return min(self.width - 1, max(0, round(share * (self.width - 1))))

    @property
    def ticks(self) -> list[float]:
        """Values with a label."""
        first = math.ceil(self.low / self.step - 1e-9)
        last = math.floor(self.high / self.step + 1e-9)
        return [k * self.step for k in range(first, last + 1)]

    def label_line(self) -> str:
        """Return the line of tick labels, each centred over its tick."""
        decimals = max(0, -math.floor(math.log10(self.step) + 1e-9))
        line = [" "] * self.width
        for tick in self.ticks:
            text = round_half_up(tick + 0.0, decimals)
            begin = min(max(0, self.column(tick) - len(text) // 2), self.width - len(text))
            if all(mark == " " for mark in line[max(0, begin - 1) : begin + len(text) + 1]):
                line[begin : begin + len(text)] = text
        return "".join(line).rstrip()


def axis_for(values: Sequence[float], width: int) -> Axis:
    """Return an axis that holds the values with a little room, its ticks at 1, 2 or 5 times a power of ten."""
    low, high = min(values), max(values)
    span = max(high - low, 1e-6 * max(1.0, abs(high)))
    raw = span / max(2, width // 10)
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(power * k for k in (1, 2, 5, 10) if power * k >= raw * (1 - 1e-9))
    return Axis(low=low - 0.06 * span, high=high + 0.06 * span, step=step, width=width)


def dot_lines(axis: Axis, values: Sequence[float], mean: float, dot: str) -> list[str]:
    """Return lines with a dot per value and the mean as a bar in the last one; what coincides is stacked upwards."""
    rows: list[list[str]] = [[" "] * axis.width]
    rows[0][axis.column(mean)] = "│"
    for value in sorted(values):
        column = axis.column(value)
        row = next((row for row in rows if row[column] == " "), None)
        if row is None:
            row = [" "] * axis.width
            rows.append(row)
        row[column] = dot
    return ["".join(row).rstrip() for row in reversed(rows)]


def interval_line(axis: Axis, low: float, middle: float, high: float, marks: Sequence[float] = ()) -> str:
    """Return a line with an interval, its middle, zero as a bar and further marks as colons."""
    line = [" "] * axis.width
    for mark in marks:
        if axis.low <= mark <= axis.high:
            line[axis.column(mark)] = ":"
    begin, end = axis.column(low), axis.column(high)
    for column in range(begin, end + 1):
        line[column] = "─"
    line[begin], line[end] = "├", "┤"
    line[axis.column(0.0)] = "│"
    line[axis.column(middle)] = "●"
    return "".join(line).rstrip()
