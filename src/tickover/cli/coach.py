"""``tickover coach``: set-up list, count-in, now / next / after, judged live; three attempts at most."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import click
import numpy as np
from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from tickover.attempts import Header, Kind, read_attempt
from tickover.cli.attempt_job import AttemptBook
from tickover.cli.coach_run import LiveAttempt
from tickover.cli.job_store import by_option, job_option, store_option
from tickover.cli.judge_draw import print_judgement
from tickover.cli.keys import Keys, raw_terminal
from tickover.cli.people import PersonType, one_of, people_of
from tickover.coaching import LEAD_IN, AttemptJudgement, Performer, Script, judge_attempt, script
from tickover.engine import (
    ENTRIES,
    PEDAL_COUNT,
    PEDAL_HOLD,
    POWER_CYCLE,
    CarSpec,
    SimulatedCar,
    car_for,
    cured_misfire,
    healthy,
    lost_memory_on_dirty_bore,
    old_memory_on_cleaned_bore,
    with_leak,
)
from tickover.engine.seat import LOADS
from tickover.errors import InputError, OutOfOrderError
from tickover.results import envelope
from tickover.routines import CompiledRoutine, compile_routine, load_routine
from tickover.routines.chances import odds_of
from tickover.routines.words import percent, percent_range
from tickover.timing import Person
from tickover.timing.learn import Learned
from tickover.visit.odds import no_odds

COMMON_ENTRIES = (PEDAL_COUNT, PEDAL_HOLD, POWER_CYCLE)
"""What the simulated car has where the routine is none of the library's."""
SUITED = "suited"
STORIES: dict[str, Callable[[], CarSpec]] = {
    "old-memory": old_memory_on_cleaned_bore,
    "lost-memory": lost_memory_on_dirty_bore,
    "cured-misfire": cured_misfire,
    "leak": lambda: with_leak(2.0),
    "healthy": healthy,
}


@click.command("coach")
@click.argument("routine")
@click.option(
    "--switch",
    type=click.Choice(["key", "button"]),
    default="key",
    show_default=True,
    help="The car's ignition switch.",
)
@click.option("--car", type=click.Choice(["simulated"]), help="Coach on the simulated car instead of a real one.")
@click.option(
    "--story",
    type=click.Choice([SUITED, *STORIES]),
    default=SUITED,
    show_default=True,
    help="What ails the simulated car.",
)
@click.option(
    "--person",
    type=PersonType(),
    metavar="NAME|FILE|cv=…",
    help="Who does it, from `tickover practice`: tells the odds. With --car simulated a seeded one does it for you.",
)
@click.option("--seed", type=int, default=1, show_default=True, help="A number that fixes all chance.")
@click.option(
    "--pace",
    type=click.FloatRange(1, 200),
    default=1.0,
    show_default=True,
    help="With --person: run so many times as fast as real time.",
)
@click.option(
    "--lead-in", type=click.FloatRange(1, 60), default=LEAD_IN, show_default=True, help="Time before the first act [s]."
)
@click.option("--bell", is_flag=True, help="Ring the terminal's bell at each pip and act.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("tickover-attempts"),
    show_default=True,
    help="Folder for the attempt files.",
)
@click.option("--folder", type=click.Path(path_type=Path), help="Folder with routine files of your own.")
@job_option
@by_option
@store_option
@click.option("--json", "as_json", is_flag=True, help="Print the judgements as JSON at the end.")
def coach_command(
    routine: str,
    switch: str,
    car: str | None,
    story: str,
    person: Person | Learned | None,
    seed: int,
    pace: float,
    lead_in: float,
    bell: bool,
    out: Path,
    folder: Path | None,
    job: int | None,
    by: str,
    store: str | None,
    as_json: bool,
) -> None:
    """Run ROUTINE (an id of the library, or a file of your own) in the terminal, judged live.

    One key strikes each act; the pedal key toggles, because a terminal reports no release. Early and late are told at
    once in seconds, a miss says how to recover, and after three attempts it ends. Ctrl-C leaves a readable file. With
    --job each attempt is kept there, and the stop rule counts all that the job holds.
    """
    performer = one_of(person) if person is not None and car is not None else None
    if isinstance(person, Person) and car is None:
        raise InputError("a simulated person needs the simulated car", way_out="Add --car simulated.")
    if pace != 1.0 and performer is None:
        raise InputError("--pace is for a simulated person; yours runs in real time", way_out="Add --person cv=0.08.")
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as why:
        what = f"cannot be made a folder: {why.strerror}"
        raise InputError(what, file=str(out), way_out="Name another --out.") from None
    compiled = compile_routine(load_routine(routine, folder), "button" if switch == "button" else "key")
    play = script(compiled)
    console = Console(stderr=as_json, highlight=False)
    spec = spec_for(compiled.id, story) if car else None
    book = AttemptBook(store, job, by, folder)
    bench = Bench(play, console, out, lead_in, pace, bell, spec, performer, seed, book, person)
    if performer is not None:
        judgements = bench.visit(None)
    else:
        with raw_terminal() as keys:
            judgements = bench.visit(keys)
    if as_json:
        for judgement in judgements:
            click.echo(envelope("coach", judgement, simulated=car is not None).model_dump_json(indent=2))


