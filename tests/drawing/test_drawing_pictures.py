import math
import xml.etree.ElementTree as ET
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tickover.drawing import marks
from tickover.drawing.curve import thinned
from tickover.drawing.line import Found, ruled_line
from tickover.drawing.timeline import Act, Caption, Timeline, Track, _instants, timeline
from tickover.drawing.timescale import CUT, time_scale
from tickover.drawing.tokens import Token
from tickover.drawing.trace import THICK, THIN, BeforeAfter, Reading, Series, before_after

STATES = (*marks.JUDGEMENTS, *marks.VERDICTS)


def in_grey(picture):
    """The picture as a printer without colour sees it: every token the same ink, ground and wash aside."""
    ground = (Token.CARD, Token.WASH)
    return "".join(n.render(lambda t: "#FFF" if t in ground else "#000") for n in picture.shapes)


def test_every_sign_differs_from_every_other_without_colour():
    drawn = {state: in_grey(marks.sign(state)) for state in STATES if state != "met"}
    for one, other in combinations(drawn, 2):
        assert drawn[one] != drawn[other], (one, other)
    assert in_grey(marks.sign("met")) == drawn["hit"]


@pytest.mark.parametrize("state", STATES)
def test_a_sign_says_its_meaning_and_stays_inside(state):
    picture = marks.sign(state)
    assert state.split()[-1].lower() in picture.sentence.lower() or state == "met" or state in ("hit", "miss", "so far")
    root = ET.fromstring(picture.svg())
    for path in root.iter("{http://www.w3.org/2000/svg}path"):
        xs = [float(n) for n in path.get("d").replace("M", " ").replace("L", " ").replace("Z", " ").split()[::2]]
        assert min(xs) >= 0
        assert max(xs) <= picture.width


def test_a_miss_is_hatched_and_a_hit_is_full():
    assert marks.sign("miss").svg().count("<path") == marks.sign("not yet").svg().count("<path") + 1
    assert 'fill="#0072B2"' in marks.sign("hit").svg()
    assert "stroke-dasharray" in marks.sign("undecided").svg()
    assert "stroke-dasharray" in marks.sign("cannot tell").svg()
    assert "stroke-dasharray" not in marks.sign("settled").svg()


speeds = st.floats(0, 4000)


@st.composite
def readings(draw):
    if draw(st.booleans()):
        value = draw(speeds)
        below, above = draw(st.floats(0, 300)), draw(st.floats(0, 300))
        lo = value - below if draw(st.integers(0, 3)) else None
        hi = value + above if draw(st.integers(0, 3)) else None
        return Reading(value, lo, hi)
    return draw(st.sampled_from([None, Reading(None)]))


@st.composite
def traces(draw):
    n = draw(st.integers(1, 40))
    start, step = draw(st.floats(0, 100)), draw(st.floats(0.05, 3))
    values = draw(st.lists(st.one_of(speeds, st.none(), st.just(math.nan)), min_size=n, max_size=n))
    values[0] = draw(speeds)
    return Series([start + i * step for i in range(n)], values)


bands = st.one_of(st.none(), st.tuples(st.floats(400, 900), st.floats(5, 300)).map(lambda p: (p[0], p[0] + p[1])))


@settings(deadline=None, max_examples=120)
@given(st.one_of(st.none(), traces()), traces(), readings(), readings(), bands, st.sampled_from([140.0, 180.0, 220.0]))
def test_no_word_in_before_and_after_is_clipped_or_overlaps(before, after, was, now, normal, height):
    picture = before_after(BeforeAfter(before, after, was, now, normal), height=height)
    assert picture.faults() == []
    ET.fromstring(picture.svg())


@settings(deadline=None, max_examples=120)
@given(st.lists(readings().filter(lambda r: r is not None), max_size=3), bands.filter(lambda b: b is not None))
def test_no_word_on_the_ruled_line_is_clipped_or_overlaps(found, allowed):
    fills = ("before", "solid", "missed")
    items = [Found(f"value {i}", r.value, r.lo, r.hi, fills[i]) for i, r in enumerate(found)]
    picture = ruled_line(items, allowed=allowed, unit="turns a minute")
    assert picture.faults() == []
    texts = [label.text for label in picture.labels]
    for item in items:
        assert item.words in texts
        assert item.words in picture.sentence


