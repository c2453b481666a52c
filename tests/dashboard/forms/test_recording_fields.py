"""What was said of a recording becomes a choice: only what its kind of file asks for counts."""

from dashboard.forms.recording_fields import choice_of, roles, worth_remembering
from pipeline.intake.loggers.recording import SCALE, TIME, LogChannel, LogLook


def _look(*names: str, asks: str = "", likely=None, own_names: bool = False) -> LogLook:
    channels = tuple(LogChannel(name, name) for name in names)
    asked = frozenset([asks] if asks else [])
    return LogLook("some file", channels, asked, likely or {}, own_names=own_names)


def test_what_channels_can_stand_for_hangs_on_the_kind_of_file():
    assert roles(_look("a", "b", asks=TIME)) == ("t_s", "signal", "signal_b", "travel_pct")
    assert roles(_look("a", "b")) == ("signal", "signal_b", "travel_pct")
    assert roles(_look("left", "right", asks=SCALE)) == ("signal", "signal_b")
    assert roles(_look("channel 1", asks=SCALE)) == ("signal",)


def test_channels_chosen_stand_and_what_is_likely_where_none_is():
    look = _look("a", "b", likely={"signal": "a"})
    assert choice_of(look, {"place_signal": "b"}.get).columns == {"signal": "b"}
    assert choice_of(look, {"place_signal": "gone"}.get).columns == {"signal": "a"}


def test_milliseconds_count_only_where_a_time_is_asked_for():
    assert choice_of(_look("a", asks=TIME), {"times_in": "ms"}.get).time_in_ms
    assert not choice_of(_look("a"), {"times_in": "ms"}.get).time_in_ms


def test_a_scale_nobody_stated_stays_unknown():
    look = _look("left", asks=SCALE)
    blank = choice_of(look, {}.get)
    assert (blank.volts_at_full_scale, blank.offset_v, blank.keeps_levels) == (None, 0.0, None)
    said = choice_of(look, {"full_scale_v": 5.2, "zero_v": 0.1, "levels": "lost"}.get)
    assert (said.volts_at_full_scale, said.offset_v, said.keeps_levels) == (5.2, 0.1, False)


def test_only_names_of_the_shop_s_own_are_worth_remembering():
    columns = {"t_s": "t_s", "signal": "probe", "signal_b": "column 3"}
    assert worth_remembering(_look(own_names=True), columns) == {"probe": "signal"}
    assert worth_remembering(_look(), columns) == {}
