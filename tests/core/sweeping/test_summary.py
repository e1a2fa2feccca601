"""Mean, deviation and quantiles against NumPy's own, with and without gaps."""

import numpy as np
import pytest

from arrowloft.core.sweeping.summary import summarised

PROBABILITIES = (0.0, 0.05, 0.31, 0.5, 0.999, 1.0)


def test_without_gaps_it_is_numpy_s():
    values = np.random.default_rng(1).normal(size=(101, 7))
    found = summarised(values, PROBABILITIES)
    assert found.count.tolist() == [101] * 7
    assert found.mean == pytest.approx(values.mean(axis=0), rel=1e-12)
    assert found.standard_deviation == pytest.approx(values.std(axis=0, ddof=1), rel=1e-12)
    expected = np.quantile(values, PROBABILITIES, axis=0)
    assert found.quantiles == pytest.approx(expected, rel=1e-12)


def test_gaps_are_left_out():
    values = np.random.default_rng(2).normal(size=(50, 6))
    values[np.random.default_rng(3).random(values.shape) < 0.4] = np.nan
    found = summarised(values, PROBABILITIES)
    assert found.count.tolist() == np.isfinite(values).sum(axis=0).tolist()
    assert found.mean == pytest.approx(np.nanmean(values, axis=0), rel=1e-12)
    assert found.standard_deviation == pytest.approx(np.nanstd(values, axis=0, ddof=1), rel=1e-12)
    expected = np.nanquantile(values, PROBABILITIES, axis=0)
    assert found.quantiles == pytest.approx(expected, rel=1e-12)


def test_of_nothing_there_is_nothing_and_of_one_no_deviation():
    values = np.array([[np.nan, np.nan], [2.0, np.nan]])
    found = summarised(values, (0.0, 0.5, 1.0))
    assert found.count.tolist() == [1, 0]
    assert found.mean[0] == 2.0 and np.isnan(found.mean[1])
    assert np.isnan(found.standard_deviation).all()
    assert found.quantiles[:, 0].tolist() == [2.0] * 3 and np.isnan(found.quantiles[:, 1]).all()