class Bench:
    """A visit to one routine: the set-up list, then attempts until one is not a miss, or the stop rule says enough."""

    def __init__(
        self,
        play: Script,
        console: Console,
        out: Path,
        lead_in: float,
        pace: float,
        bell: bool,
        spec: CarSpec | None,
        person: Person | None,
        seed: int,
        book: AttemptBook,
        known: Person | Learned | None = None,
    ) -> None:
        self.play = play
        self.console = console
        self.out = out
        self.lead_in = lead_in
        self.pace = pace
        self.bell = bell
        self.person = person
        self.book = book
        self.known = known
        self.rng = np.random.default_rng(seed)
        self.car = None if spec is None else SimulatedCar(replace(spec, switch=play.routine.switch), seed)

    def visit(self, keys: Keys | None) -> list[AttemptJudgement]:
        """Set up, then up to three attempts."""
        routine = self.play.routine
        refused = self.book.may_try(routine)
        if not refused.allowed:
            self.console.print(f"\n[bold]{refused.why}[/]")
            return []
        print_set_up(self.console, routine, simulated=self.car is not None)
        if self.known is not None:
            print_odds(self.console, routine, self.known)
        if self.car is None and keys is not None and routine.may_erase and not self.book.in_job:
            self._erasing(keys)
        if keys is not None:
            self.console.print("\nAll of that so? [bold]Enter[/] counts you in, q stops.")
            self._expect(keys, "\r\n")
        judgements: list[AttemptJudgement] = []
        while (rule := self.book.may_try(routine)).allowed:
            judgement, path = self.attempt(keys, rule.number)
            judgements.append(judgement)
            kept = self.book.keep(routine, judgement, rule.number, path)
            if kept:
                self.console.print(kept)
            if judgement.verdict != "missed":
                self._after()
                return judgements
            if self.book.may_try(routine).allowed:
                self._recover(keys)
        self.console.print(f"\n[bold]{self.book.may_try(routine).why}[/]")
        return judgements

    def attempt(self, keys: Keys | None, number: int) -> tuple[AttemptJudgement, Path]:
        """One attempt, its judgement, and its file."""
        routine = self.play.routine
        path = self.out / f"{datetime.now().astimezone():%Y%m%d-%H%M%S}-{routine.id}-try{number}.jsonl"
        simulated = self.car is not None
        watched = tuple(c.name for c in routine.conditions)
        header = Header(
            routine=routine.id,
            routine_hash=routine.digest,
            simulated=simulated,
            begun=_now(),
            watched=watched,
            cued=True,
        )
        performer = None if self.person is None else Performer(self.person, self.rng)
        try:
            with path.open("w", encoding="utf-8") as record:
                LiveAttempt(
                    play=self.play,
                    number=number,
                    console=self.console,
                    record=record,
                    header=header,
                    keys=keys,
                    car=self.car,
                    performer=performer,
                    lead_in=self.lead_in,
                    pace=self.pace,
                    bell=self.bell,
                ).run()
        except KeyboardInterrupt:
            self.console.print(f"\nStopped. The attempt so far is kept in {path}")
            self.console.print(f"[bold]Now:[/] {routine.after_miss or 'pedal up, ignition off.'}")
            raise SystemExit(130) from None
        judgement = judge_attempt(routine, read_attempt(path), None if self.known is None else one_of(self.known))
        print_judgement(self.console, judgement)
        self.console.print(f"\nThe attempt is kept in {path}", style="dim")
        return judgement, path

    def _after(self) -> None:
        if self.car is None:
            if self.book.in_job:
                return
            self.console.print(
                "\nNext: idle one minute, loads off, record it, and compare: tickover idle AFTER --against BEFORE"
            )
            return
        self.car.advance(40.0)
        written = [name for _, name, text in self.car.outcomes if text == "written"]
        took = (
            f"took it ({written[-1]})" if written else f"did not take it: {self.car.entry_outcome or 'no entry seen'}"
        )
        off = "its ignition is off, as the routine ends" if self.car.ignition == "off" else "its engine is not running"
        idles = f"it idles at {self.car.engine_speed:.0f} r/min" if self.car.running else off
        self.console.print(f"\nThe simulated car {took}. 40 s later {idles}.")
        if not written:
            self.console.print("It has the entries of the built-in routines only, with windows of its own.")

    def _recover(self, keys: Keys | None) -> None:
        if self.car is not None:
            stand_still(self.car)
            if self.car.ignition != "off":
                self.car.do("ignition off")
            self.car.advance(40.0)
            self.console.print("[dim]The simulated car's ignition was switched off for 40 s, its pedal is up.[/]")
        if keys is not None:
            self.console.print("Again from step 1: [bold]Enter[/]. Stop here, keep the record: q.")
            self._expect(keys, "\r\n")

    def _erasing(self, keys: Keys) -> None:
        """A routine that may erase waits until lamp and codes are on record."""
        ask = self.console.print
        ask("\nThis routine may clear codes and readiness.")
        ask("Is the engine lamp lit with the engine running? [bold]y[/] or [bold]n[/]")
        if self._expect(keys, "yn") == "n":
            return
        ask("Have the codes and readiness been read and noted? [bold]y[/] or [bold]n[/]")
        if self._expect(keys, "yn") == "n":
            raise InputError(
                "the lamp is lit and the codes have not been read; this routine may clear them",
                way_out="Read and note the codes first: they say what is wrong.",
            )

    def _expect(self, keys: Keys, chars: str) -> str:
        while True:
            for key in keys.wait(0.2):
                if key.char in {"q", "\x03"}:
                    raise click.Abort
                if key.char in chars:
                    return key.char


