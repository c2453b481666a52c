"""The parts stock: what to order today in each shop, and why."""

from __future__ import annotations

from functools import partial

import pandas as pd
import streamlit as st

from dashboard import records, surround
from dashboard.charts.stock import demand_chart, demand_reading, weeks_chart, weeks_reading
from dashboard.markup import Html, bullets, fold, identifier, joined, link, table, tag, to_bike
from dashboard.parts.consent_part import consent_part, own_shops
from dashboard.parts.save_csv import save_csv
from dashboard.parts.show_chart import show_chart
from dashboard.parts.stock_entry_part import stock_entry_part
from dashboard.sieve import shop_names
from dashboard.wording.stock_entry_words import NOT_IN_PLAN
from dashboard.wording.stock_words import (
    advised,
    coming,
    expected,
    exported,
    in_short,
    last_buy_words,
    needed,
    order_now,
    part_in_words,
    position,
    reasons,
    rests_on,
    runs_out,
    tied_up,
    to_settle,
    unmet,
    walk_in_words,
)
from dashboard.words import counted, day, in_100, known, money, number
from pipeline.access.stock_view import OnePart, StockView

TITLE = "Parts: what to order today"
ASKING_SHOWN = 10


def show(shown: records.Shown) -> None:
    """Draw the page; a shop and part named in the address come with their detail."""
    shop_id, part_no = (st.query_params.get(name) or None for name in ("shop", "part"))
    asked = (shop_id, part_no) if shop_id and part_no else (None, None)
    view = records.stock(shown, *asked)
    surround.top_line(surround.worklist_link(), "Parts")
    surround.which_records(view.edition)
    as_of = surround.records_as_of(view.edition)
    st.html(joined([tag("h1", TITLE), tag("p", as_of, class_="wa-quiet")]))
    waiting = stock_entry_part(shown, view.rows, asked)
    if view.rows.empty:
        surround.nothing(
            "There is nothing to plan: no sensor in service, no count and no first visit is on "
            "record."
        )
        return
    if asked[0]:
        _one(view)
        _today(view, waiting)
    else:
        _today(view, waiting)
        _one(view)
    _transfers(shown, view)
    _last_buys(view)
    _left_out(view.left_out)
    surround.heading("What this plan rests on")
    st.html(bullets(rests_on(view.about)))


def _today(view: StockView, waiting: pd.DataFrame) -> None:
    """The plan; ``waiting`` STOCK_BOOK rows put in since it was made."""
    surround.heading("Today, shop by shop")
    key = ["shop_id", "part_no"]
    rows = view.rows.assign(shop=shop_names(view.rows))
    rows = rows.merge(waiting[[*key, "on_hand_now", "due_now"]], on=key, how="left")
    currency = view.about["currency"]
    st.html(tag("p", tag("strong", in_short(rows, currency)), " ", " ".join(to_settle(rows))))
    columns = _columns(currency)
    wanted = pd.Series([advised(r) for r in rows.to_dict("records")], index=rows.index)
    if wanted.any():
        caption = f"To order or pass on: {counted(int(wanted.sum()), 'line')}."
        st.html(table(rows[wanted], columns, caption))
    rest = rows[~wanted]
    if len(rest):
        title = f"Nothing to order: {counted(len(rest), 'line')}, each with its reason"
        caption = "Nothing to order today. That says nothing about any bike."
        shown = {name: cell for name, cell in columns.items() if name not in ("Order now", "Costs")}
        st.html(fold(title, table(rest, shown, caption)))
    save_csv(exported(view.rows), "parts_to_order")


def _columns(currency: str) -> dict:
    def why(row: dict) -> Html:
        return joined([tag("span", sentence) for sentence in reasons(row, currency)], " ")

    return {
        "Shop": "shop",
        "Part": lambda r: link(
            r["part_no"], "parts", "wa-id", shop=r["shop_id"], part=r["part_no"]
        ),
        "Order now": lambda r: tag("strong", order_now(r)),
        "Costs": lambda r: money(r["order_money"], currency) if r["order_parts"] else "nothing",
        "On the shelf": lambda r: _put_in(position(r), r["on_hand_now"]),
        "On order": lambda r: _put_in(coming(r), r["due_now"]),
        "Asked for, expected": needed,
        "A need unmet, today → after": runs_out,
        "Tied up, today → after": lambda r: tied_up(r, currency),
        "Why": why,
    }


def _put_in(words: str, parts: object) -> Html | str:
    """What the plan counts on, with what was put in since."""
    if not known(parts):
        return words
    return joined([words, tag("strong", f"now {parts:.0f}, {NOT_IN_PLAN}")], ". ")


def _one(view: StockView) -> None:
    one, currency = view.one, view.about["currency"]
    if one is None:
        return
    row = one.row
    surround.heading("One shop's part")
    _pick(view, row)
    what = f"{row['shop_name']}, part {row['part_no']}"
    described = f" ({row['description']})" if pd.notna(row["description"]) else ""
    head = joined([tag("strong", f"{what}: {order_now(row)} now."), described])
    st.html(joined([tag("p", head), bullets(part_in_words(row, currency))]))
    stem = f"{row['shop_id']}_{row['part_no']}"
    show_chart(
        partial(demand_chart, one.demand, row),
        demand_reading(one.demand, row),
        one.demand,
        {
            "Parts asked for": "parts",
            "Just so many, in 100": lambda r: in_100(r["chance"]),
            "So many or fewer, in 100": lambda r: in_100(min(r["up_to"], 0.999)),
        },
        name=f"parts_asked_for_{stem}",
    )
    _weeks(one, stem)
    _who_asks(one, stem)


