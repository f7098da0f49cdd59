"""Practice over the API: the simulated car answers, the person is learned, the odds rise, no job is touched."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from coach_site import Clock, client, new_job, routine
from hypothesis import given
from hypothesis import strategies as st
from starlette.testclient import TestClient

from tickover.coaching import open_attempt, script, step
from tickover.coaching.state import Seen
from tickover.web.practice import odds_words
from tickover.web.practice_picture import OddsAt, odds_rise


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("shop")


@pytest.fixture(scope="module")
def http(folder: Path) -> TestClient:
    return client(folder, Clock())


def tried_by(
    rng: np.random.Generator, name: str, by: str = "tones", sd: float = 0.02, cv: float = 0.0
) -> dict[str, Any]:
    """An attempt by somebody who follows the tones, or who goes by what is aimed at."""
    play = script(routine(name))
    state, made = open_attempt(play), []
    for act in play.order:
        if state.aim is None:
            break
        aim, last = state.aim, made[-1]["t"] if made else 0.0
        t = float(aim + rng.normal(0, math.hypot(sd, cv * (aim - last))))
        state, _ = step(play, state, max(state.now, t), [Seen(what=act.kind, t_lo=t, t_hi=t)])
        made.append({"kind": act.kind, "event": act.name, "t": t, "aim": aim})
    return {"by": by, "made": made, "ended": made[-1]["t"] + 1}


def test_the_odds_rise_and_their_range_narrows_as_the_person_is_learned(http: TestClient, folder: Path) -> None:
    job = new_job(http)
    rng = np.random.default_rng(4)
    tried: list[Any] = []
    odds: list[Any] = []
    for n in (1, 3):
        while len(tried) < n:
            tried.append(tried_by(rng, "double-hold", "heart", sd=0.01, cv=0.03))
        answer = http.post("/api/practice/double-hold", json={"tried": tried, "odds": odds})
        assert answer.status_code == 200, answer.text
        found = answer.json()["result"]
        odds = found["odds"]
    mine = [o for o in odds if o["by"] == "heart"]
    assert [o["attempt"] for o in mine] == [1, 3]
    assert mine[-1]["p"] > mine[0]["p"] + 0.01
    assert mine[-1]["hi"] - mine[-1]["lo"] < 0.7 * (mine[0]["hi"] - mine[0]["lo"])
    assert "Up from" in found["words"]
    assert len(odds) == 4  # those with the tones are told as well
    assert answer.json()["simulated"] is True
    assert http.get(f"/api/jobs/{job}").json()["result"]["stages"][3]["entries"] == []
    assert not (folder / "jobs-attempts").exists()


def test_the_car_answers_on_the_attempts_time_however_often_it_is_asked(http: TestClient) -> None:
    made = tried_by(np.random.default_rng(0), "pedal-count", sd=0.0)["made"]
    acts = [{k: m[k] for k in ("kind", "event", "t")} for m in made]
    end = acts[-1]["t"] + 30.0
    whole = drive(http, "whole", acts, end)
    for n in range(1, len(acts)):
        drive(http, "often", acts[:n], acts[n]["t"])
    often = drive(http, "often", acts, end)
    assert [a["event"] for a in whole["answers"]][:2] == ["flashes", "stays"]
    for one, other in zip(often["answers"], whole["answers"], strict=True):
        assert (one["kind"], one["event"]) == (other["kind"], other["event"])
        assert one["t"] == pytest.approx(other["t"], abs=0.011)  # the car steps by a hundredth of a second


def test_the_simulated_car_takes_what_was_hit_and_not_what_was_missed(http: TestClient) -> None:
    rng = np.random.default_rng(1)
    hit = http.post("/api/practice/pedal-hold", json={"tried": [tried_by(rng, "pedal-hold")]}).json()["result"]
    assert hit["car"].startswith("The simulated car took it")
    late = tried_by(rng, "pedal-hold", sd=0.0)
    for m in late["made"][2:]:
        m["t"] += 6
    late["ended"] += 6
    missed = http.post("/api/practice/pedal-hold", json={"tried": [late]}).json()["result"]
    assert (missed["judgement"]["verdict"], missed["car"]) == ("missed", "")
    assert missed["odds"][0]["taps"] == 2  # the late ones answer no tone


@pytest.mark.parametrize(("name", "why"), [("drive-in", "on the road"), ("fast-run-in", "fan off")])
def test_a_routine_of_the_road_or_of_counted_time_has_no_odds_by_feel(name: str, why: str, http: TestClient) -> None:
    first = script(routine(name)).order[0]
    made = [{"kind": first.kind, "event": first.name, "t": t, "aim": t} for t in (1.0,)]
    said = {"tried": [{"by": "tones", "made": made, "ended": 2.0}]}
    found = http.post(f"/api/practice/{name}", json=said).json()["result"]
    assert (found["odds"], found["picture"]) == ([], "")
    assert found["words"].startswith("Cannot tell the odds: ")
    assert why in found["words"]


def drive(http: TestClient, run: str, acts: list[Any], now: float) -> dict[str, Any]:
    answer = http.post("/api/practice/pedal-count/car", json={"run": run, "acts": acts, "now": now})
    assert answer.status_code == 200, answer.text
    return dict(answer.json()["result"])


@pytest.mark.parametrize(
    ("path", "said", "what"),
    [
        ("", {"tried": [{"made": [{"kind": "press", "event": "up", "t": 1, "aim": 1}], "ended": 2}]}, "is not"),
        ("", {"tried": []}, "tried"),
        (
            "",
            {
                "tried": [{"made": [], "ended": 1}],
                "odds": [{"attempt": 1, "by": "heart", "taps": 1, "p": 1, "lo": 1, "hi": 0}],
            },
            "odds",
        ),
        ("/car", {"run": "a", "acts": [{"kind": "press", "t": 3}], "now": 2}, "at 3 s"),
        ("/car", {"run": "a", "acts": [{"kind": "lamp lit", "t": 1}], "now": 2}, "not done by a person"),
        ("/car", {"run": "a", "acts": [], "now": 1e9}, "now"),
    ],
)
def test_what_cannot_be_is_refused_in_words(path: str, said: dict[str, Any], what: str, http: TestClient) -> None:
    answer = http.post(f"/api/practice/pedal-hold{path}", json=said)
    assert answer.status_code in {400, 422}, answer.text
    assert what in answer.json()["what"]


def test_without_a_tap_the_odds_cannot_be_told(http: TestClient) -> None:
    found = http.post("/api/practice/pedal-hold", json={"tried": [{"made": [], "ended": 9}]}).json()["result"]
    assert (found["odds"], found["picture"]) == ([], "")
    assert "cannot be told" in found["words"]


chance = st.floats(0, 1)


@given(st.lists(st.tuples(chance, chance, chance).map(sorted), min_size=1, max_size=12))
def test_the_picture_is_fit_to_be_shown_whatever_the_odds(rows: list[list[float]]) -> None:
    odds = [OddsAt(attempt=n, by="tones", taps=4 * n, lo=r[0], p=r[1], hi=r[2]) for n, r in enumerate(rows, start=1)]
    found = odds_rise(odds)
    assert found.faults() == []
    assert odds_words(odds, "tones").startswith("Clean run with the tones: ")


def test_practice_leads_back_to_the_job_that_it_was_opened_from(http: TestClient) -> None:
    job = new_job(http)
    page = http.get(f"/practice/power-cycle?switch=key&job={job}").text
    assert f'<a href="/jobs/{job}#stage-4">Job {job:04d}</a>' in page
    assert "All jobs" not in page
    assert '<a href="/">All jobs</a>' in http.get("/practice/power-cycle").text
    assert http.get("/practice/power-cycle?job=0").status_code == 422
