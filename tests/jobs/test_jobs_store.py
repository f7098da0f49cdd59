"""One contract for both stores: what goes in comes out, in order, for good."""

import json
import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jobs_record import AT, CAR, LATER, LOG, filled, raw

from tickover.errors import AttachmentError, InputError, UnknownEntryError, UnknownJobError
from tickover.jobs import PURGED, Attached, Entry, Store, current, default_store, open_store

values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**70), 2**70)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=8,
)


class TestBothStores:
    def test_jobs_are_numbered_from_one_and_listed_with_their_car(self, store: Store) -> None:
        assert store.jobs() == []
        first = store.new(at=AT, by="R. H.", car=CAR)
        second = store.new(at=LATER, simulated=True)
        assert (first, second) == (1, 2)
        one, two = store.jobs()
        assert (one.job, one.car, one.by, one.at, one.entries, one.simulated) == (1, CAR, "R. H.", AT, 1, False)
        assert (two.job, two.car, two.simulated, two.last_kind) == (2, {}, True, "car")
        assert one.uid != two.uid

    def test_what_add_returns_is_what_another_opening_reads(self, store: Store, where: str) -> None:
        job = store.new(at=AT, car=CAR)
        log = store.attach(LOG, name="idle.csv")
        entry = store.add(
            job, stage="before", kind="reading", data={"range": (1, 2.5)}, at=LATER, by="x", attachments=[log],
            inputs={"seed": 20},
        )  # fmt: skip
        assert (entry.seq, entry.data, entry.inputs) == (2, {"range": [1, 2.5]}, {"seed": 20})
        assert entry.attachments == (
            Attached(digest=log.digest, name="idle.csv", media_type="text/csv", size=len(LOG)),
        )
        with open_store(where) as other:
            assert other.entries(job)[1] == entry
            assert other.jobs()[0].head == entry.digest

    @settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
    @given(data=st.dictionaries(st.text(), values, max_size=4))
    def test_any_json_comes_back_as_it_went_in(self, store: Store, data: dict[str, object]) -> None:
        job = store.new(at=AT)
        kept = store.add(job, stage="cause", kind="note", data=data, at=AT)
        assert kept.data == json.loads(json.dumps(data))
        assert store.entries(job)[-1] == kept
        assert store.verify(job).ok

    @pytest.mark.parametrize(
        "data",
        [{"x": float("nan")}, {"x": float("inf")}, {"x": {1, 2}}, {"x": "\ud800"}, {"x": object()}],
        ids=["nan", "infinite", "a set", "half a letter", "an object"],
    )
    def test_what_json_cannot_carry_is_refused(self, store: Store, data: dict[str, object]) -> None:
        job = store.new(at=AT)
        with pytest.raises(InputError, match="cannot be kept"):
            store.add(job, stage="cause", kind="note", data=data, at=AT)
        assert len(store.entries(job)) == 1

    @pytest.mark.parametrize("at", ["", "today", "2026-11-25T10:00:00", "2026-11-25"])
    def test_a_time_without_its_offset_is_refused(self, store: Store, at: str) -> None:
        with pytest.raises(InputError, match="offset"):
            store.new(at=at)
        assert store.jobs() == []

    @pytest.mark.parametrize("kind", ["", "x" * 65, "a\x1b[31m", "\x00"])
    def test_a_kind_that_cannot_be_printed_is_refused(self, store: Store, kind: str) -> None:
        job = store.new(at=AT)
        with pytest.raises(InputError, match="printable"):
            store.add(job, stage="cause", kind=kind, at=AT)

    def test_an_unknown_job_is_said_with_those_that_are_there(self, store: Store) -> None:
        with pytest.raises(UnknownJobError, match="none yet"):
            store.entries(1)
        store.new(at=AT)
        store.new(at=AT)
        for call in (store.entries, store.personal, store.verify, store.current):
            with pytest.raises(UnknownJobError, match="jobs 1 to 2"):
                call(7)
        with pytest.raises(UnknownJobError):
            store.add(7, stage="cause", kind="note", at=AT)
        with pytest.raises(UnknownJobError):
            store.purge(7, at=AT)

    def test_a_correction_takes_the_place_of_the_old_one_which_stays(self, store: Store) -> None:
        job = store.new(at=AT, car=CAR)
        store.add(job, stage="before", kind="reading", data={"n": 3}, at=AT)
        store.add(job, stage="cause", kind="note", data={}, at=AT)
        store.add(job, stage="before", kind="reading", data={"n": 4}, at=LATER, corrects=2)
        store.add(job, stage="before", kind="reading", data={"n": 5}, at=LATER, corrects=4)
        store.add(job, stage="arrive", kind="car", data={"year": 2010}, at=LATER, corrects=1)
        assert [e.data for e in store.entries(job) if e.kind == "reading"] == [{"n": 3}, {"n": 4}, {"n": 5}]
        now = store.current(job)
        assert [(e.seq, e.at) for e in now] == [(1, AT), (2, AT), (3, AT)]
        assert now[1].data == {"n": 5}
        assert store.jobs()[0].car == {"year": 2010}

    def test_a_correction_must_name_an_entry_that_is_there(self, store: Store) -> None:
        job = store.new(at=AT)
        for wrong in (0, 2, 9):
            with pytest.raises(UnknownEntryError, match=f"no entry {wrong}"):
                store.add(job, stage="cause", kind="note", at=AT, corrects=wrong)

    def test_an_attachment_is_kept_once_under_either_name(self, store: Store, where: str) -> None:
        job = store.new(at=AT)
        one, two = store.attach(LOG, name="a.csv"), store.attach(LOG, name="b.bin", media_type="text/plain")
        assert one.digest == two.digest
        store.add(job, stage="before", kind="note", at=AT, attachments=(one,))
        store.add(job, stage="before", kind="note", at=AT, attachments=(two, one.digest))
        assert [[a.name for a in e.attachments] for e in store.entries(job)] == [[], ["a.csv"], ["b.bin", ""]]
        assert store.attachment(str(one)) == LOG
        if "://" not in where:
            with raw(where) as connection:
                assert connection.execute("SELECT count(*) FROM tickover_attachments").fetchone() == (1,)

    def test_an_attachment_that_is_not_there_is_refused(self, store: Store) -> None:
        job = store.new(at=AT)
        with pytest.raises(AttachmentError, match="not in this store"):
            store.add(job, stage="before", kind="note", at=AT, attachments=("0" * 64,))
        with pytest.raises(AttachmentError, match="not in this store"):
            store.attachment("0" * 64)
        assert len(store.entries(job)) == 1

    def test_purged_values_are_gone_and_the_chain_holds(self, store: Store) -> None:
        job = store.new(at=AT, personal={"customer": "A. Bär", "phone": "0123"})
        store.add(job, stage="hand over", kind="note", at=AT, personal={"phone": "0456"})
        assert store.personal(job) == {"customer": "A. Bär", "phone": "0456"}
        assert store.purge(job, "phone", at=LATER, by="x") == ("phone",)
        assert store.personal(job) == {"customer": "A. Bär"}
        notice = store.entries(job)[-1]
        assert notice.kind == PURGED
        assert notice.data == {"fields": [{"entry": 1, "field": "phone"}, {"entry": 2, "field": "phone"}]}
        checked = store.verify(job)
        assert checked.ok
        assert checked.purged == ("1.phone", "2.phone")
        assert store.purge(job, "phone", at=LATER) == ()
        assert store.purge(job, at=LATER) == ("customer",)
        assert store.personal(job) == {}
        assert store.verify(job).ok
        assert all(e.kind != PURGED for e in store.current(job))

    def test_a_field_that_never_was_cannot_be_purged(self, store: Store) -> None:
        job = store.new(at=AT, personal={"customer": "A."})
        with pytest.raises(InputError, match="It has: customer"):
            store.purge(job, "phone", at=AT)

    def test_the_same_value_has_another_digest_each_time(self, store: Store) -> None:
        first = store.new(at=AT, personal={"phone": "0123"})
        second = store.new(at=AT, personal={"phone": "0123"})
        assert store.entries(first)[0].personal != store.entries(second)[0].personal

    def test_a_filled_job_verifies_whole(self, store: Store) -> None:
        job = filled(store)
        assert store.verify(job).ok
        whole = store.verify_all()
        assert whole.ok
        assert [j.entries for j in whole.jobs] == [6]

    def test_two_bays_at_once_lose_nothing(self, where: str) -> None:
        """Two processes make the tables, begin jobs and add to one job at once: all acknowledged is there, no gap."""
        bays = [_bay(where, name, 25) for name in ("left", "right")]
        said = [bay.communicate(timeout=120)[0].split() for bay in bays]
        assert [bay.returncode for bay in bays] == [0, 0]
        assert [len(digests) for digests in said] == [25, 25]
        with open_store(where) as store:
            assert [j.job for j in store.jobs()] == list(range(1, 7))
            entries = store.entries(1)
            assert [e.seq for e in entries] == list(range(1, 52))
            assert {digest for digests in said for digest in digests} == {e.digest for e in entries[1:]}
            assert store.verify_all().ok


