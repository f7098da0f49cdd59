"""For every relearn family the car that it heals, and no other routine of its rung does: the story to try it on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from tickover.engine.entry import ENTRIES
from tickover.engine.spec import CarSpec, cured_misfire, lost_memory_on_dirty_bore, old_memory_on_cleaned_bore


def unlearned_throttle_stop(spec: CarSpec | None = None) -> CarSpec:
    """Throttle or controller was unplugged: the blade stands 6 mm² too far open until its stop is learned."""
    return replace(spec or CarSpec(), stop_learned=False, stop_error_mm2=6.0)


def unlearned_pedal_rest(spec: CarSpec | None = None) -> CarSpec:
    """Pedal or controller was unplugged: the pedal is taken for 3 % pressed, idle control sleeps, the idle is high."""
    return replace(spec or CarSpec(), rest_learned=False, rest_error=0.03)


def unlearned_loads(spec: CarSpec | None = None) -> CarSpec:
    """The air for compressor and drive gear is lost: idles well free, sags in gear."""
    return replace(spec or CarSpec(), loads_learned=False)


def power_loss(spec: CarSpec | None = None) -> CarSpec:
    """A flat battery on a bore since cleaned: an old learned air, and nothing known of loads."""
    return unlearned_loads(old_memory_on_cleaned_bore(spec))


def cool(spec: CarSpec) -> CarSpec:
    """The same car, come in half warm: 60 °C, so that it must be run warm first."""
    return replace(spec, coolant_start=60.0)


STORIES: dict[str, Callable[[CarSpec | None], CarSpec]] = {
    "power-cycle": cured_misfire,
    "pedal-count": old_memory_on_cleaned_bore,
    "pedal-hold": old_memory_on_cleaned_bore,
    "slow-presses": old_memory_on_cleaned_bore,
    "double-hold": power_loss,
    "key-on-rest": unlearned_throttle_stop,
    "run-in-idle": power_loss,
    "fast-run-in": lambda spec: cool(old_memory_on_cleaned_bore(spec)),
    "rest-and-idle": lost_memory_on_dirty_bore,
    "loads-in-turn": unlearned_loads,
    "drive-in": old_memory_on_cleaned_bore,
    "pedal-rest": unlearned_pedal_rest,
    "throttle-stop": unlearned_throttle_stop,
}
"""The story of every family, under the names of ``entry.ENTRIES``."""


def car_for(family: str, spec: CarSpec | None = None) -> CarSpec:
    """The car that a family heals, with that family's entry and no other.

    Args:
        family: a name of ``entry.ENTRIES``
        spec: what else the car should be; the default car where None
    Raises: KeyError for another name.
    Example: ``car_for("key-on-rest")`` idles high until its throttle has found its stop.
    """
    return replace(STORIES[family](spec), entries=(ENTRIES[family],))
