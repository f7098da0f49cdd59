"""Pairing a phone: the one-time code, the devices that are in, and how to end one."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated

import segno
from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from tickover.web.guard import COOKIE
from tickover.web.pages import page
from tickover.web.pairing import SESSION_SECONDS, Pairing

Token = Annotated[str, Query(max_length=200)]


@dataclass(frozen=True)
class Lan:
    """How this workshop is reached.

    Attributes:
        pairing: offers and sessions.
        address: what a phone opens, like ``https://192.168.1.20:8765``.
        fingerprint: of the certificate, as a browser shows it.
        clock: the time of sessions [s].
    """

    pairing: Pairing
    address: str
    fingerprint: str
    clock: Callable[[], float]

    def link(self) -> str:
        """A new one-time link."""
        return f"{self.address}/pair?token={self.pairing.offer(self.clock())}"


def code_svg(link: str) -> str:
    """The link as a QR code in SVG, dark on light whatever the theme: cameras want it so."""
    out = io.BytesIO()
    segno.make(link, error="m").save(
        out, kind="svg", scale=6, border=4, dark="#16202B", light="#FFFFFF", xmldecl=False, svgns=True, title="Pair"
    )
    return out.getvalue().decode()


def routes(lan: Lan) -> APIRouter:
    """Pages of pairing; they are there only where the record is served to the network."""
    router = APIRouter(include_in_schema=False)

    @router.get("/pair")
    def pair_page(request: Request, token: Token = "") -> HTMLResponse:
        return page(request, "pair.html", token=token, fingerprint=lan.fingerprint, refused=False)

    @router.post("/pair")
    def pair(
        request: Request,
        token: Annotated[str, Form(max_length=200)],
        name: Annotated[str, Form(max_length=60)] = "",
    ) -> Response:
        redeemed = lan.pairing.redeem(token, name, lan.clock())
        if redeemed is None:
            return page(request, "pair.html", 403, token="", fingerprint=lan.fingerprint, refused=True)
        answer = RedirectResponse("/", status_code=303)
        answer.set_cookie(
            COOKIE, redeemed[0], max_age=int(SESSION_SECONDS), secure=True, httponly=True, samesite="strict"
        )
        return answer

    @router.get("/devices")
    def devices(request: Request) -> HTMLResponse:
        now = lan.clock()
        seen = [{"id": s.id, "name": s.name, "hours": (s.until - now) / 3600} for s in lan.pairing.sessions(now)]
        return page(request, "devices.html", sessions=seen, fingerprint=lan.fingerprint, code=None)

    @router.post("/devices/code")
    def code(request: Request) -> HTMLResponse:
        now = lan.clock()
        seen = [{"id": s.id, "name": s.name, "hours": (s.until - now) / 3600} for s in lan.pairing.sessions(now)]
        return page(request, "devices.html", sessions=seen, fingerprint=lan.fingerprint, code=code_svg(lan.link()))

    @router.post("/devices/{session}/end")
    def end(session: str) -> RedirectResponse:
        lan.pairing.revoke(session)
        return RedirectResponse("/devices", status_code=303)

    return router
