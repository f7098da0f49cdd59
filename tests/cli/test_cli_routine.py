"""The ``routine`` command: what it prints, its JSON, its exit codes."""

import json
from pathlib import Path

import pytest

from tickover.cli import main
from tickover.routines import CompiledRoutine, compile_routine, load_library
from tickover.routines.library import BUILT_IN

BAD = """\
id = "bad"
title = "Bad"
kind = "relearn"
disturbs = 2
may_erase = false
basis = { kind = "common practice" }
steps = [
  { id = "on", do = "ignition on" },
  { id = "down", do = "press", about = 3 },
  { id = "start", do = "crnk", at_most = 3 },
]
"""


def run(capsys, *words):
    with pytest.raises(SystemExit) as stop:
        main(["routine", *words])
    said = capsys.readouterr()
    return stop.value.code, said.out, said.err


@pytest.fixture(autouse=True)
def _plain(monkeypatch):
    monkeypatch.setenv("COLUMNS", "120")
    monkeypatch.delenv("TICKOVER_ROUTINES", raising=False)


def test_list_puts_the_least_disturbing_first(capsys):
    code, out, _ = run(capsys, "list")
    assert code == 0
    ids = [line.split()[0] for line in out.splitlines()[::2]]
    assert len(ids) == 13
    assert set(ids[:4]) == {"key-on-rest", "pedal-rest", "power-cycle", "throttle-stop"}
    assert ids[-2:] == ["pedal-count", "double-hold"]
    assert "may erase codes" in out


def test_list_as_json_names_digest_and_length(capsys):
    code, out, _ = run(capsys, "list", "--json")
    answer = json.loads(out)
    assert (code, answer["what"], answer["v"]) == (0, "routine list", 1)
    rows = {r["id"]: r for r in answer["result"]["routines"]}
    assert rows["pedal-hold"]["digest"] == compile_routine(load_library()["pedal-hold"]).digest
    assert (rows["pedal-hold"]["lo"], rows["pedal-hold"]["hi"]) == (30, 40)
    assert rows["power-cycle"]["hi"] is None
    assert not rows["power-cycle"]["yours"]


def test_show_draws_each_window_with_its_aim_and_says_the_cautions(capsys):
    code, out, _ = run(capsys, "show", "pedal-count")
    assert code == 0
    assert "2 [────────◆────────] 4 s after ignition on" in out
    assert "8 [·················] 14 s after the press" in out
    assert "Caution: Engine confirmed stopped before the pedal goes to the floor." in out
    assert "Not before the lamp stays lit: Letting up while the lamp flashes can clear codes" in out
    assert "never in a closed space" in out
    assert "Radiator fan not running" in out
    assert "Common practice, no published source. The car's own service information wins." in out
    assert "May erase codes and readiness" in out


def test_show_for_a_button_says_how_often_to_press(capsys):
    assert "press the button twice" in run(capsys, "show", "power-cycle", "--switch", "button")[1]
    assert "Turn the key" in run(capsys, "show", "power-cycle")[1]


def test_show_as_json_holds_the_compiled_routine(capsys):
    _, out, _ = run(capsys, "show", "pedal-count", "--json")
    result = json.loads(out)["result"]
    again = CompiledRoutine.model_validate(result["routine"])
    assert again == compile_routine(load_library()["pedal-count"])
    assert result["digest"] == again.digest
    assert result["times"]["windows"][1] == {
        "step": "presses",
        "after": "on",
        "lo": 2,
        "hi": 4,
        "aim": pytest.approx(2.97, abs=0.01),
        "since_lo": 2,
        "since_hi": 4,
        "counted": False,
    }


def test_an_unknown_routine_exits_2_with_a_near_one(capsys):
    code, _, err = run(capsys, "show", "pedal-cuont")
    assert code == 2
    assert "Did you mean pedal-count" in err


def test_check_tells_every_fault_at_once_with_its_line(capsys, tmp_path):
    bad = tmp_path / "bad.toml"
    bad.write_text(BAD)
    code, out, _ = run(capsys, "check", str(bad), str(BUILT_IN / "pedal-hold.toml"))
    assert code == 2
    assert "2 faults" in out
    assert "line 9, step “down”: `about` is a bare 3 s" in out
    assert "line 10, step “start”: “crnk” is not a `do`" in out
    assert "Did you mean `crank`?" in out
    assert "pedal-hold.toml: no fault" in out  # a faulty file does not hide a good one


def test_check_of_a_good_file_says_windows_and_length(capsys):
    code, out, _ = run(capsys, "check", str(BUILT_IN / "pedal-hold.toml"))
    assert code == 0
    assert "30 to 40 s in all" in out
    assert "up     29 to 37 s" in out


