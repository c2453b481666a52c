"""The page of a bench test in each of its states, on made-up views."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

import dashboard
from dashboard import records
from dashboard.parts import job_sheet_part, sweep_records
from dashboard.prints.job_sheet import job_sheet
from dashboard.shown_as import DEFAULT
from dashboard.wording import pending_words
from pipeline.access import sweep_traces, views
from pipeline.access.entered import pending_sweep, pending_test
from pipeline.access.reading import NotThereError
from pipeline.home import Home
from pipeline.jobs import take_up
from pipeline.jobs.how_far import HowFar
from pipeline.jobs.take_up import NotTakenUp
from tests.askers import HERE
from tests.dashboard import fake_sweeps as sweeps
from tests.dashboard import fake_views as fakes

APP = Path(dashboard.__file__).with_name("app.py")
PASSES = "passes_over_travel"


def not_published(*_: object):
    raise NotThereError("The published records hold no sweep of that test.")


@pytest.fixture(autouse=True)
def asked(monkeypatch, tmp_path) -> list[tuple]:
    """What was asked of the sweep; each test has a home of its own."""
    seen: list[tuple] = []

    def window(home, asker, session_id, from_s, to_s):
        seen.append((session_id, from_s, to_s))
        return sweeps.window(from_s, to_s)

    monkeypatch.setenv("WEAR_ATLAS_HOME", str(tmp_path))
    monkeypatch.setattr(views, "current_version", lambda home: 1)
    monkeypatch.setattr(views, "session_view", lambda home, asker, name: fakes.session_view(name))
    monkeypatch.setattr(sweep_traces, "sweep_window", window)
    monkeypatch.setattr(
        sweep_traces, "sweep_over_travel", lambda home, asker, name: sweeps.over_travel(name)
    )
    monkeypatch.setattr(
        sweep_traces, "overlay_tests", lambda home, asker, test: sweeps.overlay_tests()
    )
    return seen


def shows(monkeypatch, view) -> None:
    monkeypatch.setattr(views, "session_view", lambda home, asker, name: view)


def opened(**query: str) -> AppTest:
    app = AppTest.from_file(str(APP), default_timeout=20)
    for name, value in ({"session": "T-001"} | query).items():
        app.query_params[name] = value
    app.switch_page("pages/session.py").run()
    assert not app.exception
    return app


def text_of(app: AppTest) -> str:
    return "\n".join(
        element.proto.body for element in app.get("html") if "<style>" not in element.proto.body
    )


def charts(app: AppTest) -> int:
    return len(app.get("vega_lite_chart"))


def press(app: AppTest, key: str) -> AppTest:
    app.button(key=key).click().run()
    assert not app.exception
    return app


# The trace


def test_a_part_typed_in_is_read_anew_and_says_how_much_of_it_is_drawn(asked):
    app = opened()
    assert asked == []
    app.number_input(key="trace_from_T-001").set_value(1.0)
    app.number_input(key="trace_to_T-001").set_value(2.5)
    text = text_of(press(app, "trace_typed_T-001"))
    assert asked == [("T-001", 1.0, 2.5)]
    assert "From 1 s to 2.5 s: 2 drop-outs (number 1, 2)." in text
    assert "samples recorded there are drawn." in text


def test_a_long_part_says_that_it_is_thinned(monkeypatch):
    monkeypatch.setattr(
        sweep_traces,
        "sweep_window",
        lambda home, asker, name, from_s, to_s: sweeps.window(from_s, to_s, recorded=30_000),
    )
    text = text_of(press(opened(), "trace_near_T-001"))
    assert "of the 30,000 samples recorded there are drawn, every extreme among them." in text


def test_buttons_move_the_part_and_lead_back_to_the_whole(asked):
    app = press(opened(), "trace_near_T-001")
    for key in ("on", "back", "far"):
        if not app.button(key=f"trace_{key}_T-001").disabled:
            press(app, f"trace_{key}_T-001")
    assert all(0.0 <= start < end <= 4.0 for _, start, end in asked)
    assert asked[0] == ("T-001", 1.0, 3.0)
    text = text_of(press(press(app, "trace_near_T-001"), "trace_whole_T-001"))
    assert "The sweep lasts 4 s" in text
    assert app.button(key="trace_whole_T-001").disabled


def test_ends_typed_the_wrong_way_round_or_as_one_still_give_a_part(asked):
    app = opened()
    app.number_input(key="trace_from_T-001").set_value(3.0)
    app.number_input(key="trace_to_T-001").set_value(1.0)
    press(app, "trace_typed_T-001")
    assert asked[-1] == ("T-001", 1.0, 3.0)
    app.number_input(key="trace_from_T-001").set_value(4.0)
    app.number_input(key="trace_to_T-001").set_value(4.0)
    press(app, "trace_typed_T-001")
    _, start, end = asked[-1]
    assert end == 4.0
    assert end - start == pytest.approx(0.02)


def test_samples_that_are_gone_leave_the_thinned_trace_and_a_word(monkeypatch):
    monkeypatch.setattr(sweep_traces, "sweep_window", not_published)
    monkeypatch.setattr(pending_sweep, "pending_sweep_window", not_published)
    text = text_of(press(opened(), "trace_near_T-001"))
    assert "drawn from the thinned trace" in text


def test_the_whole_is_a_still_picture_until_a_part_is_to_be_drawn_over_it():
    app = opened()
    before = charts(app)
    assert text_of(app).count('class="wa-plot-mark"') == 2
    app = press(app, "trace_draw_T-001")
    assert charts(app) == before + 1
    assert 'class="wa-plot"' not in text_of(app)
    assert app.button(key="trace_draw_T-001").disabled
    app = press(press(app, "trace_near_T-001"), "trace_whole_T-001")
    assert charts(app) == before
    assert 'class="wa-plot"' in text_of(app)


# Drop-out by drop-out


def test_one_steps_from_drop_out_to_drop_out_and_the_address_follows(asked):
    app = opened()
    assert app.button(key="dropout_before").disabled
    press(app, "dropout_next")
    assert app.query_params["dropout"] == "1"
    assert asked[-1] == ("T-001", pytest.approx(0.8), pytest.approx(1.21))
    text = text_of(app)
    assert "Drop-out 1 of 2: at 1 s and 22 ± " in text
    assert "in the 200 ms before it" in text
    press(app, "dropout_next")
    assert app.query_params["dropout"] == "2"
    assert app.button(key="dropout_next").disabled
    press(app, "dropout_before")
    assert "Drop-out 1 of 2" in text_of(app)


def test_a_drop_out_can_be_picked_and_let_go_again():
    app = opened()
    before = charts(app)
    picked = app.selectbox(key="dropout_picked")
    picked.select(picked.options[2]).run()
    assert app.query_params["dropout"] == "2"
    assert charts(app) == before + 1
    picked = app.selectbox(key="dropout_picked")
    picked.select(picked.options[0]).run()
    assert "dropout" not in app.query_params
    assert charts(app) == before


def test_an_address_opens_at_its_drop_out_or_says_that_there_is_none():
    assert "Drop-out 2 of 2" in text_of(opened(dropout="2"))
    assert "This sweep has no drop-out number 9." in text_of(opened(dropout="9"))


def test_no_drop_out_is_not_told_as_sound(monkeypatch):
    shows(monkeypatch, fakes.session_view(dropouts=fakes.dropouts(0)))
    text = text_of(opened())
    assert "which does not show that there is none: see what it could have missed" in text


# Passes over the travel and an earlier test


def with_passes(app: AppTest) -> AppTest:
    app.session_state[PASSES] = True
    app.run()
    assert not app.exception
    return app


def test_passes_are_laid_over_the_travel_only_once_opened(monkeypatch):
    read = []
    monkeypatch.setattr(
        sweep_traces,
        "sweep_over_travel",
        lambda home, asker, name: read.append(name) or sweeps.over_travel(name),
    )
    app = opened()
    assert read == []
    before = charts(app)
    app = with_passes(app)
    assert read == ["T-001"]
    assert charts(app) == before + 1
    assert "2 opening and 2 closing passes" in text_of(app)
    app.selectbox(key="passes_drawn_T-001").select(
        "Departure from the straight line, enlarged"
    ).run()
    assert not app.exception


def test_an_earlier_test_is_laid_behind_and_named_with_its_sensor():
    app = with_passes(opened())
    before = charts(app)
    choice = app.selectbox(key="overlay_T-001")
    assert choice.options == [
        "No other test",
        "2025-09-01, test E-0: nothing seen",
        "2025-08-01, test E-1, the sensor before (S-0): nothing seen",
    ]
    choice.select(choice.options[1]).run()
    assert not app.exception
    assert charts(app) == before + 1  # the roughness of both
    text = text_of(app)
    assert 'href="session?session=E-0"' in text
    assert "judged in both tests" in text


def test_where_nothing_can_be_laid_over_that_is_said(monkeypatch):
    none = sweeps.overlay_tests(1).iloc[:0]
    monkeypatch.setattr(sweep_traces, "overlay_tests", lambda home, asker, test: none)
    assert "There is no earlier sweep in the same channel" in text_of(with_passes(opened()))


def test_a_position_not_known_is_said(monkeypatch):
    blank = sweeps.over_travel(passes=sweeps.passes().iloc[:0])
    monkeypatch.setattr(sweep_traces, "sweep_over_travel", lambda home, asker, name: blank)
    assert "The position is not known" in text_of(with_passes(opened()))


# Channels, kinds, tracks


@pytest.mark.parametrize(("channel", "unit"), [("percent", "%"), ("ohm", "ohm"), (None, None)])
def test_each_channel_is_drawn_in_its_own_unit(monkeypatch, channel, unit):
    view = fakes.session_view()
    view.session["sweep_channel"] = channel
    shows(monkeypatch, replace(view, places=view.places.iloc[:0], travel_band=view.travel_band[:0]))
    app = opened(dropout="1")
    assert f"Sweep: signal over time, {unit or 'unit not recorded'}" in text_of(app)


def test_a_second_track_is_drawn_and_told(monkeypatch):
    two = fakes.trace().assign(signal_b=1.0)
    both = fakes.dropouts(2).assign(track="both")
    shows(monkeypatch, fakes.session_view(trace=two, dropouts=both))
    app = opened(dropout="1")
    assert "unbroken: signal; broken: second track" in text_of(app)
    assert "in both tracks at once" in text_of(app)
    app = press(app, "trace_draw_T-001")
    assert any("second track" in chart.proto.spec for chart in app.get("vega_lite_chart"))


def test_a_contactless_sensor_has_no_track_to_wear(monkeypatch):
    view = fakes.session_view(wear=fakes.wear_at_test(life_id=None))
    view.session["kind"] = "contactless"
    shows(monkeypatch, view)
    text = text_of(opened())
    assert "contactless" in text
    assert "This sensor has no track" in text


def test_without_a_sweep_nothing_is_drawn_and_nothing_is_promised(monkeypatch):
    shows(monkeypatch, fakes.session_without_sweep())
    app = opened()
    assert charts(app) == 0
    assert "nothing is known here about drop-outs or roughness" in text_of(app)
    assert "There is no sweep to bear this out" in text_of(app)


# A test just entered


@pytest.fixture
def just_entered(monkeypatch):
    monkeypatch.setattr(views, "session_view", not_published)
    view = fakes.session_view("N-1", in_records=False)
    monkeypatch.setattr(pending_test, "pending_session_view", lambda home, asker, name: view)
    monkeypatch.setattr(sweep_traces, "sweep_window", not_published)
    monkeypatch.setattr(
        pending_sweep, "pending_sweep_window", lambda home, asker, name, *ends: sweeps.window(*ends)
    )
    monkeypatch.setattr(
        pending_sweep, "pending_over_travel", lambda home, asker, view: sweeps.over_travel("N-1")
    )
    return monkeypatch


def test_a_test_just_entered_is_shown_and_says_what_does_not_hold_it_yet(just_entered):
    waits = NotTakenUp(1, None, building=False, failed="")  # no time, so that no build is begun
    just_entered.setattr(take_up, "not_taken_up", lambda home, now=None: waits)
    text = text_of(opened(session="N-1"))
    said = text.index("The worklist, the plans and the good ranges do not hold it yet.")
    assert said < text.index("Before any work on a bike")
    assert "A build begins by itself once nothing has been entered for 20 seconds" in text
    assert "Drop-outs seen" in text
    assert "shown once the records hold this test" in text


def test_its_parts_its_passes_and_earlier_tests_can_be_seen_at_once(just_entered):
    app = press(opened(session="N-1", dropout="1"), "trace_near_N-1")
    text = text_of(app)
    assert "samples recorded there are drawn." in text
    assert "samples within the drop-out" in text or "sample within the drop-out" in text
    app = with_passes(app)
    choice = app.selectbox(key="overlay_N-1")
    choice.select(choice.options[1]).run()
    assert not app.exception
    assert "judged in both tests" in text_of(app)


def test_a_test_in_the_records_says_nothing_of_waiting():
    assert "do not hold it yet" not in text_of(opened())


@pytest.mark.parametrize(
    ("waiting", "said"),
    [
        (NotTakenUp(1, None, building=True, failed=""), "A build is under way: once"),
        (
            NotTakenUp(1, None, True, "", HowFar("Measuring sweeps", 312, 1_088, "sweep", 41.2)),
            "way (measuring sweeps, 28 % done, about 41 seconds left of this step): once",
        ),
        (NotTakenUp(1, None, True, "", HowFar("Estimating risk")), "way (estimating risk): once"),
        (NotTakenUp(1, None, building=False, failed="no space."), "without publishing: no space. "),
        (NotTakenUp(0, None, building=False, failed=""), "newer records, published just now"),
        (NotTakenUp(2, None, building=False, failed=""), "once nothing has been entered for 20 s"),
        (NotTakenUp(1, None, False, "", stopped=True), "begun for it was stopped. The test stays"),
        (NotTakenUp(0, None, True, "", HowFar("Estimating risk")), "newer records, published"),
    ],
)
def test_when_the_records_will_hold_it_is_said_as_things_stand(waiting, said):
    assert said in pending_words.taken_up_words(waiting)


# The job sheet


def test_the_job_sheet_is_offered_in_two_forms_and_made_only_when_asked_for(monkeypatch):
    made = []
    monkeypatch.setattr(job_sheet_part, "_made", lambda kind, *of: made.append(kind) or b"")
    app = opened()
    keys = {button.proto.id.rsplit("-", 1)[-1] for button in app.get("download_button")}
    assert {"job_sheet_pdf", "job_sheet_html"} <= keys
    assert made == []


def test_the_job_sheet_is_kept_for_each_test_version_and_way_to_show_values(tmp_path):
    shown = records.Shown(Home(tmp_path), 1, HERE)
    view = fakes.session_without_sweep("T-1")

    def made(shown=shown, label="bike 1", chosen=DEFAULT, kind="html") -> bytes:
        sheet = job_sheet(replace(view, session=view.session | {"label": label}))
        return job_sheet_part.made(kind, shown, view, sheet, chosen)

    assert b"bench test T-1" in made()
    assert made(label="another") == made()
    assert b"bike another" in made(replace(shown, version=2), "another")
    assert b"bike third" in made(label="third", chosen=replace(DEFAULT, distances="miles"))
    assert made(kind="pdf").startswith(b"%PDF")


def test_the_job_sheet_counts_in_the_readers_unit(monkeypatch, tmp_path):
    sheets = []
    monkeypatch.setattr(
        job_sheet_part, "job_sheet", lambda view: sheets.append(job_sheet(view)) or sheets[-1]
    )
    (tmp_path / "settings.toml").write_text('[shown]\ndistances = "miles"\n')
    opened()
    said = "\n".join(str(part) for part in sheets[-1].parts)
    assert "('Odometer', '0 miles')" in said
    assert "odometer at hand-over, miles" in said


def test_sweep_records_are_asked_of_the_other_place_once_a_build_has_come_between(
    monkeypatch, tmp_path
):
    shown = records.Shown(Home(tmp_path), 1, HERE)
    monkeypatch.setattr(pending_sweep, "pending_sweep_window", not_published)
    view = fakes.session_view("N-2", in_records=False)
    assert sweep_records.window(shown, view, 0.0, 1.0).is_whole
