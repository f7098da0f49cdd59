"""Stop signs, and what no relearn can mend: each with its reason and what to do instead.

Source: common practice, no published source; the order of danger is our own choice. The groups of codes are from
memory of SAE J2012, checked against no copy of it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

from tickover.arrival.answers import Answers
from tickover.results import Result

StopSort = Literal["stop sign", "not by relearn"]


class Stop(Result):
    """One reason why no routine is begun.

    Attributes:
        name: short, unique.
        sort: a stop sign, or a fault that no relearn mends.
        why: the reason, one sentence.
        instead: what to do instead.
        do_not_drive: the car is not to be driven meanwhile.
        codes: the codes it rests on.
        basis: where the reason comes from.
    """

    name: str
    sort: StopSort
    why: str
    instead: str
    do_not_drive: bool = False
    codes: tuple[str, ...] = ()
    basis: str = "Common practice, no published source."


CODES_BASIS = "The meaning of the code is from memory of SAE J2012; the car's own service information wins."


@dataclass(frozen=True, slots=True)
class CodeGroup:
    """Codes that belong together: first and last, as in P0300 to P0312; one name for stops and words."""

    name: str
    first: str
    last: str

    def has(self, code: str) -> bool:
        """Whether the code is of this group; codes compare as hexadecimal numbers."""
        return code[0] == self.first[0] and int(self.first[1:], 16) <= int(code[1:], 16) <= int(self.last[1:], 16)


# From memory of SAE J2012; P0105 to P0109 measure the air of an engine without an air meter.
THROTTLE_CODES = (
    CodeGroup("throttle or pedal sensor", "P0120", "P0124"),
    CodeGroup("throttle or pedal sensor", "P0220", "P0229"),
    CodeGroup("throttle actuator range", "P0638", "P0639"),
    CodeGroup("throttle actuator", "P2100", "P2119"),
    CodeGroup("throttle or pedal sensor", "P2120", "P2140"),
    CodeGroup("air flow through the throttle", "P2172", "P2175"),
)
AIR_CODES = (
    CodeGroup("air meter", "P0100", "P0104"),
    CodeGroup("manifold pressure sensor", "P0105", "P0109"),
    CodeGroup("air meter", "P010A", "P010F"),
)
MISFIRE_CODES = (CodeGroup("misfire", "P0300", "P0312"),)
IDLE_CODES = (CodeGroup("idle speed", "P0505", "P0507"), CodeGroup("throttle rest not learned", "P2176", "P2176"))
"""These are no stop: they say that the idle is off, which is why the car is here."""


def codes_in(groups: tuple[CodeGroup, ...], answers: Answers) -> tuple[str, ...]:
    """Those of the stored codes that belong to one of the groups."""
    return tuple(code for code in answers.codes or () if any(group.has(code) for group in groups))


def misfire_is_live(answers: Answers) -> bool:
    """Whether it misses now, as far as the answers tell.

    It does where that was felt, where the lamp flashes, and where a misfire code is stored. A stored code does not
    count where the misfire was cured and it was looked for and is gone: then the code is what the controller remembers.
    """
    if answers.misfire == "yes" or answers.lamp == "flashing":
        return True
    remembered = "misfire" in answers.before and answers.misfire == "no"
    return bool(codes_in(MISFIRE_CODES, answers)) and not remembered


def stops(answers: Answers) -> tuple[Stop, ...]:
    """What speaks against any relearn now, the most dangerous first.

    Args:
        answers: what was answered.
    Returns: stops, possibly none. What was not answered stops nothing: it is not known.
    """
    return tuple(stop for rule in _RULES for stop in rule(answers))


def _fuel(a: Answers) -> Iterator[Stop]:
    if "fuel" in a.danger:
        yield Stop(
            name="smell of fuel",
            sort="stop sign",
            why="Fuel vapour burns at the first spark, and a starter makes one.",
            instead="Ignition off, no flame, doors open. Find the leak before the ignition goes on again.",
            do_not_drive=True,
        )


def _oil(a: Answers) -> Iterator[Stop]:
    if "oil" in a.danger:
        yield Stop(
            name="oil lamp",
            sort="stop sign",
            why="Without oil pressure a minute of running can ruin the engine.",
            instead="Engine off. Check the level, then measure the pressure, before it runs again.",
            do_not_drive=True,
        )


def _overheating(a: Answers) -> Iterator[Stop]:
    if "overheating" in a.danger:
        yield Stop(
            name="overheating",
            sort="stop sign",
            why="An overheating engine takes harm while it idles, and its idle is not the one to be learned.",
            instead="Engine off; cap closed until it is cold. Find coolant, fan and thermostat in order first.",
            do_not_drive=True,
        )


def _races(a: Answers) -> Iterator[Stop]:
    if "races" in a.complaint:
        yield Stop(
            name="races above 2,000 r/min",
            sort="stop sign",
            why="With the pedal up that is more air than any stale idle memory lets in.",
            instead="Ignition off. Key out, then see that plate and cable close; 30 s off, one start. Races again: "
            "look for a stuck plate or a hose off, and do not drive.",
            do_not_drive=True,
        )


def _flashing(a: Answers) -> Iterator[Stop]:
    if a.lamp == "flashing":
        yield Stop(
            name="flashing lamp",
            sort="stop sign",
            why="The engine misses so much that it is burning the catalyst.",
            instead="Do not run it on. Read the codes, then coil, plug, injector and compression of the cylinder.",
            do_not_drive=True,
            codes=codes_in(MISFIRE_CODES, a),
        )


def _power(a: Answers) -> Iterator[Stop]:
    for value, name, why in (
        ("power", "reduced power", "The controller limits the throttle because it does not trust it."),
        ("security", "security lamp", "The immobiliser is not content, and cycling the ignition may lock it out."),
    ):
        if value in a.danger:
            yield Stop(
                name=name,
                sort="stop sign",
                why=why,
                instead="Ignition off for 30 s, then one start. If it stays: read the codes, do not drive.",
                do_not_drive=True,
            )


def _no_start(a: Answers) -> Iterator[Stop]:
    if "no start" in a.complaint:
        yield Stop(
            name="will not start",
            sort="stop sign",
            why="Every routine ends with a start, and an idle that is not there cannot be learned.",
            instead="Ignition off. Does it start with the pedal pressed a little? Then the bore may be closed with "
            "dirt: clean it. If not: cranking, spark, fuel.",
        )


def _battery(a: Answers) -> Iterator[Stop]:
    if a.battery == "not charging":
        yield Stop(
            name="not charging",
            sort="stop sign",
            why="The volts fall while the engine runs, and the idle is raised against it.",
            instead="Measure at the battery, running: 13.3 to 14.8 V (our default). Belt, alternator, its leads first.",
        )
    if a.battery == "weak":
        yield Stop(
            name="weak battery",
            sort="stop sign",
            why="With the ignition on and the engine off it falls further; a controller that drops out learns nothing.",
            instead="A charger on before the ignition, able to carry the key-on draw, no boost mode. Then begin again "
            "with battery=charger.",
        )


def _codes(a: Answers) -> Iterator[Stop]:
    throttle, air = codes_in(THROTTLE_CODES, a), codes_in(AIR_CODES, a)
    if throttle:
        yield Stop(
            name="throttle codes",
            sort="not by relearn",
            why=f"{' and '.join(throttle)}: the controller does not trust the throttle or the pedal, and refuses.",
            instead="Plug, leads, then the two tracks of the sensor against each other. Mend it, then come back.",
            codes=throttle,
            basis=CODES_BASIS,
        )
    if air:
        yield Stop(
            name="air-meter codes",
            sort="not by relearn",
            why=f"{' and '.join(air)}: the air is measured wrongly, and an idle learned by it is wrong.",
            instead="Plug, leads, hoses after the meter, then the meter itself. Mend it, then come back.",
            codes=air,
            basis=CODES_BASIS,
        )


def _misfire(a: Answers) -> Iterator[Stop]:
    if misfire_is_live(a) and a.lamp != "flashing":
        found = codes_in(MISFIRE_CODES, a)
        felt = a.misfire == "yes"
        yield Stop(
            name="live misfire",
            sort="not by relearn",
            why="A cylinder does not fire; no memory makes it fire."
            if felt
            else f"{' and '.join(found)} stands for a misfire, and nobody has found it gone.",
            instead="Plug, coil, injector, compression. Cured, and felt to be gone: misfire=no and before=misfire.",
            codes=found,
            basis=CODES_BASIS if found else "Common practice, no published source.",
        )


def _leak(a: Answers) -> Iterator[Stop]:
    if a.leak == "yes":
        yield Stop(
            name="known leak",
            sort="not by relearn",
            why="Air that comes in beside the throttle would be learned as if it belonged there.",
            instead="Mend the leak, then look at the idle again: it may be well by itself.",
        )


_SCREWS = {
    "turned": (
        "idle-stop screw turned",
        "The throttle's rest is off by as much as it was turned; a relearn would hide it.",
        "Set the screw back to its mark or to the service information's figure, then come back.",
    ),
    "forced": (
        "throttle plate forced",
        "A plate forced by hand may have hurt the gear or the spring that sets its rest.",
        "Ignition off: does it fall back to its rest, without play? If not, the throttle is replaced.",
    ),
    "loose": (
        "loose screw at the throttle",
        "The plate's rest moves with it, so whatever is learned is wrong tomorrow; a screw can fall into the engine.",
        "Ignition off, key out. Tighten or replace it, secured as the service information says, then come back.",
    ),
}


def _screws(a: Answers) -> Iterator[Stop]:
    if a.screws in _SCREWS:
        name, why, instead = _SCREWS[a.screws]
        yield Stop(name=name, sort="not by relearn", why=why, instead=instead)


_DRIVES = {
    "gas": (
        "running on gas",
        "Gas takes the place of air and shifts the trims; what is learned on it is wrong on petrol.",
        "Switch to petrol, let it idle warm, and look again. If it is off on gas only, the gas system is set.",
    ),
    "carburettor": (
        "carburettor",
        "There is no learned idle: screws, float and choke set it.",
        "Set speed and mixture by the service information, after leaks and ignition.",
    ),
    "diesel": (
        "diesel",
        "A diesel's idle is held by fuel, not by a learned throttle.",
        "Injector balance, fuel supply, exhaust-gas valve and intake flap; the service information says how.",
    ),
    "hybrid": (
        "hybrid",
        "Its engine is started and held by the electric drive, so key-and-pedal routines do not apply.",
        "Only the maker's own procedure, by somebody trained for high voltage.",
    ),
    "electric": ("electric drive", "It has no idle.", "Nothing here applies to it."),
}


NO_LEARNED_IDLE = frozenset(_DRIVES) - {"gas"}
"""Drives of which no story of a learned idle can be told; one on gas has a petrol idle beside."""


def _drive(a: Answers) -> Iterator[Stop]:
    if a.drive in _DRIVES:
        name, why, instead = _DRIVES[a.drive]
        yield Stop(name=name, sort="not by relearn", why=why, instead=instead)


_RULES: tuple[Callable[[Answers], Iterator[Stop]], ...] = (
    _fuel,
    _oil,
    _overheating,
    _races,
    _flashing,
    _power,
    _no_start,
    _battery,
    _misfire,
    _codes,
    _leak,
    _screws,
    _drive,
)
"""In order of danger."""
