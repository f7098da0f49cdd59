"""Set-up says in one line what is missing, and stops with exit code 2."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SETUP = ROOT / "tools" / "setup.py"


def run(code: str, tmp_path: Path, **env: str) -> subprocess.CompletedProcess[str]:
    argv = f"import sys, runpy; sys.argv = ['setup.py', {str(tmp_path / 'venv')!r}]"
    words = f"{argv}\n{code}\nrunpy.run_path({str(SETUP)!r}, run_name='__main__')"
    return subprocess.run(
        [sys.executable, "-c", words], capture_output=True, text=True, check=False, env={**os.environ, **env}
    )


def test_a_python_without_venv_is_told_the_package(tmp_path: Path) -> None:
    done = run("sys.modules['ensurepip'] = None", tmp_path)
    assert done.returncode == 2
    assert done.stderr.strip().splitlines() == [
        "set-up stopped: this python3 has no venv; on Debian or Ubuntu: apt-get install python3-venv"
    ]


def test_a_python_that_is_too_old_is_told_which_are_not(tmp_path: Path) -> None:
    done = run("sys.version_info = (3, 10, 0, 'final', 0)", tmp_path)
    assert done.returncode == 2
    assert "Python 3.11, 3.12 or 3.13 is needed" in done.stderr


def test_a_missing_wheel_ends_in_one_clear_line(tmp_path: Path) -> None:
    done = run("", tmp_path, PIP_NO_INDEX="1", PIP_FIND_LINKS=str(tmp_path), PIP_CONFIG_FILE=os.devnull)
    assert done.returncode == 2
    assert done.stderr.strip().splitlines()[-1].startswith("set-up stopped: pip could not install the packages")
    assert not (tmp_path / "venv" / ".ready").exists()


def test_the_lock_pins_every_requirement_with_hashes() -> None:
    lock = (ROOT / "requirements" / "lock.txt").read_text(encoding="utf-8")
    pins = [block for block in lock.split("\n") if "==" in block]
    assert lock.count("--hash=sha256:") >= len(pins) > 40
    names = {pin.split("==")[0] for pin in pins}
    assert {"click", "numpy", "typst", "pytest", "mypy", "setuptools"} <= names
