"""Which story of the memory fits what was told, or why none can be told.

Old memory on a clean bore idles high and hangs: the plate passes more air than the controller remembers. Lost memory on
a dirty bore idles low and stalls: the start value was meant for a clean one. A flat battery therefore never explains a
high idle.

Source: common practice, no published source; the simulated car behaves so (``engine/``).
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from tickover.arrival.answers import Answers
from tickover.arrival.questions import BY_NAME
from tickover.results import CannotTell, Result

StoryName = Literal[
    "old memory on a clean bore",
    "lost memory on a dirty bore",
    "lost memory on a clean bore",
    "dirty bore",
    "counters of a cured misfire",
    "stops not learned",
]

HIGH = frozenset({"high", "hangs"})
LOW = frozenset({"low", "stalls"})


class Story(Result):
    """A story that fits.

    Attributes:
        name: which.
        sentence: one sentence for the sheet.
        fits: what speaks for it.
        doubts: what was not told and could speak against it.
        clean_first: the bore is cleaned before any relearn.
    """

    kind: Literal["story"] = "story"
    name: StoryName
    sentence: str
    fits: tuple[str, ...]
    doubts: tuple[str, ...] = ()
    clean_first: bool = False


Told = Annotated[Story | CannotTell, Field(discriminator="kind")]

_MEASURE = "Record a minute of warm idle and measure it with `tickover idle LOG`"


def story(answers: Answers) -> Story | CannotTell:
    """Which story of the memory fits.

    Args:
        answers: what was answered; stop signs are not looked at here.
    Returns: the story with its reasons, or why it cannot be told and what would let us.
    """
    high, low = bool(HIGH & set(answers.complaint)), bool(LOW & set(answers.complaint))
    if high and low:
        return CannotTell(
            reason="It was told to idle too high and too low: no single state of the memory does both.",
            way_out=f"{_MEASURE}, once at once after the start and once after five minutes.",
        )
    if high:
        return _high(answers)
    if low:
        return _low(answers)
    return _neither(answers)


def _told(answers: Answers) -> str:
    words = [BY_NAME["complaint"].words_of(c) for c in answers.complaint]
    return f"Told: {', '.join(words)}."


def _doubts(answers: Answers) -> tuple[str, ...]:
    """What was not told and could speak against any story."""
    found = []
    if answers.leak == "not known":
        found.append("Nobody has looked for a leak of air.")
    if answers.misfire == "not known":
        found.append("Nobody has felt whether it misses.")
    if answers.codes is None:
        found.append("The codes are not read.")
    return tuple(found)


def _high(answers: Answers) -> Story | CannotTell:
    before = set(answers.before)
    if "cleaned" in before and "battery" not in before:
        return Story(
            name="old memory on a clean bore",
            sentence="The throttle was cleaned and lets more air through, and the engine still holds its idle memory "
            "from before.",
            fits=(_told(answers), "The throttle was cleaned, and nothing told of the battery being off since."),
            doubts=(*_doubts(answers), *_whether_dirty(answers)),
        )
    if "misfire" in before:
        return _misfire(answers)
    if "unplugged" in before:
        return _unplugged(answers)
    if "battery" in before:
        cleaned = "cleaned" in before
        return CannotTell(
            reason="A flat or disconnected battery does not explain a high idle: a lost memory idles low"
            + (", and on a clean bore about right." if cleaned else ".")
            + " Something else lets air in, or asks for it.",
            way_out="Look for a leak of air, a sticking cable or plate, and loads left on. "
            + ("If it was off before the cleaning only, answer before=cleaned." if cleaned else _MEASURE + "."),
        )
    if answers.bore == "dirty":
        return CannotTell(
            reason="A dirty bore passes less air: it does not explain a high idle.",
            way_out="Look for a leak of air, a plate that does not close for the dirt, and loads left on.",
        )
    return CannotTell(
        reason="An idle that is high can be a stale memory, a leak of air or a sticking plate; nothing told decides.",
        way_out=f"Ask whether the throttle was cleaned or a misfire cured. {_MEASURE}, and look for a leak.",
    )


def _whether_dirty(answers: Answers) -> tuple[str, ...]:
    if answers.bore == "dirty":
        return ("The bore was seen dirty although it was cleaned: look again, and clean it first.",)
    return ()


def _low(answers: Answers) -> Story | CannotTell:
    before = set(answers.before)
    clean = "cleaned" in before or answers.bore == "clean"
    if "unplugged" in before and "battery" not in before and answers.bore != "dirty":
        return _unplugged(answers)
    if answers.bore == "dirty" or ("battery" in before and not clean):
        return _dirty(answers, lost="battery" in before)
    if "battery" in before:
        return Story(
            name="lost memory on a clean bore",
            sentence="The battery was off and the learned idle with it; the engine has to find it again.",
            fits=(_told(answers), "The battery was flat or disconnected.", "The bore is clean."),
            doubts=_doubts(answers),
        )
    if "cleaned" in before:
        return CannotTell(
            reason="An old memory on a cleaned bore idles high, not low: cleaning does not explain this.",
            way_out="Ask whether the battery was off meanwhile and whether the plate was forced. " + _MEASURE + ".",
        )
    if "misfire" in before:
        return CannotTell(
            reason="Counters of a cured misfire raise the idle or leave it; they do not explain a low one.",
            way_out="Feel whether it still misses, and look into the bore with a lamp. " + _MEASURE + ".",
        )
    return CannotTell(
        reason="An idle that is low can be dirt in the bore, a lost memory, or a weak engine; nothing told decides.",
        way_out="Look into the bore with a lamp, ignition off, and ask whether the battery was off. " + _MEASURE + ".",
    )


def _dirty(answers: Answers, *, lost: bool) -> Story:
    seen = answers.bore == "dirty"
    doubts = _doubts(answers) if seen else ("Nobody has looked into the bore: look before cleaning.", *_doubts(answers))
    if seen and "cleaned" in answers.before:
        doubts = ("It was told to be cleaned, and seen dirty: clean it again.", *doubts)
    black = "The bore has a black rim." if seen else "The bore was not cleaned, and dirt grows in it unseen."
    if lost:
        return Story(
            name="lost memory on a dirty bore",
            sentence="With the battery off the engine forgot how far to open for the dirt in its throttle.",
            fits=(_told(answers), "The battery was flat or disconnected.", black),
            doubts=doubts,
            clean_first=True,
        )
    return Story(
        name="dirty bore",
        sentence="Dirt in the throttle takes the idle's air; what is learned on it is stale the day it is cleaned.",
        fits=(_told(answers), black),
        doubts=doubts,
        clean_first=True,
    )


def _misfire(answers: Answers) -> Story | CannotTell:
    if answers.misfire == "not known":
        return CannotTell(
            reason="Whether the misfire is gone was not looked at; counters that are right do not want refreshing.",
            way_out="Feel at the exhaust for a missing beat, then answer misfire=no or misfire=yes.",
        )
    if answers.misfire == "yes":
        return CannotTell(
            reason="It still misses, so the misfire counters tell the truth.",
            way_out="Plug, coil, injector, compression first.",
        )
    return Story(
        name="counters of a cured misfire",
        sentence="The misfire is cured, and its counters still make the engine idle as if it were there.",
        fits=(_told(answers), "A misfire was cured.", "It does not miss now."),
        doubts=_doubts(answers),
    )


def _unplugged(answers: Answers) -> Story:
    return Story(
        name="stops not learned",
        sentence="Controller, pedal or throttle was unplugged, and the rests of both were not learned since.",
        fits=(_told(answers), "Something that knows the throttle's rest was unplugged."),
        doubts=_doubts(answers),
        clean_first=answers.bore == "dirty",
    )


def _neither(answers: Answers) -> Story | CannotTell:
    complaint, before = set(answers.complaint), set(answers.before)
    if complaint == {"none"}:
        return CannotTell(
            reason="Nothing is wrong with the idle as told, so there is nothing to relearn.",
            way_out="If the service information asks for a relearn after this work, show it: `tickover routine list`.",
        )
    if not complaint:
        return CannotTell(
            reason="What the idle does was not told.",
            way_out=f"Start it warm and look, or {_MEASURE[0].lower()}{_MEASURE[1:]}.",
        )
    if "hunts" in complaint:
        if "unplugged" in before:
            return _unplugged(answers)
        if "cleaned" in before and "battery" not in before:
            return Story(
                name="old memory on a clean bore",
                sentence="The throttle was cleaned and lets more air through; the engine swings against it.",
                fits=(_told(answers), "The throttle was cleaned, and nothing told of the battery being off since."),
                doubts=("Hunting alone fits leaks as well.", *_doubts(answers), *_whether_dirty(answers)),
            )
        if answers.bore == "dirty":
            return _dirty(answers, lost="battery" in before)
        if "misfire" in before:
            return _misfire(answers)
    return CannotTell(
        reason="Shaking or swinging alone does not tell a stale memory from a leak, a misfire or a weak mixture.",
        way_out=f"Feel at the exhaust for a missing beat. {_MEASURE}: its speed and its swing say more.",
    )
