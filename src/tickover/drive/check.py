"""A recorded drive against the conditions: which stretch met which, by what margin, and what was just missed."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np

from tickover.drive import words
from tickover.drive.conditions import Condition, Conditions, Monitor
from tickover.drive.judge import judge
from tickover.drive.results import ConditionFound, Counter, DriveCheck, DriveRow, Drives, MonitorFound, Verdict
from tickover.drive.truth import SOON, Log, prepare
from tickover.results import CannotTell, Measured, Quantity
from tickover.signals import Recording, Series

COAST = "coast:"
"""How the id of a coast among the steps of a plan begins: the next step is looked for after its end."""
LATE = 30.0
"""A counter that rises within this after the rule is fulfilled agrees with it [s]; own choice."""
MOST_POINTS = 2000
"""Most points of the speed kept for a picture."""


def check_drive(
    recording: Recording,
    conditions: Conditions,
    *,
    known: Mapping[str, float] | None = None,
    whole: bool = False,
    steps: Sequence[Condition] = (),
) -> DriveCheck:
    """Check one drive.

    Args:
        recording: a speed alone will do; of several drives in it the longest is judged, and that is said.
        conditions: for this engine.
        known: what somebody knows besides the log: ``soaked`` [h], ``fuel_level`` [%], ``ambient_temperature`` [°C].
        whole: the log runs from the engine's start to its end, on somebody's word.
        steps: the counted steps of a plan, in their order.
    Returns: what was found. Conditions of quantities that were not logged cannot be told.
    """
    drives = split_drives(recording)
    recording = max(drives, key=lambda r: r.span[1] - r.span[0])
    log = prepare(recording, conditions.holds, known=known, whole=whole)
    found = {c.id: judge(c, log) for c in conditions.conditions.values()}
    monitors = tuple(_monitor(m, found) for m in conditions.monitors.values())
    t, v = _speed(log)
    return DriveCheck(
        file=recording.source,
        duration=log.end - log.start,
        distance=distance(recording),
        begins=log.begins,
        ends=log.ends,
        conditions=tuple(found.values()),
        monitors=monitors,
        steps=_in_turn(steps, log),
        counter=_counter(log, found.get("warm-up")),
        speed_t=t,
        speed=v,
        rests_on=(*_many(len(drives)), *_rests_on(log, tuple(found.values()), whole=whole)),
    )


def split_drives(recording: Recording) -> list[Recording]:
    """The drives in one log, cut where the engine's run time falls back.

    Args:
        recording: any.
    Returns: one recording for each, in order; the recording itself where there is but one.
    """
    run_time = recording.get("run_time")
    if run_time is None or len(run_time) < 2:
        return [recording]
    falls = np.flatnonzero(np.diff(run_time.value) < -SOON)
    if not len(falls):
        return [recording]
    start, end = recording.span
    edges = [start - 1.0, *(float(run_time.t_hi[k + 1]) - 1e-6 for k in falls), end + 1.0]
    found = []
    for a, b in pairwise(edges):
        parts = {}
        for name in recording:
            one = recording[name]
            keep = (one.t_hi > a) & (one.t_hi <= b)
            if np.any(keep):
                parts[name] = Series(one.t_lo[keep], one.t_hi[keep], one.value[keep])
        found.append(Recording(parts, recording.source, recording.simulated, recording.notes))
    return found


def distance(recording: Recording) -> Measured:
    """Distance driven, by the speed held over time.

    Args:
        recording: any.
    Returns: the distance [km], its interval from the resolution of the speed (1 km/h) over the time it moved.
    """
    speed = recording.get("vehicle_speed")
    if speed is None or len(speed) < 2:
        return CannotTell(reason="no road speed was recorded", way_out="Log the road speed, or a GPX track.")
    length = np.diff(speed.t_hi)
    value = speed.value[:-1]
    km = float((value * length).sum() / 3600)
    half = float(length[value > 0].sum() / 3600) * 0.5 if np.all(speed.value == np.round(speed.value)) else 0.01 * km
    return Quantity(value=km, lo=max(0.0, km - half), hi=km + half, level=0.95, unit="km")


def _in_turn(steps: Sequence[Condition], log: Log) -> tuple[ConditionFound, ...]:
    """Counted steps of a plan, each from where the one before was done."""
    found: list[ConditionFound] = []
    since: float | None = None
    for step in steps:
        one = judge(step, log, since)
        found.append(one)
        if one.met_at is not None:
            ends = [s.end for s in one.stretches if step.id.startswith(COAST) and s.start <= one.met_at < s.end]
            since = log.start + max([one.met_at, *ends])
    return tuple(found)


def _monitor(monitor: Monitor, found: Mapping[str, ConditionFound]) -> MonitorFound:
    mine = [found[c] for c in monitor.conditions]
    missed = [c for c in mine if c.verdict == "not met"]
    dark = [c for c in mine if c.verdict == "cannot tell"]
    verdict: Verdict = "not met" if missed else "cannot tell" if dark else "met"
    at = max((c.met_at for c in mine if c.met_at is not None), default=None) if verdict == "met" else None
    if verdict == "met":
        text = "The drive held all it waits for" + (f", at {words.mmss(at)}." if at else ".")
        short = "held"
    elif missed:
        text = " ".join(f"{c.title}: {c.words[:1].lower()}{c.words[1:]}" for c in missed)
        short = missed[0].short if len(mine) == 1 else f"{missed[0].title.lower()} {missed[0].short}"
    else:
        text = " ".join(f"{c.title}: {c.words[:1].lower()}{c.words[1:]}" for c in dark)
        short = "cannot tell"
    return MonitorFound(
        id=monitor.id, title=monitor.title, verdict=verdict, words=text, short=short, met_at=at,
        conditions=monitor.conditions,
    )  # fmt: skip


def _counter(log: Log, rule: ConditionFound | None) -> Counter | None:
    """The car's counter of warm-ups against the rule."""
    series = log.series.get("warm_ups")
    if series is None or rule is None:
        return None
    rises = np.flatnonzero(np.diff(series.value) == 1)
    at = rule.met_at
    if not len(rises):
        if at is None:
            return None
        end = log.end - log.start
        full = bool(np.all(series.value >= 255))
        said = "stands at its end, 255" if full else "did not rise"
        text = f"The warm-up counter {said}; the rule was fulfilled at {words.mmss(at)}."
        return Counter(rose_at=None, rule_at=at, words=text, off_rule=not full and end - at > LATE)
    k = int(rises[0]) + 1
    lo, hi = float(series.t_lo[k]) - log.start, float(series.t_hi[k]) - log.start
    if at is None or hi < at - _bracket(log, at):
        when = f"the rule is fulfilled at {words.mmss(at)}" if at is not None else "the rule was not fulfilled"
        text = f"Off the rule: the warm-up counter rose at {words.mmss(hi)}, {when}. Unexplained."
        return Counter(rose_at=(lo, hi), rule_at=at, words=text, off_rule=True)
    late = lo - at > LATE
    text = f"The warm-up counter rose at {words.mmss(hi)}; the rule was fulfilled at {words.mmss(at)}."
    return Counter(rose_at=(lo, hi), rule_at=at, words=("Late: " if late else "") + text, off_rule=late)


