"""``tickover ready``: decode answers of the car, hold them against a rule, forecast when it will be ready."""

from __future__ import annotations

import datetime
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import click
from pydantic import BaseModel
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from tickover.cli.job_store import by_option, car_of, job_option, kept_line, opened, record_drafts, store_option
from tickover.cli.lazy import LazyGroup
from tickover.errors import InputError, ReplyError
from tickover.jobs import Entry
from tickover.obd.results import Decoded
from tickover.obd.typed import decode_file, decode_text
from tickover.readiness.by_hand import told_by_hand
from tickover.readiness.cleared import WHY_NOT_ERASE
from tickover.readiness.results import CarState, Fuel, LampSeen, Verdict
from tickover.readiness.rulebook import Rule, load_rules
from tickover.readiness.rulebook import load_rule as find_rule
from tickover.readiness.state import state_of
from tickover.readiness.verdict import evaluate
from tickover.readiness.words import decoded_rows, rule_rows, verdict_rows
from tickover.results import Result, envelope
from tickover.visit.ready_drafts import readiness_drafts, state_sentence

LATER = {
    "forecast": (
        "tickover.cli.ready_forecast:forecast_command",
        "When the car will be ready, from its in-use counters.",
    ),
}

json_option = click.option("--json", "as_json", is_flag=True, help="Print the result for programs.")
folder_option = click.option(
    "--folder",
    type=click.Path(path_type=Path),
    envvar="TICKOVER_RULES",
    show_envvar=True,
    help="Your own folder of rule files; they come before the built-in ones of the same id.",
)
year_option = click.option("--year", type=click.IntRange(1980, 2100), help="Model year.")
fuel_option = click.option("--fuel", type=click.Choice(["petrol", "hybrid", "diesel"]), help="What the engine burns.")


class Answers(Result):
    """What ``tickover ready decode --json`` answers."""

    answers: tuple[Decoded, ...]


class Rules(Result):
    """What ``tickover ready rules --json`` answers."""

    rules: tuple[Rule, ...]


class Advice(Result):
    """What ``tickover ready ask-erase --json`` answers."""

    says: tuple[str, ...]


class Day(click.ParamType[datetime.date]):
    """A day, ``2026-12-01``."""

    name = "day"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> datetime.date:
        """Turn the text into a day."""
        if isinstance(value, datetime.date):
            return value
        try:
            return datetime.date.fromisoformat(str(value))
        except ValueError:
            self.fail(f"“{value}” is not a day; write it like 2026-12-01", param, ctx)


today_option = click.option("--today", type=Day(), help="The day to reckon from, like 2026-11-25; else the clock's.")


@click.group("ready", cls=LazyGroup, later=LATER)
def ready_group() -> None:
    """Whether the car is ready for its inspection, and if not, when.

    Bytes come as typed hex, as a file, or from standard input as “-”.
    """


@ready_group.command("decode")
@click.argument("answers", nargs=-1, required=True)
@json_option
def decode_command(answers: tuple[str, ...], as_json: bool) -> None:
    """Decode ANSWERS of the car: hex, a file, or - for standard input."""
    found = read_answers(answers)
    if as_json:
        print_json("ready decode", Answers(answers=found), {"answers": list(answers)})
        return
    print_rows(decoded_rows(found))


