"""The ``routine odds`` command: odds of a clean run in words, numbers and one picture."""

from __future__ import annotations

from pathlib import Path

import click
from click.core import ParameterSource

from tickover.cli.figure import write_figure
from tickover.cli.people import one_of, people_of, person_option
from tickover.cli.routine import folder_option, json_option, print_json, print_lines
from tickover.errors import InputError
from tickover.routines import compile_routine, load_routine
from tickover.routines.chances import RoutineOdds, odds_of
from tickover.routines.words import Line, odds_lines
from tickover.timing import CueFrom, Person
from tickover.timing.learn import Learned
from tickover.visit.odds import no_odds

RESTS = ("The car's answers are taken to come evenly in their windows.",)


@click.command("odds")
@click.argument("routine")
@click.option(
    "--cv",
    type=click.FloatRange(0, 1),
    default=0.10,
    show_default=True,
    help="Spread of an interval that is timed by feel, as a share of its length, like 0.1.",
)
@click.option(
    "--event-sd",
    type=click.FloatRange(0, 1),
    default=0.035,
    show_default=True,
    help="Spread of a cued act about its cue [s].",
)
@person_option
@click.option("--cue", "cued", multiple=True, metavar="STEP", help="A step done to a cue; may be given again.")
@click.option(
    "--cue-from",
    type=click.Choice(["coach", "sound file"]),
    default="coach",
    show_default=True,
    help="Who gives the cues: the coach, from the act before, or a sound file, from the first act.",
)
@click.option("--figure", type=click.Path(path_type=Path), help="Draw it too: a file ending in .svg or .png.")
@click.option("--narrow", is_flag=True, help="Draw it for a phone of 360 px.")
@folder_option
@json_option
def odds_command(
    routine: str,
    cv: float,
    event_sd: float,
    person: Person | Learned | None,
    cued: tuple[str, ...],
    cue_from: str,
    figure: Path | None,
    narrow: bool,
    folder: Path | None,
    as_json: bool,
) -> None:
    """Odds of a clean run, the weak step, and what cues gain.

    None for a routine on the road or with counted time: a log shows that, nobody times it by feel.
    """
    if figure is not None and figure.suffix.lower() not in (".svg", ".png"):
        raise click.BadParameter(f"“{figure}” ends neither in .svg nor in .png", param_hint="--figure")
    counted: CueFrom = "last act" if cue_from == "coach" else "schedule"
    given = click.get_current_context().get_parameter_source
    if person is not None and any(given(name) is ParameterSource.COMMANDLINE for name in ("cv", "event_sd")):
        raise click.UsageError("--cv and --event-sd are figures of somebody; leave them out with --person")
    who, people = (Person(cv=cv, event_sd=event_sd), []) if person is None else (one_of(person), people_of(person))
    compiled = compile_routine(load_routine(routine, folder))
    inputs = {"routine": routine, "cv": who.cv, "event_sd": who.cued_sd, "cue": list(cued), "cue_from": cue_from}
    none = no_odds(compiled)
    if none is not None:
        if figure is not None:
            raise InputError(f"nothing is drawn: {none.reason}", way_out=none.way_out)
        if as_json:
            print_json("routine odds", none, inputs, ())
        else:
            print_lines([Line("title", compiled.title), Line("text", f"Cannot tell: {none.reason}. {none.way_out}")])
        return
    found = odds_of(compiled, who, cued, people=people, cue_from=counted)
    if figure is not None:
        draw(found, figure, narrow)
    if as_json:
        print_json("routine odds", found, inputs, RESTS)
        return
    print_lines(odds_lines(found))
    if figure is not None:
        print_lines([Line("soft", f"Drawn: {figure}")])


def draw(found: RoutineOdds, figure: Path, narrow: bool = False) -> None:
    """Write the picture of the odds.

    Raises: InputError if the file cannot be written.
    """
    from tickover.routines.odds_picture import PHONE, WIDE, odds_picture  # few ask for a picture

    write_figure(odds_picture(found, PHONE if narrow else WIDE), figure)
