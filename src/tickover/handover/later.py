"""What the later stages and the lamp have to say on the customer's sheet.

Missing fields are left out, unknown ones ignored.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from tickover.handover import wording
from tickover.handover.given import AnswersGiven, Loose, loose, read, text_of
from tickover.handover.sheet import Verdict
from tickover.jobs.entries import Entry

MOST_LINES = 4
"""Of a plan or of what stands between car and inspection, on the sheet; the rest is in the record. Own choice."""


def last_of(entries: Sequence[Entry], stage: str, *kinds: str) -> Entry | None:
    """The last entry of a stage that is of one of these kinds."""
    return next((e for e in reversed(entries) if e.stage == stage and e.kind in kinds), None)


def cause_lines(entries: Sequence[Entry]) -> tuple[str, ...]:
    """What was found to act, in a sentence; of the last look."""
    found = last_of(entries, "cause", "causes")
    told = wording.sentence(wording.without_verdict(text_of(found.data))) if found is not None else ""
    return (told,) if told else ()


def driving_lines(entries: Sequence[Entry]) -> tuple[tuple[str, ...], str]:
    """What the drive showed, or how to drive the plan; and the caution that belongs there."""
    check, plan = last_of(entries, "drive", "check", "drive"), last_of(entries, "drive", "plan")
    if check is not None and (plan is None or check.seq > plan.seq):
        told = loose(check)
        return _few(told.model_copy(update={"lines": _monitors(check)})), ""
    if plan is None:
        return (), ""
    told = loose(plan, "legs", "needs")
    minutes = plan.data.get("minutes")
    about = f"Drive it for about {minutes:.0f} minutes, where the law and the traffic allow" if _number(minutes) else ""
    return tuple(t for t in (wording.sentence(about), *_few(told)) if t), " ".join(map(wording.sentence, told.cautions))


def inspection_lines(entries: Sequence[Entry]) -> tuple[str, ...]:
    """Whether it would be ready, by when, and what stands between."""
    verdict, forecast = last_of(entries, "ready", "verdict"), last_of(entries, "ready", "forecast")
    told: list[str] = []
    if verdict is not None:
        told += _few(loose(verdict, "between"))
    if forecast is not None:
        told.append(wording.sentence(text_of(forecast.data)))
    if verdict is not None:
        told.append(wording.sentence(text_of(verdict.data.get("check"))))
    return tuple(dict.fromkeys(t for t in told if t))


def skipped_lines(entries: Sequence[Entry]) -> tuple[str, ...]:
    """Stages that were left out, with the reason."""
    found = {}
    for entry in entries:
        reason = text_of(entry.data.get("reason"))
        if entry.kind == "skipped" and reason:
            found[entry.stage] = f"Left out: {_STAGE_WORDS[entry.stage]}. {wording.sentence(reason)}"
    return tuple(found.values())


def repairs(entries: Sequence[Entry]) -> list[tuple[Entry, str]]:
    """What was mended, each with its entry."""
    told = [(e, text_of(e.data)) for e in entries if e.kind == "repair"]
    return [(e, text) for e, text in told if text]


def lamp_lines(
    entries: Sequence[Entry], verdict: Verdict | None, *, tried: bool, may_be_erased: bool
) -> tuple[str, ...]:
    """What the engine lamp may do meanwhile.

    Source: common practice, no published source; the words are our own choice.
    """
    told = last_of(entries, "arrive", "answers")
    answers = read(told, AnswersGiven) if told is not None else AnswersGiven()
    lines: list[str] = []
    if answers.lamp == "lit":
        were_read = answers.codes is not None or last_of(entries, "ready", "codes") is not None
        codes = "were read and noted" if were_read else "are not read"
        lines.append(f"It was lit when the car came in; the codes behind it {codes}. A relearn does not put it out.")
    elif tried and verdict == "settled":
        lines.append("It should stay dark. If it comes on and stays lit, you may drive on: tell us.")
    elif tried:
        lines.append("It may come on while the engine learns. If it stays lit, you may drive on: tell us.")
    if tried and may_be_erased:
        lines.append("The car’s self-checks may have to run again over days of driving; the lamp does not show it.")
    return tuple(lines)


_STAGE_WORDS = {
    "arrive": "questions at the start",
    "before": "measuring the idle beforehand",
    "set up": "making the car ready",
    "relearn": "the relearn",
    "after": "measuring the idle again",
    "cause": "looking for the cause",
    "drive": "the confirmation drive",
    "ready": "readiness for inspection",
    "hand over": "the hand-over",
}


def _monitors(check: Entry) -> tuple[str, ...]:
    """What each monitor of a drive was found to be, with its name: on the sheet no picture or table tells it."""
    items = check.data.get("monitors")
    lines = []
    for item in items if isinstance(items, list | tuple) else [items]:
        said = text_of(item)
        title = item.get("title") if isinstance(item, Mapping) else None
        if said and isinstance(title, str) and title.strip() and not said.lower().startswith(title.strip().lower()):
            said = f"{title.strip()}: {said[:1].lower()}{said[1:]}"
        if said:
            lines.append(said)
    return tuple(lines)


def _few(told: Loose) -> tuple[str, ...]:
    lines = [wording.sentence(t) for t in (told.sentence, *told.lines[:MOST_LINES]) if t]
    more = len(told.lines) - MOST_LINES
    return (*lines, *([f"And {more} more, in the shop’s record."] if more > 0 else []))


def _number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and 0 < value < 10_000
