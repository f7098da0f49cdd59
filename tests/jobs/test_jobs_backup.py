"""Back-up and restore: the whole record, checked, between both kinds of store."""

import sqlite3
from pathlib import Path

import pytest
from jobs_record import AT, content_of, filled, raw

from tickover.errors import InputError, JobError, StoreError
from tickover.jobs import Store, open_store, restore


class TestBothStores:
    def test_a_back_up_brought_back_is_the_same_record(self, store: Store, tmp_path: Path) -> None:
        filled(store)
        filled(store)
        report = store.backup(tmp_path / "b.db")
        assert (report.jobs, report.entries, report.attachments, report.findings) == (2, 12, 2, ())
        assert [p.name for p in tmp_path.iterdir() if p.name.startswith("b.db")] == ["b.db"]
        back = restore(tmp_path / "b.db", tmp_path / "new.db")
        assert (back.jobs, back.entries, back.findings) == (2, 12, ())
        with open_store(tmp_path / "new.db") as again:
            assert content_of(again) == content_of(store)
            assert again.verify_all().ok
            assert again.new(at=AT) == 3

    def test_a_back_up_of_a_file_goes_into_either_store(self, store: Store, where: str, tmp_path: Path) -> None:
        with open_store(tmp_path / "old.db") as old:
            filled(old)
            old.backup(tmp_path / "b.db")
            restore(tmp_path / "b.db", where)
            assert content_of(store) == content_of(old)

    def test_a_store_that_holds_jobs_is_never_restored_over(self, store: Store, where: str, tmp_path: Path) -> None:
        job = filled(store)
        store.backup(tmp_path / "b.db")
        store.add(job, stage="drive", kind="note", at=AT)
        before = content_of(store)
        with pytest.raises(InputError, match="holds jobs already"):
            restore(tmp_path / "b.db", where)
        assert content_of(store) == before

    def test_a_back_up_is_taken_while_others_write(self, store: Store, where: str, tmp_path: Path) -> None:
        job = filled(store)
        with open_store(where) as other, other.reading():
            store.add(job, stage="drive", kind="note", at=AT)
            store.backup(tmp_path / "b.db")
        with open_store(tmp_path / "b.db", read_only=True) as copy:
            assert len(copy.entries(job)) == 7


def test_an_older_back_up_goes_only_when_asked(tmp_path: Path) -> None:
    with open_store(tmp_path / "jobs.db") as store:
        filled(store)
        store.backup(tmp_path / "b.db")
        before = (tmp_path / "b.db").read_bytes()
        filled(store)
        with pytest.raises(InputError, match="there already"):
            store.backup(tmp_path / "b.db")
        assert (tmp_path / "b.db").read_bytes() == before
        assert store.backup(tmp_path / "b.db", replace=True).jobs == 2


def test_a_back_up_is_one_plain_file(tmp_path: Path) -> None:
    """No side files, so that it can be burnt, mailed, or read from a medium that cannot be written to."""
    with open_store(tmp_path / "jobs.db") as store:
        filled(store)
        store.backup(tmp_path / "b.db")
    connection = sqlite3.connect(tmp_path / "b.db")
    assert connection.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    connection.close()


def test_damage_is_copied_as_it_is_and_said(tmp_path: Path) -> None:
    with open_store(tmp_path / "jobs.db") as store:
        filled(store)
    with raw(tmp_path / "jobs.db") as connection:
        connection.execute("UPDATE tickover_entries SET body = CAST(x'80ff' AS TEXT) WHERE seq = 3")
        connection.execute("UPDATE tickover_personal SET job = 9 WHERE field = 'vin'")
    with open_store(tmp_path / "jobs.db") as store:
        report = store.backup(tmp_path / "b.db")
        assert report.entries == 6
        assert any("entry 3" in f.what for f in report.findings)
    again = restore(tmp_path / "b.db", tmp_path / "new.db")
    assert {f.what for f in again.findings} == {f.what for f in report.findings}


def test_what_is_no_back_up_is_not_restored(tmp_path: Path) -> None:
    (tmp_path / "x.db").write_bytes(b"no database at all" * 10)
    with pytest.raises(StoreError, match="is not a job record"):
        restore(tmp_path / "x.db", tmp_path / "new.db")
    with pytest.raises(JobError, match="no job record here"):
        restore(tmp_path / "none.db", tmp_path / "new.db")
    assert not (tmp_path / "new.db").exists()


def test_a_folder_that_is_not_there_is_said(tmp_path: Path) -> None:
    with open_store(tmp_path / "jobs.db") as store, pytest.raises(InputError, match="no folder"):
        store.backup(tmp_path / "none" / "b.db")