BAY = """
import sys
from tickover.jobs import open_store
where, name, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
with open_store(where, wait=60.0) as store:
    for n in range(3):
        store.new(at="2026-11-25T10:00:00Z", by=name)
    for n in range(count):
        entry = store.add(1, stage="before", kind="note", data={"bay": name, "n": n}, at="2026-11-25T10:00:00Z")
        print(entry.digest, flush=True)
"""


def _bay(where: str, name: str, count: int) -> subprocess.Popen[str]:
    return subprocess.Popen([sys.executable, "-c", BAY, where, name, str(count)], stdout=subprocess.PIPE, text=True)


def test_a_damaged_attachment_is_named_and_healed_by_the_sound_file(tmp_path: Path) -> None:
    path = tmp_path / "jobs.db"
    with open_store(path) as store:
        job = store.new(at=AT)
        log = store.attach(LOG, name="idle.csv")
        store.add(job, stage="before", kind="note", at=AT, attachments=(log,))
    with raw(path) as connection:
        connection.execute("UPDATE tickover_attachments SET data = ?", (b"x" + LOG[1:],))
    with open_store(path) as store:
        with pytest.raises(AttachmentError, match=r"idle\.csv.*damaged") as damaged:
            store.attachment(log)
        assert "Attach the original" in damaged.value.way_out
        assert "idle.csv" in store.verify(job).findings[0].what
        store.attach(LOG)
        assert store.attachment(log) == LOG
        assert store.verify_all().ok


