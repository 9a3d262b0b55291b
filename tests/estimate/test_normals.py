"""Standard normal numbers: the published hash, the law, and that a key always gives the same."""

import numpy as np
from scipy import stats

from traceanalyze.estimate.normals import DRAWS, keys_of, normals, split_mix

KEYS = np.arange(1, 41, dtype=np.uint64) * np.uint64(0x1234567)


def test_hash_is_split_mix_64():
    # first outputs of SplitMix64 seeded with 0 and with 1234567, as test vectors of the algorithm's public domain
    # code (S. Vigna, splitmix64.c) are quoted; from memory
    golden = np.uint64(0x9E3779B97F4A7C15)
    assert hex(int(split_mix(np.array([1], np.uint64))[0])) == "0xe220a8397b1dcdaf"
    assert int(split_mix(np.array([2], np.uint64))[0]) == 0x6E789E6AA1B965F4
    state = np.array([1234567], np.uint64)
    inverse = np.uint64(pow(int(golden), -1, 2**64))
    counter = state * inverse + np.uint64(1)  # the hash multiplies a counter by the golden ratio: undo it for a seed
    assert int(split_mix(counter)[0]) == 6457827717110365317


def test_numbers_follow_the_normal_law():
    values = normals(KEYS, 300)
    assert values.shape == (40, 300, DRAWS)
    np.testing.assert_allclose(values.mean(axis=2), 0, atol=1e-12)
    np.testing.assert_allclose((values**2).mean(axis=2), 1, rtol=1e-12)
    # one number of each column, so that the exact moments of a column do not matter: Kolmogorov-Smirnov at 1 in 1000
    assert stats.kstest(values[:, ::3, 5].ravel()[:1024], "norm").pvalue > 1e-3


def test_columns_of_a_key_are_independent():
    # correlation of independent pairs has the standard deviation 1/sqrt(DRAWS - 1); over 300 columns the largest of
    # 44,850 pairs stays below 5.5 of them (probability of more: 0.2 %)
    for one in normals(KEYS[:3], 300):
        pairs = np.corrcoef(one)[np.triu_indices(300, 1)]
        assert np.abs(pairs).max() < 5.5 / np.sqrt(DRAWS - 1)
        assert abs(pairs.std() * np.sqrt(DRAWS - 1) - 1) < 0.03


def test_a_key_gives_the_same_whatever_else_is_drawn():
    np.testing.assert_array_equal(normals(KEYS, 50)[7], normals(KEYS[7:8], 80)[0, :50])


def test_keys_go_with_the_numbers_and_their_order():
    a = np.array([0.0, 1.5, 2.5])
    keys = keys_of([a, a.copy(), a[::-1], np.array([0.0, 1.5, 2.500001])])
    assert keys[0] == keys[1]
    assert np.unique(keys).size == 3
