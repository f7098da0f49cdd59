"""Laws on generated files: what is valid compiles, keeps every bound it states, and keeps its digest in any layout."""

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tickover.errors import RoutineFileError
from tickover.routines import compile_routine, parse_routine
from tickover.routines.grammar import BOUND, HEAD, STEP
from tickover.routines.report import times_of
from tickover.timing import Network, aims, check_controllable

TIMES = st.integers(1, 400).map(lambda n: n / 10)


def about(draw):
    value = draw(TIMES)
    give = draw(st.integers(1, round(value * 10))) / 10
    return {"about": value, "give": give}, (value - give, value + give)


def between(draw):
    lo, width = draw(TIMES), draw(TIMES)
    return {"between": [lo, round(lo + width, 1)]}, (lo, lo + width)


def at_least(draw):
    value = draw(TIMES)
    return {"at_least": value} | ({"aim_by": draw(TIMES)} if draw(st.booleans()) else {}), (value, math.inf)


def at_most(draw):
    value = draw(TIMES)
    return {"at_most": value}, (0.0, value)


BOUNDS = (about, between, at_least, at_most)


@st.composite
def routines(draw):
    """Rows of a valid routine, and for each row what its bound says: (after, lo, hi)."""
    rows, stated = [{"id": "s0", "do": "ignition on"}], {}
    pedal, down_at, acts = "up", None, ["s0"]
    for n in range(1, draw(st.integers(2, 9))):
        name = f"s{n}"
        kinds = ["lamp", "release"] if pedal == "down" else ["lamp", "press", "presses"]
        kind = draw(st.sampled_from(kinds))
        after = rows[-1]["id"]
        row, window = draw(st.sampled_from(BOUNDS))(draw)
        if kind == "lamp":
            row, window = between(draw)
            row |= {"lamp": draw(st.sampled_from(["lit", "flashing", "off"])), "if_none": "stop"}
        else:
            if draw(st.integers(0, 3)) == 0:  # counted from any earlier act, so that nothing can contradict it
                after = draw(st.sampled_from(acts))
                row, window = at_least(draw)
            if kind == "release" and (window[0] < 0.25 or after != down_at):  # the press must last 0.25 s
                row, window = at_least(draw)
                row["at_least"] = window[0] + 0.3
                window = (window[0] + 0.3, math.inf)
            row |= {"do": "press" if kind == "presses" else kind}
            acts.append(name)
        if kind == "presses":
            times = draw(st.integers(2, 4))
            row |= {"times": times, "press": {"between": [0.25, 0.9]}, "gap": {"between": [0.12, 0.9]}}
            row["span"] = {"at_most": round(times * 0.4 + times * 0.3, 2)}
        pedal = {"press": "down", "release": "up"}.get(kind, pedal)
        down_at = name if kind == "press" else down_at
        rows.append({"id": name, "after": after} | row)
        stated[name] = (after, *window)
    if pedal == "down":
        rows.append({"id": "last", "do": "release", "after": down_at, "at_least": 1.0})
        stated["last"] = (down_at, 1.0, math.inf)
    return rows, stated


def value_text(value):
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, list):
        return f"[{', '.join(map(value_text, value))}]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {value_text(v)}" for k, v in value.items()) + " }"
    return repr(value)


TOP = 'id = "a"\ntitle = "A"\nkind = "relearn"\ndisturbs = 2\nmay_erase = false\nbasis = { kind = "common practice" }\n'


def inline(rows):
    return TOP + "steps = [\n" + "".join(f"  {value_text(r)},\n" for r in rows) + "]\n"


def tables(rows):
    parts = ["[[steps]]\n# note\n" + "".join(f"{k} = {value_text(v)}\n" for k, v in reversed(r.items())) for r in rows]
    return TOP + "\n".join(parts)


