"""Small acts on a job: notes, repairs, relapses, stages left out; corrections; personal values; check; light."""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Form, Path, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from pydantic import BaseModel, ConfigDict, Field

from tickover.errors import InputError, StoreError
from tickover.handover.wording import car_line
from tickover.jobs import PURGED, STAGES, WITHDRAWN, Entry, Stage, Verification
from tickover.results import Envelope, Result, envelope
from tickover.visit.cars import check_car
from tickover.visit.correcting import correction, standing_entry
from tickover.visit.drafts import Draft
from tickover.visit.next import next_step
from tickover.visit.rules import known
from tickover.web import forms
from tickover.web.arrive import CAR_FIELDS, car_said
from tickover.web.pages import page
from tickover.web.reading import JobNumber, Kept
from tickover.web.site import Site

EntryNumber = Annotated[int, Path(ge=1, le=2**31 - 1, description="Number of the entry.")]
Act = Literal["note", "repair", "relapse", "skipped"]

PERSONAL = {"customer": "Customer", "phone": "Phone", "plate": "Number plate", "vin": "VIN"}
"""Personal fields, and their words."""
IN_WORDS: dict[str, tuple[str, ...]] = {
    "car": CAR_FIELDS[:-1],
    "note": ("text",),
    "repair": ("text",),
    "relapse": ("text",),
    "skipped": ("reason",),
}
"""What may be corrected in words, by kind; anything else is taken back and measured or told anew."""
_BACK = re.compile(r"/(?:[A-Za-z0-9-][A-Za-z0-9/_-]*)?")


class Said(BaseModel):
    """Something to write down.

    Attributes:
        kind: a note; a repair, which leads back to Relearn; a relapse, which opens the job at Cause; a stage left out.
        stage: the stage it belongs to; for a stage left out it is that stage, for others the one that is due if None.
        text: what; for a stage left out, the reason.
        by: who.
    """

    model_config = ConfigDict(extra="forbid")

    kind: Act
    stage: Stage | None = None
    text: str = Field(min_length=1, max_length=forms.MOST_TEXT)
    by: str = Field(default="", max_length=80)


class Right(BaseModel):
    """What is right in an entry.

    Attributes:
        values: name to text, for what may be corrected in words.
        withdraw: take the entry back.
        why: why it is taken back.
        by: who.
    """

    model_config = ConfigDict(extra="forbid")

    values: dict[Annotated[str, Field(max_length=40)], Annotated[str, Field(max_length=forms.MOST_TEXT)]] = Field(
        default_factory=dict, max_length=20
    )
    withdraw: bool = False
    why: str = Field(default="", max_length=forms.MOST_TEXT)
    by: str = Field(default="", max_length=80)


class Person(BaseModel):
    """Personal values; they are kept outside the chain and can be erased.

    ``as_it_stands``: the car's number is right though its check digit is not.
    """

    model_config = ConfigDict(extra="forbid")

    customer: str = Field(default="", max_length=200)
    phone: str = Field(default="", max_length=60)
    plate: str = Field(default="", max_length=30)
    vin: str = Field(default="", max_length=30)
    as_it_stands: bool = False
    by: str = Field(default="", max_length=80)


class Erase(BaseModel):
    """Which personal value is to be erased; all where None."""

    model_config = ConfigDict(extra="forbid")

    field: Annotated[str, Field(min_length=1, max_length=64)] | None = None
    by: str = Field(default="", max_length=80)


class Erased(Result):
    """Names of the personal values that were erased."""

    job: int
    fields: tuple[str, ...]


class Record(Result):
    """A job as it was written, entry by entry, with the personal values that are still held."""

    job: int
    entries: tuple[Entry, ...]
    personal: dict[str, str]


def write_down(site: Site, job: int, said: Said) -> Kept:
    """Keep something that was said.

    Raises: InputError for a stage that cannot be left out, or no words; UnknownJobError.
    """
    text = said.text.strip()
    if not text:
        raise InputError("nothing was written", way_out="Say it in a few words.")
    if said.kind == "skipped" and said.stage in {None, "hand over"}:
        raise InputError("only a stage before the hand-over can be left out", way_out="Name the stage.")
    with site.opened() as store:
        entries = store.entries(job)
        due = next_step(entries, job, known(site.library())).stage
        places: dict[str, Stage] = {"repair": "cause", "relapse": "arrive"}
        stage = places.get(said.kind) or said.stage or due or "hand over"
        data = {"reason": text} if said.kind == "skipped" else {"text": text}
        kept = site.keep(store, job, [Draft(stage, said.kind, data)], by=said.by)
    return Kept(job=job, entries=tuple(e.seq for e in kept))


