"""`compare` and `plan` as commands: words in, screen or JSON out."""

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.measured import measured_once
from traceanalyze.cli.compare import compare
from traceanalyze.cli.plan import plan
from traceanalyze.errors import BookError, InputError, OutputError, SheetError, UsageError

TIMES = """setup,value,order,direction
stock,4.05,1,E
stock,4.19,2,W
stiff spring,3.90,3,E
stiff spring,4.01,4,W
stiff spring,3.78,5,E
stiff spring,3.97,6,W
stock,4.02,7,E
stock,3.99,8,W
"""


@pytest.fixture(autouse=True)
def remembered(monkeypatch):
    monkeypatch.setattr("traceanalyze.setups.measure_file", measured_once)


@pytest.fixture
def times(tmp_path):
    path = tmp_path / "times.csv"
    path.write_text(TIMES)
    return str(path)


def test_a_table_on_the_screen(times, capsys):
    assert compare(table=times) == 0
    out, err = capsys.readouterr()
    assert out.startswith("Quicker with stiff spring: 0-30 mph by 0.15 s")
    assert err == ""


def test_a_table_as_json(times, capsys):
    assert compare(table=times, json=True, smallest=["0.05"], scatter="0.07", scatter_df=6) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "traceanalyze.compare/1"
    [one] = document["measures"]
    assert (one["verdict"], one["smallest_meaningful"]) == ("better", 0.05)
    assert document["curves"] is None


def test_every_other_setup_is_compared_with_the_baseline(tmp_path, capsys):
    path = tmp_path / "three.csv"
    path.write_text(TIMES + "soft,4.4,9,E\nsoft,4.5,10,W\n")
    assert compare(table=str(path), json=True) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["changed"] == "stiff spring"
    assert [other["changed"] for other in document["others"]] == ["soft"]
    assert compare(table=str(path), changed="soft", json=True) == 0
    assert json.loads(capsys.readouterr().out)["changed"] == "soft"


def test_wrong_words(times, tmp_path):
    with pytest.raises(UsageError, match="give setups with their logs"):
        compare()
    with pytest.raises(UsageError, match="give setups with their logs"):
        compare(["a=b"], table=times)
    with pytest.raises(UsageError, match="--smallest"):
        compare(table=times, smallest=["banana!"])
    with pytest.raises(UsageError, match="--units"):
        compare(table=times, units="roman")
    with pytest.raises(InputError, match="no such file"):
        compare(table=str(tmp_path / "none.csv"))
    broken = tmp_path / "broken.csv"
    broken.write_text("setup,value\nA,x\n")
    with pytest.raises(SheetError, match=r"broken\.csv: row 2, column value"):
        compare(table=str(broken))


def test_a_plan_on_the_screen_and_as_json(capsys):
    assert plan(difference="0.15", scatter="0.07", scatter_df=6, top_speed="45 mph") == 0
    out = capsys.readouterr().out
    assert "runs of each setup will show a difference of 0.15 s in 0-30 mph" in out
    assert plan(difference="0.15", scatter="0.07", scatter_df=6, top_speed="45 mph", json=True) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "traceanalyze.plan/1"
    assert [strip["purpose"] for strip in document["strips"]] == ["standing starts", "top speed"]
    # 45 mph = 20.1168 m/s exactly
    assert document["strips"][1]["top_mps"] == pytest.approx(20.1168)


def test_a_plan_for_a_top_speed(capsys):
    assert plan(measure="top speed", top_speed="45 mph", json=True) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["unit"] == "m/s"
    assert document["scatter"] == pytest.approx(0.013 * 20.1168, abs=1e-6)  # the usual share of a top speed


def test_wrong_wishes():
    with pytest.raises(UsageError, match="nothing tells how much 60 ft varies"):
        plan(measure="60 ft")
    with pytest.raises(UsageError, match="no speed"):
        plan(top_speed="45 s")
    with pytest.raises(UsageError, match="--setups"):
        plan(setups="one")
    with pytest.raises(UsageError, match="a difference in mph"):
        plan(difference="0.5 mph")


def test_a_page_and_a_picture_of_times_by_hand(times, tmp_path, capsys):
    report, plot = tmp_path / "page.html", tmp_path / "picture.svg"
    assert compare(table=times, report=report, plot=plot) == 0
    assert capsys.readouterr().err.splitlines() == [f"report: {report}", f"picture: {plot}"]
    assert report.read_text().startswith("<!DOCTYPE html>")
    assert "times written down by hand" in report.read_text()
    assert "<svg" in plot.read_text()
    first = (report.read_bytes(), plot.read_bytes())
    with pytest.raises(OutputError, match="exists already"):
        compare(table=times, report=report)
    assert compare(table=times, report=report, plot=plot, force=True, quiet=True, json=True) == 0
    out, err = capsys.readouterr()
    assert err == ""
    json.loads(out)
    assert (report.read_bytes(), plot.read_bytes()) == first  # the same input gives the same bytes


