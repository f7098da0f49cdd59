"""One page of a reading or a comparison that works offline: nothing is fetched, one small script of our own zooms."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Iterable
from importlib.resources import files
from pathlib import PurePath
from typing import Any

from tickover.drawing.line import Found, ruled_line
from tickover.drawing.picture import Picture
from tickover.drawing.svg import escape
from tickover.drawing.tokens import css_variables
from tickover.idle import words
from tickover.idle.chart import letters, overlay_chart, record_chart
from tickover.idle.figures import comparison_figure, reading_figure, unused_figure
from tickover.idle.results import Comparison, IdleReading, IdleState, Stretch
from tickover.idle.stretches import stretches
from tickover.results import CannotTell, Quantity
from tickover.signals import Recording

Normal = tuple[float, float] | None
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
    source = reading.source if isinstance(reading, IdleReading) else recording.source if recording is not None else ""
    name = PurePath(source).name
    title = "Idle before and after"
    if comparison is None:
        by_eye = isinstance(reading, IdleReading) and reading.by_eye
        title = "Idle read by eye" if by_eye else f"Idle of {name or 'a car'}"
    simulated = isinstance(reading, IdleReading) and reading.simulated
    body = [
        f'<div class="top"><div><h1>{escape(title)}</h1>',
        f'<p class="soft">{"Simulated car. " if simulated else ""}Measured by Tickover. Ranges are at 95 %.</p></div>',
        '<button id="light" type="button" hidden>Night</button></div>',
    ]
    if comparison is not None:
        body += [*_verdict(comparison), "<h2>After, in full</h2>"]
    body += _cards(reading, normal)
    chart, data = _chart(reading, recording, normal, comparison, before)
    body += chart
    body += _closing(reading, comparison)
    return _document(title, "\n".join(body), data)


def chart_script() -> str:
    """The zooming chart as a module of JavaScript; it gives ``zoomable``."""
    return files("tickover.idle").joinpath("chart.js").read_text(encoding="utf-8")


def _document(title: str, body: str, data: dict[str, Any]) -> str:
    here = files("tickover.idle")
    chart = chart_script().replace("export const", "const")
    script = '"use strict";\n' + chart + here.joinpath("page.js").read_text(encoding="utf-8")
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
        told = escape(_sentence(words.cannot_tell(reading)))
        return [f'<section class="no"><h2>Cannot tell the idle</h2><p>{told}</p></section>']
    cards = [_card(reading, s, None if s.name == "loads on" else normal) for s in reading.states]
    return ['<div class="cards">', *cards, "</div>", _list(words.more(reading))]


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


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
    legend: list[str] = []
    data: dict[str, Any] = {"panels": [], "spans": [], "start": 0, "stop": 1, "sentence": ""}
    if comparison is not None and before is not None:
        still = comparison_figure(comparison, before, reading, room=_still_room(before, reading))
        overlaid = overlay_chart(comparison, before, reading)
        if still is not None and overlaid is None:  # two idles read by eye: marks on one line, nothing to zoom
            return ["<h2>Before and after</h2>", f'<div class="line">{still.svg("css")}</div>'], data
        data |= overlaid or {}
    elif isinstance(reading, IdleReading) and recording is not None:
        still = reading_figure(reading, normal=normal)
        if still is not None:
            data |= record_chart(reading.stretches, recording, normal)
            legend = _legend(reading.stretches)
    elif recording is not None:
        still = unused_figure(recording, normal=normal)
        if still is not None:
            pieces = stretches(recording)
            data |= record_chart(pieces, recording, normal)
            legend = _legend(pieces)
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
        *legend,
    ], data


def _still_room(*readings: IdleReading | CannotTell) -> float:
    """Width of a still picture [px]: a line of marks fits a phone, a trace scrolls there."""
    return 760.0 if any(isinstance(r, IdleReading) and r.trace["t"] for r in readings) else _NARROW


def _key() -> str:
    def stroke(colour: str, weight: float) -> str:
        return (
            '<svg width="36" height="12" aria-hidden="true"><path d="M0 6H36" fill="none" '
            f'stroke="var(--{colour})" stroke-width="{weight}"/></svg>'
        )

    return f'<ul class="key"><li>{stroke("line", 1.2)}before</li><li>{stroke("do", 3.2)}after</li></ul>'


def _legend(pieces: tuple[Stretch, ...]) -> list[str]:
    """The letters of the hatched pieces, and every stretch in a table."""
    rows = []
    for reason, letter in letters(pieces).items():
        long = sum(s.stop - s.start for s in pieces if s.unused_because == reason)
        rows.append((letter, f"{reason}, {long:.0f} s"))
    table = [
        (
            f"{words.number(s.start)} to {words.number(s.stop)} s",
            "used" if s.used else f"not used: {s.unused_because}",
            s.starts_because,
            s.ends_because,
        )
        for s in pieces
    ]
    head = "<tr><th>from, to</th><th>counts</th><th>begins as</th><th>ends as</th></tr>"
    return [
        _list(rows, ' class="letters"'),
        f"<details><summary>Every stretch, {len(table)}</summary>"
        f'<div class="scroll"><table>{head}{_rows(table)}</table></div></details>',
    ]


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
