"""The laws of a reported speed near rest, against scipy's Rice distribution."""

import numpy as np
import pytest

from traceanalyze.signal.magnitude import rest_log_likelihood, rice_moments


def test_moments_are_those_of_rice():
    # scipy.stats.rice (S. O. Rice, Bell Syst. Tech. J. 24 (1945), 3.10). atol: the table is linear between steps of
    # 1/64 (2e-5) and becomes a series at 8 sigma (1e-5); a speed taken without its noise is off by up to 1.25
    from scipy.stats import rice

    ratio = np.concatenate((np.linspace(0, 9, 61), [20.0]))
    sigma = 0.07
    mean, slope, variance = rice_moments(ratio * sigma, sigma)
    np.testing.assert_allclose(mean / sigma, rice.mean(ratio), atol=5e-5)
    np.testing.assert_allclose(variance / sigma**2, rice.var(ratio), atol=5e-4)
    step = 1e-4
    by_scipy = (rice.mean(ratio[1:] + step) - rice.mean(ratio[1:] - step)) / (2 * step)
    np.testing.assert_allclose(slope[1:], by_scipy, atol=5e-4)  # slope differs from 1 by 0.5 at one sigma


def test_far_from_rest_the_mean_is_high_by_half_the_variance_over_the_speed():
    mean, _, _ = rice_moments(np.array([1.0]), 0.1)
    assert mean[0] - 1.0 == pytest.approx(0.1**2 / 2, rel=0.01)  # next term of the series: 0.25 % of it


def test_a_speed_below_zero_counts_as_rest():
    assert rice_moments(np.array([-1.0]), 0.05)[0] == rice_moments(np.array([0.0]), 0.05)[0]


def test_first_sample_at_rest_follows_rayleigh():
    # scipy.stats.rayleigh; atol: averaging over 0.1 sigma bends the logarithm by less than 0.01
    from scipy.stats import rayleigh

    for value in (0.02, 0.05, 0.12):
        got = rest_log_likelihood(np.array([value]), 0.05, 0.0, np.array([0.9]))
        assert got[0] == pytest.approx(rayleigh.logpdf(value, scale=0.05), abs=0.02)


def test_later_samples_follow_rice_about_the_sample_before():
    # two-dimensional first-order Markov noise: given the length r before, the length is Rice about rho r with
    # variance sigma^2 (1 - rho^2); scipy.stats.rice
    from scipy.stats import rice

    sigma, rho, before, now = 0.05, 0.8, 0.11, 0.09
    got = rest_log_likelihood(np.array([before, now]), sigma, 0.0, np.array([0.0, rho]))
    scale = sigma * np.sqrt(1 - rho**2)
    assert got[1] == pytest.approx(rice.logpdf(now, rho * before / scale, scale=scale), abs=0.03)


def test_no_samples_have_no_likelihood():
    assert rest_log_likelihood(np.empty(0), 0.05, 0.0, np.empty(0)).size == 0
