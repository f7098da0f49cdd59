"""From evidence to the next test, the causes that fit, and what to do about relearning."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from tickover.cause import acting, words
from tickover.cause.acts import FETCH, MEASURES, Act
from tickover.cause.answer import Answer, answer_of, likeliness
from tickover.cause.channels import CHANNELS, unscaled
from tickover.cause.evidence import Car, Evidence
from tickover.cause.fuel import Asked, asked_by_fuel
from tickover.cause.hole import equivalent_hole
from tickover.cause.hypotheses import ELSE, HYPOTHESES
from tickover.cause.pulls import Piece, doubt_of, without
from tickover.cause.results import Cause, Causes, Group, NextTest, Outcome, Pull, Speaking
from tickover.cause.ties import alike_of
from tickover.cause.weighing import Weighed, weigh
from tickover.cause.worth import LEAST_CHANGE, Now, Prospect, prospect_of, surveyed
from tickover.results import CannotTell

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

RATES_OFF = 2.0
"""The range of a group: the odds before evidence may be off by so much either way [1]. Own choice."""
SPREADS_OFF = 1.35
"""… and every spread of the predictions may be too small by so much [1]. Own choice."""
TESTS_SHOWN = 12
PARTS_FROM = 0.2
"""A test parts the pair of the sentence where it does so in at least so many cases of the two [1]. Own choice."""
CHEAP = 2.0
"""A test without tools that takes no longer may go before the one that parts the pair [min]. Own choice."""
_OUTCOME_LEAST = 0.02

MISSING: Mapping[str, CannotTell] = {
    "metering": CannotTell(
        reason="Whether an air meter or manifold pressure meters the air is not known; a leak shows in the trims with "
        "the first only.",
        way_out="Look for a meter between air filter and throttle, and say which it is.",
    ),
    "displacement": CannotTell(
        reason="The displacement is not known, so the size of a leak is known the worse.",
        way_out="Give the displacement in litres.",
    ),
    "normal": CannotTell(
        reason="The normal idle of this car is not known; 600 to 800 r/min was taken.",
        way_out="Look it up and give its range.",
    ),
    "idle air": CannotTell(
        reason="What idle air is normal for this car is not known, and cars count it differently.",
        way_out="Look it up and give it beside the one that was read.",
    ),
}
"""What may be missing of the car, by name, without the words of any door."""


def diagnose(evidence: Evidence, car: Car | None = None, *, base_rates: Mapping[str, float] | None = None) -> Causes:
    """What is acting, as far as it can be told, and what to test next.

    Args:
        evidence: all that was seen; everything may be missing.
        car: what is known of the car; what is not known widens the answer.
        base_rates: how common each cause is among cars that get here, by name; ours where not given.
    Returns: see ``Causes``
    Raises: ValueError for an unknown cause or rates that make no sense.
    Valid for: a warm four-stroke petrol engine on petrol, one cause at a time; two faults at once come out as something
        else or as the larger of them.
    Source: Bayes' rule over the engine's steady predictions; rates, spreads and tables are our own choice, and stated.
    Example: ``diagnose(Evidence(trims={"idle": 18, "2500": 6}), Car(metering="air")).groups[0].names`` holds "leak".
    """
    car = car or Car()
    w = weigh(evidence, car, base_rates=base_rates)
    wide = weigh(evidence, car, base_rates=base_rates, wider=SPREADS_OFF).causes
    attempts = max(evidence.attempts, int(evidence.verdict == "no change"))
    nothing_read = not len(w.numbers.index) and not w.words
    alike = alike_of(w)
    now = Now(answer_of(w.causes, alike, attempts, nothing_read=nothing_read), alike, attempts)
    one = now.answer
    members = list(one.groups)
    if all(HYPOTHESES[k].name != ELSE for group in members for k in group):
        members.append((_else(),))
    fuel = asked_by_fuel(w, evidence)
    good, spare = surveyed(w, evidence, car, now)
    pull, again = _pull(w, evidence, car, base_rates, now)
    tests = [*again, *_tests(good, one)]
    more = bool(tests) and not (fuel is not None and fuel.explained)
    how, cautions = acting.acting(one, evidence, more=more)
    if fuel is not None and pull is not None and "ethanol" in f"{pull.one} {pull.other}":
        pull = None  # the sentence speaks of that fuel itself
    return Causes(
        sentence=_sentence(words.finding_says(one, w, evidence), fuel),
        finding=one.finding,
        advice=one.advice,
        advice_says=acting.advice_says(one, attempts),
        advice_because=acting.advice_because(
            one, evidence, attempts, more=more, again=pull.again if pull is not None else ""
        ),
        advice_how=how,
        advice_cautions=cautions,
        pull=pull,
        next_test=_next(tests, fuel, acting.no_test(one, evidence, nothing_read=nothing_read)),
        tests=tuple(tests[1 : TESTS_SHOWN + 1]),
        spare=tuple(_test(p, one).model_copy(update={"pays": False}) for p in spare),
        groups=tuple(_group(w, wide, m) for m in members),
        hole=equivalent_hole(w),
        evidence=(*w.numbers.got, *(f"{word.says}" for word in w.words)),
        unused=tuple(left.reason for left in w.left),
        cannot_tell=tuple(_open(w, car, evidence)),
        condition=words.condition_says(w, members),
        excluded=tuple(words.says(k) for k in words.excluded_of(one, w) if not nothing_read),
        unseen=tuple(words.says(k) for k in words.unseen_of(one) if not nothing_read),
        rests_on=_rests_on(car, evidence, base_rates),
    )


def _sentence(finding: str, fuel: Asked | None) -> str:
    """The finding; where the fuel explains the trims, that is the finding."""
    if fuel is None:
        return finding
    return f"Cannot tell a fault from the fuel. {fuel.says}" if fuel.explained else f"{fuel.says} {finding}"


def _next(tests: Sequence[NextTest], fuel: Asked | None, otherwise: CannotTell) -> NextTest | CannotTell:
    """The test to do next; where the fuel explains the trims, what to ask and to do about it."""
    if fuel is not None and fuel.explained:
        return fuel.act
    return tests[0] if tests else otherwise


def _else() -> int:
    return next(k for k, h in enumerate(HYPOTHESES) if h.name == ELSE)


def _tests(found: Sequence[Prospect], one: Answer) -> list[NextTest]:
    """Tests best first; the first parts the two causes that the sentence names, or says why it goes before."""
    order = list(found)
    if one.pair is None or not order:
        return [_test(p, one) for p in order]
    parting = next((p for p in order if p.parts >= PARTS_FROM), None)
    first = order[0]
    if parting is not None and parting is not first:
        order.remove(parting)
        cheap = first.asks or (first.needs == "nothing" and first.minutes <= CHEAP)
        order.insert(1 if cheap else 0, parting)
    parts = order[0] is parting
    act = parting.act if parting is not None else ""
    why = words.first_because(one.pair, parts, act, order[0].minutes, order[0].asks)
    return [_test(order[0], one, why), *(_test(p, one) for p in order[1:])]


def _test(p: Prospect, one: Answer, why: str = "") -> NextTest:
    return NextTest(
        name=p.name,
        act=p.act,
        bits=round(p.bits, 3),
        changes=round(p.changes, 3),
        minutes=p.minutes,
        needs=p.needs,
        cautions=p.cautions,
        outcomes=tuple(
            Outcome(
                outcome=says, chance=min(float(chance), 1.0), decides=words.decides(one, after), changes=bool(counts)
            )
            for says, chance, after, counts in zip(p.outcomes, p.chance, p.says, p.counts, strict=True)
            if chance >= _OUTCOME_LEAST
        ),
        why=why or ("It finds the place too." if p.place > 0 else ""),
        finds=p.place > 0,
    )


def _pull(
    w: Weighed, evidence: Evidence, car: Car, rates: Mapping[str, float] | None, now: Now
) -> tuple[Pull | None, list[NextTest]]:
    """Two pieces that pull against each other, and the one to do again: the weaker that may change the answer."""
    doubt = doubt_of(w, evidence)
    if doubt is None or doubt.faults:
        return (doubt.pull(None) if doubt is not None else None), []
    if doubt.bits is None:
        return doubt.pull(None), [_both_banks()]
    for piece in doubt.weaker_first:
        rest = without(evidence, piece)
        test = _again(piece, weigh(rest, car, base_rates=rates), rest, car, now)
        if test is not None:
            return doubt.pull(piece), [test]
    return doubt.pull(None), []


def _both_banks() -> NextTest:
    """Two banks that are off each its own way are read again, side by side."""
    read = next(m for m in MEASURES if m.channel == "trim idle")
    return NextTest(
        name="both banks",
        act="Read both trims of both banks again, side by side, at warm idle, loads off, for a minute",
        bits=0,
        minutes=read.minutes + FETCH[read.needs],
        needs=read.needs,
        cautions=read.cautions,
        why="If both stand as they are, act: see whether the λ sensors of the two banks are plugged crosswise, "
        "ignition off. If one of them reads otherwise now, tell that.",
    )


def _again(piece: Piece, w: Weighed, rest: Evidence, car: Car, now: Now) -> NextTest | None:
    """A piece that is to be done again, as a test; None where no outcome of it would change the answer."""
    told = piece.again
    why = "It pulls against the rest."
    found = prospect_of(w, told.name if isinstance(told, Act) else piece.key, rest, car, now)
    if found is not None:
        act = f"Once more: {found.act[0].lower()}{found.act[1:]}"
        return _test(found, now.answer, why).model_copy(update={"act": act}) if found.changes >= LEAST_CHANGE else None
    if told is None:
        return None
    return NextTest(
        name=told.name if isinstance(told, Act) else told.channel,
        act=f"Once more: {told.act[0].lower()}{told.act[1:]}",
        bits=0,
        minutes=told.minutes + FETCH[told.needs],
        needs=told.needs,
        cautions=told.cautions,
        why=why,
    )


def _group(w: Weighed, wide: Floats, members: Sequence[int]) -> Group:
    causes = w.causes
    p, q = float(causes[list(members)].sum()), float(wide[list(members)].sum())
    return Group(
        causes=tuple(
            Cause(name=h.name, says=h.says, family=h.family, share=min(float(causes[k]), 1.0))
            for k, h in ((k, HYPOTHESES[k]) for k in members)
        ),
        says=words.group_says(members, w.causes, nothing_read=not len(w.numbers.index) and not w.words),
        probability=min(p, 1.0),
        lo=_odds(min(p, q), 1 / RATES_OFF),
        hi=_odds(max(p, q), RATES_OFF),
        likely=likeliness(p),
        tied_because=words.tied_because(w, members),
        evidence=tuple(_speaking(w, members)),
    )


def _odds(p: float, times: float) -> float:
    """A probability with its odds multiplied."""
    p = min(max(p, 0.0), 1.0)
    return times * p / (times * p + 1 - p)


def _speaking(w: Weighed, members: Sequence[int]) -> list[Speaking]:
    """What each piece of evidence says of a group, strongest first."""
    inside = np.isin(w.ways.cause, list(members))
    if inside.all() or not inside.any():
        return []
    found = []
    for k, says in enumerate(w.numbers.says):
        without = w.total - w.fit[w.ways.cell] + w.without[k][w.ways.cell]
        found.append(_one_speaking(w, inside, without, says, _expected(w, inside, k)))
    for told, one in zip(w.told, w.words, strict=True):
        found.append(_one_speaking(w, inside, w.total - told, one.says, ""))
    return sorted(found, key=lambda s: -abs(s.bits))


def _one_speaking(w: Weighed, inside: Bools, without: Floats, says: str, why: str) -> Speaking:
    def gained(here: Bools) -> float:
        return _log_sum(w.total[here]) - _log_sum(without[here])

    bits = float(np.clip((gained(inside) - gained(~inside)) / np.log(2), -60.0, 60.0))
    return Speaking(evidence=says, speaks=words.speaks(bits), bits=round(bits, 2), why=why)


def _log_sum(values: Floats) -> float:
    top = float(values.max())
    return top + float(np.log(np.exp(values - top).sum()))


def _expected(w: Weighed, inside: Bools, number: int) -> str:
    """What a group would have led to expect of one number, all else aside; two thirds of such cars."""
    channel = CHANNELS[w.numbers.index[number]]
    if channel.name == "idle air":
        return ""
    p = w.p[inside] / w.p[inside].sum()
    cell = w.ways.cell[inside]
    c = w.numbers.index[number]
    own = (w.cells.factors[:, :, c] ** 2).sum(axis=1)[w.cells.stratum[cell]] + w.cells.alone[cell, c]
    mean = w.cells.means[cell, c]
    middle = float(p @ mean)
    spread = float(np.sqrt(p @ (own + (mean - middle) ** 2)))
    lo, hi = (float(unscaled(channel, middle + s * spread)) for s in (-1, 1))
    digits = 1 if channel.unit in ("V", "g/s") else 0
    sign = "+" if channel.name.startswith("trim") else ""
    return f"expected {lo:{sign}.{digits}f} to {hi:{sign}.{digits}f}{' ' + channel.unit if channel.unit else ''}"


def _open(w: Weighed, car: Car, evidence: Evidence) -> list[CannotTell]:
    """What stays open because of what is not known of the car."""
    missing = {
        "metering": car.metering is None and not evidence.air_flow,
        "displacement": car.displacement_l is None and bool(evidence.trims) and car.metering != "pressure",
        "normal": evidence.idle_speed is not None and car.normal is None,
        "idle air": evidence.idle_air is not None and car.idle_air_normal is None,
    }
    return [*w.left, *(told for name, told in MISSING.items() if missing[name])]


def _rests_on(car: Car, evidence: Evidence, base_rates: Mapping[str, float] | None) -> tuple[str, ...]:
    rates = "ours, by judgement" if base_rates is None else "as given, ours for the rest"
    told = ["A model of no car in particular, warm, one cause at a time; spreads are wide for that reason."]
    told.append(
        f"Rates of the causes before any evidence: {rates}. Tables of tests and stories: common practice, no source."
    )
    if any(abs(v.value) >= 23.5 or v.at_limit for v in (*evidence.trims.values(), *evidence.trims_bank2.values())):
        told.append("A trim near 25 % may stand at its limit: it is taken as so much or beyond.")
    if car.outside_kpa is None and evidence.vacuum is not None:
        told.append("The height above the sea is not known: gauge vacuum is about 1.2 kPa lower every 100 m up.")
    return tuple(told)
