"""Set-up: which needs of a routine are met, from readings that were typed or logged."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Literal

from numpy.random import Generator

from tickover.arrival.battery import (
    CHARGER,
    BatteryState,
    How,
    battery_minutes,
    battery_state,
    key_on_volts,
)
from tickover.arrival.candidates import duration_minutes
from tickover.arrival.fan import FanWindow, fan_window
from tickover.errors import InputError
from tickover.results import CannotTell, Measured, Quantity, Result
from tickover.routines import CompiledNeed, CompiledRoutine
from tickover.signals import Recording, signal

STALE = 60.0
"""A logged reading older than this against the log's end is not today's [s]; own choice."""

Standing = Literal["met", "not met", "by hand", "cannot tell"]


class NeedState(Result):
    """One need.

    Attributes:
        need, why: as the routine says.
        standing: met, not met, by hand (nothing measures it), or cannot tell.
        found: what was found, in a sentence; empty where nothing was looked at.
        instead: what to do where it is not met or cannot be told.
    """

    need: str
    why: str
    standing: Standing
    found: str = ""
    instead: str = ""


class SetUp(Result):
    """What the set-up found.

    Attributes:
        routine: id of the routine.
        seconds: how long one try takes [s].
        needs: every need with its standing, in the routine's order.
        fan: when the fan comes on, where the coolant was logged.
        battery: what the volts say, where they were read.
        minutes: until key-on volts reach 12.0 V, where their fall was logged.
    """

    routine: str
    seconds: float
    needs: tuple[NeedState, ...]
    fan: FanWindow | None = None
    battery: BatteryState | None = None
    minutes: Measured | None = None


def set_up(
    routine: CompiledRoutine,
    rng: Generator,
    readings: Recording | Mapping[str, float] | None = None,
    *,
    volts_how: How | None = None,
    fan_on: float | None = None,
) -> SetUp:
    """Which needs are met, how long until the fan, whether the battery lasts.

    Args:
        routine: compiled.
        rng: seeded generator.
        readings: a recording, or standard names to values typed, in the vocabulary's units; None for nothing read.
        volts_how: how typed volts were taken; key on where None and the engine's speed is not typed above 0.
        fan_on: where this car's fan comes on, if known [°C].
    Returns: the set-up.
    Raises: UnknownSignalError for a name outside the vocabulary; InputError for a value that cannot be.
    """
    logged: Recording | None = None
    if isinstance(readings, Recording):
        logged = readings
        values = _latest(readings)
    else:
        values = _typed(dict(readings or {}))
    seconds = 60 * duration_minutes(routine)
    coolant = logged.get("coolant_temperature") if logged is not None else None
    fan = fan_window(coolant, rng, fan_on) if coolant is not None and len(coolant) else None
    battery, minutes = _battery(values, logged, rng, volts_how)
    return SetUp(
        routine=routine.id,
        seconds=seconds,
        needs=tuple(_state(need, values, fan, battery, minutes, seconds) for need in routine.needs),
        fan=fan,
        battery=battery,
        minutes=minutes,
    )


def _typed(values: dict[str, float]) -> dict[str, float]:
    for name, value in values.items():
        row = signal(name)
        if not math.isfinite(value) or not row.lo <= value <= row.hi:
            raise InputError(
                f"{row.label} {value:g} {row.unit} cannot be",
                way_out=f"It is between {row.lo:g} and {row.hi:g} {row.unit}.",
            )
    return values


def _latest(recording: Recording) -> dict[str, float]:
    end = recording.span[1]
    return {n: float(recording[n].value[-1]) for n in recording
            if len(recording[n]) and end - recording[n].t_hi[-1] <= STALE}  # fmt: skip


def _battery(
    values: Mapping[str, float], logged: Recording | None, rng: Generator, how: How | None
) -> tuple[BatteryState | None, Measured | None]:
    if logged is None:
        if "module_voltage" not in values:
            return None, None
        runs = values.get("engine_speed", 0.0) > 0
        return battery_state(values["module_voltage"], how or ("running" if runs else "key on")), None
    if "module_voltage" not in logged:
        return None, None
    stretch = key_on_volts(logged)
    if isinstance(stretch, CannotTell) or not len(stretch):
        return battery_state(float(logged["module_voltage"].value[-1]), "running"), (
            stretch if isinstance(stretch, CannotTell) else None
        )
    return battery_state(float(stretch.value[-1]), "key on"), battery_minutes(stretch, rng)


def _state(
    need: CompiledNeed,
    values: Mapping[str, float],
    fan: FanWindow | None,
    battery: BatteryState | None,
    minutes: Measured | None,
    seconds: float,
) -> NeedState:
    if need.signal == "module_voltage":
        return _volts(need, battery, minutes, seconds)
    if need.signal is not None:
        return _signal(need, values)
    if re.search(r"\bfan\b", need.need, re.IGNORECASE) and fan is not None:
        return _fan(need, fan, seconds)
    return NeedState(need=need.need, why=need.why, standing="by hand")


def _signal(need: CompiledNeed, values: Mapping[str, float]) -> NeedState:
    assert need.signal is not None
    row = signal(need.signal)
    if need.signal not in values:
        return NeedState(
            need=need.need,
            why=need.why,
            standing="cannot tell",
            found=f"No reading of {row.label}.",
            instead=f"Read {row.label} and type it, or log it.",
        )
    value = values[need.signal]
    found = f"{row.label} {value:g} {row.unit}"
    if need.lo is not None and value < need.lo:
        below = f"Wait until it is {need.lo:g} {row.unit} or more."
        return NeedState(need=need.need, why=need.why, standing="not met", found=f"{found}: too low.", instead=below)
    if need.hi is not None and value > need.hi:
        above = f"Wait until it is {need.hi:g} {row.unit} or less."
        return NeedState(need=need.need, why=need.why, standing="not met", found=f"{found}: too high.", instead=above)
    return NeedState(need=need.need, why=need.why, standing="met", found=f"{found}.")


def _fan(need: CompiledNeed, fan: FanWindow, seconds: float) -> NeedState:
    fits = fan.leaves(seconds)
    if isinstance(fan.seconds, CannotTell):
        return NeedState(
            need=need.need,
            why=need.why,
            standing="not met" if fits is False else "cannot tell",
            found=fan.seconds.reason,
            instead=fan.seconds.way_out,
        )
    standing: Standing = "met" if fits else "not met" if fits is False else "cannot tell"
    lo = fan.seconds.lo or 0.0
    when = f"{lo:.0f} s or more" if fan.seconds.hi is None else f"{lo:.0f} to {fan.seconds.hi:.0f} s"
    return NeedState(
        need=need.need,
        why=need.why,
        standing=standing,
        found=f"The fan comes on in {when}; one try takes {seconds:.0f} s.",
        instead="" if fits else "Let the fan run through and begin as it stops.",
    )


_BY_VOLTS: dict[str, Standing] = {
    "fine": "met",
    "charger": "not met",
    "stop": "not met",
    "cannot tell": "cannot tell",
}


def _volts(need: CompiledNeed, battery: BatteryState | None, minutes: Measured | None, seconds: float) -> NeedState:
    if battery is None:
        return NeedState(
            need=need.need,
            why=need.why,
            standing="cannot tell",
            found="No reading of volts.",
            instead=f"Ignition on, engine off: read the volts. Or: {CHARGER}",
        )
    standing = _BY_VOLTS[battery.standing]
    found, instead = battery.sentence, battery.instead
    if battery.standing == "fine" and need.lo is not None and battery.volts < need.lo:
        standing, instead = "not met", CHARGER
        found += f" This routine asks for {need.lo:g} V."
    if standing == "met" and isinstance(minutes, Quantity) and minutes.lo is not None and minutes.lo * 60 < seconds:
        sure = minutes.hi is not None and minutes.hi * 60 < seconds
        standing, instead = ("not met" if sure else "cannot tell"), CHARGER
        found += f" It falls: 12.0 V may be reached in {minutes.lo:.0f} min, and one try takes {seconds / 60:.0f} min."
    return NeedState(need=need.need, why=need.why, standing=standing, found=found, instead=instead)
