"""``tickover arrive``: the questions of arrival, stop signs, the story of the memory, the ladder, the set-up."""

from __future__ import annotations

import sys
from collections import deque
from collections.abc import Mapping
from contextlib import ExitStack
from datetime import datetime
from pathlib import Path

import click
import numpy as np
from rich.console import Console
from rich.padding import Padding
from rich.rule import Rule
from rich.text import Text

from tickover.arrival import QUESTIONS, Answers, Arrival, Question, SetUp, answers_of, arrive
from tickover.arrival.battery import How
from tickover.arrival.candidates import ShopRate
from tickover.arrival.words import arrival_lines, question_lines, set_up_lines
from tickover.cli.job_store import by_option, job_option, kept_line, opened, record_drafts, store_option
from tickover.cli.keys import Keys, raw_terminal
from tickover.cli.routine import STYLES, folder_option, json_option
from tickover.errors import InputError
from tickover.jobs import Entry, Store
from tickover.logs import read_log
from tickover.results import Result, envelope
from tickover.routines import Routine, load_library
from tickover.routines.words import Line
from tickover.signals import Recording
from tickover.visit.arriving import answers_in, routine_due, routine_named, set_up_for, shop_rates, to_see_to
from tickover.visit.drafts import arrival_drafts, set_up_draft
from tickover.visit.ticking import looked_at

ENTER, BACKSPACE, DIGITS = "\r\n", "\x7f\b", "123456789"
_LOOK = (
    "On a terminal each need is asked; else give --coolant, --volts or --coolant-log, or --by-hand where all is done."
)
_SEED = 20  # the fits' seed: the same readings always give the same figures


class ArriveResult(Result):
    """What ``tickover arrive --json`` answers: the arrival, and the set-up of the first routine that is offered."""

    arrival: Arrival
    set_up: SetUp | None


@click.command("arrive")
@click.option("--answer", "pairs", multiple=True, metavar="NAME=VALUE", help="An answer; may be given again.")
@click.option("--questions", "list_them", is_flag=True, help="List the questions and their values, and end.")
@click.option("--volts", type=float, metavar="V", help="Volts read by eye, with the ignition on and the engine off.")
@click.option(
    "--volts-how",
    type=click.Choice(["key on", "open, rested", "open, not rested", "running"]),
    help="How they were read, where it was otherwise.",
)
@click.option("--coolant", type=float, metavar="°C", help="Coolant read by eye.")
@click.option(
    "--coolant-log",
    type=click.Path(path_type=Path),
    help="A log of the last minutes: coolant, perhaps volts.",
)
@click.option("--fan-on", type=click.FloatRange(70, 125), metavar="°C", help="Where this car's fan comes on, if known.")
@click.option("--set-up", "set_up_only", is_flag=True, help="With --job: do not ask again, see to the needs.")
@click.option("--routine", "named", metavar="ID", help="With --set-up: for this routine, not the one that is due.")
@click.option("--by-hand", is_flag=True, help="With --set-up: every need that nothing measures was seen to.")
@job_option
@by_option
@store_option
@folder_option
@json_option
def arrive_command(
    pairs: tuple[str, ...],
    list_them: bool,
    volts: float | None,
    volts_how: How | None,
    coolant: float | None,
    coolant_log: Path | None,
    fan_on: float | None,
    set_up_only: bool,
    named: str | None,
    by_hand: bool,
    job: int | None,
    by: str,
    store: str | None,
    folder: Path | None,
    as_json: bool,
) -> None:
    """Ask what came in, and say what to do first.

    On a terminal each question takes one key, and Enter means not known. For scripts give --answer, e.g. --answer
    drive=petrol --answer complaint=high,hangs --answer before=cleaned. With --job the answers are kept, and --set-up
    then sees to the needs of the routine that is due.
    """
    if list_them:
        _print(question_lines())
        return
    if set_up_only and job is None:
        raise InputError("--set-up goes by the answers of a job", way_out="Name it: --job N.")
    if named is not None and not set_up_only:
        raise InputError("--routine names what to set up for", way_out="Add --set-up and --job N.")
    readings = _readings(volts, coolant, coolant_log)
    library = load_library(folder)
    with ExitStack() as open_while_here:
        held = open_while_here.enter_context(opened(store, create=False)) if job is not None else None
        entries = held.current(job) if held is not None and job is not None else ()
        answers = answers_in(entries, job or 0) if set_up_only else answers_of(pairs) if pairs else _ask()
        found = arrive(answers, library, _rates(held, entries, answers, library))
        name = routine_due(entries, found, library) if named is None else routine_named(named, found, library)
        prepared: SetUp | None = None
        if name is not None:
            if set_up_only and not readings and sys.stdin.isatty() and not as_json:
                readings = _read_by_eye()
            prepared = _set_up(library[name], answers, readings, volts_how, fan_on)
        asks = not as_json and sys.stdin.isatty()
        _needs_looked_at(prepared if set_up_only and not asks else None, by_hand=by_hand, read=bool(readings))
        if not as_json:
            shown = [] if set_up_only else arrival_lines(found, typed=job is None)
            _print([*shown, *(set_up_lines(prepared) if prepared is not None else [])])
        kept: tuple[Entry, ...] = ()
        simulated = isinstance(readings, Recording) and readings.simulated
        if job is not None:
            drafts = [] if set_up_only else list(arrival_drafts(found))
            if set_up_only and prepared is not None:
                seen = _seen_to(prepared, by_hand=by_hand, ask=not as_json)
                drafts.append(looked_at(set_up_draft(prepared, seen), _LOOK, read=bool(readings)))
            files = [coolant_log] if coolant_log is not None else []
            kept = record_drafts(held, job, drafts, attachments=files, by=by or None, simulated=simulated or None)
    if as_json:
        inputs = {
            "folder": str(folder) if folder else None,
            "volts": volts,
            "coolant": coolant,
            "coolant_log": str(coolant_log) if coolant_log else None,
            "fan_on": fan_on,
            "job": job,
            "seed": _SEED,
        }
        result = ArriveResult(arrival=found, set_up=prepared)
        wrapped = envelope("arrive", result, inputs=inputs, simulated=simulated, rests_on=found.rests_on)
        click.echo(wrapped.model_dump_json(indent=2))
    elif kept:
        if set_up_only:
            click.echo(f"\nSet up: {kept[-1].data['sentence']}.")
        click.echo(f"{kept_line(job, kept)} Next: tickover job next {job}")


