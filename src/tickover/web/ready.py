"""Ready on a page: what the car reports is taken in, judged by an inspection's rule, and forecast to a day."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any

import anyio
import numpy as np
from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, ConfigDict, Field

from tickover.errors import InputError
from tickover.jobs import Entry
from tickover.obd.typed import decode_text
from tickover.readiness import (
    CarState,
    Forecast,
    Fuel,
    Rule,
    Verdict,
    evaluate,
    forecast,
    load_rules,
    state_of,
    told_by_hand,
)
from tickover.readiness.forecast import MOST_PER_DAY
from tickover.readiness.results import LampSeen
from tickover.results import CannotTell, Envelope, Result, envelope
from tickover.visit.drafts import Draft
from tickover.visit.ready_drafts import readiness_drafts
from tickover.web import forms
from tickover.web.ready_panel import PER_DAY, fuel_told, panel, rule_named, stored_state, year_told
from tickover.web.site import Site
from tickover.web.uploads import Upload, taken
from tickover.web.work_pages import JobNumber

LARGEST_ANSWERS = 200_000
"""Of typed or uploaded answers of a car [characters]: thousands of lines. Own choice."""
_Word = Annotated[str, Field(max_length=60)]


class Asked(BaseModel):
    """What was read, by hand or as bytes, and what is asked of it. All of it may be left out, but not everything.

    Attributes:
        hex: answers of the car, one a line, such as ``41 01 00 07 65 04``.
        open: the open monitors by name; empty for none. None where nobody said.
        open_count: how many are open, where only that is known.
        lamp: whether the engine lamp is on while the engine runs.
        bulb: the engine lamp with the ignition on and the engine off: whether it lights.
        warm_ups, km: since the memory was last cleared.
        permanent: permanent codes; empty for none.
        lambda_fast, co_fast, co_natural: at the tailpipe.
        rule: id of the inspection's rule.
        year, fuel: of the car; the job's own where not told.
        inspection: the day of inspection.
        per_day: ignition cycles a day.
        upto: number of the newest entry that was seen when it was told; None where nobody said.
        by: who.
    """

    model_config = ConfigDict(extra="forbid")

    hex: str = Field(default="", max_length=LARGEST_ANSWERS)
    open: Annotated[list[_Word], Field(max_length=20)] | None = None
    open_count: int | None = Field(default=None, ge=0, le=11)
    lamp: bool | None = None
    bulb: bool | None = None
    warm_ups: int | None = Field(default=None, ge=0, le=255)
    km: float | None = Field(default=None, ge=0, le=1e7)
    permanent: Annotated[list[_Word], Field(max_length=40)] | None = None
    lambda_fast: float | None = Field(default=None, ge=0, le=5)
    co_fast: float | None = Field(default=None, ge=0, le=20)
    co_natural: float | None = Field(default=None, ge=0, le=20)
    rule: Annotated[str, Field(max_length=60)] | None = None
    year: int | None = Field(default=None, ge=1980, le=2100)
    fuel: Fuel | None = None
    inspection: datetime.date | None = None
    per_day: float = Field(default=PER_DAY, gt=0, le=MOST_PER_DAY)
    upto: forms.Upto = None
    by: str = Field(default="", max_length=80)

    @property
    def tells(self) -> bool:
        """Whether anything was told of the car's state."""
        told = (self.open, self.open_count, self.lamp, self.bulb, self.warm_ups, self.km, self.permanent,
                self.lambda_fast, self.co_fast, self.co_natural)  # fmt: skip
        return bool(self.hex.strip()) or any(value is not None for value in told)


class ReadyKept(Result):
    """What was read and worked out.

    Attributes:
        job: its number.
        state: what the car reports.
        verdict: under the rule that was named; else None.
        forecast: where a day of inspection was named; else None.
        entries: numbers of the entries it was kept in.
    """

    job: int
    state: CarState
    verdict: Verdict | None
    forecast: Forecast | CannotTell | None
    entries: tuple[int, ...]


@dataclass(frozen=True)
class _Worked:
    state: CarState
    verdict: Verdict | None
    outlook: Forecast | CannotTell | None


