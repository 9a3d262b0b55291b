"""Coast-downs, against the closed form of rolling resistance and square drag."""

import math

import numpy as np
import pytest

from tests.detect.rides import logged, noise_of
from traceanalyze.detect.coastdowns import find_coastdowns
from traceanalyze.trace import Trace, make_trace


def coasting(rate_hz: float, sigma_mps: float = 0.05) -> Trace:
    """Launch, hold, coast from 15 to 5 m/s with m dv/dt = -(A + C v^2), A = 22.07 N, C = 0.36 kg/m, m = 150 kg; brake.

    Closed form v = sqrt(A/C) tan(theta0 - t sqrt(AC)/m), integrated by hand; 15 to 5 m/s takes 27.7469 s.
    """
    t_s = np.arange(0, 80, 1 / rate_hz)
    root, rate = math.sqrt(22.07 / 0.36), math.sqrt(22.07 * 0.36) / 150
    falling = root * np.tan(math.atan(15 / root) - rate * np.clip(t_s - 30, 0, 27.7469))
    true = np.where(t_s < 30, np.interp(t_s, [0, 15, 20, 30], [0, 0, 15, 15]), falling)
    true = np.where(t_s > 57.7469, np.maximum(5 - 4 * (t_s - 57.7469), 0), true)
    noise = np.random.default_rng(2).normal(0, sigma_mps, (2, t_s.size))
    return make_trace(t_s, speed_mps=np.hypot(true + noise[0], noise[1]))


@pytest.mark.parametrize("rate_hz", [1, 5, 10, 25])
def test_a_coast_down_is_found_with_its_ends(rate_hz: float) -> None:
    trace = coasting(rate_hz)
    (span,) = find_coastdowns(trace, noise_of(trace))
    # slopes are taken over 1.6 s, so each end is told to half of that and two samples
    assert trace.t_s[span.first] == pytest.approx(30, abs=1.0 + 2 / rate_hz)
    assert trace.t_s[span.last] == pytest.approx(57.75, abs=1.0 + 2 / rate_hz)


def test_braking_and_cruising_are_none() -> None:
    trace = logged([(0, 20), (20, 20), (28, 0), (40, 0)])
    assert find_coastdowns(trace, noise_of(trace)) == ()


def test_slowing_harder_and_harder_is_no_coasting() -> None:
    t_s = np.arange(0, 20, 0.1)
    trace = make_trace(t_s, speed_mps=20 - 0.05 * t_s**2 / 2 - 0.2 * t_s)
    assert find_coastdowns(trace, noise_of(trace)) == ()
