"""The card: one page, every step with its window, what can hurt, and grey as well as in colour."""

import io

import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from tickover.cli.routine_card import card_command
from tickover.cli.routine_cue import cue_command
from tickover.cues.card import card_pdf, card_png, rows_of
from tickover.cues.plan_picture import plan_picture
from tickover.cues.when import when_of
from tickover.routines import compile_routine, load_library, parse_routine
from tickover.routines.aiming import aims_for
from tickover.routines.phrases import CAUTION_ROAD

LIBRARY = load_library()


def text_of(pdf):
    reader = PdfReader(io.BytesIO(pdf))
    assert len(reader.pages) == 1
    return " ".join(reader.pages[0].extract_text().split())


@pytest.mark.parametrize("name", list(LIBRARY))
def test_every_built_in_routine_fits_one_page_with_every_step_and_window(name):
    routine = compile_routine(LIBRARY[name])
    text = text_of(card_pdf(routine))
    squeezed = text.replace(" ", "")
    for step, _ in rows_of(routine)[0]:
        assert when_of(routine, step, rows_of(routine)[1]).replace(" ", "") in squeezed
        if CAUTION_ROAD not in step.caution:
            assert step.caution[:40].replace(" ", "") in squeezed
    for need in routine.needs:
        assert need.need[:25].replace(" ", "") in squeezed
    assert ("May erase" in text) == routine.may_erase
    assert routine.basis.words.replace(" ", "") in squeezed
    assert routine.after_miss[:30].replace(" ", "") in squeezed


@pytest.mark.parametrize("name", list(LIBRARY))
def test_no_words_of_the_picture_run_into_each_other(name):
    routine = compile_routine(LIBRARY[name])
    found = aims_for(routine, "none")
    assert plan_picture(routine, found, rows_of(routine)[1], room=687).faults() == []


def test_a_cycle_is_listed_once_with_its_rounds():
    rows, numbers = rows_of(compile_routine(LIBRARY["power-cycle"]))
    assert [(s.written, rounds) for s, rounds in rows] == [("on", 4), ("off", 4), ("on-last", 1), ("start", 1)]
    assert numbers["off.3"] == 2


def test_how_long_each_press_may_be_is_never_left_out():
    assert "all of them" in text_of(card_pdf(compile_routine(LIBRARY["pedal-count"])))


def test_a_routine_with_far_too_many_words_is_shortened_and_says_so():
    words = "needs a great many words to be said here. " * 12
    text = (
        f'id = "long"\ntitle = "Long"\nkind = "relearn"\ndisturbs = 1\nmay_erase = true\nafter_miss = "{words}"\n'
        'basis = { kind = "common practice" }\n'
        + f"cautions = [{', '.join(repr(words) for _ in range(4))}]\n".replace("'", '"')
        + "".join(f'[[needs]]\nneed = "{k} {words}"\nwhy = "{words}"\n' for k in range(9))
        + '[[steps]]\nid = "s0"\ndo = "ignition on"\n'
        + "".join(
            f'[[steps]]\nid = "s{k}"\ndo = "{"press" if k % 2 else "release"}"\n'
            f'about = 5\ngive = 1\ncaution = "{words}"\n'
            for k in range(1, 11)
        )
    )
    page = text_of(card_pdf(compile_routine(parse_routine(text, file="long.toml"))))
    assert "Shortened to fit one page" in page
    assert page.count("5 s, give or take 1") == 10


def test_the_png_is_one_and_the_same_each_time():
    routine = compile_routine(LIBRARY["power-cycle"])
    assert card_png(routine, 40) == card_png(routine, 40)
    assert card_png(routine, 40)[:4] == b"\x89PNG"


def test_the_commands_write_what_they_say(tmp_path):
    run = CliRunner()
    out = tmp_path / "card.pdf"
    told = run.invoke(card_command, ["pedal-count", "--out", str(out), "--switch", "button"])
    assert told.exit_code == 0
    assert "start button" in text_of(out.read_bytes())
    folder = tmp_path / "cue"
    told = run.invoke(cue_command, ["pedal-count", "--out", str(folder), "--tones-only"])
    assert told.exit_code == 0
    names = sorted(p.name for p in folder.iterdir())
    assert names == ["1-to-begin.wav", "2-the-moment-the-lamp-stays-lit.wav", "how-to-play.txt"]
    told = run.invoke(cue_command, ["power-cycle", "--json"])
    assert '"what": "routine cue"' in told.output