def take_in(site: Site, job: int, asked: Asked, file: Upload | None = None) -> ReadyKept:
    """Decode, judge, forecast, and keep it.

    Args:
        site: the record.
        job: its number.
        asked: what was told.
        file: the answers as a file; it is kept with the reading.
    Raises: ReplyError naming line and byte; InputError for what cannot be, or where another reading came meanwhile;
        UnknownJobError.
    """
    text = file_text(file) if file is not None else asked.hex
    with site.opened() as store:
        entries = store.current(job)
        forms.still_newest(entries, asked.upto, "ready", "readiness", "verdict", "forecast")
        told = asked.tells or file is not None
        state = state_told(asked, text, file) if told else stored_state(entries)
        if state is None:
            raise InputError(
                "nothing was read yet",
                way_out="Type the answer to 01 01, or say how many monitors the station found open.",
            )
        found = _worked(asked, state, entries, site)
        drafts = list(readiness_drafts(entries, state, found.verdict)) if told else _again(entries, state, found)
        if found.outlook is not None:
            drafts.append(outlook_draft(found.outlook, asked))
        if not drafts:
            raise InputError("nothing was asked", way_out="Name a rule, or the day of inspection.")
        attached = (store.attach(file.data, name=file.name, media_type="text/plain"),) if file else ()
        kept = site.keep(store, job, drafts, attachments=attached, by=asked.by, inputs=inputs_of(asked, text))
    return ReadyKept(
        job=job, state=state, verdict=found.verdict, forecast=found.outlook, entries=tuple(e.seq for e in kept)
    )


def _again(entries: Sequence[Entry], state: CarState, found: _Worked) -> list[Draft]:
    """The verdict alone, over what was read before; not the reading a second time.

    While a relearn is to come no verdict is kept, and the rule alone is: what was read is shown judged by it.
    """
    verdicts = [d for d in readiness_drafts(entries, state, found.verdict) if d.kind == "verdict"]
    if verdicts or found.verdict is None:
        return verdicts
    named = {"rule": found.verdict.rule, "sentence": f"to be judged by: {found.verdict.title}"}
    return [Draft("ready", "rule", named)]


def file_text(file: Upload) -> str:
    """The text of an uploaded file of answers.

    Raises: InputError for one that is no text, or too long.
    """
    if len(file.data) > LARGEST_ANSWERS:
        raise InputError(
            f"{file.size} are more than {LARGEST_ANSWERS // 1000} kB", file=file.name, way_out="Send the answers alone."
        )
    try:
        return file.data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(
            "this is no text", file=file.name, way_out="Save the answers as plain text, one a line."
        ) from None


def state_told(asked: Asked, text: str, file: Upload | None) -> CarState:
    """What the bytes say, and over it what was told by hand.

    Raises: ReplyError; InputError for a monitor that there is not, or for names and a count together.
    """
    if asked.open is not None and asked.open_count is not None:
        raise InputError("the open monitors are both named and counted", way_out="Name them, or count them.")
    decoded = decode_text(text, file=file.name if file else None) if text.strip() else ()
    seen: LampSeen | None = None
    if asked.bulb is not None:
        seen = "lights with the ignition" if asked.bulb else "stays dark"
    state = told_by_hand(
        state_of(decoded) if decoded else CarState(),
        opened=asked.open,
        open_count=asked.open_count,
        lamp=asked.lamp,
        lamp_seen=seen,
        permanent=asked.permanent,
    )
    more = ("warm_ups", "km", "lambda_fast", "co_fast", "co_natural")
    return state.model_copy(update={n: v for n in more if (v := getattr(asked, n)) is not None})


