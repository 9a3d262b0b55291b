"""Statistics against published worked examples, tables and other libraries; the source stands beside each value."""

import json
import math

import numpy as np
import pytest
import scipy.stats

from traceanalyze.comparison import Run
from traceanalyze.judge.distributions import (
    curve_quantile,
    noncentrality_for,
    rising_root,
    t_power,
    t_quantile,
    t_two_sided,
)
from traceanalyze.judge.model import fit, layout
from traceanalyze.judge.power import runs_needed, smallest_shown
from traceanalyze.judge.scatter import working_scatter
from traceanalyze.judge.several import holm
from traceanalyze.judge.strip import stopping_m, strip_for_top_speed
from traceanalyze.judge.textbook import least_permutation_p, permutation_count, pooled_t, welch
from traceanalyze.judge.verdict import compare_runs

# Worked example computed with scipy 1.17.1 and statsmodels 0.15.0, which agree to all digits shown.
A = [5.12, 5.05, 5.20, 5.08, 5.15, 5.11]
B = [4.98, 5.01, 4.93, 5.06, 4.95]


def runs_of(a, b, **same):
    """Runs all at one place of the day: nothing but the setup differs."""
    return [Run(setup=name, value=x, order=1.0, **same) for name, values in (("A", a), ("B", b)) for x in values]


def sample_with(n, mean, sd):
    """A sample that has exactly this size, mean and standard deviation."""
    z = np.linspace(-1.0, 1.0, n)
    return mean + sd * z / z.std(ddof=1)


def test_t_quantiles_of_the_handbook():
    # NIST/SEMATECH e-Handbook 1.3.6.7.2, upper critical values, column 0.975: printed to 3 decimals, hence 5e-4
    for df, value in {1: 12.706, 2: 4.303, 3: 3.182, 4: 2.776, 5: 2.571, 9: 2.262, 30: 2.042, 100: 1.984}.items():
        assert t_quantile(0.975, df) == pytest.approx(value, abs=5e-4)


def test_two_sample_t_of_the_handbook():
    # NIST/SEMATECH e-Handbook 1.3.5.3, AUTO83B: T = -12.62059, 326 df, from the sizes, means and standard deviations
    # it prints (5 decimals: T moves by less than 2e-5). The runs of one order, one direction and equal uncertainty are
    # the pooled test.
    us, japan = sample_with(249, 20.14458, 6.41470), sample_with(79, 30.48101, 6.10771)
    found = compare_runs(runs_of(us, japan), baseline="A", measure="0-30 mph")
    assert found.df == 326
    assert -found.difference / found.stderr == pytest.approx(-12.62059, abs=2e-5)
    assert pooled_t(us, japan).t == pytest.approx(12.62059, abs=2e-5)
    # same page, unequal variances: T = -12.94627 with 136.8750 df
    assert welch(us, japan).t == pytest.approx(12.94627, abs=2e-5)
    assert welch(us, japan).df == pytest.approx(136.8750, abs=1e-3)


def test_two_sample_t_of_a_small_worked_example():
    student, unequal = pooled_t(A, B), welch(A, B)
    # scipy.stats.ttest_ind and statsmodels CompareMeans, see above; changed minus baseline, so the sign is turned
    assert student.t == pytest.approx(-4.196915405, abs=1e-8)
    assert student.p_value == pytest.approx(0.002317253308, abs=1e-11)
    assert unequal.t == pytest.approx(-4.208428018807, abs=1e-9)
    assert unequal.df == pytest.approx(8.729170115874, abs=1e-9)
    assert unequal.p_value == pytest.approx(0.002438309033, abs=1e-11)
    assert (-unequal.high95, -unequal.low95) == pytest.approx((0.060862324133, 0.203804342534), abs=1e-9)


def test_the_model_is_the_pooled_t_where_nothing_else_differs():
    found = compare_runs(runs_of(A, B), baseline="A", measure="0-30 mph")
    assert found.p_value == pytest.approx(0.002317253308, abs=1e-11)
    assert found.stderr == pytest.approx(0.1323333333 / 4.196915405, rel=1e-8)
    assert found.verdict == "better"


def test_equivalence_is_the_two_one_sided_tests():
    # Schuirmann 1987: equivalence within +-x at 5 % exactly when the 90 % interval lies inside. One-sided p-values
    # from scipy.stats.t; the bound at which p is 0.05 must be where the verdict turns.
    a, b = sample_with(20, 4.0, 0.05), sample_with(20, 4.01, 0.05)
    stderr = 0.05 * math.sqrt(2 / 20)
    turning = 0.01 + scipy.stats.t.ppf(0.95, 38) * stderr
    for x, verdict in ((turning * 1.001, "no meaningful difference"), (turning * 0.999, "cannot tell yet")):
        assert compare_runs(runs_of(a, b), baseline="A", smallest=x).verdict == verdict


