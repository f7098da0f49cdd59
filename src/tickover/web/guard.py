"""What stands before every page: the right host, the same origin, a session where one is needed, a size, a policy.

A plain ASGI wrapper, so that nothing of the pages runs before it has agreed.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Awaitable, Callable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any

from starlette.requests import Request

from tickover.web.faults import as_data, way_back
from tickover.web.pages import page
from tickover.web.pairing import Pairing, Session

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

LARGEST = 64 * 1024 * 1024
"""No request is larger than this [bytes]: an hour of log at ten rows a second is about 6 MB. Own choice."""

DRAINED = 16
"""A body this many times too large is still taken off the line, and thrown away: a browser shows the answer only when
it has sent everything. Own choice."""

COOKIE = "tickover_session"
"""Name of the cookie of a paired device."""


SAFE = frozenset({"GET", "HEAD", "OPTIONS"})

POLICY = "; ".join(
    [
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "style-src-attr 'unsafe-inline'",  # axis words stand at per-cent positions of their own
        "img-src 'self' data:",
        "media-src 'self' blob:",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    ]
)
"""The content policy of every answer: our own files only, no inline script."""

HEADERS = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),  # with “no-referrer” a browser names the origin of our own forms “null”
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), geolocation=(), microphone=(self)"),
)


NOTHING = "'none'"
_SOURCE = re.compile(r"'(?:none|self|sha256-[A-Za-z0-9+/]{43}=)'|data:|blob:")
_FIXED = {"default-src": "'none'", "base-uri": "'none'", "frame-ancestors": "'none'"}
_INLINE = re.compile(r"<(script|style)>(.*?)</\1>", re.DOTALL)


def own_policy(html: str) -> str:
    """The policy of a page that is whole in itself: its own inline scripts and styles, by their digest, nothing else.

    Args:
        html: the page; an inline script or style opens with a bare ``<script>`` or ``<style>``.
    Returns: a policy that the guard lets stand.
    """
    found: dict[str, list[str]] = {"script": [], "style": []}
    for kind, text in _INLINE.findall(html):
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        found[kind].append(f"'sha256-{digest}'")
    return "; ".join(
        [
            "default-src 'none'",
            f"script-src {' '.join(found['script']) or NOTHING}",
            f"style-src {' '.join(found['style']) or NOTHING}",
            "style-src-attr 'unsafe-inline'",
            "img-src data:",
            "media-src blob:",
            "form-action 'none'",
            "base-uri 'none'",
            "frame-ancestors 'none'",
        ]
    )


def as_strict(policy: str) -> bool:
    """Whether a policy that a response brought allows nothing from elsewhere and no script without its digest."""
    rows = [part.split() for part in policy.split(";") if part.strip()]
    told: dict[str, list[str]] = {}
    for name, *sources in rows:
        told.setdefault(name.lower(), sources)  # the first of a name counts, as in a browser
    if any(told.get(name) != [value] for name, value in _FIXED.items()) or "form-action" not in told:
        return False
    return all(
        sources == ["'unsafe-inline'"] if name == "style-src-attr" else all(map(_SOURCE.fullmatch, sources))
        for name, sources in told.items()
    )


def _with_ours(headers: list[tuple[bytes, bytes]]) -> list[tuple[bytes, bytes]]:
    """A response's headers with ours: our policy, unless it brought one of its own that is as strict."""
    own = [value for name, value in headers if name.lower() == b"content-security-policy"]
    if len(own) == 1 and as_strict(own[0].decode("latin-1")):
        return [*headers, *HEADERS]
    kept = [(n, v) for n, v in headers if n.lower() != b"content-security-policy"]
    return [*kept, (b"content-security-policy", POLICY.encode()), *HEADERS]


class TooLarge(Exception):  # noqa: N818 — it never leaves this file
    """The body went past the limit."""


