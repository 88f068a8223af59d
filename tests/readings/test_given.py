"""The joint normal of readings: innovations, narrowing, and what it costs healthy amplifiers."""

import numpy as np
import pytest
from test_bands import world

from firstglow.readings.given import DISCREPANCY, innovations, joint


def test_prediction_is_ordinary_regression() -> None:
    """Two readings of correlation r: given the first at one sigma the second is expected at r sigma with variance
    1 - r^2 (Anderson 2.5), here with the discrepancy on both variances."""
    rng = np.random.default_rng(1)
    a = rng.normal(size=200_000)
    b = 0.9 * a + 0.19**0.5 * rng.normal(size=200_000)
    given = joint(["a", "b"], np.array([a, 3.0 + 2.0 * b]))
    d = DISCREPANCY**2
    expected, spread = given.predict(1, [0], [1.0])
    assert expected == pytest.approx(0.9 / (1 + d), abs=0.01)
    assert spread == pytest.approx((1 + d - 0.81 / (1 + d)) ** 0.5, rel=0.01)
    middle, low, high = given.narrowed({"a": 1.0}, "b")
    assert (low + high) / 2 == pytest.approx(middle)
    assert middle == pytest.approx(3.0 + 2.0 * 0.9 / (1 + d), abs=0.02)


def test_innovations_are_white() -> None:
    y, _, _ = world(4000, 5)
    y = y[30:]
    t = (y - y.mean(axis=1, keepdims=True)) / y.std(axis=1, keepdims=True)
    e = innovations(t @ t.T / 4000 + 1e-9 * np.eye(len(t)), t)
    assert e @ e.T / 4000 == pytest.approx(np.eye(len(t)), abs=1e-6)


def test_healthy_amplifiers_pass_it() -> None:
    y, _, _ = world(2000, 1)
    given = joint([str(i) for i in range(60)], y)
    fresh, _, _ = world(20_000, 2)
    t = (fresh - given.middle[:, None]) / given.sigma[:, None]
    passed = (np.abs(innovations(given.covariance, t)).max(axis=0) <= given.score).mean()
    assert passed >= 0.99


def test_what_is_unsound_is_no_ground_for_what_follows() -> None:
    """The factor that grows by what fits, against ``predict`` solved anew for every reading and amplifier."""
    y, _, _ = world(2000, 1)
    given = joint([str(i) for i in range(60)], y)
    fresh, _, _ = world(40, 3)
    rng = np.random.default_rng(4)
    t = (fresh - given.middle[:, None]) / given.sigma[:, None] + 6.0 * (rng.random(fresh.shape) < 0.02)
    sound = rng.random(t.shape) > 0.05
    sound[:, :10] = True
    wanted = np.zeros(t.shape, dtype=bool)
    for k in range(t.shape[1]):
        used: list[int] = []
        for i in range(len(t)):
            if not sound[i, k]:
                continue
            predicted, spread = given.predict(i, used, t[used, k])
            wanted[i, k] = abs(t[i, k] - predicted) > given.score * given.heavy[i] * spread
            if not wanted[i, k]:
                used.append(i)
    assert wanted.any()
    assert (given.misfits(t, sound) == wanted).all()


def test_a_reading_that_runs_wild_in_a_few_amplifiers_is_left_out_and_the_others_keep_theirs() -> None:
    y, _, _ = world(2000, 1)
    y[7, ::400] += 40.0 * y[7].std()  # five healthy amplifiers of 2000
    given = joint([str(i) for i in range(60)], y)
    assert "7" not in given.ids
    assert len(given.ids) == 59
    assert given.score < 7.0
