"""A judgement on a terminal: the verdict first, the picture, the one thing to change."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table
from rich.text import Text

from tickover.coaching import AttemptJudgement
from tickover.coaching.judging import BoundLine, seconds
from tickover.drawing.textline import text_line

LINE = 17
SHOWN = 4
"""So many changes of the nearest attempt are told. Own choice."""
STYLE = {"hit": "blue", "missed": "bold", "undecided": ""}


def print_judgement(console: Console, judgement: AttemptJudgement, *, every: bool = False) -> None:
    """Print one judgement.

    Args:
        console: where to.
        judgement: what to print.
        every: all bounds; else the steps' own, and whatever was not a hit.
    """
    simulated = "  (simulated)" if judgement.simulated else ""
    console.print(f"\n[bold]{judgement.verdict.capitalize()}[/]  {judgement.title}{simulated}")
    console.print(judgement.sentence, markup=False)
    if judgement.joint:
        console.print(f"No single bound shows it, these together do: {'; '.join(judgement.broken)}.", markup=False)
    table = Table.grid(padding=(0, 2))
    table.add_column()
    for _ in range(3):
        table.add_column(no_wrap=True)
    for bound in judgement.bounds:
        if every or bound.verdict != "hit" or _tells(bound):
            table.add_row(*_row(bound))
            if bound.verdict != "hit":
                table.add_row(Text(f"  {_verdict(bound)}", style=STYLE[bound.verdict]))
    console.print(table)
    if judgement.torn:
        console.print("The file's last line was cut off; what stands before it was judged.")
    if len(judgement.nearest) > 1:
        more = f"; and {len(judgement.nearest) - SHOWN} more" if len(judgement.nearest) > SHOWN else ""
        nearest = "; ".join(judgement.nearest[:SHOWN])
        console.print(f"\nThe nearest attempt that passes: {nearest}{more}.", markup=False)
    if judgement.advice:
        console.print()
        console.print(Text(judgement.advice, style="bold"))
    if judgement.recovery:
        console.print(Text.assemble(("\nNow: ", "bold"), judgement.recovery))


def _tells(bound: BoundLine) -> bool:
    """Bounds with two ends are the routine's own; orders and the like are only shown where they were broken."""
    return bound.allowed[0] is not None and bound.allowed[1] is not None and bound.found is not None


def _row(bound: BoundLine) -> tuple[Text, Text, Text, Text]:
    lo, hi = bound.allowed
    allowed = f"at least {lo:g} s" if hi is None else f"{f'{lo:g} to ' if lo is not None else 'within '}{hi:g} s"
    label = bound.label[0].upper() + bound.label[1:]
    if bound.found is None:
        return (
            Text(label),
            Text("·" * LINE, style="dim"),
            Text("not seen", style="dim"),
            Text(f"of {allowed}", style="dim"),
        )
    a, b = bound.found
    found = f"{a:.2f} s" if b - a < 0.01 else f"{a:.2f} to {b:.2f} s"
    return (
        Text(label),
        Text(_picture(bound, a, b), style=STYLE[bound.verdict]),
        Text(found),
        Text(f"of {allowed}", style="dim"),
    )


def _verdict(bound: BoundLine) -> str:
    if bound.early is not None:
        return f"{bound.verdict}, {seconds(bound.early)} too early"
    if bound.late is not None:
        return f"{bound.verdict}, {seconds(bound.late)} too late"
    return bound.verdict


def _picture(bound: BoundLine, a: float, b: float) -> str:
    lo, hi = bound.allowed
    left = a if lo is None else lo
    right = max(b, left) if hi is None else hi
    room = max(right - left, 0.05) / 2
    return text_line(
        (min(left, a) - room, max(right, b) + room),
        LINE,
        jaws=(left, right),
        mark=(a + b) / 2,
        filled=bound.verdict == "hit",
    )
