import io
import json
import re
from datetime import datetime

import pytest
from handover_job import BEGIN, CAR, POOL_FOR_PAGE, attempt, entries, finished, reading
from hypothesis import example, given, settings
from hypothesis import strategies as st
from pypdf import PdfReader
from test_handover_page import pixels

from tickover.errors import InputError
from tickover.handover import (
    Record,
    handover_json,
    record_from_entries,
    record_page,
    record_pdf,
    sheet_from_entries,
    sheet_pdf,
)
from tickover.handover.pictures import try_picture
from tickover.handover.record_page import quantity_words
from tickover.handover.sheet import ActDone, Try
from tickover.jobs.entries import Attached, Entry
from tickover.readiness import CarState
from tickover.results import CannotTell, Quantity

VIN = "1M8GDM9AXKP042788"
HOSTILE = "#panic() *bold* $x^2$ <script>alert('x')</script> \"q\" `raw` //no @ref \\ [b] {c} ~ _u_ =h Ω Й é ±"


def whole(**more):
    """A job with every stage, a correction and a withdrawal."""
    rows = [(e.stage, e.kind, e.data) for e in finished(tries=(attempt(1, "missed", late=0.7), attempt(2)))]
    rows[0] = ("arrive", "car", {**CAR, "vin": VIN})
    rows += [
        (
            "arrive",
            "answers",
            {"lamp": "lit", "codes": [], "danger": [], "gearbox": "not known", "before": ["battery"]},
        ),
        ("cause", "causes", {"sentence": "A leak is likely", "next_test": {"title": "pinch the hose"}, "groups": [1]}),
        ("cause", "repair", {"text": "Brake hose replaced"}),
        ("drive", "plan", {"minutes": 34.0, "legs": [{"words": "Three minutes at 85 km/h"}], "new field": {"a": 1}}),
        ("ready", "readiness", {"before": {"complete": ["EVAP"]}, "after": None}),
        ("ready", "verdict", {"sentence": "It would be turned away", "between": [{"what": "EVAP is open"}]}),
        ("drive", "skipped", {"reason": "the customer drives it"}),
        ("hand over", "odd", {"anything": [1, {"deep": True}]}),
    ]
    job = entries(*rows)
    more_entries = [
        {"stage": "set up", "kind": "needs", "corrects": 4, "data": {"needs": [{"need": "coolant", "value": "91 °C"}]}},
        {"stage": "cause", "kind": "withdrawn", "corrects": 11, "data": {"reason": "wrong car"}},
    ]
    for row in more_entries:
        seq = len(job) + 1
        job.append(Entry(seq=seq, at="2025-10-15T09:00:00+01:00", by="M. K.", digest=f"{seq:064x}", **{**row, **more}))
    return job


def text_of(pdf):
    reader = PdfReader(io.BytesIO(pdf))
    words = " ".join(p.extract_text() for p in reader.pages)
    return re.sub(r"\s+", " ", words.replace("\u200b", "")), reader


def squeezed(text):
    return re.sub(r"\s", "", text.replace("\u200b", ""))


def test_the_record_says_who_measured_what_when():
    record = record_from_entries(whole())
    assert record.people == ("R. H.", "M. K.")
    assert [(r.stage, r.states[0].speed.value) for r in record.readings] == [("before", 842), ("after", 704)]
    assert [(a.attempt.number, a.attempt.verdict, a.at) for a in record.attempts] == [
        (1, "missed", "2025-10-14T08:40:00+01:00"),
        (2, "hit", "2025-10-14T08:50:00+01:00"),
    ]
    assert record.told["lamp"] == "lit"
    assert record.told["codes"] == "read, and there are none"
    assert "gearbox" not in record.told
    assert record.told["complaint"] == "hunts at idle since the battery went flat"
    assert [e.seq for e in record.entries] == list(range(1, 19))
    assert Record.model_validate_json(record.model_dump_json()) == record


