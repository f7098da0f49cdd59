"""Bad moves with a store: one clear message each, a way out, and nothing lost."""

import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from jobs_record import AT, LOG, content_of, filled, raw
from sqlalchemy import create_engine, text

from tickover.errors import (
    FullStoreError,
    InputError,
    JobError,
    LockedStoreError,
    MissingExtraError,
    NewerStoreError,
    ReadOnlyStoreError,
    StoreError,
    TickoverError,
)
from tickover.jobs import Store, open_store


def test_a_store_that_is_not_there_is_made_only_where_wanted(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="there is no job record here") as error:
        open_store(tmp_path / "none.db", create=False)
    assert "job new" in error.value.way_out
    assert not (tmp_path / "none.db").exists()
    open_store(tmp_path / "deep" / "er" / "jobs.db").close()
    assert (tmp_path / "deep" / "er" / "jobs.db").exists()


def test_a_folder_is_no_store(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="is a folder"):
        open_store(tmp_path)


def test_another_kind_of_file_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "letter.txt"
    path.write_text("Dear customer, " * 100)
    with pytest.raises(StoreError, match="is not a job record"):
        open_store(path)
    assert path.read_text() == "Dear customer, " * 100


def test_another_programs_database_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "other.db"
    with raw(path) as connection:
        connection.execute("CREATE TABLE parts (name TEXT)")
    with pytest.raises(StoreError, match="another program's database"):
        open_store(path)
    with raw(path) as connection:
        assert connection.execute("SELECT name FROM sqlite_master").fetchall() == [(b"parts",)]


class TestBothStores:
    def test_a_newer_schema_is_refused_and_left_alone(self, store: Store, where: str) -> None:
        filled(store)
        before = content_of(store)
        _set_revision(where, "0999")
        with pytest.raises(NewerStoreError, match="revision 0999") as error:
            open_store(where)
        assert "update tickover" in error.value.way_out
        _set_revision(where, "0001")
        with open_store(where) as again:
            assert content_of(again) == before

    def test_a_store_opened_to_read_can_be_read_and_not_written(self, store: Store, where: str) -> None:
        job = filled(store)
        before = content_of(store)
        with open_store(where, read_only=True) as held:
            assert not held.may_write
            assert content_of(held) == before
            assert held.verify_all().ok
            for write in (
                lambda: held.new(at=AT),
                lambda: held.add(job, stage="drive", kind="note", at=AT),
                lambda: held.attach(b"x"),
                lambda: held.purge(job, at=AT),
            ):
                with pytest.raises(ReadOnlyStoreError, match="may only be read"):
                    write()
        assert content_of(store) == before

    def test_a_lock_held_too_long_is_said_and_loses_nothing(self, store: Store, where: str) -> None:
        job = filled(store)
        before = content_of(store)
        with open_store(where, wait=0.2) as other, store.writing() as connection:
            connection.execute(text("SELECT * FROM tickover_jobs" + (" FOR UPDATE" if "://" in where else "")))
            with pytest.raises(LockedStoreError, match="somebody else is writing") as error:
                other.add(job, stage="drive", kind="note", at=AT)
            assert "Try again" in error.value.way_out
            assert content_of(other) == before  # reading goes on meanwhile
        assert content_of(store) == before
        store.add(job, stage="drive", kind="note", at=AT)


def _set_revision(where: str, revision: str) -> None:
    engine = create_engine(where if "://" in where else f"sqlite:///{where}")
    with engine.begin() as connection:
        connection.execute(text("UPDATE tickover_version SET version_num = :r"), {"r": revision})
    engine.dispose()


def test_a_read_only_store_without_tables_is_said(tmp_path: Path) -> None:
    path = tmp_path / "empty.db"
    path.touch()
    with pytest.raises(StoreError, match="holds no job record"):
        open_store(path, read_only=True)


@pytest.fixture
def shelf(tmp_path: Path) -> Iterator[Path]:
    """A folder on a medium that cannot be written to: a real read-only mount, where we may make one."""
    folder = tmp_path / "shelf"
    folder.mkdir()
    with open_store(folder / "jobs.db") as store:
        filled(store)
    if _mounted("--bind", folder, folder) and _mounted("-o", "remount,bind,ro", folder):
        yield folder
        subprocess.run(["umount", "-l", str(folder)], check=True)
        return
    if os.getuid() == 0:
        subprocess.run(["umount", "-l", str(folder)], check=False, capture_output=True)
        pytest.skip("root may write everywhere, and nothing can be mounted here")
    for path, mode in ((folder / "jobs.db", 0o400), (folder, 0o500)):
        path.chmod(mode)
    yield folder
    folder.chmod(0o700)


