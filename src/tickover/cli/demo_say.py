"""The demonstration on a terminal: a stage at a time, the answer first."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from tickover.cli.demo_job import Chapter, DemoJob
from tickover.idle.words import plus_minus
from tickover.jobs import STAGES, Entry
from tickover.results import Quantity
from tickover.visit import stages


def say_title(console: Console) -> None:
    """What this is, before anything else."""
    console.print("\n[bold]Tickover, the whole job[/]")
    console.print(
        "Shop, car and figures are invented; the car is simulated, and so is the person at the pedal.\n", style="italic"
    )


def say_stage(console: Console, chapter: Chapter, entries: Sequence[Entry]) -> None:
    """One stage: number, name, the answer, what it rests on."""
    number = STAGES.index(chapter.stage) + 1
    console.print(
        Text.assemble(
            (f" {number} ", "reverse bold"), (f" {chapter.stage.capitalize()}", "bold"), ("  simulated", "dim")
        )
    )
    if chapter.reading is not None:
        for state in chapter.reading.states:
            if isinstance(state.speed, Quantity):
                console.print(
                    f"    [bold]{plus_minus(state.speed)} r/min[/]  {state.name}, {state.seconds:.0f} s, 95 %"
                )
    if chapter.lead:
        console.print(Padding(Text(chapter.lead), (0, 0, 0, 4)))
    for line in chapter.lines:
        console.print(Padding(Text(line, style="dim"), (0, 0, 0, 6)))
    console.print(_stage_line(entries))
    console.print()


def _stage_line(entries: Sequence[Entry]) -> Text:
    """Nine segments: done thick, due marked, later thin, not needed struck."""
    line = Text("    ")
    marks = {"done": ("━━━", ""), "due": ("███", "blue"), "stopped": ("█┼█", ""), "later": ("───", "dim")}
    for state in stages(entries):
        mark, style = marks.get(state.standing, ("─┼─", "dim"))  # not needed, or left out with a reason
        line.append(f"{mark} ", style)
    return line


def say_end(console: Console, job: DemoJob) -> None:
    """Where everything is."""
    console.print("The stages:")
    for number, state in enumerate(stages(job.entries), start=1):
        line = state.line if state.standing in {"done", "skipped"} else ""
        note = f" ({state.tries} tries)" if state.tries > 1 else ""
        console.print(
            Text.assemble(
                f"  {number} {state.stage.capitalize():10}", (f" {state.standing}{note}", "bold"), f"  {line}"
            )
        )
    console.print(f"\nEverything is in [bold]{job.out}/[/]:")
    for path in job.files:
        console.print(f"  {path.name}")
    console.print(
        "\nNext: [bold]tickover coach pedal-hold --car simulated[/], and be the person at the pedal yourself."
    )
