"""What each stage shows inside itself: a template and its values, for the stages that have one."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from tickover.jobs import Stage
from tickover.routines import Routine
from tickover.web import arrive, cause, coach, drive, handover, reading, ready, set_up
from tickover.web.site import Site
from tickover.web.views import JobView, Seen

PANELS: dict[Stage, Callable[[Seen], dict[str, Any]]] = {
    "arrive": arrive.panel,
    "before": lambda seen: reading.panel(seen, "before"),
    "set up": set_up.panel,
    "relearn": coach.panel,
    "after": lambda seen: reading.panel(seen, "after"),
    "cause": cause.panel,
    "drive": drive.panel,
    "ready": ready.panel,
    "hand over": handover.panel,
}
"""Stage to what fills its template ``stage_<name>.html``."""


def panels(
    view: JobView, site: Site, library: Mapping[str, Routine], *, set_up: str = ""
) -> dict[Stage, dict[str, Any]]:
    """Values of every stage's own template, by stage; Set up for a routine that was asked for, else the due one."""
    seen = Seen(view, site, library, set_up)
    return {stage: {"upto": seen.upto, **fill(seen)} for stage, fill in PANELS.items()}
