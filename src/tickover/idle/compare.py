"""One idle against another: settled, better, no change, worse, or cannot tell."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tickover.idle.results import Comparison, IdleReading, IdleState, StateName, Verdict
from tickover.idle.words import speed_words
from tickover.results import CannotTell, Measured, Quantity

MARGIN = 25.0  # a smaller difference of speed is of no use to anyone [r/min]; own choice
STEADY = 25.0  # a standard deviation up to this is ± 50 r/min for 95 % of the time [r/min]; trade practice
LEAST_EFFECTIVE = 10.0  # with fewer effective samples only a plain difference is claimed; own choice
LEAST_AT_ALL = 4.0  # with fewer nothing is; own choice
COOLANT_APART = 5.0  # coolant ranges further apart than this are not the same idle [°C]; own choice
LOAD_APART = 6.0  # manifold pressures further apart than this speak of another load [kPa]; own choice


@dataclass(frozen=True)
class _Pair:
    before: IdleState
    after: IdleState
    rests_on: str

    @property
    def name(self) -> StateName:
        return self.after.name


def compare(
    before: IdleReading | CannotTell, after: IdleReading | CannotTell, *, normal: tuple[float, float] | None = None
) -> Comparison:
    """Compare an idle with the one before it, in the same load state and at like coolant.

    Args:
        before, after: two readings of the same car.
        normal: its normal idle, lowest and highest [r/min]; without it nothing can be called settled.
    Returns: the verdict with the difference and its interval. *settled*: the interval of the idle after lies inside
        normal, and it is steady. *better*, *worse*: nearer to or farther from normal by more than 25 r/min, the
        interval of the difference leaving out 0; or as near, and steadier or less steady by as much. *no change*: the
        whole interval lies within 25 r/min. Else *cannot tell*, with the reason.
    Raises: ValueError if normal is upside down.
    Source: margins are our own choice.
    """
    if normal is not None and not 0 < normal[0] < normal[1]:
        raise ValueError(f"normal idle is upside down: {normal[0]:g} to {normal[1]:g}")
    for name, reading in (("before", before), ("after", after)):
        if isinstance(reading, CannotTell):
            return _refused(f"there is no idle {name}: {reading.reason}", reading.way_out, normal)
    assert isinstance(before, IdleReading)
    assert isinstance(after, IdleReading)
    pair = _match(before, after)
    if isinstance(pair, CannotTell):
        return _refused(pair.reason, pair.way_out, normal)
    apart = _coolant(pair)
    if isinstance(apart, CannotTell):
        return _refused(apart.reason, apart.way_out, normal, pair)
    b, a = pair.before.speed, pair.after.speed
    assert isinstance(b, Quantity)
    assert isinstance(a, Quantity)
    unfit = normal is not None and pair.name == "loads on"
    if unfit:  # a normal idle is stated without loads
        normal = None
    difference = _difference(b, a)
    verdict, sentence = _judge(pair, b, a, difference, normal)
    return Comparison(
        verdict=verdict,
        sentence=sentence,
        difference=difference,
        before=b,
        after=a,
        state=pair.name,
        normal=normal,
        before_state=pair.before,
        after_state=pair.after,
        rests_on=(
            f"{pair.before.seconds:.0f} s before and {pair.after.seconds:.0f} s after, {pair.rests_on}.",
            apart,
            f"A difference below {MARGIN:.0f} r/min counts as none.",
            *(("Normal is stated for loads off, so it was not used.",) if unfit else ()),
            *(("One car or both were simulated.",) if before.simulated or after.simulated else ()),
        ),
    )


def _refused(reason: str, way_out: str, normal: tuple[float, float] | None, pair: _Pair | None = None) -> Comparison:
    no = CannotTell(reason=reason, way_out=way_out)
    return Comparison(
        verdict="cannot tell",
        sentence=f"Cannot tell: {reason}.",
        difference=no,
        before=pair.before.speed if pair else no,
        after=pair.after.speed if pair else no,
        state=pair.name if pair else "",
        normal=normal,
    )


def _match(before: IdleReading, after: IdleReading) -> _Pair | CannotTell:
    """The same load state on both sides, loads off first; never one load against another."""
    for name in ("loads off", "loads on"):
        b, a = before.state(name), after.state(name)
        if b is not None and a is not None:
            return _Pair(b, a, f"both with {name}")
    if before.by_eye or after.by_eye:  # a person reads a needle with the loads off
        sides = [r.state("loads off") or r.state("one load state") for r in (before, after)]
        if sides[0] is not None and sides[1] is not None:
            return _Pair(sides[0], sides[1], "that the loads were off on both sides rests on your word")
    no = CannotTell(
        reason="the loads were not the same before and after",
        way_out="Record both with all loads off, for a minute each.",
    )
    nearest = _nearest(before.states, after.states)
    if nearest is None:
        if len(before.states) == len(after.states) == 1 and {s.name for s in (*before.states, *after.states)} == {
            "one load state"
        }:
            return _Pair(before.states[0], after.states[0], "that the loads were the same rests on your word")
        return no
    b, a, distance = nearest
    return _Pair(b, a, "matched by manifold pressure") if distance <= LOAD_APART else no


def _nearest(before: tuple[IdleState, ...], after: tuple[IdleState, ...]) -> tuple[IdleState, IdleState, float] | None:
    """The two states nearest in manifold pressure [kPa]; None where it is not known throughout."""
    pairs = []
    for b in before:
        for a in after:
            if isinstance(b.manifold_pressure, CannotTell) or isinstance(a.manifold_pressure, CannotTell):
                return None
            # two states that each file names the other way round are never the same
            if {b.name, a.name} != {"loads off", "loads on"}:
                pairs.append((b, a, abs(a.manifold_pressure.value - b.manifold_pressure.value)))
    if not pairs:
        return before[0], after[0], math.inf
    return min(pairs, key=lambda p: p[2])


def _coolant(pair: _Pair) -> str | CannotTell:
    """In a sentence, that the engine was equally warm; or why not."""
    b, a = pair.before.coolant, pair.after.coolant
    if b is None or a is None:
        return "Coolant was not recorded on both sides: that both were warm rests on your word."
    gap = max(b[0] - a[1], a[0] - b[1])
    if gap > COOLANT_APART:
        return CannotTell(
            reason=f"the engine was not equally warm: coolant {b[0]:.0f} to {b[1]:.0f} °C before, "
            f"{a[0]:.0f} to {a[1]:.0f} °C after",
            way_out="Record the two idles at the same coolant temperature.",
        )
    return f"Coolant {b[0]:.0f} to {b[1]:.0f} °C before, {a[0]:.0f} to {a[1]:.0f} °C after."


def _difference(before: Quantity, after: Quantity) -> Measured:
    """After − before of two independent means, each side's half-widths added in squares."""
    sides = (before.lo, before.hi, after.lo, after.hi)
    worth = min(q.n_eff if q.n_eff is not None else 0.0 for q in (before, after))
    if any(s is None for s in sides) or worth < LEAST_AT_ALL:
        return CannotTell(
            reason=f"too few effective samples: {worth:.0f}, and {LEAST_EFFECTIVE:.0f} are needed",
            way_out="Record three minutes of idle before and after.",
        )
    b_lo, b_hi, a_lo, a_hi = (float(s) for s in sides if s is not None)
    value = after.value - before.value
    return Quantity(
        value=value,
        lo=value - math.hypot(after.value - a_lo, b_hi - before.value),
        hi=value + math.hypot(a_hi - after.value, before.value - b_lo),
        level=after.level,
        unit="r/min",
        n_eff=worth,
    )


