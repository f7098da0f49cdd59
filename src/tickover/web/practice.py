"""Practice against the simulated car: each attempt is judged, the person is learned, and the odds are told anew.

Nothing goes into a job, and nothing is kept at the server: the page brings what was tapped.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Annotated

import numpy as np
from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse
from pydantic import BaseModel, ConfigDict, Field

from tickover.attempts import ACTS, Attempt, Event, Header, Kind
from tickover.coaching import AttemptJudgement, judge_attempt
from tickover.coaching.practice import practice_lines, practised
from tickover.cues.phone import phone_data
from tickover.errors import InputError, TimingError
from tickover.results import Envelope, Result, envelope
from tickover.routines import CompiledRoutine, Switch
from tickover.routines.chances import odds_of
from tickover.routines.words import percent, percent_range
from tickover.timing.learn import Tap, learn
from tickover.visit.odds import no_odds
from tickover.web.coach_api import RoutineName
from tickover.web.coach_book import Book
from tickover.web.pages import page
from tickover.web.practice_car import LONGEST, Act, Garage, outcome
from tickover.web.practice_picture import WAYS, By, OddsAt, odds_rise
from tickover.web.site import Site

TOUCH_OFF = 0.005
"""A touch is known to about this, standard uncertainty [s]; as the phone's own practice has it."""
ANSWERS_TONE = 1.0
"""A tap further than this from its tone does not answer it, and says nothing of the spread about it [s]. Own choice."""
SHORTEST = 0.03
"""Two taps closer than this are one [s]; as the practice in the terminal has it."""
LEFT_OUT = 3.0
"""An interval this many times as long as it should be was interrupted, and is left out. Own choice."""
PEOPLE = 100
"""Persons drawn for the odds. Own choice; with more the range moves by about a point in hundred."""
SIMULATED_ENOUGH = 900.0
"""Up to this length the car is let run again to see what it made of an attempt [s]: some seconds of work."""

_NO_LINES: tuple[tuple[str, str], ...] = ()

Moment = Annotated[float, Field(ge=0, le=LONGEST)]


class Made(Result):
    """An event of a practice attempt.

    Attributes:
        kind, event: what it was; ``event`` is empty for what the plan does not ask for.
        t: when [s of the attempt].
        aim: when its tone sounded, or was due; None for the car's answers.
    """

    kind: Kind
    event: str = Field(max_length=80)
    t: Moment
    aim: Moment | None = None


class Tried(Result):
    """A practice attempt: how it was timed, what was tapped and answered, and until when it was watched [s]."""

    by: By = "tones"
    made: tuple[Made, ...] = Field(max_length=200)
    ended: Moment


class Practice(BaseModel):
    """All attempts of a practice, the newest last, and the odds told after the earlier ones."""

    model_config = ConfigDict(extra="forbid")

    switch: Switch = "key"
    tried: list[Tried] = Field(min_length=1, max_length=40)
    odds: list[OddsAt] = Field(default_factory=list, max_length=80)


class Drive(BaseModel):
    """What was done to the simulated car so far."""

    model_config = ConfigDict(extra="forbid")

    switch: Switch = "key"
    run: str = Field(pattern="^[A-Za-z0-9-]{1,40}$")
    acts: list[Act] = Field(max_length=200)
    now: Moment


class PracticePlan(Result):
    """What the practice page looks up, as the phone file has it."""

    plan: dict[str, object]


class PracticeTold(Result):
    """What a practice says.

    Attributes:
        judgement: of the newest attempt.
        car: what the simulated car made of it; empty where it was missed.
        odds: after each attempt, the newest last.
        words: the odds in a sentence or two.
        lines: what was learned of the person, name and range.
        picture: the odds from attempt to attempt, SVG.
    """

    judgement: AttemptJudgement
    car: str
    odds: tuple[OddsAt, ...]
    words: str
    lines: tuple[tuple[str, str], ...]
    picture: str


def told(compiled: CompiledRoutine, tried: Sequence[Tried], before: Sequence[OddsAt], seed: int) -> PracticeTold:
    """Judge the newest attempt, learn the person from all of them, and tell the odds.

    Args:
        compiled: the routine.
        tried: attempts, the newest last.
        before: the odds told after earlier attempts.
        seed: fixes all chance.
    Raises: InputError for events that the routine does not have.
    """
    newest = tried[-1]
    judgement = judge_attempt(compiled, attempt_of(compiled, newest))
    taps = [tap for one in tried for tap in taps_of(one)]
    odds, lines = tuple(before), _NO_LINES
    none = no_odds(compiled)
    trouble = "" if none is None else f"Cannot tell the odds: {none.reason}. {none.way_out}"
    try:
        learned = learn(taps, np.random.default_rng(seed)) if taps else None
    except TimingError as why:  # the judgement stands all the same
        learned, trouble = None, trouble or f"Cannot tell the odds: {why.what}."
    if learned is not None and none is None:
        people = learned.draws(np.random.default_rng(seed), PEOPLE)
        cued: dict[By, tuple[str, ...]] = {"tones": tuple(s.id for s in compiled.steps), "heart": ()}
        for by, steps in cued.items():
            found = odds_of(compiled, learned.person(), steps, people=people)
            now = OddsAt(attempt=len(tried), by=by, taps=len(taps), p=found.p, lo=found.lo, hi=found.hi)
            odds = (*odds, now)
    if learned is not None:
        lines = tuple(practice_lines(practised(learned, simulated=True)))
    acts = [Act(kind=m.kind, event=m.event, t=m.t) for m in newest.made if m.aim is not None]
    car = ""
    if judgement.verdict != "missed" and newest.ended <= SIMULATED_ENOUGH:
        car = outcome(compiled, acts, seed)
    drawn = [o for o in odds if o.by == newest.by]
    picture = odds_rise(drawn).svg("css") if drawn else ""
    words = trouble or odds_words(odds, newest.by)
    return PracticeTold(judgement=judgement, car=car, odds=odds, words=words, lines=lines, picture=picture)


