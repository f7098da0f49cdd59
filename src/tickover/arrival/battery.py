"""Whether the battery will last: key-on volts, and how fast they fall.

Defaults (ours, trade figures differ): with the ignition on and the engine off, 12.4 V or more is fine, 12.0 to 12.4 V
wants a charger, below 12.0 V stop; running, 13.3 to 14.8 V.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.random import Generator

from tickover.arrival.trend import fit_line
from tickover.errors import InputError
from tickover.results import CannotTell, Measured, Quantity, Result
from tickover.signals import Recording, Series

KEY_ON_FINE = 12.4
KEY_ON_LEAST = 12.0
RUNNING = (13.3, 14.8)
"""Our defaults [V]; the car's own service information wins."""

SETTLE = 5.0
"""The first seconds after the ignition goes on are left out: pumps and relays draw more then [s]; own choice."""
LEAST_SECONDS = 45.0
"""A shorter fall says nothing [s]; own choice, for the 60 s that are asked for."""
LEAST_SAMPLES = 8
STOPPED = 50.0
"""Below this the engine stands [r/min]; own choice."""
NO_MORE = 60.0
"""Longer is only told as “this or more”: the fall does not stay straight [min]; own choice."""

CHARGER = (
    "Use a charger: on before the ignition, able to carry the key-on draw, no boost mode, on the posts the maker names."
)

How = Literal["key on", "open, rested", "open, not rested", "running"]


class BatteryState(Result):
    """What the volts say.

    Attributes:
        volts: as read.
        how: ignition on and engine off; everything off, rested or not; or running.
        standing: fine, charger, stop, or cannot tell.
        sentence: one sentence.
        instead: what to do where it is not fine.
        basis: whose thresholds they are.
    """

    volts: float
    how: How
    standing: Literal["fine", "charger", "stop", "cannot tell"]
    sentence: str
    instead: str = ""
    basis: str = "Thresholds are our defaults; trade figures differ."


def battery_state(volts: float, how: How = "key on") -> BatteryState:
    """Judge one reading of volts.

    Args:
        volts: at the battery or the controller [V].
        how: how it was taken.
    Returns: the state. With everything off, volts say nothing of how long the key-on draw is carried.
    Raises: InputError for volts that no 12 V car has (0 to 18).
    Source: thresholds are our defaults; that surface charge hides a weak battery is common practice.
    """
    if not 0 <= volts <= 18:
        raise InputError(f"{volts:g} V is no reading of a 12 V car", way_out="Give volts between 0 and 18.")
    said = f"{volts:.2f} V"
    if how == "open, not rested":
        return BatteryState(
            volts=volts,
            how=how,
            standing="cannot tell",
            sentence=f"{said} soon after running or charging: the surface charge hides what the battery can do.",
            instead=CHARGER,
        )
    if how == "open, rested" and volts >= KEY_ON_FINE:
        return BatteryState(
            volts=volts,
            how=how,
            standing="cannot tell",
            sentence=f"{said} at rest is a charged battery; whether it carries the key-on draw it does not say.",
            instead=f"Ignition on, engine off, 60 s: read the volts at the start and at the end. Or: {CHARGER}",
        )
    if how == "running":
        return _running(volts, said)
    at = "at rest" if how == "open, rested" else "with the ignition on"
    if volts < KEY_ON_LEAST:
        return BatteryState(
            volts=volts, how=how, standing="stop", sentence=f"{said} {at}: below {KEY_ON_LEAST} V.", instead=CHARGER
        )
    if volts < KEY_ON_FINE:
        return BatteryState(
            volts=volts, how=how, standing="charger", sentence=f"{said} {at}: it may not last.", instead=CHARGER
        )
    return BatteryState(volts=volts, how=how, standing="fine", sentence=f"{said} {at}: fine.")


