"""What the warehouse finds of a worklist is what looking through all its rows would find.

The reference is the worklist's former way: pandas over every row, held in memory.
"""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboard import sieve
from dashboard.sieve import ORDERS, Sieve, asked_of
from dashboard.wording.answer_words import STATES
from dashboard.words import ACTIONS, MOUNTS
from pipeline.access.answers import with_answers
from pipeline.access.frames.view_schemas import WORKLIST, WORKLIST_OFFERED
from pipeline.access.worklist_view import (
    MOST_OFFERED,
    ROWS_A_LEAF,
    WorklistAsked,
    found_from,
    leaf_from,
    offered_from,
)
from tests.dashboard.fake_views import rows, warehouse_of, worklist_rows

_RISING = {"last_tested_on", "label"}


def sieved(frame: pd.DataFrame, asked: Sieve) -> pd.DataFrame:
    """The rows asked for, in the order asked for; ties by bike and mount."""
    keep = pd.Series(True, index=frame.index)
    for column, wanted in (
        (frame["action"].map(ACTIONS), asked.actions),
        (sieve.shop_names(frame), asked.shops),
        (_filled(frame["fleet_id"], sieve.PRIVATE), asked.fleets),
        (_filled(frame["duty"], sieve.NO_DUTY), asked.duties),
        (_filled(frame["answer"], "none").map(STATES), asked.answers),
    ):
        if wanted:
            keep &= column.isin(wanted)
    for word in asked.words.casefold().split():
        keep &= _searched(frame).str.contains(word, regex=False)
    column = ORDERS[asked.order]
    return frame[keep].sort_values(
        [column, "label", "unit_id", "mount"],
        ascending=[column in _RISING, True, True, True],
        na_position="last",
    )


def _filled(values: pd.Series, words: str) -> pd.Series:
    return values.where(values.notna() & values.ne(""), words)


def _searched(frame: pd.DataFrame) -> pd.Series:
    mount = frame["mount"].map(MOUNTS).fillna(frame["mount"])
    parts = [frame["label"], frame["unit_id"], frame["sensor_id"], frame["model_code"], mount]
    return parts[0].str.cat([*parts[1:], frame["part_no"]], sep=" ", na_rep="").str.casefold()


_TEXTS = ["Straße 7", "STRASSE 7", "ΟΔΟΣ", "οδος", "İz", "a.*", "A1 left", "ﬁn", "é", ""]
_SHOPS = [("s-0", "Yard"), ("s-1", "Yard"), ("s-2", "Außenhof")]
_NUMBER = st.sampled_from([0.0, 0.1, 0.2, None])
_ANSWER = st.sampled_from([None, "accept", "put_off", "overrule"])
_ROW = st.fixed_dictionaries(
    {
        "unit_id": st.sampled_from(["U1", "u2", "ß3"]),
        "label": st.sampled_from(_TEXTS),
        "shop": st.sampled_from(_SHOPS),
        "fleet_id": st.sampled_from([None, "", "river", "no fleet"]),
        "duty": st.sampled_from([None, "", "courier", "training"]),
        "model_code": st.sampled_from(["m-1", "M-\u017f"]),
        "mount": st.sampled_from([*MOUNTS, "saddle"]),
        "part_no": st.sampled_from(["P1", "p2"]),
        "action": st.sampled_from(list(ACTIONS)),
        "urgency": st.sampled_from([0.0, 1.0, 2.5]),
        "defect_now": _NUMBER,
        "defect_5000_km": _NUMBER,
        "km_since_test": _NUMBER,
        "last_tested_on": st.sampled_from([None, *pd.to_datetime(["2026-03-14", "2025-01-02"])]),
        "answer": _ANSWER,
    }
)
_LISTS = st.lists(_ROW, min_size=1, max_size=60)
_TYPED = st.dictionaries(
    st.integers(0, 59).map("S-{:03d}".format),
    st.fixed_dictionaries(
        {
            "advised_action": st.sampled_from(list(ACTIONS)),
            "answer": _ANSWER.filter(bool),
            "answered_at": st.just("2026-06-01T09:00:00"),
            "reason": st.just("away"),
        }
    ),
    max_size=6,
)


def _some(words: list[str]) -> st.SearchStrategy[tuple[str, ...]]:
    return st.lists(st.sampled_from(words), max_size=2, unique=True).map(tuple)


_SIEVES = st.builds(
    Sieve,
    words=st.sampled_from(
        ["", "  ", "strasse", "STRAßE 7", "οδοσ", "i̇z", ".*", "left u", "throttle", "FIN", "s-00"]
    ),
    actions=_some(list(ACTIONS.values())),
    shops=_some(["Yard (s-0)", "Yard (s-1)", "Yard", "Außenhof"]),
    fleets=_some([sieve.PRIVATE, "river"]),
    duties=_some([sieve.NO_DUTY, "courier"]),
    answers=_some(list(STATES.values())),
    order=st.sampled_from(list(ORDERS)),
)


