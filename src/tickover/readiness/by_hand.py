"""What a person tells of a car's readiness, over what its bytes say; what is told by hand counts."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from tickover.obd.codes import code_text, code_word
from tickover.readiness.names import monitor_called
from tickover.readiness.results import CarState, LampSeen


def told_by_hand(
    state: CarState,
    *,
    opened: Iterable[str] | None = None,
    open_count: int | None = None,
    lamp: bool | None = None,
    lamp_seen: LampSeen | None = None,
    permanent: Iterable[str] | None = None,
) -> CarState:
    """A state with what was told by hand.

    Args:
        state: what the bytes say; an empty one where there are none.
        opened: the open monitors, by any of their names; empty for none. None where nobody said.
        open_count: how many are open, where only that is known.
        lamp: whether the engine lamp is on while the engine runs.
        lamp_seen: the engine lamp with the ignition on and the engine off.
        permanent: permanent trouble codes; empty for none.
    Raises: InputError for a monitor or a code that there is not.
    """
    changed: dict[str, Any] = {}
    says = list(state.says)
    if opened is not None:
        changed["open"] = tuple(dict.fromkeys(monitor_called(name) for name in opened))
        changed["complete"] = ()
        says.append("open monitors told by hand; all others taken as complete")
    if open_count is not None:
        changed |= {"open": None, "complete": (), "open_count": open_count}
        says.append("only a count of open monitors, told by hand, as the station counts")
    if lamp is not None:
        changed["lamp"] = lamp
    if lamp_seen is not None:
        changed["lamp_seen"] = lamp_seen
    if permanent is not None:
        changed["permanent"] = tuple(code_text(code_word(word)) for word in permanent)
    return state.model_copy(update={**changed, "says": tuple(says)})
