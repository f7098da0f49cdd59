import io
import json
import re
import struct
import zlib

import numpy as np
import pytest
from handover_job import POOL_FOR_PAGE, attempt, cannot, entries, finished, reading
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader

from tickover.drawing import paper
from tickover.handover import Sheet, page, sheet_from_entries
from tickover.handover.pictures import idle_picture, last_try, miss_words, try_picture
from tickover.handover.sheet import ActDone, Row
from tickover.handover.wording import HEADLINES
from tickover.results import Quantity

HOSTILE = "#panic() *bold* $x^2$ <script>alert('x')</script> \"q\" `raw` //no @ref \\ [b] {c} ~ _u_ =h Ω Й é ±"
SECTIONS = (
    "What was wrong",
    "What was done",
    "What to watch",
    "The engine lamp",
    "Driving it",
    "Your inspection",
    "Come back",
    "Cannot tell yet",
)


def text_of(sheet):
    """The words of the sheet's PDF in one line, and how many pages it has."""
    reader = PdfReader(io.BytesIO(page.pdf(sheet)))
    words = " ".join(p.extract_text() for p in reader.pages)
    return re.sub(r"\s+", " ", words.replace("\u200b", "")), len(reader.pages)


def pixels(png):
    """A PNG of 8-bit RGB or RGBA as an array [row, column, channel]."""
    wide, high, _, kind = struct.unpack(">IIBB", png[16:26])
    channels = {2: 3, 6: 4}[kind]
    at, packed = 8, b""
    while at < len(png):
        (size,) = struct.unpack(">I", png[at : at + 4])
        if png[at + 4 : at + 8] == b"IDAT":
            packed += png[at + 8 : at + 8 + size]
        at += 12 + size
    lines = np.frombuffer(zlib.decompress(packed), np.uint8).reshape(high, 1 + wide * channels)
    found = np.zeros((high, wide, channels), np.uint8)
    above = np.zeros((wide, channels), np.uint8)
    for y, line in enumerate(lines):
        raw = line[1:].reshape(wide, channels)
        if line[0] == 2:
            row = raw + above
        elif line[0] in (0, 1):
            row = raw if line[0] == 0 else np.cumsum(raw, axis=0, dtype=np.uint8)
        else:
            row = _slow(line[0], raw, above)
        found[y] = above = row
    return found


def _slow(kind, raw, above):
    row = np.zeros_like(raw)
    left = corner = np.zeros(raw.shape[1], int)
    for x in range(len(raw)):
        up = above[x].astype(int)
        if kind == 3:
            guess = (left + up) // 2
        else:
            p = left + up - corner
            a, b, c = abs(p - left), abs(p - up), abs(p - corner)
            guess = np.where((a <= b) & (a <= c), left, np.where(b <= c, up, corner))
        row[x] = (raw[x] + guess) % 256
        left, corner = row[x].astype(int), up
    return row


def assert_edges_are_white(sheet):
    """Nothing but the tear line runs into the 14 mm edges."""
    seen = pixels(page.png(sheet, ppi=36))[:, :, :3]
    # Accents of the first line, and the descenders of the last, may reach a millimetre and a half past its box.
    edge = int(12.5 / 25.4 * 36)
    for strip in (seen[:edge], seen[-edge:], seen[:, :edge].swapaxes(0, 1), seen[:, -edge:].swapaxes(0, 1)):
        inked = (strip.min(axis=2) < 200).any(axis=0)
        assert inked.sum() <= 4, "words or pictures run into the edge of the page"


def squeezed(text):
    return re.sub(r"\s", "", text.replace("\u200b", ""))


@pytest.fixture(params=["font packages", "built-in fonts"])
def fonts(request, monkeypatch):
    if request.param == "built-in fonts":
        monkeypatch.setattr(paper, "FONT_PACKAGES", ())
    elif len(paper.font_folders()) < len(paper.FONT_PACKAGES):
        pytest.skip("the font packages are not installed")


@pytest.mark.usefixtures("fonts")
@pytest.mark.parametrize("verdict", HEADLINES)
def test_every_verdict_is_one_page_with_its_figures(verdict):
    after = reading(speed=cannot(), refusals=[cannot()]) if verdict == "cannot tell" else None
    if after:
        after["refusals"] = [{"reason": "the fan ran for 48 s", "way_out": ""}]
    sheet = sheet_from_entries(finished(verdict, after=after, tries=(attempt(1, "missed", late=0.7), attempt(2))))
    text, pages = text_of(sheet)
    assert pages == 1
    said = squeezed(text)
    for words in (HEADLINES[verdict], "842 ± 14", "Normal is 650 to 750", "Larkholm Garage", "Job 0147", "second try"):
        assert squeezed(words) in said
    assert squeezed("704 ± 8" if verdict != "cannot tell" else "cannot tell") in said
    assert said.count(squeezed(page.INVENTED)) == 2
    assert squeezed("± is a 95 % interval") in said
    assert not page.source(sheet).shortened