@given(routines())
@settings(max_examples=80, deadline=None)
def test_valid_files_compile_and_keep_every_bound_they_state(made):
    rows, stated = made
    c = compile_routine(parse_routine(inline(rows)))
    network = Network.of(c.plan())
    steps = {s.id: s for s in c.steps}
    for name, (after, lo, hi) in stated.items():
        seen = network.window(steps[after].events[-1], steps[name].events[0])
        assert lo - 1e-6 <= seen[0] <= seen[1] <= hi + 1e-6
    acts = [e.name for e in c.events if not e.answer]
    for a, b in itertools.pairwise(acts):
        assert network.window(a, b)[0] >= -1e-9
    for step in c.steps:
        if step.kind == "press" and len(step.events) > 1:
            for down, up in zip(step.events[::2], step.events[1::2], strict=True):
                assert network.window(down, up)[0] >= 0.25 - 1e-9
    check_controllable(c.plan())
    assert times_of(c).lo >= 0


@given(routines())
@settings(max_examples=40, deadline=None)
def test_aims_of_a_generated_file_lie_inside_its_windows(made):
    rows, _ = made
    c = compile_routine(parse_routine(inline(rows)))
    for window, step in zip(times_of(c).windows, c.steps, strict=True):
        if window.aim is None:
            assert step.answer or not window.after or step.events[0] in aims(c.plan())
            continue
        assert window.lo - 1e-6 <= window.aim
        assert window.hi is None or window.aim <= window.hi + 1e-6


@given(routines())
@settings(max_examples=40, deadline=None)
def test_the_same_routine_in_another_layout_is_the_same(made):
    rows, _ = made
    one, two = parse_routine(inline(rows)), parse_routine(tables(rows))
    assert [s.id for s in one.steps] == [s.id for s in two.steps]
    assert compile_routine(one).digest == compile_routine(two).digest
    assert compile_routine(one) == compile_routine(two)


@given(routines(), st.data())
@settings(max_examples=60, deadline=None)
def test_one_spoilt_row_is_reported_in_its_own_line(made, data):
    rows, _ = made
    number = data.draw(st.integers(1, len(rows) - 1))
    spoilt = [dict(r) for r in rows]
    if data.draw(st.booleans()):
        for key in BOUND:
            spoilt[number].pop(key.name, None)
    else:
        spoilt[number]["giv"] = 1
    with pytest.raises(RoutineFileError) as caught:
        parse_routine(inline(spoilt))
    line = TOP.count("\n") + 2 + number
    assert [(f.line, f.step) for f in caught.value.faults] == [(line, spoilt[number]["id"])]
    assert all(f.way_out for f in caught.value.faults)


SCALARS = st.sampled_from(["", "on", "press", "ignition on"])
INNER = st.sampled_from(["id", "do", "about"])
JUNK = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(-5, 5), st.floats(), SCALARS),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(INNER, inner, max_size=2),
    max_leaves=4,
)
KEYS = st.sampled_from([key.name for key in (*HEAD, *STEP)] + ["cycle", "wait"])


def junk_text(value):
    if value is None:
        return "1979-05-27"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return "nan" if math.isnan(value) else "inf" if math.isinf(value) else repr(value)
    if isinstance(value, list):
        return f"[{', '.join(map(junk_text, value))}]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {junk_text(v)}" for k, v in value.items()) + " }"
    return value_text(value)


@given(st.dictionaries(KEYS, JUNK, max_size=4), st.lists(st.dictionaries(KEYS, JUNK, max_size=5), max_size=3))
@settings(max_examples=200, deadline=None)
def test_nonsense_is_refused_with_faults_and_never_with_a_crash(head, rows):
    head.pop("steps", None)
    text = "".join(f"{k} = {junk_text(v)}\n" for k, v in head.items())
    text += "steps = [" + ", ".join(junk_text(r) for r in rows) + "]\n"
    with pytest.raises(RoutineFileError) as caught:
        parse_routine(text)
    assert caught.value.faults
    assert all(f.what for f in caught.value.faults)
