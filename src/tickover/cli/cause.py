"""``tickover cause``: stale memory or a real fault, and the test to do next."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click
import numpy as np
from rich.console import Console

from tickover.cause import TESTS, Car, Causes, Evidence, diagnose
from tickover.cause.from_job import car_from_job, evidence_from_job
from tickover.cause.from_log import FromLog, evidence_from_log, together
from tickover.cause.picture import causes_picture
from tickover.cause.sources import disagreements
from tickover.cli import cause_draw, cause_read
from tickover.cli.cause_options import with_options
from tickover.cli.figure import write_figure
from tickover.cli.idle import Normal
from tickover.cli.job_store import by_option, job_option, kept_line, opened, record, store_option
from tickover.errors import InputError
from tickover.jobs import Entry
from tickover.logs import read_log_report
from tickover.results import envelope
from tickover.routines import load_library
from tickover.visit.rules import correct_without_effect, known

SEED = 8
"""Of the intervals of an idle in a log."""

_POINTS = "idle, load, 2500, cruise or hard"
_OUTCOMES = "; ".join(f"{name}={'|'.join(act.outcomes)}" for name, act in TESTS.items())


def _many(name: str, metavar: str, text: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    return click.option(name, multiple=True, metavar=metavar, help=text)


@click.command("cause", epilog=f"Tests and their outcomes: {_OUTCOMES}.")
@_many(
    "--trim", "POINT=%", f"Short and long trim together, bank 1; POINT is {_POINTS}. 18±2 states a spread, 25! a limit."
)
@_many("--trim2", "POINT=%", "The same of bank 2.")
@_many("--air", "POINT=G/S", "Air flow that the air meter reports.")
@click.option("--map", "map_", multiple=True, metavar="POINT=KPA", help="Manifold pressure, absolute.")
@click.option("--vacuum", metavar="NUMBER+UNIT", help="Gauge vacuum at warm idle, like 18inHg or 600mbar.")
@click.option("--speed", metavar="R/MIN", help="Warm idle speed, loads off.")
@click.option(
    "--idle-air", metavar="%[:NORMAL]", help="Commanded idle air, and what is normal for the car, like 28:40."
)
@click.option("--misfires", metavar="N", help="Missed firings per 1,000 revolutions, all cylinders.")
@click.option("--roughness", metavar="R/MIN", help="Standard deviation of the warm idle's speed.")
@_many("--volts", "WHEN=V", "WHEN is rest, key on, cranking or running.")
@click.option("--coolant", metavar="°C", help="Where the coolant reading settles when warm.")
@click.option(
    "--coolant-is", type=click.Choice(["normal", "slow to warm", "jumps"]), help="How the coolant reading behaves."
)
@click.option("--codes", metavar="CODES", help="Stored codes, like P0171,P0300, or none.")
@_many("--did", "WHAT", "What happened before: battery, cleaned, misfire, unplugged, or nothing.")
@_many("--complaint", "WHAT", "What it does, warm: high, hangs, hunts, rough, low, stalls, or none.")
@click.option(
    "--verdict", type=click.Choice(["settled", "better", "no change", "worse"]), help="Idle after against before."
)
@click.option("--attempts", type=click.IntRange(0, 10), default=0, help="Correct relearns that changed nothing.")
@click.option("--ethanol", metavar="%", help="Share of ethanol in the fuel.")
@click.option(
    "--since-clear", type=click.FloatRange(0), metavar="MIN", help="Running time since the memory was cleared."
)
@_many("--test", "TEST=OUTCOME", "A test that was done; below, all of them.")
@click.option("--metering", type=click.Choice(["air", "pressure"]), help="What meters the air.")
@click.option("--displacement", type=cause_read.Litres(0.6, 6.0), metavar="L", help="Of the engine, in litres.")
@click.option("--cylinders", type=click.IntRange(2, 12), help="Their number.")
@click.option("--normal", type=Normal(), help="The car's normal idle [r/min], like 650-750.")
@click.option("--outside", type=click.FloatRange(60, 108), metavar="KPA", help="Air pressure where the car stands.")
@click.option("--log", "logs", type=click.Path(path_type=Path), multiple=True, help="A log of the car as it is now.")
@click.option("--whole", is_flag=True, help="All the evidence, and the further tests.")
@click.option("--figure", type=click.Path(path_type=Path), help="Draw what still fits into FILE.svg or FILE.png.")
@job_option
@by_option
@store_option
@click.option("--json", "as_json", is_flag=True, help="Print the result for programs.")
def cause_command(**given: Any) -> None:  # noqa: ANN401 — two dozen options, each named above
    """Stale memory or a real fault? The test to do next, and what still fits.

    For example: tickover cause --trim idle=+18 --trim 2500=+6 --metering air

    Everything may be missing; what is typed goes before what a log says, and that before what the job knows. With
    --job the answer is kept there, and what was typed for it counts the next time too.
    """
    figure = _figure_name(given["figure"])
    entries, attempts = _job_entries(given["store"], given["job"])
    _once(given["logs"])
    logs = [(path, *_read(path)) for path in given["logs"]]
    typed, air_normal = cause_read.typed_evidence(given)
    held = evidence_from_job(entries, attempts, carry=True)
    sources = [("the job", held), *((path.name, f.evidence) for path, f, _ in logs), ("typed", typed)]
    evidence = together([told for _, told in sources])
    car = cause_read.typed_car(given, air_normal, car_from_job(entries))
    found = diagnose(evidence, car).model_copy(update={"disagree": disagreements(sources)})
    simulated = any(s for _, _, s in logs)
    if figure is not None:
        write_figure(causes_picture(found), figure)
    inputs = {"evidence": _set_fields(evidence), "car": _set_fields(car), "logs": [str(p) for p, _, _ in logs]}
    kept = record(
        given["store"],
        given["job"],
        "cause",
        "causes",
        found,
        attachments=[p for p, _, _ in logs],
        by=given["by"] or None,
        inputs=inputs,
        simulated=simulated or None,
    )
    found = with_options(found)
    if given["as_json"]:
        made = envelope("cause", found, inputs=inputs, simulated=simulated, rests_on=found.rests_on)
        click.echo(made.model_dump_json(indent=2))
        return
    _say(found, logs, whole=given["whole"])
    if figure is not None:
        click.echo(f"\nWritten: {figure}")
    if kept:
        click.echo(f"\n{kept_line(given['job'], kept)} Next: tickover job next {given['job']}")


def _say(found: Causes, logs: Sequence[tuple[Path, FromLog, bool]], *, whole: bool) -> None:
    console = Console(highlight=False)
    for path, one, _ in logs:
        cause_draw.say_stretches(console, path.name, one.stretches, one.refusals)
    cause_draw.say_causes(console, found, whole=whole)


def _once(logs: Sequence[Path]) -> None:
    """Refuse a log that is given twice: it would be counted as two.

    Raises: click.BadParameter.
    """
    seen: set[Path] = set()
    for path in logs:
        if path.resolve() in seen:
            raise click.BadParameter(f"“{path}” is given twice; leave one out", param_hint="--log")
        seen.add(path.resolve())


def _read(path: Path) -> tuple[FromLog, bool]:
    recording, _ = read_log_report(path)
    return evidence_from_log(recording, np.random.default_rng(SEED)), recording.simulated


def _job_entries(store: str | None, job: int | None) -> tuple[tuple[Entry, ...], int]:
    """The job's entries, and how many correct attempts changed nothing."""
    if job is None:
        return (), 0
    with opened(store, create=False, read_only=True) as held:
        entries = held.current(job)
    return entries, correct_without_effect(entries, known(load_library()).preparing)


def _figure_name(figure: Path | None) -> Path | None:
    if figure is not None and figure.suffix.lower() not in (".svg", ".png"):
        raise InputError(f"“{figure}” is no picture", way_out="Name it FILE.svg or FILE.png.")
    return figure


def _set_fields(model: Evidence | Car) -> dict[str, Any]:
    """What was given, without what was not."""
    plain = model.model_dump(mode="json", exclude_none=True)
    return {k: v for k, v in plain.items() if v not in ({}, 0)}
