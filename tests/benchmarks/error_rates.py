"""How often the verdict is right: days of runs made up here, with every truth known, judged by the package.

The generator shares nothing with the package's simulator: it draws times, not rides. Run it by hand:

    python tests/benchmarks/error_rates.py [days per scenario]
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.random import Generator

from traceanalyze.comparison import MeasureComparison, Run
from traceanalyze.judge.case import prepare
from traceanalyze.judge.scatter import OwnScatter
from traceanalyze.judge.verdict import judge
from traceanalyze.units import parse_measure

LAUNCH = parse_measure("0-30 mph")
BASE_S = 4.0
FLUKE_S = 0.5


@dataclass(frozen=True, kw_only=True)
class Day:
    """A kind of day: which setup ran when and which way, and everything that disturbs it."""

    name: str
    order: str = "AABBBBAA"
    ways: str = "EWEWEWEW"
    sd: float = 0.08
    errors: Callable[[Generator, int], np.ndarray] = field(default=lambda rng, n: rng.standard_normal(n))
    drift: float = 0.0
    direction: float = 0.12
    fluke_chance: float = 0.0
    stderr: dict[str, float] = field(default_factory=lambda: {"A": 0.02, "B": 0.02})
    history_df: float = 0.0
    blocks: str = ""
    block_sd: float = 0.0

    def runs(self, rng: Generator, difference: float) -> list[Run]:
        """Draw one such day."""
        n = len(self.order)
        ways = (self.ways * n)[:n]
        shift = {label: rng.normal(0, self.block_sd) for label in sorted(set(self.blocks))}
        drift = self.drift * rng.choice([-1, 1])
        wind = self.direction * rng.choice([-1, 1])
        errors = self.sd * self.errors(rng, n) + np.where(rng.random(n) < self.fluke_chance, FLUKE_S, 0.0)
        runs = []
        for i, setup in enumerate(self.order):
            u = self.stderr[setup]
            value = BASE_S + difference * (setup == "B") + drift * i + wind * (ways[i] == "E") + errors[i]
            block = self.blocks[i] if self.blocks else ""
            value += shift.get(block, 0.0) + u * rng.standard_normal()
            runs.append(Run(setup=setup, value=value, stderr=u, order=i + 1.0, direction=ways[i], block=block))
        return runs

    def judged(self, rng: Generator, difference: float) -> MeasureComparison:
        """Draw a day and let the package judge it."""
        own = None
        if self.history_df:
            seen = self.sd * math.sqrt(rng.chisquare(self.history_df) / self.history_df)
            own = OwnScatter(sd=seen, df=self.history_df)
        return judge(prepare(self.runs(rng, difference), baseline="A", changed="B", measure=LAUNCH, own=own))

    @property
    def oracle_se(self) -> float:
        """Standard error for somebody who knows scatter, drift and direction."""
        flukes = self.fluke_chance * (1 - self.fluke_chance) * FLUKE_S**2
        variance = {s: self.sd**2 + self.stderr[s] ** 2 + flukes for s in "AB"}
        return math.sqrt(sum(variance[s] / self.order.count(s) for s in "AB"))


def heavy(rng: Generator, n: int) -> np.ndarray:
    """Student's t with 3 degrees of freedom, scaled to unit variance."""
    return rng.standard_t(3, n) / math.sqrt(3)


def skewed(rng: Generator, n: int) -> np.ndarray:
    """Exponential: a long tail of slow runs."""
    return rng.exponential(1.0, n) - 1.0


def persistent(rng: Generator, n: int) -> np.ndarray:
    """First-order autoregression, correlation 0.5 from run to run."""
    e = rng.standard_normal(n)
    for i in range(1, n):
        e[i] = 0.5 * e[i - 1] + math.sqrt(0.75) * e[i]
    return e


def warming(rng: Generator, n: int) -> np.ndarray:
    """The first run of the day is two standard deviations slow."""
    e = rng.standard_normal(n)
    e[0] += 2.0
    return e


def refitted(rng: Generator, n: int) -> np.ndarray:
    """Every fitting of the part (AA|BBBB|AA) has its own offset of 0.4 standard deviations."""
    offsets = rng.normal(0, 0.4, 3)
    return rng.standard_normal(n) + offsets[[0] * 2 + [1] * 4 + [2] * 2]


