"""A routine as lines of text for a terminal: the jaws ``[ ◆ ]`` of each window, needs, cautions, odds."""

from __future__ import annotations

from typing import Literal, NamedTuple

from tickover.routines.chances import RoutineOdds, StepOdds
from tickover.routines.compiled import CompiledRoutine, CompiledStep
from tickover.routines.model import Bound, clock
from tickover.routines.phrases import event_words
from tickover.routines.report import FileCheck, Library, Shown, StepWindow, Times
from tickover.timing import CueFrom

WIDTH = 17
"""Places inside the jaws."""

NOT_WEAK = 0.99
"""A step hit more often than this is not called weak. Own choice."""

Style = Literal["title", "lead", "head", "text", "window", "soft", "caution", "rule", "bad"]


class Line(NamedTuple):
    """One line of text, how it is meant, and how far it is set in."""

    style: Style
    text: str
    indent: int = 0


DISTURBS = ("nothing", "volatile memory only", "the learned idle", "everything learned")
"""What each degree of disturbance means."""


def jaws(lo: float, hi: float | None, aim: float | None, *, answer: bool = False) -> str:
    """A window as text: what is allowed between the jaws, the aim as ◆; dotted where the car chooses.

    Args:
        lo, hi: earliest and latest [s]; ``hi`` None where it is open.
        aim: where to aim [s]; None for none.
        answer: whether the car chooses the moment.
    Example: ``jaws(2, 4, 3)`` is ``"2 [────────◆────────] 4 s"``.
    """
    fill = "·" if answer else "─"
    inside = [fill] * WIDTH
    if aim is not None:
        end = hi if hi is not None else lo + 2 * (aim - lo)
        share = (aim - lo) / (end - lo) if end > lo else 0.5
        inside[round(min(max(share, 0.0), 1.0) * (WIDTH - 1))] = "◆"
    if hi is None:
        return f"{_seconds(lo)} [{''.join(inside)}→ s"
    return f"{_seconds(lo)} [{''.join(inside)}] {_seconds(hi)} s"


def _seconds(value: float) -> str:
    return f"{value:.4g}" if value < 10_000 else f"{value:.0f}"


def span_words(lo: float, hi: float | None) -> str:
    """How long something takes.

    Example: ``span_words(24.9, None)`` is ``"25 s or more"``.
    """
    if hi is None:
        return f"{clock(round(lo))} or more"
    return Bound("between", round(lo), round(hi)).words if round(lo) != round(hi) else clock(round(lo))


def percent(p: float) -> str:
    """A chance in hundred, never rounded to certainty.

    Example: ``percent(0.9996)`` is ``"over 99 %"``.
    """
    if p > 0.995:
        return "over 99 %"
    return f"{100 * p:.0f} %" if p >= 0.005 else "under 1 %"


def percent_range(lo: float, hi: float) -> str:
    """Two chances in hundred.

    Example: ``percent_range(0.74, 0.94)`` is ``"74 to 94 %"``.
    """
    low, high = percent(lo), percent(hi)
    if low == high:
        return low
    return (
        f"{low.removesuffix(' %')} to {high}" if "over" not in high + low and "under" not in low else f"{low} to {high}"
    )


def library_lines(library: Library) -> list[Line]:
    """The library, two lines a routine."""
    wide = max((len(row.id) for row in library.routines), default=0) + 2
    lines = []
    for row in library.routines:
        lines.append(Line("lead", f"{row.id:<{wide}}{row.title}{' (yours)' if row.yours else ''}"))
        erases = "may erase codes" if row.may_erase else "erases nothing"
        throttle = " or ".join(row.throttle)
        facts = f"{span_words(row.lo, row.hi)} · disturbs {DISTURBS[row.disturbs]} · {erases} · {throttle} throttle"
        lines.append(Line("soft", facts, wide))
    return lines


def show_lines(shown: Shown) -> list[Line]:
    """A routine in full: what it is, what it needs, its steps with their windows, its signs and its basis."""
    r, times = shown.routine, shown.times
    lines = [
        Line("title", r.title),
        Line(
            "soft",
            f"{r.id} · {r.kind} · {' or '.join(r.throttle)} throttle · on a {r.switch} · "
            f"takes {span_words(times.lo, times.hi)}",
        ),
        Line("lead", f"Disturbs {DISTURBS[r.disturbs]}."),
    ]
    if r.may_erase:
        lines.append(
            Line("caution", "May erase codes and readiness: lamp, codes and readiness are read and noted first.")
        )
    if r.fits:
        lines.append(Line("text", r.fits))
    if r.requires:
        lines.append(Line("text", f"Comes after: {', '.join(r.requires)}."))
    lines += [Line("caution", f"Caution: {caution}") for caution in r.cautions]
    lines += [Line("rule", ""), Line("head", "Before it")]
    for need in r.needs:
        lines += [Line("text", need.need, 2), Line("soft", need.why, 4)]
    lines += [Line("rule", ""), Line("head", "Steps")]
    for number, (step, window) in enumerate(zip(r.steps, times.windows, strict=True), start=1):
        lines += _step_lines(r, number, step, window)
    lines.append(Line("rule", ""))
    if r.signs:
        lines.append(Line("head", "Signs of success"))
        lines += [Line("text", sign, 2) for sign in r.signs]
    if r.after_miss:
        lines += [Line("head", "After a miss"), Line("text", r.after_miss, 2)]
    lines.append(Line("soft", r.basis.words))
    return lines


