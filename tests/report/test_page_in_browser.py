"""The page in a real browser: nothing complained of, nothing asked for, readable by pointer, keys, and on paper."""

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.report.browser import Browser, chromium
from tests.report.test_page import KINDS
from traceanalyze.cli.app import run
from traceanalyze.report.page import compare_page

SAMPLES = Path(__file__).resolve().parents[2] / "sample_traces"

pytestmark = pytest.mark.skipif(chromium() is None, reason="no Chromium on this machine (Debian package chromium)")


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("report")
    sheet = (SAMPLES / "day.toml").read_text()
    hostile = sheet.replace('name = "stiff spring"', 'name = "stiff <script>alert(1)</script> $x$"')
    assert hostile != sheet
    for log in SAMPLES.glob("*.nmea"):
        (folder / log.name).write_bytes(log.read_bytes())
    (folder / "day.toml").write_text(hostile)
    assert run(["compare", str(folder / "day.toml"), "--report", str(folder / "report.html"), "--quiet"]) == 0
    return folder / "report.html"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    one = Browser()
    yield one
    one.close()


def test_no_complaint_no_request_and_names_are_text(browser: Browser, report: Path) -> None:
    browser.open(report)
    assert browser.complaints() == []
    assert browser.requests() == [report.resolve().as_uri()]
    assert "stiff <script>" in browser.value("document.body.innerText")


def test_values_are_read_out_by_pointer_and_by_keys(browser: Browser, report: Path) -> None:
    browser.open(report)
    readout = "document.querySelector('output[data-for=overlay]').textContent"
    browser.value("document.getElementById('overlay').scrollIntoView()")
    box = json.loads(browser.value("JSON.stringify(document.querySelector('#overlay svg').getBoundingClientRect())"))
    browser.pointer(box["x"] + 0.6 * box["width"], box["y"] + 0.5 * box["height"])
    assert re.match(r"at \d\.\d\d s: standard spring, run 1 \d+\.\d; .* mph$", browser.value(readout))
    browser.value("document.getElementById('overlay').focus()")
    browser.key("Home")
    first = browser.value(readout)
    browser.key("ArrowRight")
    assert browser.value(readout) != first
    browser.key("Escape")
    assert browser.value(readout) == ""


def test_over_speed_the_readout_has_engine_speeds_where_they_are_true(browser: Browser, report: Path) -> None:
    browser.open(report)
    readout = "document.querySelector('output[data-for=acceleration]').textContent"
    browser.value("document.getElementById('acceleration').focus()")
    browser.key("End")
    # 18/48 and 15/36 teeth, 1.32 m: 130.05 rpm a mph (V[km/h] = 0.06 D n R, French decree of 27 March 1979, article 2)
    speed, rpm = re.match(r"at (\d+\.\d\d) mph \((\d+) rpm\): ", browser.value(readout)).groups()
    assert abs(float(speed) * 130.05 - float(rpm)) <= 6  # shown to 10 rpm
    browser.key("Home")
    assert browser.value(readout).startswith("at 0.00 mph: ")


def test_a_run_is_switched_off_and_lit_with_its_row(browser: Browser, report: Path) -> None:
    browser.open(report)
    assert browser.value("document.querySelectorAll('tr[data-run] input').length") == 8
    browser.value("document.querySelector('tr[data-run=r0-0] input').click()")
    assert browser.value("getComputedStyle(document.querySelector('#overlay path[data-run=r0-0]')).display") == "none"
    browser.value("document.querySelector('tr[data-run=r1-0] input').focus()")
    assert browser.value("document.querySelector('#overlay path[data-run=r1-0]').classList.contains('lit')")


def test_with_scripts_off_everything_is_still_there(browser: Browser, report: Path) -> None:
    # the debugging protocol's own evaluation still works with the page's scripts off
    browser.open(report, scripts=False)
    assert browser.value("document.querySelectorAll('tr[data-run] input').length") == 0
    assert browser.value("document.querySelectorAll('#overlay svg path').length") > 10
    browser.open(report)


@pytest.mark.parametrize(("width", "dark"), [(390, False), (820, False), (1280, True)])
def test_nothing_hangs_over_at_any_width(browser: Browser, report: Path, width: int, dark: bool) -> None:
    browser.open(report, width=width, dark=dark)
    assert browser.value("document.documentElement.scrollWidth") <= width
    assert browser.screenshot().startswith(b"\x89PNG")


def test_text_keeps_the_contrast_of_wcag_aa(browser: Browser, report: Path) -> None:
    """WCAG 2.2, 1.4.3: 4.5:1 for text; relative luminance as it defines it."""
    for dark in (False, True):
        browser.open(report, dark=dark)
        for selector in ("body", "figcaption", ".caution", "td", "tr.group th", ".soft"):
            style = f"getComputedStyle(document.querySelector('{selector}'))"
            ground = browser.value("getComputedStyle(document.body).backgroundColor")
            own = browser.value(f"{style}.backgroundColor")
            behind = own if not own.startswith("rgba(0, 0, 0, 0") else ground
            assert _contrast(browser.value(f"{style}.color"), behind) >= 4.5, (selector, dark)


def test_lines_and_marks_keep_the_contrast_of_wcag_aa(browser: Browser, report: Path) -> None:
    """WCAG 2.2, 1.4.11: 3:1 for graphics needed to understand."""
    for dark in (False, True):
        browser.open(report, dark=dark)
        ground = browser.value("getComputedStyle(document.body).backgroundColor")
        for selector in ("path.line.mean.s0", "path.line.mean.s1", "path.line.mean.sd", "path.mark.s0", "path.mark.s1"):
            drawn = browser.value(f"getComputedStyle(document.querySelector('{selector}')).stroke")
            assert _contrast(drawn, ground) >= 3, (selector, dark)


def test_names_as_long_as_can_be_stay_within_a_phone(browser: Browser, tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    page.write_text(compare_page(KINDS["hostile names"]))
    browser.open(page, width=390)
    assert browser.complaints() == []
    assert browser.value("document.documentElement.scrollWidth") <= 390


def test_many_runs_leave_the_readout_short(browser: Browser, tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    page.write_text(compare_page(KINDS["five setups, forty runs"]))
    browser.open(page)
    browser.value("document.getElementById('overlay').focus()")
    for _ in range(9):
        browser.key("ArrowRight")
    said = browser.value("document.querySelector('output[data-for=overlay]').textContent")
    assert [f"s{k}, mean" in said for k in range(5)] == [True] * 5
    assert "run 1" not in said


def _contrast(first: str, second: str) -> float:
    light, dark = sorted((_luminance(first), _luminance(second)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def _luminance(color: str) -> float:
    parts = [int(part) / 255 for part in re.findall(r"\d+", color)[:3]]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize(("width_in", "height_in"), [(8.27, 11.69), (8.5, 11.0)])
def test_eight_runs_print_on_two_pages(browser: Browser, report: Path, width_in: float, height_in: float) -> None:
    browser.open(report)
    pdf = browser.pdf(width_in=width_in, height_in=height_in)
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 2  # ISO 32000-1, 7.7.3.3: one such dictionary a page
