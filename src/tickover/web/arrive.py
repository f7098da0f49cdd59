"""Arrive on a page: a few questions first, the others folded with what they withhold; story, ladder, reasons."""

from __future__ import annotations

from typing import Annotated, Any

import anyio
from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, ConfigDict, Field

from tickover.arrival import QUESTIONS, Arrival, answers_of, arrive
from tickover.arrival.answers import Answers
from tickover.arrival.questions import BY_NAME, NOT_KNOWN, Question
from tickover.errors import InputError
from tickover.results import Envelope, envelope
from tickover.visit.arriving import answers_told, open_questions, shop_rates
from tickover.visit.cars import check_car
from tickover.visit.drafts import Draft, arrival_drafts
from tickover.visit.measuring import car_of
from tickover.web import forms
from tickover.web.site import Site
from tickover.web.views import Seen
from tickover.web.work_pages import JobNumber

CAR_FIELDS = ("shop", "year", "fuel", "displacement_l", "cylinders", "complaint", "normal")
LABELS = {
    "year": "Year",
    "fuel": "Fuel",
    "displacement_l": "Engine, litres",
    "cylinders": "Cylinders",
}
"""What the form calls the values that are judged."""

MOST_REMEMBERED = 100
"""Sets of answers for which what is withheld is remembered; a tenth of a second each to work out."""

FIRST = ("drive", "danger", "complaint", "before")
"""Asked at once: without these four nothing can be said. The others are folded."""


class Told(BaseModel):
    """What came in.

    Attributes:
        answers: name of a question to its answers; left out is not known.
        car: year, fuel, displacement_l, cylinders, shop, complaint, normal (two figures), each optional.
        upto: number of the newest entry that was seen when it was told; None where nobody said.
        by: who.
    """

    model_config = ConfigDict(extra="forbid")

    answers: dict[
        Annotated[str, Field(max_length=40)],
        Annotated[list[Annotated[str, Field(max_length=forms.MOST_TEXT)]], Field(max_length=40)],
    ] = Field(default_factory=dict, max_length=40)
    car: dict[Annotated[str, Field(max_length=40)], str | float | list[float]] = Field(
        default_factory=dict, max_length=20
    )
    upto: forms.Upto = None
    by: str = Field(default="", max_length=80)


def take_in(site: Site, job: int, told: Told) -> Arrival:
    """Work out the arrival and keep it.

    Raises: InputError for an answer that there is not, a car that cannot be, or where another answer came meanwhile;
        UnknownJobError.
    """
    pairs = [f"{name}={','.join(values)}" for name, values in told.answers.items() if any(values)]
    answers = answers_of(pairs)
    said = car_said(told.car)
    library = site.library()
    with site.opened() as store:
        entries = store.current(job)
        forms.still_newest(entries, told.upto, "arrive", "answers")
        found = arrive(answers, library, shop_rates(store, entries, answers, library, site.clock()))
        drafts = list(arrival_drafts(found))
        car = car_of(entries)
        if said and {**car, **said} != car:
            drafts.insert(0, Draft("arrive", "car", {**car, **said}))
        site.keep(store, job, drafts, by=told.by)
    return found


def car_said(car: dict[str, str | float | list[float]]) -> dict[str, Any]:
    """What was told of the car, figures as figures.

    Raises: InputError for a field that there is not, or a figure that cannot be.
    """
    out: dict[str, Any] = {}
    for name, value in car.items():
        if name not in CAR_FIELDS:
            raise InputError(f"nothing of a car is called “{name}”", way_out=f"There are: {', '.join(CAR_FIELDS)}.")
        if value in ("", []):
            continue
        if name == "normal":
            if not isinstance(value, list) or len(value) != 2:
                raise InputError("the normal idle is two figures", way_out="Give them like [650, 750].")
            out[name] = list(forms.normal_of(value[0], value[1]) or ())
        elif name in LABELS:
            out[name] = value
        elif not isinstance(value, str) or len(value) > forms.MOST_TEXT:
            raise InputError(f"{name} is text of {forms.MOST_TEXT} letters at most", way_out="Write it in words.")
        else:
            out[name] = value.strip()
    return check_car(out, labels=LABELS).car


def panel(seen: Seen) -> dict[str, Any]:
    """Questions for the form; what was found, where it was told."""
    newest = {kind: entry.data for kind, entry in seen.newest("arrive").items()}
    entries = seen.stage("arrive").entries
    answers = answers_told(entries)
    given = answers.model_dump(mode="json") if answers is not None else {}
    story = newest.get("story")
    withheld = _withheld(seen, answers) if answers is not None else {}
    return {
        "first": tuple(BY_NAME[n] for n in FIRST),
        "rest": tuple(q for q in QUESTIONS if q.name not in FIRST),
        "open": sum(q.name not in FIRST and _open(q, answers) for q in QUESTIONS),
        "withheld": withheld,
        "answers": given,
        "car": newest.get("car", {}),
        "story": story,
        "stops": story.get("stops", []) if story else [],
        "ladder": newest.get("ladder"),
    }


def _withheld(seen: Seen, answers: Answers) -> dict[str, str]:
    """What each open question withholds; worked out once for the same answers and the same routines."""
    key = (answers.model_dump_json(), repr(seen.library))
    memo = seen.site.memo
    if key not in memo:
        if len(memo) >= MOST_REMEMBERED:
            memo.clear()
        memo[key] = {q.name: q.sentence for q in open_questions(answers, seen.library)}
    return memo[key]


def _open(question: Question, answers: Answers | None) -> bool:
    return answers is None or getattr(answers, question.name) in (NOT_KNOWN, (), "", None)


def routes(site: Site) -> APIRouter:
    """The form and its twin."""
    router = APIRouter()

    @router.post("/jobs/{job}/arrive", include_in_schema=False)
    async def arrive_form(request: Request, job: JobNumber) -> RedirectResponse:
        async with request.form(max_files=0, max_fields=120) as form:
            answers: dict[str, list[str]] = {}
            car: dict[str, str | float | list[float]] = {}
            for name, value in form.multi_items():
                if not isinstance(value, str) or not value.strip():
                    continue
                if name.startswith("car."):
                    car[name.removeprefix("car.")] = value.strip()
                elif name not in {"by", "upto"}:
                    answers.setdefault(name, []).append(value.strip())
            upto, by = forms.text_of(form, "upto") or None, forms.text_of(form, "by")
            told = forms.told(Told, answers=answers, car=car, upto=upto, by=by)
        await anyio.to_thread.run_sync(take_in, site, job, told)
        return RedirectResponse(f"/jobs/{job}#stage-1", status_code=303)

    @router.post("/api/jobs/{job}/arrive", summary="Tell what came in; stop signs, story and ladder come back")
    def arrive_api(job: JobNumber, told: Told) -> Envelope:
        found = take_in(site, job, told)
        return envelope("arrive", found, inputs={"job": job}, rests_on=found.rests_on)

    return router