def _rates(
    held: Store | None, entries: tuple[Entry, ...], answers: Answers, library: Mapping[str, Routine]
) -> dict[str, ShopRate] | None:
    if held is None:
        return None
    return shop_rates(held, entries, answers, library, datetime.now().astimezone())


def _needs_looked_at(found: SetUp | None, *, by_hand: bool, read: bool) -> None:
    """Refuse a set-up that nobody will be asked about and that nothing was told of, before anything is printed."""
    if found is not None:
        looked_at(set_up_draft(found, to_see_to(found) if by_hand else ()), _LOOK, read=read)


def _seen_to(found: SetUp, *, by_hand: bool, ask: bool) -> tuple[str, ...]:
    """The needs that a person has seen to: all by the flag, else asked one by one where there is a terminal."""
    open_needs = to_see_to(found)
    if by_hand or not open_needs or not (ask and sys.stdin.isatty()):
        return open_needs if by_hand else ()
    click.echo("\nSeen to by hand? y or n, one key each; Enter is n.")
    with raw_terminal() as keys:
        asker = Asker(keys)
        return tuple(need for need in open_needs if asker.yes(need))


def _read_by_eye() -> dict[str, float]:
    """Coolant and volts, typed; Enter where they are not known."""
    asked = (("coolant_temperature", "Coolant by eye [°C]"), ("module_voltage", "Volts, ignition on, engine off [V]"))
    typed: dict[str, float] = {}
    with raw_terminal() as keys:
        asker = Asker(keys)
        for name, words in asked:
            value = asker.number(f"{words} (Enter: not known) ")
            if value is not None:
                typed[name] = value
    return typed


def _readings(volts: float | None, coolant: float | None, log: Path | None) -> Recording | dict[str, float]:
    if log is not None and (volts is not None or coolant is not None):
        raise InputError("readings are typed or logged, not both", way_out="Leave out --coolant-log, or the others.")
    if log is not None:
        return read_log(log)
    typed = {"module_voltage": volts, "coolant_temperature": coolant}
    return {name: value for name, value in typed.items() if value is not None}


def _set_up(
    routine: Routine,
    answers: Answers,
    readings: Recording | dict[str, float],
    volts_how: How | None,
    fan_on: float | None,
) -> SetUp:
    rng = np.random.default_rng(_SEED)
    return set_up_for(routine, answers, rng, readings, volts_how=volts_how, fan_on=fan_on)


