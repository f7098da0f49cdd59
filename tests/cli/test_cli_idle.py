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
