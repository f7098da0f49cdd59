import re

import pytest

from tickover.drawing.tokens import (
    MARK_TOKENS,
    PALETTES,
    PRINT_SIZES,
    SMALLEST_PRINT,
    TEXT_TOKENS,
    THEMES,
    Token,
    contrast,
    css_variables,
)


@pytest.mark.parametrize("theme", THEMES)
def test_every_theme_names_every_token_as_a_colour(theme):
    assert set(PALETTES[theme]) == set(Token)
    assert all(re.fullmatch(r"#[0-9A-F]{6}", colour) for colour in PALETTES[theme].values())


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("ground", [Token.CARD, Token.STUB])
def test_words_and_marks_stand_out_on_sheet_and_stub(theme, ground):
    palette = PALETTES[theme]
    assert min(contrast(palette[t], palette[ground]) for t in TEXT_TOKENS) >= 4.5
    assert min(contrast(palette[t], palette[ground]) for t in MARK_TOKENS) >= 3.0


@pytest.mark.parametrize("theme", THEMES)
def test_ink_can_be_read_on_the_wash_and_on_words_on_a_button(theme):
    palette = PALETTES[theme]
    assert contrast(palette[Token.INK], palette[Token.WASH]) >= 10
    assert contrast(palette[Token.ON], palette[Token.DO]) >= 4.5


def test_paper_is_white_and_nothing_on_it_is_smaller_than_the_least():
    assert PALETTES["print"][Token.CARD] == "#FFFFFF"
    assert SMALLEST_PRINT == 13.5
    assert PRINT_SIZES["title"] == 40


def test_there_is_no_green():
    for palette in PALETTES.values():
        for colour in palette.values():
            red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
            assert not green > 1.15 * max(red, blue)


def test_the_stylesheet_holds_each_token_of_each_theme():
    css = css_variables()
    for token in Token:
        assert f"--{token}:{PALETTES['day'][token]};" in css
        assert f"--{token}:{PALETTES['night'][token]};" in css
    assert "@media print" in css
    assert css.count("{") == css.count("}")