FAMILY = (
    Day(name="AABBBBAA, scatter 2 %"),
    Day(name="... scatter 1 %", sd=0.04),
    Day(name="... scatter 4 %", sd=0.16),
    Day(name="... heavy tails (t, 3 df)", errors=heavy),
    Day(name="... skewed (exponential)", errors=skewed),
    Day(name="... 5 % flukes of 0.5 s", fluke_chance=0.05),
    Day(name="... drift 0.02 s/run", drift=0.02),
    Day(name="... drift 0.05 s/run", drift=0.05),
    Day(name="... loggers 0.02 and 0.10 s", stderr={"A": 0.02, "B": 0.10}, sd=0.05),
    Day(name="... own history, 8 df", history_df=8),
    Day(name="ABBA", order="ABBA"),
    Day(name="ABBA, heavy tails", order="ABBA", errors=heavy),
    Day(name="ABBA, drift 0.02 s/run", order="ABBA", drift=0.02),
    Day(name="AABBBA (3 + 3)", order="AABBBA"),
    Day(name="AAABBBBBBAAA (6 + 6)", order="AAABBBBBBAAA", drift=0.02),
    Day(name="AABBBBAA twice (8 + 8)", order="AABBBBAAAABBBBAA", ways="EWEWEWEWEWEWEWEW", drift=0.02),
    Day(name="ABBAABBA", order="ABBAABBA", drift=0.02),
    Day(name="ABABABAB, EEWW", order="ABABABAB", ways="EEWW", drift=0.01),
    Day(name="two days, ABBA each, 0.1 s apart", order="ABBAABBA", blocks="11112222", block_sd=0.10),
)
WEAK = (
    Day(name="runs autocorrelated 0.5, AABBBBAA", errors=persistent),
    Day(name="runs autocorrelated 0.5, ABBAABBA", errors=persistent, order="ABBAABBA"),
    Day(name="first run slow by 2 sd", errors=warming),
    Day(name="every fitting differs by 0.4 sd", errors=refitted),
    Day(name="ABBA, scatter 4 % (generic 2.7 %)", order="ABBA", sd=0.16),
    Day(name="ABBA, scatter 1 %", order="ABBA", sd=0.04),
)
CONFOUNDED = (
    Day(name="AAABBB, no drift", order="AAABBB"),
    Day(name="AAABBB, drift 0.02 s/run", order="AAABBB", drift=0.02),
    Day(name="AAAABBBB, drift 0.02 s/run", order="AAAABBBB", drift=0.02),
    Day(name="AAAABBBB, drift 0.05 s/run", order="AAAABBBB", drift=0.05),
    Day(name="A all east, B all west", ways="EEWWWWEE", direction=0.2),
    Day(name="A and B on different days", order="AAAABBBB", blocks="11112222", block_sd=0.10),
)


#: Noncentralities at which somebody who knows scatter, drift and direction shows the difference 80 and 95 times in 100.
SIZES = {0.80: 2.8016, 0.95: 3.6049}


def score(day: Day, days: int, rng: Generator) -> dict[str, float]:
    """Return rates over many days: false claims, coverage, and power as a share of the oracle's."""
    null = [day.judged(rng, 0.0) for _ in range(days)]
    true = {power: [day.judged(rng, -size * day.oracle_se) for _ in range(days)] for power, size in SIZES.items()}
    held = [x.low95 <= 0.0 <= x.high95 for x in null if math.isfinite(x.low95)]
    for power, size in SIZES.items():
        d = -size * day.oracle_se
        held += [x.low95 <= d <= x.high95 for x in true[power] if math.isfinite(x.low95)]
    return {
        "false": _share(null, "better", "worse"),
        "cover": float(np.mean(held)) if held else math.nan,
        "at 80": _share(true[0.80], "better") / 0.80,
        "at 95": _share(true[0.95], "better") / 0.95,
        "confd": _share(null, "confounded"),
    }


def _share(found: list[MeasureComparison], *verdicts: str) -> float:
    return float(np.mean([x.verdict in verdicts for x in found]))


def main(days: int) -> None:
    """Print the table."""
    print(f"{days} days a line and size; in 100. Nominal: false 5, cover 95; standard error of 5: "
          f"{100 * math.sqrt(0.0475 / days):.1f}.\nat 80, at 95: claims of the true direction as a share of those of "
          "an oracle that makes 80 and 95 of 100.")  # fmt: skip
    print(f"{'kind of day':38s} {'false':>6s} {'cover':>6s} {'at 80':>6s} {'at 95':>6s} {'confd':>6s}")
    for title, family in (("designs that balance", FAMILY), ("known weak spots", WEAK), ("confounded", CONFOUNDED)):
        print(f"-- {title}")
        for k, day in enumerate(family):
            s = score(day, days, np.random.default_rng([k, len(title)]))
            print(f"{day.name:38s} {100 * s['false']:6.1f} {100 * s['cover']:6.1f} {s['at 80']:6.2f} {s['at 95']:6.2f}"
                  f" {100 * s['confd']:6.1f}", flush=True)  # fmt: skip


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 4000)
