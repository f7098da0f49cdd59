"""Files that go out: a name of ours, to be saved, never shown as a page of this site."""

from __future__ import annotations

from fastapi.responses import Response


def download(data: bytes, name: str, media_type: str, *, shown: bool = False) -> Response:
    """A file.

    Args:
        data: its bytes.
        name: what it is saved as; ours, so plain letters.
        media_type: of the bytes.
        shown: a PDF that the browser may show instead of saving it.
    """
    how = "inline" if shown else "attachment"
    headers = {"content-disposition": f'{how}; filename="{name}"', "cache-control": "no-store"}
    return Response(data, media_type=media_type, headers=headers)
