"""``tickover cause`` and ``tickover watch``."""

import json
import shlex

import numpy as np
import pytest
from click.testing import CliRunner

from tickover.cause import TESTS, Causes
from tickover.cause.acts import MEASURES
from tickover.cli.cause import cause_command
from tickover.cli.cause_options import option_of
from tickover.cli.cause_watch import watch_command
from tickover.errors import InputError

LEAK = ["--trim", "idle=+18", "--trim", "2500=+6", "--metering", "air", "--displacement", "2.0"]


def run(*words, command=cause_command):
    return CliRunner().invoke(command, list(words), catch_exceptions=False)


def test_typed_alone_the_next_test_comes_first_and_something_else_is_there():
    out = run(*LEAK).output
    assert out.index("Next test") < out.index("What still fits") < out.index("something else")
    assert "air leak behind the throttle" in out
    assert "as a round hole" in out
    axis = next(line for line in out.splitlines() if line.split() == ["0", "20", "50", "100"])
    assert out.count(axis) == 1
    assert not [line for line in out.splitlines() if line.rstrip().endswith("%") and "◆" in line]


def test_json_is_the_result_in_its_envelope():
    made = json.loads(run(*LEAK, "--json").output)
    assert made["what"] == "cause"
    found = Causes.model_validate(made["result"])
    assert found.groups[0].names >= {"leak"}
    assert made["inputs"]["evidence"]["trims"]["idle"]["value"] == 18
    assert made["inputs"]["car"]["metering"] == "air"


def test_spreads_limits_units_and_short_names_are_read():
    words = [
        "--trim", "idle=25!", "--trim", "load=12±2", "--vacuum", "18inHg", "--idle-air", "20:30", "--volts",
        "rest=12,4", "--codes", "p0171", "--did", "cleaned", "--complaint", "high,hangs", "--test", "pinch=falls",
        "--json",
    ]  # fmt: skip
    given = json.loads(run(*words).output)["inputs"]
    evidence = given["evidence"]
    assert evidence["trims"]["idle"]["at_limit"] is True
    assert evidence["trims"]["idle with load"]["spread"] == 2
    assert evidence["vacuum"]["value"] == pytest.approx(60.96, abs=0.01)
    assert given["car"]["idle_air_normal"] == 30
    assert evidence["volts"]["rest"]["value"] == 12.4
    assert evidence["codes"] == ["P0171"]
    assert evidence["tests"] == {"pinch": "falls"}


def test_no_codes_stored_is_evidence_and_not_asked_for_again():
    made = json.loads(run(*LEAK, "--codes", "none", "--json").output)
    assert made["inputs"]["evidence"]["codes"] == []
    assert "no codes stored" in made["result"]["evidence"]
    assert "codes" not in [t["name"] for t in (made["result"]["next_test"], *made["result"]["tests"]) if "name" in t]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--trim", "idle=x"], "is no number"),
        (["--trim", "hill=3"], "is none of idle"),
        (["--trim", "idle"], "wants a name and a value"),
        (["--trim", "idle=1", "--trim", "idle=2"], "given twice"),
        (["--vacuum", "18"], "unit"),
        (["--codes", "leak"], "no trouble code"),
        (["--test", "pinch=perhaps"], "comes out as"),
        (["--speed", "99999"], "lies outside"),
        (["--did", "sold"], "is none of"),
        (["--did", "nothing,battery"], "“nothing” stands beside other answers"),
        (["--complaint", "none,high"], "“none” stands beside other answers"),
        (["--codes", "p0171,none"], "“none” stands beside codes"),
        (["--idle-air", "20:"], "28:40"),
        (["--displacement", "2000"], "in litres that is 2"),
        (["--displacement", "0.2"], "outside 0.6 to 6 l"),
    ],
)
def test_what_was_typed_wrongly_is_said_with_a_way_out(words, told):
    out = run(*words)
    assert out.exit_code == 2
    assert told in out.output