def test_purged_values_leave_no_byte_in_the_files(tmp_path: Path) -> None:
    """Deleted rows linger in SQLite's free pages and in its log, unless they are overwritten."""
    path = tmp_path / "jobs.db"
    name = "Quetzal Umbrage"
    with open_store(path) as store:
        job = store.new(at=AT, personal={"customer": name, "phone": "0123"})
        for n in range(50):
            store.add(job, stage="before", kind="note", data={"n": n}, at=AT, personal={f"p{n}": f"{name} {n}"})

        def lingers() -> bool:
            return any(name.encode() in f.read_bytes() for f in tmp_path.iterdir())

        assert lingers()
        store.purge(job, at=AT)
        assert not lingers()


def test_only_the_owner_may_read_the_file(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "jobs.db"
    before = os.umask(0o022)
    try:
        with open_store(path) as store:
            store.new(at=AT)
            modes = {f.name: stat.S_IMODE(f.stat().st_mode) for f in path.parent.iterdir()}
    finally:
        os.umask(before)
    assert modes["jobs.db-wal"] == modes["jobs.db"] == 0o600


def test_a_file_is_attached_under_its_name_and_a_missing_one_refused(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(LOG)
    with open_store(tmp_path / "jobs.db") as store:
        assert store.attach(tmp_path / "a.csv").name == "a.csv"
        with pytest.raises(InputError, match="cannot be read"):
            store.attach(tmp_path / "none.csv")


def test_too_large_an_attachment_is_refused_before_it_is_read(tmp_path: Path) -> None:
    big = tmp_path / "big.bin"
    with big.open("wb") as out:
        out.truncate(256 * 2**20 + 1)  # a hole: takes no room
    with open_store(tmp_path / "jobs.db") as store, pytest.raises(AttachmentError, match="larger than 256 MiB"):
        store.attach(big)


def test_entries_of_before_the_record_can_still_be_made() -> None:
    entry = Entry(seq=1, stage="before", kind="note", at=AT, by="x", data={"a": 1}, simulated=True)
    assert (entry.corrects, entry.personal, entry.attachments, entry.previous, entry.digest) == (None, {}, (), "", "")
    assert current([entry]) == (entry,)


def test_a_bare_digest_is_an_attachment_without_a_name() -> None:
    entry = Entry(seq=1, stage="before", kind="note", at=AT, attachments=("a" * 64,))
    assert entry.attachments[0].digest == str(entry.attachments[0]) == "a" * 64


def test_a_withdrawn_entry_no_longer_counts() -> None:
    entries = [
        Entry(seq=1, stage="before", kind="note", at=AT),
        Entry(seq=2, stage="before", kind="note", at=AT),
        Entry(seq=3, stage="before", kind="withdrawn", at=AT, corrects=1),
    ]
    assert [e.seq for e in current(entries)] == [2]


def test_the_default_store_is_in_the_users_data_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    monkeypatch.setenv("HOME", str(tmp_path))
    assert tmp_path in default_store().parents
