"""Register a bike and its sensors, change what is on record of one, read its odometer."""

from __future__ import annotations

from datetime import date

import streamlit as st

from dashboard import records, surround
from dashboard.forms.entry_troubles import begin_anew, saved, say_once
from dashboard.forms.fields import WIDTH, ask
from dashboard.forms.sensor_fields import new_sensor, sensor_choice, sensor_form
from dashboard.markup import bullets, link, tag, to_bike
from dashboard.parts.to_work import to_work
from dashboard.words import MOUNTS, km, plain
from pipeline.access.register_view import RegisterView
from pipeline.intake.typed.registering import refuse_taken, save_bike, save_odometer, save_sensors

_SAVED = "register_saved"
_ODOMETER = ("odometer_km",)
_BIKE = ("label", "model_year", "duty", "in_service_on")
_LABELS = {
    "label": "Plate or fleet number",
    "model_year": "Model year",
    "duty": "What it is used for",
    "in_service_on": "In service since",
}


def show(shown: records.Shown) -> None:
    """Draw the form of a new bike, or those of the bike named in the address."""
    unit_id = st.query_params.get("unit", "")
    view = records.register(shown, unit_id)
    label = view.unit.get("label") or unit_id
    st.set_page_config(page_title="Register: Wear Atlas")
    way = [to_bike(unit_id, f"Bike {label}")] if unit_id else []
    surround.top_line(
        surround.worklist_link(),
        link("Bench", "bench"),
        *way,
        "Register" if unit_id else "New bike",
    )
    surround.which_records(view.edition)
    today = view.edition.as_of if view.edition.is_demo else date.today()
    say_once(_SAVED)
    if not unit_id:
        st.html(tag("h1", "Register a bike"))
        _new_bike(shown, view, today)
        return
    st.html(tag("h1", f"What is on record of bike {label}"))
    _odometer(shown, view, today)
    _sensors(shown, view, today)
    _particulars(shown, view)


def _new_bike(shown: records.Shown, view: RegisterView, today: date) -> None:
    st.html(tag("p", "Only number, shop, model, odometer and a sensor's part are asked for."))
    with st.container(horizontal=True):
        unit_id = st.text_input(
            "The bike's number", key="new_unit", autocomplete="off", width=WIDTH
        )
        shop = _shop(view, "new_shop")
        model = _typed_choice("Model", view.choices.models, "new_model")
        fleet = _typed_choice("Fleet (none: privately owned)", view.choices.fleets, "new_fleet")
    surround.heading("Its sensor")
    chosen = sensor_choice(view.choices, model or "", key="new_sensor")
    with st.form("new_bike", border=False):
        typed_sensor = sensor_form(view.choices, chosen, model or "", key="new_sensor")
        surround.heading("What else is known")
        cells = _particular_fields("new_")
        odometer_km = ask("odometer", "odometer_km", "Odometer today", key="new_odometer")
        pressed = st.form_submit_button("Register the bike", key="new_save", type="primary")
    if not pressed:
        return
    number = (unit_id or "").strip()
    unit = {
        "unit_id": number,
        "shop_id": shop["shop_id"] if shop else "",
        "fleet_id": fleet,
        "model_code": model,
        **cells,
    }

    def save() -> None:
        refuse_taken("units", "unit_id", number, records.on_record(shown, "units", number))
        sensor = new_sensor(number, chosen, typed_sensor, set(), today, odometer_km)
        reading = {"unit_id": number, "read_on": today.isoformat(), "odometer_km": odometer_km}
        save_bike(
            shown.home,
            unit,
            shop=shop if shop and shop["shop_id"] not in view.choices.shops else None,
            sensors=[sensor] if chosen.part_no else [],
            odometer=reading if odometer_km else None,
            asker=shown.asker,
        )

    if saved(save):
        st.session_state[_SAVED] = (
            f"Bike {number} is registered. The worklist holds it once the records are built anew; "
            "it can be tested at once."
        )
        st.switch_page("pages/register.py", query_params={"unit": number})


def _shop(view: RegisterView, key: str) -> dict[str, str] | None:
    """A shop on record, or a new one by its name."""
    shops = view.choices.shops
    kept = view.unit.get("shop_id")
    names = {shop_id: row.get("name") or shop_id for shop_id, row in shops.items()}
    ids = list(names)
    shop_id = st.selectbox(
        "Shop",
        ids,
        index=ids.index(kept) if kept in ids else 0 if len(ids) == 1 else None,
        key=key,
        format_func=lambda shop: names.get(shop, shop),
        accept_new_options=True,
        placeholder="Choose one, or type a new one",
        width=WIDTH,
    )
    if not shop_id:
        return None
    return dict(shops.get(shop_id) or {"shop_id": shop_id, "name": shop_id})


