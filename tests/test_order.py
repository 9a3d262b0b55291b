"""Order statistics against numpy's own, and without what those load."""

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from traceanalyze.order import distinct, median, quantile

VALUES = arrays(float, st.integers(1, 30), elements=st.floats(-1e9, 1e9))


@given(VALUES)
def test_median_is_numpys(values):
    assert median(values) == pytest.approx(np.median(values), rel=1e-14, abs=1e-6)  # rounding of the last bit


@given(VALUES, st.floats(0, 1))
def test_quantile_is_numpys(values, share):
    assert quantile(values, share) == pytest.approx(np.quantile(values, share), rel=1e-14, abs=1e-6)


@given(arrays(np.int64, st.integers(0, 30), elements=st.integers(-5, 5)))
def test_distinct_values_are_numpys(values):
    assert np.array_equal(distinct(values), np.unique(values))


@pytest.mark.parametrize("values", [[], [np.nan], [1.0, np.nan, 2.0]])
def test_what_is_unknown_stays_unknown(values):
    assert np.isnan(median(np.array(values)))


def test_nine_numbers_by_hand():
    # Hyndman and Fan's definition 7: the place is (n - 1) p, here 8 x 0.25 = 2 exactly, and 8 x 0.3 = 2.4
    values = np.array([9.0, 1, 8, 2, 7, 3, 6, 4, 5])
    assert (quantile(values, 0.25), median(values)) == (3.0, 5.0)
    assert quantile(values, 0.3) == pytest.approx(3.4, rel=1e-15)


def test_masked_arrays_are_not_loaded():
    code = (
        "import sys, numpy as np; from traceanalyze.order import distinct, median, quantile; a = np.arange(9.0); "
        "median(a), quantile(a, 0.3), distinct(a); print('numpy.ma' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