def test_exact_permutation_counts_the_size_of_the_difference():
    # enumeration by hand and by scipy 1.17.1 (which doubles one tail and says 4/462 = 0.0086580087)
    assert permutation_count(A, B) == (3, 462)
    assert scipy.stats.permutation_test(
        (A, B), lambda x, y: np.mean(x) - np.mean(y), n_resamples=np.inf
    ).pvalue == pytest.approx(4 / 462, abs=1e-12)


def test_smallest_permutation_p():
    # combinatorics: 2 / C(n + m, n); 0.33, 0.20, 0.10, 0.057 for 2+2, 2+3, 3+3, 3+4 runs
    assert [float(least_permutation_p(n, m)) for n, m in ((2, 2), (2, 3), (3, 3), (3, 4), (4, 4), (6, 6))] == (
        pytest.approx([1 / 3, 0.2, 0.1, 2 / 35, 0.028571, 0.0021645], abs=5e-7)
    )
    assert permutation_count([1.0, 2.0, 3.0], [7.0, 8.0, 9.0]) == (2, 20)


def test_power_against_statsmodels():
    # statsmodels 0.15.0 TTestIndPower, two-sided 0.05
    assert t_power(math.sqrt(17 / 2), 32) == pytest.approx(0.807036715, abs=1e-9)
    for d, n in {0.5: 63.765611, 0.8: 25.524572, 1.0: 16.714722, 1.5: 8.060294, 2.0: 5.089995, 3.0: 3.070009}.items():
        found = rising_root(lambda n, d=d: t_power(d * math.sqrt(n / 2), 2 * n - 2) - 0.8, 2.0, 100.0)
        assert found == pytest.approx(n, abs=1e-5)
    for n, d in {3: 3.070892, 4: 2.380754, 5: 2.024440, 6: 1.795541, 10: 1.324947}.items():
        assert smallest_shown(n) == pytest.approx(d, abs=1e-6)
    assert runs_needed(1.0, 1.0) == 17
    # with direction and drift fitted two degrees of freedom fewer (statsmodels, nct check)
    for n, d in {4: 2.6595, 6: 1.8481, 8: 1.5263}.items():
        assert smallest_shown(n, terms=2) == pytest.approx(d, abs=5e-5)


def test_power_against_r():
    # R 4, examples of ?power.t.test, as printed there (from memory): power.t.test(n = 20, delta = 1, sd = 1) gives
    # power = 0.8689528 (R leaves out the far tail, 2e-7), power.t.test(power = .90, delta = 1) gives n = 22.02110
    assert t_power(math.sqrt(20 / 2), 38) == pytest.approx(0.8689528, abs=5e-7)
    found = rising_root(lambda n: t_power(math.sqrt(n / 2), 2 * n - 2) - 0.9, 2.0, 100.0)
    assert found == pytest.approx(22.02110, abs=5e-5)
    # R's pwr.t.test(d = 2/3, power = 0.9), output printed in the Cross Validated question 'Power calculations':
    # n = 48.26427 (its root finder stops at four to five digits)
    found = rising_root(lambda n: t_power(2 / 3 * math.sqrt(n / 2), 2 * n - 2) - 0.9, 2.0, 100.0)
    assert found == pytest.approx(48.26427, abs=5e-4)


@pytest.mark.parametrize("df", [1, 2, 3.3, 10, 50])
def test_noncentral_t_against_scipy_stats(df):
    # scipy.stats.nct is another implementation (Boost); it returns NaN far out, so only what it knows is compared
    critical = scipy.stats.t.ppf(0.975, df)
    for size in (0.5, 3.0):
        expected = scipy.stats.nct.sf(critical, df, size) + scipy.stats.nct.cdf(-critical, df, size)
        assert t_power(size, df) == pytest.approx(expected, abs=1e-9)
    assert t_power(noncentrality_for(0.8, df), df) == pytest.approx(0.8, abs=1e-9)


def test_least_squares_against_lapack():
    # numpy.linalg.lstsq on rows scaled by the square root of the weights (the textbook's weighted least squares) and
    # the covariance (X'WX)^-1; fixed data with unequal uncertainties, both directions, AABBBBAA
    values = np.array([4.05, 4.19, 3.90, 4.01, 3.78, 3.97, 4.02, 3.99])
    stderrs = np.array([0.02, 0.02, 0.05, 0.05, 0.02, 0.02, 0.1, 0.02])
    runs = [
        Run(setup=s, value=v, stderr=u, order=i + 1.0, direction="EW"[i % 2])
        for i, (s, v, u) in enumerate(zip("AABBBBAA", values, stderrs, strict=True))
    ]
    plan, start = layout(runs, "A"), working_scatter(4.0, 0.027)
    found = fit(values, stderrs, plan, start, 0.014)
    x = np.column_stack(
        [
            [0, 0, 1, 1, 1, 1, 0, 0],
            np.ones(8),
            [0, 1, 0, 1, 0, 1, 0, 1],
            np.arange(8) - 3.5,
        ]
    )
    w = 1 / ((0.027 * 4.0) ** 2 + stderrs**2)
    scale = np.sqrt(w)
    solution, squares, _, _ = np.linalg.lstsq(x * scale[:, None], values * scale, rcond=None)
    # rounding only: both solve the same 8 x 4 system of order 1
    assert found.coefficients == pytest.approx(solution, abs=1e-11)
    assert found.difference == pytest.approx(solution[0], abs=1e-11)
    covariance = np.linalg.inv((x * scale[:, None]).T @ (x * scale[:, None]))
    assert found.df == 4
    assert found.stderr == pytest.approx(math.sqrt(squares[0] / 4 * covariance[0, 0]), rel=1e-10)