def test_no_output_goes_over_an_input_or_to_nowhere(times, tmp_path):
    with pytest.raises(OutputError, match="same file as the input"):
        compare(table=times, report=Path(times), force=True)
    with pytest.raises(OutputError, match="PNG, SVG or PDF"):
        compare(table=times, plot=tmp_path / "picture.gif")
    with pytest.raises(OutputError, match="folder does not exist"):
        compare(table=times, report=tmp_path / "none" / "page.html")


def test_several_comparisons_make_numbered_pictures(tmp_path, capsys):
    path = tmp_path / "three.csv"
    path.write_text(TIMES + "soft,4.4,9,E\nsoft,4.5,10,W\n")
    assert compare(table=str(path), plot=tmp_path / "p.png") == 0
    assert sorted(one.name for one in tmp_path.glob("*.png")) == ["p-1.png", "p-2.png"]
    out = capsys.readouterr().out
    assert "=== soft against stock" in out
    assert "2 comparisons: each is right by itself" in out


def test_help_loads_nothing_heavy():
    code = (
        "import sys; import traceanalyze.cli.compare, traceanalyze.cli.plan; "
        "print([m for m in ('numpy', 'pandas', 'scipy', 'matplotlib') if m in sys.modules])"
    )
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert shown.stdout.strip() == "[]"


def test_comparing_a_table_never_loads_scipy_stats_or_pandas(times):
    code = (
        f"import sys; from traceanalyze.cli.compare import compare; compare(table={times!r}); "
        "sys.stderr.write(str([m for m in ('scipy.stats', 'pandas', 'matplotlib') if m in sys.modules]))"
    )
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert shown.stderr.strip() == "[]"


@pytest.fixture(scope="module")
def springs(tmp_path_factory):
    """Four logs of our own simulator, two of each spring, with the true 0-30 mph of every launch."""
    from traceanalyze.cli.simulate import simulate

    folder = tmp_path_factory.mktemp("springs")
    truth = {"standard": [], "stiff": []}
    for i, setup in enumerate(("standard", "stiff", "stiff", "standard"), start=1):
        log = folder / f"run{i}.nmea"
        simulate(out=log, setup=setup, random=i, launches=2, passes=1)
        for launch in json.loads((folder / f"run{i}.nmea.truth.json").read_text())["launches"]:
            truth[setup] += [
                t["elapsed_s"] for t in launch["times"] if (t["measure"], t["start_rule"]) == ("0-30 mph", "rollout")
            ]
    return folder, truth


def test_logs_from_words_to_verdict(springs, capsys):
    folder, truth = springs
    words = [
        f"standard spring={folder}/run1.nmea,{folder}/run4.nmea",
        f"stiff spring={folder}/run2.nmea,{folder}/run3.nmea",
    ]
    capsys.readouterr()
    assert compare(words, json=True) == 0
    document = json.loads(capsys.readouterr().out)
    head = document["measures"][0]
    assert (head["measure"], head["start_rule"]) == ("0-30 mph", "rollout")
    assert {run["direction"] for run in head["baseline_runs"]} == {"E", "W"}
    # means of four true times each; 0.05 s: a run is known to 0.02 s, a difference of means of four to 0.015 s
    true = [sum(times) / len(times) for times in truth.values()]
    assert len(truth["stiff"]) == 4
    assert head["changed_mean"] - head["baseline_mean"] == pytest.approx(true[1] - true[0], abs=0.05)
    assert head["interval95"][0] < true[1] - true[0] < head["interval95"][1]
    assert [round(band["to_mps"] / 0.44704) for band in document["curves"]["bands"]] == [10, 20, 30]
    assert compare([*words, f"gone={folder}/none.nmea"], changed="stiff spring") == 1
    out, err = capsys.readouterr()
    assert "none.nmea" in err
    assert "Over the speed range" in out


def test_a_day_sheet_and_skipped_runs(springs, capsys):
    folder, _ = springs
    sheet = folder / "day.toml"
    sheet.write_text(
        "[day]\nwind_mps = 4.0\n"
        '[[setup]]\nname = "a"\nfiles = ["run1.nmea", "run4.nmea"]\nskip = ["run4.nmea#1"]\n'
        '[[setup]]\nname = "b"\nfiles = ["run2.nmea", "run3.nmea"]\n'
    )
    capsys.readouterr()
    assert compare([str(sheet)], measures=["0-30 mph"], skip=["run1.nmea#2"], json=True) == 0
    document = json.loads(capsys.readouterr().out)
    assert [len(document["measures"][0][key]) for key in ("baseline_runs", "changed_runs")] == [2, 4]
    codes = {remark["code"] for remark in document["remarks"]}
    assert {"wind", "left-out"} <= codes