@pytest.mark.usefixtures("fonts")
def test_hostile_words_come_out_as_words():
    sheet = sheet_from_entries(finished(tries=(attempt(1, "missed", late=0.7),)))
    act = sheet.tries[0].acts[1].model_copy(update={"label": HOSTILE})
    attack = sheet.model_copy(
        update={
            "shop": HOSTILE[:50],
            "headline": HOSTILE[:60],
            "lead": HOSTILE,
            "wrong": (HOSTILE,),
            "done": (Row(text=HOSTILE, when="$1$ #x"),),
            "caution": HOSTILE,
            "basis": HOSTILE,
            "tries": (sheet.tries[0].model_copy(update={"title": HOSTILE[:50], "acts": (act, *sheet.tries[0].acts)}),),
        }
    )
    text, pages = text_of(attack)
    assert pages == 1
    said = squeezed(text)
    assert said.count(squeezed(HOSTILE)) >= 4
    assert said.count(squeezed(HOSTILE[:50])) >= 6
    assert "$1$#x" in said


def test_no_word_reaches_the_template_as_source():
    """The typesetter's source is the template itself, whatever the sheet says."""
    plain, attack = (page.source(Sheet(headline=words)) for words in ("Settled", HOSTILE))
    assert plain.text == attack.text
    assert HOSTILE[:20] in attack.files["sheet.json"].decode()
    json.loads(attack.files["sheet.json"])


LONG = "The throttle was cleaned and the hose was looked at, and then it was looked at again. " * 30


@pytest.mark.usefixtures("fonts")
@pytest.mark.parametrize(
    "letters", [LONG, "x" * 3000, "Ü" * 900, "W" * 900, ("W" * 22 + " ") * 50, " ", "\n\n\t", "\u0000\u0007\ud7ff"]
)
def test_whatever_is_said_stays_on_one_page(letters):
    sheet = sheet_from_entries(finished())
    much = sheet.model_copy(
        update={
            "shop": letters,
            "job": letters,
            "car": letters,
            "headline": letters,
            "lead": letters,
            "wrong": (letters,) * 5,
            "done": tuple(Row(text=letters, when=letters) for _ in range(40)),
            "watch": tuple(Row(text=letters, when="soon") for _ in range(20)),
            "come_back": letters,
            "cannot_tell": (letters,) * 12,
            "caution": letters,
            "rests_on": (letters, letters),
            "basis": letters,
            "by": letters,
        }
    )
    _, pages = text_of(much)
    assert pages == 1
    assert_edges_are_white(much)


def test_what_is_cut_is_said_and_the_last_line_stays():
    sheet = sheet_from_entries(finished())
    rows = tuple(Row(text=f"Thing number {i} was done", when="09:00") for i in range(30))
    text, pages = text_of(sheet.model_copy(update={"done": (*rows, Row(text="Nothing was erased"))}))
    assert pages == 1
    assert "Nothing was erased" in text
    assert re.search(r"and \d+ more, in the shop’s record", text)
    assert "Shortened to fit one page" in text
    kept = len(re.findall(r"Thing number", text))
    left = int(re.search(r"and (\d+) more", text).group(1))
    assert kept + left == 30


def test_the_hit_and_the_verdict_are_cut_last_and_the_page_is_filled():
    sheet = sheet_from_entries(finished(tries=(attempt(1, "missed", late=0.7), attempt(2))))
    rows = tuple(Row(text=f"Thing number {i} was done with a good many words about it", when="09:00") for i in range(9))
    full = sheet.model_copy(update={"done": (*rows, *sheet.done, *rows), "wrong": ("Told at length. " * 12,) * 4})
    text, pages = text_of(full)
    assert pages == 1
    said = squeezed(text)
    assert "more,intheshop" in said
    assert squeezed("missed once, then every step in time") in said
    assert squeezed("Idle measured again: settled") in said
    cut = page.source(full)
    trims = [t for t in page.TRIMS if page._fitting(full, t, draft=False) is not None]
    plain = page._fitting(full, trims[0], draft=False)
    assert plain is not None
    assert cut.shortened
    assert len(cut.files["sheet.json"]) >= len(plain.files["sheet.json"])


def test_the_sheet_is_a4_with_14_mm_edges():
    reader = PdfReader(io.BytesIO(page.pdf(sheet_from_entries(finished()))))
    box = reader.pages[0].mediabox
    assert float(box.width) == pytest.approx(210 / 25.4 * 72, abs=0.1)
    assert float(box.height) == pytest.approx(297 / 25.4 * 72, abs=0.1)
    assert pytest.approx((210 - 28) / 25.4 * 96, abs=1) == page.ROOM
    wide, high = struct.unpack(">II", page.png(sheet_from_entries(finished()), ppi=50)[16:24])
    assert (wide, high) == (pytest.approx(413, abs=1), pytest.approx(585, abs=1))


def test_nothing_runs_into_the_edges():
    sheet = sheet_from_entries(finished())
    assert_edges_are_white(sheet)
    run_over = sheet.model_copy(update={"lead": "\u00a0".join("word" for _ in range(60))})
    assert_edges_are_white(run_over)


