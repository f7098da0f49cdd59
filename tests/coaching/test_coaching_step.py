"""The step function: serialisable, honest about silence and acts out of turn, with pips before the aim."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rehearsing import SCRIPTS

from tickover.coaching import CoachState, Cue, Script, Seen, look, open_attempt, step
from tickover.errors import InputError

HOLD = SCRIPTS["pedal-hold"]
COUNT = SCRIPTS["pedal-count"]


def at(what: str, t: float, width: float = 0.0) -> Seen:
    return Seen(what=what, t_lo=t - width / 2, t_hi=t + width / 2)


def play_out(play: Script, events: list[Seen], until: float, tick: float = 0.05) -> tuple[CoachState, list[Cue]]:
    """Run on a clock of ``tick``; the state goes through JSON at every step, as a reload would make it."""
    state, heard, now = open_attempt(play), [], 0.0
    waiting = sorted(events, key=lambda e: e.t_hi)
    while now < until:
        now += tick
        seen = [e for e in waiting if e.t_hi <= now]
        waiting = [e for e in waiting if e.t_hi > now]
        state, cues = step(play, CoachState.model_validate_json(state.model_dump_json()), now, seen)
        heard += cues
    return state, heard


GOOD = [at("ignition on", 5.0), at("press", 8.0), at("release", 38.0), at("crank", 40.0)]


def test_a_good_run_is_done_and_survives_a_reload_at_every_step() -> None:
    state, heard = play_out(HOLD, GOOD, 41.0)
    assert state.phase == "done"
    assert heard[-1].sound == "done"


def test_three_pips_and_the_moment_itself_come_before_each_act_at_even_spacing() -> None:
    _, heard = play_out(HOLD, GOOD, 41.0, tick=0.01)
    for event, aim in (("down", 8.0), ("up", 38.0)):
        times = [c.at for c in heard if c.event == event and c.sound in {"pip", "act"}]
        assert times == pytest.approx([aim - 2.4, aim - 1.6, aim - 0.8, aim], abs=1e-9)


def test_a_window_that_closes_in_silence_is_a_miss_only_after_the_grace() -> None:
    state, _ = play_out(HOLD, GOOD[:2], 8.0 + 33.25)
    assert state.phase == "running"
    state, heard = play_out(HOLD, GOOD[:2], 8.0 + 33.4)
    assert state.phase == "missed"
    assert heard[-1].sound == "missed"
    assert "Let up did not come" in heard[-1].words


def test_an_answer_that_never_comes_is_the_cars_not_the_persons() -> None:
    presses = [at(kind, 8.0 + 0.4 * n) for n, kind in enumerate(["press", "release"] * 5)]
    held = presses[-1].t_hi + 7.0
    state, heard = play_out(COUNT, [at("ignition on", 5.0), *presses, at("press", held)], held + 15.0)
    assert state.phase == "missed"
    assert "car did not answer" in heard[-1].words


@pytest.mark.parametrize(
    ("what", "t", "words"),
    [
        ("crank", 20.0, "“Start” came when “let up” was due"),
        ("ignition off", 20.0, "“Ignition off” came when “let up” was due"),
    ],
)
def test_an_act_out_of_turn_ends_the_attempt_and_says_what_was_due(what: str, t: float, words: str) -> None:
    state, _ = play_out(HOLD, [*GOOD[:2], at(what, t)], t + 0.2)
    assert state.miss is not None
    assert words in state.miss.words


def test_the_bulb_check_at_key_on_is_no_answer_to_the_hold() -> None:
    events = [at("ignition on", 5.0), at("lamp lit", 5.0), at("lamp off", 7.0)]
    state, _ = play_out(COUNT, events, 7.5)
    assert state.phase == "running"
    assert "stays" not in state.happened


def test_letting_up_while_the_lamp_flashes_names_the_harm() -> None:
    presses = [at(kind, 8.0 + 0.4 * n) for n, kind in enumerate(["press", "release"] * 5)]
    held = presses[-1].t_hi + 7.0
    events = [
        at("ignition on", 5.0),
        *presses,
        at("press", held),
        at("lamp flashing", held + 10),
        at("release", held + 12),
    ]
    state, _ = play_out(COUNT, events, held + 12.5)
    assert state.miss is not None
    assert "clear codes" in state.miss.words


def test_an_act_on_the_edge_is_not_called_missed_while_its_bracket_crosses_it() -> None:
    on_edge = [at("ignition on", 5.0, 0.04), at("press", 9.03, 0.1)]
    state, _ = play_out(HOLD, on_edge, 9.4)
    assert state.phase == "running"
    surely = [at("ignition on", 5.0, 0.04), at("press", 9.2, 0.1)]
    state, _ = play_out(HOLD, surely, 9.4)
    assert state.phase == "missed"


def test_a_state_of_another_routine_and_time_running_backwards_are_refused() -> None:
    state = open_attempt(HOLD)
    with pytest.raises(InputError, match="another routine"):
        step(COUNT, state, 1.0)
    state, _ = step(HOLD, state, 1.0)
    with pytest.raises(InputError, match="backwards"):
        step(HOLD, state, 0.5)


def test_the_cards_say_wait_hold_and_the_act() -> None:
    words = {}
    for until in (1.0, 4.5, 6.0, 7.5, 20.0, 37.5, 39.9):
        state, _ = play_out(HOLD, [e for e in GOOD if e.t_hi <= until], until)
        words[until] = look(HOLD, state, until).now.word
    assert list(words.values()) == ["Ready", "Ignition on", "Wait", "Press", "Hold", "Let up", "Start"]


def test_a_hold_empties_its_bar_to_the_aim_that_ends_it() -> None:
    state, _ = play_out(HOLD, GOOD[:2], 20.0)
    card = look(HOLD, state, 20.0).now
    assert card.aim == pytest.approx(18.0, abs=0.06)
    assert card.length == pytest.approx(30.0, abs=0.06)


def test_watching_for_the_lamp_shows_a_window_and_no_aim_and_the_caution() -> None:
    presses = [at(kind, 8.0 + 0.4 * n) for n, kind in enumerate(["press", "release"] * 5)]
    held = presses[-1].t_hi + 7.0
    state, _ = play_out(COUNT, [at("ignition on", 5.0), *presses, at("press", held)], held + 3.0)
    view = look(COUNT, state, held + 3.0)
    assert view.now.word == "Watch"
    assert view.now.aim is None
    assert view.now.window == pytest.approx((5.0, 11.0), abs=0.1)
    assert "Keep holding" in view.caution
    assert view.next is not None
    assert "stays lit" in view.next.word


def test_the_harm_of_letting_up_stays_on_the_screen_while_the_lamp_flashes() -> None:
    presses = [at(kind, 8.0 + 0.4 * n) for n, kind in enumerate(["press", "release"] * 5)]
    held = presses[-1].t_hi + 7.0
    events = [at("ignition on", 5.0), *presses, at("press", held), at("lamp flashing", held + 10)]
    state, _ = play_out(COUNT, events, held + 12.0)
    assert "clear codes" in look(COUNT, state, held + 12.0).caution


def test_after_a_miss_the_next_card_says_how_to_recover() -> None:
    state, _ = play_out(HOLD, [*GOOD[:2], at("release", 12.0)], 12.5)
    view = look(HOLD, state, 12.5)
    assert view.next is not None
    assert "ignition off" in view.next.detail


@given(
    st.lists(
        st.sampled_from(["press", "release", "crank", "ignition on", "ignition off", "lamp lit", "lamp flashing"]),
        max_size=12,
    )
)
def test_whatever_is_seen_the_coach_ends_or_waits_and_never_fails(kinds: list[str]) -> None:
    state = open_attempt(COUNT)
    for number, kind in enumerate(kinds):
        state, _ = step(COUNT, state, number + 1.0, [at(kind, number + 0.9)])
        look(COUNT, state, number + 1.0)
    assert state.phase in {"lead in", "running", "missed"}
