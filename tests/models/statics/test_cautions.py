import pytest

from models.statics.bands import BANDS
from models.statics.cautions import CAUTIONS, RELEARN_REMINDER, next_look
from models.statics.checks import check_readings

IN_RANGE = {
    "supply_v": 5.01,
    "supply_to_ground_v": 4.99,
    "track_ohm": 4600.0,
    "closed_v": 0.60,
    "open_v": 4.40,
    "closed_pct": 0.2,
    "open_pct": 99.8,
    "corrosion": "none",
    "wiggle_test": "steady",
    "fault_codes": None,
}
MAKER = {
    "maker_closed_v_low": 0.5,
    "maker_closed_v_high": 0.7,
    "maker_open_v_low": 4.2,
    "maker_open_v_high": 4.6,
}


@pytest.fixture
def look(bench_tests):
    def of(fault_nature=None, **changed):
        checks = check_readings(bench_tests(IN_RANGE | MAKER | changed), BANDS.empty())
        return next_look(checks, fault_nature=fault_nature)

    return of


def place(sentences, words):
    return next(number for number, sentence in enumerate(sentences) if words in sentence)


@pytest.mark.parametrize(
    "words",
    [
        "Engine off",
        "stand",
        "Ignition off before",
        "move by themselves when powered",
        "maker's procedure",
        "relearn",
        "qualified technician",
        "never declares a bike safe",
    ],
)
def test_the_usual_cautions_are_there(words):
    assert any(words in caution for caution in CAUTIONS)


def test_supply_then_ground_then_plug_then_sensor(look):
    sentences = look(
        supply_v=4.4,
        supply_to_ground_v=4.0,
        corrosion="heavy",
        wiggle_test="jumps",
        open_v=3.0,
        fault_nature="worn_track",
    )
    order = ["Supply 4.400 V", "Ground difference", "Heavy corrosion", "jumps", "worn track"]
    places = [place(sentences, words) for words in order]
    assert places == sorted(places)
    assert place(sentences, "test again before the sensor is replaced") > places[-1]


def test_the_relearn_reminder_stands_last(look):
    assert look()[-1] == RELEARN_REMINDER
    assert look(supply_v=4.0)[-1] == RELEARN_REMINDER


def test_nothing_outside_is_no_clean_bill(look):
    sentences = look()
    assert "does not show that the sensor is sound" in sentences[0]
    assert not any("sensor is good" in sentence or "safe" in sentence for sentence in sentences)


def test_doubtful_readings_are_settled_first(look):
    sentences = look(supply_v=503.0, corrosion="heavy")
    assert sentences[0].startswith("Settle these readings first")
    assert sentences[1].endswith("?")


def test_what_was_not_read_is_named(look):
    missing = next(s for s in look(supply_v=None, open_v=None) if s.startswith("Not read yet"))
    assert "the supply" in missing
    assert "the open signal" in missing
    assert "the closed signal" not in missing


def test_a_wandering_fault_sends_to_the_lead(look):
    assert place(look("wandering"), "See to the plug and the lead") == 0


def test_an_explained_code_is_read_again(look):
    sentences = look(fault_codes="P0122", unplugged_key_on="yes")
    assert "cleared and comes back" in sentences[0]


def test_two_sessions_are_refused(bench_tests):
    checks = check_readings(bench_tests({}, {}), BANDS.empty())
    with pytest.raises(ValueError, match="one session"):
        next_look(checks)


def test_a_test_that_read_nothing_is_not_told_that_nothing_lies_outside(bench_tests):
    blank = dict.fromkeys(IN_RANGE)
    (sentence, *_) = next_look(check_readings(bench_tests(blank), BANDS.empty()))
    assert "nothing can be said of the sensor" in sentence
    assert "lies outside" not in sentence