def correct(site: Site, job: int, entry: int, right: Right) -> Kept:
    """Correct an entry, or take it back; the old one stays in the record and no longer counts.

    Raises: UnknownJobError, UnknownEntryError; InputError for what cannot be corrected in words.
    """
    with site.opened() as store:
        entries = store.entries(job)
        if right.withdraw:
            made = correction(job, entries, entry, {"reason": right.why.strip()} if right.why.strip() else {},
                              withdraw=True)  # fmt: skip
        else:
            made = correction(job, entries, entry, {})
            fields = IN_WORDS.get(made.kind, ())
            values = {k: v.strip() for k, v in right.values.items()}
            if not fields or not values or not set(values) <= set(fields):
                raise InputError(
                    f"entry {entry} ({made.kind}) cannot be corrected like that",
                    way_out=f"Correct {', '.join(fields)}." if fields else "Take it back, and measure or tell it anew.",
                )
            if made.kind == "car":
                said: dict[str, Any] = car_said({k: v for k, v in values.items() if v})
                made.data.update(said)
                for name in (k for k, v in values.items() if not v):
                    made.data.pop(name, None)
            elif not all(values.values()):
                raise InputError("nothing was written", way_out="Say it in a few words, or take the entry back.")
            else:
                made.data.update(values)
        kept = store.add(
            job,
            stage=made.stage,
            kind=made.kind,
            data=made.data,
            at=site.now(),
            by=right.by or site.by,
            attachments=made.attachments,
            corrects=made.corrects,
            inputs=made.inputs,
            simulated=made.simulated,
        )
    return Kept(job=job, entries=(kept.seq,))


def keep_person(site: Site, job: int, person: Person) -> Kept:
    """Keep personal values, outside the chain.

    Raises: InputError where nothing was told, the car's number is none, or a value holds what cannot be printed;
        UnknownJobError.
    """
    values = {k: v.strip() for k, v in person.model_dump(include=set(PERSONAL)).items() if v.strip()}
    if not values:
        raise InputError("nothing was written", way_out="Fill in what is known.")
    values = check_car({}, values, as_it_stands=person.as_it_stands).personal
    with site.opened() as store:
        said = f"told: {', '.join(PERSONAL[k].lower() if k != 'vin' else 'VIN' for k in values)}"
        kept = store.add(
            job, stage="arrive", kind="customer", data={"sentence": said}, at=site.now(), by=person.by or site.by,
            personal=values,
        )  # fmt: skip
    return Kept(job=job, entries=(kept.seq,))


def erase(site: Site, job: int, told: Erase) -> Erased:
    """Erase personal values for good.

    Raises: UnknownJobError; InputError for a field that the job never had.
    """
    with site.opened() as store:
        fields = store.purge(job, told.field, at=site.now(), by=told.by or site.by)
    return Erased(job=job, fields=fields)


def check_words(found: Verification) -> list[str]:
    """Whether the record holds, in sentences."""
    if found.ok:
        out = [f"All {found.entries} entries are as they were written, in their order."]
    else:
        out = [f"It does not hold: {f.what}" for f in found.findings]
    if found.purged:
        out.append(f"Erased on request: {', '.join(found.purged)}.")
    if found.withheld:
        out.append(f"Left out when the job was brought here: {', '.join(found.withheld)}.")
    out += [f"It rests on {r.rstrip('.')}." for r in found.rests_on]
    return [*out, *([f"It cannot show {found.cannot_show.rstrip('.')}."] if found.cannot_show else [])]


def _rows(entries: tuple[Entry, ...]) -> list[dict[str, Any]]:
    """Every entry as written, the newest first, with what may be done to it."""
    corrected = {e.corrects: e.seq for e in entries if e.corrects is not None}
    rows = []
    for e in reversed(entries):
        old = e.seq in corrected
        standing = e if old else standing_entry(entries, e.seq)
        free = not old and e.kind not in {WITHDRAWN, PURGED}
        rows.append(
            {
                "entry": e,
                "kind": "taken back" if e.kind == WITHDRAWN else e.kind,
                "said": _said(e),
                "old": corrected.get(e.seq),
                "free": free,
                "words": {n: standing.data.get(n, "") for n in IN_WORDS.get(e.kind, ())} if free else {},
            }
        )
    return rows


def _said(entry: Entry) -> str:
    data = entry.data
    if entry.kind == PURGED:
        return "erased: " + ", ".join(f"{f['field']} of entry {f['entry']}" for f in data.get("fields", []))
    if entry.kind == "car":
        car = car_line(data.get("year"), str(data.get("fuel") or ""), data.get("displacement_l"), data.get("cylinders"))
        return ", ".join(str(part) for part in (car, data.get("complaint"), data.get("shop")) if part)
    for key in ("sentence", "text", "reason"):
        if isinstance(data.get(key), str) and data[key]:
            return str(data[key])
    plain = [f"{k} {v}" for k, v in data.items() if isinstance(v, str | int | float) and not isinstance(v, bool)]
    return ", ".join(plain[:6])


def routes(site: Site) -> APIRouter:
    """Forms and their twins."""
    router = APIRouter()
    router.include_router(_pages(site))
    router.include_router(_api(site))
    return router