def _worklist(made: list[dict]) -> pd.DataFrame:
    """WORKLIST rows in the order in which a build keeps them."""
    columns = {name: [row[name] for row in made] for name in made[0] if name != "shop"}
    frame = rows(
        WORKLIST,
        len(made),
        sensor_id=[f"S-{n:03d}" for n in range(len(made))],
        shop_id=[row["shop"][0] for row in made],
        shop_name=[row["shop"][1] for row in made],
        answer_pending=False,
        **columns,
    )
    in_order = frame.sort_values(["urgency", "sensor_id"], ascending=[False, True])
    return in_order.reset_index(drop=True)


def _same(found: pd.DataFrame, wanted: pd.DataFrame) -> None:
    pd.testing.assert_frame_equal(found.reset_index(drop=True), wanted.reset_index(drop=True))


@settings(max_examples=25, deadline=None)
@given(made=_LISTS, typed=_TYPED, asked=_SIEVES, number=st.integers(-1, 4))
def test_it_finds_what_looking_through_all_rows_finds(made, typed, asked, number):
    frame = _worklist(made)
    warehouse, meant = warehouse_of(frame), asked_of(asked, frame)
    wanted = sieved(with_answers(frame, typed), asked)
    _same(found_from(warehouse, meant, typed), WORKLIST.check(wanted))
    leaf = leaf_from(warehouse, meant, number, typed)
    _same(leaf.rows, WORKLIST.check(sieve.leaf(wanted, number)))
    assert leaf.found == len(wanted)
    offered = offered_from(warehouse, meant, typed)
    _same(offered, WORKLIST_OFFERED.check(wanted.head(MOST_OFFERED)))


ROWS = worklist_rows(60)
WAREHOUSE = warehouse_of(ROWS)


def found(asked: Sieve) -> pd.DataFrame:
    return found_from(WAREHOUSE.cursor(), asked_of(asked, ROWS), {})


@pytest.mark.parametrize(
    ("asked", "column", "values"),
    [
        (Sieve(actions=("Replace", "Leave")), "action", {"replace", "leave"}),
        (Sieve(shops=("North Yard",)), "shop_id", {"shop-1"}),
        (Sieve(fleets=("river-fleet",)), "fleet_id", {"river-fleet"}),
        (Sieve(duties=("courier",)), "duty", {"courier"}),
        (Sieve(words="BIKE U-007"), "unit_id", {"U-007"}),
        (Sieve(words="no such bike"), "unit_id", set()),
        (Sieve(words="u-007"), "unit_id", {"U-007"}),
        (Sieve(words="007 throttle"), "unit_id", {"U-007"}),
        (Sieve(shops=("no such shop",)), "unit_id", set()),
    ],
)
def test_each_filter_lets_through_what_was_asked_for(asked, column, values):
    assert set(found(asked)[column]) == values
    assert asked.chosen


def test_blanks_can_be_asked_for_by_name():
    for blank, column in (
        (found(Sieve(fleets=(sieve.PRIVATE,))), "fleet_id"),
        (found(Sieve(duties=(sieve.NO_DUTY,))), "duty"),
    ):
        assert len(blank) == ROWS[column].isna().sum()
        assert blank[column].isna().all()


def test_filters_narrow_one_another():
    both = found(Sieve(actions=("Test",), shops=("North Yard",)))
    assert set(both["action"]) == {"test"}
    assert set(both["shop_id"]) == {"shop-1"}


def test_characters_of_a_pattern_or_a_statement_are_searched_as_they_are():
    assert found(Sieve(words=".*")).empty
    assert found(Sieve(words="' or 1=1 --")).empty


def test_without_a_choice_every_sensor_is_there_the_most_pressing_first():
    every = found(Sieve())
    assert len(every) == len(ROWS)
    assert every["urgency"].is_monotonic_decreasing
    assert not Sieve(words="  ").chosen


@pytest.mark.parametrize("order", ORDERS)
def test_rows_without_the_number_sorted_by_stand_last(order):
    column, some = ORDERS[order], ROWS.copy()
    blank = some["sensor_id"].isin(["S-003", "S-005"])
    if column not in ("label", "urgency"):  # these are never blank
        some[column] = some[column].mask(blank)
    listed = found_from(warehouse_of(some), asked_of(Sieve(order=order), some), {})
    assert len(listed) == len(some)
    if column not in ("label", "urgency"):
        assert set(listed["sensor_id"].tail(2)) == {"S-003", "S-005"}


def test_a_leaf_beyond_the_last_is_the_last_however_far():
    asked = asked_of(Sieve(), ROWS)
    last = leaf_from(WAREHOUSE.cursor(), asked, 3, {})
    assert (last.number, last.found, len(last.rows)) == (3, 60, 60 - 2 * ROWS_A_LEAF)
    for number in (4, 99, 10**30):
        _same(leaf_from(WAREHOUSE.cursor(), asked, number, {}).rows, last.rows)
    assert leaf_from(WAREHOUSE.cursor(), asked, -5, {}).number == 1


def test_no_more_sensors_are_offered_than_so_many():
    many = worklist_rows(MOST_OFFERED + 30)
    offered = offered_from(warehouse_of(many), asked_of(Sieve(), many), {})
    assert offered["sensor_id"].tolist() == many["sensor_id"].head(MOST_OFFERED).tolist()


def test_an_order_that_is_none_is_refused():
    with pytest.raises(ValueError, match="headline"):
        WorklistAsked(ordered_by="headline")
