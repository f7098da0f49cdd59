"""``tickover idle``, from the shell's side."""

import json
import sys
from pathlib import Path

import numpy as np
import pytest

from tickover.cli import main
from tickover.logs import write_log

sys.path.insert(0, str(Path(__file__).parents[1] / "idle"))
from idle_cars import idle


@pytest.fixture
def logs(tmp_path):
    write_log(idle(mean=842, sd=12, seconds=240), tmp_path / "before.csv")
    write_log(idle(mean=702, seed=2, seconds=240), tmp_path / "after.csv")
    write_log(idle(coolant=50), tmp_path / "cold.csv")
    return tmp_path


def run(capsys, *args):
    with pytest.raises(SystemExit) as stop:
        main(["idle", *map(str, args)])
    out = capsys.readouterr()
    return stop.value.code, out.out, out.err


def test_a_reading_says_the_answer_first(logs, capsys):
    code, out, _ = run(capsys, logs / "after.csv", "--normal", "650-750")
    assert code == 0
    first = out.strip().splitlines()[0]
    assert "702 ±" in first or "701 ±" in first
    assert "r/min" in first
    assert "[" in out
    assert "◆" in out
    assert out.index("rests on") < out.index("cannot tell")


def test_a_comparison_says_the_verdict_first(logs, capsys):
    code, out, _ = run(capsys, logs / "after.csv", "--against", logs / "before.csv", "--normal", "650-750")
    assert code == 0
    assert "◆ settled" in out.splitlines()[1]
    assert "slower" in out


def test_json_is_the_shared_envelope(logs, capsys):
    code, out, _ = run(capsys, logs / "after.csv", "--against", logs / "before.csv", "--normal", "650-750", "--json")
    shape = json.loads(out)
    assert code == 0
    assert (shape["what"], shape["result"]["verdict"]) == ("idle", "settled")
    assert shape["inputs"]["normal"] == [650, 750]
    assert shape["rests_on"]
    assert run(capsys, logs / "after.csv", "--json")[1] == run(capsys, logs / "after.csv", "--json")[1]


def test_cannot_tell_is_an_answer_not_an_error(logs, capsys):
    code, out, _ = run(capsys, logs / "cold.csv")
    assert code == 0
    assert "Cannot tell the idle" in out
    assert "never warm" in out
    code, out, _ = run(capsys, logs / "cold.csv", "--json")
    assert json.loads(out)["result"]["kind"] == "cannot tell"
    code, out, _ = run(capsys, logs / "after.csv", "--diesel")
    assert code == 0
    assert "diesel" in out


def test_a_missing_log_is_one_clear_message_and_exit_code_2(logs, capsys):
    code, out, err = run(capsys, logs / "none.csv")
    assert (code, out) == (2, "")
    assert "none.csv" in err
    assert "Traceback" not in err
    code, out, _ = run(capsys, logs / "none.csv", "--json")
    assert code == 2
    assert json.loads(out)["error"] == "LogFileError"


@pytest.mark.parametrize("normal", ["750-650", "about 700", "0-0"])
def test_a_normal_that_is_no_range_is_refused(logs, capsys, normal):
    code, _, err = run(capsys, logs / "after.csv", "--normal", normal)
    assert code == 2
    assert "650-750" in err


def test_the_report_names_every_column(tmp_path, capsys):
    rows = "\n".join(f"{i / 2},{700 + np.sin(i) * 5:.2f},{i}" for i in range(200))
    (tmp_path / "log.csv").write_text(f"Time,Engine RPM,Boost\n{rows}\n")
    code, out, _ = run(capsys, tmp_path / "log.csv", "--report")
    assert code == 0
    assert "Engine RPM → engine_speed" in out
    assert "Boost: not in the vocabulary" in out


def test_glances_instead_of_a_log_and_against_one(logs, capsys):
    code, out, _ = run(capsys, "--glances", "700 720 690 710 700 700 690 710 700 705")
    assert code == 0
    assert "10 glances" in out
    code, out, _ = run(
        capsys, logs / "after.csv", "--against", "900 950 900 900 950 900 900 950 900 900", "--normal", "650-750"
    )
    assert code == 0
    assert "◆ settled" in out
    code, out, _ = run(capsys, "--glances", "700 720", "--json")
    assert json.loads(out)["result"]["kind"] == "cannot tell"


@pytest.mark.parametrize(
    ("args", "says"),
    [
        ((), "Name a LOG"),
        (("--glances", "about 700"), "700 720 690"),
        (("--glances", "700 720 7 700 700"), "100 to 3000"),
        (("x.csv", "--glances", "700 720 690"), "one of the two"),
        (("x.csv", "--figure", "x.pdf"), ".svg"),
        (("x.csv", "--page", "x.pdf"), ".html"),
        (("x.csv", "--displacement", "1500"), "1500"),
    ],
)
def test_what_cannot_be_used_is_one_message_and_exit_code_2(args, says, capsys):
    code, _, err = run(capsys, *args)
    assert code == 2
    assert says in " ".join(err.split())
    assert "Traceback" not in err


