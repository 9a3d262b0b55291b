"""The page as text: self-contained, escaped, well formed, small, and right for every kind of comparison."""

import random
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from tests.judge.sheets import NOON, curve, launch, one_pass, sheet, spring_day
from traceanalyze.judge.groups import launch_curves, setup_curves
from traceanalyze.judge.judging import Judging, compare_written, read_written
from traceanalyze.judge.logs import compare
from traceanalyze.report.compare_run import Compared, compare_logs
from traceanalyze.report.day_run import DayPlan, DayResults
from traceanalyze.report.own_scatter import BookWish
from traceanalyze.report.page import compare_page, day_page, measure_page
from traceanalyze.report.page.charts import legend, ride_chart
from traceanalyze.report.page.markup import data_block, escaped, joined, tag
from traceanalyze.report.page.names import log_names
from traceanalyze.report.page.notes import log_notes, merged_texts
from traceanalyze.report.page.svg import labelled, ticks
from traceanalyze.results import Estimate
from traceanalyze.session import Asked, study_files
from traceanalyze.setups import SetupRuns
from traceanalyze.trace import Remark, make_trace
from traceanalyze.units import parse_measure

SAMPLES = Path(__file__).resolve().parents[2] / "sample_traces"
VOID = {"meta", "br", "hr", "input", "col"}
ASKED = Asked(measures=tuple(map(parse_measure, ("0-30 mph", "10-30 mph", "top speed"))))
HOSTILE = ("<script>alert(1)</script> & \"q\" 'x' $\\frac{$", "x" * 300)