def test_the_scatter_of_logs_at_hand_makes_a_plan(springs, capsys):
    folder, _ = springs
    capsys.readouterr()
    assert plan([f"a={folder}/run1.nmea,{folder}/run4.nmea", f"b={folder}/run2.nmea"], json=True) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["scatter_source"].startswith("your own")
    assert {choice["measure"] for choice in document["measures"]} >= {"0-30 mph", "10-30 mph", "60 ft"}
    assert document["strips"][1]["purpose"] == "top speed"
    with pytest.raises(UsageError, match="two setups are compared"):
        compare([f"a={folder}/run1.nmea"])


@pytest.fixture(scope="module")
def runs_book(springs):
    """A book that holds the four logs of the springs."""
    from traceanalyze.cli.book import add

    folder, _ = springs
    place = folder / "runs.book"
    words = [f"standard={folder}/run1.nmea,{folder}/run4.nmea", f"stiff={folder}/run2.nmea,{folder}/run3.nmea"]
    assert add(words, book=place, vehicle="pit bike", quiet=True) == 0
    return place


def remarks(document):
    return {remark["code"]: remark["text"] for remark in document["remarks"]}


def test_the_scatter_of_other_runs_comes_from_the_book_that_is_named(springs, runs_book, tmp_path, capsys):
    from traceanalyze.cli.simulate import simulate

    for k in (5, 6):
        simulate(out=tmp_path / f"new{k}.nmea", setup="stiff", random=k, launches=2, passes=1)
    words = [f"a={tmp_path}/new5.nmea", f"b={tmp_path}/new6.nmea"]

    def document(**more):
        capsys.readouterr()
        assert compare(words, json=True, **more) == 0
        return json.loads(capsys.readouterr().out)

    with_book = document(book=runs_book)
    said = remarks(with_book)["scatter-from-book"]
    assert said.startswith(f"your own scatter of other runs, from the run book {runs_book}: 0-30 mph 0.")
    assert "degrees of freedom), top speed" in said
    # four setups' halves of two launches each way: 8 launches, 2 setups and 2 ways leave 4 degrees of freedom
    assert "4 degrees of freedom" in with_book["measures"][0]["model"]
    without = document()
    assert "scatter-from-book" not in remarks(without)
    assert "rider's own history" not in without["measures"][0]["model"]
    stated = document(book=runs_book, scatter="0.2", scatter_df=9)
    assert "9 degrees of freedom" in stated["measures"][0]["model"]


def test_logs_that_are_judged_are_never_their_own_yardstick(springs, runs_book, capsys):
    folder, _ = springs
    words = [f"standard={folder}/run1.nmea,{folder}/run4.nmea", f"stiff={folder}/run2.nmea,{folder}/run3.nmea"]
    capsys.readouterr()
    assert compare(words, book=runs_book, json=True) == 0
    document = json.loads(capsys.readouterr().out)
    assert "has no other runs that repeat" in remarks(document)["scatter-from-book"]
    assert "rider's own history" not in document["measures"][0]["model"]


def test_only_the_environment_can_name_another_book(springs, runs_book, tmp_path, capsys, monkeypatch):
    folder, _ = springs
    words = [f"a={folder}/run1.nmea", f"b={folder}/run2.nmea"]

    def said():
        capsys.readouterr()
        assert compare(words, json=True) == 0
        return remarks(json.loads(capsys.readouterr().out))

    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    monkeypatch.delenv("TRACEANALYZE_BOOK", raising=False)
    assert not {"scatter-from-book", "book-not-used"} & set(said())
    monkeypatch.setenv("TRACEANALYZE_BOOK", str(runs_book))
    assert str(runs_book) in said()["scatter-from-book"]
    monkeypatch.setenv("TRACEANALYZE_BOOK", str(tmp_path / "none.book"))
    assert "no run book here" in said()["book-not-used"]
    with pytest.raises(BookError, match="no run book here"):
        compare(words, book=tmp_path / "none.book")
    with pytest.raises(BookError, match="no vehicle 'kart'"):
        compare(words, book=runs_book, vehicle="kart")


def test_a_table_takes_a_scatter_only_from_a_book_that_is_named(times, runs_book, capsys, monkeypatch):
    monkeypatch.setenv("TRACEANALYZE_BOOK", str(runs_book))
    assert compare(table=times, json=True) == 0
    assert "rider's own history" not in json.loads(capsys.readouterr().out)["measures"][0]["model"]
    assert compare(table=times, book=runs_book, json=True) == 0
    document = json.loads(capsys.readouterr().out)
    assert "rider's own history" in document["measures"][0]["model"]
    assert "scatter-from-book" in remarks(document)


