import numpy as np
import pandas as pd
import pytest

from models.risk.course import KNOTS
from models.risk.growth import FEWEST_READINGS, WearGrowth


def readings_frame(life_id, km, roughness, out=0):
    return pd.DataFrame(
        {
            "life_id": life_id,
            "read_km": km,
            "roughness_pct": roughness,
            "roughness_z": np.nan,
            "checks_out_of_band": out,
            "passed": True,
        }
    )


def true_level(way):
    """A course that stays flat until 0.6 of the way and then rises by 2."""
    return 2.0 * np.clip((way - 0.6) / 0.4, 0.0, 1.0)


@pytest.fixture(scope="module")
def worn():
    """300 lives with known ages at the defect, four readings each, log noise 0.5."""
    rng = np.random.default_rng(4)
    defect = rng.uniform(20_000, 60_000, 300)
    row = np.repeat(np.arange(300), 4)
    km = rng.uniform(0, 1, 1_200) * defect[row]
    level = true_level(km / defect[row]) + 0.5 * rng.standard_normal(1_200)
    frame = readings_frame([f"L{r}" for r in row], km, 0.04 * np.exp(level))
    lives = pd.DataFrame({"life_id": [f"L{k}" for k in range(300)]})
    growth = WearGrowth().fit(
        lives, wear_readings=frame, defect_km=defect[:, None], log_chance=np.zeros((300, 1))
    )
    return growth, lives, frame, defect


def test_the_course_is_recovered_up_to_its_scores(worn):
    growth, _, frame, _ = worn
    assert growth.measure_ == "roughness_pct"
    assert growth.gain_ > 100
    assert growth.n_readings_ == len(frame)
    rise = growth.course_.rise[:-1]
    climbed = np.cumsum(rise) / rise.sum()
    expected = true_level(KNOTS[1:]) / 2.0
    assert climbed == pytest.approx(expected, abs=0.12)


def test_a_rough_reading_points_to_a_defect_soon(worn):
    growth, *_ = worn
    lives = pd.DataFrame({"life_id": ["rough", "smooth", "unread"]})
    read = pd.concat(
        [
            readings_frame("rough", [30_000.0], [0.04 * np.exp(2.0)]),
            readings_frame("smooth", [30_000.0], [0.04]),
        ]
    )
    places = np.tile(np.array([31_000.0, 45_000.0, 90_000.0]), (3, 1))[:, :, None]
    got = growth.log_likelihood(growth.life_readings(lives, read), places)[..., 0]
    assert got[0, 0] > got[0, 1] + 1 > got[0, 2] + 1
    assert got[1, 0] < got[1, 1] - 0.5
    assert not got[2].any()


def test_a_stale_reading_says_the_same_of_the_same_age_at_the_defect(worn):
    """Lag needs no coefficient: what counts is the reading's own age, not today's."""
    growth, lives, frame, defect = worn
    readings = growth.life_readings(lives, frame)
    got = growth.log_likelihood(readings, defect[:, None, None])
    shifted = growth.log_likelihood(
        readings, defect[:, None, None] + np.array([0.0, 0.0]), np.array([0.0, 0.0])
    )
    assert shifted[..., 1] == pytest.approx(got[..., 0])


def test_a_shift_moves_readings_and_defect_together(worn):
    growth, *_ = worn
    lives = pd.DataFrame({"life_id": ["A"]})
    moved = readings_frame("A", [25_000.0], [0.2])
    plain = readings_frame("A", [5_000.0], [0.2])
    place = np.array([[[40_000.0]]])
    one = growth.log_likelihood(growth.life_readings(lives, moved), place)
    two = growth.log_likelihood(growth.life_readings(lives, plain), place, np.array([20_000.0]))
    assert two == pytest.approx(one)


def test_few_readings_make_no_course_and_say_nothing():
    lives = pd.DataFrame({"life_id": ["A"]})
    km = np.linspace(0, 1e4, FEWEST_READINGS - 1)
    few = readings_frame("A", km, np.linspace(0.02, 0.2, len(km)))
    growth = WearGrowth().fit(
        lives, wear_readings=few, defect_km=np.array([[2e4]]), log_chance=np.zeros((1, 1))
    )
    assert growth.course_ is None
    said = growth.log_likelihood(growth.life_readings(lives, few), np.array([[[2e4]]]))
    assert not said.any()


def test_readings_that_do_not_grow_move_nothing():
    rng = np.random.default_rng(1)
    defect = rng.uniform(2e4, 6e4, 200)
    row = np.repeat(np.arange(200), 3)
    km = rng.uniform(0, 1, 600) * defect[row]
    frame = readings_frame([f"L{r}" for r in row], km, 0.04 * np.exp(0.4 * rng.normal(size=600)))
    lives = pd.DataFrame({"life_id": [f"L{k}" for k in range(200)]})
    growth = WearGrowth().fit(
        lives, wear_readings=frame, defect_km=defect[:, None], log_chance=np.zeros((200, 1))
    )
    assert growth.gain_ < 3
    assert growth.course_.rise.sum() < 0.4


def test_courses_drawn_lie_about_the_one_fitted(worn):
    growth, *_ = worn
    drawn = growth.courses(200, 0)
    assert drawn[0] == growth.course_
    totals = np.array([course.rise.sum() for course in drawn[1:]])
    assert totals.mean() == pytest.approx(growth.course_.rise.sum(), rel=0.1)
    assert 0.01 < totals.std() / totals.mean() < 0.2
    assert [c.noise_sd for c in growth.courses(5, 0)] == [c.noise_sd for c in growth.courses(5, 0)]
