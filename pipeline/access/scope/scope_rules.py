"""What of each table of a warehouse someone may see who does not see all: declared here, once.

A table that is not named here is withheld, and a test names each that a build makes without a
rule. ``t`` is the table itself, ``whole`` the published warehouse, ``scope`` the asker's own bikes,
sensors, tests and repairs as ``access/sql/scope`` finds them.
"""

# ruff: noqa: S608 - made of the words declared here, never of what somebody asks
from __future__ import annotations

from dataclasses import dataclass, field

from pipeline.asker import OPERATOR, OWNER, TECHNICIAN

_SHOPS = frozenset({TECHNICIAN, OWNER})


@dataclass(frozen=True)
class Rule:
    """Which rows of a table are shown, and which of their cells are put differently.

    ``where`` is a condition, ``cells`` an expression for each column that may name or tell of what
    is another's, ``costs`` names those that are a shop's costs, blank for an operator, and
    ``told`` texts of which an operator is told the sentences without an amount.
    ``roles`` may see any of it at all; ``anew`` is the statement that makes the table
    again from what is in scope.
    """

    where: str
    cells: dict[str, str] = field(default_factory=dict)
    roles: frozenset[str] = frozenset({TECHNICIAN, OWNER, OPERATOR})
    costs: tuple[str, ...] = ()
    told: tuple[str, ...] = ()
    anew: str = ""


def _among(column: str, of: str) -> str:
    return f"t.{column} in (select {column} from scope.{of})"


def _on(day: str, unit: str = "t.unit_id") -> str:
    """Only days on which the bike was the asker's."""
    return (
        f"exists (select 1 from scope.spans as spans where spans.unit_id = {unit} "
        f"and (spans.from_on is null or spans.from_on <= {day}) "
        f"and (spans.to_on is null or {day} < spans.to_on))"
    )


def _sensor_on(day: str) -> str:
    unit = "(select lives.unit_id from whole.marts.sensor_lives as lives "
    return f"{_among('sensor_id', 'sensors')} and " + _on(
        f"t.{day}", f"{unit}where lives.sensor_id = t.sensor_id)"
    )


def _pool(pool: str, part: str = "'all'", duty: str = "'all'", count: str = "") -> str:
    """Rows that enough shops and sensors stand behind, or the asker's own alone."""
    enough = f" and {count} >= pools.needs" if count else ""
    return (
        f"exists (select 1 from scope.shown_pools as pools where pools.pool = '{pool}' "
        f"and pools.part_no = {part} and pools.duty = {duty}{enough})"
    )


def _own_or_null(column: str, key: str, of: str) -> dict[str, str]:
    """A cell that may name a record of another's: blank then."""
    return {column: f"if(t.{column} in (select {key} from scope.{of}), t.{column}, null)"}


_UNIT = Rule(_among("unit_id", "units"))
_SENSOR = Rule(_among("sensor_id", "sensors"))
_TEST = Rule(_among("session_id", "tests"))
_LIFE = Rule(_among("life_id", "lives"))
_SHOP = Rule(_among("shop_id", "shops"), roles=_SHOPS)
_ROW = Rule(_among("row_id", "own_rows"))
_LAST_TEST = _own_or_null("last_session_id", "session_id", "tests")
#: The same for everyone: what parts are, and the settings that plans are made with.
_REFERENCE = Rule("true")
#: What an own sensor's chances are reckoned with; shown nowhere as a curve.
_RECKONING = Rule("true")
_NOBODYS = Rule("false")
_ALL_POOLED = Rule(_pool("any"))
_PART_POOLED = Rule(_pool("any", "t.part_no", count="t.sensor_count"))
_MAP_POOLED = Rule(_pool("any", "t.part_no", "t.duty"))
_GOOD_POOLED = Rule(_pool("good", "t.part_no", count="t.sensor_count"))

_LEFT = "(select old.left_on from scope.old_sensors as old where old.sensor_id = t.sensor_id)"
_IS_OLD = "t.sensor_id in (select old.sensor_id from scope.old_sensors as old)"
_ANY_SENSOR = f"({_among('sensor_id', 'sensors')} or {_IS_OLD})"


def _until_left(*columns: str, day: str) -> dict[str, str]:
    """Blank what happened to a sensor after its bike had gone to another."""
    gone = f"{_IS_OLD} and coalesce(t.{day} > {_LEFT}, true)"
    return {column: f"if({gone}, null, t.{column})" for column in columns}


