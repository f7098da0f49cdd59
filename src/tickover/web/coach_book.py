"""The live attempts of a record: begin one, join it, tell what happened, end it. One lock; files beside the record."""

from __future__ import annotations

import math
import secrets
import threading
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from tickover.attempts import Kind
from tickover.coaching import script
from tickover.errors import InputError, StoreError, UnknownAttemptError
from tickover.jobs import Store
from tickover.results import Result
from tickover.routines import CompiledRoutine, Switch, compile_routine
from tickover.visit import MayTry, may_try
from tickover.visit.drafts import attempt_draft
from tickover.visit.rules import known
from tickover.visit.ticking import ticked_draft
from tickover.web.coach_journal import Begun, Came, Ended, Joined, Journal, Kept
from tickover.web.coach_live import SERVER, Live, LiveState
from tickover.web.site import Site

DRIFT = 1e-4
"""Two clocks run apart by no more than this, share of time. Common practice: quartz keeps within a few parts in 1e5."""
HOLDS_FOR = 120.0
"""A clock's offset is good for this long; a page that is still there then takes a new one [s]. Own choice."""
LONGEST = 4 * 3600.0
"""An attempt that nobody ended is over after this [s]. Own choice; the longest routine takes under an hour."""
MOST_EVENTS = 2000
MOST_CLOCKS = 60

Seconds = Annotated[float, Field(ge=-1e10, le=1e10)]


class Exchange(Result):
    """One question for the server's time.

    Attributes:
        sent, back: when it went out and when the answer came, on the page's clock [s].
        server: what the server said [s].
    """

    sent: Seconds
    server: Seconds
    back: Seconds


class Told(Result):
    """What a page tells: see ``Came``; ``t`` is on the page's own clock [s]."""

    seq: int = Field(ge=0, le=2**31)
    kind: Kind
    event: str = Field(default="", max_length=80)
    condition: str = Field(default="", max_length=80)
    t: Seconds
    by: Literal["tap", "tone"] = "tap"


def runs_now(site: Site, job: int) -> Begun | None:
    """The attempt that runs in a job, only looked at: nothing is ended or kept by it; None where none runs."""
    for path in sorted(site.beside("attempts").glob(f"{job:06d}-*.jsonl")):
        try:
            lines = Journal(path).lines
        except StoreError:
            continue  # the coach's own page says so
        if not lines or not isinstance(lines[0], Begun) or any(isinstance(x, Ended | Kept) for x in lines):
            continue
        last = max((x.arrived for x in lines if isinstance(x, Came)), default=0.0)
        if last <= site.seconds() - lines[0].zero <= LONGEST:
            return lines[0]
    return None


