"""Draws: the same whoever draws them, others with another seed or name, and well spread."""

import hashlib

import numpy as np
import pytest
from scipy import stats

from arrowloft.core.sweeping.distributions import Normal
from arrowloft.core.sweeping.draws import draws, shares


def test_any_part_of_a_sample_is_the_same():
    whole = shares(7, "/arrow/mass", 0, 1000)
    for start, stop in ((0, 1), (1, 2), (3, 9), (4, 8), (997, 1000), (13, 1000)):
        assert np.array_equal(shares(7, "/arrow/mass", start, stop), whole[start:stop])
    assert shares(7, "/arrow/mass", 10**12, 10**12 + 2).size == 2


def test_seed_and_name_make_other_draws():
    one = shares(7, "/arrow/mass", 0, 100)
    assert not np.isin(shares(8, "/arrow/mass", 0, 100), one).any()
    assert not np.isin(shares(7, "/arrow/length", 0, 100), one).any()


def test_numbers_are_those_of_philox_under_numpy_s_own_generator():
    """Generator.random is the upper 53 bits of each output: an implementation beside this one."""
    words = np.frombuffer(hashlib.sha256(b"/slope").digest()[:16], "<u4")
    key = np.random.SeedSequence(5, spawn_key=tuple(int(word) for word in words))
    expected = np.random.Generator(np.random.Philox(key)).random(50)
    assert np.array_equal(shares(5, "/slope", 0, 50), expected)


def test_they_are_spread_evenly_and_independently():
    """Kolmogorov and Smirnov's test, and Pearson's: fixed seeds, levels of one in a thousand."""
    one, other = shares(1, "/a", 0, 50_000), shares(1, "/b", 0, 50_000)
    assert one.min() > 0.0 and one.max() < 1.0
    for sample in (one, other):
        assert stats.kstest(sample, "uniform").pvalue > 1e-3
    assert stats.pearsonr(one, other).pvalue > 1e-3
    assert stats.pearsonr(one[1:], one[:-1]).pvalue > 1e-3


def test_draws_follow_the_distribution():
    found = draws(Normal(mean=2.0, standard_deviation=0.1), 3, "/x", 0, 50_000)
    assert stats.kstest(found, "norm", (2.0, 0.1)).pvalue > 1e-3
    assert np.mean(found) == pytest.approx(2.0, abs=4 * 0.1 / np.sqrt(50_000))
