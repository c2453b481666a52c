import numpy as np
import pytest
from scipy.optimize import approx_fprime
from scipy.stats import multivariate_normal

from models.risk.course import KNOTS, Course, LifeReadings, Likelihood
from models.risk.growth import WearGrowth

COURSE = Course(
    base=-0.3,
    rise=np.array([0.1, 0.2, 0.4, 0.5, 0.6, 0.3]),
    own_sd=0.4,
    factor_sd=1e-9,
    noise_sd=0.7,
    out_new=0.05,
    out_worn=0.3,
)


def test_likelihood_is_the_normal_density_of_all_readings_of_a_life():
    """Two readings with a common own level: a bivariate normal, worked by scipy."""
    readings = LifeReadings(
        np.array([0, 0]), np.array([8_000.0, 16_000.0]), np.array([0.4, 1.1]), np.array([0.0, 1.0])
    )
    defect = np.array([[20_000.0, 40_000.0]])
    way = readings.km[:, None] / defect
    by_node = Likelihood(readings, way, 1).by_node(COURSE)
    got = np.log(np.exp(by_node).sum(axis=0))[0]
    knots = COURSE.base + np.concatenate([[0.0], np.cumsum(COURSE.rise[:-1])])
    cov = COURSE.noise_sd**2 * np.eye(2) + COURSE.own_sd**2
    for cell in range(2):
        mean = np.interp(way[:, cell], KNOTS, knots)
        late = np.clip((way[:, cell] - 0.5) / 0.5, 0, 1)
        out = COURSE.out_new + COURSE.out_worn * late
        expected = multivariate_normal.logpdf(readings.level, mean, cov) + np.log(2 * np.pi)
        expected += np.log(1 - out[0]) + np.log(out[1])
        assert got[cell] == pytest.approx(expected, abs=1e-9)


def test_each_node_has_a_factor_on_the_rise_and_its_weight():
    """Five nodes of the Gauss-Hermite rule; each again a normal density, worked by scipy."""
    course = COURSE._replace(factor_sd=0.6)
    readings = LifeReadings(
        np.array([1, 1, 1]),
        np.array([8_000.0, 16_000.0, 30_000.0]),
        np.array([0.4, np.nan, 1.1]),
        np.zeros(3),
    )
    way = readings.km[:, None] / np.array([[25_000.0]])
    got = Likelihood(readings, way, 2).by_node(course)
    node, weight = np.polynomial.hermite_e.hermegauss(5)
    climbed = np.interp(way[:, 0], KNOTS, np.append(0.0, np.cumsum(course.rise[:-1])))
    climbed += course.rise[-1] * (way[:, 0] >= 1)
    told = [0, 2]
    cov = course.noise_sd**2 * np.eye(2) + course.own_sd**2
    sound = np.log(1 - course.out_new - course.out_worn * np.clip(2 * way - 1, 0, 1)).sum()
    for k, factor in enumerate(np.exp(0.6 * node)):
        mean = course.base + factor * climbed[told]
        expected = multivariate_normal.logpdf(readings.level[told], mean, cov) + np.log(2 * np.pi)
        expected += sound + np.log(weight[k] / weight.sum())
        assert got[k, 1, 0] == pytest.approx(expected, abs=1e-9)
        assert got[k, 0, 0] == pytest.approx(np.log(weight[k] / weight.sum()))


def test_gradient_is_that_of_the_height():
    rng = np.random.default_rng(0)
    row = np.sort(rng.integers(0, 6, 20))
    level = rng.normal(size=20)
    level[[3, 7]] = np.nan
    out = rng.integers(0, 2, 20).astype(float)
    readings = LifeReadings(row, rng.uniform(1e3, 3e4, 20), level, out)
    defect = rng.uniform(1e4, 6e4, (6, 4))
    whole = Likelihood(readings, readings.km[:, None] / defect[row], 6)
    log_chance = np.log(rng.dirichlet(np.ones(4), 6))
    growth, theta = WearGrowth(), np.full(len(KNOTS) + 6, -1.0)

    def loss(at):
        return growth._loss(at, whole, log_chance, (0.1, 0.8))

    numeric = approx_fprime(theta, lambda at: loss(at)[0], 1e-7)
    assert loss(theta)[1] == pytest.approx(numeric, rel=1e-3, abs=1e-3)
