"""A state of readiness as people say it: what is open, the lamp, the codes, how long since the last clear."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

Plain = Callable[[object], str]

_CODES = {"stored": "stored codes", "pending": "pending codes", "permanent": "permanent codes"}
_SINCE = {"warm_ups": "{} warm-ups", "km": "{} km", "minutes": "{} min"}
_TOLD = {
    "stored_count": "stored codes counted",
    "ignition": "ignition",
    "co_natural": "CO at idle [%]",
    "co_fast": "CO at fast idle [%]",
    "lambda_fast": "λ at fast idle",
    "source": "read from",
    "file": "file",
    "at": "at",
    "by": "by",
}
_APART = {"open", "complete", "open_count", "lamp", "lamp_seen", "counters", "says", "rests_on", "sentence", "kind"}


def state_words(state: Mapping[str, Any], plain: Plain) -> str:
    """A state in one line. What was not asked is left out; what is not known here is named, so that nothing is lost.

    Args:
        state: as the entry holds it.
        plain: a JSON value as words.
    """
    said = [*_monitors(state, plain), *_lamp(state)]
    for name, called in _CODES.items():
        if state.get(name) is not None:
            said.append(f"{called}: {plain(state[name])}")
    since = [form.format(plain(state[name])) for name, form in _SINCE.items() if state.get(name) is not None]
    if since:
        said.append(f"since the last clear {', '.join(since)}")
    said += [f"{called} {plain(state[name])}" for name, called in _TOLD.items() if _there(state.get(name))]
    counters = state.get("counters")
    if isinstance(counters, Mapping) and counters:
        said.append("in-use counters " + ", ".join(f"{name} {plain(value)}" for name, value in counters.items()))
    known = {*_APART, *_CODES, *_SINCE, *_TOLD}
    said += [f"{n.replace('_', ' ')} {plain(v)}" for n, v in state.items() if n not in known and _there(v)]
    return "; ".join(said) or plain(state.get("sentence") or "nothing told")


def _there(value: object) -> bool:
    return value is not None and value not in ("", [], {}, ())


def _monitors(state: Mapping[str, Any], plain: Plain) -> list[str]:
    still, done, count = state.get("open"), state.get("complete"), state.get("open_count")
    said: list[str] = []
    if still is not None:
        said.append(f"open: {plain(still)}" if _there(still) else "no monitor open")
    elif count is not None:
        said.append(f"{plain(count)} monitor{'' if count == 1 else 's'} open, not told which")
    return [*said, f"complete: {plain(done)}"] if _there(done) else said


def _lamp(state: Mapping[str, Any]) -> list[str]:
    lamp, seen = state.get("lamp"), state.get("lamp_seen")
    said = [] if lamp is None else ["the controller asks for the lamp" if lamp else "the lamp is not asked for"]
    return [*said, f"lamp as seen: {seen}"] if seen not in (None, "", "not looked at") else said
