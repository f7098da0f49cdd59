"""``tickover ready``, from the shell's side."""

import io
import json

import pytest

from tickover.cli import main, tickover

COUNTERS = "49 08 10 00C8 0190 005A 0096 0000 0000 0078 0096 0000 0000 0064 0096 0000 0000 001E 003C"
DAYS = ("--today", "2025-06-02", "--by", "2025-06-12", "--per-day", "3")


@pytest.fixture(autouse=True)
def registered(monkeypatch):
    monkeypatch.delenv("TICKOVER_RULES", raising=False)
    monkeypatch.setitem(tickover.later, "ready", ("tickover.cli.ready:ready_group", "Ready."))


@pytest.fixture
def run(capsys):
    def call(*args):
        with pytest.raises(SystemExit) as stop:
            main(["ready", *map(str, args)])
        out = capsys.readouterr()
        return stop.value.code, out.out, out.err

    return call


def flat(text):
    return " ".join(text.split())


def test_decode_says_it_in_a_sentence(run):
    code, out, _ = run("decode", "41", "01", "00", "07", "65", "04")
    assert code == 0
    assert flat(out) == (
        "lamp dark, 0 codes stored; still open since the last clear: evaporative system; 6 complete (spark ignition)"
    )
    assert run("decode", "410100076504")[1] == out
    assert run("decode", "41 01 00 07 65 04")[1] == out


def test_decode_takes_a_file_several_answers_and_standard_input(run, tmp_path, monkeypatch):
    path = tmp_path / "car.txt"
    path.write_text("7E8 06 41 01 00 07 65 04\n7E8 03 41 30 02\n")
    code, out, _ = run("decode", path)
    assert (code, out.count("7E8")) == (0, 1)
    assert "warm-ups: 2" in out
    assert "warm-ups: 2" in run("decode", "410100076504", "413002")[1]
    monkeypatch.setattr("sys.stdin", io.StringIO("41 30 02\n"))
    assert "warm-ups: 2" in run("decode", "-")[1]


def test_a_mistake_is_one_message_with_line_and_byte_and_exit_code_2(run, tmp_path):
    code, out, err = run("decode", "41 O1 00 07 65 04")
    assert (code, out) == (2, "")
    assert "line 1" in err
    assert "Traceback" not in err
    code, out, _ = run("decode", "41 O1 00 07 65 04", "--json")
    shape = json.loads(out)
    assert (code, shape["error"], shape["values"]["byte"]) == (2, "ReplyError", 2)
    assert "cannot be read" in run("decode", tmp_path / "none.txt")[2]
    assert "none of that name" in run("decode", "mycar")[2]


def test_check_says_the_answer_first_then_an_ordered_list(run):
    code, out, _ = run("check", "--rule", "us-federal", "--year", "2004", "41 01 00 07 E5 A5", "--today", "2025-06-02")
    assert code == 0
    lines = out.splitlines()
    assert lines[0] == "◆ would be turned away"
    assert "4 monitors are open, at most 1 may be" in lines[1]
    assert lines[2].split()[0] == "1."
    assert "Check with the programme" in flat(out)
    same = run("check", "--rule", "us-federal", "--year", "2004", "--hex", "41010007E5A5", "--today", "2025-06-02")
    assert same[1] == out
    for word in ("supported", "Supported", "complete:", "| "):
        assert word not in out


def test_check_by_hand(run):
    args = ("check", "--rule", "us-federal", "--year", "2000", "--lamp", "off", "--today", "2025-06-02")
    assert run(*args, "--open", "evap,catalyst")[1].startswith("◆ would be ready")
    assert run(*args, "--open", "evap,catalyst,o2")[1].startswith("◆ would be turned away")
    assert run(*args, "--open-count", "2")[1].startswith("◆ would be ready")
    assert run(*args, "--open", "none")[1].startswith("◆ would be ready")
    california = ("check", "--rule", "us-california", "--year", "2004", "--fuel", "petrol", "--today", "2025-06-02")
    code, out, _ = run(*california, "--open-count", "1")
    assert code == 0
    assert out.startswith("┄ cannot tell")
    permanent = ("--year", "2012", "--open", "none", "--lamp", "off", "--permanent", "p0301", "--warm-ups", "15")
    assert "◆ would be ready" in run(*california, *permanent, "--km", "322", "--bulb", "lights")[1]
    assert "◆ would be turned away" in run(*california, *permanent, "--km", "321")[1]
    assert "◆ would be turned away" in run(*california, *permanent, "--km", "322", "--bulb", "dark")[1]


