"""The smoother against general state-space libraries and against least squares in one piece."""

import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from traceanalyze.errors import SignalError
from traceanalyze.signal.smoothing import Series, Smoothed, foretold, smooth

#: A fixed problem: state [v, a], step 0.1 s, density 4, measurement sd 0.05, v = a = 0 with variances 1 and 25 before
#: the first sample. Values computed with statsmodels 0.15.0 (tsa.statespace KalmanSmoother, initialize_known), and the
#: same with filterpy 2.0.0 and pykalman 0.11.2 to 3e-14 (states) and 1e-12 (variances).
Z = [0.02, -0.03, 0.11, 0.35, 0.62, 0.88, 1.21, 1.43, 1.77, 1.98]
V = [-0.032410358815, 0.017639697118, 0.139544308934, 0.345891613635, 0.606147469154, 0.889975538061, 1.180250942039,
     1.460835319189, 1.736439740838, 1.995766755743]  # fmt: skip
A = [0.357662235542, 0.783315909004, 1.667714160914, 2.393384942854, 2.756840874270, 2.901769292850, 2.859186140869,
     2.787279577529, 2.677359513000, 2.551225467060]  # fmt: skip
VAR_V = [1.977927321124e-03, 1.034626065746e-03, 1.032256326616e-03, 1.005268857208e-03, 9.920446331155e-04,
         9.920601341198e-04, 1.005605738932e-03, 1.033790024611e-03, 1.036201463651e-03,
         1.989893987368e-03]  # fmt: skip
VAR_A = [3.519930439952e-01, 1.528220317863e-01, 1.285072191580e-01, 1.284603158080e-01, 1.277728056181e-01,
         1.277811822623e-01, 1.285008619829e-01, 1.285499271395e-01, 1.531266986747e-01,
         3.572234125297e-01]  # fmt: skip
LOG_LIKELIHOOD = 4.787581043822


def series(z, step_s=0.1, variance=0.0025, start_variance=(1.0, 25.0), start=0.0, fresh=(0,), jump=None) -> Series:
    z = np.asarray(z, float)
    z = z[:, None] if z.ndim == 1 else z
    marks = np.zeros(len(z), bool)
    marks[list(fresh)] = True
    return Series(
        step_s=np.broadcast_to(np.asarray(step_s, float), len(z)).copy(),
        measured=z,
        variance=np.broadcast_to(np.asarray(variance, float), len(z)).copy(),
        fresh=marks,
        jump=np.zeros(len(z)) if jump is None else jump,
        start=np.full_like(z, start),
        start_variance=np.array(start_variance),
    )


def of(*densities: float) -> np.ndarray:
    return np.array(densities, float)


def test_published_example() -> None:
    found = smooth(series(Z), of(4.0), overlap=20)
    # 1e-11: the digits printed above; a covariance left unsymmetric or a lost cross term changes the fourth digit
    np.testing.assert_allclose(found.value[0, :, 0], V, rtol=0, atol=1e-11)
    np.testing.assert_allclose(found.rate[0, :, 0], A, rtol=0, atol=1e-11)
    np.testing.assert_allclose(found.value_variance[0], VAR_V, rtol=0, atol=1e-14)
    np.testing.assert_allclose(found.rate_variance[0], VAR_A, rtol=0, atol=1e-12)
    assert found.log_density.sum() == pytest.approx(LOG_LIKELIHOOD, abs=1e-11)
    square, variance = foretold(series(Z), of(4.0), np.arange(10)[:, None])
    assert -0.5 * np.sum(np.log(2 * np.pi * variance) + square / variance) == pytest.approx(LOG_LIKELIHOOD, abs=1e-11)


