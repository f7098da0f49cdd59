"""A sound on a page: any file that the browser can decode, or 20 s from the microphone, kept as WAV with the job.

The browser decodes; what arrives here is 16-bit WAV of one channel. Nothing is worked out of it yet, and the page
says so; it can be listened to there.
"""

from __future__ import annotations

import re
from typing import Annotated

import anyio
from fastapi import APIRouter, File, Form, Path, Request, UploadFile
from fastapi.responses import RedirectResponse, Response

from tickover.errors import InputError
from tickover.results import Envelope, envelope
from tickover.visit.drafts import Draft, reading_stage
from tickover.web import forms
from tickover.web.reading import JobNumber, Kept
from tickover.web.site import Site
from tickover.web.uploads import Upload, sound_in, taken

WAV = "audio/wav"
_RANGE = re.compile(r"bytes=(\d{0,12})-(\d{0,12})")


def keep_sound(site: Site, job: int, upload: Upload | None, by: str) -> Kept:
    """Keep a sound in the stage where a reading would belong now.

    Raises: InputError for what is no such sound; UnknownJobError.
    """
    if upload is None:
        raise InputError("no sound was sent", way_out="Choose one, or record it.")
    found = sound_in(upload)
    with site.opened() as store:
        stage = reading_stage(store.current(job))
        attached = store.attach(upload.data, name=found.name, media_type=WAV)
        draft = Draft(stage, "sound", found.model_dump(mode="json"))
        kept = site.keep(store, job, [draft], attachments=[attached], by=by)
    return Kept(job=job, entries=tuple(e.seq for e in kept))


def kept_sound(site: Site, job: int, digest: str) -> bytes:
    """A sound of this job, as it was kept.

    Args:
        site: the record.
        job: its number.
        digest: SHA-256 of its bytes, in hexadecimal.
    Raises: InputError for anything but the sound of an entry of this job; UnknownJobError; AttachmentError.
    """
    with site.opened() as store:
        sounds = (e for e in store.entries(job) if e.kind == "sound")
        if not any(a.digest == digest and a.media_type == WAV for e in sounds for a in e.attachments):
            raise InputError("this job holds no such sound", way_out="Its page plays those that it has.")
        return store.attachment(digest)


def played(content: bytes, asked: str) -> Response:
    """The answer to a player: the whole, or the piece it asks for.

    Without pieces some browsers play nothing, and others cannot go back.

    Args:
        content: the whole sound.
        asked: the Range header; anything but one range of bytes is answered with the whole.
    """
    headers = {"accept-ranges": "bytes", "cache-control": "private, max-age=3600"}
    size, found = len(content), _RANGE.fullmatch(asked.strip())
    if found is None or found.groups() == ("", ""):
        return Response(content, media_type=WAV, headers=headers)
    first, last = found.groups()
    start = int(first) if first else max(0, size - int(last))
    stop = min(size, int(last) + 1) if first and last else size
    if not start < stop:
        return Response(status_code=416, headers={**headers, "content-range": f"bytes */{size}"})
    headers["content-range"] = f"bytes {start}-{stop - 1}/{size}"
    return Response(content[start:stop], 206, media_type=WAV, headers=headers)


def routes(site: Site) -> APIRouter:
    """The form, its twin, and the sound itself."""
    router = APIRouter()

    @router.get("/jobs/{job}/sounds/{digest}", include_in_schema=False)
    def sound_file(
        request: Request, job: JobNumber, digest: Annotated[str, Path(pattern="^[0-9a-f]{64}$")]
    ) -> Response:
        return played(kept_sound(site, job, digest), request.headers.get("range", ""))

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
