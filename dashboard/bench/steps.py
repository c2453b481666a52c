"""The steps of a bench test in the order of reasoning, with what to do at each.

The order and the ways of reading are common practice, no source; the maker's procedure stands
above them, and every step says so by the cautions at the head of the page.
"""

from __future__ import annotations

from dataclasses import dataclass

_FIRST_CODES = (
    "Before anything is unplugged: read the stored codes and write them down. A code stored "
    "because the plug was pulled with the key on says nothing of the sensor."
)
_SUPPLY = (
    "Plug connected, key on, engine off. Meter on the reference pin, back-probed, against battery "
    "negative."
)
_GROUND = (
    "The same pin against the plug's own ground pin: a difference between the two is lost in the "
    "ground."
)
_CONNECTOR = (
    "Key off, then pull the plug. Look at the pins. Put it back, key on, and move plug and lead by "
    "hand while somebody watches the signal."
)
_ENDS_V = (
    "Plug connected, key on: the signal with the throttle closed, then held fully open. On "
    "drive-by-wire bikes keep fingers out of the throttle bodies."
)
_ENDS_OHM = (
    "Key off, plug pulled: end pin to end pin, then from the wiper to one and the same end pin."
)
_LIVE = "The control unit's own figure with the throttle closed, then held fully open."
_REFIT = (
    "Key off before the plug goes back. Relearn the closed position where the maker asks for it, "
    "clear the codes and read them again, and see that the throttle opens freely and snaps shut "
    "before the engine is started."
)


@dataclass(frozen=True)
class Step:
    """One step: its heading, what to do, and the columns read at it with their labels.

    ``checks`` are the names of the checks whose answers are shown below its fields.
    """

    name: str
    heading: str
    does: str
    columns: tuple[tuple[str, str], ...]
    checks: tuple[str, ...]
    needs_track: bool = False


STEPS: tuple[Step, ...] = (
    Step(
        "about",
        "Bike and reason",
        "What the test is of. The odometer is the one figure that no test can do without.",
        (
            ("odometer_km", "Odometer"),
            ("reason", "Why it is tested"),
            ("symptom", "What the rider tells"),
            ("technician", "Who tests"),
            ("temp_c", "Temperature in the workshop"),
        ),
        (),
    ),
    Step(
        "codes",
        "Stored codes",
        _FIRST_CODES,
        (
            ("fault_codes", "Codes with spaces between, such as P0122 P0123"),
            ("unplugged_key_on", "Was the plug off with the key on since they were last cleared?"),
        ),
        ("fault_codes",),
    ),
    Step(
        "supply",
        "Supply",
        _SUPPLY,
        (("supply_v", "Reference pin to battery negative"),),
        ("supply",),
    ),
    Step(
        "ground",
        "Ground",
        _GROUND,
        (("supply_to_ground_v", "Reference pin to the plug's ground pin"),),
        ("ground",),
    ),
    Step(
        "connector",
        "Plug and lead",
        _CONNECTOR,
        (("corrosion", "Corrosion on the pins"), ("wiggle_test", "Moved by hand, the signal")),
        ("connector_corrosion", "wiggle_test"),
    ),
    Step(
        "ends_v",
        "Signal at both ends",
        _ENDS_V,
        (("closed_v", "Closed"), ("open_v", "Open")),
        ("closed_v", "open_v", "closed_ratio", "open_ratio"),
    ),
    Step(
        "ends_ohm",
        "Resistance at both ends",
        _ENDS_OHM,
        (("track_ohm", "End pin to end pin"), ("closed_ohm", "Closed"), ("open_ohm", "Open")),
        ("track_ohm", "closed_ohm", "open_ohm", "closed_ohm_ratio", "open_ohm_ratio"),
        needs_track=True,
    ),
    Step("sweep", "Slow passes", "", (), ()),
    Step(
        "live",
        "Live percentage",
        _LIVE,
        (("closed_pct", "Closed"), ("open_pct", "Open")),
        ("closed_pct", "open_pct"),
    ),
    Step("refit", "Refit and relearn", _REFIT, (), ()),
    Step(
        "verdict",
        "Verdict",
        "",
        (("verdict", "Your verdict on the sensor"), ("note", "Note")),
        (),
    ),
)

COLUMNS: tuple[str, ...] = tuple(name for step in STEPS for name, _ in step.columns)


def steps_for(kind: str | None) -> tuple[Step, ...]:
    """The steps for a sensor of a kind: a contactless one has no track to read."""
    return tuple(step for step in STEPS if not (step.needs_track and kind == "contactless"))
