"""Run every ``bench_*.py`` and print one table: ``python -m bench [part of a name]``; exit 1 if a budget is broken."""

from __future__ import annotations

import importlib
import sys
from pathlib import Path

from bench.common import Row
from rich.console import Console
from rich.table import Table


def main(wanted: str = "") -> int:
    """Print the table of all benchmarks whose name holds ``wanted``.

    Returns: 0 if every budget is kept, else 1; 2 if there is no such benchmark.
    """
    names = sorted(p.stem for p in Path(__file__).parent.glob("bench_*.py") if wanted in p.stem)
    console = Console()
    if not names:
        console.print(f"no benchmark has “{wanted}” in its name")
        return 2
    rows: list[Row] = []
    for name in names:
        rows += importlib.import_module(f"bench.{name}").rows()
    console.print(table_of(rows))
    broken = [r.what for r in rows if not r.ok]
    console.print(f"broken: {'; '.join(broken)}" if broken else "every budget is kept")
    return 1 if broken else 0


def table_of(rows: list[Row]) -> Table:
    """The rows as a table."""
    table = Table("what", "ours", "peer", "limit", "unit", "budget")
    for column in table.columns[1:4]:
        column.justify = "right"
    for r in rows:
        peer = f"{r.peer:,.3g} ({r.peer_name})" if r.peer is not None else ""
        table.add_row(r.what, _short(r.ours), peer, _short(r.limit), r.unit, "kept" if r.ok else "BROKEN")
    return table


def _short(figure: float) -> str:
    return f"{figure:,.0f}" if abs(figure) >= 1000 else f"{figure:.3g}"


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:2]))
