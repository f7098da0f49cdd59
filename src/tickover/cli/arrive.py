"""``tickover arrive``: the questions of arrival, stop signs, the story of the memory, the ladder, the set-up."""

from __future__ import annotations

import sys
from collections import deque
from pathlib import Path

import click
import numpy as np
from rich.console import Console
from rich.padding import Padding
from rich.rule import Rule
from rich.text import Text

from tickover.arrival import QUESTIONS, Answers, Arrival, Question, SetUp, answers_of, arrive, set_up
from tickover.arrival.battery import How
from tickover.arrival.words import arrival_lines, question_lines, set_up_lines
from tickover.cli.keys import Keys, raw_terminal
from tickover.cli.routine import STYLES, folder_option, json_option
from tickover.errors import InputError
from tickover.logs import read_log
from tickover.results import Result, envelope
from tickover.routines import Routine, compile_routine, load_library
from tickover.routines.words import Line
from tickover.signals import Recording

ENTER, BACKSPACE, DIGITS = "\r\n", "\x7f\b", "123456789"
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
    folder: Path | None,
    as_json: bool,
) -> None:
    """Ask what came in, and say what to do first.

    On a terminal each question takes one key, and Enter means not known. For scripts give --answer, e.g. --answer
    drive=petrol --answer complaint=high,hangs --answer before=cleaned.
    """
    if list_them:
        _print(question_lines())
        return
    readings = _readings(volts, coolant, coolant_log)
    library = load_library(folder)
    answers = answers_of(pairs) if pairs else _ask()
    found = arrive(answers, library)
    first = found.ladder.first
    prepared = None
    if first is not None and first.routine is not None:
        prepared = _set_up(library[first.routine], answers, readings, volts_how, fan_on)
    if as_json:
        inputs = {
            "folder": str(folder) if folder else None,
            "volts": volts,
            "coolant": coolant,
            "coolant_log": str(coolant_log) if coolant_log else None,
            "fan_on": fan_on,
            "seed": _SEED,
        }
        result = ArriveResult(arrival=found, set_up=prepared)
        simulated = isinstance(readings, Recording) and readings.simulated
        wrapped = envelope("arrive", result, inputs=inputs, simulated=simulated, rests_on=found.rests_on)
        click.echo(wrapped.model_dump_json(indent=2))
        return
    _print([*arrival_lines(found), *(set_up_lines(prepared) if prepared is not None else [])])


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
    compiled = compile_routine(routine, "button" if answers.switch == "button" else "key")
    return set_up(compiled, np.random.default_rng(_SEED), readings, volts_how=volts_how, fan_on=fan_on)


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
