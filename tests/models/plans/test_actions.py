import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from models.plans.actions import advised_actions, settled_cases
from models.plans.advice import advise
from models.plans.schemas import CHEAPEST, EVIDENCE
from models.plans.settings import PlanSettings
from tests.models.plans.test_advice import _ROW, COSTS, USUAL

LEVELS = st.fixed_dictionaries(
    {
        "test_above": st.floats(0.01, 0.3),
        "replace_above": st.floats(0.3, 0.9),
        "unsure_above": st.floats(0.1, 0.9),
        "test_stale_after_km": st.integers(1_000, 50_000),
        "odometer_stale_after_days": st.integers(1, 400),
    }
)
CHOICE = st.sampled_from(["replace", "test", "leave", None])


@settings(max_examples=60)
@given(st.lists(st.tuples(_ROW, CHOICE, st.booleans()), min_size=1, max_size=8), LEVELS)
def test_the_actions_are_those_of_the_advice(rows, levels):
    names = [f"s{n}" for n in range(len(rows))]
    evidence = pd.DataFrame(
        [USUAL | row | {"sensor_id": n} for n, (row, _, _) in zip(names, rows, strict=True)]
    ).reindex(columns=EVIDENCE.names)
    costs = CHEAPEST.check(
        pd.DataFrame(
            [
                COSTS | {"sensor_id": n, "cheapest": c}
                for n, (_, c, _) in zip(names, rows, strict=True)
            ]
        )
    )
    lot = frozenset(n for n, (_, _, drawn) in zip(names, rows, strict=True) if drawn)
    how = PlanSettings(**levels)
    evidence = EVIDENCE.check(evidence)
    fast = advised_actions(settled_cases(evidence), costs, how, lot)
    assert fast.tolist() == advise(evidence, costs, how, by_lot=lot)["action"].tolist()
    assert fast.index.tolist() == names


def test_no_sensors():
    assert advised_actions(settled_cases(EVIDENCE.empty()), CHEAPEST.empty(), PlanSettings()).empty
