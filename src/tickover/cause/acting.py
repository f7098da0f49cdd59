"""What to act on: the advice in words, and the act that is left once the tests that were done are counted in."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from tickover.cause.acts import BORE_CAUTIONS, MEND_CAUTIONS, RELEARN_CAUTIONS, cylinders_named
from tickover.cause.answer import Answer
from tickover.cause.evidence import Evidence
from tickover.cause.hypotheses import ELSE, HYPOTHESES
from tickover.results import CannotTell

HOW_TO_RELEARN = "Take the first routine of the ladder at Arrive that fits this car."
NOT_THIS_AGAIN = "not this routine again"
"""What is said in place of "do not relearn" where the memory is stale and correct attempts changed nothing."""


def advice_says(one: Answer, attempts: int) -> str:
    """The advice in words, as a label."""
    return NOT_THIS_AGAIN if one.finding == "stale" and attempts >= 2 else one.advice


def advice_because(one: Answer, evidence: Evidence, attempts: int, *, more: bool, again: str = "") -> str:
    """Why the advice is what it is.

    Args:
        one: what is said.
        evidence: what was seen.
        attempts: correct relearns without effect.
        more: whether a test is left that may change the answer.
        again: the piece that is to be done again first; the advice waits for it.
    """
    because = _because(one, evidence, attempts, more=more)
    waits = bool(again) and one.advice.startswith("relearn")
    return f"Not before that: “{again}” is done again first. {because}" if waits else because


def _because(one: Answer, evidence: Evidence, attempts: int, *, more: bool) -> str:
    if attempts >= 2:
        return f"{attempts} correct attempts changed nothing; another would change nothing either."
    if one.finding == "fault":
        return "A relearn would store the fault as normal, and it would come back."
    if one.finding == "just cleared":
        return "Drive it until the trims have learned, an hour or two, and measure then."
    if one.finding == "sound":
        return "There is nothing to relearn; watch whether it stays."
    if one.finding == "stale":
        return _stale_because(one, evidence)
    first = "Not before the next test" if more else "Not while the cause is open"
    if one.advice == "wait and watch":
        return (
            "Do the next test before anything is relearned."
            if more
            else "There is nothing to relearn as far as is seen."
        )
    return f"{first}: a relearn on top of a fault would store it as normal."


def _stale_because(one: Answer, evidence: Evidence) -> str:
    lead = max((k for k, h in enumerate(HYPOTHESES) if h.family == "stale"), key=lambda k: one.causes[k])
    bore = evidence.tests.get("bore")
    if HYPOTHESES[lead].name != "lost memory":
        return "The memory does not fit the engine as it is."
    if bore == "clean":
        return "The memory is lost; the bore was seen clean, so there is nothing to clean."
    seen = "The bore is dirty: clean it first" if bore == "dirty" else "Clean the bore first"
    return f"{seen}: what is learned on dirt is stale the day it is cleaned."


def acting(one: Answer, evidence: Evidence, *, more: bool) -> tuple[str, tuple[str, ...]]:
    """How to go about the relearn that is advised, and the cautions there or at what is to be acted on.

    Args:
        one: what is said.
        evidence: what was seen.
        more: whether a test goes before; then nothing but a relearn is acted on.
    """
    if one.advice in ("relearn", "relearn again"):
        cleans = HYPOTHESES[one.lead].name == "lost memory" and evidence.tests.get("bore") != "clean"
        return HOW_TO_RELEARN, (*(BORE_CAUTIONS if cleans else ()), *RELEARN_CAUTIONS)
    if more or one.finding != "fault":
        return "", ()
    return "", tuple(dict.fromkeys(c for k in one.named[:2] for c in MEND_CAUTIONS.get(HYPOTHESES[k].name, ())))


def no_test(one: Answer, evidence: Evidence, *, nothing_read: bool) -> CannotTell:
    """That no test would change the answer, and what to act on."""
    reason = "No test at hand would change this answer."
    acts = [told for k in one.named[:2] if (told := mend(HYPOTHESES[k].name, evidence))]
    if nothing_read:
        return CannotTell(reason="Nothing was read yet, and no test at hand would tell.", way_out="Read the trims.")
    if one.finding == "sound" or (one.finding == "cannot tell" and HYPOTHESES[one.lead].family == "sound"):
        way = "Leave it as it is, drive it, and measure again if it comes back."
    elif one.finding == "just cleared":
        way = "Drive it for an hour or two, then measure the idle."
    elif one.finding == "stale" and one.advice == "do not relearn":
        way = "Act: have it learned another way, by a tester or by driving, as the ladder at Arrive says."
    elif one.finding == "stale":
        way = "Act: relearn as said below, then measure the idle again."
    elif HYPOTHESES[one.lead].name == ELSE or not acts:
        way = "Look beyond the list: compression, valve timing, exhaust, engine mounts; or ask who knows this car."
    else:
        then = f" If that is not it: {acts[1]}." if len(acts) > 1 else ""
        way = f"Act: {acts[0]}.{then} Then measure the idle again."
    return CannotTell(reason=reason, way_out=way)


def mend(cause: str, evidence: Evidence) -> str:
    """What to do about a cause, as an order; what was done already is not asked for again. Empty for a cause without.

    Args:
        cause: its name.
        evidence: with the tests that were done and the codes that were read.
    Source: common practice, no source.
    """
    told = _MEND.get(cause, "")
    return told(evidence) if callable(told) else told


def _leak(evidence: Evidence) -> str:
    done = evidence.tests
    if done.get("pinch") == "falls":
        return "the hose is found, the one that changed the idle when it was pinched, or what hangs on it: mend that"
    if done.get("smoke") == "found":
        return "the place is found, where the smoke came out: close it"
    if done.get("oil cap") == "sucks":
        return "the crankcase breather draws (the cap was held down): mend its valve and hoses first"
    hiss = "look where it hissed, then " if done.get("listen") == "hiss" else ""
    ways = [
        words
        for test, words in (
            ("pinch", "pinch the hoses at the manifold one at a time"),
            ("listen", "listen along hoses, brake servo and manifold gasket"),
            ("smoke", "use smoke if that finds nothing"),
        )
        if test not in done
    ]
    if not ways:
        ways = ["look at brake servo, manifold gasket and injector seals"]
    return f"find where it draws air: {hiss}{', '.join(ways)}; then close it"


def _cylinder(evidence: Evidence) -> str:
    named = cylinders_named(evidence.codes)
    which = " and ".join(map(str, named))
    of = f"cylinder{'s' if len(named) > 1 else ''} {which}" if named else "the cylinder that misses"
    because = f" ({', '.join(named.values())} {'name' if len(named) > 1 else 'names'} it)" if named else ""
    swapped = evidence.tests.get("swap coil")
    if swapped == "moves":
        return f"replace the coil that the miss moved with; it came from {of}{because}"
    if swapped == "stays":
        return f"the coil is not it: look at plug, then injector, then compression of {of}{because}"
    if named:
        return f"on {of}{because}: swap its coil with a neighbour's, ignition off; then plug, injector, compression"
    return "find the cylinder (swap coils with the ignition off), then coil, plug, injector"


def _fuel(evidence: Evidence) -> str:
    pressure = "" if "rail pressure" in evidence.tests else ", then have the rail pressure read at idle"
    return f"ask what was filled{pressure}" if evidence.ethanol is None or not pressure else pressure[7:]


def _pump(evidence: Evidence) -> str:
    pressure = "" if "rail pressure" in evidence.tests else "have the rail pressure read at idle and under load; then "
    return f"{pressure}look at filter, pump voltage and ground before the pump is changed"


_MEND: Mapping[str, str | Callable[[Evidence], str]] = {
    "leak": _leak,
    "air meter": "look at hose, filter and plug of the air meter before it is changed",
    "fuel error": _fuel,
    "weak pump": _pump,
    "injector dead time": "look at battery volts and injector plugs before the injectors",
    "dead coil": _cylinder,
    "tired battery": "charge it, test it under load, look at posts and ground",
    "stuck thermostat": "look at the coolant level, then change the thermostat, engine cold",
    "coolant sensor": "look at plug and wires of the coolant sensor before it is changed",
}
