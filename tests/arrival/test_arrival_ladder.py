"""The ladder, on routines of the tests' own and on the library as it stands."""

import numpy as np
import pytest
from arrival_routines import library, routine
from hypothesis import given, settings
from hypothesis import strategies as st

from tickover.arrival import QUESTIONS, Answers, answers_of, arrive
from tickover.arrival.candidates import common_words, expected_minutes
from tickover.arrival.ladder import ROUTINES_PER_VISIT, STOP_RULE, TRIES_PER_ROUTINE
from tickover.arrival.words import arrival_lines
from tickover.errors import InputError
from tickover.results import CannotTell
from tickover.routines import load_library
from tickover.visit import rules

LIBRARY = load_library()
GOOD = ["drive=petrol", "complaint=high", "before=cleaned", "throttle=electronic", "lamp=dark", "codes=none"]


def climb(routines, *pairs, rates=None, base=GOOD):
    names = {p.partition("=")[0] for p in pairs}
    answers = answers_of([*(p for p in base if p.partition("=")[0] not in names), *pairs])
    return arrive(answers, routines, rates).ladder


def ids(ladder):
    return [r.routine for r in ladder.rungs if r.sort == "routine"]


def test_least_disturbing_first_and_drive_it_last():
    three = library(routine("c", disturbs=3), routine("a", disturbs=2), routine("b", disturbs=1))
    ladder = climb(three)
    assert ids(ladder) == ["b", "a", "c"]
    assert ladder.rungs[-1].sort == "drive"
    assert "No entry exists" in ladder.rungs[-1].title
    assert all(r.why for r in ladder.rungs)


def test_without_any_routine_there_is_still_the_drive():
    assert [r.sort for r in climb({}).rungs] == ["drive"]


def test_predecessors_come_first_even_where_they_disturb_more_or_take_longer():
    three = library(
        routine("air", disturbs=1, requires=["stop"]),
        routine("stop", disturbs=2, requires=["rest"], wait=60),
        routine("rest", disturbs=1, wait=120),
        routine("other", disturbs=2),
    )
    ladder = climb(three)
    order = ids(ladder)
    assert order.index("rest") < order.index("stop") < order.index("air")
    air = next(r for r in ladder.rungs if r.routine == "air")
    assert (air.own_disturbs, air.disturbs) == (1, 2)  # what it requires disturbs more, and that is said
    assert any("requires first disturbs" in why for why in air.why)


def test_what_only_prepares_another_waits_unless_the_rests_were_lost():
    three = library(routine("a-rest"), routine("air", disturbs=2, requires=["a-rest"]), routine("b", wait=300))
    assert ids(climb(three)) == ["b", "a-rest", "air"]
    lost = climb(three, "before=unplugged", "complaint=stalls")
    assert ids(lost) == ["a-rest", "b", "air"]
    assert any("It prepares air" in why for why in lost.rungs[0].why)


def test_what_all_routines_share_is_said_once():
    three = library(routine("a"), routine("b"), routine("c", throttle=["cable"]), routine("d", throttle=["cable"]))
    found = arrive(answers_of(GOOD), three)
    text = "\n".join(line.text for line in arrival_lines(found))
    assert text.count("This shop has not counted it yet") == 1
    assert "c, d: It is for a cable throttle, and this one is electronic." in text


def test_what_requires_a_withheld_routine_is_withheld():
    ladder = climb(library(routine("a", may_erase=True), routine("b", requires=["a"])), "lamp=lit", "codes=not read")
    assert ids(ladder) == []
    assert {w.routine: w.why for w in ladder.withheld}["b"].startswith("It requires a first")


@pytest.mark.parametrize("lamp", ["lit", "not known"])
def test_with_unread_codes_nothing_that_may_erase(lamp):
    two = library(routine("keeps"), routine("erases", may_erase=True))
    assert ids(climb(two, f"lamp={lamp}", "codes=not read")) == ["keeps"]
    assert ids(climb(two, f"lamp={lamp}", "codes=P0506")) == ["erases", "keeps"]
    erasing = climb(two, f"lamp={lamp}", "codes=P0506").rungs[0]
    assert any("note lamp, codes and readiness first" in why for why in erasing.why)


