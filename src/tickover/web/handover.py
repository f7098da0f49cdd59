"""Hand over on a page: both papers to look at and to print, the signature, and records that travel."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any

import anyio
from fastapi import APIRouter, File, Query, Request, Response, UploadFile
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, ConfigDict, Field

from tickover.errors import ArchiveError, InputError, TickoverError
from tickover.handover import handover_json, page, record_from_entries, record_page, sheet_from_entries
from tickover.jobs import Attached, Entry, Imported, Store
from tickover.logs import read_log
from tickover.results import Envelope, Result, envelope
from tickover.signals import Recording
from tickover.signals.vin import Show
from tickover.visit.drafts import Draft
from tickover.web import forms
from tickover.web.downloads import download
from tickover.web.reading import JobNumber
from tickover.web.site import Site
from tickover.web.uploads import Upload, taken
from tickover.web.views import Seen

PDF = "application/pdf"
ZIP = "application/zip"
PREVIEW = 72.0
"""Of the preview [pixels to the inch]: A4 is 595 wide. Own choice."""
VIN = {
    "masked": "the last letters only",
    "whole": "whole",
    "left out": "left out",
}
Vin = Annotated[Show, Query(description="How much of the car's number is printed.")]


class Signature(BaseModel):
    """Who hands over.

    Attributes:
        by: the name under the sheet.
        vin: how much of the car's number is printed.
        upto: number of the newest entry that was seen when it was signed; None where nobody said.
    """

    model_config = ConfigDict(extra="forbid")

    by: str = Field(min_length=1, max_length=80)
    vin: Show = "masked"
    upto: forms.Upto = None


class Signed(Result):
    """The hand-over as it was kept.

    Attributes:
        job: its number.
        headline: of the customer's sheet.
        entry: number of the entry that holds both papers.
    """

    job: int
    headline: str
    entry: int


def sheet_bytes(site: Site, job: int, vin: Show) -> bytes:
    """The customer's sheet as it would be handed over now."""
    entries, personal = _told(site, job)
    return page.pdf(sheet_from_entries(entries, on=site.clock(), vin=vin, personal=personal, job=job))


def record_bytes(site: Site, job: int, vin: Show) -> bytes:
    """The shop's record as it stands now."""
    entries, personal = _told(site, job)
    return record_page.pdf(record_from_entries(entries, on=site.clock(), vin=vin, personal=personal, job=job))


def _told(site: Site, job: int) -> tuple[tuple[Entry, ...], dict[str, str]]:
    with site.opened() as store:
        return store.entries(job), store.personal(job)


def sign(site: Site, job: int, signature: Signature) -> Signed:
    """Hand over: both papers are made, kept with the entry, and the job is closed.

    Raises: InputError without a name, or for a broken entry; PaperError; UnknownJobError.
    """
    name = signature.by.strip()
    if not name:
        raise InputError("nobody signed", way_out="Write the name of who hands over.")
    on = site.clock()
    with site.opened() as store:
        entries, personal = store.entries(job), store.personal(job)
        forms.still_newest(store.current(job), signature.upto, "hand over", "sheet")
        sheet = sheet_from_entries(entries, on=on, vin=signature.vin, personal=personal, job=job)
        record = record_from_entries(entries, on=on, vin=signature.vin, personal=personal, job=job)
        papers = [
            store.attach(page.pdf(sheet), name=f"job-{job}-sheet.pdf", media_type=PDF),
            store.attach(record_page.pdf(record), name=f"job-{job}-record.pdf", media_type=PDF),
        ]
        draft = Draft("hand over", "sheet", {"sentence": sheet.headline})
        kept = site.keep(store, job, [draft], attachments=papers, by=name, inputs={"vin": signature.vin})
    return Signed(job=job, headline=sheet.headline, entry=kept[0].seq)


def exported(site: Site, job: int, *, with_personal: bool) -> bytes:
    """The job as one zip.

    Raises: UnknownJobError; StoreError for a job that does not verify.
    """
    with site.opened() as store, tempfile.TemporaryDirectory(prefix="tickover-") as folder:
        entries = store.entries(job)
        path = Path(folder) / f"job-{job}.zip"
        store.export(
            job,
            path,
            sheet_pdf=_kept_sheet(store, entries),
            recordings=recordings_of(store, entries),
            with_personal=with_personal,
        )
        return path.read_bytes()


def _kept_sheet(store: Store, entries: Sequence[Entry]) -> bytes | None:
    """The customer's sheet of the last hand-over; it is the first of its papers."""
    signed = [e for e in entries if e.stage == "hand over" and e.kind == "sheet"]
    papers = [a for a in signed[-1].attachments if a.media_type == PDF] if signed else []
    return store.attachment(papers[0]) if papers else None


def recordings_of(store: Store, entries: Sequence[Entry]) -> dict[str, Recording]:
    """The attachments that read as a log, by digest; the others travel as they are."""
    found: dict[str, Recording] = {}
    for attached in {a.digest: a for e in entries for a in e.attachments}.values():
        if attached.media_type != PDF and (recording := _recording(store, attached)) is not None:
            found[attached.digest] = recording
    return found


def _recording(store: Store, attached: Attached) -> Recording | None:
    with tempfile.TemporaryDirectory(prefix="tickover-") as folder:
        # only the ending is taken from its name: that is how a log is recognised, and it cannot lead elsewhere
        ending = "".join(c for c in Path(attached.name).suffix if c.isalnum() or c == ".")[:10]
        path = Path(folder) / f"log{ending}"
        path.write_bytes(store.attachment(attached))
        try:
            return read_log(path)
        except TickoverError:
            return None