def test_a_memory_cleared_lately_is_explained_and_erasing_is_not_advised(run):
    out = flat(run("check", "--rule", "us-federal", "--year", "2004", "410100076504", "413002", "41310012")[1])
    assert "The memory was cleared not long ago" in out
    assert "2 warm-ups since the last clear" in out
    assert "Erasing again would open every monitor again" in out
    code, out, _ = run("ask-erase")
    assert code == 0
    assert flat(out).startswith("1. Erasing codes before an inspection does not help to pass")
    assert json.loads(run("ask-erase", "--json")[1])["result"]["says"]


def test_json_is_the_shared_envelope(run):
    args = ("check", "--rule", "us-federal", "--year", "2004", "410100076504", "--today", "2025-06-02", "--json")
    shape = json.loads(run(*args)[1])
    assert (shape["what"], shape["result"]["word"], shape["result"]["kind"]) == (
        "ready check",
        "would be ready",
        "readiness",
    )
    assert shape["rests_on"]
    assert json.loads(run("decode", "410100076504", "--json")[1])["result"]["answers"][0]["answer"]["pid"] == 1
    rules = json.loads(run("rules", "--json")[1])["result"]["rules"]
    assert {"us-federal", "us-california", "all-complete", "lamp-only", "lamp-and-tailpipe", "none"} <= {
        rule["id"] for rule in rules
    }


def test_rules_name_sources_and_the_uncertain_change(run):
    out = flat(run("rules")[1])
    assert "40 CFR 85.2222(c)(2)" in out
    assert "Basis: one trade excerpt" in out
    assert "15 warm-ups and 200 miles" in out


def test_rules_of_ones_own(run, tmp_path, monkeypatch):
    (tmp_path / "mine.toml").write_text(
        'id = "village"\ntitle = "V"\nkind = "lamp only"\nsource = "s"\ntag = "M"\ncheck_with = "Ask."\n'
    )
    args = ("check", "--lamp", "off", "--rule", "village")
    assert run(*args, "--folder", tmp_path)[1].startswith("◆ would be ready")
    assert run(*args)[0] == 2
    monkeypatch.setenv("TICKOVER_RULES", str(tmp_path))
    assert run(*args)[1].startswith("◆ would be ready")


def test_forecast_says_chance_days_and_what_helps(run):
    code, out, _ = run("forecast", "--counters", COUNTERS, *DAYS)
    assert code == 0
    assert "with a chance of" in flat(out)
    assert "80 % after" in flat(out)
    assert "Drive for this first: evaporative system" in flat(out)
    assert run("forecast", "--counters", COUNTERS, *DAYS)[1] == out
    shape = json.loads(run("forecast", "--counters", COUNTERS, *DAYS, "--json")[1])
    assert shape["result"]["chance"]["lo"] < shape["result"]["chance"]["value"] < shape["result"]["chance"]["hi"]
    assert shape["inputs"]["seed"] == 20


def test_forecast_draws(run, tmp_path):
    for name, start in (("f.svg", b"<?xml"), ("f.png", b"\x89PNG")):
        assert run("forecast", "--counters", COUNTERS, *DAYS, "--figure", tmp_path / name)[0] == 0
        assert (tmp_path / name).read_bytes().startswith(start)
    assert run("forecast", "--counters", COUNTERS, *DAYS, "--figure", tmp_path / "f.pdf")[0] == 2
    assert run("forecast", "--counters", COUNTERS, *DAYS, "--figure", tmp_path / "no" / "f.svg")[0] == 2


def test_forecast_without_counters_and_what_cannot_be_told(run):
    assert "a wide guess stands in" in flat(run("forecast", "--open", "evap", *DAYS)[1])
    code, out, _ = run("forecast", *DAYS)
    assert code == 0
    assert out.startswith("┄ cannot tell")
    assert json.loads(run("forecast", *DAYS, "--json")[1])["result"]["kind"] == "cannot tell"


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("check", "--rule", "us-federale"), "us-federal"),
        (("check", "--rule", "us-federal", "--open", "katalyst"), "catalyst"),
        (("check", "--rule", "us-federal", "--open", "evap", "--open-count", "1"), "both given"),
        (("check", "--rule", "us-federal", "--permanent", "X"), "not a trouble code"),
        (("check", "--rule", "us-federal", "--today", "soon"), "2026-12-01"),
        (("forecast", "--open", "evap", "--per-day", "0", "--by", "2030-01-01"), "per-day"),
        (("forecast", "--open", "evap", "--per-day", "3", "--by", "2020-01-01"), "is before"),
        (("rules", "--folder", "/nowhere/at/all"), "not a folder"),
    ],
)
def test_arguments_that_make_no_sense_are_refused_with_the_way_out(run, args, says):
    code, out, err = run(*args)
    assert (code, out) == (2, "")
    assert says in err
