"""Templates: ours, escaped always, with the few words and figures that all of them use."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from tickover.drawing.tokens import STACKS, css_variables
from tickover.web.pictures import drawn, mark

HERE = Path(__file__).parent
STATIC = HERE / "static"

_environment = Environment(
    loader=FileSystemLoader(HERE / "templates"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)


def clock_time(at: str) -> str:
    """``08:16`` of an ISO time; the day before it is not told again on a job's own sheet."""
    return at[11:16]


_environment.filters["clock"] = clock_time
_environment.filters["drawn"] = drawn
_environment.filters["mark"] = mark


def page(request: Request, template: str, status: int = 200, **values: Any) -> HTMLResponse:  # noqa: ANN401 — for Jinja
    """A page from a template.

    Args:
        request: for the choice of light.
        template: its file name.
        status: of the answer.
        values: what the template uses; text is escaped. It has besides: ``light``, ``here`` to come back to, ``sent``
            where a form was sent, ``paired`` where devices are paired.
    """
    light = request.cookies.get("light", "")
    light = light if light in {"day", "night"} else ""
    sent = request.method not in {"GET", "HEAD"}
    here = "/" if sent else request.url.path
    paired = bool(getattr(getattr(request.scope.get("app"), "state", None), "paired", False))
    shown = _environment.get_template(template).render(light=light, here=here, sent=sent, paired=paired, **values)
    return HTMLResponse(shown, status_code=status)


def tokens_css() -> str:
    """Colours and type as custom properties."""
    fonts = "".join(f"--{role}:{','.join(_quoted(f) for f in stack)};" for role, stack in STACKS.items())
    return f"{css_variables()}:root{{{fonts}}}\n"


def _quoted(name: str) -> str:
    return f'"{name}"' if " " in name else name
