"""The customer's words: no abbreviations, no reproach, and no more than was found."""

from __future__ import annotations

import re
from datetime import datetime

from tickover.drawing.figures import plain, short
from tickover.handover.sheet import Judged, Row, Verdict
from tickover.results import Measured, Quantity

HEADLINES: dict[Verdict, str] = {
    "settled": "Settled: it idles steadily again",
    "better": "Better, but not settled yet",
    "no change": "No change: it idles as it came in",
    "worse": "Worse: further from normal than before",
    "cannot tell": "Cannot tell yet whether it settled",
}
CAUTION = "Engine lamp flashing, or a smell of fuel: stop, switch off, call us."

_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")
_DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
_SPELT = (
    (re.compile(r"\s*\b(?:r/min|rpm)\b"), ""),
    (re.compile(r"(?<=\d)\s+s\b"), " seconds"),
    (re.compile(r"(?<=\d)\s+min\b"), " minutes"),
    (re.compile(r"(?<=\d)\s+Hz\b"), " times a second"),
    (re.compile(r"(?<=\d)\s+V\b"), " volts"),
    (re.compile(r"\beffective samples\b"), "independent measurements"),
)


def spelt(text: str) -> str:
    """A technician's sentence with its units spelt out; engine speeds lose theirs, the lead has said it."""
    for pattern, words in _SPELT:
        text = pattern.sub(words, text)
    return text.strip()


def after_colon(text: str) -> str:
    """A customer's complaint as the end of a sentence: no capital, a full stop."""
    told = sentence(text)
    return told[:1].lower() + told[1:]


def sentence(text: str) -> str:
    """The text with a capital and a full stop."""
    text = spelt(text)
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text[-1] in ".:;…" else ".")


def without_verdict(text: str) -> str:
    """A judgement's sentence without the word that stands before it already, and without step names in brackets."""
    text = re.sub(r"\s*\([^()]*:[^()]*\)", "", spelt(text))
    return re.sub(r"^(?:missed|cannot tell)\s*[:,.]\s*", "", text, flags=re.IGNORECASE)


def ordinal(number: int) -> str:
    """``second`` for 2; past the tenth, ``try 11`` is said as ``11th``."""
    if 1 <= number <= len(_ORDINALS):
        return _ORDINALS[number - 1]
    ends = {1: "st", 2: "nd", 3: "rd"}
    return f"{number}{'th' if number % 100 in (11, 12, 13) else ends.get(number % 10, 'th')}"


_TIMES = ("", "once", "twice", "three times", "four times", "five times")


def tries(verdict: Judged, count: int, *, alone: bool) -> str:
    """So many tries with one outcome: ``missed twice``; of a try that stands alone nothing is counted."""
    times = _TIMES[count] if count < len(_TIMES) else f"{count} times"
    if verdict == "missed":
        return "missed" if alone else f"missed {times}"
    if verdict == "hit":
        return "every step in time" + (f", {times}" if count > 1 else "")
    done = "done" if count == 1 else f"done {times}"
    return f"{done}, cannot tell whether every step was in time"


def moment(at: str) -> datetime | None:
    """The instant an entry was written, or ``None`` where it is not ISO 8601."""
    try:
        return datetime.fromisoformat(at)
    except ValueError:
        return None


def day(at: str) -> str:
    """``Tuesday 14 October 2025``."""
    when = moment(at)
    return f"{_DAYS[when.weekday()]} {when.day} {_MONTHS[when.month - 1]} {when.year}" if when else ""


def clock(at: str) -> str:
    """``08:41``, as the entry's own clock said."""
    when = moment(at)
    return f"{when:%H:%M}" if when else ""


def car_line(year: int | None, fuel: str, displacement: float | None, cylinders: int | None) -> str:
    """``2007 petrol car, 2.4 litres, 4 cylinders``, with whatever is known of it."""
    first = " ".join(part for part in (str(year) if year else "", fuel.strip(), "car") if part)
    parts = [first] if year or fuel.strip() else []
    if displacement:
        parts.append(f"{displacement:.1f} litres")
    if cylinders:
        parts.append(f"{cylinders} cylinder{'s' if cylinders != 1 else ''}")
    return ", ".join(parts)


def lead(
    before: Measured | None,
    after: Measured | None,
    swings: tuple[Measured | None, Measured | None],
    normal: tuple[float, float] | None,
) -> str:
    """One or two sentences with the figures; ``turns a minute`` is said once."""
    unit = " turns a minute"
    parts: list[str] = []
    for reading, swing, when in ((before, swings[0], "when it came in"), (after, swings[1], "now")):
        if isinstance(reading, Quantity):
            swinging = f", swinging by {plain(swing.value)}," if isinstance(swing, Quantity) else ""
            parts.append(f"{plain(reading.value)}{unit}{swinging} {when}")
            unit = ""
    between = "; " if any("," in part for part in parts) else ", "
    told = (between.join(parts) + ".") if parts else ""
    if normal is not None and parts:
        # Kept on one line: a range torn at its end reads badly.
        told += " " + f"Normal is {short(normal[0])} to {short(normal[1])}.".replace(" ", "\u00a0")
    return told


def watch(verdict: Verdict | None) -> tuple[Row, ...]:
    """What the customer should look out for. Source: own choice."""
    if verdict == "settled":
        first = Row(text="Idle climbing, hunting or hanging again", when="tell us, any time")
    else:
        first = Row(text="Idle worse than today", when="tell us, any time")
    return (
        first,
        Row(text="Stalling at a junction, or a hiss under the bonnet", when="tell us the same day"),
    )


def come_back(verdict: Verdict | None, *, tried: bool, may_be_erased: bool) -> str:
    """When to come back, and for what. Source: own choice."""
    if not tried:
        return ""
    if verdict == "settled":
        ready = "Before your next inspection, for ten minutes, to read whether the car is ready for it."
        return ready if may_be_erased else ""
    if verdict in (None, "cannot tell"):
        return "For a longer recording of the warm idle, so that we can tell."
    return "To find the cause: relearning alone did not settle it."