def test_the_picture_is_written_and_has_no_faults(tmp_path):
    from tickover.cause import Car, Evidence, diagnose
    from tickover.cause.picture import causes_picture

    out = run(*LEAK, "--figure", str(tmp_path / "fits.svg"))
    assert out.exit_code == 0
    assert "air leak" in (tmp_path / "fits.svg").read_text(encoding="utf-8")
    for evidence in (Evidence(), Evidence(trims={"idle": 18}), Evidence(trims={"idle": 0}, idle_speed=980)):
        assert causes_picture(diagnose(evidence, Car())).faults() == []
    with pytest.raises(InputError):
        run(*LEAK, "--figure", str(tmp_path / "fits.pdf"))


def test_with_a_job_it_reads_what_is_there_and_keeps_the_answer(tmp_path):
    from tickover.cli.job_store import opened, record

    store = str(tmp_path / "jobs.db")
    with opened(store) as held:
        job = held.new(at="2026-11-25T10:00:00+00:00")
        number = getattr(job, "number", job)
        record(held, number, "arrive", "answers", {"complaint": ["high"], "before": ["cleaned"], "codes": []}, by="AB")
    out = run("--job", str(number), "--store", store, "--speed", "980", "--metering", "pressure", "--normal", "700-800")
    assert out.exit_code == 0
    assert f"Kept in job {number}" in out.output
    with opened(store) as held:
        kept = [e for e in held.current(number) if e.stage == "cause"]
    assert [e.kind for e in kept] == ["causes"]
    assert "old idle memory" in kept[0].data["sentence"]
    assert kept[0].inputs["evidence"]["history"] == ["cleaned"]


def test_watch_says_whether_it_stays_well(tmp_path):
    table = tmp_path / "drives.csv"
    table.write_text("trim,spread,misfires\n" + "0.5,7,40\n" * 8, encoding="utf-8")
    out = run(str(table), "--normal-trim", "0", "--normal-spread", "7", command=watch_command)
    assert "stays well" in out.output
    made = json.loads(run(str(table), "--normal-trim", "0", "--json", command=watch_command).output)
    assert made["result"]["verdict"] == "stays well"
    assert made["result"]["clean_cycles"]["value"] == 15


@pytest.mark.parametrize("text", ["", "a,b\n1,2\n", "trim\nfoo\nbar\n", "trim,spread\n1,-3\n"])
def test_a_table_that_cannot_be_read_is_refused_with_its_line(tmp_path, text):
    table = tmp_path / "drives.csv"
    table.write_text(text, encoding="utf-8")
    with pytest.raises(InputError):
        run(str(table), command=watch_command)


@pytest.mark.parametrize("throttle", [False, True])
def test_a_held_speed_in_a_log_without_the_pedal_is_never_taken_for_an_idle(tmp_path, throttle):
    """Once a traceback (a spread past its range), and once 2,500 r/min read as an idle with the load on."""
    rng = np.random.default_rng(1)
    rows = ["time,rpm,stft,ltft,coolant,map" + (",Throttle (%)" if throttle else "")]
    for t in range(240):
        held = t >= (120 if throttle else 200)
        row = [t, round((2500 if held else 980) + rng.normal(0, 8)), 6 if held else 12, 4, 90, 30 if held else 36]
        rows.append(",".join(map(str, row + ([9 if held else 2] if throttle else []))))
    log = tmp_path / "held.csv"
    log.write_text("\n".join(rows) + "\n", encoding="utf-8")
    out = run("--log", str(log), "--metering", "air", "--normal", "650-750", "--json")
    assert out.exit_code == 0, out.output
    trims = json.loads(out.output)["inputs"]["evidence"]["trims"]
    assert not {"idle", "idle with load"} & set(trims)


def test_the_condition_and_what_a_bit_is_stand_in_the_whole_answer_only():
    short, whole = run(*LEAK).output, run(*LEAK, "--whole").output
    assert "condition" not in short
    assert " bit" not in short
    plain = " ".join(whole.split())
    assert "above 5 the numbers cannot part them" in plain
    assert plain.count("1 bit is a question that halves what is open") == 1


def test_what_is_missing_is_named_with_the_option_of_this_door():
    told = " ".join(run("--trim", "idle=+18", "--speed", "980", "--idle-air", "20").output.split())
    for option in ("--metering air or pressure", "--displacement", "--normal LOW-HIGH", "--idle-air VALUE:NORMAL"):
        assert f"Option: {option}" in told


