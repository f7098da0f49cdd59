"""The next step for this car: the stage that is due, one sentence, and what to type."""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable, Sequence

from tickover.jobs.entries import Entry, Stage, current
from tickover.results import Result
from tickover.visit.rules import EFFECTIVE, Known, attempts_of, may_try, since_repair, stop_signs
from tickover.visit.rungs import ladder_rungs, next_rung, with_ladder
from tickover.visit.stages import next_stage
from tickover.visit.watching import Ordered, forbidden, ordered, watch_command, watched

_NOTE = re.compile(r"\s*\([^()]*\)$")
"""What an option says in brackets behind itself, of its unit."""


class NextStep(Result):
    """What to do now.

    Attributes:
        stage: which is due; None after the hand-over.
        sentence: what to do and why, in one sentence or two.
        command: what to type; words in capitals are the user's: a file, an outcome, a few words. Empty where there is
            nothing to type.
        short: the same for a button: the stage, or what to do in it.
        test: name of the test that Cause wants next; empty for none.
        act: what to do for that test, or what to mend.
        outcomes: names that the outcome of that test can have; empty where it is a number.
        cautions: at that test or mending.
    """

    stage: Stage | None
    sentence: str
    command: str = ""
    short: str = ""
    test: str = ""
    act: str = ""
    outcomes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


def next_step(
    entries: Sequence[Entry],
    job: str | int | None = None,
    about: Known | None = None,
    option_of: Callable[[str], str] = lambda _test: "",
) -> NextStep:
    """The next step of a job.

    Args:
        entries: the job so far, ``seq`` rising; corrections are applied here.
        job: its number, for the command; None leaves it out.
        about: what the library says of routines (``known``).
        option_of: test to the option of ``tickover cause`` that takes its outcome, where the answer of Cause does not
            say; empty for none.
    Returns: the stage that is due, with its sentence and its command.
    Example: with nothing recorded: Arrive, and ``tickover arrive --job 12``.
    """
    now = current(entries)
    about = with_ladder(now, about or Known())
    due = next_stage(now, about)
    if due is None:
        return _over(now, job)
    told = ordered(now)
    if due.stage == "cause" and told is not None:
        return _as_cause_says(told, job, told.option or option_of(told.test))
    ways: dict[Stage, Callable[[], tuple[str, str]]] = {
        "arrive": lambda: _arrive(now),
        "before": lambda: (
            "Record a minute of warm idle, before anything is changed, and measure it.",
            "tickover idle LOG",
        ),
        "set up": lambda: _set_up(now, about),
        "relearn": lambda: _relearn(now, about, due.line),
        "after": lambda: (
            f"{due.line[0].upper()}{due.line[1:]}, warm and without loads, to compare it with the one before.",
            "tickover idle LOG",
        ),
        "cause": lambda: (f"{due.line[0].upper()}{due.line[1:]}. Whatever is mended then is written down as a repair, "
                          "and leads back to Relearn.", "tickover cause"),
        "drive": lambda: _drive(now, due.line),
        "ready": lambda: (f"{_mend_first(now)}Read what the car reports, or type it, to tell whether it would be "
                          "ready.", "tickover ready"),
        "hand over": lambda: (_hand_over(now), "tickover job handover"),
    }  # fmt: skip
    sentence, command = ways[due.stage]()
    return NextStep(stage=due.stage, sentence=sentence, command=_for_job(command, job), short=due.stage)


def _as_cause_says(told: Ordered, job: str | int | None, given: str) -> NextStep:
    """The next test with the way to tell its outcome, or what to mend with the way to write it down."""
    begin = "tickover cause" if job is None else f"tickover cause --job {job}"
    if not told.test:
        add = f"tickover job add {job if job is not None else 'JOB'} --stage cause --kind repair --data text=WHAT"
        return NextStep(
            stage="cause",
            sentence=f"{told.act}. Once that is done, write it down as a repair: it leads back to Relearn. Where it is "
            "not to be done, leave Cause out with the reason.",
            command=add,
            short="mend it, then write down the repair" if told.mends else "do it, then write it down",
            act=told.act,
            cautions=told.cautions,
        )
    option, outcomes = _blanks(given)
    came = f" with what came of it: {', '.join(outcomes)}" if outcomes else " with what was read" if option else ""
    return NextStep(
        stage="cause",
        sentence=f"{told.act}; then Cause again{came}.",
        command=f"{begin} {option}".rstrip(),
        short="cause, the next test",
        test=told.test,
        act=told.act,
        outcomes=outcomes,
        cautions=told.cautions,
    )