def _step_lines(r: CompiledRoutine, number: int, step: CompiledStep, window: StepWindow) -> list[Line]:
    """One step; later rounds of a cycle are not told again in full."""
    title = f"{number:>2}  {step.title}" + (f"  ({step.round} of {step.rounds})" if step.rounds > 1 else "")
    lines = [Line("lead", title)]
    if step.caution and step.round == 1:
        lines.append(Line("caution", f"Caution: {step.caution}", 4))
    if window.after:
        drawn = jaws(window.lo, window.hi, window.aim, answer=step.answer)
        counted = " of counted time" if window.counted else ""
        lines.append(Line("window", f"{drawn}{counted} after {step.counted_from}", 4))
    else:
        lines.append(Line("window", "the clock starts here", 4))
    if step.round > 1:
        return lines
    if step.detail:
        lines.append(Line("soft", step.detail.removeprefix(f"Round 1 of {step.rounds}. "), 4))
    if step.forbidden_until:
        until = event_words(r, r.step(step.forbidden_until).events[-1])
        lines.append(Line("caution", f"Not before {until}: {step.harm}", 4))
    if step.if_none:
        lines.append(Line("soft", f"If it does not come: {step.if_none}", 4))
    if step.why:
        lines.append(Line("soft", step.why, 4))
    return lines


def check_lines(check: FileCheck) -> list[Line]:
    """What the check of one file found."""
    if not check.ok:
        count = f"{len(check.faults)} fault{'s' if len(check.faults) != 1 else ''}"
        lines = [Line("title", f"{check.file}: {count}")]
        for fault in check.faults:
            where = f"line {fault.line}" if fault.line is not None else "the file"
            step = f", step “{fault.step}”" if fault.step else ""
            lines.append(Line("bad", f"{where}{step}: {fault.what}", 2))
            if fault.way_out:
                lines.append(Line("soft", fault.way_out, 4))
        return lines
    times = check.times
    assert times is not None
    lines = [
        Line("title", f"{check.file}: no fault"),
        Line("lead", f"{check.title} ({check.id}), {span_words(times.lo, times.hi)} in all.", 2),
        Line("text", "Its bounds can be kept, and it can be done whatever moment the car's answers take.", 2),
    ]
    lines += [Line("text", f"Cannot be done on a {switch}: {why}.", 2) for switch, why in check.cannot.items()]
    return [*lines, *_window_lines(times)]


def _window_lines(times: Times) -> list[Line]:
    """The minimal windows since the first step, one a line."""
    lines = [Line("head", "When each step may happen, since the first", 2)]
    wide = max(len(w.step) for w in times.windows)
    for w in times.windows:
        ends = (
            f"{_seconds(w.since_lo)} s or later"
            if w.since_hi is None
            else (f"{_seconds(w.since_lo)} to {_seconds(w.since_hi)} s")
        )
        lines.append(Line("text", f"{w.step:<{wide}}  {ends}", 4))
    return lines


def odds_lines(found: RoutineOdds) -> list[Line]:
    """The odds in words: the whole with its range, the weak step, what cues gain, each step."""
    count = len(found.cued)
    by = f"{count} step{'s' if count != 1 else ''} cued" if count else "timed by feel"
    whose = (
        "the range is for what is known of this person"
        if found.learned
        else "the range is for a spread a quarter smaller or larger"
    )
    lines = [
        Line("title", found.title),
        Line("lead", f"Odds of a clean run, {by}: {percent(found.p)}, {percent_range(found.lo, found.hi)}."),
        Line(
            "soft",
            f"For a person whose five seconds spread by {found.spread_at_5:.2g} s, and whose cued acts "
            f"spread by {1000 * found.event_sd:.3g} ms; {whose}.",
        ),
    ]
    weak = next((s for s in found.steps if s.step == found.weak), None)
    if weak is not None and weak.p < NOT_WEAK:
        rounds = f" in {weak.rounds} rounds" if weak.rounds > 1 else ""
        lines.append(
            Line("text", f"The weak step is “{step_words(weak, found)}”{rounds}: {percent(weak.p)} by itself.")
        )
        lines.append(Line("text", f"Cueing it alone makes the whole {percent(found.p_if_cued)}."))
    elif weak is not None:
        lines.append(Line("text", "No step is weak."))
    lines.append(Line("text", f"With every act cued: {percent(found.p_all_cued)}."))
    lines.append(Line("soft", CUES_COUNTED[found.cue_from]))
    lines.append(Line("head", "Each step by itself, and the whole with that step cued"))
    names = {s.step: f"{s.title} ({s.step})" for s in found.steps}
    wide = max((len(name) for name in names.values()), default=0)
    for s in found.steps:
        aim = f"aim {s.aim:.3g} s after {s.after_words}" if s.aim is not None else ""
        lines.append(
            Line("text", f"{names[s.step]:<{wide}}  {percent(s.p):>9}  {percent(s.p_if_cued):>9}  {aim}".rstrip(), 2)
        )
    if found.method == "Genz":
        off = f"to within {200 * found.se:.2g} %" if found.se > 0 else ""
        lines.append(Line("soft", f"Integrated over a lattice of points {off}, because {found.why}."))
    elif found.method == "sampling":
        off = f"to within {200 * found.se:.2g} %"
        lines.append(Line("soft", f"Counted from drawn attempts, {off}, because {found.why}."))
    return lines


def step_words(step: StepOdds, found: RoutineOdds) -> str:
    """What a step is called where people read it: what is done, and its id too where another step is called alike."""
    alike = sum(s.title == step.title for s in found.steps) > 1
    return f"{step.title} ({step.step})" if alike else step.title


CUES_COUNTED: dict[CueFrom, str] = {
    "last act": "Cues are counted from the act before, as the coach gives them.",
    "schedule": "Cues are counted from the first act, as a sound file plays them.",
}