def _mounted(*words: str | Path) -> bool:
    return (
        shutil.which("mount") is not None
        and not subprocess.run(["mount", *map(str, words)], check=False, capture_output=True).returncode
    )


def test_a_store_on_a_read_only_medium_is_read_and_writing_is_refused(shelf: Path) -> None:
    with open_store(shelf / "jobs.db") as store:
        assert not store.may_write
        assert store.verify_all().ok
        assert len(store.entries(1)) == 6
        with pytest.raises(ReadOnlyStoreError, match="may only be read"):
            store.add(1, stage="drive", kind="note", at=AT)
    with pytest.raises(TickoverError, match="cannot be made"):
        open_store(shelf / "new.db")


def _entries_or_refusal(path: Path) -> str:
    try:
        with open_store(path) as store:
            return f"{len(store.entries(1))} entries"
    except ReadOnlyStoreError as why:
        return str(why)


def test_the_newest_entries_in_the_log_are_never_silently_left_out(tmp_path: Path) -> None:
    """A file without write access, whose writer never closed it: read whole, or refused; never read short."""
    living, shelf = tmp_path / "living", tmp_path / "shelf"
    living.mkdir()
    store = open_store(living / "jobs.db")
    filled(store)
    store.add(1, stage="drive", kind="note", at=AT)
    shutil.copytree(living, shelf)  # with the -wal: entries are still in it
    store.close()
    assert (shelf / "jobs.db-wal").stat().st_size
    (shelf / "jobs.db-shm").unlink(missing_ok=True)
    if not (_mounted("--bind", shelf, shelf) and _mounted("-o", "remount,bind,ro", shelf)):
        subprocess.run(["umount", "-l", str(shelf)], check=False, capture_output=True)
        if os.getuid() == 0:
            pytest.skip("root may write everywhere, and nothing can be mounted here")
        shelf.chmod(0o500)
    try:
        said = _entries_or_refusal(shelf / "jobs.db")
    finally:
        if os.getuid() == 0:
            subprocess.run(["umount", "-l", str(shelf)], check=True)
        shelf.chmod(0o700)
    assert said == "7 entries" or "newest entries are still in jobs.db-wal" in said
    with open_store(shelf / "jobs.db") as store:
        assert len(store.entries(1)) == 7


def test_a_full_disk_is_said_and_loses_nothing(tmp_path: Path) -> None:
    """On a small file system of its own, filled up for real."""
    disk = tmp_path / "disk"
    disk.mkdir()
    if not _mounted("-t", "tmpfs", "-o", "size=1500k", "tmpfs", disk):
        pytest.skip("no small file system can be mounted here")
    try:
        with open_store(disk / "jobs.db") as store:
            job = filled(store)
            before = len(store.entries(job))

            def fill() -> None:
                nonlocal before
                for _ in range(10_000):
                    store.add(job, stage="drive", kind="note", data={"text": "x" * 40_000}, at=AT)
                    before += 1

            with pytest.raises(FullStoreError, match="disk is full") as error:
                fill()
            assert before > 6
            assert "Make room" in error.value.way_out
            assert len(store.entries(job)) == before
            assert store.verify_all().ok
            with pytest.raises(FullStoreError):
                store.attach(LOG * 40_000)
            with pytest.raises(TickoverError):
                store.backup(disk / "backup.db")
            assert not list(disk.glob("backup*"))
            subprocess.run(["mount", "-o", "remount,size=9m", str(disk)], check=True)
            store.add(job, stage="drive", kind="note", at=AT)  # room was made
            assert len(store.entries(job)) == before + 1
        with open_store(disk / "jobs.db") as store:
            assert store.verify_all().ok
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=True)


