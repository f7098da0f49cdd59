"""A live attempt as a function of its journal: the coach's state, the attempt file, what a page shows."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from tickover.attempts import Attempt, ClockOffset, Event, Header
from tickover.coaching import AttemptJudgement, CoachState, Script, Seen, judge_attempt, open_attempt, step
from tickover.results import Result
from tickover.routines import CompiledRoutine
from tickover.web.coach_journal import Begun, Came, Ended, Joined, Journal, Kept

SERVER = "server"
"""The clock of the attempt itself."""

ON_THE_WAY = 1.0
"""A tap may be as long as this on its way before silence is called a miss [s]. Own choice: a poor Wi-Fi."""


class Tapped(Result):
    """An event that was taken.

    Attributes:
        event, kind: the planned event and its kind; ``event`` is empty for news of counted time.
        condition: of counted time, where that began or ceased to hold.
        t: when, seconds of the attempt; half: how far that may be off, through the phone's clock.
        by: “tap”, or “tone” where it is only taken to have been done with its tone, and is not judged.
        source: which phone told it.
    """

    event: str
    kind: str
    condition: str
    t: float
    half: float
    by: Literal["tap", "tone"]
    source: str


class Doubled(Result):
    """An event that was told again: what came first counts.

    Attributes:
        event: the planned event.
        source: who told it again; first: who had told it.
    """

    event: str
    source: str
    first: str


class Turned(Result):
    """Counted time began to run or stood still: which condition, whether it holds, when [s, attempt time]."""

    condition: str
    holds: bool
    t: float


class LiveState(Result):
    """A live attempt as a page sees it.

    Attributes:
        id, job, routine, switch, tapped, number, by, simulated: as it was begun.
        phase: of the coach: lead in, running, missed, done.
        now: the attempt's time [s]; zero: the server's clock at time 0 [s].
        start_at: when the first act is due [s].
        events: what was taken, in order of arrival.
        turns: conditions of counted time that turned, by what was told or by what was done.
        doubled: what was told twice.
        phones: name to how far its clock may be off [s].
        miss: why it is over, in words; empty where it is not missed.
        over: how it ended: done, missed, stopped; empty while it runs.
        kept: number of its entry in the job; None before, or where it does not count as a try.
        judgement: once it is over.
    """

    id: str
    job: int
    routine: str
    switch: str
    tapped: bool
    number: int
    by: str
    simulated: bool
    phase: str
    now: float
    zero: float
    start_at: float
    events: tuple[Tapped, ...]
    turns: tuple[Turned, ...]
    doubled: tuple[Doubled, ...]
    phones: dict[str, float]
    miss: str
    over: Literal["", "done", "missed", "stopped"]
    kept: int | None
    judgement: AttemptJudgement | None


@dataclass
class Live:
    """A journal, folded as far as it goes; ``follow`` folds what was added."""

    journal: Journal
    begun: Begun
    play: Script
    state: CoachState = field(init=False)
    clocks: dict[str, Joined] = field(default_factory=dict)
    taken: list[Came] = field(default_factory=list)
    doubled: list[Doubled] = field(default_factory=list)
    told: set[tuple[str, int]] = field(default_factory=set)
    ended: Ended | None = None
    kept: Kept | None = None
    judgement: AttemptJudgement | None = None
    _folded: int = 0

    def __post_init__(self) -> None:
        self.state = open_attempt(self.play)
        self.follow()

    @property
    def routine(self) -> CompiledRoutine:
        """The routine as it was compiled."""
        return self.play.routine

    def follow(self) -> None:
        """Fold the lines that were added since."""
        for line in self.journal.lines[self._folded :]:
            if isinstance(line, Joined):
                self.clocks[line.clock] = line
            elif isinstance(line, Came):
                self._take(line)
            elif isinstance(line, Ended):
                self.ended = line
            elif isinstance(line, Kept):
                self.kept = line
        self._folded = len(self.journal.lines)

    def _take(self, came: Came) -> None:
        if (came.clock, came.seq) in self.told:
            return
        self.told.add((came.clock, came.seq))
        first = next((c for c in self.taken if came.event and c.event == came.event), None)
        if first is not None:
            if came.by == "tap":
                again = Doubled(event=came.event, source=self._phone(came), first=self._phone(first))
                self.doubled.append(again)
            return
        self.taken.append(came)
        if came.by == "tap":
            half = self.clocks[came.clock].half
            seen = Seen(what=came.kind, t_lo=came.t - half, t_hi=came.t + half)
            # By the time of the tap, not of its arrival: taps that waited for the server are not late.
            self.state, _ = step(self.play, self.state, max(self.state.now, seen.t_hi - ON_THE_WAY), [seen])

    def _phone(self, came: Came) -> str:
        return self.clocks[came.clock].phone

    @property
    def last(self) -> float:
        """The latest time of which the journal knows [s, attempt time]."""
        arrived = max((c.arrived for c in self.taken), default=0.0)
        return max(arrived, self.ended.at if self.ended is not None else 0.0)

    @property
    def tried(self) -> bool:
        """Whether anything of the routine was done at the car, as far as the pages know."""
        return any(c.event for c in self.taken) or self.state.origin is not None

    @property
    def counts(self) -> bool:
        """Whether it goes into the job: not where it was stopped by hand before anything was missed."""
        if not self.tried or self.ended is None:
            return False
        return self.ended.how != "stopped" or self.state.phase == "done" or self.judged().verdict != "undecided"

    def at(self, now: float) -> CoachState:
        """The coach's state at a time: silence may have become a miss [s, attempt time]."""
        state, _ = step(self.play, self.state, max(self.state.now, now - ON_THE_WAY))
        return state

    def attempt(self) -> Attempt:
        """The attempt as a file holds it: only what somebody saw."""
        clocks = {SERVER: ClockOffset()}
        clocks |= {name: ClockOffset(lo=-j.half, hi=j.half) for name, j in self.clocks.items()}
        watched = tuple(c.name for c in self.routine.conditions) if self.begun.tapped else ()
        header = Header(
            routine=self.routine.id,
            routine_hash=self.routine.digest,
            clocks=clocks,
            simulated=self.begun.simulated,
            begun=self.begun.at,
            by=self.begun.by or None,
            watched=watched,
            cued=True,
        )
        seen = [c for c in self.taken if c.by == "tap"]
        events = [
            Event(seq=n, kind=c.kind, t_lo=c.t, t_hi=c.t, clock=c.clock, source=f"taps, {self._phone(c)}")
            for n, c in enumerate(seen)
        ]
        if self.ended is not None and self.begun.tapped and events:
            # Only a helper watches the acts; of an attempt made alone nothing follows from what was not tapped.
            t = max(self.ended.at, *(e.t_hi + self.clocks[e.clock].half for e in events))
            events.append(Event(seq=len(events), kind="end", t_lo=t, t_hi=t, clock=SERVER, source="server"))
        return Attempt(header=header, events=tuple(events))

    def judged(self) -> AttemptJudgement:
        """The judgement, by the same judge as every other attempt."""
        if self.judgement is None or self.ended is None:
            self.judgement = judge_attempt(self.routine, self.attempt())
        return self.judgement

    def seen(self, now: float) -> LiveState:
        """What a page shows at ``now`` [s, attempt time]."""
        state = self.state if self.ended is not None else self.at(now)
        return LiveState(
            id=self.begun.id,
            job=self.begun.job,
            routine=self.routine.id,
            switch=self.begun.switch,
            tapped=self.begun.tapped,
            number=self.begun.number,
            by=self.begun.by,
            simulated=self.begun.simulated,
            phase=state.phase,
            now=now,
            zero=self.begun.zero,
            start_at=self.state.start_at,
            events=tuple(self._shown(c) for c in self.taken),
            turns=tuple(Turned(condition=u.name, holds=u.holds, t=(state.origin or 0.0) + u.t) for u in state.turns),
            doubled=tuple(self.doubled),
            phones={j.phone: j.half for j in self.clocks.values()},
            miss=state.miss.words if state.miss is not None else "",
            over=self.ended.how if self.ended is not None else "",
            kept=self.kept.entry if self.kept is not None else None,
            judgement=self.judged() if self.ended is not None and self.tried else None,
        )

    def _shown(self, came: Came) -> Tapped:
        return Tapped(
            event=came.event,
            kind=came.kind,
            condition=came.condition,
            t=came.t,
            half=self.clocks[came.clock].half,
            by=came.by,
            source=self._phone(came),
        )
