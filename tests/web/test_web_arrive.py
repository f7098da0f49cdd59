"""Arrive on the sheet: few questions at once, the rest folded with what they withhold; the ladder with its reasons."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape

import pytest
from starlette.testclient import TestClient
from web_site import CAR, SCRIPT, client_of, new_job, site_in

from tickover.arrival import QUESTIONS, answers_of, arrive
from tickover.errors import InputError
from tickover.routines import load_library
from tickover.visit.arriving import open_questions
from tickover.visit.cars import check_car
from tickover.web.arrive import FIRST


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    with client_of(site_in(tmp_path_factory.mktemp("record"))) as client:
        assert new_job(client, arrived=False) == 1
        yield client


def legends(html: str) -> list[str]:
    return [unescape(x) for x in re.findall(r"<legend>([^<]+)", html)]


def test_first_come_the_car_danger_complaint_and_what_happened_and_the_rest_is_folded(client: TestClient) -> None:
    job = new_job(client, arrived=False)
    page = client.get(f"/jobs/{job}").text
    first, rest = page.split('<details class="rest">')
    asks = {q.name: q.ask for q in QUESTIONS}
    assert legends(first)[: 1 + len(FIRST)] == ["The car", *(asks[n] for n in FIRST)]
    assert set(legends(rest)) >= {q.ask for q in QUESTIONS if q.name not in FIRST}
    assert f"{len(QUESTIONS) - len(FIRST)} more questions, {len(QUESTIONS) - len(FIRST)} left open" in page


def test_what_an_open_question_withholds_is_found_by_answering_it() -> None:
    library = load_library()
    answers = answers_of(["drive=petrol", "complaint=high", "before=cleaned"])
    found = {q.name: q for q in open_questions(answers, library)}
    now = {r.title for r in arrive(answers, library).ladder.rungs}
    told = arrive(answers_of(["drive=petrol", "complaint=high", "before=cleaned", "throttle=electronic"]), library)
    assert {r.title for r in told.ladder.rungs if r.sort == "routine"} - now <= set(found["throttle"].opens)
    assert found["throttle"].opens
    assert "Answered, it may offer" in found["throttle"].sentence
    assert any(q.stops for q in found.values())  # a flashing lamp, say
    assert "throttle" not in {q.name for q in open_questions(told.answers, library)}


def test_the_form_finds_the_ladder_and_shows_it_with_reasons_and_what_is_withheld(client: TestClient) -> None:
    job = new_job(client, arrived=False)
    form = {
        "car.year": "2007",
        "car.displacement_l": "2,4",
        "car.complaint": "hunts",
        "drive": "petrol",
        "danger": ["none"],
        "complaint": ["high", "hunts"],
        "before": "cleaned",
        "lamp": "",
        "by": "R. H.",
    }
    answer = client.post(f"/jobs/{job}/arrive", data=form)
    assert (answer.status_code, answer.headers["location"]) == (303, f"/jobs/{job}#stage-1")
    page = client.get(f"/jobs/{job}").text
    assert "In this order" in page
    assert "It disturbs" in page
    assert re.search(r"Not offered: \d+, and why", page)
    assert 'class="withheld"' in page
    car = client.get(f"/api/jobs/{job}").json()["result"]
    assert car["car"].startswith("2007")
    entry = [e for e in car["stages"][0]["entries"] if e["kind"] == "car"][-1]
    assert entry["data"] == {"year": 2007, "displacement_l": 2.4, "complaint": "hunts"}  # figures, not text
    assert entry["by"] == "R. H."
    assert re.search(r'value="cleaned" checked', page)  # what was told is still there


def test_a_stop_sign_is_a_caution_and_withholds_every_routine(client: TestClient) -> None:
    job = new_job(client, arrived=False)
    told = {**CAR, "answers": {**CAR["answers"], "danger": ["fuel"]}}
    assert client.post(f"/api/jobs/{job}/arrive", json=told).json()["result"]["stops"]
    page = client.get(f"/jobs/{job}").text
    assert 'class="caution" role="alert"' in page
    assert "In this order" not in page


@pytest.mark.parametrize(
    "form",
    [
        {"drive": "steam"},
        {"colour": "red"},
        {"danger": ["none", "fuel"]},
        {"codes": ["none", "P0505"]},
        {"codes": "hello"},
        {"car.year": "last year"},
        {"car.year": "2007.5"},
        {"car.cylinders": "-4"},
        {"car.cylinders": "40"},
        {"car.displacement_l": "2000"},
        {"car.fuel": "steam"},
        {"car.wheels": "4"},
        {"car.complaint": "x" * 2001},
        {"by": "x" * 81},
    ],
)
def test_an_answer_that_there_is_not_is_told_and_changes_nothing(client: TestClient, form: dict[str, str]) -> None:
    before = client.get("/api/jobs/1/record").json()
    answer = client.post("/jobs/1/arrive", data=form)
    assert answer.status_code == 400, answer.text
    assert 'role="alert"' in answer.text
    assert client.get("/api/jobs/1/record").json() == before


def test_a_script_in_any_field_of_arrive_is_shown_as_text(client: TestClient) -> None:
    job = new_job(client)
    fields = {"car.complaint": SCRIPT, "car.shop": SCRIPT, "car": SCRIPT, "by": SCRIPT}
    form = {"drive": "petrol", "danger": "none", "complaint": "high", "before": "cleaned", **fields}
    assert client.post(f"/jobs/{job}/arrive", data=form).status_code == 303
    for path in (f"/jobs/{job}", "/", f"/jobs/{job}/record"):
        page = client.get(path).text
        assert "<script>alert" not in page
        assert path == "/" or "&lt;script&gt;" in page  # the list names no words of the customer
    for name in ("drive", "car.fuel", "car.year"):
        wrong = client.post(f"/jobs/{job}/arrive", data={name: SCRIPT})
        assert wrong.status_code == 400
        assert "<script>alert" not in wrong.text


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"cylinders": "40"}, "Cylinders: 40 cannot be: a number from 1 to 16 is wanted"),
        ({"year": "2007,5"}, "Year: 2007,5 is no whole number"),
        ({"fuel": "petrl"}, "Fuel: petrl is none that is known"),
    ],
)
def test_a_car_is_judged_as_the_command_line_judges_it_in_the_forms_own_words(
    client: TestClient, said: dict[str, str], words: str
) -> None:
    told = client.post("/api/jobs/1/arrive", json={"car": said}).json()
    assert told["what"] == words
    with pytest.raises(InputError) as command:
        check_car(said)
    name, value = next(iter(said.items()))
    assert command.value.what == words.replace(words[: words.index(value)], f"{name}=", 1)
    kept = client.post("/api/jobs", json={"fuel": " Petrol ", "displacement_l": 2.4}).json()["result"]["job"]
    assert client.get(f"/api/jobs/{kept}/record").json()["result"]["entries"][0]["data"]["fuel"] == "petrol"


def test_of_two_tabs_the_later_one_is_told_and_not_kept(client: TestClient) -> None:
    page = client.get("/jobs/1").text
    seen = page[page.index('name="upto" value="') + 19 :].split('"')[0]
    first = client.post("/jobs/1/arrive", data={"complaint": "high", "upto": seen})
    assert first.status_code == 303, first.text
    before = client.get("/api/jobs/1/record").json()
    late = client.post("/jobs/1/arrive", data={"complaint": "low", "upto": seen})
    assert (late.status_code, "came meanwhile at Arrive" in late.text) == (400, True)
    assert "What you typed is still there" in late.text
    assert client.get("/api/jobs/1/record").json() == before
    again = max(e["seq"] for e in before["result"]["entries"])
    assert client.post("/jobs/1/arrive", data={"complaint": "low", "upto": again}).status_code == 303


def test_answers_that_exclude_each_other_are_told_in_the_pages_own_words(client: TestClient) -> None:
    answer = client.post("/jobs/1/arrive", data={"danger": ["none", "fuel"]})
    assert answer.status_code == 400
    assert "“none of these” cannot stand beside “it smells of fuel”" in answer.text
