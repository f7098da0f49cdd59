"""Make the virtual environment and install the locked packages. Standard library only: it runs before anything else.

Usage: ``python3 tools/setup.py .venv``. Where something is missing it says so in one line and stops.
"""

from __future__ import annotations

import hashlib
import platform
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
LOCK = ROOT / "requirements" / "lock.txt"
SOURCE = ROOT / "requirements" / "source.txt"


def stop(line: str) -> None:
    """One clear line, exit code 2."""
    print(f"set-up stopped: {line}", file=sys.stderr)
    raise SystemExit(2)


def make_venv(folder: Path) -> Path:
    """Make the environment where it is not there yet; returns its python."""
    python = folder / "bin" / "python"
    if python.exists():
        return python
    try:
        import ensurepip  # noqa: F401 — Debian ships python3 without it; then venv fails with a page of text
    except ImportError:
        stop("this python3 has no venv; on Debian or Ubuntu: apt-get install python3-venv")
    subprocess.run([sys.executable, "-m", "venv", str(folder)], check=True)
    return python


def install(python: Path) -> None:
    """Install the locked packages by hash, then the project itself without touching them."""
    pip = [str(python), "-m", "pip", "--disable-pip-version-check", "-qq"]
    locked = platform.system() == "Linux" and platform.machine() in {"x86_64", "aarch64"}
    if locked:
        command = [*pip, "install", "--require-hashes", "--no-deps", "--only-binary", ":all:", "-r", str(LOCK)]
        way_out = "a wheel is missing for this Python or processor; supported: CPython 3.11 to 3.13 on Linux"
    else:
        command = [*pip, "install", f"{ROOT}[test,check]"]
        way_out = "a wheel is missing for this system"
    print(f"Setting up in {python.parent.parent} (once; a few minutes on a slow line) …", flush=True)
    if subprocess.run(command, check=False).returncode:
        stop(f"pip could not install the packages (its reason stands above); often {way_out}, or no network")
    if locked:
        built = [*pip, "install", "--require-hashes", "--no-deps", "--no-build-isolation", "-r", str(SOURCE)]
        if subprocess.run(built, check=False).returncode:
            stop("a package could not be built from source (pip's reason stands above)")
    quiet = [*pip, "install", "--no-deps", "--no-build-isolation", "--editable", str(ROOT)]
    if subprocess.run(quiet, check=False).returncode:
        stop("the project itself could not be installed (pip's reason stands above)")


def main() -> None:
    """Set up, and leave a mark that make looks at."""
    if not (3, 11) <= sys.version_info[:2] <= (3, 13):
        stop(f"Python 3.11, 3.12 or 3.13 is needed; this is {platform.python_version()} (make PYTHON=python3.12 …)")
    folder = Path(sys.argv[1] if len(sys.argv) > 1 else ".venv")
    python = make_venv(folder)
    mark = folder / ".ready"
    want = hashlib.sha256(LOCK.read_bytes() + SOURCE.read_bytes() + (ROOT / "pyproject.toml").read_bytes()).hexdigest()
    if not mark.exists() or mark.read_text() != want:
        install(python)
    mark.write_text(want)


if __name__ == "__main__":
    main()
