"""``tickover watch``: does a healed idle stay well, drive by drive."""

from __future__ import annotations

import csv
from pathlib import Path

import click
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from tickover.cli.cause_draw import quantity_words
from tickover.cli.job_store import by_option, job_option, kept_line, record, store_option
from tickover.errors import Fault, InputError
from tickover.idle.relapse import Drive, Learning, Relapse, watch
from tickover.results import envelope

COLUMNS = ("at", "trim", "spread", "misfires")


def read_drives(path: Path) -> list[Drive]:
    """Drives from a table with a header.

    Args:
        path: CSV; columns ``at`` (hours of running, or the drive's number; rows are counted without it), ``trim`` [%],
            ``spread`` [r/min], ``misfires``; others are left aside. An empty cell is a reading that is missing.
    Raises: InputError with every fault of the file.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as why:
        raise InputError(f"cannot be read: {why}", file=str(path), way_out="Name a CSV file.") from None
    rows = list(csv.DictReader(text.splitlines()))
    names = {n.strip().lower(): n for n in (rows[0] if rows else {}) if n}
    if not rows or not {"trim", "spread", "misfires"} & set(names):
        raise InputError(
            "holds no drives",
            file=str(path),
            way_out="Give a header with trim, spread or misfires, then a row a drive.",
        )
    drives, faults = [], []
    for line, row in enumerate(rows, 2):
        given: dict[str, float] = {"at": float(line - 1)}
        for name in COLUMNS:
            cell = (row.get(names.get(name, ""), "") or "").strip()
            if not cell:
                continue
            try:
                given[name] = float(cell)
            except ValueError:
                faults.append(Fault(line, f"{name} is no number: “{cell}”"))
        try:
            drives.append(Drive(**given))
        except ValueError:
            faults.append(Fault(line, "a spread must be above 0, and misfires not below"))
    if faults:
        more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
        raise InputError(f"{faults[0].what}{more}", file=str(path), line=faults[0].line, way_out="Mend the table.")
    return drives


@click.command("watch")
@click.argument("table", type=click.Path(path_type=Path))
@click.option("--normal-trim", type=float, help="Idle trim when it was healed [%]; without it the trim is not watched.")
@click.option(
    "--normal-spread", type=click.FloatRange(0, min_open=True), help="Spread of the idle's speed then [r/min]."
)
@click.option("--alpha", type=float, default=0.05, show_default=True, help="Chance of calling a well idle come back.")
@click.option("--beta", type=float, default=0.05, show_default=True, help="Chance of missing one that came back.")
@click.option("--below", type=float, default=10.0, show_default=True, help="Level the misfire counter is to pass.")
@job_option
@by_option
@store_option
@click.option("--json", "as_json", is_flag=True, help="Print the result for programs.")
def watch_command(
    table: Path,
    normal_trim: float | None,
    normal_spread: float | None,
    alpha: float,
    beta: float,
    below: float,
    job: int | None,
    by: str,
    store: str | None,
    as_json: bool,
) -> None:
    """Watch a healed idle for a relapse: TABLE has a row a drive, with trim, spread or misfires at warm idle.

    It decides as soon as enough was seen, says how many drives that takes, and where a trim that still learns will end.
    """
    found = watch(
        read_drives(table), normal_trim=normal_trim, normal_spread=normal_spread, alpha=alpha, beta=beta, below=below
    )
    inputs = {
        "table": str(table),
        "normal_trim": normal_trim,
        "normal_spread": normal_spread,
        "alpha": alpha,
        "beta": beta,
        "below": below,
    }
    kept = record(store, job, "drive", "watch", found, attachments=[table], by=by or None, inputs=inputs)
    if as_json:
        click.echo(envelope("watch", found, inputs=inputs, rests_on=found.rests_on).model_dump_json(indent=2))
        return
    say_watch(Console(highlight=False), found)
    if kept:
        click.echo(f"\n{kept_line(job, kept)} Next: tickover job next {job}")


def say_watch(console: Console, found: Relapse) -> None:
    """Verdict, sentence, and what it rests on."""
    mark = "┄" if found.verdict == "watch on" else "◆"
    console.print(Text(f" {mark} {found.verdict}", style="bold"))
    console.print(Padding(found.sentence, (0, 3)))
    rows = [("watched", w.says) for w in found.watched]
    learning = found.learning
    if isinstance(learning, Learning):
        rows.append(("the trim ends", quantity_words(learning.ends_at, "%")))
        rows.append(("learned at", quantity_words(learning.learned_at)))
    else:
        rows.append(("┄ cannot tell", f"{learning.reason} {learning.way_out}".strip()))
    rows.append(("clean cycles", quantity_words(found.clean_cycles)))
    rows += [("rests on", r) for r in found.rests_on]
    grid = Table.grid(padding=(0, 2))
    grid.add_column(min_width=17, no_wrap=True)
    grid.add_column(overflow="fold")
    last = ""
    for what, text in rows:
        grid.add_row(Text(what if what != last else "", style="dim"), Text(text))
        last = what
    console.print(Padding(grid, (0, 3)))
