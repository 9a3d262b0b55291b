"""A comparison on the page: the sentence, every run, the difference, where in the speed range it lies."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from traceanalyze.comparison import SHOWN_UNITS, BandResult, Comparison, CurveComparison, MeasureComparison
from traceanalyze.judge.sentences import decimals, name
from traceanalyze.report.compare_text import band_name, rounded, signed
from traceanalyze.report.page.charts import difference_chart
from traceanalyze.report.page.dots import dots_chart, interval_chart
from traceanalyze.report.page.markup import Markup, joined, listing, table, tag
from traceanalyze.report.page.notes import merged_texts
from traceanalyze.report.page.sections import section
from traceanalyze.units import System
from traceanalyze.vehicle.engine import EngineSpeeds

#: Remarks that the section on the conditions says in its own way.
_SAID_BELOW = frozenset({"conditions-unknown"})


def verdict(one: Comparison, rows: Mapping[tuple[str, int], str], looks: tuple[int, int], ending: str = "") -> Markup:
    """Return sentence, next step, dots, interval, measures and remarks; `ending` keeps the names of charts apart."""
    head = one.headline
    mine = {} if head.unit != "s" else rows
    return joined(
        [
            tag("p", one.curves.sentence, class_="lead") if one.curves and one.curves.sentence else "",
            tag("p", tag("strong", "Next: "), head.next_step) if head.next_step else "",
            tag(
                "div",
                dots_chart(f"dots{ending}", head, mine, looks),
                interval_chart(f"interval{ending}", head),
                class_="verdict",
            ),
            measure_table(one),
            tag("p", f"{head.measure}: {head.model}.", class_="soft") if head.model else "",
            listing(remark_lines(one)),
        ]
    )


def remark_lines(one: Comparison) -> list[str]:
    """Return every remark of a comparison, those on a measure beside the headline with its name."""
    lines = [remark.text for remark in (*one.remarks, *one.headline.remarks) if remark.code not in _SAID_BELOW]
    for beside in one.measures[1:]:
        lines += [f"{beside.measure}: {remark.text}" for remark in beside.remarks if remark.text not in lines]
    lines += [remark.text for remark in (one.curves.remarks if one.curves else ())]
    return merged_texts(lines)


def measure_table(one: Comparison) -> Markup:
    """Return the means and differences of every measure."""
    head = ["measure", "runs", name(one.baseline), name(one.changed), "difference", "95 % interval", "verdict"]
    several = "; beside the first, each must be clearer to count, being several" if len(one.measures) > 1 else ""
    return table(f"Means of each setup and their difference{several}", head, [_row(found) for found in one.measures])


def _row(found: MeasureComparison) -> list[str]:
    factor, places = SHOWN_UNITS[found.shown_unit], decimals(found)

    def text(value: float) -> str:
        return rounded(value / factor, places) if value == value else "-"

    return [
        f"{found.measure} [{found.shown_unit}]",
        f"{len(found.baseline_runs)} + {len(found.changed_runs)}",
        text(found.baseline_mean),
        text(found.changed_mean),
        signed(found.difference / factor, places) if found.difference == found.difference else "-",
        f"{text(found.low95)} to {text(found.high95)}" if found.low95 == found.low95 else "none",
        found.verdict,
    ]


def over_speed(one: Comparison, system: System, engine: EngineSpeeds, title: str, ending: str = "") -> Markup:
    """Return the section on where in the speed range the difference lies; nothing without curves."""
    curves = one.curves
    if curves is None or not curves.speed_mps.size:
        return Markup("")
    chart = difference_chart(f"difference{ending}", curves, (one.baseline, one.changed), system, engine)
    ranges = band_table(curves, system, engine) if curves.bands else None
    return section(title, tag("div", chart, ranges, class_="pair"))


def band_table(curves: CurveComparison, system: System, engine: EngineSpeeds) -> Markup:
    """Return the table of speed ranges, with engine speeds where all setups share a gearing."""
    bands = [*curves.bands, *([curves.total] if curves.total else [])]
    rpm = engine.train is not None
    rows = [
        [
            band_name(band, system, band is curves.total),
            *([engine.range_text(band.from_mps, band.to_mps)] if rpm else []),
            *_band_cells(band),
        ]
        for band in bands
    ]
    head = ["speeds", *(["engine speed [rpm]"] if rpm else []), "difference [s]", "95 % interval [s]", "verdict"]
    caption = "Time gained or lost in each range of speed (changed minus baseline); all intervals hold at once"
    return table(caption, head, rows)


def _band_cells(band: BandResult) -> Sequence[str]:
    interval = "none"
    if band.low95_s == band.low95_s:
        interval = f"{rounded(band.low95_s, 2)} to {rounded(band.high95_s, 2)}"
    return signed(band.difference_s, 2), interval, band.verdict
