"""Ready on a page: what the car reports, an inspection's verdict, and the day it will be ready."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any

import anyio
import numpy as np
from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from tickover.errors import InputError
from tickover.jobs import Entry
from tickover.obd.typed import decode_text
from tickover.readiness import (
    WHY_NOT_ERASE,
    CarState,
    Forecast,
    Fuel,
    Rule,
    Verdict,
    evaluate,
    forecast,
    forecast_figure,
    load_rules,
    state_of,
    told_by_hand,
)
from tickover.readiness.forecast import MOST_PER_DAY
from tickover.readiness.results import LampSeen
from tickover.readiness.words import forecast_rows
from tickover.results import CannotTell, Envelope, Result, envelope
from tickover.visit.drafts import Draft
from tickover.visit.measuring import car_of
from tickover.visit.ready_drafts import readiness_drafts, state_sentence
from tickover.web import forms
from tickover.web.reading import JobNumber
from tickover.web.site import Site
from tickover.web.uploads import Upload, taken
from tickover.web.views import Seen

LARGEST_ANSWERS = 200_000
"""Of typed or uploaded answers of a car [characters]: thousands of lines. Own choice."""
PER_DAY = 4.0
"""Ignition cycles a day where nobody said; own choice: two trips there and back."""
FUELS = ("petrol", "hybrid", "diesel")
WIDTHS = {"narrow": 330.0, "wide": 720.0}
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
    Raises: ReplyError naming line and byte; InputError for what cannot be; UnknownJobError.
    """
    text = file_text(file) if file is not None else asked.hex
    with site.opened() as store:
        entries = store.current(job)
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
    """The verdict alone, over what was read before; not the reading a second time."""
    return [d for d in readiness_drafts(entries, state, found.verdict) if d.kind == "verdict"]


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


def rule_named(name: str) -> Rule:
    """A built-in rule by its id; never a file.

    Raises: InputError where there is none of that id.
    """
    rules = load_rules()
    if name not in rules:
        raise InputError(f"no rule is called “{name}”", way_out=f"There are: {', '.join(rules)}.")
    return rules[name]


def _worked(asked: Asked, state: CarState, entries: Sequence[Entry], site: Site) -> _Worked:
    today = site.clock().date()
    year, fuel = asked.year or _year(entries), asked.fuel or _fuel(entries)
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
    plain = asked.model_dump(mode="json", exclude={"by", "hex"}, exclude_none=True)
    return {**plain, "hex": text.strip()[:4000]}


def stored_state(entries: Sequence[Entry]) -> CarState | None:
    """What the car last reported in this job; None where it was never read."""
    for entry in reversed(entries):
        if entry.stage == "ready" and entry.kind == "readiness":
            state = entry.data.get("after") or entry.data.get("before")
            try:
                return CarState.model_validate(state)
            except ValidationError:
                return None
    return None


def _year(entries: Sequence[Entry]) -> int | None:
    year = car_of(entries).get("year")
    return year if isinstance(year, int) and 1980 <= year <= 2100 else None


def _fuel(entries: Sequence[Entry]) -> Fuel | None:
    fuel = car_of(entries).get("fuel")
    found: tuple[Fuel, ...] = ("petrol", "hybrid", "diesel")
    return next((one for one in found if one == fuel), None)


def panel(seen: Seen) -> dict[str, Any]:
    """What Ready shows: readings before and after, the verdict in order, the forecast with its picture, the form."""
    held = seen.stage("ready").entries
    entries = sorted((e for s in seen.view.stages for e in s.entries), key=lambda e: e.seq)
    readings = [e for e in held if e.kind == "readiness"]
    return {
        "readings": [_reading(e) for e in readings[-2:]],
        "verdict": _verdict(entries, readings[-1] if readings else None, seen.site),
        "outlook": _outlook(next((e for e in reversed(held) if e.kind == "forecast"), None)),
        "rules": [(r.id, r.title) for r in load_rules().values()],
        "chosen": _chosen(held),
        "year": _year(entries) or "",
        "fuel": _fuel(entries) or "",
        "fuels": FUELS,
        "per_day": f"{PER_DAY:g}",
        "never_erase": WHY_NOT_ERASE,
    }


def _reading(entry: Entry) -> dict[str, Any]:
    when = "after" if "after" in entry.data else "before"
    try:
        state = CarState.model_validate(entry.data.get(when))
    except ValidationError:
        return {"when": when, "said": "what it holds cannot be read", "at": entry.at, "by": entry.by, "says": ()}
    return {"when": when, "said": state_sentence(state), "at": entry.at, "by": entry.by, "says": state.says}


def _chosen(held: Sequence[Entry]) -> dict[str, Any]:
    """Rule and day as they were last named."""
    found: dict[str, Any] = {"rule": "", "inspection": ""}
    for entry in held:
        for name in found:
            found[name] = entry.inputs.get(name) or found[name]
        if entry.kind == "verdict":
            found["rule"] = entry.data.get("rule") or found["rule"]
    return found


def _verdict(entries: Sequence[Entry], reading: Entry | None, site: Site) -> dict[str, Any] | None:
    """The verdict that was kept; else, while a relearn is to come, what it would be as read."""
    kept = next((e for e in reversed(entries) if e.stage == "ready" and e.kind == "verdict"), None)
    found: Verdict | None = None
    if kept is not None and (reading is None or kept.seq > reading.seq):
        found = _shaped(kept)
    elif reading is not None and reading.inputs.get("rule") in load_rules():
        state = stored_state(entries)
        told = reading.inputs
        if state is not None:
            found = evaluate(
                rule_named(str(told["rule"])), state, year=told.get("year") or _year(entries),
                fuel=told.get("fuel") or _fuel(entries), on=site.clock().date(),
            )  # fmt: skip
    if found is None:
        return None
    sign = {"would be ready": "settled", "would be turned away": "worse"}.get(found.word, "cannot tell")
    cleared = found.clearing
    return {
        "found": found,
        "sign": sign,
        "for_now": kept is None or kept.data.get("word") != found.word,
        "cleared": cleared if cleared.reasons or cleared.word == "recently cleared" else None,
    }


def _shaped(entry: Entry) -> Verdict | None:
    try:
        return Verdict.model_validate(entry.data)
    except ValidationError:
        return None


def _outlook(entry: Entry | None) -> dict[str, Any] | None:
    """The forecast with its pictures; or why there is none."""
    if entry is None:
        return None
    if entry.data.get("kind") == "cannot tell":
        return {"sentence": entry.data.get("sentence", ""), "way_out": entry.data.get("way_out", ""), "pictures": None}
    try:
        found = Forecast.model_validate(entry.data)
    except ValidationError:
        return None
    pictures = {name: forecast_figure(found, room=room) for name, room in WIDTHS.items()}
    rows = [row for row in forecast_rows(found) if row[0] not in {"check"}]
    return {"sentence": found.sentence, "way_out": "", "pictures": pictures, "rows": rows, "by": found.by}


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


class Rules(Result):
    """All rules."""

    rules: tuple[Rule, ...]


def _asked_in(text: dict[str, str], named: list[str]) -> Asked:
    """The form, made into what the twin takes.

    Raises: InputError naming the field.
    """
    told: dict[str, Any] = {n: text[n] for n in ("hex", "rule", "fuel", "by") if text.get(n)}
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
