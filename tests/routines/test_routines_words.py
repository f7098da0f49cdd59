"""The lines a person reads, and the numbers behind them."""

import numpy as np
import pytest

from tickover.routines import compile_routine, load_library
from tickover.routines.chances import odds_of
from tickover.routines.check import show
from tickover.routines.grammar import BASIS, CYCLE, HEAD, NEED, STEP, WHILE, reference_markdown
from tickover.routines.model import Bound, clock
from tickover.routines.report import times_of
from tickover.routines.words import jaws, odds_lines, percent, percent_range, show_lines, span_words
from tickover.timing import Person, best_aims, odds_by_sampling


@pytest.mark.parametrize(
    ("bound", "words"),
    [
        (Bound("about", 2, 4), "3 s, give or take 1"),
        (Bound("about", 0.2, 0.4), "0.3 s, give or take 0.1"),
        (Bound("about", 280, 320), "5 min, give or take 20 s"),
        (Bound("at_least", 10, float("inf")), "at least 10 s"),
        (Bound("at_most", 0, 3), "within 3 s"),
        (Bound("between", 0.3, 3), "0.3 to 3 s"),
        (Bound("between", 60, 1800), "60 s to 30 min"),
    ],
)
def test_a_bound_in_words(bound, words):
    assert bound.words == words


def test_times_in_words():
    assert [clock(s) for s in (90, 119.5, 120, 150, 3600)] == ["90 s", "119.5 s", "2 min", "2 min 30 s", "60 min"]
    assert span_words(24.9, None) == "25 s or more"
    assert span_words(30, 40) == "30 to 40 s"


def test_chances_are_never_rounded_to_certainty():
    assert [percent(p) for p in (0.0, 0.004, 0.5, 0.9949, 0.996, 1.0)] == [
        "under 1 %",
        "under 1 %",
        "50 %",
        "99 %",
        "over 99 %",
        "over 99 %",
    ]
    assert percent_range(0.74, 0.94) == "74 to 94 %"
    assert percent_range(0.97, 0.999) == "97 % to over 99 %"
    assert percent_range(0.999, 1) == "over 99 %"


def test_jaws_hold_the_aim_where_it_is():
    assert jaws(2, 4, 3) == "2 [────────◆────────] 4 s"
    assert jaws(2, 4, 2) == "2 [◆────────────────] 4 s"
    assert jaws(8, 14, None, answer=True) == "8 [·················] 14 s"
    assert jaws(10, None, 12) == "10 [────────◆────────→ s"


def test_show_tells_a_round_in_full_only_once():
    lines = [line.text for line in show_lines(show(load_library()["power-cycle"]))]
    assert sum("Turn the key to off." in text for text in lines) == 1
    assert sum(text.endswith("(4 of 4)") for text in lines) == 2


def test_odds_of_a_routine_agree_with_drawn_attempts():
    c = compile_routine(load_library()["power-cycle"])
    person = Person(cv=0.1)
    found = odds_of(c, person)
    drawn = odds_by_sampling(
        c.plan(), person, best_aims(c.plan(), person, margins=c.margins()), np.random.default_rng(3), 20_000
    )
    assert abs(found.p - drawn.p) < 3 * drawn.se
    assert found.weak == "off"
    assert next(s for s in found.steps if s.step == "off").rounds == 4
    assert found.p_if_cued == pytest.approx(1, abs=0.01)


def test_a_sure_routine_has_no_weak_step():
    c = compile_routine(load_library()["pedal-hold"])
    lines = [line.text for line in odds_lines(odds_of(c, Person(cv=0.02)))]
    assert "No step is weak." in lines


def test_windows_since_the_start_are_the_minimal_network():
    times = times_of(compile_routine(load_library()["pedal-count"]))
    since = {w.step: (w.since_lo, w.since_hi) for w in times.windows}
    assert since["down"] == (2 + 5 * 0.25 + 4 * 0.12 + 6, 4 + 5 + 8)
    assert since["up"] == pytest.approx((2 + 1.73 + 6 + 16, 17 + 25 + 3))
    assert (times.lo, times.hi) == pytest.approx((26.03, 48))


def test_the_reference_page_names_every_key_of_the_grammar():
    page = reference_markdown()
    for key in (*HEAD, *NEED, *BASIS, *STEP, *CYCLE, *WHILE):
        assert f"| `{key.name}`" in page, key.name
        assert key.meaning in page
    assert page.count("|---|") >= 8
