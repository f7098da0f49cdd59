"""Write requirements/lock.txt: exact versions with hashes, from pip's own report, for each supported Python.

``pip install --dry-run --report`` resolves; nothing is installed. The lock covers CPython 3.11 to 3.13 on Linux
(x86_64 and aarch64); markers tell the Pythons apart where versions or wheels differ.
Usage: ``make lock`` (asks the package index; a few minutes).
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import tomllib
from collections import defaultdict
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PYTHONS = ("3.11", "3.12", "3.13")
MACHINES = {
    "x86_64": ("manylinux_2_28_x86_64", "manylinux_2_27_x86_64", "manylinux_2_17_x86_64", "manylinux2014_x86_64"),
    "aarch64": ("manylinux_2_28_aarch64", "manylinux_2_27_aarch64", "manylinux_2_17_aarch64", "manylinux2014_aarch64"),
}
EXTRAS = ("test", "check")
BY_HAND = {"antlr4-python3-runtime"}
"""Pinned in requirements/source.txt, because the version that is needed has no wheel."""

Pins = dict[str, tuple[str, set[str]]]


def wanted() -> list[str]:
    """Requirements of the base and the extras the Makefile needs, and what builds the project."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    extras = project["project"]["optional-dependencies"]
    return [
        *project["project"]["dependencies"],
        *(line for extra in EXTRAS for line in extras[extra]),
        *project["build-system"]["requires"],
    ]


def resolve(python: str, machine: str, constraints: Path | None) -> Pins:
    """What pip would install there: name to (version, hashes)."""
    with tempfile.TemporaryDirectory() as scratch:
        report = Path(scratch) / "report.json"
        command = [sys.executable, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--dry-run"]
        command += ["--ignore-installed", "--report", str(report), "--only-binary", ":all:", "--target", scratch]
        command += ["--python-version", python, "--implementation", "cp"]
        for platform in MACHINES[machine]:
            command += ["--platform", platform]
        if constraints:
            command += ["-c", str(constraints)]
        subprocess.run([*command, *wanted()], check=True)
        pins: Pins = {}
        for item in json.loads(report.read_text(encoding="utf-8"))["install"]:
            name = item["metadata"]["name"].lower().replace("_", "-")
            if name in BY_HAND:
                continue
            digest = item["download_info"]["archive_info"]["hashes"]["sha256"]
            pins[name] = (item["metadata"]["version"], {digest})
        return pins


def lock() -> str:
    """The text of the lock file."""
    versions: dict[tuple[str, str], list[str]] = defaultdict(list)
    hashes: dict[tuple[str, str], set[str]] = defaultdict(set)
    for python in PYTHONS:
        first: Pins = {}
        for machine in MACHINES:
            with tempfile.NamedTemporaryFile("w", suffix=".txt") as same:
                same.writelines(f"{name}=={version}\n" for name, (version, _) in first.items())
                same.flush()
                pins = resolve(python, machine, Path(same.name) if first else None)
            first = first or pins
            for name, (version, digests) in pins.items():
                hashes[name, version] |= digests
                if python not in versions[name, version]:
                    versions[name, version].append(python)
            print(f"resolved for Python {python}, {machine}: {len(pins)} packages", file=sys.stderr)
    lines = ["# Written by `make lock` from pip's own report; do not edit."]
    for (name, version), pythons in sorted(versions.items()):
        marker = (
            "" if len(pythons) == len(PYTHONS) else " ; " + " or ".join(f'python_version == "{p}"' for p in pythons)
        )
        lines_of = " ".join(f"\\\n    --hash=sha256:{digest}" for digest in sorted(hashes[name, version]))
        lines.append(f"{name}=={version}{marker} {lines_of}")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    target = ROOT / "requirements" / "lock.txt"
    target.parent.mkdir(exist_ok=True)
    target.write_text(lock(), encoding="utf-8")