_BAND_SHOWN = f"t.source = 'maker' or {_GOOD_POOLED.where}"
_NOT_SHOWN = "'not shown: too few shops stand behind this range'"
_BAND_OR_WHY = {
    "low": f"if({_BAND_SHOWN}, t.low, null)",
    "high": f"if({_BAND_SHOWN}, t.high, null)",
    "method": f"if({_BAND_SHOWN}, t.method, {_NOT_SHOWN})",
    "sensor_count": f"if({_BAND_SHOWN}, t.sensor_count, 0)",
    "more_needed": f"if({_BAND_SHOWN}, t.more_needed, null)",
}
_OWN_WAITING = (
    "(select string_agg(own.sentence, chr(10) order by own.row_id, own.sentence) "
    "from whole.marts.waiting as own where own.unit_id = t.unit_id and own.stands_aside "
    "and own.row_id in (select row_id from scope.own_aside))"
)
#: That something of the bike waits is told, though not what another shop handed in.
_TEXT_OF_WAITING = (
    f"if(t.waiting is null, null, coalesce({_OWN_WAITING}, "
    "'a record of this bike from another shop is set aside'))"
)
_BEFORE_IT_CAME = "not " + _on("t.answered_on")

RULES: dict[str, Rule] = {
    "intake.accounting": Rule("", anew="intake/sql/settle/accounting"),
    "intake.any_sensors": _NOBODYS,
    "intake.any_tests": _NOBODYS,
    "intake.files": Rule(
        "(t.hand_in, t.file_no) in (select (hand_in, file_no) from scope.own_rows)",
        {"rows_path": "null", "issues_path": "null", "rows_digest": "null"},
    ),
    "intake.out_of_force": _ROW,
    "intake.read_issues": Rule(
        "t.line is not null and (t.hand_in, t.file_no, t.line) in "
        "(select (hand_in, file_no, line) from scope.own_rows)"
    ),
    "intake.row_outcomes": _ROW,
    "intake.rows": _ROW,
    "intake.rows_as_read": _ROW,
    "intake.set_aside": Rule(_among("row_id", "own_aside")),
    "intake.standing": Rule("", anew="intake/sql/settle/standing"),
    "marts.advice": _SENSOR,
    "marts.advice_answers": Rule(_sensor_on("answered_on")),
    "marts.advice_followed": Rule("", anew="warehouse/sql/marts/advice_followed"),
    "marts.advice_over_sensitivity": _ALL_POOLED,
    "marts.advised_spells": Rule(_sensor_on("first_on")),
    "marts.answered_tests": Rule(_TEST.where, _own_or_null("outcome_id", "outcome_id", "repairs")),
    "marts.answers_followed": Rule("", anew="warehouse/sql/marts/answers_followed"),
    "marts.assumed_and_learned": _ALL_POOLED,
    "marts.backtest_about": _ALL_POOLED,
    "marts.backtest_calibration": _ALL_POOLED,
    "marts.backtest_scores": _NOBODYS,
    "marts.backtest_skill": _ALL_POOLED,
    "marts.bands": Rule(_BAND_SHOWN),
    "marts.bike_shops": _NOBODYS,
    "marts.bikes": _UNIT,
    "marts.cheapest": Rule(_SENSOR.where, roles=_SHOPS),
    "marts.check_about": _SHOP,
    "marts.check_bands": Rule("true", _BAND_OR_WHY),
    "marts.check_costs": Rule(_UNIT.where, roles=_SHOPS),
    "marts.check_days": _SHOP,
    "marts.check_events": Rule(_UNIT.where, told=("why",)),
    "marts.check_outcomes": _NOBODYS,
    "marts.check_settings": _REFERENCE,
    "marts.check_unplaced": Rule(_UNIT.where, costs=("waiting_costs",), told=("words",)),
    "marts.check_visits": Rule(_UNIT.where, costs=("saves", "waiting_costs"), told=("why",)),
    "marts.check_work": Rule(_UNIT.where, roles=_SHOPS),
    "marts.contact_gaps": _UNIT,
    "marts.contacts": _LIFE,
    "marts.defect_by_day": _SENSOR,
    "marts.defect_by_km": _SENSOR,
    "marts.defect_risk": _SENSOR,
    "marts.defects": Rule(_among("outcome_id", "repairs")),
    "marts.drawn_by_lot": _SENSOR,
    "marts.evidence": Rule(
        _SENSOR.where,
        {
            # what is made of it hangs on whether there was a test, not on whose
            "last_session_id": f"coalesce({_LAST_TEST['last_session_id']}, "
            "if(t.last_session_id is null, null, 'another shop'))",
            "waiting": _TEXT_OF_WAITING,
        },
    ),
    "marts.expected_cost": _NOBODYS,
    "marts.fleet_curve": _PART_POOLED,
    "marts.followed_up": _NOBODYS,
    "marts.good_tests": _TEST,
    "marts.last_tests": _TEST,
    "marts.life_quantiles": Rule(
        _pool(
            "any",
            "if(t.grouped_by = 'part_no', t.group_name, 'all')",
            "if(t.grouped_by = 'duty', t.group_name, 'all')",
            "t.sensor_count",
        )
    ),
    "marts.life_tests": _TEST,
    "marts.life_windows": _LIFE,
    "marts.new_life_curve": _RECKONING,
    "marts.new_part_numbers": _REFERENCE,
    "marts.notices": _NOBODYS,
    "marts.odometer_readings": Rule(_on("t.read_on")),
    "marts.part_need": Rule(_SENSOR.where, roles=_SHOPS),
    "marts.plan_rates": _RECKONING,
    "marts.plan_sensors": Rule(_SENSOR.where, roles=_SHOPS),
    "marts.plan_settings": Rule("true", roles=_SHOPS),
    "marts.planned_work": _SENSOR,
    "marts.reading_values": _TEST,
    "marts.readings": Rule(_on("t.read_on")),
    "marts.repairs": Rule(
        _among("outcome_id", "repairs"),
        {
            **_own_or_null("comeback_of", "outcome_id", "repairs"),
            **_own_or_null("session_id", "session_id", "tests"),
        },
        costs=("parts_cost", "labour_hours"),
    ),
    "marts.repairs_after_tests": Rule(f"{_TEST.where} and {_among('outcome_id', 'repairs')}"),
    "marts.riding_rates": _UNIT,
    "marts.risk_ahead": _SENSOR,
    "marts.risk_explained": _SENSOR,
    "marts.risk_fit": _ALL_POOLED,
    "marts.risk_summary": _NOBODYS,
    "marts.sensitivity_evidence": _TEST,
    "marts.sensor_lives": Rule(
        _ANY_SENSOR,
        {
            **_until_left("to_on", "to_km", "removed_reason", day="to_on"),
            "end_assumed": f"t.end_assumed and not {_IS_OLD}",
            "in_service": f"t.in_service and not {_IS_OLD}",
        },
    ),
    "marts.sensor_outlook": _SENSOR,
    "marts.sensor_spans": _LIFE,
    "marts.sensors_now": _SENSOR,
    "marts.shops_behind": _NOBODYS,
    "marts.static_readings": _TEST,
    "marts.stock_about": Rule(
        "true",
        {
            "about": "json_merge_patch(t.about, json_object('n_sensors', (select "
            "count(distinct sensor_id) from whole.marts.part_need where need is not null and "
            f"{_SENSOR.where.replace('t.sensor_id', 'sensor_id')}), 'transfers_allowed', null))"
            "::varchar"
        },
        roles=_SHOPS,
    ),
    "marts.stock_demand": _SHOP,
    "marts.stock_last_buys": _SHOP,
    "marts.stock_left_out": Rule(f"{_SHOP.where} and {_SENSOR.where}", roles=_SHOPS),
    "marts.stock_orders": _SHOP,
    "marts.stock_pools": Rule(
        "list_has_all((select list(shop_id) from scope.shops), string_split(t.shops, ', '))",
        roles=_SHOPS,
    ),
    # the two owners have agreed to it, or it would not be planned
    "marts.stock_transfers": Rule(
        "t.from_shop in (select shop_id from scope.shops) "
        "or t.to_shop in (select shop_id from scope.shops)",
        roles=_SHOPS,
    ),
    "marts.stock_walk_ins": _SHOP,
    "marts.stock_weeks": _SHOP,
    "marts.sweep_bands": _TEST,
    "marts.sweep_contexts": _TEST,
    "marts.sweep_dropouts": _TEST,
    "marts.sweep_findings": _TEST,
    "marts.sweep_measures": _TEST,
    "marts.sweep_parts": _TEST,
    "marts.sweep_passes": _TEST,
    "marts.sweep_profile": _TEST,
    "marts.test_history": _TEST,
    "marts.test_lives": _TEST,
    "marts.test_shops": _NOBODYS,
    "marts.tests": _TEST,
    "marts.tests_of_sound_sensors": _NOBODYS,
    "marts.travel_bands": _GOOD_POOLED,
    "marts.waiting": Rule(f"{_UNIT.where} and {_among('row_id', 'own_aside')}"),
    "marts.wear_about": _ALL_POOLED,
    "marts.wear_bands": _TEST,
    "marts.wear_fit": _ALL_POOLED,
    "marts.wear_gathered": Rule(_pool("any", "t.part_no", "t.duty", "t.n_seen")),
    "marts.wear_lift": _RECKONING,
    "marts.wear_map": _MAP_POOLED,
    "marts.wear_passes": _RECKONING,
    "marts.wear_patterns": Rule(_pool("any", "'all'", "t.duty", "t.n_seen")),
    "marts.wear_progress": _LIFE,
    "marts.wear_readings": _TEST,
    "marts.wear_roughness_band": _GOOD_POOLED,
    "marts.wear_shares": _SENSOR,
    "marts.wear_stretches": _SENSOR,
    "marts.wear_usage": _UNIT,
    "marts.worklist": Rule(
        _SENSOR.where,
        {
            **_LAST_TEST,
            "waiting": _TEXT_OF_WAITING,
            **{
                name: f"if({_BEFORE_IT_CAME}, null, t.{name})"
                for name in (
                    *("answer", "answered_on", "answer_to", "answer_until", "answer_reason"),
                    "answered_by",
                )
            },
        },
    ),
    "staging.advice_answers": Rule(_sensor_on("answered_on")),
    "staging.calendar": _UNIT,
    "staging.fitments": _REFERENCE,
    "staging.odometer": Rule(_on("t.read_on")),
    "staging.parts": Rule("true", costs=("unit_price",)),
    "staging.repair_outcomes": Rule(
        _among("outcome_id", "repairs"),
        {
            **_own_or_null("comeback_of", "outcome_id", "repairs"),
            **_own_or_null("session_id", "session_id", "tests"),
        },
        costs=("parts_cost", "labour_hours"),
    ),
    "staging.ride_log": Rule(_on("t.started_at::date")),
    "staging.sensors": Rule(
        _ANY_SENSOR, _until_left("removed_on", "removed_km", "removed_reason", day="removed_on")
    ),
    "staging.shops": Rule(
        "t.shop_id in (select shop_id from scope.shops) or (t.shop_id in "
        "(select spans.shop_id from scope.spans as spans where spans.to_on is null) "
        "and exists (select 1 from scope.fleets))",
        {"bay_hours_per_day": "if(exists (select 1 from scope.shops), t.bay_hours_per_day, null)"},
    ),
    "staging.stock": _SHOP,
    "staging.sweeps": _TEST,
    "staging.test_sessions": _TEST,
    "staging.units": _UNIT,
}


def _without_amounts(column: str) -> str:
    """The lines of a text that name no amount of money."""
    lines = f"string_split(t.{column}, chr(10))"
    amount = "'costs? (less than )?[0-9]'"
    return (
        f"array_to_string(list_filter({lines}, lambda line: not regexp_matches(line, {amount})), "
        "chr(10))"
    )


def view_of(table: str, role: str) -> str:
    """The query of what a role may see of ``schema.table``, all in scope; nothing undeclared."""
    rule = RULES.get(table, _NOBODYS)
    if role not in rule.roles:
        rule = _NOBODYS
    cells = dict(rule.cells)
    if role == OPERATOR:
        cells |= dict.fromkeys(rule.costs, "null")
        cells |= {column: _without_amounts(column) for column in rule.told}
    replaced = ", ".join(f"{sql} as {name}" for name, sql in cells.items())
    shown = f"t.* replace ({replaced})" if replaced else "t.*"
    return f"select {shown} from whole.{table} as t where {rule.where}"