def _distance(value: float, normal: tuple[float, float]) -> float:
    """How far a speed is outside normal [r/min]; 0 inside."""
    return max(normal[0] - value, value - normal[1], 0.0)


def _judge(
    pair: _Pair, b: Quantity, a: Quantity, difference: Measured, normal: tuple[float, float] | None
) -> tuple[Verdict, str]:
    spread = pair.after.spread
    if isinstance(difference, CannotTell):
        return "cannot tell", f"Cannot tell: {difference.reason}."
    assert difference.lo is not None
    assert difference.hi is not None
    words = speed_words(b, a, difference)
    few = (difference.n_eff or 0.0) < LEAST_EFFECTIVE
    plain = min(abs(difference.lo), abs(difference.hi)) > MARGIN and difference.lo * difference.hi > 0
    if few and not plain:
        return "cannot tell", (
            f"{words} Cannot tell whether that is more than chance: only {difference.n_eff:.0f} effective samples, "
            f"{LEAST_EFFECTIVE:.0f} are needed."
        )
    enough = (a.n_eff or 0.0) >= LEAST_EFFECTIVE and (plain or not few)  # settled is said of the idle after
    if enough and normal is not None and _inside(a, normal) and spread is not None and spread <= STEADY:
        return "settled", f"{words} It is steady and within its normal {normal[0]:g} to {normal[1]:g} r/min."
    speed = _by_speed(b.value, a.value, difference, normal)
    steady = _by_steadiness(pair, b, a)
    if speed is None:
        return "cannot tell", f"{words} Whether that is better cannot be told without the car's normal idle."
    if normal is not None and speed in ("better", "worse"):
        nearer = "nearer to" if speed == "better" else "farther from"
        return speed, f"{words} That is {nearer} its normal {normal[0]:g} to {normal[1]:g} r/min."
    if steady is not None:
        return steady, f"{words} It turns {'more steadily' if steady == 'better' else 'less steadily'} than before."
    if speed == "no change":
        wide = normal is not None and not (difference.lo > -MARGIN and difference.hi < MARGIN)
        return (
            "no change",
            f"{words} {'Both are within its normal.' if wide else 'That is no change worth speaking of.'}",
        )
    return "cannot tell", f"{words} The interval is too wide to tell a change from none."


def _inside(q: Quantity, normal: tuple[float, float]) -> bool:
    return q.lo is not None and q.hi is not None and normal[0] <= q.lo and q.hi <= normal[1]


def _by_speed(before: float, after: float, d: Quantity, normal: tuple[float, float] | None) -> Verdict | None:
    """The verdict of the means alone; None where they differ and nothing says which is right."""
    assert d.lo is not None
    assert d.hi is not None
    if d.lo > -MARGIN and d.hi < MARGIN:
        return "no change"
    if abs(d.value) < MARGIN or d.lo <= 0 <= d.hi:
        return "cannot tell"
    if normal is None:
        return None
    gain = _distance(before, normal) - _distance(after, normal)
    if abs(gain) < MARGIN:
        return "no change" if _distance(before, normal) == _distance(after, normal) == 0 else "cannot tell"
    return "better" if gain > 0 else "worse"


def _by_steadiness(pair: _Pair, b: Quantity, a: Quantity) -> Verdict | None:
    """Better or worse by the swing √2 · sd, where it changed by more than the margin and than chance."""
    if pair.before.spread is None or pair.after.spread is None or b.n_eff is None or a.n_eff is None:
        return None
    swing = [math.sqrt(2) * s for s in (pair.before.spread, pair.after.spread)]
    error = math.hypot(
        *(1.96 * s / math.sqrt(2 * max(n - 1, 1)) for s, n in zip(swing, (b.n_eff, a.n_eff), strict=True))
    )
    change = swing[1] - swing[0]
    if abs(change) < MARGIN or abs(change) < error:
        return None
    return "better" if change < 0 else "worse"
