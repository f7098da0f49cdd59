"""``tickover practice``: learn how a person times, from key taps, a file of taps, or a simulated person."""

from __future__ import annotations

from pathlib import Path

import click
import numpy as np
from rich.console import Console
from rich.table import Table

from tickover.cli.keys import raw_terminal
from tickover.cli.people import (
    Kept,
    KeptTap,
    kept_file,
    kept_names,
    learned_of,
    parse_person,
    read_kept,
    read_taps,
    write_kept,
)
from tickover.cli.practice_run import Session
from tickover.coaching.practice import (
    INTERVALS,
    TARGETS,
    Practised,
    practice_lines,
    practised,
    simulated_taps,
    tasks,
)
from tickover.errors import InputError
from tickover.results import Result, envelope
from tickover.timing.learn import Model, Tap

LONGEST = 60.0


class _Names(Result):
    """Who is kept, and who was forgotten just now."""

    names: tuple[str, ...]
    forgotten: str | None = None


@click.command("practice")
@click.option(
    "--taps",
    type=click.Path(path_type=Path),
    help="Read taps from the phone, or lines of aimed,made in seconds, and cued as 1 or 0.",
)
@click.option("--simulate", metavar="cv=…", help="Let a simulated person tap, to try it without fingers.")
@click.option("--seed", type=int, default=1, show_default=True, help="Mixes the intervals; fixes the simulated person.")
@click.option("--by", metavar="NAME", help="Keep the taps under this name and add to those kept before.")
@click.option("--aloud/--by-feel", default=None, help="Whether you count aloud; else the taps decide.")
@click.option(
    "--intervals", type=click.IntRange(3, 300), default=INTERVALS, show_default=True, help="How many intervals."
)
@click.option("--target", "targets", type=float, multiple=True, help="An interval to practise [s]; may be given again.")
@click.option("--list", "listing", is_flag=True, help="List who is kept.")
@click.option("--forget", metavar="NAME", help="Delete what is kept under this name.")
@click.option("--folder", type=click.Path(path_type=Path), help="Where persons are kept; else your data folder.")
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
def practice_command(
    taps: Path | None,
    simulate: str | None,
    seed: int,
    by: str | None,
    aloud: bool | None,
    intervals: int,
    targets: tuple[float, ...],
    listing: bool,
    forget: str | None,
    folder: Path | None,
    as_json: bool,
) -> None:
    """Learn how you time: tap intervals of a few lengths, and along a beat. Five minutes.

    Nothing is kept unless you give --by NAME. Use it then: tickover routine odds ROUTINE --person NAME.
    """
    if listing or forget is not None:
        _housekeeping(forget, folder, as_json)
        return
    if taps is not None and simulate is not None:
        raise InputError("taps are either read or simulated", way_out="Give --taps or --simulate.")
    if any(not 0.1 <= t <= LONGEST for t in targets):
        raise InputError("an interval to practise is 0.1 to 60 s long", way_out="Such as --target 0.5 --target 6.")
    before = _before(by, folder)
    console = Console(stderr=as_json, highlight=False)
    model: Model | None = None if aloud is None else "counted" if aloud else "timed"
    new = _new_taps(taps, simulate, np.random.default_rng(seed), intervals, targets or TARGETS, model, console)
    kept = _joined(before, new, by, model)
    found = practised(learned_of(kept), simulated=kept.simulated)
    if by is not None:
        write_kept(kept_file(by, folder), kept)
    if as_json:
        inputs = {"taps": str(taps) if taps else None, "by": by, "simulate": simulate}
        click.echo(
            envelope("practice", found, inputs=inputs, simulated=kept.simulated, rests_on=RESTS).model_dump_json(
                indent=2
            )
        )
        return
    _print(console, found)
    if by is not None:
        console.print(f"\nKept as “{by}”. Next: tickover routine odds ROUTINE --person {by!r}", markup=False)
    else:
        console.print("\nNothing was kept. --by NAME keeps the taps for `routine odds` and `coach`.", markup=False)


RESTS = (
    "The person did not change while practising, and taps were recorded as finely as stated.",
    "Ranges hold the true figure nine times in ten; priors are the tool's own choice.",
)


def _before(by: str | None, folder: Path | None) -> Kept | None:
    if by is None:
        return None
    path = kept_file(by, folder)
    return read_kept(path) if path.is_file() else None


def _new_taps(
    taps: Path | None,
    simulate: str | None,
    rng: np.random.Generator,
    intervals: int,
    targets: tuple[float, ...],
    model: Model | None,
    console: Console,
) -> Kept:
    if taps is not None:
        return read_taps(taps)
    todo = tasks(rng, intervals, targets)
    if simulate is not None:
        return _kept("", simulated_taps(parse_person(simulate), todo, rng), simulated=True)
    with raw_terminal("practice reads single keys and needs a terminal", WITHOUT) as keys:
        return _kept("", Session(keys, console, todo, model).run())


WITHOUT = "Run it in a terminal, tap on the phone and read --taps FILE, or try it with --simulate cv=0.12."


def _kept(name: str, taps: list[Tap], *, simulated: bool = False) -> Kept:
    if not taps:
        raise InputError("no taps were made", way_out="Begin again; q stops early and keeps what was tapped.")
    rows = tuple(KeptTap(aimed=t.aimed, made=t.made, cued=t.cued, off=t.off) for t in taps)
    return Kept(name=name, simulated=simulated, taps=rows)


def _joined(before: Kept | None, new: Kept, by: str | None, model: Model | None) -> Kept:
    """New taps beside those kept before; real and simulated ones are never mixed, nor are two ways of timing."""
    name = by if by is not None else new.name
    if before is None:
        return new.model_copy(update={"name": name, "model": model or new.model})
    if before.simulated != new.simulated:
        sort = "simulated" if before.simulated else "real"
        way = f"Use another name, or begin anew with --forget {name!r}."
        raise InputError(f"what is kept as “{name}” is {sort}; the two are not mixed", way_out=way)
    if None not in (before.model, model) and before.model != model:
        raise InputError(
            f"“{name}” was kept as {before.model}; counting aloud and timing by feel are different",
            way_out="Keep each way of timing under a name of its own.",
        )
    return before.model_copy(update={"taps": (*before.taps, *new.taps), "model": model or before.model})


def _housekeeping(forget: str | None, folder: Path | None, as_json: bool) -> None:
    if forget is not None:
        path = kept_file(forget, folder)
        if not path.is_file():
            there = ", ".join(kept_names(folder)) or "nobody"
            raise InputError(f"nobody is kept as “{forget}”", way_out=f"Kept are: {there}.")
        path.unlink()
    names = kept_names(folder)
    if as_json:
        click.echo(envelope("practice list", _Names(names=tuple(names), forgotten=forget)).model_dump_json(indent=2))
        return
    if forget is not None:
        click.echo(f"Forgotten: {forget}")
    else:
        click.echo("\n".join(names) if names else "Nobody is kept.")


def _print(console: Console, found: Practised) -> None:
    simulated = "  (simulated)" if found.simulated else ""
    console.print(f"\n[bold]{found.intervals} intervals, {found.cued} taps to a beat[/]{simulated}")
    table = Table.grid(padding=(0, 3))
    for name, what in practice_lines(found):
        table.add_row(name, what)
    console.print(table)
    console.print("Ranges hold nine times in ten.", style="dim")
    console.print(f"\n[bold]{found.why}[/]")
