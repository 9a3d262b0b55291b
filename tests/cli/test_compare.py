"""`compare` and `plan` as commands: words in, screen or JSON out."""

import json
import subprocess
import sys

import pytest

from traceanalyze.cli.compare import compare
from traceanalyze.cli.plan import plan
from traceanalyze.errors import InputError, SheetError, UsageError

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