def _running(volts: float, said: str) -> BatteryState:
    if RUNNING[0] <= volts <= RUNNING[1]:
        return BatteryState(
            volts=volts,
            how="running",
            standing="cannot tell",
            sentence=f"{said} running: it charges. What the battery holds with the engine off this does not say.",
            instead="Engine off, ignition on: read again. " + CHARGER,
        )
    why = "it does not charge as it should" if volts < RUNNING[0] else "it charges too high"
    return BatteryState(
        volts=volts,
        how="running",
        standing="stop",
        sentence=f"{said} running: {why} ({RUNNING[0]} to {RUNNING[1]} V).",
        instead="Belt, alternator and its leads first.",
    )


def key_on_volts(recording: Recording) -> Series | CannotTell:
    """The last unbroken stretch of volts with the engine standing, its first seconds left out.

    Args:
        recording: with ``module_voltage`` and ``engine_speed``.
    Returns: the stretch, or why there is none.
    """
    volts, speed = recording.get("module_voltage"), recording.get("engine_speed")
    if volts is None or not len(volts):
        return CannotTell(reason="No volts were recorded.", way_out="Log the volts, or read a multimeter by eye.")
    if speed is None or not len(speed):
        return CannotTell(
            reason="Whether the engine ran was not recorded, so the volts may be the alternator's.",
            way_out="Log the engine's speed as well.",
        )
    known = speed.hold(volts.t_hi)
    standing = known < STOPPED
    if not standing[-1]:
        last = np.flatnonzero(standing)
        if not len(last):
            return CannotTell(
                reason="The engine ran throughout: the volts are the alternator's.",
                way_out="Log 60 s with the ignition on and the engine off.",
            )
        end = int(last[-1]) + 1
    else:
        end = len(volts)
    broken = np.flatnonzero(~standing[:end])
    start = int(broken[-1]) + 1 if len(broken) else 0
    keep = slice(start, end)
    t0 = float(volts.t_hi[start])
    late = volts.t_hi[keep] >= t0 + SETTLE
    return Series(volts.t_lo[keep][late], volts.t_hi[keep][late], volts.value[keep][late])


def battery_minutes(volts: Series, rng: Generator, least: float = KEY_ON_LEAST, draws: int = 4000) -> Measured:
    """Minutes until key-on volts have fallen to a least, if they go on falling as they do.

    A battery falls fast at first and slower later, so a straight line rather says too little than too much.

    Args:
        volts: key-on volts with the engine off, about 60 s [V].
        rng: seeded generator.
        least: where to stop [V].
        draws: how many.
    Returns: minutes at 90 %, ``hi`` None where no end is in sight; or why it cannot be told.
    Source: straight line, own choice; DESIGN asks for 60 s.
    """
    seconds = float(volts.t_hi[-1] - volts.t_hi[0]) if len(volts) else 0.0
    if seconds < LEAST_SECONDS or len(volts) < LEAST_SAMPLES:
        return CannotTell(
            reason=f"Only {seconds:.0f} s of volts with the ignition on and the engine off, {len(volts)} readings.",
            way_out=f"Record 60 s. {CHARGER}",
        )
    now = float(volts.t_hi[-1])
    fitted = fit_line(volts.mid - now, volts.value, rng, draws)
    if float(np.median(fitted.level)) <= least:
        return Quantity(value=0.0, lo=0.0, hi=0.0, level=0.9, unit="min")
    if float(np.quantile(fitted.slope, 0.05)) > 0:
        return CannotTell(reason="The volts rise: something charges.", way_out="If that is a charger, leave it on.")
    falling = fitted.slope < 0
    times = np.full(draws, np.inf)
    times[falling] = np.maximum(fitted.level[falling] - least, 0.0) / -fitted.slope[falling] / 60
    low, middle, high = (float(q) for q in np.quantile(np.minimum(times, 1e6), [0.05, 0.5, 0.95]))
    return Quantity(
        value=min(middle, NO_MORE),
        lo=min(low, NO_MORE),
        hi=high if high <= NO_MORE else None,
        level=0.9,
        unit="min",
    )
