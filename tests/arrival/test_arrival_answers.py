"""Questions as data, answers, and whatever is none of them."""

from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tickover.arrival import QUESTIONS, Answers, answers_of
from tickover.arrival.answers import Before, Complaint, Danger, parse_code
from tickover.arrival.words import question_lines
from tickover.errors import InputError


def test_questions_and_answers_have_the_same_values():
    several = {"danger": Danger, "complaint": Complaint, "before": Before}
    for question in QUESTIONS:
        if question.form == "one":
            allowed = get_args(Answers.model_fields[question.name].annotation)
            assert set(allowed) == {*question.values, "not known"}
        elif question.form == "several":
            assert get_args(several[question.name]) == question.values
            assert question.alone in question.values
        assert len(question.options) <= 9  # one key each
    assert {q.name for q in QUESTIONS} == set(Answers.model_fields)
    assert len(QUESTIONS) <= 16  # a minute, at four seconds each


def test_everything_may_be_left_open():
    open_ = answers_of(f"{q.name}=not known" for q in QUESTIONS)
    assert open_ == Answers()
    assert open_.codes is None


def test_several_answers_keep_the_order_of_the_question():
    assert answers_of(["complaint=stalls, high"]).complaint == ("high", "stalls")
    assert answers_of(["complaint=stalls", "complaint=high"]).complaint == ("high", "stalls")
    assert answers_of(["codes=p0505,P0300,P0505"]).codes == ("P0505", "P0300")
    assert answers_of(["codes=none"]).codes == ()
    assert answers_of(["codes=not read"]).codes is None


@pytest.mark.parametrize(
    ("pair", "named"),
    [
        ("lamp=drak", ("“drak”", "“lamp”", "Did you mean “dark”", "not known")),
        ("lmap=dark", ("“lmap”", "Did you mean lamp")),
        ("lamp", ("“lamp” is no answer", "name=value")),
        ("codes=505", ("“505”", "P0505")),
        ("codes=none,P0505", ("none",)),
        ("before=nothing,battery", ("nothing", "battery")),
        ("complaint=loud", ("“loud”", "“complaint”", "hunts")),
    ],
)
def test_a_bad_answer_is_named_with_the_way_out(pair, named):
    with pytest.raises(InputError) as caught:
        answers_of([pair])
    for words in named:
        assert words in str(caught.value)


def test_two_answers_where_one_is_asked():
    with pytest.raises(InputError, match="answered twice"):
        answers_of(["lamp=dark", "lamp=lit"])


@pytest.mark.parametrize("bad", [{"drive": 3}, {"drive": None}, {"before": 7}, {"car": 1}, {"codes": (5,)}, {"x": "y"}])
def test_the_model_refuses_as_clearly(bad):
    with pytest.raises(InputError):
        Answers(**bad)


@given(st.text(max_size=8))
def test_codes_are_codes_or_refused(text):
    shape = text.strip().upper()
    good = len(shape) == 5 and shape[0] in "PBCU" and shape[1] in "0123" and set(shape[2:]) <= set("0123456789ABCDEF")
    if good:
        assert parse_code(text) == shape
    else:
        with pytest.raises(InputError, match="no trouble code"):
            parse_code(text)


def test_answers_come_back_from_json():
    given_ = answers_of(["complaint=high,hangs", "codes=P0505", "before=cleaned", "car=a 2,0 of  2009"])
    assert Answers.model_validate_json(given_.model_dump_json()) == given_
    assert given_.car == "a 2,0 of 2009"


def test_every_question_is_listed_with_its_values():
    text = "\n".join(line.text for line in question_lines())
    for question in QUESTIONS:
        assert question.ask in text
        assert all(value in text for value in question.values)