def test_corrections_are_shown_as_such():
    record = record_from_entries(whole())
    needs, gone = record.corrections
    assert (needs.seq, needs.corrects, needs.by, needs.withdrawn) == (17, 4, "M. K.", False)
    assert "91 °C" in needs.changes[0]
    assert (gone.seq, gone.corrects, gone.kind, gone.withdrawn) == (18, 11, "repair", True)
    assert record.entries[3].corrected_by == 17
    assert record.set_ups[0].needs[0].value == "91 °C"
    assert not any(s.kind == "repair" for s in record.said)
    assert "Brake hose" not in " ".join(r.text for r in record.sheet.done)
    text, _ = text_of(record_pdf(whole()))
    assert squeezed("Needs, entry 4, as corrected") in squeezed(text)
    assert squeezed("Entry 11 (cause, repair) was withdrawn") in squeezed(text)


def test_a_correction_of_a_correction_is_held_against_the_one_before():
    job = whole()
    again = Entry(seq=19, stage="set up", kind="needs", at="2025-10-16T09:00:00+01:00", corrects=17,
                  data={"needs": [{"need": "coolant", "value": "92 °C", "met": True}]})  # fmt: skip
    record = record_from_entries([*job, again])
    assert "91 °C" in record.corrections[-1].changes[0]
    assert "92 °C" in record.corrections[-1].changes[0]
    assert record.set_ups[0].needs[0].value == "92 °C"


def test_the_cars_number_is_masked_unless_wanted():
    for make in (sheet_from_entries, lambda e, **how: record_from_entries(e, **how).sheet):
        assert make(whole()).vin == "•" * 13 + "2788"
        assert make(whole(), vin="whole").vin == VIN
        assert make(whole(), vin="left out").vin == ""
    for make in (sheet_pdf, record_pdf):
        masked, _ = text_of(make(whole()))
        assert "2788" in masked
        assert VIN not in squeezed(masked)
    assert VIN not in handover_json(whole()).model_dump_json()
    assert VIN in handover_json(whole(), vin="whole").model_dump_json()
    kept_outside = sheet_pdf(finished(), personal={"vin": VIN})
    assert "2788" in text_of(kept_outside)[0]


def test_the_date_is_that_of_the_hand_over():
    on = datetime.fromisoformat("2026-11-25T18:03:01+01:00")
    for make in (sheet_pdf, record_pdf):
        text, reader = text_of(make(whole(), on=on))
        assert reader.metadata["/CreationDate"].startswith("D:20261125170301")
        assert "25 November 2026" in text
        assert "/CreationDate" not in text_of(make([]))[1].metadata
    assert make(whole(), on=on) == make(whole(), on=on)


def test_the_number_of_the_store_counts_and_a_car_that_is_still_here_is_not_called_handed_over():
    assert record_from_entries(whole(), job=12).sheet.job == "12"
    text, _ = text_of(record_pdf(whole(), job=12))
    assert squeezed("Job 12") in squeezed(text)
    assert squeezed("As of") in squeezed(text)
    assert "Handed over" not in text
    text, _ = text_of(record_pdf(whole(), on=datetime(2026, 11, 25, 18)))
    assert "Handed over" in text


def test_a_ladder_is_told_once():
    told = {
        "sentence": "In this order: a, b",
        "rungs": [{"title": "A"}],
        "withheld": [{"title": "C", "why": "no cable"}],
    }
    lines = record_from_entries(entries(("arrive", "ladder", told))).said[0]
    assert (lines.text, lines.lines) == ("In this order: a, b.", ("C: no cable.",))
    bare = record_from_entries(entries(("arrive", "ladder", {"rungs": [{"title": "A"}, {"title": "B"}]}))).said[0]
    assert bare.lines == ("A.", "B.")


def test_an_empty_job_is_a_bare_record():
    record = record_from_entries([])
    assert record.entries == ()
    _, reader = text_of(record_pdf([]))
    assert len(reader.pages) == 1


def test_entries_in_any_order_give_the_same_record():
    assert record_from_entries(whole()[::-1]) == record_from_entries(whole())