def test_a_store_that_has_reached_its_size_loses_nothing(tmp_path: Path) -> None:
    """The same without a mount: SQLite itself is told to stop."""
    with open_store(tmp_path / "jobs.db") as store:
        job = filled(store)
        with store.writing() as connection:
            pages = connection.execute(text("PRAGMA page_count")).scalar()
            connection.execute(text(f"PRAGMA max_page_count = {pages}"))
        before = content_of(store)
        with pytest.raises(FullStoreError, match="disk is full"):
            store.attach(bytes(100_000))
        assert content_of(store) == before
        assert store.verify(job).ok


def test_a_limit_on_file_size_is_said_and_loses_nothing(tmp_path: Path) -> None:
    """The system refuses to let the file grow."""
    code = (
        "import resource, sys\nfrom tickover.errors import StoreError\nfrom tickover.jobs import open_store\n"
        "s = open_store(sys.argv[1])\nresource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))\n"
        "n = 0\n"
        "try:\n"
        "    while n < 500:\n"
        "        s.add(1, stage='drive', kind='note', data={'text': 'x' * 5000}, at='2026-11-25T10:00:00Z')\n"
        "        n += 1\n"
        "except StoreError as why: print(n, len(s.entries(1)) - 6, s.verify_all().ok, why)\n"
    )
    with open_store(tmp_path / "jobs.db") as store:
        filled(store)
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "jobs.db")], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    acknowledged, there, ok, said = done.stdout.split(" ", 3)
    assert (acknowledged, ok) == (there, "True")
    assert "disk" in said
    with open_store(tmp_path / "jobs.db") as store:
        assert len(store.entries(1)) == 6 + int(acknowledged)
        assert store.verify_all().ok


@pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")
def test_a_file_of_somebody_else_is_said() -> None:
    with tempfile.TemporaryDirectory() as folder:  # not pytest's own, into which no other user may look
        path = Path(folder) / "jobs.db"
        with open_store(path) as store:
            store.new(at=AT)
        if os.getuid() != 0:
            path.chmod(0)
            with pytest.raises(StoreError, match="may not be read"):
                open_store(path)
            return
        Path(folder).chmod(0o755)
        child = os.fork()
        if child == 0:
            os.setuid(65534)  # nobody
            try:
                open_store(path)
            except StoreError as why:
                os._exit(0 if "may not be read" in str(why) else 1)
            os._exit(2)
        assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0


@pytest.mark.parametrize("address", ["mysql://x/y", "postgresql+nothing://x", "://", "http://x:y:z/"])
def test_an_address_of_another_kind_is_refused(address: str) -> None:
    if address.startswith("postgresql"):
        pytest.importorskip("psycopg")
        with pytest.raises(TickoverError):  # taken as PostgreSQL; nobody answers there
            open_store(address + ":1/none?connect_timeout=1")
        return
    with pytest.raises(InputError, match=r"address|not known"):
        open_store(address)


def test_a_server_that_does_not_answer_is_said_without_the_password(tmp_path: Path) -> None:
    pytest.importorskip("psycopg")
    with pytest.raises(StoreError, match="does not let us in") as error:
        open_store(f"postgresql+psycopg://who:sesame@/jobs?host={tmp_path}")
    assert "sesame" not in str(error.value)
    assert "See that it runs" in error.value.way_out


def test_without_the_extra_the_message_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "psycopg", None)
    with pytest.raises(MissingExtraError) as error:
        open_store("postgresql+psycopg://x@/y")
    assert "tickover[postgres]" in str(error.value)


def test_every_error_of_the_record_is_one_that_exits_2() -> None:
    def leaves(kind: type[TickoverError]) -> list[type[TickoverError]]:
        return [kind, *(x for k in kind.__subclasses__() for x in leaves(k))]

    assert len(leaves(JobError)) == 12
    assert {k.exit_code for k in leaves(JobError)} == {2}


def test_sqlite_is_asked_for_full_durability(tmp_path: Path) -> None:
    """Read back from SQLite itself: log mode, and a sync at every commit."""
    with open_store(tmp_path / "jobs.db") as store, store.reading() as connection:
        said = {
            p: connection.execute(text(f"PRAGMA {p}")).scalar()
            for p in ("journal_mode", "synchronous", "secure_delete")
        }
    assert said == {"journal_mode": "wal", "synchronous": 2, "secure_delete": 1}
    assert sqlite3.threadsafety