def _bracket(log: Log, at: float) -> float:
    """How much sooner the coolant may have come to what was read at an instant [s]."""
    coolant = log.series.get("coolant_temperature")
    if coolant is None:
        return 0.0
    k = int(np.searchsorted(coolant.t_hi, log.start + at + 1e-6, side="right")) - 1
    return float(coolant.t_hi[k] - coolant.t_lo[k]) if k >= 0 else 0.0


def _speed(log: Log) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Speed for a picture, thinned so that the highest and the lowest of each stretch stay."""
    series = log.series.get("vehicle_speed")
    if series is None:
        return (), ()
    t, v = series.t_hi - log.start, series.value
    good = np.isfinite(v)
    t, v = t[good], v[good]
    if len(t) > MOST_POINTS:
        edges = np.linspace(0, len(t), MOST_POINTS // 2 + 1).astype(int)
        spans = [(int(a), int(b)) for a, b in pairwise(edges) if b > a]
        keep = sorted({a + int(pick(v[a:b])) for a, b in spans for pick in (np.argmin, np.argmax)})
        t, v = t[keep], v[keep]
    return tuple(float(round(x, 2)) for x in t), tuple(float(round(x, 2)) for x in v)


def _many(count: int) -> tuple[str, ...]:
    return () if count == 1 else (f"The log holds {count} drives, by the run time; the longest is judged.",)


def _rests_on(log: Log, found: Sequence[ConditionFound], *, whole: bool) -> tuple[str, ...]:
    assumed = dict.fromkeys(a for c in found for a in c.assumed)
    told = [f"{a[:1].upper()}{a[1:]}." for a in assumed]
    if whole:
        told.append("That the log is a whole drive rests on your word.")
    told.append("A drive that held everything lets a monitor run; whether it ran, only the car knows: read it out.")
    return (*log.notes, *told)


def row_of(check: DriveCheck) -> DriveRow:
    """One drive as a row among many."""
    km = check.distance.value if isinstance(check.distance, Quantity) else None
    return DriveRow(
        file=check.file,
        minutes=check.duration / 60,
        kilometres=km,
        monitors={m.id: m.short for m in check.monitors},
        verdicts={m.id: m.verdict for m in check.monitors},
    )


def drives_of(rows: Sequence[DriveRow], monitors: Sequence[Monitor]) -> Drives:
    """Many drives, and which of them hold what each monitor waits for."""
    sets = {m.id: tuple(r.file for r in rows if r.verdicts.get(m.id) == "met") for m in monitors}
    rests = ("Conditions beside the general denominator are trade practice, no published source; the car's own "
             "service information wins.",)  # fmt: skip
    return Drives(rows=tuple(rows), sets=sets, titles={m.id: m.title for m in monitors}, rests_on=rests)


def best_rows(drives: Drives) -> dict[str, str]:
    """For each monitor a sentence: which usual drive would set it."""
    found = {}
    count = sum(not r.why for r in drives.rows)
    for name, files in drives.sets.items():
        title = drives.titles[name]
        if files:
            shortest = min((r for r in drives.rows if r.file in files), key=lambda r: r.minutes or math.inf)
            found[name] = f"{title}: {len(files)} of {count} drives; the shortest is {shortest.file}."
        else:
            open_ = [r.file for r in drives.rows if r.verdicts.get(name) == "cannot tell"]
            tail = f"; of {len(open_)} nobody can tell" if open_ else ""
            found[name] = f"{title}: none of these drives{tail}."
    return found