def test_nothing_built_in_that_may_erase_with_a_lit_lamp_and_unread_codes():
    assert any(r.may_erase for r in LIBRARY.values())
    ladder = climb(LIBRARY, "lamp=lit", "codes=not read", "gearbox=automatic", "switch=key")
    assert ids(ladder)
    assert not any(LIBRARY[i].may_erase for i in ids(ladder))


def test_throttle_kinds():
    three = library(routine("any"), routine("e", throttle=["electronic"]), routine("c", throttle=["cable"]))
    assert ids(climb(three, "throttle=electronic")) == ["any", "e"]
    assert ids(climb(three, "throttle=cable")) == ["any", "c"]
    unknown = climb(three, "throttle=not known")
    assert ids(unknown) == ["any"]
    assert all("Bonnet open" in w.why for w in unknown.withheld)


def test_gearbox_and_switch():
    two = library(routine("gear", gear=True), routine("acc", accessory=True))
    assert ids(climb(two, "gearbox=automatic", "switch=key")) == ["acc", "gear"]
    assert ids(climb(two, "gearbox=automatic", "switch=button")) == ["gear"]
    assert ids(climb(two, "gearbox=manual", "switch=key")) == ["acc"]
    withheld = {w.routine: w.why for w in climb(two).withheld}
    assert "gearbox is not known" in withheld["gear"]
    assert "cannot be done on a button" in withheld["acc"]
    assert "how this car is started" in withheld["acc"]


def test_lost_memory_on_a_dirty_bore_wants_cleaning_first():
    ladder = climb(LIBRARY, "complaint=stalls", "before=battery", "bore=dirty")
    assert ladder.rungs[0].title == "Clean the bore first"
    assert ladder.rungs[0].sort == "advice"
    assert ids(ladder)
    assert "Clean" not in climb(LIBRARY).rungs[0].title


def test_the_shop_own_counts_change_the_order_within_one_disturbance_only():
    three = library(routine("a", disturbs=2), routine("b", disturbs=2), routine("z", disturbs=3))
    assert ids(climb(three)) == ["a", "b", "z"]
    assert ids(climb(three, rates={"b": (9, 10), "z": (99, 99), "gone": (1, 2)})) == ["b", "a", "z"]
    assert any("9 of 10" in why for why in climb(three, rates={"b": (9, 10)}).rungs[0].why)


def test_counts_that_cannot_be():
    with pytest.raises(InputError, match="5 successes of 3 tries of “a”"):
        climb(library(routine("a")), rates={"a": (5, 3)})


def test_service_information_is_held_likelier_than_common_practice():
    two = library(routine("a"), routine("b", basis="service information"))
    assert ids(climb(two)) == ["b", "a"]


def test_fits_is_a_hint_and_breaks_ties_only():
    two = library(routine("a"), routine("b", fits="the invented Larkholm of 2009"))
    assert ids(climb(two)) == ["a", "b"]
    hinted = climb(two, "car=a 2009 larkholm")
    assert ids(hinted) == ["b", "a"]
    assert any("hint, no proof" in why and "larkholm" in why for why in hinted.rungs[0].why)
    assert ids(climb(library(routine("a"), routine("b", fits="Larkholm", wait=100)), "car=Larkholm")) == ["a", "b"]
    assert common_words("2.0 l, four cylinders", "a 2,0 of 2009, four cylinders") == ("2.0", "four")


def test_expected_minutes_against_sampling():
    q = expected_minutes(1.0, (2, 2), (7, 10))
    p = np.random.default_rng(3).beta(9, 5, 400_000)
    assert q.value == pytest.approx(3 + 3 * np.mean(1 / p), rel=0.005)
    assert (q.lo, q.hi) == pytest.approx(tuple(3 + 3 / np.quantile(p, [0.95, 0.05])), rel=0.01)
    assert expected_minutes(1.0, (2, 2), (0, 0)).value == 12  # a mean of p put into 1/p gives 9


