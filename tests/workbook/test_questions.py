"""Answers as typed: what is taken, what is refused, and with which sentence."""

from __future__ import annotations

import pytest
import tomlkit
from hypothesis import given
from hypothesis import strategies as st

from fptlib.errors import FormError, FptError
from fptlib.workbook import asked, questions
from fptlib.workbook.questions import CHOICE, DATE, MOMENT, NUMBER, WHOLE, YES, Question, read

ALTITUDE = asked.SITE.questions[2]
TEMPERATURE = Question("t", "Supply", NUMBER, "degF", low=30, high=90)
LIFT = Question("l", "Lift", NUMBER, "degF difference", low=0, high=80)


@pytest.mark.parametrize(("question", "typed", "unit", "saved"), [
    (TEMPERATURE, "44.5", "", 44.5),
    (TEMPERATURE, " 7 ", "degC", 44.6),
    (LIFT, "10", "degC difference", 18.0),
    (ALTITUDE, "4,200", "", 4200.0),
    (ALTITUDE, "1000", "m", 3280.8399),
    (Question("n", "Number", WHOLE), "3", "", 3),
    (Question("y", "Done", YES), "yes", "", True),
    (Question("c", "Choice", CHOICE, choices=("a", "b")), "b", "", "b"),
    (Question("d", "Due", DATE), "2026-01-31", "", "2026-01-31"),
    (Question("m", "At", MOMENT), "2026-01-31 02:15", "", "2026-01-31 02:15"),
    (TEMPERATURE, "   ", "", None),
])
def test_a_good_answer_is_saved_in_the_saved_unit(question, typed, unit, saved):
    assert read(question, typed, unit) == saved


@pytest.mark.parametrize(("question", "typed", "unit", "sentence"), [
    (TEMPERATURE, "warm", "", "Supply: 'warm' is not a number"),
    (TEMPERATURE, "44,5", "", "decimal point, not a comma"),
    (TEMPERATURE, "nan", "", "is not a number"),
    (TEMPERATURE, "4_4", "", "is not a number"),
    (TEMPERATURE, "7", "", "outside what is possible here (30 to 90 °F)"),
    (TEMPERATURE, "44.5", "degC", "44.5 °C is outside"),
    (TEMPERATURE, "44.5", "gpm", "unit 'gpm' cannot be turned into degF"),
    (Question("n", "Chillers", WHOLE), "2.5", "", "not a whole number"),
    (Question("c", "Basis", CHOICE, choices=("a", "b")), "c", "", "choose one of: a, b"),
    (Question("d", "Due", DATE), "31/1/2026", "", "write it as 2026-01-31"),
])
def test_a_wrong_answer_gets_one_sentence(question, typed, unit, sentence):
    with pytest.raises(FptError) as stopped:
        read(question, typed, unit)
    assert sentence in str(stopped.value)
    assert "\n" not in str(stopped.value)


@given(st.floats(30, 90, allow_nan=False))
def test_what_is_shown_reads_back(value):
    assert read(TEMPERATURE, questions.typed(TEMPERATURE, value)) == pytest.approx(value, abs=1e-7)


@given(st.text(max_size=20))
def test_any_text_is_an_answer_or_a_sentence(text):
    try:
        read(TEMPERATURE, text)
    except FptError as stopped:
        assert str(stopped)


def test_a_required_answer_that_is_missing_is_named():
    open_points = asked.SITE.open_points({"site": {"altitude": 100.0}})
    assert open_points == ["Time zone: no answer yet; fill it in, it is marked * on this page"]


ROWS = asked.ABORT
KEYED = asked.PEOPLE


def test_rows_of_an_array_keep_order_and_move():
    held = [{"text": "a"}, {"text": "b"}]
    questions.put_row(ROWS, held, {"text": "c"}, {"text": "b"})
    questions.put_row(ROWS, held, {"text": "d"}, None)
    questions.take_row(ROWS, held, {"text": "a"})
    assert held == [{"text": "c"}, {"text": "d"}]


def test_a_row_that_was_changed_elsewhere_is_not_put_in_a_second_time():
    held = [{"text": "a", "done": True}]
    with pytest.raises(FormError, match="changed or removed elsewhere"):
        questions.put_row(ROWS, held, {"text": "b"}, {"text": "a", "done": False})
    assert held == [{"text": "a", "done": True}]


def test_a_keyed_row_keeps_what_the_form_does_not_ask():
    held = {"technician": {"name": "A", "phone": "1"}}
    row = {"role": "technician", "name": "B"}
    questions.put_row(KEYED, held, row, {"role": "technician", "name": "A"})
    assert held == {"technician": {"phone": "1", "name": "B"}}


def test_a_row_without_a_required_answer_is_refused():
    with pytest.raises(FormError, match="Name: no answer; a person needs it"):
        questions.row_from(KEYED, {"role": ("technician", "")})


def test_every_question_of_every_form_has_a_label_and_a_place_of_its_own():
    forms = [asked.JOB, asked.SITE, asked.PLANT, asked.EXCHANGER, asked.chiller(1),
             asked.approaches(), asked.remarks("enable"), asked.FINDINGS]
    paths = [item.path for form in forms for item in form.questions]
    labels = [item.label for form in forms for item in form.questions]
    assert all(labels) and len(set(paths)) == len(paths)
    assert all(tomlkit.key(path.split(".")) for path in paths)
