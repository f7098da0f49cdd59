"""Readiness in words: one sentence and an ordered list, the same at every door."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from tickover.obd.results import (
    Codes,
    Decoded,
    Identity,
    InUse,
    MonitorResult,
    MonitorResults,
    MonitorStatus,
    Refusal,
    Supported,
    Values,
)
from tickover.readiness.forecast import percent
from tickover.readiness.results import Forecast, Verdict
from tickover.readiness.rulebook import Rule
from tickover.readiness.verdict import tag_words
from tickover.results import Quantity
from tickover.signals.vocabulary import VOCABULARY

Row = tuple[str, str]
"""A word in the margin, and what it says."""


def verdict_rows(found: Verdict) -> list[Row]:
    """What stands between, in order, then the rest."""
    rows = [(f"{n}.", one.what) for n, one in enumerate(found.between, 1)]
    clearing = found.clearing
    if clearing.word == "recently cleared":
        rows.append(("cleared", f"{clearing.sentence} {'; '.join(clearing.reasons)}."))
        rows.append(
            ("erasing", "Erasing again would open every monitor again: `tickover ready ask-erase` says why not.")
        )
    elif clearing.word == "not recently cleared" and found.open:
        rows.append(("cleared", clearing.sentence))
    elif clearing.reasons:
        rows.append(("cleared", f"{clearing.sentence} {'; '.join(clearing.reasons)}."))
    rows.append(("check", found.check))
    rows += [("note", note) for note in found.notes]
    rows += [("rests on", one) for one in found.rests_on]
    return rows


def forecast_rows(found: Forecast) -> list[Row]:
    """What helps, how fast each comes, what it rests on and cannot tell."""
    rows: list[Row] = []
    helpful = [one for one in found.helps if one.gain >= 0.005]
    now = found.chance.value if isinstance(found.chance, Quantity) else 0.0
    for n, one in enumerate(helpful, 1):
        lead = "Drive for this first" if n == 1 else "Then for this"
        turns = f"once complete, {percent(now)} % become {percent(one.chance)} %"
        rows.append((f"{n}.", f"{lead}: {one.monitor}; {turns}."))
    for rate in found.rates:
        q = rate.a_cycle
        spread = f"{q.lo or 0:.2f} to {q.hi or 1:.2f}"
        rows.append(("completes", f"{rate.monitor}: {q.value:.2f} times an ignition cycle ({spread}; {rate.basis})"))
    rows += [("rests on", one) for one in found.rests_on if not any(r.basis in one for r in found.rates)]
    rows += [("cannot tell", one) for one in found.cannot]
    rows.append(("check", "Check with the programme which monitors it counts."))
    return rows


def rule_rows(rule: Rule) -> list[Row]:
    """A rule, in the order a person asks."""
    rows: list[Row] = [("looks at", _KINDS[rule.kind])]
    rows += [("may be open", f"{_span(one.model_years)}{_of(one.fuels)}: {one.words}") for one in rule.limits]
    if rule.limits and not rule.counts_continuous:
        rows.append(("", "misfire, fuel system and components are not counted"))
    if (part := rule.permanent_codes) is not None:
        rows.append(
            (
                "permanent",
                f"model year {part.first_model_year} on, since {part.in_force_from}: a permanent code turns away, "
                f"unless {part.unless_warm_ups} warm-ups and {part.unless_miles:g} miles since the last clear are "
                "both reached",
            )
        )
    rows += [("change", f"{one.says} Basis: {one.basis}.") for one in rule.changes]
    if rule.in_force_from is not None:
        rows.append(("in force", f"from {rule.in_force_from}"))
    rows.append(("source", f"{rule.source} ({tag_words(rule.tag)})"))
    rows.append(("check", f"Check with the programme. {rule.check_with}"))
    return rows


_KINDS = {
    "none": "nothing",
    "lamp only": "the engine lamp",
    "lamp and tailpipe": "the engine lamp, and CO and λ at the tailpipe",
    "count": "the engine lamp, and how many monitors are open",
    "all complete": "the engine lamp, and that every monitor is complete",
}


def _span(years: Sequence[int]) -> str:
    return f"{years[0]} to {years[1]}" if len(years) == 2 else f"{years[0]} on"


def _of(fuels: Iterable[str]) -> str:
    named = ", ".join(fuels)
    return f", {named}" if named else ""


def decoded_rows(answers: Iterable[Decoded]) -> list[Row]:
    """Every answer, in words; the controller's address in the margin."""
    rows: list[Row] = []
    for one in answers:
        rows += [(one.ecu, text) for text in _sentences(one)]
    return rows


def _sentences(one: Decoded) -> list[str]:
    answer = one.answer
    if isinstance(answer, MonitorStatus):
        return [status_sentence(answer)]
    if isinstance(answer, Values):
        return [_value(v.name, v.value, v.unit, v.words) for v in answer.values]
    if isinstance(answer, Codes):
        return [f"{answer.of} codes: {', '.join(answer.codes) or 'none'}"]
    if isinstance(answer, MonitorResults):
        return [_result(r) for r in answer.results]
    if isinstance(answer, InUse):
        return _in_use(answer)
    if isinstance(answer, Identity):
        return [f"{answer.of}: {', '.join(answer.texts)}", *answer.notes]
    if isinstance(answer, Supported):
        return [f"service {answer.service:02X} answers to {' '.join(f'{n:02X}' for n in answer.numbers) or 'nothing'}"]
    assert isinstance(answer, Refusal)
    return [f"refused service {answer.service:02X}: {answer.words}"]


def status_sentence(status: MonitorStatus) -> str:
    """Lamp, codes and what is open, in one sentence."""
    opened = [m.name for m in status.open]
    done = len(status.monitors) - len(opened)
    since = "since the last clear" if status.pid == 0x01 else "in this driving cycle"
    still = f"still open {since}: {', '.join(opened)}" if opened else f"nothing open {since}"
    lamp = ""
    if status.lamp is not None:
        codes = status.stored or 0
        lamp = f"lamp {'asked for' if status.lamp else 'dark'}, {codes} code{'' if codes == 1 else 's'} stored; "
    return f"{lamp}{still}; {done} complete ({status.ignition} ignition)"


def _value(name: str, value: float | None, unit: str, words: str) -> str:
    label = VOCABULARY[name].label if name in VOCABULARY else name.replace("_", " ")
    if value is None:
        return f"{label}: {words}"
    if unit == "code":
        return f"{label}: {words or f'{value:.0f}'}"
    return f"{label}: {value:g}" + ("" if unit == "count" else f" {unit}")


def _result(r: MonitorResult) -> str:
    if r.state == "not run":
        return f"{r.monitor}, {r.test}: not run since the last clear"
    if r.value is None:
        value, lo, hi = r.raw
        return f"{r.monitor}, {r.test}: {value} as sent, limits {lo} to {hi}, {r.state} (scaling {r.uas:02X} not known)"
    return f"{r.monitor}, {r.test}: {r.value:g} {r.unit}, limits {r.lo:g} to {r.hi:g}, {r.state}".replace(" ,", ",")


def _in_use(answer: InUse) -> list[str]:
    counters = answer.counters
    found = [f"{counters['IGNCNTR']} ignition cycles, {counters['OBDCOND']} that met the general conditions"]
    for name, count in counters.items():
        if "COMP" not in name:
            continue
        met = counters[name.replace("COMP", "COND")]
        if count or met:
            ratio = f", ratio {count / met:.3f}" if met else ""
            found.append(f"{name}: {count} completed in {met} that met its conditions{ratio}")
    return found