def _ask() -> Answers:
    """Ask every question on the terminal; one key each."""
    if not sys.stdin.isatty():
        raise InputError(
            "nothing was answered, and there is no terminal to ask on",
            way_out="Give --answer name=value, e.g. --answer lamp=dark; `tickover arrive --questions` lists them.",
        )
    given: list[str] = []
    with raw_terminal() as keys:
        asker = Asker(keys)
        for question in QUESTIONS:
            value = asker.ask(question)
            if value:
                given.append(f"{question.name}={value}")
    click.echo()
    return answers_of(given)


class Asker:
    """Asks one question after another; keys typed ahead are kept.

    Args:
        keys: of a terminal in raw mode.
    """

    def __init__(self, keys: Keys) -> None:
        self._keys = keys
        self._typed: deque[str] = deque()

    def ask(self, question: Question) -> str:
        """Ask one question; the answer as a script would give it, empty for not known."""
        click.secho(f"\n{question.ask}", bold=True)
        if question.tell:
            click.secho(f"   {question.tell}", dim=True)
        if question.form == "text":
            return self._line("   (Enter: not known) ")
        for number, option in enumerate(question.options, start=1):
            click.echo(f"   {number}  {option.words}")
        if question.form == "codes":
            click.echo(f"   {len(question.options) + 1}  type them")
        several = question.form == "several"
        click.echo("   keys of all that apply, then Enter" if several else "   one key; Enter: not known")
        return self._several(question) if several else self._one(question)

    def _key(self) -> str:
        while not self._typed:
            self._typed.extend(key.char for key in self._keys.wait(3600.0))
        return self._typed.popleft()

    def _one(self, question: Question) -> str:
        last = len(question.options) + (question.form == "codes")
        while True:
            key = self._key()
            if key in ENTER:
                click.echo("   → not known")
                return ""
            if key not in DIGITS or not 1 <= int(key) <= last:
                continue
            if int(key) > len(question.options):
                return self._codes()
            option = question.options[int(key) - 1]
            click.echo(f"   → {option.words}")
            return option.value

    def _several(self, question: Question) -> str:
        chosen: list[str] = []
        while True:
            key = self._key()
            if key in ENTER:
                click.echo(f"   → {', '.join(question.words_of(v) for v in chosen) or 'not known'}")
                return ",".join(chosen)
            if key not in DIGITS or not 1 <= int(key) <= len(question.options):
                continue
            value = question.options[int(key) - 1].value
            if value in chosen:
                chosen.remove(value)
            elif question.alone in {value, *chosen}:
                chosen = [value]
            else:
                chosen.append(value)
            click.echo(f"   {', '.join(question.words_of(v) for v in chosen) or 'none chosen'}")

    def _codes(self) -> str:
        """Codes typed in; asked again where they are none, so that nothing answered so far is lost."""
        while True:
            line = self._line("   codes, separated by commas: ")
            try:
                answers_of([f"codes={line}"])
            except InputError as why:
                click.echo(f"   {why}")
            else:
                return line

    def yes(self, text: str) -> bool:
        """Ask for one y or n; Enter is n."""
        click.echo(f"   {text}  ", nl=False)
        while True:
            key = self._key().lower()
            if key in {"y", "n"} or key in ENTER:
                click.echo("yes" if key == "y" else "no")
                return key == "y"

    def number(self, prompt: str) -> float | None:
        """Ask for a number; None where Enter alone is typed."""
        while True:
            line = self._line(prompt).replace(",", ".")
            if not line:
                return None
            try:
                return float(line)
            except ValueError:
                click.echo(f"   “{line}” is not a number")

    def _line(self, prompt: str) -> str:
        click.echo(prompt, nl=False)
        line = ""
        while (key := self._key()) not in ENTER:
            if key in BACKSPACE:
                if line:
                    line = line[:-1]
                    click.echo("\b \b", nl=False)
            elif key.isprintable():
                line += key
                click.echo(key, nl=False)
        click.echo()
        return line.strip()


def _print(lines: list[Line]) -> None:
    console = Console(highlight=False, soft_wrap=False)
    for line in lines:
        if line.style == "rule":
            console.print(Rule(style="dim"))
        else:
            console.print(Padding(Text(line.text, style=STYLES[line.style]), (0, 0, 0, line.indent), expand=False))
