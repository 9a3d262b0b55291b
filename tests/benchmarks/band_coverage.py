"""How often the bands over the speed range hold as a whole: curves made up here, their true difference known.

python tests/benchmarks/band_coverage.py [days per line]
"""

from __future__ import annotations

import math
import sys

import numpy as np
from numpy.random import Generator

from traceanalyze.comparison import CurveComparison, Run
from traceanalyze.judge.curves import compare_curves
from traceanalyze.results import Curve

GRID_MPS = np.arange(57) * 0.25
START_MPS = 1.3  # speed at the start mark
TOP_MPS = 13.4112
GAIN = 0.04  # share of acceleration that the changed setup gains


def wavy(length_mps: float, sd: float) -> np.ndarray:
    """Square root of the covariance of a smooth random curve with this correlation length."""
    gap = GRID_MPS[:, None] - GRID_MPS
    covariance = sd**2 * np.exp(-0.5 * (gap / length_mps) ** 2) + 1e-10 * np.eye(GRID_MPS.size)
    return np.linalg.cholesky(covariance).T


PUSH, TIME_NOISE, ACCEL_NOISE = wavy(4.0, 0.03), wavy(2.0, 0.016), wavy(2.5, 0.06)


def ride(push: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Time since the start mark and acceleration at every speed."""
    accel = 4.2 * (1 - (GRID_MPS / 22) ** 2) * (1 + push)
    steps = (1 / accel[1:] + 1 / accel[:-1]) / 2 * 0.25
    time = np.concatenate([[0.0], np.cumsum(steps)])
    return time - np.interp(START_MPS, GRID_MPS, time), accel


def pushes(rng: Generator) -> np.ndarray:
    """What one launch differs by: as a whole, here and there, and in the clutch at the start."""
    return rng.normal(0, 0.03) + rng.standard_normal(GRID_MPS.size) @ PUSH + np.exp(-GRID_MPS / 2) * rng.normal(0, 0.10)


def day(rng: Generator, order: str) -> list[tuple[Run, Curve]]:
    """One day of launches, out and back in turn with a direction effect of 3 % in the acceleration."""
    pairs = []
    for i, setup in enumerate(order):
        time, accel = ride(pushes(rng) + GAIN * (setup == "B") + 0.03 * (i % 2))
        curve = Curve(
            speed_mps=GRID_MPS,
            time_s=time + rng.normal(0, 0.012) + rng.standard_normal(GRID_MPS.size) @ TIME_NOISE,
            time_stderr_s=np.full(GRID_MPS.size, 0.02),
            accel_mps2=accel + rng.standard_normal(GRID_MPS.size) @ ACCEL_NOISE,
            accel_stderr_mps2=np.full(GRID_MPS.size, 0.06),
            distance_m=GRID_MPS,
        )
        pairs.append((Run(setup=setup, value=4.0, order=i + 1.0, direction="EW"[i % 2]), curve))
    return pairs


def expected(rng: Generator, draws: int = 20_000) -> tuple[np.ndarray, np.ndarray]:
    """Mean difference in time and acceleration over all launches there could be."""
    total = np.zeros((2, GRID_MPS.size))
    for _ in range(draws):
        push = pushes(rng) + 0.015
        total += np.array(ride(push + GAIN)) - np.array(ride(push))
    return total[0] / draws, total[1] / draws


def held(found: CurveComparison, time: np.ndarray, accel: np.ndarray) -> list[float]:
    """Whether the table, the time band and the acceleration band hold everywhere."""
    at = np.rint(found.speed_mps / 0.25).astype(int)
    edges = [0.0, *(band.to_mps for band in found.bands)]
    true = [0.0, *np.interp(edges[1:], GRID_MPS, time)]
    table = all(b.low95_s <= true[j + 1] - true[j] <= b.high95_s for j, b in enumerate(found.bands))
    table = table and found.total.low95_s <= true[-1] <= found.total.high95_s
    if math.isnan(found.time_low95_s[0]):
        return [table, math.nan, math.nan]
    bands = [
        ((found.time_low95_s <= time[at]) & (time[at] <= found.time_high95_s)).all(),
        ((found.accel_low95_mps2 <= accel[at]) & (accel[at] <= found.accel_high95_mps2)).all(),
    ]
    return [table, *map(float, bands)]


def main(days: int) -> None:
    """Print the table."""
    time, accel = expected(np.random.default_rng(1))
    print(f"{days} days a line; held as a whole, in 100 (nominal 95); - where too few runs give no band")
    print(f"{'design':16s} {'table of ranges':>16s} {'time curve':>11s} {'acceleration':>13s}")
    for order in ("ABBA", "AABBBA", "AABBBBAA", "AAABBBBBBAAA", "AAABBB"):
        rng = np.random.default_rng([2, len(order)])
        rates = np.mean(
            [held(compare_curves(day(rng, order), baseline="A", top_mps=TOP_MPS), time, accel) for _ in range(days)],
            axis=0,
        )
        cells = ["-" if math.isnan(rate) else f"{100 * rate:.1f}" for rate in rates]
        print(f"{order:16s} {cells[0]:>16s} {cells[1]:>11s} {cells[2]:>13s}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
