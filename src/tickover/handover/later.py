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
    plan = last_of(entries, "drive", "plan")
    checks = [e for e in entries if e.stage == "drive" and e.kind in ("check", "drive")]
    if checks and (plan is None or checks[-1].seq > plan.seq):
        told_of = tuple(line for line in map(driven_line, checks[-MOST_LINES:]) if line)
        more = len(checks) - MOST_LINES
        return (*told_of, *([f"And {more} more, in the shop’s record."] if more > 0 else [])), ""
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


def driven_line(check: Entry) -> str:
    """One drive in a line: what was driven, what it was for, and whether it held that; empty where it says nothing.

    What it was for are the monitors that the check was planned for; without a plan, all that it looked at. Why a
    stretch did not count stands in the record.
    """
    wanted = check.data.get("planned")
    items = check.data.get("monitors")
    found: dict[str, list[str]] = {"met": [], "not met": [], "cannot tell": []}
    for item in items if isinstance(items, list | tuple) else []:
        if not isinstance(item, Mapping) or (isinstance(wanted, list) and wanted and item.get("id") not in wanted):
            continue
        title, verdict = item.get("title"), item.get("verdict")
        if isinstance(title, str) and title.strip() and verdict in found:
            found[str(verdict)].append(_called(title.strip()))
    parts = [f"{words} {_and(found[verdict])}" for verdict, words in _HELD if found[verdict]]
    parts[:1] = [part[:1].upper() + part[1:] for part in parts[:1]]
    if not parts:
        return wording.sentence(wording.without_verdict(text_of(check.data)))
    return wording.sentence(f"A drive{_driven(check)} for the car’s self-checks. {'; '.join(parts)}")


_HELD = (("met", "held:"), ("not met", "not held:"), ("cannot tell", "cannot tell:"))


def _driven(check: Entry) -> str:
    """How long it was, where that is known: `` of 31 minutes and 24 km``."""
    seconds, way = check.data.get("duration"), check.data.get("distance")
    km = way.get("value") if isinstance(way, Mapping) else None
    parts = [f"{seconds / 60:.0f} minutes"] if _number(seconds) and isinstance(seconds, int | float) else []
    parts += [f"{km:.0f} km"] if _number(km) and isinstance(km, int | float) and km >= 1 else []
    return f" of {' and '.join(parts)}" if parts else ""


def _called(title: str) -> str:
    """A title inside a sentence; one that is all capitals stays so."""
    return title if title[:2].isupper() else title[:1].lower() + title[1:]


def _and(names: Sequence[str]) -> str:
    """``catalyst, oxygen sensor and EGR``; of many the first ones, and how many more."""
    kept = (
        list(names) if len(names) <= MOST_LINES else [*names[: MOST_LINES - 1], f"{len(names) - MOST_LINES + 1} more"]
    )
    return kept[0] if len(kept) == 1 else f"{', '.join(kept[:-1])} and {kept[-1]}"


def _few(told: Loose) -> tuple[str, ...]:
    lines = [wording.sentence(t) for t in (told.sentence, *told.lines[:MOST_LINES]) if t]
    more = len(told.lines) - MOST_LINES
    return (*lines, *([f"And {more} more, in the shop’s record."] if more > 0 else []))


def _number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and 0 < value < 10_000