@ready_group.command("check")
@click.argument("answers", nargs=-1)
@click.option("--rule", metavar="ID|FILE", help="The rule; `tickover ready rules` lists them.")
@year_option
@fuel_option
@click.option("--hex", "more", multiple=True, metavar="HEX|FILE", help="Answers of the car, as an option; repeatable.")
@click.option("--open", "opened", metavar="MONITORS", help="By hand: the open monitors, “evap,catalyst”, or “none”.")
@click.option("--open-count", type=click.IntRange(0, 11), help="By hand: how many are open, if that is all you know.")
@click.option("--lamp", type=click.Choice(["on", "off"]), help="By hand: the engine lamp while the engine runs.")
@click.option("--bulb", type=click.Choice(["lights", "dark"]), help="The engine lamp with ignition on, engine off.")
@click.option("--warm-ups", type=click.IntRange(0, 255), help="By hand: warm-ups since the last clear.")
@click.option("--km", type=click.FloatRange(0), help="By hand: distance since the last clear [km].")
@click.option("--permanent", metavar="CODES", help="By hand: permanent codes, “P0301,P0420”, or “none”.")
@click.option("--lambda-fast", type=click.FloatRange(0, 5), help="λ at fast idle, at the tailpipe.")
@click.option("--co-fast", type=click.FloatRange(0, 20), help="CO at fast idle [%].")
@click.option("--co-natural", type=click.FloatRange(0, 20), help="CO at natural idle [%].")
@today_option
@folder_option
@job_option
@by_option
@store_option
@json_option
def check_command(
    answers: tuple[str, ...],
    rule: str | None,
    year: int | None,
    fuel: Fuel | None,
    more: tuple[str, ...],
    opened: str | None,
    open_count: int | None,
    lamp: str | None,
    bulb: str | None,
    warm_ups: int | None,
    km: float | None,
    permanent: str | None,
    lambda_fast: float | None,
    co_fast: float | None,
    co_natural: float | None,
    today: datetime.date | None,
    folder: Path | None,
    job: int | None,
    by: str,
    store: str | None,
    as_json: bool,
) -> None:
    """Would the car be ready? From ANSWERS of the car, by hand, or both; what is given by hand counts.

    For example: tickover ready check --rule us-federal --year 2004 41 01 00 07 65 04. With --job what was read is kept,
    before or after the relearn; there the rule may be left out.
    """
    if rule is None and job is None:
        raise InputError(
            "no rule was named", way_out="Give --rule; `tickover ready rules` lists them. Or keep it: --job N."
        )
    chosen = None if rule is None else find_rule(rule, folder)
    typed = [*read_answers(answers), *(one for text in more for one in read_answers([text]))]
    state = _by_hand(state_of(typed) if typed else CarState(), opened, open_count, lamp, bulb, permanent)
    given = {
        "warm_ups": warm_ups,
        "km": km,
        "lambda_fast": lambda_fast,
        "co_fast": co_fast,
        "co_natural": co_natural,
    }
    state = state.model_copy(update={name: value for name, value in given.items() if value is not None})
    on = today or datetime.date.today()
    if year is None:
        year = car_of(store, job).get("year")
    found = None if chosen is None else evaluate(chosen, state, year=year, fuel=fuel, on=on)
    kept = keep_readiness(store, job, by, state, found)
    if as_json:
        inputs = {"answers": [*answers, *more], "rule": rule, "year": year, "fuel": fuel, "today": str(on)}
        by_hand = {"open": opened, "open_count": open_count, "lamp": lamp, "bulb": bulb, "permanent": permanent}
        print_json(
            "ready check", found or state, {**inputs, **by_hand, **given}, found.rests_on if found else state.says
        )
        return
    if found is None:
        say("read", state_sentence(state))
    else:
        say(found.word, found.sentence)
        print_rows(verdict_rows(found))
    if kept:
        click.echo(f"\n{kept_line(job, kept)} Next: tickover job next {job}")


def keep_readiness(
    store: str | None, job: int | None, by: str, state: CarState, found: Verdict | None
) -> tuple[Entry, ...]:
    """Keep what was read, and the verdict, in the job; nothing where none was named."""
    if job is None:
        return ()
    with opened(store, create=False) as held:
        return record_drafts(held, job, readiness_drafts(held.current(job), state, found), by=by or None)


@ready_group.command("rules")
@folder_option
@json_option
def rules_command(folder: Path | None, as_json: bool) -> None:
    """List the rules, with their sources and what is not certain about them."""
    found = load_rules(folder)
    if as_json:
        print_json("ready rules", Rules(rules=tuple(found.values())), {"folder": str(folder) if folder else None})
        return
    for rule in found.values():
        say(rule.id, rule.title)
        print_rows(rule_rows(rule))
        click.echo()


