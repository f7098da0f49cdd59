"""An idle read by eye: a handful of glances at the tachometer, with their honest width."""

from __future__ import annotations

import math
import re

import numpy as np
from scipy import stats

from tickover.idle.results import IdleReading, IdleState
from tickover.results import CannotTell, Quantity

LEAST = 5  # fewer glances say nothing of how much it swings; own choice
WANDERS = 8.0  # two standard errors: the mean of half a minute against that of a quarter of an hour [r/min]; measured
_STEPS = (100.0, 50.0, 25.0, 20.0, 10.0, 5.0, 1.0)


def parse_glances(text: str) -> tuple[float, ...] | None:
    """Numbers from a text like ``700 720 690``; None where it is something else."""
    parts = [p for p in re.split(r"[\s;,/]+", text.strip()) if p]
    if len(parts) < 2 or not all(re.fullmatch(r"\d+(\.\d+)?", p) for p in parts):
        return None
    return tuple(float(p) for p in parts)


def read_glances(values: tuple[float, ...], *, seconds: float = 30.0) -> IdleReading | CannotTell:
    """A reading from glances at a tachometer, warm, loads off, a few seconds apart.

    Args:
        values: what was read [r/min].
        seconds: how long it took [s].
    Returns: the mean; its interval joins the scatter of the glances (each counted as half, as speeds seconds apart are
        alike), half the step to which the scale was read, which does not average out, and the wander of minutes.
    Raises: ValueError if a value is not between 100 and 3000 r/min.
    Valid for: an instrument that is right; its own error is not in it.
    Source: own choice; wander measured on two recordings, see ``docs/why/hunting.md``.
    """
    x = np.asarray(values, dtype=np.float64)
    odd = x[~((x >= 100) & (x <= 3000))]
    if len(odd):
        raise ValueError(f"{odd[0]:g} is no idle: glances are in r/min, from 100 to 3000")
    if len(x) < LEAST:
        return CannotTell(
            reason=f"{len(x)} glances are too few, {LEAST} are the least and ten are better",
            way_out="Look at the tachometer every three seconds, ten times, and write down each.",
        )
    worth = len(x) / 2
    sd = float(x.std(ddof=1))
    step = next((s for s in _STEPS if np.all(np.abs(x / s - np.round(x / s)) < 1e-9)), 1.0)
    student = float(stats.t.ppf(0.975, worth - 1))
    half = math.hypot(student * sd / math.sqrt(worth), step / 2, WANDERS)
    mean = float(x.mean())
    speed = Quantity(value=mean, lo=mean - half, hi=mean + half, unit="r/min", n_eff=worth)
    by_eye = CannotTell(reason="read by eye")
    none = CannotTell(reason="fuel trim: the idle was read by eye", way_out="Bring a log.")
    state = IdleState(
        name="one load state",
        seconds=seconds,
        refreshes=len(x),
        speed=speed,
        spread=None,
        trim=none,
        coolant=None,
        manifold_pressure=by_eye,
        air_flow=by_eye,
        throttle=by_eye,
    )
    return IdleReading(
        states=(state,),
        stretches=(),
        refusals=(
            CannotTell(reason="how fast it swings: the idle was read by eye", way_out="Log engine speed."),
            none,
        ),
        swing=CannotTell(reason=f"how far it swings: a needle read to {step:g} r/min hides it"),
        settled_from=0.0,
        rests_on=(
            f"{len(x)} glances at a tachometer, read to {step:g} r/min, lowest {x.min():g}, highest {x.max():g}.",
            "That the engine was warm, the pedal up and the loads off rests on your word.",
            "The instrument's own error is not in the interval.",
        ),
        trace={"t": [], "speed": []},
        source="by eye",
        hunting=CannotTell(reason="whether it hunts: the idle was read by eye", way_out="Log engine speed."),
        by_eye=True,
    )