def print_odds(console: Console, routine: CompiledRoutine, known: Person | Learned) -> None:
    """The odds of a clean run by somebody known, and what cues gain; or why there are none."""
    none = no_odds(routine)
    if none is not None:
        console.print(f"\nOdds of a clean run: cannot tell, {none.reason}.", markup=False)
        return
    found = odds_of(routine, one_of(known), people=people_of(known))
    odds = f"{percent(found.p)} ({percent_range(found.lo, found.hi)})"
    console.print(f"\nOdds of a clean run unaided, as you time: {odds}.", markup=False)
    weak = next((s.title for s in routine.steps if found.weak in {s.id, s.written}), None)
    if weak is not None and found.p < 0.995:
        cued = f"with that step cued {percent(found.p_if_cued)}, with all cued {percent(found.p_all_cued)}"
        console.print(f"Weak step: {weak}; {cued}. Here every act has its count-in.", markup=False)


def print_set_up(console: Console, routine: CompiledRoutine, *, simulated: bool) -> None:
    """The set-up list with why, the cautions, and what the routine rests on."""
    console.print(f"\n[bold]{routine.title}[/]")
    console.print(routine.basis.words, style="dim")
    if simulated:
        console.print("The car is simulated; nothing here moves a real one.", style="italic")
    console.print("\n[bold]Set up[/]")
    for need in routine.needs:
        console.print(Padding(Text(f"[ ] {need.need}"), (0, 0, 0, 2)))
        console.print(Padding(Text(need.why, style="dim"), (0, 0, 0, 6)))
    cautions = [("Caution.", text) for text in routine.cautions]
    cautions += [(f"Caution, {step.title.lower()}.", step.harm) for step in routine.steps if step.harm]
    for head, text in cautions:
        console.print(Padding(Text.assemble((f"{head} ", "bold"), text), (0, 0, 0, 2)))


def spec_for(routine: str, story: str) -> CarSpec:
    """The simulated car: what ails it, and the entries of its controller.

    Args:
        routine: id of the routine; the car has that family's entry, or the commonest three where it is none of them.
        story: one of ``STORIES``, or the one that suits the family.
    """
    if story == SUITED and routine in ENTRIES:
        return car_for(routine)
    spec = STORIES["old-memory" if story == SUITED else story]()
    return replace(spec, entries=(ENTRIES[routine],) if routine in ENTRIES else COMMON_ENTRIES)


def stand_still(car: SimulatedCar) -> None:
    """Bring a simulated car to a stand wherever an attempt left it: pedal up, P or N, brake and loads off."""
    car.pedal(0.0)
    if car.road_speed > 0:
        car.drive(0.0)
        while car.road_speed > 0:
            car.advance(1.0)
    undo: tuple[tuple[Kind, str], ...] = (
        ("gear neutral", ""),
        ("brake release", ""),
        *(("load off", name) for name in LOADS),
    )
    for kind, load in undo:
        with contextlib.suppress(OutOfOrderError):  # it is so already
            car.do(kind, load)


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")