def sample(**changes):
    t = [0.5 * i for i in range(121)]
    shown = {
        "before": Series(t, [842 + 30 * math.sin(x) for x in t]),
        "after": Series(t, [704.0] * 121),
        "was": Reading(842, 828, 856),
        "now": Reading(704, 696, 712),
        "normal": (650, 750),
    }
    return before_after(BeforeAfter(**{**shown, **changes}))


def test_the_sentence_says_the_figures_that_the_picture_shows():
    picture = sample()
    assert picture.sentence == "Idle speed over 60 seconds. Before: 842 ± 14. After: 704 ± 8. Normal is 650 to 750."
    assert {"842 ± 14", "704 ± 8", "650", "750", "normal", "60 seconds"} <= {label.text for label in picture.labels}


def test_before_and_after_are_told_apart_by_weight_and_fill_alone():
    grey = in_grey(sample())
    assert f'stroke-width="{THIN}"' in grey
    assert f'stroke-width="{THICK}"' in grey
    assert THICK >= 2.5 * THIN
    assert grey.count('<path d="M') == grey.count("<path")
    before, after = (
        marks.diamond(0, 0, 8, fill)[0].render(lambda t: "#000" if t != Token.CARD else "#FFF")
        for fill in ("before", "solid")
    )
    assert "stroke" in before
    assert "stroke" not in after


def test_cannot_tell_after_is_dashed_and_said():
    picture = sample(now=Reading(None))
    assert "After: cannot tell." in picture.sentence
    assert "cannot tell" in [label.text for label in picture.labels]
    assert 'stroke-dasharray="3 4"' in picture.svg()


def test_without_a_normal_there_are_no_jaws():
    assert sample(normal=None).svg().count('stroke-width="4"') == sample().svg().count('stroke-width="4"') - 2


def test_a_gap_in_a_trace_is_not_bridged():
    t = [*range(10), *range(40, 50)]
    whole = before_after(BeforeAfter(Series(list(range(20)), [700.0] * 20), None, None, None))
    torn = before_after(BeforeAfter(Series(t, [700.0] * 20), None, None, None))
    assert torn.svg().count(f'stroke-width="{THIN}"') == whole.svg().count(f'stroke-width="{THIN}"') + 1


@given(st.lists(st.tuples(st.floats(0, 30), st.floats(0, 100)), min_size=1, max_size=200))
def test_thinning_never_loses_an_extreme(places):
    places = sorted(places)
    kept = thinned(places)
    assert min(y for _, y in kept) == min(y for _, y in places)
    assert max(y for _, y in kept) == max(y for _, y in places)
    assert kept[0] == places[0]
    assert kept[-1] == places[-1]
    assert len(kept) <= 4 * 31


def test_nothing_to_draw_is_refused():
    with pytest.raises(ValueError, match="neither trace"):
        before_after(BeforeAfter(Series([], []), None, None, None))
    with pytest.raises(ValueError, match="too small"):
        before_after(BeforeAfter(Series([0], [700]), None, None, None), room=200)
    with pytest.raises(ValueError, match="at least one value"):
        ruled_line([Found("after", None)])
    with pytest.raises(ValueError, match="instants"):
        Series([0, 1], [1])


# --- time


@given(st.floats(1, 4000), st.lists(st.floats(0, 1), max_size=20))
def test_time_runs_left_to_right_without_a_jump(duration, shares):
    scale = time_scale(duration, [s * duration for s in shares], 100, 680)
    assert scale.x(0) == 100
    assert scale.x(duration) == pytest.approx(680, abs=1e-6)
    places = [scale.x(duration * k / 200) for k in range(201)]
    assert places == sorted(places)
    for one, other in zip(scale.stretches, scale.stretches[1:], strict=False):
        assert one.t1 == other.t0
        assert one.x1 == pytest.approx(other.x0)
    for cut in scale.cuts:
        assert not any(cut.t0 < s * duration < cut.t1 for s in shares)
        assert cut.x1 - cut.x0 == pytest.approx(CUT)
    for t in scale.ticks(30):
        assert not any(c.t0 + 1e-6 < t < c.t1 - 1e-6 for c in scale.cuts)