class Guard:
    """Refuse what should not come in.

    Args:
        app: what it guards.
        hosts: values of the Host header that are ours, with and without port.
        pairing: the sessions; None where the page is served to this machine alone.
        clock: the time [s], for sessions.
        secure: whether it is served over TLS.
        largest: most bytes of a request.
    """

    def __init__(
        self,
        app: App,
        *,
        hosts: frozenset[str],
        pairing: Pairing | None,
        clock: Callable[[], float],
        secure: bool,
        largest: int = LARGEST,
    ) -> None:
        self.app = app
        self.hosts = hosts
        self.pairing = pairing
        self.clock = clock
        self.secure = secure
        self.largest = largest

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer why not."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        headers = {k.decode("latin-1").lower(): v.decode("latin-1") for k, v in scope["headers"]}
        refused = self._refuse(scope, headers)
        if refused is not None:
            if refused[0] == 413:
                await _drain(receive, self.largest * DRAINED)
            await _answer(scope, send, *refused)
            return
        gate = _Gate(scope, receive, send, self.largest)
        try:
            await self.app(scope, gate.receive, gate.send)
        except TooLarge:
            await gate.refuse()

    def _refuse(self, scope: Scope, headers: dict[str, str]) -> tuple[int, str, str] | None:
        host = headers.get("host", "")
        if host.lower() not in self.hosts:
            return 421, "this address is not served here", "Open the page by the address that `tickover serve` printed."
        if scope["method"] not in SAFE and not self._same_origin(headers, host):
            return 403, "the request came from another page", "Open the page itself and try again."
        if headers.get("sec-fetch-site") == "cross-site" and scope["path"].startswith("/api"):
            return 403, "the request came from another page", "Open the page itself and try again."
        if self.pairing is not None and self._session(scope, headers) is None:
            return 401, "this device is not paired", "Scan the code that `tickover serve --lan` shows."
        length = headers.get("content-length", "0")
        if not length.isascii() or not length.isdigit():
            return 400, "the length of the request is not a number", "Send it again."
        if int(length) > self.largest:
            return _too_large(self.largest)
        return None

    def _same_origin(self, headers: dict[str, str], host: str) -> bool:
        """Browsers name the origin of every change; what is no browser names none, and cannot be tricked by a page."""
        origin = headers.get("origin")
        site = headers.get("sec-fetch-site", "none")
        if site not in {"same-origin", "none"}:
            return False
        return origin is None or origin == f"{'https' if self.secure else 'http'}://{host}"

    def _session(self, scope: Scope, headers: dict[str, str]) -> Session | str | None:
        assert self.pairing is not None
        if scope["path"] == "/pair" or scope["path"].startswith("/static/"):
            return "open"
        try:
            morsel = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
        except CookieError:
            return None
        return None if morsel is None else self.pairing.check(morsel.value, self.clock())


class _Gate:
    """Counts what comes in, and adds our headers to what goes out; past the limit only the refusal goes out."""

    def __init__(self, scope: Scope, receive: Receive, send: Send, largest: int) -> None:
        self._scope = scope
        self._receive = receive
        self._send = send
        self._largest = largest
        self._seen = 0
        self._more = True
        self._started = False
        self._refused = False

    async def receive(self) -> Message:
        message = await self._receive()
        self._seen += len(message.get("body", b""))
        self._more = message["type"] == "http.request" and bool(message.get("more_body"))
        if self._seen > self._largest:
            raise TooLarge
        return message

    async def send(self, message: Message) -> None:
        if self._seen > self._largest and not self._started:
            await self.refuse()  # whatever a page made of the broken body is not the answer
            return
        if self._refused:
            return
        if message["type"] == "http.response.start":
            self._started = True
            message["headers"] = _with_ours(list(message.get("headers", [])))
        await self._send(message)

    async def refuse(self) -> None:
        if self._started or self._refused:
            return
        self._refused = True
        if self._more:
            await _drain(self._receive, self._largest * DRAINED)
        await _answer(self._scope, self._send, *_too_large(self._largest))


def _too_large(largest: int) -> tuple[int, str, str]:
    size = f"{largest // 2**20} MB" if largest >= 2**20 else f"{largest} bytes"
    return 413, f"this is more than {size}", "Send a shorter recording, or leave out columns that are not needed."


async def _drain(receive: Receive, most: int) -> None:
    """Take off the line what is still sent, up to a limit."""
    while most > 0:
        message = await receive()
        most -= len(message.get("body", b""))
        if message["type"] != "http.request" or not message.get("more_body"):
            return


async def _answer(scope: Scope, send: Send, status: int, what: str, way_out: str) -> None:
    """The refusal as a page or as data, whichever was asked for."""
    request = Request(scope)
    if as_data(scope["path"], request.headers.get("accept", "")):
        body = json.dumps({"error": "Refused", "what": what, "way_out": way_out, "values": {}}).encode()
        kind = b"application/json"
    else:
        back = way_back(scope["path"])
        told = page(request, "fault.html", status, what=what[:1].upper() + what[1:], way_out=way_out, back=back)
        body, kind = bytes(told.body), b"text/html; charset=utf-8"
    headers = _with_ours([(b"content-type", kind), (b"content-length", str(len(body)).encode())])
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