def test_holm_by_hand():
    # Holm, Scand. J. Statist. 6 (1979) 65, applied by hand: 5 x 0.01, 4 x 0.02, 3 x 0.03, then never falling
    assert holm([0.01, 0.04, 0.03, 0.05, 0.02]) == pytest.approx([0.05, 0.09, 0.09, 0.09, 0.08])
    nan = float("nan")
    assert holm([0.01, nan, 0.04])[0] == pytest.approx(0.02)
    assert math.isnan(holm([0.01, nan, 0.04])[1])


@pytest.mark.parametrize("df", [3, 4, 10, 60])
def test_curve_band_is_scheffes_on_a_half_circle(df):
    # A straight line over all x is an error curve of arc length pi without ends: its simultaneous band is Scheffe's,
    # P(2 F(2, df) > c^2) (Scheffe, Biometrika 40 (1953) 87). Ours adds the end of an open curve, 2 P(T > c).
    # F and t from scipy.stats; 1e-9: root finding
    c = curve_quantile(math.pi, df)
    assert scipy.stats.f.sf(c**2 / 2, 2, df) + 2 * scipy.stats.t.sf(c, df) == pytest.approx(0.05, abs=1e-9)


def test_curve_band_of_no_length_is_one_t_interval():
    assert curve_quantile(0.0, 7) == pytest.approx(scipy.stats.t.ppf(0.975, 7), abs=1e-9)


def test_stopping_distance_of_the_road_handbook():
    # AASHTO, A Policy on Geometric Design, stopping sight distance, metric (2.5 s, 3.4 m/s^2), from memory: 50 km/h
    # reaction 34.8 m, braking 28.7 m; 100 km/h 69.5 and 114.9 m. Its braking coefficient is rounded (0.039 V^2 / a,
    # exactly 0.03858: 1.1 %), hence 1.3 %
    assert stopping_m(50 / 3.6) == pytest.approx(34.8 + 28.7, rel=0.013)
    assert stopping_m(100 / 3.6) == pytest.approx(69.5 + 114.9, rel=0.013)


def test_run_up_of_the_worked_case():
    # constant thrust 400 N, drag 0.36 v^2, 150 kg: 99 % of the limit of 33.333 m/s needs 816.0 m, and 30 mph takes
    # 5.330412 s (closed form v = v_t tanh(t/tau), computed with scipy 1.17.1); 0.1 m: the last digit given
    strip = strip_for_top_speed(100 / 3, 13.4112, 5.330412333637)
    assert strip.run_up_m == pytest.approx(816.0, abs=0.1)


def test_scatter_of_reference_sets(open_data):
    # NIST StRD univariate sets (certified standard deviations): of a set and the same set shifted by 1 the pooled
    # standard deviation is the set's own. 1e-8 relative: shifting loses digits of the small deviations.
    sets = json.loads((open_data / "golden" / "nist_strd_univariate.json").read_text())
    tried = 0
    for name, one in sets.items():
        if name == "source":
            continue
        values = one["values"]
        found = pooled_t(values, [x + 1.0 for x in values])
        assert found.difference / found.t == pytest.approx(one["sd"] * math.sqrt(2 / len(values)), rel=1e-8), name
        tried += 1
    assert tried >= 2


def test_numbers_that_cancel():
    # NIST StRD NumAcc4: mean 10000000.2, standard deviation 0.1; 1e-7: the digits that 1e7 leaves to 0.1
    values = [1e7 + 0.2] + [1e7 + 0.1, 1e7 + 0.3] * 500
    found = pooled_t(values, [x + 1.0 for x in values])
    assert found.difference / found.t == pytest.approx(0.1 * math.sqrt(2 / 1001), rel=1e-7)
    assert t_two_sided(found.t, found.df) == pytest.approx(found.p_value)


@pytest.mark.parametrize("df", [1.0, 2.0, 3.0, 4.0, 7.5, 100.0])
def test_power_rises_to_certainty(df):
    # a law; scipy.special.nctdtr says NaN at some far arguments (found at df = 4, noncentrality 7.9)
    found = [t_power(size, df) for size in np.linspace(0.0, 60.0, 601)]
    assert found[0] == pytest.approx(0.05, abs=1e-9)  # no effect: the level itself
    assert (np.diff(found) > -1e-6).all()
    assert found[-1] > 0.999
