"""One condition against one log: how long it held, when it was met, where it was lost, and what cannot be told.

Three-valued throughout: met only if it is so whatever the unknown was; not met only if nothing unknown could mend it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tickover.drive import words
from tickover.drive.conditions import Condition, Limit
from tickover.drive.results import ConditionFound, Stretch, StretchState, Verdict
from tickover.drive.truth import FALSE, TRUE, UNKNOWN, Block, Log, Piece, missing, pieces
from tickover.results import CannotTell, Quantity

PASSING = 1.0
"""Stretches shorter than this are left out of lists and pictures [s]; own choice."""
NEAR_SPEED, NEAR_STEP = 10.0, 0.5
"""How far beside its limits a speed is still a near miss, and how finely that is told [km/h]; own choice."""


def judge(condition: Condition, log: Log, since: float | None = None) -> ConditionFound:
    """Judge one condition.

    Args:
        condition: any.
        log: prepared.
        since: nothing before this counts [s on the log's clock]; the whole log where None.
    Returns: what was found.
    """
    absent = missing(log, condition.limits)
    found = [p for p in pieces(log, condition.limits) if since is None or p.end > since]
    if since is not None and found:
        first = found[0]
        found[0] = replace(first, start=max(first.start, since), slack=0.0)
        log = replace(log, begins=True)  # what lies before does not matter
    if condition.kind == "start":
        return _start(condition, log, absent)
    if absent and not any(p.state == FALSE for p in found):
        return _blank(condition, log, words.not_known(absent, log))
    if absent and all(p.state != TRUE for p in found) and condition.kind != "stretch":
        return _blank(condition, log, words.not_known(absent, log))
    if condition.kind == "total":
        return _total(condition, log, found)
    if condition.kind == "reach":
        return _reach(condition, log, found)
    return _stretch(condition, log, found, absent)


def _common(condition: Condition, log: Log) -> dict[str, object]:
    assumed = tuple(one.assume for one in condition.limits if one.of not in log.series and one.assume)
    return {
        "id": condition.id,
        "title": condition.title,
        "asks": words.asks(condition),
        "assumed": assumed,
        "basis": condition.basis_words,
    }


def _found(
    condition: Condition, log: Log, verdict: Verdict, sentence: str, short: str, **more: object
) -> ConditionFound:
    return ConditionFound.model_validate(
        {**_common(condition, log), "verdict": verdict, "words": sentence, "short": short, **more}
    )


def _blank(condition: Condition, log: Log, why: CannotTell) -> ConditionFound:
    return _found(condition, log, "cannot tell", f"Cannot tell: {why.reason}.", "cannot tell", cannot=why)


def _seconds(value: float, lo: float, hi: float) -> Quantity:
    top = hi if math.isfinite(hi) else None
    return Quantity(
        value=value, lo=min(lo, value), hi=max(top, value) if top is not None else None, level=0.99, unit="s"
    )


def _needed(log: Log, condition: Condition, crossing: float) -> float:
    """The last reading that was needed to see the condition met [s from the first row]."""
    last = log.start
    for one in condition.limits:
        if one.of in log.series:
            t = log.series[one.of].t_hi
            k = int(np.searchsorted(t, crossing - 1e-9, side="left")) - 1
            if k >= 0:
                last = max(last, float(t[k]))
    return min(max(last, log.start), crossing) - log.start


# --- totals ---


def _total(condition: Condition, log: Log, found: Sequence[Piece]) -> ConditionFound:
    need = condition.seconds
    nominal = sum(p.length for p in found if p.state == TRUE)
    unknown = sum(p.length for p in found if p.state == UNKNOWN)
    lo, widest = 0.0, 0.0
    for k, p in enumerate(found):
        if p.state == TRUE:
            after = found[k + 1].slack if k + 1 < len(found) else p.tail
            lo += max(0.0, p.length - after)
            widest += p.slack
    whole = log.begins and log.ends
    hi = nominal + unknown + widest if whole else math.inf
    crossing = _crossing(found, need)
    stretches = tuple(_mark(p, "counted", log, _lost(found, k)) for k, p in enumerate(found) if _shown(p))
    have = f"{words.mmss(nominal)} of {words.mmss(need)}"
    more = {"seconds": _seconds(nominal, lo, hi), "needed": need, "margin": nominal - need, "stretches": stretches}
    if lo >= need - 1e-9:
        assert crossing is not None
        at = _needed(log, condition, crossing)
        text = f"Met at {words.mmss(at)}, {words.span(nominal - need)} over."
        return _found(condition, log, "met", text, f"met {words.mmss(at)}", met_at=at, **more)
    if hi < need:
        text = f"Short by {words.span(need - nominal)}: {have}."
        return _found(condition, log, "not met", text, f"short: {have}", **more)
    why = words.undecided_total(nominal, need, unknown, log)
    return _found(
        condition, log, "cannot tell", f"{have} in this log. Cannot tell: {why.reason}.", have, cannot=why, **more
    )


def _crossing(found: Sequence[Piece], need: float) -> float | None:
    gone = 0.0
    for p in found:
        if p.state == TRUE:
            if gone + p.length >= need - 1e-9:
                return p.start + (need - gone)
            gone += p.length
    return None


def _shown(p: Piece) -> bool:
    return p.state == TRUE and p.length >= PASSING


def _lost(found: Sequence[Piece], k: int) -> str:
    why = found[k + 1].why if k + 1 < len(found) else None
    return words.lost(*why) if why is not None else ""


def _mark(p: Piece, state: StretchState, log: Log, lost: str) -> Stretch:
    return Stretch(start=p.start - log.start, end=p.end - log.start, state=state, lost=lost)


# --- at any moment ---


def _reach(condition: Condition, log: Log, found: Sequence[Piece]) -> ConditionFound:
    first = next((p for p in found if p.state == TRUE), None)
    if first is not None:
        at = first.start - log.start
        return _found(condition, log, "met", f"Met at {words.mmss(at)}.", f"met {words.mmss(at)}", met_at=at,
                      stretches=(Stretch(start=at, end=log.end - log.start, state="counted"),))  # fmt: skip
    best = words.nearest(condition, log)
    if log.ends and not any(p.state == UNKNOWN for p in found):
        return _found(condition, log, "not met", f"Not reached: {best}.", "not reached")
    gap = any(p.state == UNKNOWN for p in found)
    why = CannotTell(
        reason=f"{'readings are missing' if gap else 'the log ends before'}; {best}",
        way_out="Log from the start until the engine is off.",
    )
    return _found(condition, log, "cannot tell", f"Not by the end of the log: {best}.", "not in this log", cannot=why)


# --- at the start ---


def _start(condition: Condition, log: Log, absent: Sequence[Limit]) -> ConditionFound:
    good: list[tuple[Limit, float]] = []
    broken: list[tuple[Limit, float]] = []
    for one in condition.limits:
        if one.of not in log.series:
            continue
        value = words.at_start(log, one.of)
        if value is None:
            continue
        (good if one.least <= value <= one.most else broken).append((one, value))
    if broken and (log.begins or all(math.isinf(log.holds.get(one.of, 0)) for one, _ in broken)):
        text = "; ".join(words.outside(one, value) for one, value in broken)
        return _found(condition, log, "not met", f"Not so: {text}.", "not so")
    if not log.begins:
        return _blank(
            condition,
            log,
            CannotTell(reason="the log does not show the engine's start", way_out=words.START_WAY_OUT),
        )
    if absent or len(good) < sum(one.of in log.series for one in condition.limits):
        known = {one.of for one, _ in good}
        return _blank(condition, log, words.not_recorded([one for one in condition.limits if one.of not in known]))
    text = "; ".join(f"{one.label} {words.figure(value, one.unit)}" for one, value in good)
    return _found(condition, log, "met", f"Met: {text}.", "met", met_at=0.0)


# --- in one piece ---


def _stretch(condition: Condition, log: Log, found: Sequence[Piece], absent: Sequence[Limit]) -> ConditionFound:
    need = condition.seconds
    every = _blocks(found, log)
    blocks = [b for b in every if b.true.state == TRUE and b.hi >= PASSING]
    unknown = [b for b in every if b.true.state != TRUE and b.hi >= need]
    met = [b for b in blocks if b.lo >= need - 1e-9]
    open_ = [b for b in blocks if b.lo < need - 1e-9 and b.hi >= need] + unknown
    marks = tuple(_block_mark(b, need, log) for b in blocks if b.nominal >= PASSING)
    best = max(blocks, key=lambda b: b.nominal, default=None)
    nominal = best.nominal if best is not None else 0.0
    more: dict[str, object] = {
        "needed": need,
        "stretches": marks,
        "times": len(met),
        "times_needed": condition.times,
        "seconds": _seconds(nominal, best.lo if best else 0.0, best.hi if best else 0.0) if not absent else None,
        "margin": nominal - need if not absent else None,
    }
    if len(met) >= condition.times:
        last = met[condition.times - 1]
        at = _needed(log, condition, last.true.start + need)
        more |= {"met_at": at, "closest": words.closest(condition, log, best.true.start, best.true.end) if best else ""}
        often = f"Met at {words.mmss(at)}"
        if condition.times > 1:
            often = f"Met {words.times(len(met))}, asked {words.times(condition.times)}, by {words.mmss(at)}"
        elif len(met) > 1:
            often = f"Met {words.times(len(met))}, first at {words.mmss(at)}"
        text = f"{often}; the longest {words.span(nominal - need)} over."
        return _found(condition, log, "met", text, f"met {words.mmss(at)}", **more)
    if len(met) + sum(_could_be(b, need, condition.times) for b in open_) < condition.times:
        return _short(condition, log, blocks, met, more)
    why = words.not_known(absent, log) if absent else words.undecided_stretch(open_[0], need, log)
    lost = f" {words.tale(best, need, log)}." if best is not None and best.why is not None else ""
    counted = f"{len(met)} of {condition.times}. " if condition.times > 1 else ""
    short = f"{len(met)} of {condition.times}, cannot tell" if condition.times > 1 else "cannot tell"
    text = f"{counted}Cannot tell: {why.reason}.{lost}"
    return _found(condition, log, "cannot tell", text, short, cannot=why, **more)


def _could_be(block: Block, need: float, times: int) -> int:
    """How many stretches an undecided block could hold: one, unless part of it is hidden."""
    if block.cut:
        return times
    return min(times, int(block.hi // need)) if block.gap else 1


def _short(
    condition: Condition, log: Log, blocks: Sequence[Block], met: Sequence[Block], more: dict[str, object]
) -> ConditionFound:
    rest = [b for b in blocks if b not in met]
    best = max(rest, key=lambda b: b.nominal, default=None)
    counted = f"{len(met)} of {condition.times}. " if condition.times > 1 else ""
    if best is None:
        near = _nearly(condition, log)
        text = f"{counted}{'No further one' if met else 'It never held'}{f'; {near}' if near else ''}."
        short = f"{len(met)} of {condition.times}" if condition.times > 1 else "never held"
        return _found(condition, log, "not met", text, short, **more)
    tale = words.tale(best, condition.seconds, log)
    others = f" {len(rest) - 1} more, shorter." if len(rest) > 1 else ""
    if best.nominal < condition.seconds / 2:
        near = _nearly(condition, log)
        others += f" {near[:1].upper()}{near[1:]}." if near else ""
    have = f"{words.mmss(best.nominal)} of {words.mmss(condition.seconds)}"
    short = f"{len(met)} of {condition.times}" if condition.times > 1 else f"short: {have}"
    more["lost_at"] = best.true.end - log.start
    return _found(condition, log, "not met", f"{counted}{tale}.{others}", short, **more)


def _nearly(condition: Condition, log: Log) -> str:
    """How far the speed stayed from its limits where a stretch long enough was driven beside them; or nothing.

    The least widening of the limits by which the stretch would have held. Source: own choice.
    """
    speed = condition.limit("vehicle_speed")
    if speed is None or "vehicle_speed" not in log.series:
        return ""
    for by in np.arange(NEAR_STEP, NEAR_SPEED + NEAR_STEP / 2, NEAR_STEP).tolist():
        for low, high in ((by, 0.0), (0.0, by), (by, by)):
            wide = replace(speed, lo=speed.lo - low, hi=speed.hi + high)
            limits = [wide if one is speed else one for one in condition.limits]
            best = max((p for p in pieces(log, limits) if p.state == TRUE), key=lambda p: p.length, default=None)
            if best is not None and best.length >= condition.seconds:
                way = "outside" if low and high else "short of" if low else "above"
                length, since = words.mmss(best.length), words.mmss(best.start - log.start)
                return f"speed at most {by:g} km/h {way} {words.range_words(speed)} for {length}, from {since}"
    return ""


def _blocks(found: Sequence[Piece], log: Log) -> list[Block]:
    """Pieces between two known failures, taken together."""
    blocks: list[Block] = []
    run: list[Piece] = []
    for k, p in enumerate([*found, None]):
        if p is not None and p.state != FALSE:
            run.append(p)
            continue
        if run:
            blocks.append(_block(run, p, log, first=k == len(run), last=p is None))
        run = []
    return blocks


def _block(run: list[Piece], after: Piece | None, log: Log, *, first: bool, last: bool) -> Block:
    """One block, with the piece that ends it."""
    best = max((p for p in run if p.state == TRUE), key=lambda p: p.length, default=run[0])
    follower = run[run.index(best) + 1] if best is not run[-1] else after
    unsure = follower.slack if follower is not None else best.tail
    lo = max(0.0, best.length - unsure) if best.state == TRUE else 0.0
    cut = (first and not log.begins) or (last and not log.ends)
    hi = math.inf if cut else run[-1].end - run[0].start + run[0].slack
    gap = any(p.state == UNKNOWN for p in run)
    why = after.why if after is not None and best is run[-1] else None
    true = [p for p in run if p.state == TRUE] or run
    nominal = best.length if best.state == TRUE else 0.0
    return Block(true[0].start, true[-1].end, nominal, lo, hi, best, cut, gap, why)


def _block_mark(b: Block, need: float, log: Log) -> Stretch:
    state: StretchState
    if b.lo >= need - 1e-9:
        state = "met"
    elif b.hi < need:
        state = "short"
    else:
        state = "cut off" if b.cut else "not known" if b.gap else "too coarse"
    lost = words.lost(*b.why) if b.why is not None else ""
    return _mark(b.true, state, log, lost)
