"""``tickover ready forecast``: when the car will be ready."""

from __future__ import annotations

import datetime
from pathlib import Path

import click
import numpy as np

from tickover.cli.figure import write_figure
from tickover.cli.ready import (
    Day,
    folder_option,
    fuel_option,
    json_option,
    open_by_hand,
    print_json,
    print_rows,
    read_answers,
    say,
    today_option,
    year_option,
)
from tickover.errors import InputError
from tickover.readiness import forecast, forecast_figure
from tickover.readiness.forecast import MOST_PER_DAY
from tickover.readiness.results import CarState, Forecast, Fuel
from tickover.readiness.rulebook import load_rule as find_rule
from tickover.readiness.state import state_of
from tickover.readiness.words import forecast_rows
from tickover.results import CannotTell

_SEED = 20  # of the band: the same bytes always give the same figures


@click.command("forecast")
@click.option(
    "--counters", multiple=True, metavar="HEX|FILE", help="Answers of the car: 09 08, best with 01 01 and 30."
)
@click.option("--open", "opened", metavar="MONITORS", help="By hand: the open monitors, “evap,catalyst”, or “none”.")
@click.option("--per-day", type=click.FloatRange(0, MOST_PER_DAY, min_open=True), required=True,
              help="Ignition cycles a day.")  # fmt: skip
@click.option("--by", type=Day(), required=True, help="The day of inspection, like 2026-12-01.")
@click.option("--rule", metavar="ID|FILE", help="The rule; without one every monitor has to be complete.")
@year_option
@fuel_option
@click.option("--figure", type=click.Path(path_type=Path), help="Draw it into FILE.svg or FILE.png.")
@today_option
@folder_option
@json_option
def forecast_command(
    counters: tuple[str, ...],
    opened: str | None,
    per_day: float,
    by: datetime.date,
    rule: str | None,
    year: int | None,
    fuel: Fuel | None,
    figure: Path | None,
    today: datetime.date | None,
    folder: Path | None,
    as_json: bool,
) -> None:
    """Say with what chance the car is ready by a day, when it will be, and what helps most.

    Without counters the answer stands on wide guesses, and says so.
    """
    start = today or datetime.date.today()
    if by < start:
        raise InputError(f"{by} is before {start}", way_out="Name a day to come, or say --today.")
    if figure is not None and figure.suffix.lower() not in (".svg", ".png"):
        raise click.BadParameter(f"“{figure}” ends neither in .svg nor in .png", param_hint="--figure")
    state = state_of([one for text in counters for one in read_answers([text])]) if counters else CarState()
    found = forecast(
        open_by_hand(state, opened),
        rule=find_rule(rule, folder) if rule else None,
        year=year,
        fuel=fuel,
        per_day=per_day,
        today=start,
        by=by,
        rng=np.random.default_rng(_SEED),
    )
    if figure is not None:
        _draw(found, figure)
    if as_json:
        inputs = {
            "counters": list(counters),
            "open": opened,
            "per_day": per_day,
            "by": str(by),
            "today": str(start),
            "rule": rule,
            "year": year,
            "fuel": fuel,
            "seed": _SEED,
        }
        print_json("ready forecast", found, inputs, found.rests_on if isinstance(found, Forecast) else ())
        return
    if isinstance(found, CannotTell):
        say("cannot tell", f"Cannot tell: {found.reason}. {found.way_out}")
        return
    say("forecast", found.sentence)
    print_rows(forecast_rows(found))
    if figure is not None:
        print_rows([("written", str(figure))])


def _draw(found: Forecast | CannotTell, path: Path) -> None:
    if isinstance(found, CannotTell):
        raise InputError(f"there is nothing to draw: {found.reason}", way_out=found.way_out)
    write_figure(forecast_figure(found), path)
