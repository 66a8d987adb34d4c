"""An answer as typed and as a file holds it: what is taken, what is refused, in which sentence."""

from __future__ import annotations

from dataclasses import MISSING, dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fptlib.answer import Answer, Kind, answer, answers_of, load, quantity
from fptlib.errors import FormError, FptError, JobError
from fptlib.job.schema import Site

ALTITUDE = answers_of(Site)["altitude"]
TEMPERATURE = Answer("t", "Supply", Kind.NUMBER, "degF", low=30, high=90)
LIFT = Answer("l", "Lift", Kind.NUMBER, "degF difference", low=0, high=80)


@pytest.mark.parametrize(("item", "typed", "unit", "saved"), [
    (TEMPERATURE, "44.5", "", 44.5),
    (TEMPERATURE, " 7 ", "degC", 44.6),
    (LIFT, "10", "degC difference", 18.0),
    (ALTITUDE, "4,200", "", 4200.0),
    (ALTITUDE, "1000", "m", 3280.8399),
    (Answer("n", "Number", Kind.WHOLE), "3", "", 3),
    (Answer("y", "Done", Kind.YES), "yes", "", True),
    (Answer("c", "Choice", Kind.CHOICE, choices=("a", "b")), "b", "", "b"),
    (Answer("d", "Due", Kind.DATE), "2026-01-31", "", "2026-01-31"),
    (Answer("m", "At", Kind.MOMENT), "2026-01-31 02:15", "", "2026-01-31 02:15"),
    (TEMPERATURE, "   ", "", None),
])
def test_a_good_answer_is_saved_in_the_saved_unit(item, typed, unit, saved):
    assert item.read(typed, unit) == saved


@pytest.mark.parametrize(("item", "typed", "unit", "sentence"), [
    (TEMPERATURE, "warm", "", "Supply: 'warm' is not a number"),
    (TEMPERATURE, "44,5", "", "decimal point, not a comma"),
    (TEMPERATURE, "nan", "", "is not a number"),
    (TEMPERATURE, "4_4", "", "is not a number"),
    (TEMPERATURE, "7", "", "outside what is possible here (30 to 90 °F)"),
    (TEMPERATURE, "44.5", "degC", "44.5 °C is outside"),
    (TEMPERATURE, "44.5", "gpm", "unit 'gpm' cannot be turned into degF"),
    (Answer("n", "Chillers", Kind.WHOLE), "2.5", "", "not a whole number"),
    (Answer("c", "Basis", Kind.CHOICE, choices=("a", "b")), "c", "", "choose one of: a, b"),
    (Answer("d", "Due", Kind.DATE), "31/1/2026", "", "write it as 2026-01-31"),
    (Answer("z", "Zone", Kind.ZONE), "America", "", "Zone: 'America' is not a zone of the tz"),
])
def test_a_wrong_answer_gets_one_sentence(item, typed, unit, sentence):
    with pytest.raises(FptError) as stopped:
        item.read(typed, unit)
    assert sentence in str(stopped.value)
    assert "\n" not in str(stopped.value)


@pytest.mark.parametrize(("kind", "typed", "saved"), [
    (Kind.DATE, "1/31/2026", "2026-01-31"), (Kind.DATE, "01/31/26", "2026-01-31"),
    (Kind.DATE, "Jan 31, 2026", "2026-01-31"), (Kind.DATE, "31 january 2026", "2026-01-31"),
    (Kind.MOMENT, "1/31/2026 2:15 AM", "2026-01-31 02:15"),
    (Kind.MOMENT, "2026-01-31 2:15 pm", "2026-01-31 14:15"),
    (Kind.MOMENT, "2026-01-31 02:15", "2026-01-31 02:15"),
    (Kind.CLOCK, "6 AM", "06:00"), (Kind.CLOCK, "14:30", "14:30"),
    (Kind.ZONE, "denver", "America/Denver"), (Kind.ZONE, "us/arizona", "US/Arizona"),
    (Kind.ZONE, "New York", "America/New_York"), (Kind.CLOCK_ZONE, "-07:00", "-07:00"),
])
def test_dates_and_zones_are_typed_as_the_trade_writes_them(kind, typed, saved):
    assert Answer("a", "A", kind).read(typed) == saved


@given(st.floats(30, 90, allow_nan=False))
def test_what_is_shown_reads_back(value):
    assert TEMPERATURE.read(TEMPERATURE.typed(value)) == pytest.approx(value, abs=1e-7)


@given(st.text(max_size=20))
def test_any_text_is_an_answer_or_a_sentence(text):
    try:
        TEMPERATURE.read(text)
    except FptError as stopped:
        assert str(stopped)


@dataclass(frozen=True)
class Tank:
    volume: float = quantity("Volume", "gal", 0, 100, default=MISSING)
    words: tuple[str, ...] = answer("Words", "", Kind.TEXTS, ())
    full: bool = answer("Full", "", Kind.YES, False)


def test_a_table_becomes_an_object():
    assert load(Tank, {"volume": 3, "words": "a", "own note": 1}, "tank") == Tank(3.0, ("a",))
    assert load(Tank, {"volume": 3, "words": ["a", "b"], "full": True}, "tank") == Tank(
        3.0, ("a", "b"), True)


@pytest.mark.parametrize(("stated", "said"), [
    ({}, "job.toml, tank.volume (Volume) is missing; enter it in the plan"),
    ({"volume": "full"}, "job.toml, tank.volume (Volume): 'full' is not a number; write a number "
     "from 0 to 100 gal, without quotes"),
    ({"volume": 101}, "tank.volume (Volume): 101 gal is outside what is possible here (0 to 100"),
    ({"volume": 1, "full": "yes"}, "tank.full (Full): 'yes' is not yes or no; write true or"),
    ({"volume": 1, "colour": "red"}, "tank.colour is not known; the answers there are: volume,"),
    ({"volume": [1]}, "'[1]' is not a number"),
    (["volume"], "job.toml, tank: '['volume']' stands where a table is expected; write its"),
])
def test_a_wrong_table_gets_one_sentence(stated, said):
    with pytest.raises(JobError) as stopped:
        load(Tank, stated, "tank", closed=True)
    assert said in str(stopped.value) and "\n" not in str(stopped.value)


def test_form_and_file_refuse_the_same():
    with pytest.raises(FormError, match="101 gal is outside what is possible here"):
        answers_of(Tank)["volume"].read("101")
