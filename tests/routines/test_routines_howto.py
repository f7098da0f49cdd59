"""The how-to page is run, not trusted: its files are read, its spoilt file gives the fault it shows."""

import re
from pathlib import Path

from tickover.routines import compile_routine, parse_routine
from tickover.routines.check import check_file
from tickover.routines.words import check_lines

PAGE = Path(__file__).parents[2] / "docs" / "how-to" / "write-down-a-routine.md"


def blocks(language):
    return re.findall(rf"```{language}\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.S)


def test_every_file_on_the_page_is_without_fault_on_both_switches():
    files = [parse_routine(text) for text in blocks("toml")]
    assert [r.id for r in files] == ["mine", "mine-cycle"]
    for routine in files:
        compile_routine(routine, "key")
        compile_routine(routine, "button")


def test_the_spoilt_file_gives_the_fault_that_the_page_shows(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    text = blocks("toml")[0]
    spoilt = text.replace("about = 7\ngive = 1\n", "about = 7\n")
    assert spoilt != text
    Path("mine.toml").write_text(spoilt, encoding="utf-8")
    said = "".join(f"{' ' * line.indent}{line.text}\n" for line in check_lines(check_file(Path("mine.toml"))))
    assert said in blocks("text")
