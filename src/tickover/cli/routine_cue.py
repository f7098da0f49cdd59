"""The ``routine cue`` command: a routine as sound files, to be done without looking."""

from __future__ import annotations

from pathlib import Path

import click

from tickover.cli.routine_made import made_options, written_to
from tickover.cues.render import write_wav
from tickover.cues.track import Part, Track, cue_track
from tickover.cues.voice import WAY_IN, find_voice
from tickover.results import envelope
from tickover.routines import Switch, compile_routine, load_routine
from tickover.routines.aiming import aims_for

HOW_TO = "how-to-play.txt"


@click.command("cue")
@made_options(
    "Folder for the sound files; by default ID-cue here.",
    as_json="Print the schedule as JSON; writes files only with --out.",
)
@click.option("--tones-only", is_flag=True, help="No spoken words, even where speech is installed.")
def cue_command(
    routine: str, out: Path | None, switch: Switch, folder: Path | None, tones_only: bool, as_json: bool
) -> None:
    """Write ROUTINE as sound files: pips, then the act, eyes-free."""
    compiled = compile_routine(load_routine(routine, folder), switch)
    voice = None if tones_only else find_voice()
    found = aims_for(compiled, "sound file")
    track = cue_track(compiled, aims=found, speak=voice.seconds if voice else None)
    place = out if out is not None else None if as_json else Path(f"{compiled.id}-cue")
    if place is not None:
        with written_to(place, "Name a folder with --out."):
            place.mkdir(parents=True, exist_ok=True)
            for part in track.parts:
                write_wav(place / file_name(part), part, voice.samples if voice else None)
            (place / HOW_TO).write_text(how_to(track), encoding="utf-8")
    if as_json:
        click.echo(
            envelope("routine cue", track, inputs={"routine": routine, "switch": switch}).model_dump_json(indent=2)
        )
        return
    click.echo(how_to(track), nl=False)
    if voice is None and not tones_only:
        click.echo(f"Tones only. {WAY_IN}")
    click.echo(f"Written to {place}.")


def file_name(part: Part) -> str:
    """The file of a part: its number, and when to play it.

    Example: ``2-the-moment-the-lamp-stays-lit.wav``.
    """
    words = "".join(c if c.isalnum() else "-" for c in part.when)
    return f"{part.number}-{words}.wav"


def how_to(track: Track) -> str:
    """How to play a track, in lines: which file when, what to know, what each sound means."""
    lines = [f"{track.routine}: how to play it", ""]
    lines += [f"{file_name(p)}  {p.length:.0f} s. Play it {p.when}." for p in track.parts]
    lines += ["", *track.notes] if track.notes else []
    lines += ["", "The beginning of a sound is the moment. Use the phone’s own speaker: wireless ones lag.", ""]
    lines += [f"- {meaning}" for meaning in track.legend.values()]
    return "\n".join(lines) + "\n"
