"""Jobs for the tests of the visit, entry by entry."""

from typing import Any

from tickover.jobs.entries import Entry

Row = tuple[str, str, dict[str, Any]]


def job(*rows: Row) -> list[Entry]:
    return [
        Entry(seq=n, stage=stage, kind=kind, at=f"2026-11-25T10:{n % 60:02d}:00+00:00", data=data)
        for n, (stage, kind, data) in enumerate(rows, start=1)
    ]


def rung(
    routine: str, *, requires: tuple[str, ...] = (), may_erase: bool = False, sort: str = "routine"
) -> dict[str, Any]:
    return {
        "sort": sort,
        "title": routine.replace("-", " ").capitalize(),
        "routine": routine if sort == "routine" else None,
        "requires": list(requires),
        "may_erase": may_erase,
        "command": f"tickover coach {routine}" if sort == "routine" else "",
    }


def ladder(*rungs: dict[str, Any]) -> Row:
    return ("arrive", "ladder", {"rungs": list(rungs)})


def attempt(verdict: str, routine: str = "pedal-count") -> Row:
    return ("relearn", "attempt", {"routine": routine, "verdict": verdict, "sentence": verdict})


def after(verdict: str) -> Row:
    return ("after", "comparison", {"verdict": verdict})


START: tuple[Row, ...] = (("arrive", "story", {}), ("before", "reading", {}), ("set up", "needs", {}))
FULL = ladder(
    rung("power-cycle"),
    rung("pedal-rest"),
    rung("throttle-stop", requires=("pedal-rest",)),
    rung("pedal-hold"),
    rung("pedal-count", requires=("throttle-stop",), may_erase=True),
    rung("", sort="drive"),
)
DARK: Row = ("arrive", "answers", {"lamp": "dark"})