def _blanks(option: str) -> tuple[str, tuple[str, ...]]:
    """An option with a word in capitals for what only the user knows, and the outcomes that it may be.

    Example: ``--test bore=clean|dirty`` gives ``--test bore=OUTCOME`` and clean, dirty.
    """
    parts: list[str] = []
    outcomes: tuple[str, ...] = ()
    for part in shlex.split(_NOTE.sub("", option)):
        name, equals, value = part.rpartition("=")
        if part.startswith("-"):
            parts.append(part)
        elif "|" in value:
            outcomes = tuple(value.split("|"))
            parts.append(shlex.quote(f"{name}{equals}OUTCOME"))
        else:
            blank = {"N": "NUMBER", "FILE": "FILE"}.get(value, "READING")
            parts.append(shlex.quote(f"{name}{equals}{blank}"))
    return " ".join(parts), outcomes


def _over(entries: Sequence[Entry], job: str | int | None) -> NextStep:
    """After the hand-over: nothing, or the next drive of a watch that is not decided."""
    watching = watched(entries)
    if not watching:
        return NextStep(
            stage=None,
            sentence="Handed over. If it comes back, write it down as a relapse; the job then goes on at Cause.",
        )
    sentence = f"Handed over, and watched: {_lower(watching)} After another drive put its row into the table."
    return NextStep(stage=None, sentence=sentence, command=_for_job(watch_command(entries), job))


def _lower(sentence: str) -> str:
    return sentence if sentence.startswith("Cause") else sentence[0].lower() + sentence[1:]


def _mend_first(entries: Sequence[Entry]) -> str:
    """What stands before all else as long as Cause advises against a relearn and nothing was mended."""
    against = forbidden(entries)
    return f"{against} " if against else ""


def _for_job(command: str, job: str | int | None) -> str:
    if not command or job is None:
        return command
    return f"{command} {job}" if command.startswith("tickover job ") else f"{command} --job {job}"


def _arrive(entries: Sequence[Entry]) -> tuple[str, str]:
    stops = stop_signs(entries)
    if stops:
        told = next((e for e in reversed(entries) if e.kind == "story" and e.stage == "arrive"), None)
        what = str(told.data.get("sentence") or "; ".join(stops)) if told is not None else "; ".join(stops)
        return f"{what.rstrip('.')}. Mend it, then arrive again.", "tickover arrive"
    return "Tell the car, the complaint and what happened before.", "tickover arrive"


def _set_up(entries: Sequence[Entry], about: Known) -> tuple[str, str]:
    rung = next_rung(entries, about)
    named = f" for: {rung['title']}" if rung is not None and rung.get("title") else ""
    return (
        f"See to the needs{named}. Warm, loads off, wheels straight, charger on before the ignition where it is weak.",
        "tickover arrive --set-up",
    )


def _relearn(entries: Sequence[Entry], about: Known, line: str) -> tuple[str, str]:
    rung = next_rung(entries, about)
    if rung is None:
        if ladder_rungs(entries) is not None:
            return _refused(entries, about)
        tried = [str(e.data.get("routine")) for e in attempts_of(since_repair(entries))]
        if tried and may_try(entries, tried[-1], preparing=about.preparing, erasing=about.erasing).allowed:
            return f"{line[0].upper()}{line[1:]}.", f"tickover coach {tried[-1]}"
        return "Choose a routine; no ladder is recorded for this car.", "tickover arrive"
    answer = may_try(entries, str(rung["routine"]), preparing=about.preparing, erasing=about.erasing)
    title = str(rung.get("title") or rung["routine"])
    before = f"{line[0].upper()}{line[1:]}. " if line.startswith(("one correct", "Cause says")) else ""
    command = str(rung.get("command") or f"tickover coach {rung['routine']}")
    return f"{before}{title}. {answer.why}", command


def _refused(entries: Sequence[Entry], about: Known) -> tuple[str, str]:
    """Why no rung of the ladder may be done now, and the way on."""
    for rung in ladder_rungs(entries) or ():
        if rung.get("sort") == "routine" and rung.get("routine"):
            answer = may_try(entries, str(rung["routine"]), preparing=about.preparing, erasing=about.erasing)
            if not answer.allowed:
                return f"{rung.get('title') or rung['routine']}: {answer.why}", "tickover arrive"
    return "No rung of the ladder can be done now. Arrive again, or leave Relearn out with a reason.", "tickover arrive"


def _drive(entries: Sequence[Entry], line: str) -> tuple[str, str]:
    watching = watched(entries)
    if watching:
        return (f"{watching} Drive it once more, read trim and spread at warm idle, put them into the table as a row, "
                "then watch again.", watch_command(entries))  # fmt: skip
    if line.startswith("drive the plan"):
        return "Drive the plan, record it, and see which stretches met their conditions.", "tickover drive check LOG"
    return "Plan the confirmation drive, within limits and traffic.", "tickover drive plan"


def _hand_over(entries: Sequence[Entry]) -> str:
    against = forbidden(entries)
    if against:
        return f"{against} Or print the sheet as it stands, and sign."
    verdict = next((e.data.get("verdict") for e in reversed(entries) if e.kind == "comparison"), None)
    if verdict in EFFECTIVE or verdict is None:
        return "Print the customer's sheet and the shop's record, and sign."
    return "It is not settled: the sheet says so. Print it and sign; or mend what was found, and write down the repair."
