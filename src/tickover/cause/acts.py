"""What can be looked at or measured next: how, how long, how safe, and what each outcome would be expected from.

The chances are our own judgement of common practice, without a published source; they are stated so that they can be
argued with. They sum to 1 over the outcomes. A cause that is not named has the chances under ``""``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

Needs = Literal["nothing", "a multimeter", "a vacuum gauge", "a reader", "a rail gauge", "a smoke machine"]

FETCH: dict[Needs, float] = {
    "nothing": 0.0,
    "a multimeter": 1.0,
    "a vacuum gauge": 3.0,
    "a reader": 4.0,
    "a rail gauge": 20.0,
    "a smoke machine": 20.0,
}
"""Minutes that fetching it takes, on top of the test [min]. Own choice."""

_MOVING = "Hands, hair, cloth and leads clear of belt and fan: the fan may start by itself, also with the ignition off."
_CO = "Never run the engine in a closed space."
_PARKED = "Parking brake on, P or neutral, wheels on the floor."
_NO_SPRAY = "No flammable spray near a running engine."
_HELD = "Parking brake on, neutral, chocks; nobody in front of the car."
_ROAD = "The driver does not read: a passenger reads the screen, or the log is read afterwards. Keep to the limits."


@dataclass(frozen=True)
class Act:
    """One test that has named outcomes.

    Args:
        name: of the test.
        act: what to do, as an order.
        outcomes: outcome name to its words, in order.
        chances: cause to the chance of each outcome, in that order; "" for all others.
        minutes: without fetching anything [min].
        needs: what must be at hand.
        cautions: at the step.
        asks: a question to whoever drives the car.
    """

    name: str
    act: str
    outcomes: Mapping[str, str]
    chances: Mapping[str, tuple[float, ...]]
    minutes: float
    needs: Needs = "nothing"
    cautions: tuple[str, ...] = ()
    asks: bool = False


TESTS: dict[str, Act] = {
    one.name: one
    for one in (
        Act(
            "pinch",
            "Engine idling warm: pinch the rubber hoses at the inlet manifold one at a time, five seconds each, and "
            "watch the idle (and the trims, if you can see them)",
            {"falls": "the idle falls, or the trims come back, with one hose pinched", "nothing": "no hose changes it"},
            {"leak": (0.55, 0.45), "old memory": (0.06, 0.94), "something else": (0.15, 0.85), "": (0.04, 0.96)},
            5.0,
            cautions=(_MOVING, "Hot hoses: pinch with gloves, and none that carries coolant or fuel.", _NO_SPRAY, _CO),
        ),
        Act(
            "oil cap",
            "Engine idling warm: take the oil cap off for five seconds and put it back",
            {
                "changes": "the idle changes or stumbles, as it should",
                "no change": "nothing changes",
                "sucks": "the cap is held down hard, or it whistles, and the idle comes right with it off",
            },
            {
                "leak": (0.66, 0.22, 0.12),
                "something else": (0.72, 0.2, 0.08),
                "": (0.87, 0.11, 0.02),
            },
            1.0,
            cautions=(_MOVING, "Hot oil may splash: lift the cap slowly, face away."),
        ),
        Act(
            "hand at exhaust",
            "Engine idling: hold a hand a hand's width behind the tailpipe for ten seconds and feel the beat",
            {"even": "even puffs", "missing": "a beat is missing again and again"},
            {
                "dead coil": (0.1, 0.9),
                "leak": (0.85, 0.15),
                "injector dead time": (0.82, 0.18),
                "lost memory": (0.85, 0.15),
                "something else": (0.65, 0.35),
                "": (0.95, 0.05),
            },
            1.0,
            cautions=(
                "Exhaust gas is hot and poisonous: outdoors, a few seconds, hand beside the stream.",
                _CO,
                _PARKED,
            ),
        ),
        Act(
            "listen",
            "Engine idling warm: listen along inlet hose, manifold and brake servo hose, through a piece of hose held "
            "to the ear",
            {"hiss": "a hiss or whistle at one place", "quiet": "no hiss"},
            {"leak": (0.5, 0.5), "something else": (0.1, 0.9), "": (0.05, 0.95)},
            4.0,
            cautions=(_MOVING, _NO_SPRAY, _CO),
        ),
        Act(
            "bore",
            "Ignition off, key out: look into the throttle bore with a lamp",
            {"clean": "clean", "dirty": "a black rim where the plate closes"},
            {"old memory": (0.92, 0.08), "lost memory": (0.06, 0.94), "": (0.5, 0.5)},
            5.0,
            cautions=("Key out: the motor can close the plate on a finger.", "Turn no stop screw, force no plate."),
        ),
        Act(
            "needle",
            "Vacuum gauge on the manifold, engine idling warm: watch the needle for a minute",
            {
                "steady": "steady at its normal height",
                "low": "steady but low",
                "flicks": "flicks down at a regular beat",
                "floats": "floats slowly up and down",
            },
            {
                "dead coil": (0.07, 0.18, 0.65, 0.1),
                "leak": (0.45, 0.35, 0.03, 0.17),
                "lost memory": (0.55, 0.2, 0.05, 0.2),
                "injector dead time": (0.7, 0.1, 0.05, 0.15),
                "something else": (0.4, 0.25, 0.2, 0.15),
                "": (0.85, 0.06, 0.03, 0.06),
            },
            4.0,
            "a vacuum gauge",
            (_MOVING, _CO, _PARKED),
        ),
        Act(
            "hose heat",
            "Start cold: feel the upper radiator hose every minute while it warms",
            {"at once": "it warms along with the engine", "late": "it stays cool, then turns hot all at once"},
            {"stuck thermostat": (0.9, 0.1), "something else": (0.2, 0.8), "": (0.06, 0.94)},
            12.0,
            cautions=(_MOVING, "Radiator cap stays closed while hot.", _CO),
        ),
        Act(
            "sensor plug",
            "Engine idling: move the plug of the coolant sensor gently and watch the coolant reading",
            {"jumps": "the reading jumps", "steady": "it stays"},
            {"coolant sensor": (0.7, 0.3), "": (0.02, 0.98)},
            3.0,
            "a reader",
            (_MOVING, "Hot parts: gloves."),
        ),
        Act(
            "swap coil",
            "Ignition off: swap the coil of the cylinder that misses with its neighbour's, start, see where it misses",
            {"moves": "the miss moves with the coil", "stays": "it stays", "none": "no cylinder misses"},
            {"dead coil": (0.72, 0.2, 0.08), "something else": (0.05, 0.45, 0.5), "": (0.01, 0.05, 0.94)},
            12.0,
            "a reader",
            ("High voltage: ignition off before any coil is touched.", "Let it cool first."),
        ),
        Act(
            "rail pressure",
            "Fuel pressure gauge on the rail: read at idle, then with the engine held under load",
            {
                "normal": "as the car's service information has it, both times",
                "low": "off at idle already",
                "falls": "right at idle, falls under load",
            },
            {
                "fuel error": (0.4, 0.55, 0.05),
                "weak pump": (0.1, 0.15, 0.75),
                "something else": (0.8, 0.12, 0.08),
                "": (0.95, 0.03, 0.02),
            },
            15.0,
            "a rail gauge",
            ("Fuel under pressure: engine cold, no flame, no spark, eyes covered, rag around the fitting.",),
        ),
        Act(
            "smoke",
            "Smoke machine into the inlet, engine off, at the low pressure its maker names",
            {"found": "smoke comes out where it should not", "none": "no smoke"},
            {"leak": (0.92, 0.08), "something else": (0.12, 0.88), "": (0.05, 0.95)},
            12.0,
            "a smoke machine",
            ("Engine off, ignition off; outdoors or aired.",),
        ),
    )
}
"""Every test with named outcomes, by its name."""


ASK = Act(
    "history",
    "Ask what happened before: battery flat or off, throttle cleaned, a misfire cured, something unplugged",
    {},
    {},
    1.0,
    asks=True,
)
"""What happened before the car came."""
CODES = Act("codes", "Read the stored codes; clear nothing", {}, {}, 2.0, "a reader")
"""Stored codes."""


@dataclass(frozen=True)
class Measure:
    """One number that can be read next.

    Args:
        channel: which (``channels``).
        act: what to do, as an order.
        minutes: without fetching anything [min].
        needs, cautions, asks: as ``Act``.
    """

    channel: str
    act: str
    minutes: float
    needs: Needs = "a reader"
    cautions: tuple[str, ...] = ()
    asks: bool = False


MEASURES: tuple[Measure, ...] = (
    Measure("speed", "Read the warm idle speed, loads off, for a minute", 2.0, "nothing", (_CO, _PARKED)),
    Measure(
        "trim idle", "Read short and long trim together at warm idle, loads off, for a minute", 2.0, "a reader", (_CO,)
    ),
    Measure(
        "trim 2500", "Hold 2,500 r/min in neutral for half a minute and read both trims", 2.0, "a reader", (_HELD, _CO)
    ),
    Measure(
        "trim idle with load",
        "Warm idle, compressor and blower on: read both trims for a minute",
        3.0,
        "a reader",
        (_CO,),
    ),
    Measure("trim cruise", "Drive steadily at 80 km/h on the flat and record both trims", 12.0, "a reader", (_ROAD,)),
    Measure(
        "trim hard load",
        "Drive uphill with steady pedal in a high gear and record both trims",
        15.0,
        "a reader",
        (_ROAD,),
    ),
    Measure("flow idle", "Read the air flow at warm idle, loads off", 2.0, "a reader", (_CO,)),
    Measure("map idle", "Read the manifold pressure at warm idle, loads off", 2.0, "a reader", (_CO,)),
    Measure(
        "vacuum", "Vacuum gauge on the manifold, warm idle: read its height", 4.0, "a vacuum gauge", (_MOVING, _CO)
    ),
    Measure(
        "idle air",
        "Read the commanded idle air at warm idle, and look up what is normal for this car",
        5.0,
        "a reader",
        (_CO,),
    ),
    Measure(
        "misfires",
        "Read the misfire counters of the running trip, all cylinders together, before and after two minutes of idle; "
        "missed firings per 1,000 revolutions are what they rose by, times 1,000, over the revolutions (two minutes at "
        "750 r/min are 1,500)",
        4.0,
        "a reader",
        (_CO,),
    ),
    Measure(
        "volts rest",
        "Multimeter at the battery, engine off and rested",
        2.0,
        "a multimeter",
        ("No spark near the battery.",),
    ),
    Measure(
        "volts cranking",
        "Multimeter at the battery while somebody starts the engine",
        2.0,
        "a multimeter",
        (_PARKED, _MOVING),
    ),
    Measure("volts running", "Multimeter at the battery, engine running", 2.0, "a multimeter", (_MOVING,)),
    Measure(
        "coolant",
        "Run it for a quarter of an hour and read where the coolant settles",
        15.0,
        "a reader",
        (_CO, _MOVING),
    ),
    Measure(
        "ethanol",
        "Ask what was filled last, and read the fuel blend where the car reports it",
        2.0,
        "nothing",
        asks=True,
    ),
)
"""Every number that can be read next."""


RELEARN_CAUTIONS: tuple[str, ...] = (
    "Read and write down codes and readiness first: some routines clear them.",
    "Battery at 12.4 V or more, else a charger on before the key.",
)
"""At a relearn."""

BORE_CAUTIONS: tuple[str, ...] = ("Key out before a hand goes into the bore; force no plate, turn no stop screw.",)
"""Where the bore is cleaned first."""

MEND_CAUTIONS: Mapping[str, tuple[str, ...]] = {
    "leak": (_MOVING, _NO_SPRAY, _CO),
    "fuel error": ("Fuel under pressure: engine cold, no flame, no spark, eyes covered.",),
    "weak pump": ("Fuel under pressure: engine cold, no flame, no spark, eyes covered.",),
    "injector dead time": ("Ignition off before a plug is pulled.",),
    "dead coil": ("High voltage: ignition off before any coil is touched; let it cool.",),
    "tired battery": ("No spark near the battery; charge it where it is aired.",),
    "stuck thermostat": ("Radiator cap stays closed while hot.",),
    "coolant sensor": ("Hot parts: gloves.",),
}
"""At those acts."""

FINDS: Mapping[str, tuple[str, str]] = {
    "pinch": ("leak", "falls"),
    "listen": ("leak", "hiss"),
    "smoke": ("leak", "found"),
    "swap coil": ("dead coil", "moves"),
}
"""Tests that find the place of a cause that must be found before anyone can mend it: the cause, and the outcome."""


def cylinders_named(codes: Sequence[str] | None) -> dict[int, str]:
    """Cylinders that stored codes name, each with its code, in order: P0303 names cylinder 3."""
    named = {int(c[3:]): c for c in codes or () if c.startswith("P03") and c[3:].isdigit() and 1 <= int(c[3:]) <= 12}
    return dict(sorted(named.items()))
