"""What the coach knows between two steps, and what it says. Plain, serialisable data: reload loses nothing."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from tickover.attempts import Kind
from tickover.results import Result

Phase = Literal["lead in", "running", "missed", "done"]


class Seen(Result):
    """Something that was seen: its kind (``attempts.KINDS``) and the bracket of its instant [s, attempt clock]."""

    what: Kind
    t_lo: float
    t_hi: float


class Miss(Result):
    """Why the attempt is over.

    Attributes:
        event: planned event that was missed.
        step: its step.
        words: one sentence, with the seconds.
        early: seconds too early (negative: too late), where it is known.
    """

    event: str
    step: str
    words: str
    early: float | None = None


class Turn(Result):
    """A condition of counted time began to hold, or ceased to.

    Attributes:
        name: the condition.
        holds: whether it holds from then on.
        t: when, seconds since origin.
        after: how many planned events had happened by then, which settles the order of equal instants.
    """

    name: str
    holds: bool
    t: float
    after: int


class CoachState(Result):
    """State of one live attempt.

    Attributes:
        v: version of this shape.
        digest: digest of the routine it belongs to; a reload with another routine is refused.
        phase: lead in, running, missed, done.
        now: time of the last step [s, attempt clock].
        start_at: when the first act is due [s].
        origin: when the first act was seen [s]; None before.
        slack: how far the origin itself may be off [s].
        happened: planned events seen so far, name to seconds since origin, in the order seen.
        turns: conditions that began or ceased to hold, in the order seen.
        holding: conditions that hold now.
        windows: when each event still to come may happen [s, attempt clock]; None where open.
        aim: when the next act is best done [s, attempt clock]; None while it waits for the car's answer, or
            while the time that it waits for does not count.
        miss: why it is over, where it is.
    """

    v: Literal[1] = 1
    digest: str
    phase: Phase = "lead in"
    now: float
    start_at: float
    origin: float | None = None
    slack: float = 0.0
    happened: dict[str, float] = Field(default_factory=dict)
    turns: tuple[Turn, ...] = ()
    holding: tuple[str, ...] = ()
    windows: dict[str, tuple[float, float | None]] = Field(default_factory=dict)
    aim: float | None = None
    miss: Miss | None = None


class Cue(Result):
    """Something to say or sound.

    Attributes:
        at: when [s, attempt clock].
        sound: ``pip`` (count-in), ``act`` (the moment), ``so far`` (a step judged live), ``count`` (counted time stands
            or runs again), ``missed``, ``done``.
        words: what to say; empty for a pip.
        event: the planned event it is about.
    """

    at: float
    sound: Literal["pip", "act", "so far", "count", "missed", "done"]
    words: str = ""
    event: str = ""


class Card(Result):
    """One of *now*, *next*, *after*.

    Attributes:
        word: the giant word: Press, Let up, Wait, Hold, Watch, Ignition on …
        detail: one line: “3 of 5”, the bound, the caution.
        aim: seconds from now to the aim; None for the car's answer or where it is past.
        window: seconds from now to the window's two ends; the second None where it is open.
        length: whole length of the wait that is running, for the emptying bar [s]; None where there is none.
        counted: counted time so far, where the wait is for counted time [s]; None else.
        counting: whether it runs now; while it stands, ``aim`` is what is left and stands too.
    """

    word: str
    detail: str = ""
    aim: float | None = None
    window: tuple[float, float | None] | None = None
    length: float | None = None
    counted: float | None = None
    counting: bool = True


class View(Result):
    """What the screen shows at one moment.

    Attributes:
        now, next, after: the three cards.
        step: id of the step that is on.
        caution: what can hurt or spoil at this step; shown as long as it is on.
    """

    now: Card
    next: Card | None = None
    after: Card | None = None
    step: str = ""
    caution: str = ""