def import_it(site: Site, upload: Upload) -> Imported:
    """Take in a job from a zip that was exported; it is checked whole before anything is stored.

    Raises: ArchiveError for anything that does not hold, under the file's own name; PartedJobError.
    """
    with tempfile.TemporaryDirectory(prefix="tickover-") as folder, site.opened() as store:
        path = Path(folder) / "job.zip"
        path.write_bytes(upload.data)
        try:
            return store.import_(path)
        except TickoverError as why:
            why.what = why.what.replace(str(path), upload.name)
            if isinstance(why, InputError | ArchiveError):
                why.file = upload.name
            raise


def panel(seen: Seen) -> dict[str, Any]:
    """What Hand over shows: the papers, the choice of the car's number, the signature, the zip."""
    signed = [e for e in seen.stage("hand over").entries if e.kind == "sheet"]
    return {
        "signed": signed[-1] if signed else None,
        "vin": VIN,
        "open": [s.stage for s in seen.view.stages if s.standing in {"due", "later"} and s.stage != "hand over"],
    }


def routes(site: Site) -> APIRouter:
    """Papers, forms and their twins."""
    router = APIRouter()
    router.include_router(_papers(site))
    router.include_router(_forms(site))
    router.include_router(_api(site))
    return router


_PAPERS: dict[int | str, dict[str, Any]] = {200: {"content": {PDF: {}}}}


def _papers(site: Site) -> APIRouter:
    router = APIRouter()

    @router.get("/jobs/{job}/sheet.pdf", include_in_schema=False)
    @router.get("/api/jobs/{job}/sheet.pdf", summary="The customer's sheet", response_class=Response, responses=_PAPERS)
    def sheet_pdf(job: JobNumber, vin: Vin = "masked") -> Response:
        return download(sheet_bytes(site, job, vin), f"job-{job}-sheet.pdf", PDF)

    @router.get("/jobs/{job}/record.pdf", include_in_schema=False)
    @router.get("/api/jobs/{job}/record.pdf", summary="The shop's record", response_class=Response, responses=_PAPERS)
    def record_pdf(job: JobNumber, vin: Vin = "masked") -> Response:
        return download(record_bytes(site, job, vin), f"job-{job}-record.pdf", PDF)

    @router.get("/jobs/{job}/sheet.png", include_in_schema=False)
    @router.get("/api/jobs/{job}/sheet.png", summary="The customer's sheet to look at", response_class=Response,
                responses={200: {"content": {"image/png": {}}}})  # fmt: skip
    def sheet_png(job: JobNumber, vin: Vin = "masked") -> Response:
        entries, personal = _told(site, job)
        sheet = sheet_from_entries(entries, on=site.clock(), vin=vin, personal=personal, job=job)
        return Response(page.png(sheet, PREVIEW), media_type="image/png", headers={"cache-control": "no-store"})

    @router.get("/jobs/{job}/job.zip", include_in_schema=False)
    @router.get("/api/jobs/{job}/job.zip", summary="The whole job as one file", response_class=Response,
                responses={200: {"content": {ZIP: {}}}})  # fmt: skip
    def export(job: JobNumber, personal: bool = False) -> Response:
        return download(exported(site, job, with_personal=personal), f"job-{job}.zip", ZIP)

    return router


def _forms(site: Site) -> APIRouter:
    router = APIRouter(include_in_schema=False)

    @router.post("/jobs/{job}/hand-over")
    async def sign_form(request: Request, job: JobNumber) -> RedirectResponse:
        async with request.form(max_files=0, max_fields=10) as form:
            name = forms.text_of(form, "by")
            if not name:
                raise InputError("nobody signed", way_out="Write the name of who hands over.")
            signature = forms.told(
                Signature,
                by=name,
                vin=forms.text_of(form, "vin") or "masked",
                upto=forms.text_of(form, "upto") or None,
            )
        await anyio.to_thread.run_sync(sign, site, job, signature)
        return RedirectResponse(f"/jobs/{job}#stage-9", status_code=303)

    @router.post("/import")
    async def import_form(request: Request) -> RedirectResponse:
        async with request.form(max_files=1, max_fields=5) as form:
            upload = await taken(form.get("file"), "job.zip")
        if upload is None:
            raise InputError("no file was sent", way_out="Choose the zip that another record wrote.")
        report = await anyio.to_thread.run_sync(import_it, site, upload)
        return RedirectResponse(f"/jobs/{report.job}", status_code=303)

    return router


def _api(site: Site) -> APIRouter:
    router = APIRouter()

    @router.get("/api/jobs/{job}/hand-over", summary="Sheet and record as data, as they would be handed over now")
    def handover_api(job: JobNumber, vin: Vin = "masked") -> Envelope:
        entries, personal = _told(site, job)
        return handover_json(entries, on=site.clock(), vin=vin, personal=personal, job=job)

    @router.post("/api/jobs/{job}/hand-over", summary="Sign: both papers are kept and the job is closed")
    def sign_api(job: JobNumber, signature: Signature) -> Envelope:
        return envelope("hand-over", sign(site, job, signature), inputs={"job": job, "vin": signature.vin})

    @router.post("/api/import", summary="Take in a job that another record exported; it is checked whole first")
    async def import_api(file: Annotated[UploadFile, File(description="The zip, 64 MB at most.")]) -> Envelope:
        upload = await taken(file, "job.zip")
        if upload is None:
            raise InputError("no file was sent", way_out="Send the zip as the field “file”.")
        report = await anyio.to_thread.run_sync(import_it, site, upload)
        return envelope("job import", report, inputs={"file": upload.name})

    return router
