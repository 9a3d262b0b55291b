"""The page as text: self-contained, escaped, well formed, small."""

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from traceanalyze.report.day import setup_groups
from traceanalyze.report.day_run import day_results, planned_day
from traceanalyze.report.page import day_page
from traceanalyze.report.page.markup import data_block, escaped, tag
from traceanalyze.report.page.svg import ticks
from traceanalyze.session import Asked

SAMPLES = Path(__file__).resolve().parents[2] / "sample_traces"
VOID = {"meta", "br", "hr", "input", "col"}


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


@pytest.fixture(scope="module")
def page() -> str:
    plan = planned_day(SAMPLES / "day.toml", Asked(), out=None, force=False)
    by_file = plan.worked(None, lambda path: None)
    results = day_results(plan, by_file, baseline=None, smallest=None)
    return day_page(results, setup_groups([(setup.name, setup.sheets) for setup in results.setups]))


def test_every_element_is_closed_in_order(page: str) -> None:
    parser = Balance()
    parser.feed(page)
    assert parser.open == []


def test_the_page_asks_nothing_of_any_network(page: str) -> None:
    addresses = re.findall(r"(?:href|src|action|url)\s*[=(]\s*[\"']?([^\"')\s>]+)", page)
    assert addresses == []
    # the one address in it names a standard, as a name: the namespace of SVG (W3C), used by the script
    assert set(re.findall(r"https?://[^\s\"'<)]+", page)) <= {"http://www.w3.org/2000/svg"}


def test_the_page_stays_under_300_kb_for_eight_runs(page: str) -> None:
    assert len(page.encode()) < 300_000


def test_tables_have_captions_and_heads_and_pictures_have_text(page: str) -> None:
    parser = Balance()
    parser.feed(page)
    names = [name for name, _ in parser.seen]
    assert names.count("table") == names.count("caption") > 3
    assert all("scope" in attrs for name, attrs in parser.seen if name == "th")
    drawings = [attrs for name, attrs in parser.seen if name == "svg" and attrs.get("aria-hidden") != "true"]
    titles = {attrs.get("id") for name, attrs in parser.seen if name == "title"}
    assert len(drawings) >= 3
    assert all(attrs["role"] == "img" and attrs["aria-labelledby"] in titles for attrs in drawings)


def test_verdict_first_then_cautions_and_hashes(page: str) -> None:
    assert page.index("<h1>") < page.index("<svg") < page.index("Cautions.")
    assert len(re.findall(r"<code>[0-9a-f]{64}</code>", page)) == 3


def test_names_are_only_text() -> None:
    # the five characters that HTML gives a meaning (WHATWG HTML, 13.1.2.3 and 13.1.4)
    assert escaped("<script>alert('1')</script>&\"") == ("&lt;script&gt;alert(&#x27;1&#x27;)&lt;/script&gt;&amp;&quot;")
    assert tag("p", "<b>", title='"x"') == '<p title="&quot;x&quot;">&lt;b&gt;</p>'
    assert "</script><b>" not in data_block("d", {"name": "</script><b>"})


def test_ticks_are_round_numbers() -> None:
    assert ticks(0, 35) == [0, 5, 10, 15, 20, 25, 30, 35]
    assert ticks(-0.4, 0.05) == [-0.4, -0.3, -0.2, -0.1, 0.0]
    assert ticks(3, 3) == [3]
