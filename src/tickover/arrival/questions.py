"""The questions that can be answered in a minute, as data. Every one may be left open: “not known” is an answer.

Source of the choices: common practice, no published source; the words are ours.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

NOT_KNOWN = "not known"

Form = Literal["one", "several", "codes", "text"]


@dataclass(frozen=True, slots=True)
class Option:
    """One answer: its value for scripts, and its words for people."""

    value: str
    words: str


@dataclass(frozen=True, slots=True)
class Question:
    """One question.

    Attributes:
        name: of the answer, for scripts.
        ask: the question.
        tell: how to tell, where that is not plain.
        form: one of the options, several of them, a list of codes, or free text.
        options: in order; empty for free text.
        alone: option that stands alone where several may be chosen.
    """

    name: str
    ask: str
    options: tuple[Option, ...] = ()
    tell: str = ""
    form: Form = "one"
    alone: str = ""

    @property
    def values(self) -> tuple[str, ...]:
        """What may be answered, “not known” left aside."""
        return tuple(o.value for o in self.options)

    def words_of(self, value: str) -> str:
        """The words of one of the options.

        Raises: KeyError for a value that is none.
        """
        return {o.value: o.words for o in self.options}[value]


def _several(name: str, ask: str, rows: dict[str, str], alone: str, tell: str = "") -> Question:
    return Question(name, ask, tuple(Option(v, w) for v, w in rows.items()), tell, "several", alone)


def _one(name: str, ask: str, rows: dict[str, str], tell: str = "") -> Question:
    return Question(name, ask, tuple(Option(v, w) for v, w in rows.items()), tell)


QUESTIONS: tuple[Question, ...] = (
    _several(
        "danger",
        "Is there danger?",
        {
            "none": "none of these",
            "fuel": "it smells of fuel",
            "oil": "the oil lamp is lit with the engine running",
            "overheating": "it overheats",
            "power": "power is reduced",
            "security": "the security lamp is lit or flashes",
        },
        "none",
    ),
    _one("lamp", "The engine lamp, engine running", {"dark": "dark", "lit": "lit", "flashing": "flashing"}),
    Question(
        "codes",
        "Which codes are stored?",
        (Option("none", "read, and there are none"), Option("not read", "not read")),
        tell="As the reader shows them, e.g. P0505. Read only: nothing is cleared.",
        form="codes",
    ),
    _several(
        "complaint",
        "What does it do, warm?",
        {
            "high": "idles high",
            "hangs": "the revs hang after the pedal is let go",
            "hunts": "the idle swings up and down",
            "rough": "it shakes",
            "low": "idles low",
            "stalls": "stalls",
            "no start": "will not start",
            "races": "races above 2,000 r/min with the pedal up",
            "none": "nothing: it idles well",
        },
        "none",
        "Judge it warm: a cold engine idles faster, and that is no fault.",
    ),
    _one(
        "drive",
        "What drives it?",
        {
            "petrol": "petrol, injected",
            "carburettor": "petrol, carburettor",
            "gas": "petrol and gas, running on gas now",
            "diesel": "diesel",
            "hybrid": "hybrid",
            "electric": "electric",
        },
        "Petrol and gas, running on petrol now, is petrol.",
    ),
    _several(
        "before",
        "What happened before?",
        {
            "battery": "the battery was flat or disconnected",
            "cleaned": "the throttle was cleaned",
            "misfire": "a misfire was cured",
            "unplugged": "controller, pedal or throttle was unplugged",
            "nothing": "nothing of the kind",
        },
        "nothing",
    ),
    _one(
        "misfire",
        "Does it miss now?",
        {"no": "no", "yes": "yes"},
        "A hand near the exhaust feels even puffs; a beat is missing where a cylinder does not fire.",
    ),
    _one(
        "throttle",
        "How is the throttle moved?",
        {"cable": "by a cable, with an idle valve", "electronic": "electronically, no cable"},
        "Bonnet open, engine off: somebody presses the pedal. A cable is seen moving; without one it is electronic.",
    ),
    _one(
        "bore",
        "The throttle's bore, looked at with a lamp",
        {"clean": "clean", "dirty": "a black rim where the plate closes"},
        "Ignition off and key out: the motor can close the plate on a finger.",
    ),
    _one(
        "screws",
        "Screws at the throttle",
        {
            "untouched": "untouched and tight",
            "turned": "the idle-stop screw was turned",
            "forced": "the plate was forced by hand",
            "loose": "a screw of the plate or the body moves",
        },
        "The idle-stop screw's paint is broken where it was turned.",
    ),
    _one(
        "leak",
        "Is a leak of air known?",
        {"no": "looked for, none found", "yes": "yes"},
        "A hose off or cracked, a hiss that changes when a hose is pinched.",
    ),
    _one(
        "battery",
        "The battery",
        {
            "healthy": "cranks well",
            "weak": "cranks slowly, or below 12.0 V with the ignition on",
            "charger": "weak, with a charger on it now",
            "not charging": "the charging lamp is lit with the engine running",
        },
    ),
    _one("switch", "How is it started?", {"key": "a key that turns", "button": "a button"}),
    _one("gearbox", "Its gearbox", {"manual": "manual", "automatic": "automatic"}),
    _one("stop_start", "Does it stop its engine by itself at a halt?", {"no": "no", "yes": "yes"}),
    Question(
        "car",
        "The car, in your own words",
        tell="Year, displacement, cylinders, model. Compared with what each routine says it fits, as a hint only.",
        form="text",
    ),
)
"""All questions, what is dangerous first."""

BY_NAME: dict[str, Question] = {q.name: q for q in QUESTIONS}
"""Every question by its name."""
