"""Set up from the shell: with nothing looked at nothing is kept; the car's number is judged where it is told later."""

from __future__ import annotations

import json

from conftest import Run

ARRIVED = ("drive=petrol", "complaint=high", "before=cleaned", "throttle=electronic", "lamp=dark", "codes=none")


def begun(run: Run) -> None:
    assert run("job", "new", "--car", "fuel=petrol")[0] == 0
    assert run("arrive", "--job", "1", *(w for a in ARRIVED for w in ("--answer", a)))[0] == 0


def kinds(run: Run) -> list[str]:
    shown = json.loads(run("job", "show", "1", "--json")[1])
    return [e["kind"] for e in shown["result"]["entries"]]


def test_with_no_answers_nothing_is_kept_and_one_message_says_so(run: Run) -> None:
    begun(run)
    before = kinds(run)
    for words in (
        ("arrive", "--set-up", "--job", "1"),
        ("arrive", "--set-up", "--routine", "pedal-hold", "--job", "1"),
    ):
        code, out, err = run(*words)
        assert (code, out) == (2, "")
        assert "nothing was looked at" in err
        assert "--by-hand" in err
    assert kinds(run) == before
    assert run("arrive", "--set-up", "--job", "1", "--volts", "12.6")[0] == 0
    assert kinds(run) == [*before, "needs"]


def test_a_cars_number_that_is_none_is_refused_where_it_is_added(run: Run) -> None:
    begun(run)
    add = ("job", "add", "1", "--stage", "arrive", "--kind", "customer", "--personal")
    code, _, err = run(*add, "vin=NOTAVIN")
    assert (code, "has 7 characters" in err) == (2, True)
    assert run(*add, "vin=1m8gdm9axkp042788")[0] == 0
    assert json.loads(run("job", "show", "1", "--json")[1])["result"]["personal"]["vin"] == "1M8GDM9AXKP042788"
