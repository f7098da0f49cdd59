"""The phone coach: one HTML file that coaches a routine from a phone's storage, with no network and no server.

The page is our own plain JavaScript modules, laid one after the other into one script; the plan (windows, waits,
aims) is worked out here and embedded as data, so that the phone only looks up.
"""

from __future__ import annotations

import html
import json
import math
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from tickover.cues.sounds import ACT_SOUNDS, EDGE, RECIPES, Sound
from tickover.drawing.tokens import STACKS, css_variables
from tickover.errors import InputError
from tickover.routines import CompiledRoutine
from tickover.routines.aiming import aims_for
from tickover.timing import Aim, prepare
from tickover.timing.network import bounds_of

SCRIPTS = Path(__file__).parent / "js"
"""Our JavaScript modules and the style sheet; a server may serve them one by one."""

LARGEST = 150_000
"""No page is larger than this [bytes]; it travels by message and lies on a phone for years. Own choice."""

_IMPORT = re.compile(r'^import \{[^}]*\} from "\./([a-z]+\.js)";\n', re.MULTILINE)
_TOP = re.compile(r"^(?:export )?(?:async )?(?:function|const|let|class) +([A-Za-z_$][\w$]*)", re.MULTILINE)


def phone_page(routine: CompiledRoutine) -> str:
    """The page that coaches one routine.

    Args:
        routine: compiled for the car's switch.
    Returns: a whole HTML document without any address in it; UTF-8 it is under ``LARGEST`` bytes.
    Raises: ContradictionError or NotControllableError if the routine cannot be run; InputError if the page would be
        too large.
    """
    data = json.dumps(phone_data(routine), ensure_ascii=False, separators=(",", ":")).replace("<", "\\u003c")
    fonts = "".join(f"--{role}:{','.join(_quoted(f) for f in stack)};" for role, stack in STACKS.items())
    style = f"{css_variables()}:root{{{fonts}}}\n{(SCRIPTS / 'phone.css').read_text(encoding='utf-8')}"
    start = 'window.tickover = startCoach(window, JSON.parse(document.getElementById("plan").textContent), '
    start += "window.tickoverVoice ?? null);"
    page = (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width,initial-scale=1">\n'
        f"<title>{html.escape(routine.title)}</title>\n<style>\n{style}</style></head>\n<body><main></main>\n"
        f'<script type="application/json" id="plan">{data}</script>\n'
        f'<script>\n(() => {{\n"use strict";\n{bundle("app.js")}\n{start}\n}})();\n</script></body></html>\n'
    )
    size = len(page.encode())
    if size > LARGEST:
        raise InputError(
            f"the page of “{routine.id}” would be {size} bytes, more than {LARGEST}",
            way_out="Split the routine into two.",
        )
    return page


def phone_data(routine: CompiledRoutine) -> dict[str, Any]:
    """What the page looks up: routine, windows, waits, aims, sounds; plain JSON, open sides ``None``."""
    plan = routine.plan()
    prepared = prepare(plan)
    found = aims_for(routine, "coach", prepared=prepared)
    return {
        "routine": json.loads(routine.model_dump_json()),
        "digest": routine.digest,
        "basis": routine.basis.words,
        "ahead": [[_finite(x) for x in row] for row in prepared.tables.ahead],
        "before": [list(row) for row in prepared.tables.before],
        "waits": [
            [{"answer": w.answer, "after": w.after, "seconds": w.seconds} for w in row if w.gate is None]
            for row in prepared.tables.waits
        ],
        "aims": {
            a.event: {"after": a.after, "delay": a.delay, "offset": _offset(routine, found, a)} for a in found.values()
        },
        "bounds": [[_finite(b.lo), _finite(b.hi)] for b in bounds_of(plan)],
        "sounds": {name: _recipe_data(name) for name in RECIPES},
        "actSounds": dict(ACT_SOUNDS),
        "edge": EDGE,
        "heard": _heard(routine),
        "recovery": recovery_seconds(routine.after_miss),
    }


def _recipe_data(name: Sound) -> dict[str, Any]:
    recipe = RECIPES[name]
    notes = [{"start": n.start, "length": n.length, "f0": n.f0, "f1": n.f1, "shape": n.shape} for n in recipe.notes]
    return {"notes": notes, "peak": recipe.peak, "length": recipe.length, "meaning": recipe.meaning}


def _heard(routine: CompiledRoutine) -> list[Sound]:
    """The sounds of this routine, in the order in which they first come."""
    acts = [ACT_SOUNDS.get(e.kind, "other act") for e in routine.events if not e.answer]
    answers: list[Sound] = ["look out"] if routine.answers else []
    return list(dict.fromkeys([*acts, *answers, "stop", "done"]))


def _offset(routine: CompiledRoutine, found: dict[str, Aim], aim: Aim) -> float:
    """How long after the first act of its own step an act is aimed [s]."""
    first = routine.step(next(e.step for e in routine.events if e.name == aim.event)).events[0]
    total, here = 0.0, aim.event
    while here != first and here in found:
        total += found[here].delay
        here = found[here].after
    return total


def _finite(value: float) -> float | None:
    return round(value, 9) if math.isfinite(value) else None


def _quoted(name: str) -> str:
    return f'"{name}"' if " " in name else name


def recovery_seconds(after_miss: str) -> float | None:
    """The wait that the words after a miss ask for [s]; None where they name none.

    Example: ``recovery_seconds("Ignition off, wait 30 s, begin again.")`` is 30.
    """
    found = re.search(r"\bwait (\d+(?:\.\d+)?) (s|min)\b", after_miss)
    return None if found is None else float(found[1]) * (60 if found[2] == "min" else 1)


def bundle(entry: str) -> str:
    """Our modules as one script, each before those that use it, imports and exports taken out.

    Args:
        entry: file name of the module to begin with.
    Returns: the script; the names of all modules share one scope.
    Raises: InputError if two modules give a name of the same spelling.
    """
    texts: dict[str, str] = {}
    for name, text in _in_order(entry, set()):
        texts[name] = text
    seen: dict[str, str] = {}
    for name, text in texts.items():
        for top in _TOP.findall(text):
            if top in seen:
                raise InputError(f"{seen[top]} and {name} both have a “{top}”", way_out="Give one another name.")
            seen[top] = name
    return "\n".join(re.sub(r"^export ", "", _IMPORT.sub("", t), flags=re.MULTILINE) for t in texts.values())


def _in_order(name: str, done: set[str]) -> Iterator[tuple[str, str]]:
    if name in done:
        return
    done.add(name)
    text = (SCRIPTS / name).read_text(encoding="utf-8")
    for used in _IMPORT.findall(text):
        yield from _in_order(used, done)
    yield name, text
