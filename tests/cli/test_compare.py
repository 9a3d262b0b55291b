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
