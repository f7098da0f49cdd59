"""One page of a reading or a comparison that works offline: nothing is fetched, one small script of our own zooms."""

from __future__ import annotations

import base64
import hashlib
import json
import math
from collections.abc import Iterable
from importlib.resources import files
from pathlib import PurePath
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tickover.drawing.line import Found, ruled_line
from tickover.drawing.picture import Picture
from tickover.drawing.svg import escape
from tickover.drawing.tokens import css_variables
from tickover.idle import words
from tickover.idle.figures import comparison_figure, reading_figure, used_trace
from tickover.idle.reading import total_trim
from tickover.idle.results import Comparison, IdleReading, IdleState
from tickover.results import CannotTell, Quantity
from tickover.signals import Recording, Series

Floats = NDArray[np.float64]
Normal = tuple[float, float] | None
MOST = 8000  # points of one signal on a page; extremes are kept
_NARROW = 300.0


def page(
    reading: IdleReading | CannotTell,
    recording: Recording | None,
    *,
    normal: Normal = None,
    comparison: Comparison | None = None,
    before: IdleReading | CannotTell | None = None,
) -> str:
    """The page.

    Args:
        reading: the idle; with a comparison, the one after.
        recording: what it was measured from; None for glances.
        normal: the car's normal idle [r/min].
        comparison: how it compares with ``before``.
        before: the idle before.
    Returns: one HTML document, day and night, that asks nothing of the network.
    """
    name = PurePath(reading.source).name if isinstance(reading, IdleReading) else ""
    title = "Idle before and after" if comparison is not None else f"Idle of {name or 'a car'}"
    simulated = isinstance(reading, IdleReading) and reading.simulated
    body = [
        f'<div class="top"><div><h1>{escape(title)}</h1>',
        f'<p class="soft">{"Simulated car. " if simulated else ""}Measured by Tickover. Ranges are at 95 %.</p></div>',
        '<button id="light" type="button" hidden>Night</button></div>',
    ]
    if comparison is not None:
        body += [*_verdict(comparison), "<h2>After, in full</h2>"]
    body += _cards(reading, normal)
    chart, data = _chart(reading, recording, normal, comparison, before)
    body += chart
    body += _closing(reading, comparison)
    return _document(title, "\n".join(body), data)


def _document(title: str, body: str, data: dict[str, Any]) -> str:
    here = files("tickover.idle")
    script = here.joinpath("page.js").read_text(encoding="utf-8")
    style = css_variables() + here.joinpath("page.css").read_text(encoding="utf-8")
    allowed = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    policy = f"default-src 'none'; style-src 'unsafe-inline'; script-src 'sha256-{allowed}'; base-uri 'none'"
    told = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":")).replace("<", "\\u003c")
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>\n{style}</style>\n</head>\n<body>\n<main>\n{body}\n</main>\n"
        f'<script type="application/json" id="data">{told}</script>\n<script>{script}</script>\n</body>\n</html>\n'
    )


def _verdict(found: Comparison) -> list[str]:
    dress = "verdict no" if found.verdict == "cannot tell" else "verdict"
    return [
        f'<section class="{dress}" aria-label="Verdict"><b>{escape(found.verdict.capitalize())}</b>',
        f"<p>{escape(found.sentence)}</p>",
        _list([("difference", words.difference_words(found)), *(("rests on", r) for r in found.rests_on)]),
        "</section>",
        _numbers(found),
    ]


def _numbers(found: Comparison) -> str:
    """The numbers behind the verdict, side by side."""
    table = words.numbers(found)
    if not table:
        return ""
    head = "<tr><th></th><th>before</th><th>after</th></tr>"
    return f'<div class="scroll"><table>{head}{_rows(table)}</table></div>'


def _rows(table: Iterable[tuple[str, ...]]) -> str:
    return "".join(
        "<tr>" + f'<th scope="row">{escape(row[0])}</th>' + "".join(f"<td>{escape(c)}</td>" for c in row[1:]) + "</tr>"
        for row in table
    )


def _list(rows: Iterable[tuple[str, str]], dress: str = "") -> str:
    out, last = [], None
    for what, text in rows:
        out.append(f"<dt>{escape(what) if what != last else ''}</dt><dd>{escape(text)}</dd>")
        last = what
    return f"<dl{dress}>{''.join(out)}</dl>" if out else ""