class Book:
    """Live attempts of one record.

    Args:
        site: the record.
    """

    def __init__(self, site: Site) -> None:
        self._site = site
        self._open: dict[str, Live] = {}
        self._lock = threading.RLock()

    # --- routines and the stop rule

    def routine(self, name: str, switch: Switch) -> CompiledRoutine:
        """A routine of the library, for the car's switch.

        Raises: InputError for one that there is not.
        """
        library = self._site.library()
        if name not in library:
            raise InputError(f"no routine is called “{name}”", way_out=f"There are: {', '.join(library)}.")
        return compile_routine(library[name], switch)

    def may_try(self, store: Store, job: int, routine: CompiledRoutine) -> MayTry:
        """Whether another attempt may be made in this job; as ``tickover coach --job`` asks it."""
        about = known(self._site.library())
        erasing = about.erasing | ({routine.id} if routine.may_erase else set())
        return may_try(store.entries(job), routine.id, preparing=about.preparing, erasing=erasing)

    # --- one attempt

    def begin(
        self, job: int, name: str, switch: Switch, *, tapped: bool, by: str, seen: Sequence[str] = ()
    ) -> tuple[LiveState, bool]:
        """Begin an attempt, or join the one that runs; the needs that were ticked are kept as its set-up.

        Returns: its state, and whether it is new.
        Raises: UnknownJobError; InputError where the stop rule refuses it, or another routine is being attempted.
        """
        with self._lock, self._site.opened() as store:
            compiled = self.routine(name, switch)
            running = self._running(job)
            if running is not None:
                if running.routine.id != compiled.id:
                    raise InputError(
                        f"an attempt at “{running.routine.title}” is running in this job",
                        way_out="Go on with it, or stop it.",
                    )
                return running.seen(self._now(running)), False
            rule = self.may_try(store, job, compiled)
            if not rule.allowed:
                raise InputError(rule.why, way_out="See the job's next step.")
            entries = store.current(job)
            simulated = any(e.simulated for e in entries)
            ticked = ticked_draft(entries, compiled, seen)
            if ticked is not None:
                self._site.keep(store, job, [ticked], by=by)
            attempt = secrets.token_hex(8)
            first = Begun(
                id=attempt,
                job=job,
                routine=compiled.id,
                switch=switch,
                digest=compiled.digest,
                tapped=tapped,
                number=rule.number,
                zero=self._site.seconds(),
                at=self._site.now(),
                by=by or self._site.by,
                simulated=simulated,
            )
            journal = Journal(self._where() / f"{job:06d}-{attempt}.jsonl")
            journal.append(first)
            live = Live(journal, first, script(compiled))
            self._open[attempt] = live
            return live.seen(self._now(live)), True

    def join(self, attempt: str, device: str, exchanges: Sequence[Exchange]) -> tuple[Joined, LiveState]:
        """A page's clock enters; from then on its taps count.

        Args:
            attempt: which.
            device: the page's own name, the same after a reload.
            exchanges: questions for the time, one or more; the offset is what all of them allow.
        Raises: InputError for exchanges that contradict one another.
        """
        with self._lock:
            live = self._live(attempt)
            self._still_runs(live)
            lo = max(x.server - x.back for x in exchanges) - live.begun.zero
            hi = min(x.server - x.sent for x in exchanges) - live.begun.zero
            now = self._now(live)
            if lo > hi or any(x.sent > x.back for x in exchanges):
                raise InputError("the questions for the time contradict one another", way_out="Ask anew.")
            if any(not now - HOLDS_FOR <= x.server - live.begun.zero <= now + 0.001 for x in exchanges):
                raise InputError("the questions for the time are too old", way_out="Ask anew.")
            if len(live.clocks) >= MOST_CLOCKS:
                raise InputError(f"more than {MOST_CLOCKS} clocks in one attempt", way_out="End it and begin again.")
            phones = list(dict.fromkeys(j.device for j in live.clocks.values()))
            number = phones.index(device) + 1 if device in phones else len(phones) + 1
            phone = f"phone {number}"
            times = sum(j.device == device for j in live.clocks.values())
            line = Joined(
                device=device,
                phone=phone,
                clock=phone if not times else f"{phone}, clock {times + 1}",
                middle=(lo + hi) / 2,
                half=(hi - lo) / 2 + DRIFT * HOLDS_FOR,
            )
            live.journal.append(line)
            live.follow()
            return line, live.seen(now)

    def tell(self, attempt: str, clock: str, events: Sequence[Told]) -> LiveState:
        """Things happened; when this returns they are on the disk. What was told before is not taken twice.

        Raises: InputError for a clock that has not joined, an event that the routine does not have, a time to come.
        """
        with self._lock:
            live = self._live(attempt)
            fresh = [t for t in events if (clock, t.seq) not in live.told]
            now = self._now(live)
            if fresh:
                self._still_runs(live)
                live.journal.append(*self._checked(live, clock, fresh, now))
                live.follow()
            return live.seen(now)

    def _checked(self, live: Live, clock: str, fresh: Sequence[Told], now: float) -> list[Came]:
        joined = live.clocks.get(clock)
        if joined is None or clock == SERVER:
            raise InputError(f"no clock “{clock}” has joined this attempt", way_out="Join first.")
        if len(live.told) + len(fresh) > MOST_EVENTS:
            raise InputError(f"more than {MOST_EVENTS} events in one attempt", way_out="End it and begin again.")
        kinds = {e.name: e.kind for e in live.routine.events}
        conditions = {c.name for c in live.routine.conditions}
        lines: dict[int, Came] = {}
        for told in fresh:
            t = told.t + joined.middle
            if told.event and kinds.get(told.event) != told.kind:
                raise InputError(f"“{told.event}” of this routine is not “{told.kind}”")
            if told.condition and told.condition not in conditions:
                raise InputError(f"no time of this routine counts while “{told.condition}”")
            if not math.isfinite(t) or not -1.0 <= t <= now + joined.half + 0.5:
                raise InputError(f"{t:.1f} s is no time of this attempt; it is at {now:.1f} s", way_out="Join anew.")
            lines.setdefault(
                told.seq,
                Came(
                    clock=clock,
                    seq=told.seq,
                    kind=told.kind,
                    event=told.event,
                    condition=told.condition,
                    t=t,
                    by=told.by,
                    arrived=now,
                ),
            )
        return [lines[seq] for seq in sorted(lines)]

    def state(self, attempt: str) -> LiveState:
        """How an attempt stands.

        Raises: UnknownAttemptError.
        """
        with self._lock:
            live = self._live(attempt)
            return live.seen(self._now(live))

    def end(self, attempt: str, how: Literal["done", "missed", "stopped"]) -> LiveState:
        """End an attempt, judge it, keep it in the job. Asked again, it answers the same.

        Raises: StoreError where it cannot be kept; it is kept then when it is asked again.
        """
        with self._lock:
            live = self._live(attempt)
            self._finish(live, how)
            return live.seen(self._now(live))

    def running(self, job: int) -> LiveState | None:
        """The attempt that runs in a job."""
        with self._lock:
            live = self._running(job)
            return None if live is None else live.seen(self._now(live))

    # --- inside

    def _running(self, job: int) -> Live | None:
        """The attempt that runs; one that was forgotten, or not kept yet, is ended and kept first."""
        for path in sorted(self._where().glob(f"{job:06d}-*.jsonl")):
            if not path.stat().st_size:
                continue  # killed before its first line
            live = self._live(path.stem.split("-")[1])
            if live.kept is not None:
                continue
            elapsed = self._site.seconds() - live.begun.zero
            if live.ended is None and live.last <= elapsed <= LONGEST:
                return live
            self._finish(live, "stopped")
        return None

    def _finish(self, live: Live, how: Literal["done", "missed", "stopped"]) -> None:
        if live.ended is None:
            live.journal.append(Ended(at=self._now(live), how=how))
            live.follow()
        if live.kept is None:
            live.journal.append(Kept(entry=self._keep(live) if live.counts else None))
            live.follow()

    def _keep(self, live: Live) -> int:
        attempt = live.attempt()
        text = "".join(line.model_dump_json() + "\n" for line in (attempt.header, *attempt.events))
        name = f"{live.routine.id}-try{live.begun.number}.jsonl"
        with self._site.opened() as store:
            attached = store.attach(text.encode(), name=name, media_type="application/jsonl")
            for entry in store.entries(live.begun.job):
                if entry.inputs.get("attempt") == live.begun.id:
                    return entry.seq  # kept just before the server was killed
            draft = attempt_draft(live.routine, live.judged(), live.begun.number)
            kept = self._site.keep(
                store,
                live.begun.job,
                [draft],
                attachments=[attached],
                by=live.begun.by,
                inputs={"attempt": live.begun.id},
            )
        return kept[0].seq

    def _still_runs(self, live: Live) -> None:
        if live.ended is not None:
            raise InputError("this attempt is over", way_out="Begin another one.")

    def _now(self, live: Live) -> float:
        """The attempt's time [s]; it never runs back, not even over a restart of the machine."""
        return max(self._site.seconds() - live.begun.zero, live.last)

    def _live(self, attempt: str) -> Live:
        if attempt in self._open:
            return self._open[attempt]
        path = next(iter(self._where().glob(f"*-{attempt}.jsonl")), None) if _is_name(attempt) else None
        if path is None:
            raise UnknownAttemptError(attempt)
        journal = Journal(path)
        if not journal.lines or not isinstance(journal.lines[0], Begun):
            raise UnknownAttemptError(attempt)
        begun = journal.lines[0]
        compiled = self.routine(begun.routine, begun.switch)
        if compiled.digest != begun.digest:
            raise InputError(
                f"the routine “{begun.routine}” was changed since this attempt began",
                way_out="Put its file back as it was, or move the attempt's file away.",
                file=str(path),
            )
        self._open[attempt] = Live(journal, begun, script(compiled))
        return self._open[attempt]

    def _where(self) -> Path:
        return self._site.beside("attempts")


def _is_name(attempt: str) -> bool:
    return len(attempt) == 16 and all(c in "0123456789abcdef" for c in attempt)