def test_figures_and_a_page(logs, capsys):
    made = {name: logs / name for name in ("one.svg", "one.png", "one.html", "two.svg", "two.html")}
    run(capsys, logs / "after.csv", "--figure", made["one.svg"], "--page", made["one.html"])
    code, out, _ = run(capsys, logs / "after.csv", "--figure", made["one.png"])
    assert code == 0
    assert str(made["one.png"]) in out.replace("\n", "")
    against = ("--against", logs / "before.csv", "--normal", "650-750")
    run(capsys, logs / "after.csv", *against, "--figure", made["two.svg"], "--page", made["two.html"])
    assert made["one.png"].read_bytes().startswith(b"\x89PNG")
    for name in ("one.svg", "two.svg"):
        assert made[name].read_text(encoding="utf-8").startswith("<?xml")
    for name in ("one.html", "two.html"):
        assert made[name].read_text(encoding="utf-8").startswith("<!doctype html>")


def test_glances_have_a_figure_and_a_page(tmp_path, capsys):
    one, two, page = (tmp_path / n for n in ("one.svg", "two.png", "one.html"))
    text = "700 720 690 710 700 700 690 710 700 705"
    code, _, err = run(capsys, "--glances", text, "--normal", "650-750", "--figure", one, "--page", page)
    assert (code, err) == (0, "")
    assert "650 to 750" in one.read_text(encoding="utf-8")  # the jaws, in words too
    assert "650 to 750" in page.read_text(encoding="utf-8")
    code, _, err = run(capsys, "--glances", text, "--against", "900 950 900 900 950", "--figure", two)
    assert (code, err) == (0, "")
    assert two.read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize("args", [("--normal", "abc", "x.csv"), ("--nromal", "650-750"), ("--figure",), ()])
def test_a_wrong_option_is_one_line_with_a_way_out(args, capsys):
    code, out, err = run(capsys, *args)
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert err.startswith("tickover idle: ")
    assert "`tickover idle --help`" in err


def test_a_log_without_an_idle_is_drawn_with_the_reasons(logs, capsys):
    code, out, err = run(capsys, logs / "cold.csv", "--figure", logs / "cold.svg", "--page", logs / "cold.html")
    assert (code, err) == (0, "")
    assert "Cannot tell the idle" in out
    assert "coolant below 80 °C" in (logs / "cold.svg").read_text(encoding="utf-8")
    page = (logs / "cold.html").read_text(encoding="utf-8")
    assert "not used: not warm: coolant below 80 °C" in page


def test_nothing_to_draw_is_said(logs, capsys):
    code, _, err = run(capsys, logs / "after.csv", "--diesel", "--figure", logs / "diesel.svg")
    assert code != 0
    assert "nothing to draw" in err
    assert not (logs / "diesel.svg").exists()


def test_air_against_the_displacement(logs, capsys):
    out = run(capsys, logs / "after.csv", "--displacement", "1.5")[1]
    assert "expected" in out
    assert "each litre" in " ".join(out.split())
    assert "expected" not in run(capsys, logs / "after.csv")[1]


def odd_units(tmp_path):
    """A warm idle whose manifold pressure is in hPa and says kPa."""
    rng = np.random.default_rng(7)
    rows = [f"{i / 4},{700 + 6 * rng.normal():.2f},90,0,{330 + 10 * rng.normal():.0f}" for i in range(800)]
    path = tmp_path / "odd.csv"
    path.write_text("\n".join(["Time (s),n_ist,Coolant (°C),Speed (km/h),MAP (kPa)", *rows]), encoding="utf-8")
    (tmp_path / "map.toml").write_text('n_ist = "engine_speed [rpm]"\n')
    return path


def test_map_and_set_unit(tmp_path, capsys):
    path = odd_units(tmp_path)
    code, _, err = run(capsys, path)
    assert code == 2
    assert "no column names the engine speed" in " ".join(err.split())
    args = (path, "--map", tmp_path / "map.toml", "--report")
    code, out, _ = run(capsys, *args)
    said = " ".join(out.split())
    assert code == 0
    assert "Likely hPa" in said
    assert "--set-unit manifold_pressure=hPa" in said
    assert "800 in = 800 used" in said
    code, out, _ = run(capsys, *args, "--set-unit", "manifold_pressure=hPa")
    assert code == 0
    assert "hardly in" not in " ".join(out.split())
    code, _, err = run(capsys, *args, "--set-unit", "boost=hPa")
    assert code == 2
    assert "boost" in err
