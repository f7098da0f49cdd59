"""What a drive was found to be: conditions with their margins, monitors, and a table of many drives."""

from __future__ import annotations

from typing import Literal

from tickover.results import CannotTell, Measured, Result

Verdict = Literal["met", "not met", "cannot tell"]
StretchState = Literal["met", "counted", "short", "cut off", "not known", "too coarse"]


class Stretch(Result):
    """One stretch of a condition.

    Attributes:
        start, end: [s from the first row].
        state: met; counted towards a total; short; cut off by the end of the log; not known, for a gap; too coarse,
            where the readings come too seldom to tell.
        lost: why it ended, in words; empty where it did not.
    """

    start: float
    end: float
    state: StretchState
    lost: str = ""


class ConditionFound(Result):
    """What became of one condition.

    Attributes:
        id, title, asks: the condition, and what it asks in a few words.
        verdict: met, not met, or cannot tell.
        words: the outcome in a sentence.
        short: the outcome in a few words.
        seconds: time in all, or the longest stretch; None for a condition without one.
        needed: how much of it is asked [s].
        margin: ``seconds`` against ``needed``: positive over, negative short [s].
        times, times_needed: stretches met and asked.
        met_at: the last reading that was needed [s from the first row].
        lost_at: when the best stretch was lost [s from the first row].
        closest: how near to a limit the best stretch came, in words.
        stretches: on the time axis.
        cannot: why it cannot be told, with the way out.
        assumed: what was taken to be so.
        basis: what the condition rests on.
    """

    id: str
    title: str
    asks: str
    verdict: Verdict
    words: str
    short: str
    seconds: Measured | None = None
    needed: float | None = None
    margin: float | None = None
    times: int | None = None
    times_needed: int | None = None
    met_at: float | None = None
    lost_at: float | None = None
    closest: str = ""
    stretches: tuple[Stretch, ...] = ()
    cannot: CannotTell | None = None
    assumed: tuple[str, ...] = ()
    basis: str = ""


class MonitorFound(Result):
    """Whether the drive held what a monitor waits for; never whether the monitor ran: only the car knows that."""

    id: str
    title: str
    verdict: Verdict
    words: str
    short: str
    met_at: float | None = None
    conditions: tuple[str, ...] = ()


class Counter(Result):
    """The car's own counter of warm-ups against the rule.

    Attributes:
        rose_at: when it rose [s from the first row], with its bracket; None where it did not.
        rule_at: when the rule was fulfilled; None where it was not.
        words: the two compared.
        off_rule: it rose before the rule was fulfilled.
    """

    rose_at: tuple[float, float] | None
    rule_at: float | None
    words: str
    off_rule: bool


class DriveCheck(Result):
    """One drive.

    Attributes:
        file: where it was read from.
        duration: of the log [s].
        distance: driven in it.
        begins, ends: whether engine start and end are in it.
        conditions, monitors: what became of each.
        steps: the counted steps of a plan, where one was given.
        counter: the warm-up counter, where the log has one.
        speed_t, speed: the speed for a picture [s from the first row, km/h].
        rests_on: what it rests on, in sentences.
    """

    file: str
    duration: float
    distance: Measured
    begins: bool
    ends: bool
    conditions: tuple[ConditionFound, ...]
    monitors: tuple[MonitorFound, ...]
    steps: tuple[ConditionFound, ...] = ()
    counter: Counter | None = None
    speed_t: tuple[float, ...] = ()
    speed: tuple[float, ...] = ()
    rests_on: tuple[str, ...] = ()


class DriveRow(Result):
    """One drive among many: its file, or why it cannot be read, and a few words for each monitor."""

    file: str
    minutes: float | None
    kilometres: float | None
    monitors: dict[str, str]
    verdicts: dict[str, Verdict]
    why: str = ""


class Drives(Result):
    """Many drives: one row each, and for each monitor the drives that hold what it waits for."""

    rows: tuple[DriveRow, ...]
    sets: dict[str, tuple[str, ...]]
    titles: dict[str, str]
    rests_on: tuple[str, ...] = ()
