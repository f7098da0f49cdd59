import json

import pytest

from tickover.drawing import paper
from tickover.drawing.words import width

CORPUS = (
    "842 ± 14",
    "pedal down and up, 5 times",
    "Press 4: 0.3 seconds late",
    "normal 650 to 750",
    "idle speed",
    "cannot tell",
    "60 seconds",
    "WARM MINIMUM",
    "Illicit filling, little jiffy",
    "Überprüfung – “Ωμέγα”, Зажигание",
    "before 842 (829 to 871)",
)
ASK = """#let d = json("d.json")
#let em(t, role, bold) = measure(text(font: d.faces.at(role), stretch: if role == "form" { 75% } else { 100% },
  weight: if bold { 700 } else { 400 }, size: 100pt, t)).width / 100pt
#context [#metadata(d.corpus.map(t => d.ways.map(w => em(t, w.first(), w.last())))) <widths>]"""
WAYS = [[role, bold] for role in ("slab", "text", "form") for bold in (False, True)]


@pytest.mark.parametrize("packages", [True, False], ids=["font packages", "built-in fonts"])
def test_the_estimate_is_not_less_than_a_typesetters_measure(packages, monkeypatch):
    """Reference library: typst's own measure, with the print fonts and with its built-in ones."""
    if packages and len(paper.font_folders()) < len(paper.FONT_PACKAGES):
        pytest.skip("the font packages are not installed")
    if not packages:
        monkeypatch.setattr(paper, "FONT_PACKAGES", ())
    given = {"corpus": CORPUS, "ways": WAYS, "faces": {r: list(f) for r, f in paper.FACES.items()}}
    measured = paper.ask(ASK, {"d.json": json.dumps(given).encode()}, "<widths>")
    for text, row in zip(CORPUS, measured, strict=True):
        for (role, bold), real in zip(WAYS, row, strict=True):
            estimate = width(text, role, 1.0, bold=bold)
            assert estimate >= 0.995 * real, (text, role, bold)
            # Other alphabets are taken as widest letters; what the product writes itself must not be far off.
            assert estimate <= 1.45 * real or not text.isascii(), (text, role, bold)
