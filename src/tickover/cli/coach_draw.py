"""The coach's screen in a terminal: steps, now, next, after. It only lays out what ``coaching.look`` says."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from tickover.coaching import Card, CoachState, Cue, Script, View
from tickover.drawing.textline import emptying_bar, text_line
from tickover.routines import CompiledRoutine

WIDTH = 46
AHEAD = 3.0
"""The strip shows this much ahead of now [s]."""


def screen(
    play: Script, state: CoachState, view: View, *, try_number: int, said: Cue | None, keys: str
) -> RenderableType:
    """The whole screen as one renderable."""
    since = f"{state.now - state.origin:5.1f} s" if state.origin is not None else ""
    head = Table.grid(expand=True)
    head.add_column()
    head.add_column(justify="right")
    head.add_row(Text.assemble((play.routine.title, "bold"), f", try {try_number}"), Text(since))
    rows: list[RenderableType] = [head, _steps(play.routine, view.step, state), Text("")]
    rows += _now(view.now)
    rows.append(Text(""))
    for label, card in (("Next", view.next), ("After", view.after)):
        if card is not None:
            words = f"{card.word}   {card.detail}" if card.word else card.detail
            rows.append(_row(label, Text(words, style="bold" if label == "Next" else "")))
    if view.caution:
        rows.append(_row("", Text.assemble(("Caution. ", "bold"), view.caution)))
    over = state.phase in {"missed", "done"}  # the card says it then
    rows += [Text(""), Text("" if said is None or over else said.words, style="italic"), Text(keys, style="dim")]
    return Padding(Group(*rows), (0, 1))


def _row(label: str, text: Text) -> Table:
    grid = Table.grid(padding=(0, 1))
    grid.add_column(width=6)
    grid.add_column()
    grid.add_row(Text(label, style="bold" if label == "Now" else "dim"), text)
    return grid


def _steps(routine: CompiledRoutine, current: str, state: CoachState) -> Text:
    """One segment a step: done, due, later."""
    line = Text()
    for step in routine.steps:
        done = all(name in state.happened for name in step.events)
        if state.miss is not None and step.id == state.miss.step:
            line.append("╳╳ ", "bold")
        elif done:
            line.append("━━ ")
        elif step.id == current:
            line.append("██ ", "bold blue")
        else:
            line.append("── ", "dim")
    return line


def _now(card: Card) -> list[RenderableType]:
    """The giant word, its count or countdown, and the strip or the emptying bar."""
    figure = ""
    if card.aim is not None and card.length is None:
        figure = f"in {card.aim:.1f} s" if card.aim > 0 else "now"
    elif card.aim is not None:
        figure = f"{card.aim:.0f} s left"
    word = Text.assemble((f" {card.word.upper()} ", "bold reverse"), f"  {card.detail}  ", (figure, "bold"))
    rows: list[RenderableType] = [_row("Now", word)]
    if card.length is not None and card.aim is not None:
        rows.append(_row("", Text(emptying_bar(card.aim, card.length, WIDTH), style="blue")))
    elif card.window is not None:
        open_to = card.window[1]
        ahead = AHEAD if card.aim is not None or open_to is None else max(AHEAD, open_to + 1.0)
        line = text_line((-0.5, ahead), WIDTH, jaws=card.window, mark=card.aim, now=0.0, filled=False)
        rows.append(_row("", Text(line, style="blue")))
        rows.append(_row("", Text(_window_words(card.window[0], open_to), style="dim")))
    return rows


def _window_words(lo: float, hi: float | None) -> str:
    if hi is None:
        return f"window opens in {lo:.1f} s" if lo > 0 else "window is open"
    if lo > 0:
        return f"window in {lo:.1f} to {hi:.1f} s"
    return f"window open, {max(hi, 0.0):.1f} s left"