def _pages(site: Site) -> APIRouter:
    router = APIRouter(include_in_schema=False)

    @router.get("/jobs/{job}/record")
    def record_page(request: Request, job: JobNumber) -> HTMLResponse:
        with site.opened() as store:
            found, personal = store.verify(job), store.personal(job)
            try:
                entries = store.entries(job)
            except StoreError:  # a damaged entry cannot be shown; the check above says which it is
                entries = ()
        return page(
            request, "record.html", job=job, rows=_rows(entries), personal=personal, fields=PERSONAL, found=found,
            check=check_words(found), stages=STAGES,
        )  # fmt: skip

    @router.post("/jobs/{job}/notes")
    async def note_form(request: Request, job: JobNumber) -> RedirectResponse:
        async with request.form(max_files=0, max_fields=10) as form:
            said = forms.told(
                Said,
                kind=forms.text_of(form, "kind") or "note",
                stage=forms.text_of(form, "stage") or None,
                text=forms.text_of(form, "text"),
                by=forms.text_of(form, "by"),
            )
        write_down(site, job, said)
        return RedirectResponse(f"/jobs/{job}", status_code=303)

    @router.post("/jobs/{job}/entries/{entry}/correct")
    async def correct_form(request: Request, job: JobNumber, entry: EntryNumber) -> RedirectResponse:
        async with request.form(max_files=0, max_fields=30) as form:
            values = {k.removeprefix("value."): str(v) for k, v in form.multi_items() if k.startswith("value.")}
            right = forms.told(
                Right,
                values=values,
                withdraw=forms.text_of(form, "withdraw") == "yes",
                why=forms.text_of(form, "why"),
                by=forms.text_of(form, "by"),
            )
        correct(site, job, entry, right)
        return RedirectResponse(f"/jobs/{job}/record", status_code=303)

    @router.post("/jobs/{job}/personal")
    async def person_form(request: Request, job: JobNumber) -> RedirectResponse:
        async with request.form(max_files=0, max_fields=10) as form:
            told = {k: forms.text_of(form, k) for k in (*PERSONAL, "by")}
            person = forms.told(Person, **told, as_it_stands=forms.text_of(form, "as_it_stands") == "yes")
        keep_person(site, job, person)
        return RedirectResponse(f"/jobs/{job}/record#person", status_code=303)

    @router.post("/jobs/{job}/purge")
    async def purge_form(request: Request, job: JobNumber) -> RedirectResponse:
        async with request.form(max_files=0, max_fields=10) as form:
            told = forms.told(Erase, field=forms.text_of(form, "field") or None)
        erase(site, job, told)
        return RedirectResponse(f"/jobs/{job}/record#person", status_code=303)

    @router.post("/light")
    def light(
        light: Annotated[str, Form(max_length=10)], back: Annotated[str, Form(max_length=200)] = "/"
    ) -> RedirectResponse:
        where = back if _BACK.fullmatch(back) else "/"
        answer = RedirectResponse(where, status_code=303)
        if light in {"day", "night"}:
            answer.set_cookie("light", light, max_age=365 * 86400, httponly=True, samesite="strict")
        else:
            answer.delete_cookie("light")
        return answer

    return router


def _api(site: Site) -> APIRouter:
    router = APIRouter()

    @router.get("/api/jobs/{job}/record", summary="Every entry as it was written, and the personal values still held")
    def record_api(job: JobNumber) -> Envelope:
        with site.opened() as store:
            shown = Record(job=job, entries=store.entries(job), personal=store.personal(job))
        return envelope("job show", shown, simulated=any(e.simulated for e in shown.entries))

    @router.get("/api/jobs/{job}/verify", summary="Whether the record of the job is as it was written")
    def verify_api(job: JobNumber) -> Envelope:
        with site.opened() as store:
            found = store.verify(job)
        return envelope("job verify", found, inputs={"job": job}, rests_on=found.rests_on)

    @router.post("/api/jobs/{job}/notes", summary="Write down a note, a repair, a relapse, or leave a stage out")
    def note_api(job: JobNumber, said: Said) -> Envelope:
        return envelope("job add", write_down(site, job, said), inputs={"job": job, "kind": said.kind})

    @router.post("/api/jobs/{job}/entries/{entry}/correct", summary="Correct an entry, or take it back")
    def correct_api(job: JobNumber, entry: EntryNumber, right: Right) -> Envelope:
        return envelope("job correct", correct(site, job, entry, right), inputs={"job": job, "entry": entry})

    @router.post("/api/jobs/{job}/personal", summary="Keep personal values, outside the chain")
    def person_api(job: JobNumber, person: Person) -> Envelope:
        return envelope("job add", keep_person(site, job, person), inputs={"job": job})

    @router.post("/api/jobs/{job}/purge", summary="Erase personal values for good")
    def purge_api(job: JobNumber, told: Erase) -> Envelope:
        return envelope("job purge", erase(site, job, told), inputs={"job": job, "field": told.field})

    return router
