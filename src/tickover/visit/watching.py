"""What stands of a relapse watch and of the advice of Cause: whether it came back, is watched, may be relearned."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from tickover.jobs.entries import Entry

RELAPSE = "relapse"
"""The kind of an entry that says that what was settled came back."""
WATCH = "watch"
"""The kind of an entry that holds a relapse watch; its ``verdict`` is stays well, comes back or watch on."""
CAUSES = "causes"
"""The kind of an entry that holds an answer of Cause, with its ``advice``."""
REPAIR = "repair"
"""The kind of an entry that says what was mended; it leads back to Relearn."""

Advice = Literal["relearn", "relearn again", "do not relearn", "wait and watch"]
_ADVICE: tuple[Advice, ...] = ("relearn", "relearn again", "do not relearn", "wait and watch")
_RELEARN = {"relearn", "relearn again"}
_SOUND = {"sound", "just cleared"}
"""Findings that leave nothing to mend."""


@dataclass(frozen=True, slots=True)
class Ordered:
    """What an answer of Cause says to do before anything else.

    Attributes:
        test: name of the next test; empty where something is to be mended.
        act: what to do, as an order without its full stop.
        option: how the test's outcome is given to ``tickover cause``, as that answer says; empty where it does not.
        cautions: at that test or mending.
        mends: whether something is to be mended, and not learned another way.
    """

    test: str
    act: str
    option: str = ""
    cautions: tuple[str, ...] = ()
    mends: bool = False


def is_back(entry: Entry) -> bool:
    """Whether an entry says that the fault came back: somebody wrote it down, or a watch decided it."""
    return entry.kind == RELAPSE or (entry.kind == WATCH and entry.data.get("verdict") == "comes back")


def last_watch(entries: Sequence[Entry]) -> Entry | None:
    """The newest watch, as long as no attempt and no repair has overtaken it: the car is another one then."""
    watch = next((e for e in reversed(entries) if e.kind == WATCH), None)
    return watch if watch is not None and watch.seq > _changed(entries) else None


def came_back(entries: Sequence[Entry]) -> int:
    """Number of the last entry that says that it came back; 0 where none does. Of the watches the newest counts.

    Args:
        entries: the job so far, corrections applied.
    """
    watch = next((e for e in reversed(entries) if e.kind == WATCH), None)
    return max((e.seq for e in entries if is_back(e) and (e.kind == RELAPSE or e is watch)), default=0)


def advice_of(entries: Sequence[Entry]) -> tuple[Advice, Entry] | None:
    """The advice of the newest answer of Cause that no repair has overtaken, and its entry.

    Args:
        entries: the job so far, corrections applied.
    """
    repaired = max((e.seq for e in entries if e.kind == REPAIR), default=0)
    told = next((e for e in reversed(entries) if e.stage == "cause" and e.kind == CAUSES and e.seq > repaired), None)
    given = told.data.get("advice") if told is not None else None
    return next(((a, told) for a in _ADVICE if a == given and told is not None), None)


def forbidden(entries: Sequence[Entry]) -> str:
    """Why nobody should relearn now, and what to do instead: Cause advised against it, and nothing was mended since.

    Args:
        entries: the job so far, corrections applied.
    Returns: sentences; empty where a relearn is not advised against.
    """
    told = advice_of(entries)
    if told is None or told[0] != "do not relearn":
        return ""
    first = _named(told[1])
    if first is None:
        return f"{_says(told)} Mend it and write down the repair; that leads back to Relearn."
    if first.test:
        return f"{_says(told)} The next test: {first.act}; then Cause again."
    if told[1].data.get("finding") in _SOUND:
        return f"{_says(told)} {first.act}."
    return f"{_says(told)} {first.act}. Once that is done, write down the repair; that leads back to Relearn."


def ordered(entries: Sequence[Entry]) -> Ordered | None:
    """The test, or the mending, that the newest answer of Cause puts before everything else.

    Args:
        entries: the job so far, corrections applied.
    Returns: None where it advises a relearn or a drive, says nothing of what to do, or was overtaken: by an attempt, a
        repair, a watch or a relapse.
    """
    told = advice_of(entries)
    later = max((e.seq for e in entries if e.kind in {WATCH, RELAPSE}), default=0)
    if told is None or told[0] in _RELEARN or told[1].seq < max(later, _changed(entries)):
        return None
    found, first = told[1].data.get("finding"), _named(told[1])
    if first is None or (told[0] == "wait and watch" and (found != "cannot tell" or not first.test)):
        return None
    return None if not first.test and found in _SOUND else first


def _named(told: Entry) -> Ordered | None:
    """The next test of an answer, or what it says to act on where no test is left."""
    test = told.data.get("next_test")
    if not isinstance(test, Mapping):
        return None
    act = _order(test.get("act"))
    if act:
        option = str(test.get("option") or "").strip()
        return Ordered(str(test.get("name") or act), act, option, _texts(test.get("cautions")))
    way = _order(test.get("way_out")).removesuffix(" Then measure the idle again").rstrip(".")
    if not way:
        return None
    mends = told.data.get("finding") != "stale"
    return Ordered("", way, cautions=_texts(told.data.get("advice_cautions")), mends=mends)


def _texts(given: object) -> tuple[str, ...]:
    return tuple(map(str, given)) if isinstance(given, list | tuple) else ()


def _order(text: object) -> str:
    """An order as it stands within a sentence of ours: the act alone, without its full stop."""
    plain = str(text or "").strip().rstrip(".").removeprefix("Act: ")
    return plain[:1].upper() + plain[1:]


def relearn_advised(entries: Sequence[Entry]) -> int:
    """Number of the answer of Cause that advises a relearn, first or another, with none tried since; 0 for none."""
    told = advice_of(entries)
    fits = told is not None and told[0] in _RELEARN and told[1].seq > _changed(entries)
    return told[1].seq if told is not None and fits else 0


def watched(entries: Sequence[Entry]) -> str:
    """Why another drive is due before anything else: a watch that is not decided, or Cause's word to wait for one.

    Args:
        entries: the job so far, corrections applied.
    Returns: one sentence; empty where nothing is watched, where it was decided, or where Drive was left out since.
    """
    left = max((e.seq for e in entries if e.stage == "drive" and e.kind == "skipped" and e.data.get("reason")),
               default=0)  # fmt: skip
    watch, told, back = last_watch(entries), advice_of(entries), came_back(entries)
    begun = watch.seq if watch is not None else 0
    if watch is not None and watch.data.get("verdict") == "watch on" and begun > max(left, back):
        said = str(watch.data.get("sentence") or "").strip()
        return said or "The watch is not decided yet."
    since = max(left, back, begun, _changed(entries))
    if told is not None and told[0] == "wait and watch" and told[1].seq > since:
        return _says(told)
    return ""


def stays_well(entries: Sequence[Entry]) -> Entry | None:
    """The newest watch, where it decided that the idle stays well and nobody wrote down a relapse since."""
    watch = last_watch(entries)
    if watch is None or watch.data.get("verdict") != "stays well" or watch.seq < came_back(entries):
        return None
    return watch


def watch_command(entries: Sequence[Entry]) -> str:
    """What to type after the next drive, with what the last watch was told to be normal."""
    watch = next((e for e in reversed(entries) if e.kind == WATCH), None)
    told = watch.inputs if watch is not None else {}
    normal = {"--normal-trim": told.get("normal_trim"), "--normal-spread": told.get("normal_spread")}
    given = "".join(f" {name} {value:g}" for name, value in normal.items() if isinstance(value, int | float))
    return f"tickover watch DRIVES{given}"


def _says(told: tuple[Advice, Entry]) -> str:
    because = str(told[1].data.get("advice_because") or "").strip()
    return f"Cause says: {told[0]}. {because}".strip()


def _changed(entries: Sequence[Entry]) -> int:
    """Number of the last entry after which the car is another one: an attempt or a repair."""
    return max((e.seq for e in entries if e.kind in {"attempt", REPAIR}), default=0)