def attempt_of(compiled: CompiledRoutine, tried: Tried) -> Attempt:
    """A practice attempt as a file would hold it.

    Raises: InputError for an event that the routine does not have, or times that fall.
    """
    kinds = {e.name: e.kind for e in compiled.events}
    last = 0.0
    for m in tried.made:
        if kinds.get(m.event) != m.kind and (m.event or m.kind in ACTS):
            raise InputError(f"“{m.event}” of this routine is not “{m.kind}”")
        if m.t < last:
            raise InputError(f"an event at {m.t:g} s comes after one at {last:g} s")
        last = m.t
    events = [
        Event(seq=n, kind=m.kind, t_lo=m.t, t_hi=m.t, source="taps" if m.aim is not None else "simulated car")
        for n, m in enumerate(tried.made)
    ]
    end = max(tried.ended, last)
    events.append(Event(seq=len(events), kind="end", t_lo=end, t_hi=end, source="server"))
    watched = tuple(c.name for c in compiled.conditions)
    cued = tried.by == "tones"
    header = Header(routine=compiled.id, routine_hash=compiled.digest, simulated=True, watched=watched, cued=cued)
    return Attempt(header=header, events=tuple(events))


def taps_of(tried: Tried) -> list[Tap]:
    """What an attempt tells of the person: taps that answer their tones, or intervals from the event before."""
    if tried.by == "tones":
        return [
            Tap(m.aim, m.t, cued=True, off=TOUCH_OFF)
            for m in tried.made
            if m.aim is not None and abs(m.t - m.aim) <= ANSWERS_TONE
        ]
    pairs = [(a.t, b.t, b.aim) for a, b in pairwise(m for m in tried.made if m.event) if b.aim is not None]
    return [
        Tap(aim - since, t - since, off=math.sqrt(2) * TOUCH_OFF)
        for since, t, aim in pairs
        if aim is not None and aim - since > SHORTEST and SHORTEST < t - since < LEFT_OUT * (aim - since)
    ]


def odds_words(odds: Sequence[OddsAt], by: By) -> str:
    """The odds of the way that was practised, how they moved since the first try, and those of the other way."""
    mine = [o for o in odds if o.by == by]
    if not mine:
        return "No tap answered its tone yet: the odds cannot be told."
    now, first = mine[-1], mine[0]
    words = f"Clean run {WAYS[by]}: {_chance(now)} nine times in ten, by {now.taps} tap{'s' if now.taps != 1 else ''}."
    if len(mine) > 1:
        way = "Up" if now.p > first.p + 0.005 else "Down" if now.p < first.p - 0.005 else "Much as"
        words += f" {way} from {_chance(first)}, after the first." if way != "Much as" else " Much as after the first."
    other = next((o for o in reversed(odds) if o.by != by), None)
    return words if other is None else f"{words} {WAYS[other.by].capitalize()}: {_chance(other)}."


def _chance(one: OddsAt) -> str:
    middle, spread = percent(one.p), percent_range(one.lo, one.hi)
    return middle if middle == spread else f"{middle} ({spread})"


def routes(site: Site) -> APIRouter:
    """The practice page and its API."""
    router = APIRouter()
    book = Book(site)  # for its routines only; a practice has no attempts at the server
    garage = Garage(site.seed)

    @router.get("/practice/{routine}", include_in_schema=False)
    def practice_page(
        request: Request,
        routine: RoutineName,
        switch: Switch = "key",
        job: Annotated[int | None, Query(ge=1, le=2**31 - 1, description="The job that it was opened from.")] = None,
    ) -> HTMLResponse:
        return page(request, "practice.html", routine=book.routine(routine, switch), switch=switch, job=job)

    @router.get("/api/practice/{routine}", summary="What the practice page looks up")
    def practice_plan(routine: RoutineName, switch: Switch = "key") -> Envelope:
        found = PracticePlan(plan=phone_data(book.routine(routine, switch)))
        return envelope("practice plan", found, inputs={"routine": routine, "switch": switch}, simulated=True)

    @router.post("/api/practice/{routine}/car", summary="Act on the simulated car; its answers come back")
    def drive(routine: RoutineName, said: Drive) -> Envelope:
        compiled = book.routine(routine, said.switch)
        found = garage.news(said.run, compiled, said.acts, said.now)
        return envelope("practice car", found, inputs={"routine": routine}, simulated=True)

    @router.post("/api/practice/{routine}", summary="Judge a practice, learn the person, tell the odds")
    def judge(routine: RoutineName, said: Practice) -> Envelope:
        found = told(book.routine(routine, said.switch), said.tried, said.odds, site.seed)
        return envelope("practice", found, inputs={"routine": routine, "attempts": len(said.tried)}, simulated=True)

    return router