class Balance(HTMLParser):
    """Checks that every element is closed in order."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, name: str, attrs) -> None:
        self.seen.append((name, dict(attrs)))
        if name not in VOID:
            self.open.append(name)

    def handle_endtag(self, name: str) -> None:
        assert self.open.pop() == name


def parsed(page: str) -> Balance:
    parser = Balance()
    parser.feed(page)
    assert parser.open == []
    ids = [attrs["id"] for _, attrs in parser.seen if "id" in attrs]
    assert len(ids) == len(set(ids))
    return parser


def found_of(groups, measures=None, **more) -> Compared:
    first, *others = groups
    comparisons = [
        compare(groups[first], groups[other], names=(first, other), measures=measures, **more) for other in others
    ]
    setups = tuple(SetupRuns(name=name, sheets=tuple(group)) for name, group in groups.items())
    return Compared(comparisons=tuple(comparisons), asked=ASKED, setups=setups)


def each(group, **changed):
    return [replace(one, **changed) for one in group]


def headed(group, heading_deg):
    rides = [tuple(replace(ride, heading_deg=heading_deg) for ride in one.launches) for one in group]
    return [replace(one, launches=mine, passes=()) for one, mine in zip(group, rides, strict=True)]


def uncurved(group):
    return [replace(one, launches=tuple(replace(ride, curve=None) for ride in one.launches)) for one in group]


def many_runs(name, count, time_s, first):
    chance = random.Random(name)
    group = []
    for i in range(count):
        value, at_s, way = time_s + chance.gauss(0, 0.06), NOON + 600 * (first + i), 90.0 + 180.0 * (i % 2)
        ride = launch(1, value, utc_s=at_s, heading_deg=way, with_curve=curve(16 / value))
        group.append(sheet(f"{name}/run{i + 1}.nmea", ride, passes=(one_pass(1, 20.0, way),), origin_utc_s=at_s))
    return group


def kinds():
    a, b = spring_day()
    return {
        "hostile names": found_of(dict(zip(HOSTILE, (a, b), strict=True))),
        "five setups, forty runs": found_of({f"s{k}": many_runs(f"s{k}", 8, 4 - k / 20, 8 * k) for k in range(5)}),
        "no curves": found_of({"a": uncurved(a), "b": uncurved(b)}),
        "no passes": found_of({"a": each(a, passes=()), "b": each(b, passes=())}),
        "passes alone": found_of({"a": each(a, launches=()), "b": each(b, launches=())}, measures=["top speed"]),
        "one run each": found_of({"a": a[:1], "b": b[:1]}),
        "no run of the changed setup": found_of({"a": a, "b": each(b[:1], launches=(), passes=())}),
        "confounded": found_of({"a": headed(a, 90.0), "b": headed(b, 270.0)}),
    }


KINDS = kinds()


@pytest.fixture(scope="module")
def page() -> str:
    found = compare_logs([str(SAMPLES / "day.toml")], ASKED, Judging(), BookWish())
    return compare_page(found)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_comparison_has_a_well_formed_page(kind: str) -> None:
    found = KINDS[kind]
    text = compare_page(found)
    parsed(text)
    assert escaped(found.comparisons[0].headline.why) in text
    assert all(escaped(one.headline.why) in text for one in found.comparisons)
    assert not re.search(r"\b(None|nan|inf)\b", re.sub(r"<script.*?</script>|<style.*?</style>", "", text, flags=re.S))
    assert len(text.encode()) < 300_000


def test_what_a_kind_of_comparison_lacks_is_left_out() -> None:
    def page_of(kind: str) -> str:
        return compare_page(KINDS[kind])

    assert 'id="difference"' not in page_of("no curves")
    assert "Top speed: highest mean" not in page_of("no passes")
    assert "Launches [s]" not in page_of("passes alone")
    assert 'id="interval"' in page_of("no passes")
    confounded = page_of("confounded")
    assert 'id="interval"' not in confounded
    assert "<td>none</td><td>confounded</td>" in confounded
    assert "or runs of the wrong kind, for a band" in confounded


def test_names_are_only_text() -> None:
    # the five characters that HTML gives a meaning (WHATWG HTML, 13.1.2.3 and 13.1.4)
    assert escaped("<script>alert('1')</script>&\"") == ("&lt;script&gt;alert(&#x27;1&#x27;)&lt;/script&gt;&amp;&quot;")
    assert tag("p", "<b>", title='"x"') == '<p title="&quot;x&quot;">&lt;b&gt;</p>'
    assert "</script><b>" not in data_block("d", {"name": "</script><b>"})
    assert joined(["<", None, tag("b", "x")]) == "&lt;<b>x</b>"
    text = compare_page(KINDS["hostile names"])
    assert "<script>alert" not in text
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text


def test_several_comparisons_say_what_their_number_means() -> None:
    text = compare_page(KINDS["five setups, forty runs"])
    assert "4 comparisons: each is right by itself 95 times in 100" in text
    assert [f"s{k} against s0</h2>" in text for k in range(1, 5)] == [False, True, True, True]
    # the third setup is drawn alike in the overlay, its legend and its own dots: black, a triangle
    assert 'class="mark s2"' in text[text.index("s2 against s0</h2>") : text.index("s3 against s0</h2>")]


def test_the_baseline_comes_first_whatever_the_order_of_the_setups() -> None:
    a, b = spring_day()
    turned = Compared(
        comparisons=(compare(b, a, names=("b", "a")),),
        asked=ASKED,
        setups=(SetupRuns(name="a", sheets=tuple(a)), SetupRuns(name="b", sheets=tuple(b))),
    )
    text = compare_page(turned)
    legend = text[text.index('class="legend"') : text.index("</ul>", text.index('class="legend"'))]
    assert re.findall(r"</svg> (\w)</li>", legend) == ["b", "a"]


def test_times_by_hand_have_a_page_without_logs(tmp_path: Path) -> None:
    table = tmp_path / "times.csv"
    table.write_text(
        "setup,value,order,direction,measure,unit,note\n"
        "A,4.00,1,E,0-30 mph,s,<b>warm</b>\nA,4.10,4,W,0-30 mph,s,\nB,3.90,2,E,0-30 mph,s,\nB,3.95,3,W,0-30 mph,s,\n"
        "A,44.1,1,E,top speed,mph,\nA,44.5,4,W,top speed,mph,\nB,45.1,2,E,top speed,mph,\nB,45.5,3,W,top speed,mph,\n"
    )
    written = read_written(str(table))
    text = compare_page(Compared(comparisons=tuple(compare_written(written, Judging())), asked=ASKED, written=written))
    parsed(text)
    # sha256 of the file by another program of the standard library's making would be the same function: its length
    assert re.search(rf"<code>{written.sha256}</code>", text)
    assert len(written.sha256) == 64
    assert "&lt;b&gt;warm&lt;/b&gt;" in text
    assert "times written down by hand" in text
    assert all(f"<td>{value}</td>" in text for value in ("4.00 s", "3.95 s", "44.1 mph", "45.5 mph"))
    assert "Quality of the logs" not in text
    assert "Conditions" not in text


def test_the_page_asks_nothing_of_any_network(page: str) -> None:
    addresses = re.findall(r"(?:href|src|action|url)\s*[=(]\s*[\"']?([^\"')\s>]+)", page)
    assert addresses == []
    # the one address in it names a standard, as a name: the namespace of SVG (W3C), used by the script
    assert set(re.findall(r"https?://[^\s\"'<)]+", page)) <= {"http://www.w3.org/2000/svg"}


def test_tables_have_captions_and_heads_and_pictures_have_text(page: str) -> None:
    seen = parsed(page).seen
    names = [name for name, _ in seen]
    assert names.count("table") == names.count("caption") > 3
    assert all("scope" in attrs for name, attrs in seen if name == "th")
    drawings = [attrs for name, attrs in seen if name == "svg" and attrs.get("aria-hidden") != "true"]
    titles = {attrs.get("id") for name, attrs in seen if name == "title"}
    assert len(drawings) == 5
    assert all(attrs["role"] == "img" and attrs["aria-labelledby"] in titles for attrs in drawings)


def test_verdict_first_then_cautions_and_hashes(page: str) -> None:
    assert page.index("<h1>") < page.index("<svg") < page.index("Cautions.") < page.index('id="overlay"')
    assert len(re.findall(r"<code>[0-9a-f]{64}</code>", page)) == 3


def test_engine_speeds_stand_in_the_charts_and_the_table(page: str) -> None:
    assert page.count(">engine speed [rpm]</text>") == 3
    # 18/48 and 15/36 teeth, 1.32 m: 30 mph is 3901 rpm (V[km/h] = 0.06 D n R, French decree of 27 March 1979, art. 2)
    assert "<td>up to 3900</td>" in page
    assert "below 2700 rpm clutch or belt slips" in page
    assert "above your limit of 6500 rpm" in page
    # the readout: rpm a mph, and from which engine speed on
    assert re.search(r'"rpm":\[130\.048\d*,2700\.0\]', page)
    assert "engine speed" not in compare_page(KINDS["no passes"])


def test_the_airs_density_and_its_altitude_are_told(page: str) -> None:
    # 21 degrees, 1009 hPa, 55 %: 1.18948 kg/m^3 by the ideal two-gas formula with Magnus' vapour pressure; the US
    # Standard Atmosphere 1976 has 1.1895 at about 305 m: 1.2250 (1 - 2.25577e-5 h)^4.2559
    found = re.search(r"density: (\d\.\d{3}) kg/m³, as at (\d+) m in the standard atmosphere", page)
    assert float(found[1]) == pytest.approx(1.1895, abs=0.001)
    assert 1.2250 * (1 - 2.25577e-5 * float(found[2])) ** 4.2559 == pytest.approx(float(found[1]), abs=0.0015)


def test_corrected_means_stand_beside_the_raw_ones(page: str) -> None:
    table = page[page.index("Mean times [s] as measured") :]
    table = table[: table.index("</table>")]
    assert [re.sub("<.*?>", "", cell) for cell in re.findall(r"<th scope=\"col\">.*?</th>", table)] == [
        "setup", "as measured", "on a level road", "in reference air",
    ]  # fmt: skip
    assert table.count("<tr") == 3
    assert "no verdict rests on the corrected ones" in table


def test_notes_that_differ_in_numbers_are_one() -> None:
    def remarked(path, *lengths):
        passes = [
            replace(
                one_pass(k, 20.0), remarks=(Remark("short-window", f"the window covers {m} m of road; 100 m or more"),)
            )
            for k, m in enumerate(lengths, start=1)
        ]
        return sheet(path, passes=tuple(passes))

    one, other = remarked("x/a.nmea", 22, 23), remarked("y/a.nmea", 24)
    assert log_notes([one, other]) == ["all passes: the window covers 22 to 24 m of road; 100 m or more"]
    clean = replace(other, passes=(one_pass(1, 20.0),))
    assert log_notes([one, clean]) == ["x/a passes 1, 2: the window covers 22 to 23 m of road; 100 m or more"]
    assert merged_texts(["0-30 mph is 2 off", "0-30 mph is 3 off", "a 1 b 2", "a 2 b 3", "a 1 b 2"]) == [
        "0-30 mph is 2 to 3 off", "a 1 b 2", "a 2 b 3",
    ]  # fmt: skip


def test_logs_have_short_names_and_never_two_alike() -> None:
    assert log_names(["/d/run1.nmea", "/d/run2.nmea"]) == {"/d/run1.nmea": "run1", "/d/run2.nmea": "run2"}
    assert set(log_names(["mon/run1.nmea", "tue/run1.nmea"]).values()) == {"mon/run1", "tue/run1"}
    assert set(log_names(["run1.nmea", "run1.gpx"]).values()) == {"run1.nmea", "run1.gpx"}
    assert log_names(["c:\\d\\v1.25"]) == {"c:\\d\\v1.25": "v1.25"}


def test_a_page_of_single_logs_names_lines_and_what_was_refused(tmp_path: Path) -> None:
    (tmp_path / "none.nmea").write_text("no log at all")
    asked = Asked()
    text = measure_page(study_files([SAMPLES / "stiff_spring.nmea", tmp_path / "none.nmea"], asked), asked)
    parsed(text)
    assert re.findall(r"</svg> (launch \d)</li>", text) == [f"launch {k}" for k in range(1, 5)]
    assert "could not be read: " in text
    assert "none.nmea" in text
    rows = set(re.findall(r'<tr data-run="(\S+?)">', text))
    assert rows == {f"launches0-{k}" for k in range(1, 5)} == set(re.findall(r'<path [^>]*data-run="(\S+?)"', text))
    nothing = measure_page(study_files([tmp_path / "none.nmea"], asked), asked)
    parsed(nothing)
    assert "could not be read: " in nothing


def test_a_day_without_comparisons_shows_its_runs() -> None:
    a, _ = spring_day()
    plan = DayPlan(folder=Path(), sheet=None, asked=ASKED, tasks=())
    setups = (SetupRuns(name="run1", sheets=(a[0],)),)
    results = DayResults(plan=plan, by_file={Path("run1.nmea"): [a[0]]}, setups=setups, comparisons=())
    text = day_page(results, [setup_curves("run1", launch_curves(setups[0].launches))])
    parsed(text)
    assert "Runs of the day" in text
    assert '<tr data-run="r0-0">' in text
    assert 'id="overlay"' in text
    assert "no day sheet was given" in text


def test_the_line_of_a_long_ride_keeps_its_holes_and_tops_and_its_numbers_room() -> None:
    # an hour at 10 Hz with 20 holes and a single sample of 25 m/s; 40 launches of which each two start together
    t_s = np.arange(36_000) / 10
    t_s += 30.0 * (np.arange(t_s.size) // 1715)
    speed_mps = np.full(t_s.size, 8.0)
    speed_mps[20_001] = 25.0
    trace = make_trace(t_s, speed_mps=speed_mps)
    starts_s = t_s[np.repeat(np.arange(20) * 1715 + 100, 2)] + np.tile((0.0, 2.0), 20)
    launches = [replace(launch(k + 1, 5.0), start=Estimate(at, 0.1)) for k, at in enumerate(starts_s.tolist())]
    chart = str(ride_chart(trace, sheet("ride.nmea", *launches), "metric", "ride"))
    path = re.search(r'<path d="([^"]*)"[^>]*line ride s0', chart)[1]
    assert path.count("M") == 21
    heights = [float(y) for y in re.findall(r"[ML][\d.]+[ ,]([\d.]+)", path)]
    assert min(heights) < 0.5 * np.median(heights)  # the top stands far above the rest
    labels = re.findall(r'y="([\d.]+)" text-anchor="middle">(\d+)</text>', chart)
    level = next(y for y, label in labels if label == "3")
    assert [label for y, label in labels if y == level] == [str(k) for k in range(1, 41, 2)]


def test_ticks_are_round_numbers_with_equal_decimals() -> None:
    assert ticks(0, 35) == [0, 5, 10, 15, 20, 25, 30, 35]
    assert ticks(-0.4, 0.05) == [-0.4, -0.3, -0.2, -0.1, 0.0]
    assert ticks(3, 3) == [3]
    assert [label for _, label in labelled([5.8, 5.9, 6.0])] == ["5.8", "5.9", "6.0"]
    assert [label for _, label in labelled([0, 5, 10])] == ["0", "5", "10"]


def test_a_key_shows_what_its_lines_show() -> None:
    """WCAG 2.2, 1.3.1: a mark in the key that no line has would say something that is not so."""
    names = ("launch 1", "launch 2")
    assert "mark" in legend(names)
    assert "line mean" in legend(names)
    assert "mark" not in legend(names, "run")
    assert "line run" in legend(names, "run")