def by_least_squares(s: Series, density: float) -> tuple[np.ndarray, np.ndarray]:
    """Mean and covariance of all states at once, by one dense solve of the normal equations (order 3)."""
    n, order = len(s.measured), s.start_variance.size
    blocks, targets = [], []

    def add(rows, target, covariance):
        root = np.linalg.inv(np.linalg.cholesky(covariance))
        blocks.append(root @ rows)
        targets.append(root @ target)

    for k in range(n):
        here = np.zeros((order, n * order))
        here[:, k * order : (k + 1) * order] = np.eye(order)
        if s.fresh[k]:
            start = np.zeros((order, s.measured.shape[1]))
            start[0] = s.start[k]
            add(here, start, np.diag(s.start_variance))
        else:
            d = s.step_s[k]
            f = np.array([[1, d, d * d / 2], [0, 1, d], [0, 0, 1]])[:order, :order]
            q = np.array(
                [[d**5 / 20, d**4 / 8, d**3 / 6], [d**4 / 8, d**3 / 3, d**2 / 2], [d**3 / 6, d**2 / 2, d]]
            )  # Bar-Shalom, Li, Kirubarajan (2001), equation 6.2.3-9
            rows = here.copy()
            rows[:, (k - 1) * order : k * order] = -f
            q = density * q
            q[0, 0] += s.jump[k]
            add(rows, np.zeros((order, s.measured.shape[1])), q)
        if np.isfinite(s.variance[k]):
            add(here[:1], s.measured[k][None, :], np.array([[s.variance[k]]]))
    matrix, target = np.concatenate(blocks), np.concatenate(targets)
    q, r = np.linalg.qr(matrix)
    inverse = np.linalg.inv(r)
    return inverse @ (q.T @ target), inverse @ inverse.T


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32), st.integers(2, 25))
def test_equal_to_least_squares_in_one_piece(seed: int, n: int) -> None:
    """Law: with any steps, gaps in the measurements, restarts and jumps, it is the least-squares solution."""
    random = np.random.default_rng(seed)
    s = series(
        random.normal(0, 3, (n, 2)),
        step_s=random.uniform(0.05, 1.5, n),
        variance=np.where(random.random(n) < 0.2, np.inf, random.uniform(0.01, 2, n)),
        start_variance=(4.0, 9.0, 2.0),
        start=0.5,
        fresh=(0, *np.flatnonzero(random.random(n) < 0.1)),
        jump=np.where(random.random(n) < 0.1, 50.0, 0.0),
    )
    mean, covariance = by_least_squares(s, 0.7)
    found = smooth(s, of(0.7), overlap=n)
    variance = np.diag(covariance).reshape(n, 3)
    # 1e-8: what a dense solve with variances from 1e-6 to 50 side by side leaves of a double's 16 digits
    np.testing.assert_allclose(found.value[0], mean.reshape(n, 3, 2)[:, 0], rtol=1e-8, atol=1e-8)
    np.testing.assert_allclose(found.rate[0], mean.reshape(n, 3, 2)[:, 1], rtol=1e-8, atol=1e-8)
    np.testing.assert_allclose(found.value_variance[0], variance[:, 0], rtol=1e-8, atol=1e-10)
    np.testing.assert_allclose(found.rate_variance[0], variance[:, 1], rtol=1e-8, atol=1e-10)


def whole_and_cut(n: int) -> tuple[Smoothed, Smoothed]:
    random = np.random.default_rng(5)
    z = np.cumsum(np.cumsum(random.normal(0, 0.02, (n, 2)), axis=0), axis=0) * 0.1 + random.normal(0, 0.05, (n, 2))
    s = series(z, start_variance=(4.0, 900.0, 25.0), start=z[0])
    return smooth(s, of(0.3, 3.0), overlap=n), smooth(s, of(0.3, 3.0), overlap=120)


def test_lanes_do_not_show() -> None:
    # the memory here is (0.0025 * 0.1 / 0.3)^(1/6) = 0.31 s, three samples; 120 are e^-40. 1e-9: rounding
    whole, cut = whole_and_cut(3000)
    for name in ("value", "rate", "value_variance", "rate_variance"):
        np.testing.assert_allclose(getattr(cut, name), getattr(whole, name), rtol=0, atol=1e-9)


def test_variances_stay_symmetric_and_positive_in_a_long_log() -> None:
    """One lane of 6,000 samples, against the steady state it reaches: nothing creeps in by rounding."""
    n = 6_000
    s = series(np.zeros((n, 1)), start_variance=(1e4, 3600.0, 25.0), variance=1e-4)
    found = smooth(s, of(1.0), overlap=n)
    middle = found.rate_variance[0, 50:-50]
    assert np.ptp(middle) < 1e-12 * middle[0]
    assert np.abs(found.rate).max() == 0


def test_an_outlier_is_held_down() -> None:
    z = np.arange(60) * 0.1
    spoilt = z.copy()
    spoilt[30] += 5.0
    true = smooth(series(z, start=0.0, start_variance=(1, 9, 1)), of(0.3), 60)
    plain = smooth(series(spoilt, start_variance=(1, 9, 1)), of(0.3), 60)
    robust = smooth(series(spoilt, start_variance=(1, 9, 1)), of(0.3), 60, robust=3.0)
    off = [np.abs(found.value - true.value).max() for found in (plain, robust)]
    assert off[1] < 0.1 * off[0]


def test_speed_of_a_long_log() -> None:
    n = 288_000  # eight hours at 10 Hz
    z = np.random.default_rng(1).normal(0, 0.05, (n, 2))
    start = time.process_time()
    found = smooth(series(z, start_variance=(4.0, 900.0, 25.0)), of(0.3, 3.0, 30.0), overlap=60)
    assert found.rate.shape == (3, n, 2)
    assert time.process_time() - start < 5.0  # a tenth of what a loop over the samples takes; 0.5 s is usual


def test_refusals() -> None:
    one, two = np.zeros((1, 1)), np.zeros((2, 1))
    with pytest.raises(SignalError, match="2 steps do not fit measurements of shape"):
        Series(np.zeros(2), one, np.zeros(2), np.zeros(2, bool), np.zeros(2), one, of(1))
    with pytest.raises(SignalError, match="do not fit the variances"):
        Series(np.zeros(2), two, np.zeros(1), np.zeros(2, bool), np.zeros(2), two, of(1))
    with pytest.raises(SignalError, match="not finite"):
        series([0.0, np.nan])
