"""Whether anything was erased, and what may be said of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Literal

from tickover.handover.given import AttemptGiven, ReadinessGiven, read
from tickover.jobs.entries import Entry

Erased = Literal["nothing", "read the same", "read otherwise", "read before only", "not read"]

_READ = ("open", "complete", "open_count", "stored", "stored_count", "permanent")
_SINCE_CLEAR = ("warm_ups", "km", "minutes")
_NO_MATTER = frozenset({"at", "by", "source", "file", "says", "rests_on", "sentence", "pending", *_SINCE_CLEAR})

SENTENCES: dict[Erased, str] = {
    "nothing": "Nothing was erased",
    "read the same": "Nothing was erased: readiness for inspection read the same before and after",
    "read otherwise": "Readiness for inspection reads otherwise than before: some of it was erased, or has "
    "changed since",
    "read before only": "This routine may clear fault codes and readiness for inspection; they were read before",
    "not read": "This routine may clear fault codes and readiness for inspection; they were not read before",
}
UNKNOWN = "Whether fault codes and readiness for inspection were erased: they were not read before and after."


def erased(entries: Sequence[Entry]) -> Erased | None:
    """What is known of erasing.

    Args:
        entries: of one job, ``seq`` rising, corrections applied.
    Returns: ``nothing`` only where no routine that was done may erase; ``read the same`` only where readiness was read
        before and after the last one that may, something could have been lost, and nothing was. None where no routine
        was done.
    """
    attempts = [(e, read(e, AttemptGiven)) for e in entries if e.stage == "relearn" and e.kind == "attempt"]
    if not attempts:
        return None
    erasing = [e.seq for e, a in attempts if a.may_erase]
    if not erasing:
        return "nothing"
    found = [(e, read(e, ReadinessGiven)) for e in entries if e.stage == "ready" and e.kind == "readiness"]
    before = next((r.before for _, r in reversed(found) if was_read(r.before)), None)
    after = next((r.after for e, r in reversed(found) if was_read(r.after) and e.seq > erasing[-1]), None)
    if before is None:
        return "not read"
    if after is None:
        return "read before only"
    return _compared(before, after)


def was_read(state: Any) -> bool:  # noqa: ANN401 — whatever an entry holds
    """Whether a state of readiness holds anything that was read."""
    if state is None or state == "" or state == {} or (isinstance(state, str) and not state.strip()):
        return False
    if isinstance(state, Mapping):
        if state.get("kind") == "cannot tell":
            return False
        if any(name in state for name in _READ):
            # of what is complete an empty list may also mean that nobody looked
            return any(state.get(n) is not None and (n != "complete" or state[n]) for n in _READ)
    return True


def _compared(before: Any, after: Any) -> Erased:  # noqa: ANN401 — whatever an entry holds
    if not (isinstance(before, Mapping) and isinstance(after, Mapping)):
        return "read the same" if before == after else "read otherwise"
    since = [(before.get(n), after.get(n)) for n in _SINCE_CLEAR]
    counted = [(b, a) for b, a in since if isinstance(b, int | float) and isinstance(a, int | float)]
    if any(a < b for b, a in counted):
        return "read otherwise"  # a counter since the last clear that has fallen says that it was cleared
    if _kept(before) != _kept(after):
        return "read otherwise"
    # With nothing complete and no code there was nothing to lose, and reading the same shows nothing.
    bare = "complete" in before and not before.get("complete") and not before.get("stored")
    return "not read" if bare and not counted else "read the same"


def _kept(state: Mapping[str, Any]) -> dict[str, Any]:
    """What must read the same, lists without their order."""
    return {
        name: sorted(map(str, value)) if isinstance(value, list | tuple) else value
        for name, value in state.items()
        if name not in _NO_MATTER and value is not None
    }
