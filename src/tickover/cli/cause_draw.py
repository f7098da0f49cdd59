"""How ``tickover cause`` looks in a terminal: the next test first, then what still fits on one axis."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from tickover.cause import Causes, Group, NextTest
from tickover.cause.diagnose import MISSING
from tickover.cause.from_log import LogStretch
from tickover.drawing.figures import in_words, plain
from tickover.results import CannotTell, Measured, Quantity

WIDTH = 44
SHOWN_FROM = 0.02
"""Groups below this are named in one line [1]."""
EVIDENCE_SHOWN, NAMES_SHOWN, NAMES_BRIEF = 6, 4, 2
OPTIONS = {
    "metering": "--metering air or pressure",
    "displacement": "--displacement",
    "normal": "--normal LOW-HIGH",
    "idle air": "--idle-air VALUE:NORMAL",
}
"""Options of this door for what is missing, by the names of ``MISSING``."""
BIG_LEAK = "would stall"
"""Of a hole that cannot be told, what is said of it unasked: a leak alone does not explain the trims."""
LADDER = "Command: tickover arrive."
BIT = "1 bit is a question that halves what is open."
_STRETCHES_SHOWN = 12


def say_causes(console: Console, found: Causes, *, whole: bool) -> None:
    """Print the answer; what it rests on and what seldom pays in the whole answer only."""
    console.rule(style="dim", characters="━")
    pull_first = found.pull is not None and bool(found.pull.again or found.pull.sort == "two faults")
    if found.pull is not None and pull_first:
        console.print(Padding(Text(found.pull.says, style="bold"), (0, 1)))
        console.print()
    _next(console, found.next_test, found.advice_cautions if not found.advice_how else ())
    console.rule(style="dim", characters="━")
    console.print(Padding(Text(found.sentence, style="bold"), (0, 1)))
    for told in found.disagree:
        console.print(Padding(Text(f"At odds: {told}", style="bold"), (0, 1)))
    says = found.advice_says or found.advice
    console.print(Padding(Text.assemble((says.capitalize(), "bold"), f": {found.advice_because}"), (0, 1)))
    if found.advice_how:
        _cautions(console, found.advice_cautions)
        console.print(Padding(f"{found.advice_how} {LADDER}", (0, 1)))
    console.print()
    _fits(console, found.groups, whole=whole)
    if whole or isinstance(found.hole, Quantity) or BIG_LEAK in found.hole.reason:
        console.print(Padding(Text.assemble(("hole: ", "dim"), hole_words(found.hole)), (0, 3)))
    for what, causes in (("speaks against", found.excluded), ("cannot show", found.unseen)) if whole else ():
        _list(console, [(what, _names(causes, whole=whole))] if causes else [])
    if whole:
        _whole(console, found)
        _list(console, [("rests on", r) for r in found.rests_on])
    if found.pull is not None and not pull_first:
        _list(console, [("at odds", found.pull.says)])
    _list(console, [("┄ cannot tell", f"{c.reason} {_way(c)}".strip()) for c in found.cannot_tell])


def _names(causes: Sequence[str], *, whole: bool) -> str:
    """Some causes in a row; not more than a row bears unless all is wanted."""
    if whole or len(causes) <= NAMES_SHOWN + 1:
        return "; ".join(causes)
    return f"{'; '.join(causes[:NAMES_SHOWN])}; {len(causes) - NAMES_SHOWN} more"


def _way(told: CannotTell) -> str:
    """The way out, with the option that this door has for it."""
    option = next((OPTIONS[name] for name, one in MISSING.items() if one == told), "")
    return f"{told.way_out} Option: {option}." if option else told.way_out


def _cautions(console: Console, lines: Sequence[str]) -> None:
    """All cautions of an act in one place, above it."""
    if lines:
        console.print(Padding(Text.assemble(("Caution ", "bold"), " ".join(lines)), (0, 3)))


def _next(console: Console, test: NextTest | CannotTell, at_the_act: Sequence[str]) -> None:
    if isinstance(test, CannotTell):
        console.print(Text(" ┄ No next test", style="bold"))
        _cautions(console, at_the_act)
        console.print(Padding(f"{test.reason} {test.way_out}".strip(), (0, 3)))
        return
    console.print(Text(f" Next test{f' · {test.often}' if test.often else ''}", style="dim"))
    _cautions(console, test.cautions)
    console.print(Padding(Text(test.act + ".", style="bold"), (0, 3)))
    time = Text(f"about {test.minutes:.0f} min; needs {test.needs}", style="dim")
    console.print(Padding(time, (0, 3)))
    if test.why:
        console.print(Padding(test.why, (0, 3)))
    by: dict[str, list[str]] = {}
    for one in test.outcomes:
        by.setdefault(one.decides, []).append(one.outcome)
    _list(console, [("; ".join(outcomes), decides) for decides, outcomes in by.items()], wide=30)
    if test.option:
        console.print(Padding(f"Then: tickover cause … {test.option}", (0, 3)))


def _fits(console: Console, groups: Sequence[Group], *, whole: bool) -> None:
    """Every group that counts on one axis: ◆ with its bar, and its word."""
    console.print(Text(" What still fits", style="bold"))
    shown = [g for g in groups if g.probability >= SHOWN_FROM or g.causes[0].family == "else"]
    for group in shown:
        says = group.says if whole or group.likely != "unlikely" else brief(group)
        console.print(Padding(Text(f"{'┄ ' if group.tied_because else ''}{says}"), (0, 3)))
        console.print(Padding(Text.assemble(bar(group), f"  {group.likely}"), (0, 3)))
        if group.tied_because and (whole or group is shown[0]):
            console.print(Padding(Text(f"tied: {group.tied_because}", style="dim"), (0, 5)))
    axis = [" "] * (WIDTH + 3)
    for at in (0, 20, 50, 100):
        text, place = str(at), round(at / 100 * (WIDTH - 1))
        axis[place : place + len(text)] = text
    console.print(Padding(Text("".join(axis).rstrip(), style="dim"), (0, 3)))
    rest = [c.says for g in groups if g not in shown for c in g.causes]
    if rest:
        told = "; ".join(rest) if whole else f"{len(rest)} more (--whole names them)"
        console.print(Padding(Text(f"hardly: {told}", style="dim"), (0, 3)))


def brief(group: Group) -> str:
    """An unlikely group in fewer words."""
    if len(group.causes) <= NAMES_BRIEF:
        return group.says
    sound = any(c.family == "sound" for c in group.causes)
    rest = len(group.causes) - 1
    return f"nothing wrong, or {rest} that hardly show" if sound else f"{group.causes[0].says}, or {rest} more"


def bar(group: Group) -> str:
    """One row: where it stands between 0 and 100, with its range; ◆ is never left out."""

    def place(share: float) -> int:
        return round(share * (WIDTH - 1))

    row = ["·" if k in (place(0.2), place(0.5)) else " " for k in range(WIDTH)]
    for k in range(place(group.lo), place(group.hi) + 1):
        row[k] = "─"
    row[place(group.probability)] = "◆"
    return "".join(row)


def hole_words(hole: Measured) -> str:
    """The leak as a hole, in words."""
    if isinstance(hole, CannotTell):
        return f"┄ {hole.reason} {hole.way_out}".strip()
    if hole.hi is None and hole.lo is not None:
        return f"if it is a leak: at least {hole.lo:.1f} mm, as a round hole"
    if hole.lo is None and hole.hi is not None:
        return f"if it is a leak: at most {hole.hi:.1f} mm, as a round hole; under 1 mm cannot be told"
    if hole.lo is not None and hole.hi is not None:
        return f"if it is a leak: {hole.value:.1f} mm ({hole.lo:.1f} to {hole.hi:.1f}), as a round hole, 90 %"
    return "if it is a leak: of any size"


def _whole(console: Console, found: Causes) -> None:
    """Evidence of the leading groups, the further tests, everything used."""
    console.print()
    for group in found.groups:
        if group.probability < 0.1 or not group.evidence:
            continue
        console.print(Text(f" {group.says}", style="bold"))
        rows = [(s.speaks, f"{s.evidence}{f'; {s.why}' if s.why else ''}") for s in group.evidence[:EVIDENCE_SHOWN]]
        _list(console, rows)
    console.print()
    tests = [found.next_test, *found.tests] if isinstance(found.next_test, NextTest) else []
    if tests:
        _list(console, [("worth", f"{plain(tests[0].bits, 2)} bit for the next test. {BIT}")])
    _list(console, [("further tests", _further(t)) for t in tests[1:]])
    _list(console, [("hardly pays", _further(t)) for t in found.spare])
    _list(console, [("condition", found.condition)] if found.condition else [])
    _list(console, [("evidence", e) for e in found.evidence])
    _list(console, [("left out", e) for e in found.unused])


def _further(test: NextTest) -> str:
    """A further test in one paragraph."""
    option = f" Then: {test.option}" if test.option else ""
    finds = "; finds the place too" if test.finds else ""
    often = f"{test.often}; " if test.often else ""
    return f"{test.act} ({often}{plain(test.bits, 2)} bit{finds}; {test.minutes:.0f} min; {test.needs}).{option}"


def say_stretches(console: Console, file: str, stretches: Sequence[LogStretch], refusals: Sequence[CannotTell]) -> None:
    """Where the evidence of a log comes from."""
    console.print(Text(f" {file}", style="bold"))
    rows = []
    for point in dict.fromkeys(s.point for s in stretches):
        ours = [s for s in stretches if s.point == point]
        seconds = sum(s.stop - s.start for s in ours)
        parts = ", ".join(
            f"{s.start:.0f}–{s.stop:.0f} s" + (f" {s.trim:+.1f} %" if s.trim is not None else "")
            for s in ours[:_STRETCHES_SHOWN]
        )
        more = f" and {len(ours) - _STRETCHES_SHOWN} more" if len(ours) > _STRETCHES_SHOWN else ""
        rows.append((point, f"{seconds:.0f} s in {len(ours)}: {parts}{more}; {ours[0].says}"))
    _list(console, rows)
    _list(console, [("┄ cannot tell", f"{r.reason} {r.way_out}".strip()) for r in refusals])
    console.print()


def quantity_words(one: Measured, unit: str = "") -> str:
    """A number with its range, or why there is none."""
    if isinstance(one, Quantity):
        return in_words(one.value, one.lo, one.hi) + (f" {unit}" if unit else "")
    return f"┄ {one.reason} {one.way_out}".strip()


def _list(console: Console, rows: Sequence[tuple[str, str]], wide: int = 17) -> None:
    table = Table.grid(padding=(0, 2))
    table.add_column(min_width=min(wide, 17), max_width=wide, overflow="fold")
    table.add_column(overflow="fold")
    last = ""
    for what, text in rows:
        table.add_row(Text(what if what != last else "", style="dim"), Text(text))
        last = what
    if table.row_count:
        console.print(Padding(table, (0, 3)))
