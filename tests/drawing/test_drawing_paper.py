import pytest

from tickover.drawing import paper
from tickover.errors import PaperError, TickoverError

PAGE = '#set page(width: 300pt, height: 200pt)\n#let d = json("d.json")\n#text(font: d.font)[Idle #d.words]\n'


def words(text, role="text"):
    import json

    return {"d.json": json.dumps({"words": text, "font": list(paper.FACES[role])}).encode()}


def test_the_same_page_gives_the_same_bytes():
    one, other = (paper.pdf(PAGE, words("842 ± 14")) for _ in range(2))
    assert one == other
    assert one.startswith(b"%PDF-")
    assert paper.png(PAGE, words("842")) == paper.png(PAGE, words("842"))


def test_a_png_a_page():
    pages = paper.png("one #pagebreak() two #pagebreak() three", ppi=20)
    assert len(pages) == 3
    assert all(page.startswith(b"\x89PNG") for page in pages)


def test_what_the_typesetter_refuses_is_one_of_our_errors():
    with pytest.raises(PaperError, match="nothing_of_that_name") as caught:
        paper.pdf("#nothing_of_that_name")
    assert isinstance(caught.value, TickoverError)
    assert caught.value.as_dict()["error"] == "PaperError"
    with pytest.raises(PaperError):
        paper.png('#image("not-there.svg")')
    with pytest.raises(PaperError):
        paper.ask("nothing", None, "<pages>")


def test_no_package_is_fetched():
    with pytest.raises(PaperError):
        paper.pdf('#import "@preview/cetz:0.3.0"')


def test_metadata_can_be_asked_for():
    assert paper.ask("#context [#metadata(counter(page).final().first()) <pages>]", None, "<pages>") == 1


def test_the_fonts_of_the_machine_are_asked_only_for_foreign_scripts():
    assert not paper._needs_foreign_fonts(words("Ω Й é – ± ◆ ’ …"))
    assert paper._needs_foreign_fonts({"d.json": "王".encode()})


def test_every_face_is_there_without_the_fonts_of_the_machine():
    families = {family.lower() for family in paper._fonts(tuple(paper.font_folders()), False).families()}
    for faces in paper.FACES.values():
        assert faces[-1].lower() in families
        if len(paper.font_folders()) == len(paper.FONT_PACKAGES):
            assert {face.lower() for face in faces} <= families