def test_what_no_room_knows_is_kept():
    record = record_from_entries(whole())
    odd = next(s for s in record.said if s.kind == "odd")
    assert "deep" in " ".join(odd.lines)
    assert record.raw[12]["new field"] == {"a": 1}


def test_a_broken_reading_names_its_entry():
    with pytest.raises(InputError, match="entry 3"):
        record_from_entries(entries(*BEGIN[:2], ("before", "reading", {**reading(), "states": [{"name": "x"}]})))


def test_a_reading_that_cannot_be_told_says_why():
    record = record_from_entries(
        entries(*BEGIN[:2], ("before", "no reading", {"kind": "cannot tell", "reason": "cold"}))
    )
    assert record.readings[0].refusals[0].reason == "cold"


def test_digests_and_attachments_are_listed():
    job = whole(attachments=(Attached(digest="ab" * 32, name="idle.csv"),))
    text, _ = text_of(record_pdf(job))
    assert squeezed(f"{17:064x}") in squeezed(text)
    assert squeezed(f"idle.csv: {'ab' * 32}") in squeezed(text)


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (Quantity(value=842, lo=828, hi=856, unit="r/min"), "842 ± 14 r/min (95 %)"),
        (Quantity(value=842, lo=840, hi=880, unit="r/min"), "842, 840 to 880 r/min (95 %)"),
        (Quantity(value=5.0, lo=4.0, hi=None, unit="mm"), "5.00, at least 4.00 mm (95 %)"),
        (Quantity(value=31.02, lo=31.016, hi=31.024, unit="kPa", level=0.9), "31.020 ± 0.004 kPa (90 %)"),
        (Quantity(value=-1.56, lo=-1.70, hi=-1.42, unit="%"), "−1.56 ± 0.14 % (95 %)"),
        (Quantity(value=16.5, lo=16.5, hi=16.5, unit="%"), "16.5 % (no spread seen)"),
        (CannotTell(reason="no log"), "cannot tell: no log"),
        (None, ""),
    ],
)
def test_numbers_come_with_their_uncertainty(value, said):
    assert quantity_words(value) == said


ANY = st.one_of(
    st.text(alphabet=st.characters(exclude_categories=["Cs"]), max_size=120),
    st.sampled_from(
        [HOSTILE, "W" * 900, "漢字かな" * 60, "עברית العربية " * 20, "\u202e\u0000\u0007\ufffe", "👩‍🔧" * 40]
    ),
)


def strung(word):
    """A job in which everything free is one string."""
    tried = {**attempt(2), "title": word, "sentence": word, "basis": word, "advice": word}
    tried["acts"] = [{**a, "label": word} for a in tried["acts"]]
    return entries(
        ("arrive", "car", {**CAR, "shop": word, "job": word, "complaint": word, "fuel": word, "vin": word}),
        ("arrive", "story", {"sentence": word}),
        ("before", "reading", {**reading(), "refusals": [{"reason": word or "x", "way_out": word}], "source": word}),
        ("set up", "needs", {"needs": [{"need": word, "value": word, "met": True}], "routine": word}),
        ("relearn", "attempt", tried),
        ("cause", "causes", {"sentence": word, "groups": [word] * 3}),
        ("drive", "plan", {"legs": [{"words": word}], "cautions": [word]}),
        ("ready", "verdict", {"sentence": word, "between": [word], "check": word}),
        ("hand over", "note", {word: word}),
    )


@settings(deadline=None, max_examples=4)
@given(ANY)
@example(HOSTILE)
@example("W" * 900)
def test_any_words_are_set_and_hostile_ones_come_out_as_words(word):
    job = strung(word)
    sheet, reader = text_of(sheet_pdf(job))
    assert len(reader.pages) == 1
    record, reader = text_of(record_pdf(job))
    assert 1 <= len(reader.pages) < 40
    if word == HOSTILE:
        assert squeezed(record).count(squeezed(HOSTILE)) >= 8
        assert squeezed(HOSTILE) in squeezed(sheet)


