"""Terms of the evidence for a band, by hand and at their limits."""

import numpy as np
import pytest
from scipy.stats import norm, poisson

from models.wear.band_evidence import BandChances, level_terms, log_sum, rough_terms, shape_terms
from models.wear.band_grid import LEVELS, ROUGHENINGS, WIDTHS_PCT, band_grid
from models.wear.exposure import BINS
from models.wear.seen import Seen, place_prior

CHANCES = BandChances(
    np.full(len(LEVELS), 1 / len(LEVELS)),
    np.full(len(ROUGHENINGS), 1 / len(ROUGHENINGS)),
    np.full(len(WIDTHS_PCT), 1 / len(WIDTHS_PCT)),
    stray_rate=1e-3,
    grain=0.04,
    own_grain=0.0,
)


def seen_of(counts=None, exposure=None, rough=None, n_rough=None):
    none = np.zeros((1, BINS))
    counts, exposure, rough, n_rough = (
        none if v is None else v for v in (counts, exposure, rough, n_rough)
    )
    prior = place_prior(np.ones((1, BINS)))
    return Seen(counts, exposure, rough, n_rough, prior, np.zeros(1), counts, exposure)


def test_a_level_is_a_ratio_of_poisson_chances():
    rng = np.random.default_rng(1)
    counts, exposure = rng.poisson(0.2, (1, BINS)).astype(float), np.full((1, BINS), 5.0)
    found = level_terms(seen_of(counts, exposure), CHANCES)
    for k in (1, 4):
        for shape in (0, 137, 399):
            worn = (1e-3 + LEVELS[k] * band_grid().spread[shape]) * exposure[0]
            ratio = poisson.logpmf(counts[0], worn) - poisson.logpmf(counts[0], 1e-3 * exposure[0])
            expected = np.log(CHANCES.level[k]) + ratio.sum()
            assert found[k][0, shape] == pytest.approx(expected, abs=2e-3)


def test_a_roughening_is_a_ratio_of_log_normal_chances():
    rng = np.random.default_rng(2)
    log = 0.2 * rng.standard_normal((1, BINS))
    found = rough_terms(seen_of(rough=log, n_rough=np.ones((1, BINS))), CHANCES)
    for k in (1, 5):
        for shape in (3, 200):
            up = np.log1p(ROUGHENINGS[k] * band_grid().envelope[shape])
            ratio = norm.logpdf(log[0], up, 0.2) - norm.logpdf(log[0], 0.0, 0.2)
            expected = np.log(CHANCES.rough[k]) + ratio.sum()
            assert found[k][0, shape] == pytest.approx(expected, abs=2e-3)


def test_with_nothing_seen_every_term_is_its_prior():
    for terms, chances in (
        (level_terms(seen_of(), CHANCES), CHANCES.level),
        (rough_terms(seen_of(), CHANCES), CHANCES.rough),
    ):
        for term, chance in zip(terms, chances, strict=True):
            assert term == pytest.approx(np.full_like(term, np.log(chance)), abs=1e-5)
        assert log_sum(terms) == pytest.approx(np.zeros_like(terms[0]), abs=1e-5)


def test_with_nothing_seen_the_shapes_add_up_to_one():
    seen = seen_of()
    sums = (log_sum(terms(seen, CHANCES)) for terms in (level_terms, rough_terms))
    assert np.exp(shape_terms(seen, CHANCES, *sums)).sum() == pytest.approx(1.0, abs=1e-3)


def test_the_log_of_a_sum_holds_far_beyond_what_exponentials_do():
    tables = [np.array([[-2000.0, 900.0]]), np.array([[-2000.0, 890.0]])]
    assert log_sum(tables)[0] == pytest.approx([-2000 + np.log(2), 900 + np.log1p(np.exp(-10))])
