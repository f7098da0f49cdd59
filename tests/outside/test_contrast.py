import numpy as np
import pytest

from tickover.drawing.tokens import PALETTES, Token, contrast, luminance

# The ratios that the design gives for each token, against the sheet and against the stub.
TABLE = {
    Token.INK: ((15.8, 13.0), (14.4, 13.2)),
    Token.SOFT: ((7.8, 6.5), (8.4, 7.7)),
    Token.LINE: ((5.2, 4.3), (4.9, 4.5)),
    Token.DO: ((6.9, 5.7), (8.5, 7.8)),
    Token.FILL: ((5.0, 4.1), (7.4, 6.8)),
    Token.WARN: ((6.4, 5.3), (8.1, 7.4)),
    Token.BAD: ((3.7, 3.1), (5.8, 5.3)),
}


def recomputed(one, other):
    """WCAG's definition written out again, with numpy and with the older threshold."""
    lights = []
    for colour in (one, other):
        c = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255.0
        linear = np.where(c <= 0.03928, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
        lights.append(float(linear @ [0.2126, 0.7152, 0.0722]))
    return (max(lights) + 0.05) / (min(lights) + 0.05)


@pytest.mark.parametrize("theme", ["day", "night"])
@pytest.mark.parametrize("token", TABLE)
def test_the_table_of_contrast_ratios(theme, token):
    """From memory: WCAG 2.x, relative luminance and contrast ratio. Ratios recomputed to the last digit given."""
    palette = PALETTES[theme]
    for ground, told in zip((Token.CARD, Token.STUB), TABLE[token][theme == "night"], strict=True):
        ratio = recomputed(palette[token], palette[ground])
        assert contrast(palette[token], palette[ground]) == pytest.approx(ratio, rel=1e-9)
        # The table cuts or rounds the last digit; either way it is within one step of it.
        assert abs(ratio - told) < 0.1


def test_the_ends_and_a_known_grey():
    """From memory: WCAG 2.x, contrast is 21 for black on white; #767676 is the lightest grey with 4.5 on white."""
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)
    assert luminance("#FFFFFF") == pytest.approx(1)
    assert contrast("#767676", "#FFFFFF") >= 4.5 > contrast("#777777", "#FFFFFF")


def test_gamma_is_not_forgotten():
    """From memory: WCAG 2.x, relative luminance of mid grey is 0.216, not the 0.5 that plain channels give."""
    assert luminance("#808080") == pytest.approx(0.2159, abs=2e-4)