def _cards(reading: IdleReading | CannotTell, normal: Normal) -> list[str]:
    if isinstance(reading, CannotTell):
        return [
            f'<section class="no"><h2>Cannot tell the idle</h2><p>{escape(words.cannot_tell(reading))}</p></section>'
        ]
    cards = [_card(reading, s, None if s.name == "loads on" else normal) for s in reading.states]
    return ['<div class="cards">', *cards, "</div>", _list(words.more(reading))]


def _card(reading: IdleReading, state: IdleState, normal: Normal) -> str:
    speed = state.speed
    figure = words.plus_minus(speed) if isinstance(speed, Quantity) else "cannot tell"
    line = ""
    if isinstance(speed, Quantity):
        drawn = ruled_line(
            [Found("idle", speed.value, speed.lo, speed.hi)], allowed=normal, unit="r/min", about="Idle", room=_NARROW
        )
        line = f'<div class="line">{drawn.svg("css")}</div>'
    return (
        f'<section><div class="figure">{escape(figure)} <small>r/min</small></div>'
        f"<p>{escape(words.conditions(state))}, 95 %</p>{line}{_list(words.rows(reading, state))}</section>"
    )


def _chart(
    reading: IdleReading | CannotTell,
    recording: Recording | None,
    normal: Normal,
    comparison: Comparison | None,
    before: IdleReading | CannotTell | None,
) -> tuple[list[str], dict[str, Any]]:
    """The chart's place, with a still picture for those without script, and what the script draws."""
    still: Picture | None = None
    data: dict[str, Any] = {"panels": [], "spans": [], "start": 0, "stop": 1, "sentence": ""}
    if comparison is not None and before is not None:
        still = comparison_figure(comparison, before, reading)
        if still is not None:
            data |= _overlay(comparison, before, reading)
    elif isinstance(reading, IdleReading) and recording is not None:
        still = reading_figure(reading, normal=normal)
        if still is not None:
            data |= _record(reading, recording, normal)
    if still is None:
        return [], data
    data["sentence"] = still.sentence
    overlay = comparison is not None
    buttons = "".join(
        f'<button type="button" id="{i}">{t}</button>'
        for i, t in (
            ("closer", "Closer"), ("wider", "Wider"), ("earlier", "Earlier"), ("later", "Later"), ("whole", "All of it")
        )
    )  # fmt: skip
    return [
        f"<h2>{'Before and after, each from the first second that counts' if overlay else 'The recording'}</h2>",
        *([_key()] if overlay else []),
        f'<div id="zoom" hidden><div class="buttons">{buttons}</div></div>',
        '<div id="chart" class="chart" tabindex="0" role="img" aria-label="chart"></div>',
        f'<noscript><div class="scroll">{still.svg("css")}</div></noscript>',
        '<p id="shown" class="form soft" role="status"></p>',
        *([] if overlay or isinstance(reading, CannotTell) else _legend(reading)),
    ], data


def _key() -> str:
    def stroke(colour: str, weight: float) -> str:
        return (
            '<svg width="36" height="12" aria-hidden="true"><path d="M0 6H36" fill="none" '
            f'stroke="var(--{colour})" stroke-width="{weight}"/></svg>'
        )

    return f'<ul class="key"><li>{stroke("line", 1.2)}before</li><li>{stroke("do", 3.2)}after</li></ul>'


def _letters(reading: IdleReading) -> dict[str, str]:
    why = dict.fromkeys(s.unused_because or "" for s in reading.stretches if not s.used)
    return {reason: "abcdefghijklmnopqrstuvwxyz"[i % 26] for i, reason in enumerate(why)}


