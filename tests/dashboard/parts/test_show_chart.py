"""A chart on a page: its title stands above it as text, and nothing of it is lost."""

from __future__ import annotations

import json

from streamlit.testing.v1 import AppTest


def _page() -> None:
    from dashboard.charts.trace import trace_chart
    from dashboard.parts.show_chart import show_chart
    from tests.dashboard.fake_views import dropouts, trace

    show_chart(
        lambda ink: trace_chart(trace(50), dropouts(1), channel="volt", ink=ink),
        "One sentence.",
        trace(50),
        {"Sample": "sample_no"},
        name="trace",
        hint="Look closely.",
    )


def test_title_and_count_stand_above_the_picture_and_not_in_it():
    app = AppTest.from_function(_page, default_timeout=20).run()
    assert not app.exception
    first, reading = [element.proto.body for element in app.get("html")]
    assert "<strong>Sweep: signal over time, V</strong>" in first
    assert "<span>50 samples drawn; n = 1 drop-out</span>" in first
    assert reading.endswith("One sentence. Look closely.</p>")
    (chart,) = app.get("vega_lite_chart")
    assert "title" not in json.loads(chart.proto.spec)


def test_the_table_is_filled_only_once_it_is_opened():
    app = AppTest.from_function(_page, default_timeout=20).run()
    assert not any("<table" in element.proto.body for element in app.get("html"))
    app.session_state["table_trace"] = True
    app.run()
    assert any("<table" in element.proto.body for element in app.get("html"))
