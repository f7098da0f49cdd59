"""A sound on a page: any file that the browser can decode, or 20 s from the microphone, kept as WAV with the job.

The browser decodes; what arrives here is 16-bit WAV of one channel. Nothing is worked out of it yet, and the page
says so.
"""

from __future__ import annotations

from typing import Annotated

import anyio
from fastapi import APIRouter, File, Form, Request, UploadFile
from fastapi.responses import RedirectResponse

from tickover.errors import InputError
from tickover.results import Envelope, envelope
from tickover.visit.drafts import Draft, reading_stage
from tickover.web import forms
from tickover.web.reading import JobNumber, Kept
from tickover.web.site import Site
from tickover.web.uploads import Upload, sound_in, taken


def keep_sound(site: Site, job: int, upload: Upload | None, by: str) -> Kept:
    """Keep a sound in the stage where a reading would belong now.

    Raises: InputError for what is no such sound; UnknownJobError.
    """
    if upload is None:
        raise InputError("no sound was sent", way_out="Choose one, or record it.")
    found = sound_in(upload)
    with site.opened() as store:
        stage = reading_stage(store.current(job))
        attached = store.attach(upload.data, name=found.name, media_type="audio/wav")
        draft = Draft(stage, "sound", found.model_dump(mode="json"))
        kept = site.keep(store, job, [draft], attachments=[attached], by=by)
    return Kept(job=job, entries=tuple(e.seq for e in kept))


def routes(site: Site) -> APIRouter:
    """The form and its twin."""
    router = APIRouter()

    @router.post("/jobs/{job}/sound", include_in_schema=False)
    async def sound_form(request: Request, job: JobNumber) -> RedirectResponse:
        async with request.form(max_files=1, max_fields=10) as form:
            upload = await taken(form.get("sound"), "sound.wav")
            by = forms.text_of(form, "by")[:80]
        await anyio.to_thread.run_sync(keep_sound, site, job, upload, by)
        return RedirectResponse(f"/jobs/{job}", status_code=303)

    @router.post("/api/jobs/{job}/sound", summary="Keep a sound with the job: WAV, 16 bit, one channel, 60 s at most")
    async def sound_api(
        job: JobNumber, sound: Annotated[UploadFile, File()], by: Annotated[str, Form(max_length=80)] = ""
    ) -> Envelope:
        upload = await taken(sound, "sound.wav")
        kept = await anyio.to_thread.run_sync(keep_sound, site, job, upload, by)
        return envelope("sound", kept, inputs={"job": job})

    return router