def test_a_long_wait_is_cut_only_where_close_acts_need_the_room():
    close = [3.0, 3.4, 3.8, 4.2, 30.0, 44.0]
    scale = time_scale(45, close, 100, 680)
    assert len(scale.cuts) >= 2
    assert scale.x(3.4) - scale.x(3.0) >= 15
    assert time_scale(45, [5, 15, 25, 35], 100, 680).cuts == ()


def test_no_time_is_refused():
    with pytest.raises(ValueError, match="no room"):
        time_scale(0, [], 0, 100)
    with pytest.raises(ValueError, match="at least one track"):
        timeline(Timeline(10, ()))


acts = st.builds(
    lambda t, wide, track, level, state, early, late: Act(
        "Press", track, level, t, t + wide, (max(0, t - early), t + late), state
    ),
    st.floats(0, 44),
    st.sampled_from([0.0, 0.05, 0.4]),
    st.integers(0, 1),
    st.integers(0, 1),
    st.sampled_from(["hit", "missed", "undecided"]),
    st.floats(0, 3),
    st.floats(0, 3),
)


@settings(deadline=None, max_examples=80)
@given(
    st.lists(acts, max_size=16), st.lists(st.tuples(st.floats(0, 45), st.text(min_size=1, max_size=40)), max_size=10)
)
def test_no_word_on_a_timeline_is_clipped_or_overlaps(given_acts, words):
    tracks = (Track("key", "off", "on", ((0, 1),), 0), Track("pedal", "floor", "up", ((3, 0), (4, 1)), 1))
    captions = tuple(Caption(t, t, text, i % 3) for i, (t, text) in enumerate(words))
    picture = timeline(Timeline(45, tracks, tuple(given_acts), captions))
    assert picture.faults() == []
    ET.fromstring(picture.svg())


def test_a_timeline_says_each_act_with_its_window():
    late = Act("Press 4", 0, 0, 6.1, 6.1, (5.2, 5.7), "missed")
    gone = Act("Let up", 0, 1, None, None, (7, None), "missed")
    lamp = Track("lamp", "dark", "lit", ((20, 1),), None, ((12, 20),), strong=False)
    picture = timeline(Timeline(30, (Track("pedal", "floor", "up", ((6.1, 0),), 1), lamp), (late, gone)))
    assert "Press 4: at 6.1, window 5.2 to 5.7, missed." in picture.sentence
    assert "Let up: did not come, not before 7.0, missed." in picture.sentence
    assert "Lamp flashing from 12.0 to 20.0." in picture.sentence


def test_a_window_that_nothing_came_into_is_hatched_and_never_cut():
    gone = Act("Press", 0, 0, None, None, (40.0, 46.0), "missed")
    close = tuple(Act("Press", 0, 0, 3 + k * 0.2, 3 + k * 0.2, None, "hit") for k in range(6))
    shown = Timeline(60, (Track("pedal", "floor", "up", ((3, 0),), 1),), (*close, gone))
    scale = time_scale(60, _instants(shown), 106, 678)
    assert scale.cuts
    assert not any(cut.t0 < 46 and cut.t1 > 40 for cut in scale.cuts)
    assert 'stroke="#D55E00"' in timeline(shown).svg()


def test_a_narrow_range_still_has_two_figures_on_its_axis():
    picture = sample(before=None, after=Series([0, 1, 2], [992.0, 1008.0, 970.0]), was=None, now=None, normal=None)
    assert sum(label.anchor == "end" for label in picture.labels) >= 2


def test_hit_missed_and_undecided_differ_without_colour():
    def drawn(state):
        act = Act("Press", 0, 0, 5.0, 5.2, (4, 6), state)
        return in_grey(timeline(Timeline(10, (Track("pedal", "floor", "up", ((5, 0),), 1),), (act,))))

    hit, missed, undecided = drawn("hit"), drawn("missed"), drawn("undecided")
    assert len({hit, missed, undecided}) == 3
    assert "stroke-dasharray" in undecided
    assert "stroke-dasharray" not in hit