def test_check_as_json(capsys, tmp_path):
    bad = tmp_path / "bad.toml"
    bad.write_text(BAD)
    code, out, _ = run(capsys, "check", str(bad), str(tmp_path / "none.toml"), "--json")
    first, second = json.loads(out)["result"]["files"]
    assert code == 2
    assert [(f["line"], f["step"]) for f in first["faults"]] == [(9, "down"), (10, "start")]
    assert second["faults"][0]["line"] is None
    assert "cannot be read" in second["faults"][0]["what"]


def test_check_says_on_which_switch_it_cannot_be_done(capsys, tmp_path):
    path = tmp_path / "back.toml"
    step = '  { id = "acc", do = "ignition accessory", about = 5, give = 1 },\n]'
    path.write_text(BAD.split('  { id = "down"')[0] + step)
    code, out, _ = run(capsys, "check", str(path))
    assert code == 0
    assert "Cannot be done on a button: from on there is no way back to accessory" in out


def test_odds_name_the_weak_step_and_what_a_cue_gains(capsys):
    code, out, _ = run(capsys, "odds", "pedal-count")
    assert code == 0
    assert "timed by feel: 85 %, 7" in out
    assert "The weak step is “Press and hold”: 85 % by itself." in out
    assert "Cueing it alone makes the whole over 99 %." in out


def test_odds_as_json_for_another_person(capsys):
    worse = json.loads(run(capsys, "odds", "pedal-hold", "--cv", "0.16", "--json")[1])["result"]
    better = json.loads(run(capsys, "odds", "pedal-hold", "--cv", "0.05", "--json")[1])["result"]
    assert worse["p"] < better["p"]
    assert worse["weak"] == "up"
    assert worse["lo"] <= worse["p"] <= worse["hi"]
    assert worse["p_if_cued"] > worse["p"]


@pytest.mark.parametrize(("name", "why"), [("drive-in", "on the road"), ("fast-run-in", "fan off")])
def test_odds_of_what_is_not_timed_by_feel_cannot_be_told(capsys, tmp_path, name, why):
    code, out, _ = run(capsys, "odds", name)
    assert code == 0
    assert "Cannot tell" in out
    assert why in " ".join(out.split())
    assert "by feel: " not in out
    assert json.loads(run(capsys, "odds", name, "--json")[1])["result"]["kind"] == "cannot tell"
    figure = tmp_path / "odds.svg"
    assert run(capsys, "odds", name, "--figure", str(figure))[0] == 2
    assert not figure.exists()


def test_odds_with_a_cued_step_count_it_in(capsys):
    answer = json.loads(run(capsys, "odds", "power-cycle", "--cue", "off", "--json")[1])
    assert answer["result"]["cued"] == ["off.1", "off.2", "off.3", "off.4"]
    assert answer["result"]["p"] > 0.97
    assert answer["rests_on"]


@pytest.mark.parametrize("words", [["--cue", "none"], ["--cv", "-1"]])
def test_odds_refuse_what_makes_no_sense(capsys, words):
    assert run(capsys, "odds", "pedal-hold", *words)[0] == 2


def test_the_users_folder_is_an_option_or_in_the_environment(capsys, tmp_path, monkeypatch):
    text = (BUILT_IN / "pedal-hold.toml").read_text(encoding="utf-8")
    (tmp_path / "mine.toml").write_text(text.replace('id = "pedal-hold"', 'id = "mine"'), encoding="utf-8")
    assert "(yours)" in run(capsys, "list", "--folder", str(tmp_path))[1]
    monkeypatch.setenv("TICKOVER_ROUTINES", str(tmp_path))
    assert run(capsys, "show", "mine")[0] == 0
    assert run(capsys, "show", str(Path(tmp_path) / "mine.toml"))[0] == 0


@pytest.mark.parametrize("name", ["odds.svg", "odds.png"])
@pytest.mark.parametrize("more", [(), ("--narrow",)])
def test_odds_are_drawn(capsys, tmp_path, name, more):
    file = tmp_path / name
    code, out, _ = run(capsys, "odds", "pedal-count", "--figure", str(file), *more)
    assert code == 0
    assert str(file) in out.replace("\n", "")
    made = file.read_bytes()
    assert made.startswith(b"\x89PNG" if name.endswith("png") else b"<?xml")


def test_odds_refuse_a_picture_of_another_kind_and_a_folder_that_is_not_there(capsys, tmp_path):
    assert run(capsys, "odds", "pedal-count", "--figure", "odds.gif")[0] == 2
    code, _, err = run(capsys, "odds", "pedal-count", "--figure", str(tmp_path / "no" / "odds.svg"))
    assert code == 2
    assert "cannot be written" in err


def test_odds_by_a_sound_file_gain_less_than_with_the_coach(capsys):
    by = {
        how: json.loads(run(capsys, "odds", "pedal-count", "--cue-from", how, "--json")[1])["result"]
        for how in ("coach", "sound file")
    }
    assert by["coach"]["p"] == by["sound file"]["p"]
    assert by["coach"]["p_if_cued"] > by["sound file"]["p_if_cued"] > by["coach"]["p"] + 0.1
