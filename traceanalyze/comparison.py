"""What comes out of comparing two setups: runs, the verdict of each measure, the curves over speed.

All frozen; SI units; `to_dict` is the JSON contract, `to_frame` a pandas frame, `str()` a few plain lines.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final, Literal, get_args

from traceanalyze.results import number, round_half_up, uncertainty_decimals
from traceanalyze.trace import FloatArray, Remark
from traceanalyze.units import KMH, KNOT, MPH

if TYPE_CHECKING:
    import pandas as pd

Verdict = Literal["better", "worse", "no meaningful difference", "cannot tell yet", "confounded"]
VERDICTS: Final[tuple[Verdict, ...]] = get_args(Verdict)
#: What a measure's entry in the JSON holds as it is, and what as numbers.
_MEASURE_WORDS: Final = (
    "measure", "start_rule", "unit", "smaller_is_better", "headline", "verdict", "reason", "why", "next_step",
    "more_runs_each", "model",
)  # fmt: skip
_MEASURE_NUMBERS: Final = (
    "baseline_mean", "changed_mean", "difference", "stderr", "df", "p_value", "p_adjusted", "order_r2", "run_scatter",
    "scatter_df", "smallest_meaningful",
)  # fmt: skip
SCHEMA: Final = "traceanalyze.compare/1"
#: What one shown unit is in the SI unit of the quantity.
SHOWN_UNITS: Final = {"s": 1.0, "m/s": 1.0, "mph": MPH, "km/h": KMH, "kn": KNOT}


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One timed run of one setup.

    Attributes
    ----------
    setup : str
        Name of the setup that was fitted.
    value : float
        Time [s] or speed [m/s].
    stderr : float
        Standard uncertainty of the value itself, same unit; 0 when not known (a stopwatch).
    order : float
        Place in the day, from 1; NaN when not known.
    direction : str
        Any label; empty when not known.
    block : str
        Day or session: runs are compared within it.
    file, launch : str, int
        Where it comes from; 0 for none. For a top speed `launch` is the number of the pass.
    note : str
        As the rider wrote it.
    """

    setup: str
    value: float
    stderr: float = 0.0
    order: float = float("nan")
    direction: str = ""
    block: str = ""
    file: str = ""
    launch: int = 0
    note: str = ""

    def to_dict(self) -> dict[str, Any]:
        """Return it as the JSON contract has it."""
        return {
            "value": number(self.value),
            "stderr": number(self.stderr),
            "order": None if self.order != self.order else int(self.order) if self.order % 1 == 0 else self.order,
            **{name: getattr(self, name) or None for name in ("direction", "block", "file", "launch", "note")},
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class PlainTest:
    """One textbook test of changed minus baseline, in the unit of the values."""

    difference: float
    t: float
    df: float
    p_value: float
    low95: float
    high95: float

    def to_dict(self) -> dict[str, Any]:
        """Return it for JSON."""
        numbers = {name: number(getattr(self, name)) for name in ("t", "df", "p_value")}
        return numbers | {"interval95": [number(self.low95), number(self.high95)]}


@dataclass(frozen=True, slots=True, kw_only=True)
class SecondOpinions:
    """Textbook tests that know nothing of direction, drift or history.

    `permutation_count` of `permutation_of` divisions of the runs differ at least as much, and `permutation_least_p` is
    the smallest p-value so many runs can reach; 0 of 0 for too many runs.
    """

    welch: PlainTest
    pooled: PlainTest
    permutation_count: int
    permutation_of: int
    permutation_least_p: float

    @property
    def permutation_p(self) -> float:
        """Exact two-sided p-value; NaN for too many runs."""
        return self.permutation_count / self.permutation_of if self.permutation_of else float("nan")

    def to_dict(self) -> dict[str, Any]:
        """Return it for JSON."""
        return {
            "welch": self.welch.to_dict(),
            "pooled": self.pooled.to_dict(),
            "permutation_count": self.permutation_count,
            "permutation_of": self.permutation_of,
            "permutation_p_value": number(self.permutation_p),
            "permutation_least_p_value": number(self.permutation_least_p),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureComparison:
    """The verdict on one measure.

    Attributes
    ----------
    measure : str
    start_rule : str or None
    unit : str
        `s` or `m/s`: the unit of every number in it.
    shown_unit : str
        What people are shown: `s`, `mph`, `km/h`, `m/s` or `kn`.
    smaller_is_better : bool
    headline : bool
        Whether this is the measure named beforehand; the others are corrected for being several (Holm).
    baseline, changed : str
        Names of the setups.
    baseline_runs, changed_runs : tuple of Run
    baseline_mean, changed_mean : float
        Plain means.
    difference : float
        Changed minus baseline, after direction, drift and day as far as they were fitted.
    stderr, df : float
        Standard error of the difference with everything allowed for, and its degrees of freedom; NaN when
        no interval can be given.
    low95, high95, low90, high90 : float
        Intervals of the difference.
    p_value, p_adjusted : float
        Two-sided; adjusted for several measures where this is not the headline.
    order_r2 : float
        Squared correlation of setup and order: 0 when neither ran later, 1 when one ran wholly after the other.
    run_scatter, scatter_df : float
        Run-to-run standard deviation the verdict rests on, and the degrees of freedom behind it.
    smallest_meaningful : float
    verdict : str
        One of `VERDICTS`.
    reason : str
        Which line of the table of verdicts it was: `few runs`, `day`, `direction`, `order`, `claim`, `within`,
        `several` (a claim that does not stand beside the other measures) or `open`.
    why, next_step : str
        One plain sentence; what to do now.
    more_runs_each : int
        About how many more runs of each setup would show `smallest_meaningful` with 80 % power.
    model : str
        What was fitted and what the scatter rests on.
    remarks : tuple of Remark
        Things to know that change no number.
    plain : SecondOpinions or None
        Textbook tests for comparison; no verdict rests on them.
    """

    measure: str
    start_rule: str | None
    unit: str
    shown_unit: str
    smaller_is_better: bool
    headline: bool = True
    baseline: str
    changed: str
    baseline_runs: tuple[Run, ...]
    changed_runs: tuple[Run, ...]
    baseline_mean: float
    changed_mean: float
    difference: float
    stderr: float = float("nan")
    df: float = float("nan")
    low95: float = float("nan")
    high95: float = float("nan")
    low90: float = float("nan")
    high90: float = float("nan")
    p_value: float = float("nan")
    p_adjusted: float = float("nan")
    order_r2: float = float("nan")
    run_scatter: float = float("nan")
    scatter_df: float = float("nan")
    smallest_meaningful: float
    verdict: Verdict
    reason: str = ""
    why: str = ""
    next_step: str = ""
    more_runs_each: int = 0
    model: str = ""
    remarks: tuple[Remark, ...] = ()
    plain: SecondOpinions | None = None

    @property
    def gain(self) -> float:
        """How much better the changed setup is, in `unit`; negative when worse."""
        return -self.difference if self.smaller_is_better else self.difference

    def to_dict(self) -> dict[str, Any]:
        """Return it as the JSON contract has it."""
        values = {name: number(getattr(self, name)) for name in _MEASURE_NUMBERS}
        words = {name: getattr(self, name) for name in _MEASURE_WORDS}
        return words | {
            "baseline_runs": [run.to_dict() for run in self.baseline_runs],
            "changed_runs": [run.to_dict() for run in self.changed_runs],
            **values,
            "interval95": [number(self.low95), number(self.high95)],
            "interval90": [number(self.low90), number(self.high90)],
            "remarks": [remark.to_dict() for remark in self.remarks],
            "plain_tests": self.plain.to_dict() if self.plain else None,
        }

    def __str__(self) -> str:
        return f"{self.why}\n  {self.measure}: {self._numbers()}"

    def _numbers(self) -> str:
        factor = SHOWN_UNITS[self.shown_unit]
        decimals = uncertainty_decimals(self.stderr / factor)
        means = (
            f"{self.baseline} {round_half_up(self.baseline_mean / factor, decimals)} {self.shown_unit} "
            f"(n = {len(self.baseline_runs)}), {self.changed} {round_half_up(self.changed_mean / factor, decimals)} "
            f"{self.shown_unit} (n = {len(self.changed_runs)})"
        )
        if self.stderr != self.stderr:
            return means
        shown = [round_half_up(x / factor, decimals) for x in (self.difference, self.low95, self.high95)]
        return f"{means}; difference {shown[0]} {self.shown_unit}, 95 % between {shown[1]} and {shown[2]}"


@dataclass(frozen=True, slots=True, kw_only=True)
class BandResult:
    """The time between two speeds, compared; holds jointly with its neighbours and the total.

    Speeds in m/s, times in s; the difference is changed minus baseline.
    """

    from_mps: float
    to_mps: float
    difference_s: float
    low95_s: float
    high95_s: float
    verdict: Verdict

    def to_dict(self) -> dict[str, Any]:
        """Return it as the JSON contract has it."""
        return {
            "from_mps": number(self.from_mps),
            "to_mps": number(self.to_mps),
            "difference_s": number(self.difference_s),
            "interval95_s": [number(self.low95_s), number(self.high95_s)],
            "verdict": self.verdict,
        }


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CurveComparison:
    """Two setups over the speed range.

    Attributes
    ----------
    speed_mps : (m,) float
        Speeds every compared launch reached [m/s].
    baseline_time_s, changed_time_s, baseline_accel_mps2, changed_accel_mps2 : (m,) float
        Fitted means of each setup: time since the start mark, acceleration.
    time_difference_s, accel_difference_mps2 : (m,) float
        Changed minus baseline.
    time_low95_s, time_high95_s, accel_low95_mps2, accel_high95_mps2 : (m,) float
        Bands that hold over the whole range at once; NaN where the runs are too few for any.
    bands : tuple of BandResult
        Neighbouring ranges of speed, jointly with `total`.
    total : BandResult or None
    sentence : str
        Where in the range the difference lies.
    model : str
    remarks : tuple of Remark
    """

    speed_mps: FloatArray
    baseline_time_s: FloatArray
    changed_time_s: FloatArray
    time_difference_s: FloatArray
    time_low95_s: FloatArray
    time_high95_s: FloatArray
    baseline_accel_mps2: FloatArray
    changed_accel_mps2: FloatArray
    accel_difference_mps2: FloatArray
    accel_low95_mps2: FloatArray
    accel_high95_mps2: FloatArray
    bands: tuple[BandResult, ...] = ()
    total: BandResult | None = None
    sentence: str = ""
    model: str = ""
    remarks: tuple[Remark, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return it as the JSON contract has it."""
        return {name: _numbers(getattr(self, name)) for name in _CURVE_COLUMNS if "95" not in name} | {
            "time_band95_s": [_numbers(self.time_low95_s), _numbers(self.time_high95_s)],
            "accel_band95_mps2": [_numbers(self.accel_low95_mps2), _numbers(self.accel_high95_mps2)],
            "bands": [band.to_dict() for band in self.bands],
            "total": self.total.to_dict() if self.total else None,
            "sentence": self.sentence,
            "model": self.model,
            "remarks": [remark.to_dict() for remark in self.remarks],
        }

    def to_frame(self) -> pd.DataFrame:
        """Return one row per speed, SI units, as a pandas frame."""
        import pandas as pd

        return pd.DataFrame({name: getattr(self, name) for name in _CURVE_COLUMNS})

    def __str__(self) -> str:
        return self.sentence


_CURVE_COLUMNS: Final = (
    "speed_mps", "baseline_time_s", "changed_time_s", "time_difference_s", "time_low95_s", "time_high95_s",
    "baseline_accel_mps2", "changed_accel_mps2", "accel_difference_mps2", "accel_low95_mps2", "accel_high95_mps2",
)  # fmt: skip


def _numbers(values: FloatArray) -> list[float | None]:
    return [number(float(value)) for value in values]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Comparison:
    """Two setups compared: the verdict of each measure, the headline first, and the curves where there are any."""

    baseline: str
    changed: str
    measures: tuple[MeasureComparison, ...]
    curves: CurveComparison | None = None
    remarks: tuple[Remark, ...] = field(default=())

    @property
    def headline(self) -> MeasureComparison:
        """The measure named beforehand: the first."""
        return self.measures[0]

    @property
    def verdict(self) -> Verdict:
        """The headline's verdict."""
        return self.headline.verdict

    @property
    def all_remarks(self) -> tuple[Remark, ...]:
        """Every remark once: of the comparison, its measures, its curves."""
        return tuple(dict.fromkeys(self._remarks()))

    def _remarks(self) -> Iterator[Remark]:
        yield from self.remarks
        for one in self.measures:
            yield from one.remarks
        if self.curves:
            yield from self.curves.remarks

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON contract's document."""
        return {
            "schema": SCHEMA,
            "baseline": self.baseline,
            "changed": self.changed,
            "measures": [one.to_dict() for one in self.measures],
            "curves": self.curves.to_dict() if self.curves else None,
            "remarks": [remark.to_dict() for remark in self.remarks],
        }

    def to_frame(self) -> pd.DataFrame:
        """Return one row per measure, SI units, as a pandas frame."""
        import pandas as pd

        names = (*_MEASURE_WORDS[:4], "baseline", "changed", *_MEASURE_NUMBERS, "low95", "high95", *_MEASURE_WORDS[5:])
        return pd.DataFrame([{name: getattr(one, name) for name in names} for one in self.measures])

    def __str__(self) -> str:
        lines = [f"{self.changed} against {self.baseline}", *(str(one) for one in self.measures)]
        if self.curves and self.curves.sentence:
            lines.append(self.curves.sentence)
        return "\n".join([*lines, *(f"  note: {remark.text}" for remark in self.all_remarks)])