@ready_group.command("ask-erase")
@json_option
def ask_erase_command(as_json: bool) -> None:
    """Would erasing the codes help to pass? No, and here is why."""
    if as_json:
        print_json("ready ask-erase", Advice(says=WHY_NOT_ERASE), {})
        return
    print_rows([(f"{n}.", line) for n, line in enumerate(WHY_NOT_ERASE, 1)])


def read_answers(words: Iterable[str]) -> tuple[Decoded, ...]:
    """Decode what was given on the command line: hex, the name of a file, or - for standard input.

    Raises: ReplyError as the decoder; for a name that is neither a file nor hex, saying both.
    """
    found: list[Decoded] = []
    lines: list[str] = []
    for word in _lines([str(word) for word in words]):
        if word == "-":
            found += decode_text(sys.stdin.read(), file="standard input")
        elif _is_name(word):
            found += decode_file(Path(word))
        else:
            lines.append(word)
    try:
        return (*found, *(decode_text("\n".join(lines)) if lines else ()))
    except ReplyError as why:
        if len(lines) == 1 and why.line is None:
            why.way_out += f" If “{lines[0]}” was to be a file: there is none of that name here."
        raise


def _lines(words: list[str]) -> list[str]:
    """Bytes typed apart are one answer; anything longer, or in quotes, is one by itself."""
    apart = len(words) > 1 and all(len(word) <= 2 for word in words[1:])
    return [" ".join(words)] if apart else words


def _is_name(word: str) -> bool:
    """Whether a word is the name of a file rather than hex."""
    if "\n" in word or len(word) > 1000:
        return False
    return (
        Path(word).is_file()
        or any(mark in word for mark in ("/", "\\"))
        or word.lower().endswith((".txt", ".hex", ".log"))
    )


def _by_hand(
    state: CarState,
    opened: str | None,
    open_count: int | None,
    lamp: str | None,
    bulb: str | None,
    permanent: str | None,
) -> CarState:
    if opened is not None and open_count is not None:
        raise InputError("--open and --open-count are both given", way_out="Name the monitors, or count them.")
    seen: LampSeen | None = None
    if bulb is not None:
        seen = "lights with the ignition" if bulb == "lights" else "stays dark"
    return told_by_hand(
        state,
        opened=None if opened is None else _words(opened),
        open_count=open_count,
        lamp=None if lamp is None else lamp == "on",
        lamp_seen=seen,
        permanent=None if permanent is None else _words(permanent),
    )


def open_by_hand(state: CarState, opened: str | None) -> CarState:
    """A state with the open monitors told by hand, where they were."""
    return _by_hand(state, opened, None, None, None, None)


def _words(text: str) -> list[str]:
    return [] if text.strip().lower() == "none" else [word for word in text.split(",") if word.strip()]


def say(word: str, sentence: str) -> None:
    """The answer first: a word, then the sentence."""
    console = Console(highlight=False)
    mark = "┄" if word == "cannot tell" else "◆"
    console.print(Text(f"{mark} {word}", style="bold"))
    console.print(Padding(Text(sentence), (0, 2)))


def print_rows(rows: Iterable[tuple[str, str]]) -> None:
    """A margin word and its text, one under the other; a word that repeats is left out."""
    console = Console(highlight=False)
    table = Table.grid(padding=(0, 2))
    table.add_column(min_width=10, no_wrap=True)
    table.add_column(overflow="fold")
    last = ""
    for word, text in rows:
        table.add_row(Text(word if word != last else "", style="dim"), Text(text))
        last = word
    if table.row_count:
        console.print(Padding(table, (0, 2)))


def print_json(what: str, result: BaseModel, inputs: dict[str, Any], rests_on: tuple[str, ...] = ()) -> None:
    """The shared envelope."""
    click.echo(envelope(what, result, inputs=inputs, rests_on=rests_on).model_dump_json(indent=2))
