"""Numbers -> a small drawing in the page: axes with units, lines, bands, dots; readable without scripts."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from traceanalyze.report.page.markup import Markup, joined, tag

WIDTH, LEFT, RIGHT, TOP, BOTTOM = 720, 84, 16, 12, 56
#: Room for a second scale: above, and at the right.
_ABOVE, _BESIDE = 52, 86


def ticks(low: float, high: float, about: int = 7) -> list[float]:
    """Return round numbers (1, 2, 2.5 or 5 times a power of ten) from `low` to `high`, about so many."""
    span = high - low
    if not (span > 0 and math.isfinite(span)):
        return [low]
    rough = span / about
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(m * power for m in (1, 2, 2.5, 5, 10) if m * power >= rough - 1e-12)
    first = math.ceil(low / step - 1e-9)
    return [round(k * step, 10) for k in range(first, math.floor(high / step + 1e-9) + 1)]


def labelled(values: Sequence[float]) -> list[tuple[float, str]]:
    """Return each value with its label, all with as many decimals as the one that needs most."""
    decimals = max((len(f"{value:g}".partition(".")[2]) for value in values), default=0)
    return [(value, f"{value:.{decimals}f}") for value in values]


@dataclass(frozen=True, slots=True)
class Scale:
    """A linear map from data to the drawing."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)


#: Places on an axis and what stands there.
Ticks = Sequence[tuple[float, str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """Axes of one chart; `above` and `beside` hold the numbers of a second scale."""

    x: Scale
    y: Scale
    height: int
    xlabel: str
    ylabel: str
    y_ticks: Ticks = ()
    above: Ticks = ()
    beside: Ticks = ()
    second_label: str = ""


def frame(
    x_range: tuple[float, float],
    y_range: tuple[float, float],
    *,
    height: int,
    xlabel: str,
    ylabel: str,
    above: Ticks = (),
    beside: Ticks = (),
    second_label: str = "",
) -> Frame:
    """Return axes over the given ranges of data, with numbers of a second scale above or at the right."""
    (x_low, x_high), (y_low, y_high) = (_widened(*x_range), _widened(*y_range))
    return Frame(
        x=Scale(x_low, x_high, LEFT, WIDTH - (_BESIDE if beside else RIGHT)),
        y=Scale(y_low, y_high, height - BOTTOM, _ABOVE if above else TOP),
        height=height,
        xlabel=xlabel,
        ylabel=ylabel,
        above=above,
        beside=beside,
        second_label=second_label,
    )


def _widened(low: float, high: float) -> tuple[float, float]:
    if not (math.isfinite(low) and math.isfinite(high)):
        return 0.0, 1.0
    return (low, high) if high > low else (low - 0.5, high + 0.5)


def axes(f: Frame) -> Iterator[Markup]:
    """Yield grid, ticks, numbers and labels."""
    bottom, left, right = f.y.start, f.x.start, f.x.end
    for value, label in labelled(ticks(f.x.low, f.x.high)):
        x = _px(f.x(value))
        yield tag("line", x1=x, x2=x, y1=_px(f.y.end), y2=_px(bottom), class_="grid")
        yield tag("text", label, x=x, y=_px(bottom + 20), text_anchor="middle")
    for value, label in f.y_ticks or labelled(ticks(f.y.low, f.y.high, 6)):
        y = _px(f.y(value))
        yield tag("line", x1=_px(left), x2=_px(right), y1=y, y2=y, class_="grid")
        yield tag("text", label, x=_px(left - 7), y=_px(f.y(value) + 4), text_anchor="end")
    yield tag("path", d=f"M{_px(left)} {_px(f.y.end)}V{_px(bottom)}H{_px(right)}", class_="axis")
    yield tag("text", f.xlabel, x=_px((left + right) / 2), y=f.height - 8, text_anchor="middle", class_="label")
    if f.ylabel:
        yield _upright(f.ylabel, 18, (f.y.start + f.y.end) / 2, "middle")
    yield from _second_scale(f)


def _second_scale(f: Frame) -> Iterator[Markup]:
    top, right = f.y.end, f.x.end
    for value, label in f.above:
        x = _px(f.x(value))
        yield tag("path", d=f"M{x} {_px(top)}v-6", class_="axis")
        yield tag("text", label, x=x, y=_px(top - 10), text_anchor="middle")
    for value, label in f.beside:
        y = f.y(value)
        yield tag("path", d=f"M{_px(right)} {_px(y)}h6", class_="axis")
        yield tag("text", label, x=_px(right + 9), y=_px(y + 4), text_anchor="start")
    if f.above:
        yield tag("text", f.second_label, x=_px(right), y=_px(top - 32), text_anchor="end", class_="label")
    if f.beside:
        yield _upright(f.second_label, WIDTH - 6, f.y.end, "end")


def _upright(text: str, x: float, y: float, anchor: str) -> Markup:
    """Return a text along a vertical axis, read from below."""
    place = f"translate({_px(x)} {_px(y)}) rotate(-90)"
    return tag("text", text, transform=place, text_anchor=anchor, class_="label")


def line(f: Frame, xs: Sequence[float], ys: Sequence[float], **attributes: object) -> Markup:
    """Return a line through points; it breaks where a value is missing."""
    parts: list[str] = []
    pen = "M"
    for x, y in zip(xs, ys, strict=True):
        if not (math.isfinite(x) and math.isfinite(y)):
            pen = "M"
            continue
        parts.append(f"{pen}{_px(f.x(x))} {_px(f.y(y))}")
        pen = "L"
    return tag("path", d="".join(parts), fill="none", **attributes)


def band(
    f: Frame, low: Sequence[tuple[float, float]], high: Sequence[tuple[float, float]], **attributes: object
) -> Markup:
    """Return the area between two lines of points (x, y); points with a missing value are left out."""
    edge = [p for p in [*low, *reversed(high)] if all(map(math.isfinite, p))]
    if len(edge) < 3:
        return Markup("")
    d = "M" + "L".join(f"{_px(f.x(x))} {_px(f.y(y))}" for x, y in edge) + "Z"
    return tag("path", d=d, stroke="none", **attributes)


def marker(x: float, y: float, kind: int, **attributes: object) -> Markup:
    """Return a mark: circle, square, triangle, diamond or reversed triangle, by the setup's number."""
    shapes = (
        "M-5 0a5 5 0 1 0 10 0a5 5 0 1 0 -10 0Z",
        "M-4.5 -4.5h9v9h-9Z",
        "M0 -5.5L5 4.5H-5Z",
        "M0 -6L5 0L0 6L-5 0Z",
        "M0 5.5L5 -4.5H-5Z",
    )
    return tag("path", d=shapes[kind % 5], transform=f"translate({_px(x)} {_px(y)})", **attributes)


def drawing(f: Frame, content: Sequence[Markup], *, name: str, description: str) -> Markup:
    """Return the finished drawing, with a text for those who do not see it."""
    title = tag("title", description, id=f"{name}-title")
    return tag(
        "svg",
        title,
        joined(axes(f)),
        *content,
        viewBox=f"0 0 {WIDTH} {f.height}",
        role="img",
        aria_labelledby=f"{name}-title",
        preserveAspectRatio="xMidYMid meet",
    )


def _px(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")
