"""The distance against scikit-learn, Crawford & Howell's t, and full refits."""

import numpy as np
import pytest
from sklearn.covariance import LedoitWolf, ledoit_wolf

from stylemeter.style.distance import DistanceModel, leave_family_out


def test_distance_examples():
    # D^2 with S = [[1, .5], [.5, 1]]: (1, 1) -> 4/3, (1, -1) -> 4, (2, 0) -> 16/3 (arithmetic)
    model = DistanceModel(["a", "b"], np.zeros(2), np.linalg.inv(np.array([[1.0, 0.5], [0.5, 1.0]])))
    squared = model.distance(np.array([[1.0, 1.0], [1.0, -1.0], [2.0, 0.0]])) ** 2
    assert squared == pytest.approx([4 / 3, 4.0, 16 / 3])
    assert model.pull(np.array([2.0, 0.0])).sum() == pytest.approx(1.0)


def test_distance_is_scikit_learns_mahalanobis():
    rng = np.random.default_rng(0)
    # the docstring example of sklearn.covariance.LedoitWolf: 50 points, covariance [[.4, .2], [.2, .8]]
    x = rng.multivariate_normal([0, 0], [[0.4, 0.2], [0.2, 0.8]], size=50)
    fitted = LedoitWolf().fit(x)
    model = DistanceModel(["a", "b"], x.mean(axis=0), np.linalg.inv(fitted.covariance_))
    assert model.distance(x) ** 2 == pytest.approx(fitted.mahalanobis(x))


def test_one_feature_is_crawford_howells_t():
    # Crawford & Howell 1998, The Clinical Neuropsychologist 12(4):482-486, p. 483: case 33, controls M 50, SD 10,
    # n 15: t(14) = -1.6460; and F = D^2 n(n-p) / (p(n^2-1)) at p = 1 is t^2 (exact identity)
    n, mean, sd, case = 15, 50.0, 10.0, 33.0
    t = (case - mean) / (sd * np.sqrt((n + 1) / n))
    assert t == pytest.approx(-1.6460, abs=1e-4)
    model = DistanceModel(["x"], np.array([mean]), np.array([[1 / sd**2]]))
    squared = float(model.distance(np.array([[case]]))[0] ** 2)
    assert squared * n * (n - 1) / (n**2 - 1) == pytest.approx(t**2)


def test_leaving_a_family_out_is_nearly_a_full_refit():
    rng = np.random.default_rng(4)
    family = np.repeat(np.arange(60), rng.integers(1, 4, 60))
    z = rng.normal(size=(len(family), 8)) @ rng.normal(size=(8, 8)) / 2
    _, shrinkage = ledoit_wolf(z)
    quick = leave_family_out(z, family, float(shrinkage))
    for f in range(0, 60, 7):
        others, own = z[family != f], z[family == f]
        covariance, _ = ledoit_wolf(others)
        d = own - others.mean(axis=0)
        slow = np.sqrt(np.einsum("ci,ij,cj->c", d, np.linalg.inv(covariance), d))
        # the shrinkage is kept from the whole sample; refitting it moves a distance by less than 2 %
        assert quick[family == f] == pytest.approx(slow, rel=0.02)