def _legend(reading: IdleReading) -> list[str]:
    """The letters of the hatched pieces, and every stretch in a table."""
    rows = []
    for reason, letter in _letters(reading).items():
        long = sum(s.stop - s.start for s in reading.stretches if s.unused_because == reason)
        rows.append((letter, f"{reason}, {long:.0f} s"))
    table = [
        (
            f"{words.number(s.start)} to {words.number(s.stop)} s",
            "used" if s.used else f"not used: {s.unused_because}",
            s.starts_because,
            s.ends_because,
        )
        for s in reading.stretches
    ]
    head = "<tr><th>from, to</th><th>counts</th><th>begins as</th><th>ends as</th></tr>"
    return [
        _list(rows, ' class="letters"'),
        f"<details><summary>Every stretch, {len(table)}</summary>"
        f'<div class="scroll"><table>{head}{_rows(table)}</table></div></details>',
    ]


def _thin(t: Floats, v: Floats) -> dict[str, Any]:
    """At most ``MOST`` points, lowest and highest of each piece of time kept; ``gap``: silence that breaks the line."""
    good = np.isfinite(v)
    t, v = t[good], v[good]
    gap = max(5 * float(np.median(np.diff(t))), 1.0) if len(t) > 1 else 1.0
    if len(t) > MOST:
        keep: list[int] = []
        for part in np.array_split(np.arange(len(t)), MOST // 2):
            keep += sorted({int(part[np.argmin(v[part])]), int(part[np.argmax(v[part])])})
        gap = max(gap, 5 * float(np.median(np.diff(t[keep]))))
        t, v = t[keep], v[keep]
    return {"t": [round(float(x), 2) for x in t], "v": [round(float(x), 2) for x in v], "gap": round(gap, 2)}


def _record(reading: IdleReading, recording: Recording, normal: Normal) -> dict[str, Any]:
    shown: list[tuple[str, Series | None, Normal, int, float]] = [
        ("engine speed, r/min", recording.get("engine_speed"), normal, 240, 20.0),
        ("fuel trim, short and long together, %", total_trim(recording), None, 120, 4.0),
    ]
    panels = []
    for what, series, band, height, least in shown:
        if series is not None and len(series):
            told = what + (f"; dotted: normal {band[0]:g} to {band[1]:g}" if band else "")
            drawn = {**_thin(series.t_hi, series.value), "colour": "ink", "weight": 1.4}
            panels.append({"what": told, "height": height, "least": least, "normal": band, "series": [drawn]})
    letters = _letters(reading)
    spans = [
        {"start": round(s.start, 2), "stop": round(s.stop, 2)}
        | ({} if s.used else {"why": s.unused_because or "", "letter": letters[s.unused_because or ""]})
        for s in reading.stretches
    ]
    start, stop = recording.span
    return {"panels": panels, "spans": spans, "start": math.floor(start), "stop": math.ceil(stop)}


def _overlay(
    comparison: Comparison, before: IdleReading | CannotTell, after: IdleReading | CannotTell
) -> dict[str, Any]:
    from_state = ((before, comparison.before_state, "line", 1.2), (after, comparison.after_state, "do", 3.2))
    series: list[dict[str, Any]] = []
    for reading, state, colour, weight in from_state:
        used = used_trace(reading, state)
        if used is not None:
            t, v = list(used.t), list(used.values)
            gap = max(5 * float(np.median(np.diff(t))), 1.0) if len(t) > 1 else 1.0
            series.append({"t": [round(x, 2) for x in t], "v": v, "gap": gap, "colour": colour, "weight": weight})
    band = comparison.normal
    told = "idle speed, r/min" + (f"; dotted: normal {band[0]:g} to {band[1]:g}" if band else "")
    panel = {"what": told, "height": 280, "least": 20.0, "normal": band, "series": series}
    return {"panels": [panel], "spans": [], "start": 0, "stop": max(s["t"][-1] for s in series) or 1}


def _closing(reading: IdleReading | CannotTell, comparison: Comparison | None) -> list[str]:
    if isinstance(reading, CannotTell):
        return []
    out = []
    if reading.refusals:
        told = "".join(f"<li>{escape(words.cannot_tell(r))}</li>" for r in reading.refusals)
        out.append(f'<section class="no"><h2>Cannot tell</h2><ul>{told}</ul></section>')
    rests = "".join(f"<li>{escape(r)}</li>" for r in reading.rests_on)
    which = "The reading after rests on" if comparison is not None else "What this rests on"
    out.append(f"<details open><summary>{which}</summary><ul>{rests}</ul></details>")
    return out
