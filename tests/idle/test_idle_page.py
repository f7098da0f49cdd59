"""Figures and the offline page."""

import json
import re
import shutil
from html.parser import HTMLParser

import numpy as np
import pytest
from idle_cars import idle

from tickover.idle import compare, read_glances, read_idle
from tickover.idle.figures import comparison_figure, reading_figure
from tickover.idle.page import page
from tickover.signals import Recording

VOID = {"meta", "path", "rect", "line", "br"}


class Balanced(HTMLParser):
    """Every element that opens closes, in order."""

    def __init__(self):
        super().__init__()
        self.open, self.seen = [], []

    def handle_starttag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        if tag not in VOID:
            assert self.open.pop() == tag


def read(recording, seed=1, **how):
    return read_idle(recording, np.random.default_rng(seed), **how)


@pytest.fixture(scope="module")
def one():
    recording = idle(mean=702, seconds=240)
    recording = Recording(recording.series, source="<b>car & co.csv")
    return recording, page(read(recording, displacement=1.5), recording, normal=(650, 750))


@pytest.fixture(scope="module")
def pair():
    before, after = idle(mean=842, sd=12, seconds=240), idle(mean=702, seconds=240, seed=2)
    a, b = read(before), read(after)
    found = compare(a, b, normal=(650, 750))
    return found, a, b, page(b, after, normal=(650, 750), comparison=found, before=a)


def checked(text):
    parser = Balanced()
    parser.feed(text)
    assert parser.open == []
    return parser.seen


def test_the_page_asks_nothing_of_the_network_and_is_small(one):
    text = one[1]
    seen = checked(text)
    for tag, attrs in seen:
        assert not {"src", "srcset", "action"} & set(attrs), tag
        assert "href" not in attrs
    assert re.findall(r"(?:https?:)?//[\w.]+", text.replace("http://www.w3.org/2000/svg", "")) == []
    assert "default-src 'none'" in text
    script = re.findall(r"<script>(.*?)</script>", text, re.S)[0]
    data = re.findall(r'<script type="application/json" id="data">(.*?)</script>', text, re.S)[0]
    assert len(script) < 20_000
    assert len(text) - len(data) < 100_000


def test_words_of_the_log_stay_words(one):
    assert "<b>car" not in one[1]
    assert "&lt;b&gt;car" in one[1]


def test_the_page_says_the_answer_and_why_pieces_were_left_out(one):
    text = one[1]
    assert re.search(r'class="figure">70\d ± \d', text)
    assert "first 10 s after a start, 10 s" in text
    assert "Cannot tell" in text
    assert "manifold pressure" in text
    assert one[1] == page(read(one[0], displacement=1.5), one[0], normal=(650, 750))


def test_the_data_keep_the_extremes_of_a_long_log():
    spike = idle(
        step=0.02, seconds=400, engine_speed=lambda t, v: np.where(t < 0, 0, np.where(abs(t - 200) < 0.011, 991, v))
    )
    text = page(read(spike), spike)
    data = json.loads(re.findall(r'id="data">(.*?)</script>', text, re.S)[0])
    values = data["panels"][0]["series"][0]["v"]
    assert len(values) <= 8000 < len(spike["engine_speed"])
    assert max(values) == 991


def test_the_comparison_page(pair):
    found, _, _, text = pair
    checked(text)
    assert found.verdict == "settled"
    assert "Settled</b>" in text
    assert found.sentence in text
    for words in ("fuel trim", "coolant", "measurements"):
        assert words in text
    data = json.loads(re.findall(r'id="data">(.*?)</script>', text, re.S)[0])
    assert [s["weight"] for s in data["panels"][0]["series"]] == [1.2, 3.2]  # told apart without colour
    assert all(s["t"][0] < 1.5 for s in data["panels"][0]["series"])


def test_a_refusal_and_glances_have_a_page_without_a_chart():
    cold = read(idle(coolant=50.0))
    for reading in (cold, read_glances((700, 710, 720, 690, 700))):
        text = page(reading, None)
        checked(text)
        assert 'id="chart"' not in text


def test_figures(pair):
    found, before, after, _ = pair
    assert comparison_figure(found, before, after).faults() == []
    assert reading_figure(after, normal=(650, 750)).faults() == []
    assert reading_figure(after, room=320).faults() == []


def test_glances_are_drawn_on_their_line():
    before, after = read_glances((900, 950, 900, 900, 950)), read_glances((700, 710, 720, 690, 700))
    one = reading_figure(after, normal=(650, 750))
    assert one.faults() == []
    assert "704" in one.sentence
    assert "650 to 750" in one.sentence
    both = comparison_figure(compare(before, after, normal=(650, 750)), before, after)
    assert both.faults() == []
    assert "920" in both.sentence
    assert "704" in both.sentence


@pytest.fixture(scope="module")
def browser():
    api = pytest.importorskip("playwright.sync_api", reason="no browser driver is installed")
    chromium = shutil.which("chromium")
    if chromium is None:
        pytest.skip("no chromium is installed")
    with api.sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        yield opened
        opened.close()


@pytest.mark.parametrize("wide", [360, 1280])
@pytest.mark.parametrize("which", ["one", "pair"])
def test_in_a_browser(browser, tmp_path, wide, which, one, pair):
    (tmp_path / "page.html").write_text(one[1] if which == "one" else pair[3], encoding="utf-8")
    tab = browser.new_page(viewport={"width": wide, "height": 760})
    faults, asked = [], []
    tab.on("console", lambda m: faults.append(m.text))
    tab.on("pageerror", lambda e: faults.append(str(e)))
    tab.on("request", lambda r: asked.append(r.url))
    tab.goto((tmp_path / "page.html").as_uri())
    tab.wait_for_selector("#chart svg")
    assert tab.evaluate("document.documentElement.scrollWidth") <= wide  # no sideways scroll
    whole = tab.inner_text("#shown")
    tab.focus("#chart")
    for key in ("+", "+", "ArrowRight"):
        tab.keyboard.press(key)
    closer = tab.inner_text("#shown")
    assert closer != whole
    assert tab.inner_text("#shown") in tab.get_attribute("#chart", "aria-label")
    tab.keyboard.press("0")
    assert tab.inner_text("#shown") == whole
    tab.click("#closer")
    assert tab.inner_text("#shown") != whole
    tab.click("#whole")
    day = tab.evaluate("getComputedStyle(document.body).backgroundColor")
    tab.click("#light")
    assert tab.evaluate("getComputedStyle(document.body).backgroundColor") != day
    assert tab.evaluate("[...document.querySelectorAll('button')].every(b => b.offsetHeight >= 44)")
    assert faults == []
    assert len(asked) == 1
    tab.close()