def test_slope_and_air_are_corrected_beside_the_raw_times(springs, capsys):
    folder, _ = springs
    sheet = folder / "sloping.toml"
    sheet.write_text(
        "[day]\nair_temperature_c = 35.0\npressure_hpa = 850.0\nhumidity_pct = 30\ngrade_pct = 0.5\n"
        "[vehicle]\nmass_kg = 142\n"
        '[[setup]]\nname = "a"\nfiles = ["run1.nmea", "run4.nmea"]\n'
        '[[setup]]\nname = "b"\nfiles = ["run2.nmea", "run3.nmea"]\ngrade_pct = 0.0\n'
    )
    capsys.readouterr()
    assert compare([str(sheet)], json=True) == 0
    document = json.loads(capsys.readouterr().out)
    a, b = [one for one in document["corrected"] if one["measure"] == "0-30 mph"]
    assert (a["setup"], a["runs"], a["measure"]) == ("a", 4, "0-30 mph")
    assert a["raw_mean_s"] == pytest.approx(document["measures"][0]["baseline_mean"], abs=1e-6)
    # out and back in turn: up and down cancel but for a part of second order, (g i / a)^2 = (0.049 / 2.1)^2 = 0.05 %
    assert abs(a["level_road_change_s"]) < 0.01 * a["raw_mean_s"] * 0.25
    assert b["level_road_change_s"] == 0.0
    # thin air: 0.9512 kg/m^3 by the gas law with its vapour, against 1.1888 (28.964 g/mol, 100 kPa, 20 C, dry): an
    # engine that breathes a quarter more pulls a quarter harder, and a launch of 5.8 s at about constant pull is a
    # fifth shorter, less what drag takes
    assert a["reference_air_change_s"] == pytest.approx(-0.2 * a["raw_mean_s"], rel=0.25)
    assert a["reference_air_mean_s"] == pytest.approx(a["raw_mean_s"] + a["reference_air_change_s"], abs=2e-6)
    assert document["measures"][0]["baseline_mean"] > a["reference_air_mean_s"]
    assert compare([str(sheet)]) == 0
    below = capsys.readouterr().out.split("no verdict rests on the")[1]
    [row] = [line for line in below.splitlines() if line.startswith("a ")]
    assert [float(cell) for cell in re.findall(r"(\d\.\d\d)(?: |$)", row)] == pytest.approx(
        [a["raw_mean_s"], a["level_road_mean_s"], a["reference_air_mean_s"]], abs=0.005
    )
    assert max(map(len, below.splitlines())) <= 80


def test_without_facts_nothing_is_corrected(springs, capsys):
    folder, _ = springs
    capsys.readouterr()
    assert compare([f"a={folder}/run1.nmea", f"b={folder}/run2.nmea"], json=True) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["corrected"] == []
    assert compare([f"a={folder}/run1.nmea", f"b={folder}/run2.nmea"]) == 0
    assert "no verdict rests" not in capsys.readouterr().out
    assert document["engine_speeds"][0]["rpm_per_mps"] is None


def test_engine_speeds_in_the_table_and_in_json(springs, capsys):
    folder, _ = springs
    sheet = folder / "geared.toml"
    text = (
        "[vehicle]\ntyre_circumference_m = 1.32\nteeth = [18, 48, 15, 36]\nmax_engine_rpm = 3800\n"
        '[[setup]]\nname = "a"\nfiles = ["run1.nmea", "run4.nmea"]\nengagement_rpm = 2500\n'
        '[[setup]]\nname = "b"\nfiles = ["run2.nmea", "run3.nmea"]\nengagement_rpm = 2500\n'
    )
    sheet.write_text(text)
    capsys.readouterr()
    assert compare([str(sheet)]) == 0
    screen = capsys.readouterr().out
    # 30 mph is 3901 rpm, 20 mph 2601: V[km/h] = 0.06 D n R (French decree of 27 March 1979, article 2)
    assert re.search(r"^20-30 mph .* 2600-3900!$", screen, re.MULTILINE)
    assert "\n! above your limit\n" in screen
    assert "b turned the engine" in screen
    assert max(map(len, screen.splitlines())) <= 80
    assert compare([str(sheet)], json=True) == 0
    [engine] = json.loads(capsys.readouterr().out)["engine_speeds"]
    assert engine["rpm_per_mps"] == pytest.approx(3.6 / (0.06 * 1.32) * 48 / 18 * 36 / 15, abs=1e-5)
    assert (engine["engagement_rpm"], engine["max_engine_rpm"]) == (2500, 3800)
    sheet.write_text(text + "teeth = [18, 48, 15, 38]\n")
    assert compare([str(sheet)]) == 0
    screen = capsys.readouterr().out
    assert "geared differently" in screen
    assert " rpm\n" not in screen
