import numpy as np
import pytest

from models.wear.one_sweep import WORN_SHARE, band_chance


def test_worn_tracks_are_told_from_sound_ones(followed, sound):
    records = followed.records
    worn = band_chance(records)[followed.fleet.informative]
    assert np.mean(worn >= 0.9) > 0.9
    seen = sound.records.exposure.any(axis=1)
    assert np.mean(band_chance(sound.records)[seen] >= 0.9) < 0.05


def test_a_sweep_says_the_same_whatever_others_there_are(followed):
    records = followed.records
    whole = band_chance(records)
    some = np.arange(7, 40)
    assert band_chance(records.take(some)) == pytest.approx(whole[some])


def test_a_sweep_that_could_show_nothing_is_blank(followed):
    blind = followed.records.take(np.arange(2))
    none = type(blind)(blind.tests, 0 * blind.counts, 0 * blind.exposure, np.nan * blind.roughness)
    assert np.isnan(band_chance(none)).all()
    half = type(blind)(blind.tests, 0 * blind.counts, blind.exposure, np.nan * blind.roughness)
    assert (band_chance(half) < WORN_SHARE).all()