def _pick(view: StockView, row: dict) -> None:
    """Choose another shop and part; the address then names them."""
    names = shop_names(view.rows)
    keys = zip(names, view.rows["shop_id"], view.rows["part_no"], strict=True)
    listed = {f"{name}, {part}": (shop, part) for name, shop, part in keys}
    own = next(k for k, v in listed.items() if v == (row["shop_id"], row["part_no"]))
    chosen = st.selectbox(
        "Shop and part", list(listed), index=list(listed).index(own), key=f"stock_{own}"
    )
    if chosen != own:
        st.query_params["shop"], st.query_params["part"] = listed[chosen]
        st.rerun()


def _weeks(one: OnePart, stem: str) -> None:
    columns = {
        "Week": "week",
        "Ends on": lambda r: day(r["ends_on"]),
        "Asked for in it, expected": lambda r: expected(r["need"]),
        "From today": lambda r: (
            f"{expected(r['need_by_then'])}, likely {r['need_low']} to {r['need_high']}"
        ),
        "Parts coming": "arrives",
        "On the shelf at its end, expected": lambda r: number(r["on_shelf"], digits=1),
        "A need unmet, no order, in 100": lambda r: unmet(r["short_now"]),
        "With orders, in 100": lambda r: unmet(r["short_after"]),
        "To order at its end, expected": "order_expected",
    }
    st.html(tag("h3", "Week by week"))
    show_chart(
        partial(weeks_chart, one.weeks),
        weeks_reading(one.weeks, one.row),
        one.weeks,
        columns,
        name=f"parts_by_week_{stem}",
    )


def _who_asks(one: OnePart, stem: str) -> None:
    st.html(tag("h3", "Who may ask for it"))
    st.html(bullets(walk_in_words(r) for r in one.walk_ins.to_dict("records")))
    if one.asking.empty:
        surround.nothing("No sensor in service whose chance is known is on record for it here.")
        return
    surround.show_cautions(whole=False)
    days = counted(int(one.asking["days"].iloc[0]), "day")
    rows = one.asking.head(ASKING_SHOWN)
    columns = {
        "Bike": lambda r: to_bike(r["unit_id"], r["label"]),
        "Sensor": lambda r: identifier(r["sensor_id"]),
        "Part on it": lambda r: identifier(r["part_no"]),
        f"Asks within {days}, in 100": lambda r: in_100(min(r["need"], 0.999)),
    }
    caption = (
        f"The {counted(len(rows), 'sensor')} of {len(one.asking)} likeliest to ask within {days}, "
        "by a failure heard of or by planned work. What to do about each stands on its bike's page."
    )
    st.html(table(rows, columns, caption))
    save_csv(one.asking, f"who_may_ask_{stem}")


def _transfers(shown: records.Shown, view: StockView) -> None:
    own, is_planned = own_shops(shown), len(view.transfers) or len(view.pools)
    if is_planned or own:
        surround.heading("Between shops")
    if is_planned:
        _planned_between(view)
    if own:
        consent_part(shown, own)


def _planned_between(view: StockView) -> None:
    names = dict(zip(view.rows["shop_id"], shop_names(view.rows), strict=True))
    if len(view.transfers):
        columns = {
            "Part": lambda r: identifier(r["part_no"]),
            "From": lambda r: names.get(r["from_shop"], r["from_shop"]),
            "To": lambda r: names.get(r["to_shop"], r["to_shop"]),
            "Parts": "parts",
        }
        st.html(table(view.transfers, columns, "To pass on before anything is ordered."))
        save_csv(view.transfers, "parts_to_pass_on")
    else:
        surround.nothing("Nothing to pass on today.")
    st.html(
        bullets(
            f"Part {r['part_no']} ({', '.join(names.get(s, s) for s in r['shops'].split(', '))}): "
            f"one shared stock would aim at {r['as_one']}, the shops apart at {r['apart']}."
            for r in view.pools.to_dict("records")
            if r["as_one"] < r["apart"]
        )
    )


def _last_buys(view: StockView) -> None:
    if view.last_buys.empty:
        return
    surround.heading("Going out of supply, with no number in its place")
    names = dict(zip(view.rows["shop_id"], shop_names(view.rows), strict=True))
    st.html(
        bullets(
            f"{names[r['shop_id']]}, part {r['part_no']}: "
            f"{last_buy_words(r, view.about['currency'])}"
            for r in view.last_buys.to_dict("records")
        )
    )
    save_csv(view.last_buys, "last_orders")


def _left_out(left_out: pd.DataFrame) -> None:
    if left_out.empty:
        return
    surround.heading("Left out")
    columns = {
        "Bike": lambda r: to_bike(r["unit_id"], r["label"]),
        "Sensor": lambda r: identifier(r["sensor_id"]),
        "Part": lambda r: identifier(r["part_no"]),
        "Shop": "shop_name",
    }
    many = counted(len(left_out), "sensor")
    caption = f"{many} whose chance of a need is not known, so that none of it counts above."
    st.html(fold(f"{many} without a chance", table(left_out, columns, caption)))


if __name__ == "__main__":
    surround.page(show)