def test_where_no_test_would_change_the_answer_it_says_what_to_act_on():
    out = " ".join(run(*LEAK, "--test", "pinch=falls").output.split())
    assert "No next test" in out
    assert "No test at hand would change this answer. Act: the hose is found" in out
    assert "Next test" not in out


def test_a_relearn_that_nobody_tried_is_no_relearn_again_and_points_to_the_ladder():
    words = ["--speed", "980", "--normal", "650-750", "--did", "cleaned", "--complaint", "high", "--metering", "air"]
    out = " ".join(run(*words, "--trim", "idle=0").output.split())
    assert "Relearn: The memory" in out
    assert "tickover arrive" in out
    assert "Caution Read and write down codes" in out
    assert "Relearn again: " in " ".join(run(*words, "--trim", "idle=0", "--attempts", "1").output.split())


def test_two_readings_at_odds_stand_before_the_next_test():
    out = " ".join(run(*LEAK, "--test", "pinch=falls", "--test", "smoke=none").output.split())
    assert out.index("pull against each other") < out.index("Next test") < out.index("Once more")


def test_every_line_fits_into_eighty_columns(monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    for words in (LEAK, [*LEAK, "--whole"], ["--trim", "idle=0", "--speed", "980", "--metering", "pressure"], []):
        assert max(len(line) for line in run(*words).output.splitlines()) <= 80


def test_a_figure_that_cannot_be_written_is_one_message(tmp_path):
    with pytest.raises(InputError, match="cannot be written"):
        run(*LEAK, "--figure", str(tmp_path / "nowhere" / "x.svg"))


def test_the_same_log_twice_is_refused(tmp_path):
    log = tmp_path / "a.csv"
    log.write_text("time,rpm\n0,800\n", encoding="utf-8")
    out = run("--log", str(log), "--log", str(log.parent / "." / "a.csv"))
    assert out.exit_code == 2
    assert "given twice" in out.output


def test_every_test_says_which_option_takes_its_result():
    out = run(*LEAK).output
    assert "Then: tickover cause … --test listen=hiss|quiet" in out
    found = json.loads(run(*LEAK, "--json").output)["result"]
    told = {t["name"]: t["option"] for t in (found["next_test"], *found["tests"], *found["spare"])}
    assert told["pinch"] == "--test pinch=falls|nothing"
    assert told["misfires"].startswith("--misfires N (missed firings per 1,000 revolutions")
    assert all(told.values())


def test_every_option_that_is_told_is_one_of_the_command_and_takes_what_it_says():
    options = {o for p in cause_command.params for o in p.opts}
    named = [*TESTS, *(m.channel for m in MEASURES), "codes", "history", "both banks", "verdict", "long trim",
             "coolant behaviour"]  # fmt: skip
    for name in named:
        told = option_of(name)
        assert told.split()[0] in options, name
        word = shlex.split(told.partition(" (")[0])
        if "|" in word[1]:
            place, equals, outcomes = word[1].rpartition("=")
            for outcome in outcomes.split("|"):
                given = run(word[0], f"{place}{equals}{outcome}")
                assert given.exit_code == 0, (name, outcome, given.output)


def test_the_plain_answer_is_short_and_names_all_cautions_once_above_the_act(monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    out = run(*LEAK).output
    assert len(out.splitlines()) <= 33
    assert out.count("Caution") == 1
    assert out.index("Caution") < out.index("Engine idling warm: listen")
    assert "rests on" not in out
    assert "rests on" in run(*LEAK, "--whole").output


def test_two_logs_that_disagree_are_named(tmp_path):
    log = tmp_path / "idle.csv"
    rows = [f"{t},{750 + t % 3},{-1 + t % 2},-1,90,33" for t in range(240)]
    log.write_text("time,rpm,stft,ltft,coolant,map\n" + "\n".join(rows) + "\n", encoding="utf-8")
    out = " ".join(run("--log", str(log), "--trim", "idle=12±1", "--metering", "air").output.split())
    assert "At odds: trim at idle" in out
    assert "(idle.csv)" in out
    assert "“typed” is counted in" in out
