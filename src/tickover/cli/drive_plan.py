"""``tickover drive plan``: the shortest confirmation drive, as text and as a routine."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click
from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from tickover.cli.drive import names_of, say_list
from tickover.cli.job_store import by_option, job_option, kept_line, opened, store_option
from tickover.cli.job_store import now as time_now
from tickover.drive import (
    DrivePlan,
    Situation,
    load_conditions,
    load_roads,
    plan_drive,
    plan_toml,
    road_names,
)
from tickover.drive.roads import Traffic
from tickover.drive.words import mmss
from tickover.drive.words import names as listed
from tickover.errors import InputError
from tickover.jobs import Entry
from tickover.results import envelope
from tickover.routines import parse_routine
from tickover.routines.reading import near
from tickover.visit.ready_drafts import open_monitors, plan_draft


@click.command("plan")
@click.option(
    "--open",
    "open_",
    metavar="MONITORS",
    help="What is open, like catalyst,evap,general; with --job as last read in the job.",
)
@click.option("--coolant", type=click.FloatRange(-40, 150), help="Coolant now [°C].")
@click.option("--fuel", type=click.FloatRange(0, 100), help="Fuel level [%].")
@click.option("--ambient", type=click.FloatRange(-60, 60), help="Outside air [°C].")
@click.option("--soaked", type=click.FloatRange(0, 1000), help="How long the engine has stood [h].")
@click.option("--roads", metavar="NAMES", help="Roads at hand, like town,country; all where not said.")
@click.option("--limit", type=click.FloatRange(20, 130), default=130, show_default=True, help="Legal limit [km/h].")
@click.option(
    "--traffic", type=click.Choice(["light", "heavy"]), default="light", show_default=True, help="Traffic on the way."
)
@click.option(
    "--now",
    type=click.DateTime(["%Y-%m-%dT%H:%M", "%H:%M"]),
    metavar="TIME",
    help="The time, like 2026-12-01T08:30 or 08:30; else the clock's.",
)
@click.option("--diesel", is_flag=True, help="The engine is a diesel.")
@click.option("--conditions", "own", type=click.Path(path_type=Path), help="Your car's own conditions, FILE.toml.")
@click.option("--toml", "toml_file", type=click.Path(path_type=Path), help="Write the plan as a routine, FILE.toml.")
@job_option
@by_option
@store_option
@click.option("--json", "as_json", is_flag=True, help="Print the plan for programs.")
def plan_command(
    open_: str | None,
    coolant: float | None,
    fuel: float | None,
    ambient: float | None,
    soaked: float | None,
    roads: str | None,
    limit: float,
    traffic: Traffic,
    now: datetime | None,
    diesel: bool,
    own: Path | None,
    toml_file: Path | None,
    job: int | None,
    by: str,
    store: str | None,
    as_json: bool,
) -> None:
    """The shortest drive that holds what the open monitors wait for.

    Within the legal limit and the traffic; what cannot be done is said, not planned. With --toml it becomes a routine
    that `tickover routine card`, `cue` and `phone` and the coach take.
    """
    names = names_of(roads)
    for name in names:
        if name not in road_names():
            raise InputError(f"no road is called “{name}”", way_out=near(name, road_names()))
    conditions = load_conditions(own).for_engine(diesel=diesel)
    at_hand = load_roads(names or None, limit=limit, traffic=traffic)
    situation = Situation(
        open=names_of(open_) if open_ is not None else _open_in(store, job),
        coolant=coolant,
        fuel=fuel,
        ambient=ambient,
        soaked=soaked,
        now=now if now is not None else datetime.now(),
        limit=limit,
        traffic=traffic,
    )
    plan = plan_drive(conditions, situation, at_hand)
    text = plan_toml(plan, conditions, situation, at_hand) if plan.legs or toml_file is not None else ""
    if toml_file is not None:
        parse_routine(text, str(toml_file))  # a file that could not be coached is not written
        try:
            toml_file.write_text(text, encoding="utf-8")
        except OSError as why:
            raise InputError(
                f"cannot be written: {why.strerror}", file=str(toml_file), way_out="Name a file you may write."
            ) from None
    kept = _keep(store, job, plan, text, by)
    if as_json:
        inputs = {
            "open": list(situation.open), "coolant": coolant, "fuel": fuel, "ambient": ambient, "soaked": soaked,
            "roads": list(at_hand.roads), "limit": limit, "traffic": traffic, "diesel": diesel,
        }  # fmt: skip
        click.echo(envelope("drive plan", plan, inputs=inputs, rests_on=plan.rests_on).model_dump_json(indent=2))
        return
    say_plan(Console(highlight=False), plan, toml_file)
    if kept:
        click.echo(f"\n{kept_line(job, kept)} Next: tickover job next {job}")


def _keep(store: str | None, job: int | None, plan: DrivePlan, text: str, by: str) -> tuple[Entry, ...]:
    """Keep the plan in the job, with the routine that it is, so that the pages can make card and phone file of it."""
    if job is None:
        return ()
    draft = plan_draft(plan)
    with opened(store, create=False) as held:
        file = [held.attach(text.encode(), name="drive-plan.toml", media_type="application/toml")] if text else []
        entry = held.add(
            job, stage=draft.stage, kind=draft.kind, data=draft.data, at=time_now(), by=by, attachments=file
        )
    return (entry,)


def _open_in(store: str | None, job: int | None) -> tuple[str, ...]:
    """The open monitors as the job has them."""
    if job is None:
        raise InputError("nothing says which monitors are open", way_out="Give --open catalyst,evap, or --job N.")
    with opened(store, create=False, read_only=True) as held:
        found = open_monitors(held.current(job))
    if found is None:
        raise InputError(
            f"job {job} holds no readiness yet, so nothing says which monitors are open",
            way_out=f"Read it first: tickover ready check … --job {job}; or give --open catalyst,evap.",
        )
    return found


def say_plan(console: Console, plan: DrivePlan, toml_file: Path | None) -> None:
    """When, how long, the steps in order, what is refused, what it rests on."""
    console.rule(style="dim", characters="━")
    if plan.legs:
        begin = f", {plan.not_before}" if plan.not_before else ""
        console.print(Text(f" Confirmation drive, about {plan.minutes:.0f} min{begin}", style="bold"))
        cold = "; start cold" if plan.cold or plan.wait_hours > 0 else ""
        console.print(Padding(Text(f"For {listed(plan.titles)}{cold}."), (0, 3)))
        if plan.not_before:
            console.print(Padding("The engine must stand until then: these monitors want a cold start.", (0, 3)))
    else:
        console.print(Text(" No drive to plan", style="bold"))
    console.rule(style="dim", characters="━")
    console.print(Padding(
        "The driver only listens. A passenger works the coach; legal limits and traffic come first. Lamp flashing, "
        "overheating, oil lamp or a smell of fuel: lift, stop, do not continue.", (0, 3, 1, 3),
    ))  # fmt: skip
    for number, leg in enumerate(plan.legs, 1):
        console.print(Padding(Text(f"{number}  {leg.words}"), (0, 1)))
        on_way = f"the way there about {mmss(leg.approach)}; " if leg.approach else ""
        serves = f" For: {', '.join(leg.serves)}." if leg.serves else ""
        tail = f"{on_way}in all about {mmss(leg.takes)}.{serves}"
        console.print(Padding(Text(f"{tail[:1].upper()}{tail[1:]}", style="dim"), (0, 4)))
        if leg.act == "coast":
            console.print(Padding(Text("Overrun slows without brake lights: look behind first.", style="bold"), (0, 4)))
    if plan.running:
        console.print(Padding(Text(f"   Engine off no sooner than {mmss(plan.running)} after the start."), (0, 1)))
    console.print()
    say_list(console, [("make sure", n) for n in plan.needs])
    for refused in plan.refused:
        say_list(console, [(f"┄ {refused.title}", f"Not in this plan: {refused.why.reason}. {refused.why.way_out}")])
    say_list(console, [("rests on", r) for r in plan.rests_on])
    if toml_file is not None:
        console.print(f"\nWritten: {toml_file}. Then: tickover routine card|cue|phone {toml_file}", markup=False,
                      soft_wrap=True)  # fmt: skip