def _worked(asked: Asked, state: CarState, entries: Sequence[Entry], site: Site) -> _Worked:
    today = site.clock().date()
    year, fuel = asked.year or year_told(entries), asked.fuel or fuel_told(entries)
    rule = rule_named(asked.rule) if asked.rule else None
    verdict = evaluate(rule, state, year=year, fuel=fuel, on=today) if rule is not None else None
    outlook: Forecast | CannotTell | None = None
    if asked.inspection is not None:
        if not 0 <= (asked.inspection - today).days <= 366:
            raise InputError(
                f"{asked.inspection} is not within a year from {today}", way_out="Name a day to come, within a year."
            )
        outlook = forecast(
            state, rule=rule, year=year, fuel=fuel, per_day=asked.per_day, today=today, by=asked.inspection,
            rng=np.random.default_rng(site.seed),
        )  # fmt: skip
    return _Worked(state, verdict, outlook)


def outlook_draft(found: Forecast | CannotTell, asked: Asked) -> Draft:
    """The forecast as it goes into the job, with the day that it is for."""
    words = found.sentence if isinstance(found, Forecast) else f"cannot tell when it will be ready: {found.reason}"
    data = found.model_dump(mode="json")
    return Draft("ready", "forecast", {**data, "by": str(asked.inspection), "sentence": words})


def inputs_of(asked: Asked, text: str) -> dict[str, Any]:
    """What it was worked out from, without what was not told."""
    plain = asked.model_dump(mode="json", exclude={"by", "hex", "upto"}, exclude_none=True)
    return {**plain, "hex": text.strip()[:4000]}


class Rules(Result):
    """All rules."""

    rules: tuple[Rule, ...]


def routes(site: Site) -> APIRouter:
    """The form and its twin."""
    router = APIRouter()

    @router.post("/jobs/{job}/ready", include_in_schema=False)
    async def ready_form(request: Request, job: JobNumber) -> RedirectResponse:
        async with request.form(max_files=1, max_fields=40) as form:
            file = await taken(form.get("file"), "answers.txt")
            text = {n: forms.text_of(form, n) for n in form if n not in {"open", "file"}}
            named = forms.texts_of(form, "open")
        asked = _asked_in(text, named)
        if file is not None and asked.hex:
            raise InputError("answers come typed or as a file, not both", way_out="Leave one of them out.")
        await anyio.to_thread.run_sync(take_in, site, job, asked, file)
        return RedirectResponse(f"/jobs/{job}#stage-8", status_code=303)

    @router.post("/api/jobs/{job}/ready", summary="Tell what the car reports; verdict and forecast come back")
    def ready_api(job: JobNumber, asked: Asked) -> Envelope:
        kept = take_in(site, job, asked)
        rests_on = kept.verdict.rests_on if kept.verdict is not None else kept.state.says
        return envelope("ready", kept, inputs={"job": job, **inputs_of(asked, asked.hex)}, rests_on=rests_on)

    @router.get("/api/rules", summary="The inspections' rules, with their sources and what is not certain about them")
    def rules_api() -> Envelope:
        return envelope("ready rules", Rules(rules=tuple(load_rules().values())))

    return router


def _asked_in(text: dict[str, str], named: list[str]) -> Asked:
    """The form, made into what the twin takes.

    Raises: InputError naming the field.
    """
    told: dict[str, Any] = {n: text[n] for n in ("hex", "rule", "fuel", "by", "upto") if text.get(n)}
    figures = {"open_count": "How many were open", "warm_ups": "Warm-ups", "km": "Distance", "year": "Model year",
               "lambda_fast": "λ", "co_fast": "CO at fast idle", "co_natural": "CO at idle",
               "per_day": "Starts a day"}  # fmt: skip
    for name, words in figures.items():
        if text.get(name):
            told[name] = forms.number(text[name], words)
    for name in ("lamp", "bulb"):
        if text.get(name):
            told[name] = text[name] == "yes"
    if text.get("inspection"):
        told["inspection"] = text["inspection"]
    if text.get("permanent"):
        codes = [w.strip() for w in text["permanent"].replace(";", ",").split(",") if w.strip()]
        told["permanent"] = [] if [c.lower() for c in codes] == ["none"] else codes
    names = [w.strip() for line in named for w in line.split(",") if w.strip()]
    if names:
        told["open"] = [] if [n.lower() for n in names] == ["none"] else names
    return forms.told(Asked, **told)


__all__ = ["Asked", "panel", "routes", "stored_state", "take_in"]
