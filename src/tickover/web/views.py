"""A job as its page and its JSON twin show it: one model for both."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from tickover.handover.wording import car_line
from tickover.jobs import STAGES, Entry, JobSummary, Stage, current
from tickover.results import Result
from tickover.routines import Routine
from tickover.visit.next import NextStep, next_step
from tickover.visit.rules import Known
from tickover.visit.stages import Standing, stages
from tickover.web.site import Site


class StageView(Result):
    """One stage on the sheet.

    Attributes:
        number: 1 to 9.
        stage: its name.
        standing: done, due, later or not needed.
        line: one line: what was found, or what it waits for.
        tries: attempts made inside it.
        at, by: of its newest entry; empty where it has none.
        entries: what the job holds of it, corrections applied.
    """

    number: int
    stage: Stage
    standing: Standing
    line: str
    tries: int
    at: str
    by: str
    entries: tuple[Entry, ...]


class JobView(Result):
    """One job: the car, nine stages, the next step.

    Attributes:
        job: its number.
        car: what was said of the car, in one line.
        complaint: in the customer's words.
        shop: where.
        simulated: whether the car was invented.
        stages: the nine, in order.
        next: what to do now.
    """

    job: int
    car: str
    complaint: str
    shop: str
    simulated: bool
    stages: tuple[StageView, ...]
    next: NextStep


class JobLine(Result):
    """One job in the list: number, car, where it stands."""

    number: int
    car: str
    standing: str
    simulated: bool


def job_line(summary: JobSummary) -> JobLine:
    """A job for the list."""
    car = summary.car
    words = car_line(car.get("year"), str(car.get("fuel") or ""), car.get("displacement_l"), car.get("cylinders"))
    told = f"{summary.last_stage}, {summary.last_at[:16].replace('T', ' ')}"
    return JobLine(number=summary.job, car=words, standing=told, simulated=summary.simulated)


def job_view(job: int, entries: Sequence[Entry], about: Known) -> JobView:
    """The sheet of a job.

    Args:
        job: its number.
        entries: all of it, ``seq`` rising.
        about: what the library says of routines.
    """
    standing = current(entries)
    car = next((e.data for e in reversed(standing) if e.stage == "arrive" and e.kind == "car"), {})
    by_stage = {s: tuple(e for e in standing if e.stage == s) for s in STAGES}
    shown = []
    for number, state in enumerate(stages(standing, about), start=1):
        held = by_stage[state.stage]
        newest = held[-1] if held else None
        shown.append(
            StageView(
                number=number,
                stage=state.stage,
                standing=state.standing,
                line=state.line,
                tries=state.tries,
                at=newest.at if newest else "",
                by=newest.by if newest else "",
                entries=held,
            )
        )
    complaint = car.get("complaint") or ""
    return JobView(
        job=job,
        car=car_line(car.get("year"), str(car.get("fuel") or ""), car.get("displacement_l"), car.get("cylinders")),
        complaint=complaint if isinstance(complaint, str) else ", ".join(map(str, complaint)),
        shop=str(car.get("shop") or ""),
        simulated=any(e.simulated for e in standing),
        stages=tuple(shown),
        next=next_step(entries, job, about),
    )


@dataclass(frozen=True)
class Seen:
    """What a stage's own template is filled from; ``set_up`` is the routine that Set up was asked for, or empty."""

    view: JobView
    site: Site
    library: Mapping[str, Routine]
    set_up: str = ""

    @property
    def upto(self) -> int:
        """Number of the newest entry that the page shows; 0 where there is none."""
        return max((e.seq for s in self.view.stages for e in s.entries), default=0)

    def stage(self, name: Stage) -> StageView:
        """One stage of the sheet."""
        return next(s for s in self.view.stages if s.stage == name)

    def newest(self, name: Stage) -> dict[str, Entry]:
        """The newest entry of each kind in one stage."""
        return {e.kind: e for e in self.stage(name).entries}