def test_where_no_story_fits_nothing_learned_is_disturbed():
    two = library(routine("a", disturbs=1), routine("b", disturbs=2))
    ladder = climb(two, "complaint=high", "before=battery")
    assert ladder.rungs[0].title == "Find out more first"
    assert ids(ladder) == ["a"]
    assert ladder.withheld[0].routine == "b"


def test_unknown_drive_offers_nothing():
    ladder = climb(LIBRARY, "drive=not known")
    assert ladder.rungs == ()
    assert "diesel" in ladder.none.way_out


def test_the_stop_rule_is_the_visit_s():
    ladder = climb(LIBRARY)
    assert ladder.rule == STOP_RULE
    assert (TRIES_PER_ROUTINE, ROUTINES_PER_VISIT) == (rules.TRIES_PER_ROUTINE, rules.ROUTINES_PER_VISIT)
    assert "three tries" in ladder.rule
    assert "two routines" in ladder.rule


def test_the_command_names_the_file_of_an_own_routine(tmp_path):
    (tmp_path / "mine own.toml").write_text(
        'id = "mine"\ntitle = "Mine"\nkind = "power cycle"\ndisturbs = 0\nmay_erase = false\n'
        'basis = { kind = "service information" }\n[[steps]]\nid = "on"\ndo = "ignition on"\n'
        '[[steps]]\nid = "off"\ndo = "ignition off"\nabout = 10\ngive = 2\n',
        encoding="utf-8",
    )
    found = arrive(answers_of([*GOOD, "switch=button"]), load_library(tmp_path))
    assert found.ladder.first.routine == "mine"
    assert found.commands[-1] == f"tickover coach '{tmp_path}/mine own.toml' --switch button"
    built_in = climb(LIBRARY).first
    assert built_in.command == f"tickover coach {built_in.routine}"


def _answers():
    def field(question):
        if question.form == "one":
            return st.sampled_from([*question.values, "not known"])
        if question.form == "several":
            others = [v for v in question.values if v != question.alone]
            return st.one_of(st.just((question.alone,)), st.sets(st.sampled_from(others), max_size=2).map(tuple))
        if question.form == "codes":
            codes = st.sampled_from(["P0505", "P0302", "P2111", "P0102", "P0420", "U0100"])
            return st.one_of(st.none(), st.sets(codes, max_size=2).map(tuple))
        return st.sampled_from(["", "2.0 four cylinders"])

    return st.builds(Answers, **{q.name: field(q) for q in QUESTIONS})


@st.composite
def _libraries(draw):
    found = {}
    for n in range(draw(st.integers(0, 4))):
        found[f"r{n}"] = routine(
            f"r{n}",
            disturbs=draw(st.integers(0, 3)),
            may_erase=draw(st.booleans()),
            requires=draw(st.lists(st.sampled_from(sorted(found)), max_size=2, unique=True)) if found else [],
            wait=draw(st.sampled_from([5, 60, 300])),
            throttle=draw(st.sampled_from([["cable"], ["electronic"], ["cable", "electronic"]])),
        )
    return found


@settings(max_examples=150, deadline=None)
@given(_answers(), _libraries())
def test_laws_of_arrival(answers, routines):
    found = arrive(answers, routines)
    assert arrival_lines(found)
    offered = ids(found.ladder)
    assert bool(found.stops) <= (not found.ladder.rungs)
    if not found.ladder.rungs:
        assert isinstance(found.ladder.none, CannotTell)
        assert found.ladder.none.reason
        assert found.ladder.none.way_out
    else:
        assert set(offered) | {w.routine for w in found.ladder.withheld} == set(routines)
        assert all(w.why for w in found.ladder.withheld)
    closures = [r.disturbs for r in found.ladder.rungs if r.disturbs is not None]
    assert closures == sorted(closures)
    for place, name in enumerate(offered):
        assert set(routines[name].requires) <= set(offered[:place])
    if answers.drive != "petrol" or answers.misfire == "yes" or {"P2111", "P0102"} & set(answers.codes or ()):
        assert offered == []
    if answers.codes is None and answers.lamp != "dark":
        assert not any(routines[name].may_erase for name in offered)
