"""What is known of a car, gathered from its answers. Several controllers count as one car."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from tickover.obd.monitors import EDITION_NOTE, SPARK
from tickover.obd.results import Codes, Decoded, InUse, MonitorStatus, Values
from tickover.readiness.results import CarState, Fuel

WARM_UPS_FULL = 255
"""The warm-up counter stops here: it then means this many or more."""


def state_of(answers: Iterable[Decoded]) -> CarState:
    """Gather what answers say about readiness.

    Args:
        answers: of any services, from any controllers; the later of one kind from one controller counts.
    Returns: the state. A monitor is open if any controller that supports it has not completed it; the lamp is asked
        for if any controller asks.
    """
    found = _Found(answers)
    statuses = list(found.status.values())
    opened = _names(m.name for s in statuses for m in s.open)
    supported = _names(m.name for s in statuses for m in s.monitors)
    ignition = statuses[0].ignition if statuses else None
    counters = found.counters
    if ignition is None and counters is not None:
        ignition = counters.ignition
    return CarState(
        open=opened if statuses else None,
        complete=tuple(n for n in supported if n not in opened),
        lamp=any(s.lamp for s in statuses) if statuses else None,
        stored=found.codes.get("confirmed"),
        pending=found.codes.get("pending"),
        permanent=found.codes.get("permanent"),
        stored_count=sum(s.stored or 0 for s in statuses) if statuses else None,
        warm_ups=_whole(found.values.get("warm_ups")),
        km=found.values.get("distance_since_clear"),
        minutes=found.values.get("time_since_clear"),
        counters=dict(counters.counters) if counters is not None else {},
        ignition=ignition,
        says=tuple(_says(found, statuses, supported)),
    )


class _Found:
    """Answers sorted by what they are."""

    def __init__(self, answers: Iterable[Decoded]) -> None:
        self.status: dict[str, MonitorStatus] = {}
        self.codes: dict[str, tuple[str, ...]] = {}
        self.values: dict[str, float] = {}
        self._by: dict[str, str] = {}
        self.counters: InUse | None = None
        for one in answers:
            self._take(one)

    def _take(self, one: Decoded) -> None:
        answer = one.answer
        if isinstance(answer, MonitorStatus) and answer.pid == 0x01:
            self.status[one.ecu] = answer
        elif isinstance(answer, Codes):
            self.codes[answer.of] = _names([*self.codes.get(answer.of, ()), *answer.codes])
        elif isinstance(answer, InUse):
            # The engine controller's ignition counter runs longest; a second controller may count only some monitors.
            if self.counters is None or _cycles(answer) >= _cycles(self.counters):
                self.counters = answer
        elif isinstance(answer, Values):
            for value in answer.values:
                # Counters since the clear: the first controller to answer is the engine's, the others' may differ.
                if value.value is not None and self._by.setdefault(value.name, one.ecu) == one.ecu:
                    self.values[value.name] = value.value


def _cycles(answer: InUse) -> int:
    return answer.counters.get("IGNCNTR", 0)


def _names(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(names))


def _whole(value: float | None) -> int | None:
    return None if value is None else int(value)


def _says(found: _Found, statuses: Sequence[MonitorStatus], supported: Sequence[str]) -> Iterable[str]:
    if statuses:
        controllers = [ecu for ecu in found.status if ecu]
        by = f"of {', '.join(controllers)}" if controllers else "of one controller"
        yield f"monitor status since the last clear, {by}"
    if len({s.ignition for s in statuses}) > 1:
        yield "controllers disagree whether the engine has spark or compression ignition"
    if SPARK[4] in supported:
        yield EDITION_NOTE
    for kind, codes in found.codes.items():
        yield f"{kind} codes: {', '.join(codes) or 'none'}"
    if found.values.get("warm_ups") == WARM_UPS_FULL:
        yield f"warm-ups {WARM_UPS_FULL} means that many or more"


def fuel_of(state: CarState) -> Fuel | None:
    """The fuel that the layout of the bytes betrays: compression is diesel, spark counts as petrol."""
    if state.ignition is None:
        return None
    return "diesel" if state.ignition == "compression" else "petrol"
