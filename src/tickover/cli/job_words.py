"""How jobs, entries and checks read on a terminal. What came from elsewhere is printed without its control letters."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from tickover.jobs import PURGED, WITHDRAWN, Entry, JobSummary, StoreVerification, Verification
from tickover.visit import NextStep

NO_JOBS = 'No jobs yet. Begin one: tickover job new --car year=2009 --car fuel=petrol --car complaint="idles high"'


def console() -> Console:
    """Where to print; nothing is coloured by itself."""
    return Console(highlight=False, soft_wrap=False)


def clean(text: object) -> str:
    """Text from a record that a terminal cannot be commanded with."""
    return "".join(c if c.isprintable() or c == "\n" else "\N{REPLACEMENT CHARACTER}" for c in str(text))


def count(n: int, one: str, many: str) -> str:
    """``1 entry``, ``2 entries``."""
    return f"{n} {one if n == 1 else many}"


def when(at: str) -> str:
    """A stored time as people read it: day and minute, its own offset left out."""
    return clean(at[:16].replace("T", " "))


def car_words(car: Mapping[str, Any]) -> str:
    """A car in a few words: year, fuel, size, cylinders."""
    parts = [str(car[k]) for k in ("year", "fuel") if car.get(k)]
    if car.get("displacement_l"):
        parts.append(f"{car['displacement_l']} l")
    if car.get("cylinders"):
        parts.append(f"{car['cylinders']} cylinders")
    return clean(" ".join(parts[:2]) + (", " if parts[:2] and parts[2:] else "") + ", ".join(parts[2:]))


def complaint_of(car: Mapping[str, Any]) -> str:
    """The complaint, which may be one text or several."""
    said = car.get("complaint", "")
    return clean(", ".join(map(str, said)) if isinstance(said, list) else said)


def entry_words(entry: Entry) -> str:
    """One line for an entry: its own sentence, else its first values."""
    data = entry.data
    if entry.kind == PURGED:
        return "erased on request: " + ", ".join(f"{f['field']} of entry {f['entry']}" for f in data.get("fields", []))
    if entry.kind == "car":
        return "; ".join(p for p in (car_words(data), complaint_of(data)) if p)
    for key in ("sentence", "text", "note", "reason"):
        if isinstance(data.get(key), str) and data[key]:
            return clean(data[key]) + (_advice(data) if entry.kind == "causes" else "")
    pairs = [f"{k} {v}" for k, v in data.items() if isinstance(v, str | int | float) and not isinstance(v, bool)]
    return clean(", ".join(pairs[:4]))


def _advice(data: Mapping[str, Any]) -> str:
    """What Cause advised, with why."""
    advice, because = data.get("advice_says") or data.get("advice"), str(data.get("advice_because") or "").strip()
    return clean(f" {str(advice).capitalize()}: {because}".rstrip(": ")) if advice else ""


def say_jobs(out: Console, jobs: Sequence[JobSummary]) -> None:
    """The list of jobs, the newest first."""
    table = Table(box=None, pad_edge=False, padding=(0, 2), header_style="dim")
    for head in ("job", "begun", "car", "complaint", "entries", "last"):
        table.add_column(head, justify="right" if head in {"job", "entries"} else "left", no_wrap=head == "job")
    for job in reversed(jobs):
        car = car_words(job.car) or "not said"
        table.add_row(
            Text(str(job.job), style="bold"),
            when(job.at),
            Text(car + (" (simulated)" if job.simulated else "")),
            Text(complaint_of(job.car)),
            str(job.entries),
            Text(clean(f"{job.last_stage}: {job.last_kind}")),
        )
    out.print(table)


def say_job(
    out: Console, job: int, entries: Sequence[Entry], personal: Mapping[str, str], step: NextStep | None = None
) -> None:
    """One job: the car, who it belongs to, every entry in order, and what is due."""
    cars = [e for e in entries if e.kind == "car"]
    simulated = any(e.simulated for e in entries)
    out.print(Text.assemble((f"Job {job}", "bold"), ("  simulated" if simulated else "", "dim")))
    if cars and entry_words(cars[-1]):
        out.print(Padding(Text(entry_words(cars[-1])), (0, 2)))
    for name, value in personal.items():
        out.print(Padding(Text.assemble((f"{clean(name)}: ", "dim"), clean(value)), (0, 2)))
    follower: dict[int, Entry] = {}
    first = _first_of(entries)
    newest: dict[int, Entry] = {}
    for entry in entries:
        before = newest.get(first[entry.seq])
        if before is not None:
            follower[before.seq] = entry
        newest[first[entry.seq]] = entry
    table = Table.grid(padding=(0, 2))
    table.add_column(justify="right", no_wrap=True)
    table.add_column(no_wrap=True)
    table.add_column(no_wrap=True)
    table.add_column(overflow="fold")
    for entry in entries:
        after = follower.get(entry.seq)
        old = after is not None
        words = [entry_words(entry)]
        if entry.corrects is not None:
            words.append(f"{'takes back' if entry.kind == WITHDRAWN else 'corrects'} entry {entry.corrects}")
        words += [f"{_did(after)} by entry {after.seq}"] if after is not None else []
        words += [f"{clean(a.name) or 'attached'} [{a.digest[:12]}]" for a in entry.attachments]
        kind = "taken back" if entry.kind == WITHDRAWN else clean(entry.kind)
        table.add_row(
            Text(str(entry.seq), style="dim" if old else "bold"),
            Text(when(entry.at), style="dim"),
            Text(f"{entry.stage}: {kind}", style="dim" if old else ""),
            Text("\n".join(w for w in words if w) + (f"\n{clean(entry.by)}" if entry.by else ""), style="dim" * old),
        )
    out.print(Padding(table, (1, 0, 0, 0)))
    if entries:
        out.print(Text(f"\nhead {entries[-1].digest[:16]}", style="dim"))
    if step is not None:
        out.print(Text.assemble((f"\n{step_head(step)}. ", "bold"), clean(step.sentence)))
        for caution in step.cautions:
            out.print(Padding(Text.assemble(("Caution ", "bold"), clean(caution)), (0, 2)))
        if step.command:
            out.print(Text(f"  {step.command}"), soft_wrap=True)


def step_head(step: NextStep) -> str:
    """Which stage is due, in a few words."""
    if step.stage is None:
        return "Next: another drive" if step.command else "Nothing is due"
    short = step.short or step.stage
    return f"Next: {short[0].upper()}{short[1:]}"


def _first_of(entries: Sequence[Entry]) -> dict[int, int]:
    """Number of each entry to that of the entry which its chain of corrections began with."""
    first: dict[int, int] = {}
    for entry in entries:
        first[entry.seq] = entry.seq if entry.corrects is None else first.get(entry.corrects, entry.corrects)
    return first


def chain_of(entries: Sequence[Entry], seq: int) -> tuple[Entry, ...]:
    """An entry, with all that corrected it or that it corrects, in their order; the last one is what counts."""
    first = _first_of(entries)
    return tuple(e for e in entries if first[e.seq] == first.get(seq, seq))


def taken_back_by(entries: Sequence[Entry], seq: int) -> Entry | None:
    """The entry that took this one back, if it stands so now."""
    chain = chain_of(entries, seq)
    return chain[-1] if chain and chain[-1].kind == WITHDRAWN and chain[-1].seq != seq else None


def standing_words(entries: Sequence[Entry], seq: int) -> tuple[str, ...]:
    """Whether an entry counts as it is, and its chain of corrections; nothing where it was never corrected."""
    chain = chain_of(entries, seq)
    if len(chain) < 2:
        return ()
    place = next(i for i, e in enumerate(chain) if e.seq == seq)
    told = [f"Entry {chain[0].seq}", *(f"{_did(e)} by entry {e.seq}" for e in chain[1:])]
    lines = [", then ".join([", ".join(told[:2]), *told[2:]]) + "."]
    if place + 1 < len(chain):
        after = chain[place + 1]
        last = f"; entry {chain[-1].seq} is what stands now" if chain[-1] is not after else ""
        lines.insert(0, f"It no longer counts: {_did(after)} by entry {after.seq}{last}.")
    return tuple(lines)


def _did(entry: Entry) -> str:
    return "taken back" if entry.kind == WITHDRAWN else "corrected"


def say_entry(out: Console, entry: Entry, standing: Sequence[str] = ()) -> None:
    """One entry in full, and whether it still counts."""
    out.print(Text(f"Entry {entry.seq}, {entry.stage}: {clean(entry.kind)}", style="bold"))
    for line in standing:
        out.print(Padding(Text(line), (0, 2)))
    rows: list[tuple[str, str]] = [("at", when(entry.at)), ("by", clean(entry.by)), ("written by", entry.made_by)]
    rows += [("corrects", str(entry.corrects))] if entry.corrects else []
    rows += [("attached", f"{clean(a.name)}, {a.size} bytes, {a.digest}") for a in entry.attachments]
    rows += [("personal", f"{clean(name)}, kept apart") for name in entry.personal]
    rows += [("digest", entry.digest), ("before it", entry.previous)]
    table = Table.grid(padding=(0, 2))
    table.add_column(style="dim", no_wrap=True)
    table.add_column(overflow="fold")
    for name, value in rows:
        if value:
            table.add_row(name, Text(value))
    out.print(Padding(table, (0, 2)))
    out.print(Text(clean(json.dumps(entry.data, ensure_ascii=False, indent=2))))


def say_verification(out: Console, checked: Verification, *, whole: bool = True) -> None:
    """Whether a job holds, what does not, and what this cannot show."""
    entries = count(checked.entries, "entry", "entries")
    if checked.ok:
        out.print(Text.assemble((f"Job {checked.job} is as it was written", "bold"), f": {entries}."))
    else:
        out.print(Text(f"Job {checked.job} is NOT as it was written", style="bold"))
        for finding in checked.findings:
            out.print(Padding(Text(clean(finding.what)), (0, 2)))
    for label, fields in (("erased on request", checked.purged), ("left out when it came here", checked.withheld)):
        if fields:
            out.print(Padding(Text.assemble((f"{label}: ", "dim"), clean(", ".join(fields))), (0, 2)))
    if whole:
        out.print(Text.assemble(("  head ", "dim"), clean(checked.head)), soft_wrap=True)
        say_basis(out, checked)


def say_basis(out: Console, checked: Verification) -> None:
    """What the answer rests on, and what it cannot show."""
    table = Table.grid(padding=(0, 2))
    table.add_column(style="dim", no_wrap=True)
    table.add_column(overflow="fold")
    for line in checked.rests_on:
        table.add_row("rests on", Text(line))
    table.add_row("cannot show", Text(checked.cannot_show))
    out.print(Padding(table, (0, 2)))


def say_store(out: Console, checked: StoreVerification) -> None:
    """Every job in a line or more, then what belongs to none."""
    for job in checked.jobs:
        say_verification(out, job, whole=False)
    for finding in checked.findings:
        out.print(Text(clean(finding.what), style="bold"))
    if checked.jobs:
        say_basis(out, checked.jobs[0])