def _typed_choice(
    label: str, known: tuple[str, ...], key: str, kept: str | None = None
) -> str | None:
    options = list(known)
    return st.selectbox(
        label,
        options,
        index=options.index(kept) if kept in options else None,
        key=key,
        accept_new_options=True,
        placeholder="Choose one, or type a new one",
        width=WIDTH,
    )


def _particular_fields(prefix: str) -> dict[str, str]:
    with st.container(horizontal=True):
        typed = {name: ask("units", name, _LABELS[name], key=f"{prefix}{name}") for name in _BIKE}
    return {name: cell for name, cell in typed.items() if cell}


def _odometer(shown: records.Shown, view: RegisterView, today: date) -> None:
    surround.heading("Odometer")
    before = view.odometer_km
    st.html(tag("p", "Never read." if before is None else f"Last read: {km(before)}."))
    begin_anew(*_ODOMETER, where="odometer_done")
    with (
        st.form("odometer", border=False),
        st.container(horizontal=True, vertical_alignment="bottom"),
    ):
        st.session_state.setdefault("odometer_on", today)
        on = st.date_input("Read on", key="odometer_on", format="YYYY-MM-DD", width=200)
        read = ask("odometer", "odometer_km", "Odometer", key="odometer_km")
        pressed = st.form_submit_button("Save the reading", key="odometer_save")
    unit_id = view.unit["unit_id"]
    if pressed and saved(lambda: save_odometer(shown.home, unit_id, on, read, asker=shown.asker)):
        words = f"Odometer of bike {unit_id}: {km(float(read or 0))}, saved."
        if before is not None and float(read or 0) < before:
            words += f" It is less than the {km(before)} read before: was the instrument changed?"
        st.session_state[_SAVED], st.session_state["odometer_done"] = words, True
        st.rerun()


def _sensors(shown: records.Shown, view: RegisterView, today: date) -> None:
    surround.heading("Sensors on it now")
    unit_id, model = view.unit["unit_id"], view.unit["model_code"]
    said = [
        f"{plain(row['mount'], MOUNTS).capitalize()}: {row['part_no']}, sensor {key}"
        for key, row in view.sensors.items()
    ]
    st.html(bullets(said) if said else tag("p", "None is on record."))
    if said:
        st.html(surround.ways(*to_work(unit_id)))
    fold = st.expander("Register a sensor of this bike", key="sensor_fold", expanded=not said)
    with fold:
        chosen = sensor_choice(view.choices, model, key="sensor")
        with st.form("sensor_form", border=False):
            typed = sensor_form(view.choices, chosen, model, key="sensor")
            pressed = st.form_submit_button("Save the sensor", key="sensor_save", type="primary")
        if not pressed:
            return

        def save() -> None:
            number = (typed["number"] or "").strip()
            taken = records.on_record(shown, "sensors", number)
            refuse_taken("sensors", "sensor_id", number, taken)
            last = None if view.odometer_km is None else f"{view.odometer_km:.9g}"
            new = new_sensor(unit_id, chosen, typed, set(view.sensors), today, last)
            save_sensors(shown.home, [new], asker=shown.asker)

        if saved(save):
            st.session_state[_SAVED] = f"A sensor of bike {unit_id} is registered."
            st.rerun()


def _particulars(shown: records.Shown, view: RegisterView) -> None:
    fold = st.expander("Change what is on record of the bike itself", key="bike_fold")
    with fold:
        for name in _BIKE:
            _start(f"change_{name}", "units", name, view.unit.get(name))
        with st.container(horizontal=True):
            shop = _shop(view, "change_shop")
            model = _typed_choice(
                "Model", view.choices.models, "change_model", view.unit["model_code"]
            )
            fleet = _typed_choice(
                "Fleet (none: privately owned)",
                view.choices.fleets,
                "change_fleet",
                view.unit.get("fleet_id"),
            )
        with st.form("bike_form", border=False):
            cells = _particular_fields("change_")
            pressed = st.form_submit_button("Save the changes", key="bike_save")
        if not pressed:
            return
        blank: dict[str, str | None] = dict.fromkeys(_BIKE)
        unit = {
            **view.unit,
            **blank,
            **cells,
            "shop_id": shop["shop_id"] if shop else "",
            "model_code": model,
            "fleet_id": fleet,
        }
        new_shop = shop if shop and shop["shop_id"] not in view.choices.shops else None
        if saved(lambda: save_bike(shown.home, unit, shop=new_shop, asker=shown.asker)):
            st.session_state[_SAVED] = f"What is on record of bike {unit['unit_id']} is changed."
            st.rerun()


def _start(key: str, table: str, name: str, cell: str | None) -> None:
    """Let a field begin with what is on record."""
    if key in st.session_state or not cell:
        return
    if name == "in_service_on":
        st.session_state[key] = date.fromisoformat(cell)
    else:
        st.session_state[key] = int(cell) if name == "model_year" else cell


if __name__ == "__main__":
    surround.page(show)