def test_no_word_reaches_the_template_as_source():
    plain, attack = (record_page.source(record_from_entries(strung(w))) for w in ("words", HOSTILE))
    assert plain[0] == attack[0]
    json.loads(attack[1]["record.json"])


def test_nothing_runs_over_the_edge_of_a_page():
    for word in ("W" * 150,):
        for shown in record_page.png(record_from_entries(strung(word)), ppi=36):
            seen = pixels(shown)[:, :, :3]
            edge = int(12.5 / 25.4 * 36)
            for strip in (seen[:, :edge], seen[:, -edge:]):
                assert (strip.min(axis=2) > 200).all()


@settings(deadline=None, max_examples=15)
@given(st.lists(st.sampled_from(range(len(POOL_FOR_PAGE))), max_size=8))
def test_any_entries_make_a_record(order):
    record = record_from_entries(entries(*(POOL_FOR_PAGE[i] for i in order)))
    assert len(record.entries) == len(order)
    kinds = [POOL_FOR_PAGE[i][1] for i in order]
    assert len(record.attempts) == kinds.count("attempt")
    assert bool(record.erasing) == bool(record.attempts)
    assert Record.model_validate_json(record.model_dump_json()) == record


def test_needs_stand_under_their_own_heading_and_unseen_ones_are_not_called_unmet():
    seen = [
        {"need": "doors shut", "value": "by hand", "met": False, "standing": "by hand"},
        {"need": "lights off", "value": "by hand", "met": True, "standing": "by hand"},
        {"need": "coolant", "value": "61 °C", "met": False, "standing": "not met"},
    ]
    job = entries(
        *BEGIN[:2],
        ("set up", "needs", {"routine": "first-one", "needs": seen}),
        ("set up", "needs", {"routine": "second-one", "needs": [{"need": "battery", "value": "12.6 V", "met": True}]}),
    )
    assert [n.met for n in record_from_entries(job).set_ups[0].needs] == [None, True, False]
    text = squeezed(text_of(record_pdf(job))[0])
    places = [
        text.index(squeezed(w))
        for w in ("Needs of the routine: first one", "doors shut", "not looked at", "met, seen to by hand", "61 °C",
                  "not met", "Needs of the routine: second one", "12.6 V")
    ]  # fmt: skip
    assert places == sorted(places)
    assert squeezed("NeedFoundMet") in text


def test_readiness_reads_as_words():
    state = CarState(open=("catalyst",), complete=("evaporative system",), lamp=False, stored=(), warm_ups=3, km=41.0)
    job = entries(("ready", "readiness", {"before": state.model_dump(mode="json"), "after": {"odd": 1}}))
    before, after = record_from_entries(job).said[0].lines
    assert before == (
        "Before: open: catalyst; complete: evaporative system; the lamp is not asked for; stored codes: none; "
        "since the last clear 3 warm-ups, 41.0 km."
    )
    assert after in {"After: odd 1.", "After: not read."}


def test_a_draft_says_so_on_every_page():
    for make in (sheet_pdf, record_pdf):
        _, reader = text_of(make(whole(), draft=True))
        assert all("DRAFT" in page.extract_text() for page in reader.pages)
        assert "DRAFT" not in text_of(make(whole()))[0]
    on = datetime(2026, 11, 25, 18)
    assert "Handed over" not in text_of(record_pdf(whole(), on=on, draft=True))[0]


def test_the_last_window_of_an_attempt_stands_free_of_the_end_of_its_axis():
    act = ActDone(step="up", kind="release", t_lo=33.0, t_hi=33.0, window=(30.0, 36.0), verdict="hit")
    drawn = try_picture(Try(title="Hold", verdict="hit", acts=(act,), duration=35.0), room=688)
    bound = try_picture(Try(title="Hold", verdict="hit", acts=(act,), duration=40.0), room=688)
    assert "36.2" in drawn.sentence or "36.3" in drawn.sentence, drawn.sentence
    assert "40 " in bound.sentence, bound.sentence