def test_the_same_sheet_gives_the_same_bytes():
    sheet = sheet_from_entries(finished())
    assert page.pdf(sheet) == page.pdf(sheet)


@settings(deadline=None, max_examples=25)
@given(st.lists(st.sampled_from(range(len(POOL_FOR_PAGE))), max_size=10))
def test_any_job_is_one_page_and_prints_no_section_without_content(order):
    sheet = sheet_from_entries(entries(*(POOL_FOR_PAGE[i] for i in order)))
    text, pages = text_of(sheet)
    assert pages == 1
    filled = (
        sheet.wrong,
        sheet.done,
        sheet.watch,
        sheet.lamp,
        sheet.driving,
        sheet.inspection,
        sheet.come_back,
        sheet.cannot_tell,
    )
    for heading, content in zip(SECTIONS, filled, strict=True):
        assert (squeezed(heading) in squeezed(text.replace(HEADLINES["cannot tell"], ""))) == bool(content)
    assert ("Caution." in text) == bool(sheet.caution or sheet.drive_caution)
    assert ("idle speed" in text) == (sheet.before_trace is not None or sheet.after_trace is not None)


def test_pictures_have_no_fault_and_say_their_figures():
    sheet = sheet_from_entries(finished(tries=(attempt(1, "missed", late=0.7), attempt(2, "undecided", blur=0.3))))
    idle = idle_picture(sheet, height=180, room=page.ROOM)
    assert idle.faults() == []
    assert "842 ± 14" in idle.sentence
    drawn = try_picture(last_try(sheet), room=page.ROOM)
    assert drawn.faults() == []
    assert "Press 4: too close to tell" in [label.text for label in drawn.labels]
    missed = try_picture(sheet.tries[0], room=page.ROOM)
    assert missed.faults() == []
    assert "Press 4: 0.4 seconds late" in [label.text for label in missed.labels]
    assert "Lamp flashing" in missed.sentence


def test_readings_without_traces_stand_on_a_ruled_line():
    sheet = sheet_from_entries(finished()).model_copy(update={"before_trace": None, "after_trace": None})
    picture = idle_picture(sheet, height=180, room=page.ROOM)
    assert {"before 842 ± 14", "after 704 ± 8"} <= {label.text for label in picture.labels}
    bare = sheet.model_copy(update={"before": None, "after": None})
    assert idle_picture(bare, height=180, room=page.ROOM) is None


@pytest.mark.parametrize(
    ("t", "window", "verdict", "said"),
    [
        ((6.1, 6.1), (5.0, 5.7), "missed", "0.4 seconds late"),
        ((6.0, 6.2), (5.0, 5.7), "missed", "0.3 to 0.5 seconds late"),
        ((4.0, 4.0), (5.0, 5.7), "missed", "1.0 seconds early"),
        ((5.73, 5.73), (5.0, 5.7), "missed", "0.03 seconds late"),
        ((None, None), (5.0, None), "missed", "did not come"),
        ((5.2, 5.2), (5.0, 5.7), "missed", "missed"),
        ((5.2, 6.2), (5.0, 5.7), "undecided", "too close to tell"),
        ((None, None), None, "undecided", "did not come"),
    ],
)
def test_a_miss_says_by_how_much(t, window, verdict, said):
    act = ActDone(step="s", kind="press", t_lo=t[0], t_hi=t[1], window=window, verdict=verdict)
    assert miss_words(act) == said


def test_what_was_never_reached_after_a_miss_has_no_word():
    base = sheet_from_entries(finished()).tries[0]
    gone = ActDone(step="down", label="press", kind="press", window=(13.0, 15.0), verdict="missed")
    never = ActDone(step="up", label="let up", kind="release", verdict="undecided")
    broken = base.model_copy(update={"acts": (*base.acts[:11], gone, never), "answers": (), "duration": 7.2})
    picture = try_picture(broken, room=page.ROOM)
    assert picture.faults() == []
    texts = [label.text for label in picture.labels]
    assert "press: did not come" in texts
    assert not any(text.startswith("let up") for text in texts)


@pytest.mark.parametrize("kinds", [("ignition off",), ("crank", "stopped"), ("release",), ("lamp lit",), ("end",)])
def test_any_kind_of_act_can_be_drawn(kinds):
    base = sheet_from_entries(finished()).tries[0]
    acts = tuple(ActDone(step=k, kind=k, t_lo=3.0, t_hi=3.1, window=(2.0, None), verdict="hit") for k in kinds)
    picture = try_picture(base.model_copy(update={"acts": acts, "answers": (), "duration": 0.0}), room=page.ROOM)
    assert picture.faults() == []
    assert all("not before 2.0, hit" in part for part in picture.sentence.split(". ")[1:-1])


def test_a_wide_interval_is_not_dressed_as_plus_or_minus():
    sheet = sheet_from_entries(finished())
    lopsided = Quantity(value=704, lo=700, hi=760, unit="r/min")
    text, _ = text_of(sheet.model_copy(update={"after": lopsided}))
    assert "704 ±" not in text
    assert "after, 700 to 760" in text
