"""Whoever goes around the program and changes a record is found; and what cannot be found is said."""

import hashlib
import json
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from jobs_record import AT, QUICK, cells, content_of, filled, raw

from tickover.errors import JobError
from tickover.jobs import open_store
from tickover.jobs.chain import canonical, digest_of, mark


@pytest.fixture(scope="module")
def sound() -> Iterator[Path]:
    """A file with two filled jobs, as it lies on the disk when nobody has it open."""
    with tempfile.TemporaryDirectory(dir=QUICK) as folder:
        path = Path(folder) / "jobs.db"
        with open_store(path) as store:
            filled(store)
            filled(store)
            assert store.verify_all().ok
        assert not path.with_name("jobs.db-wal").exists()
        yield path


@pytest.fixture(scope="module")
def copy(sound: Path) -> Iterator[Path]:
    path = sound.with_name("copy.db")
    yield path
    path.unlink(missing_ok=True)


def found(path: Path) -> bool:
    """Whether opening or verifying says that something is wrong."""
    try:
        with open_store(path, create=False) as store:
            return not store.verify_all().ok
    except JobError:
        return True


new_values = st.one_of(
    st.none(), st.integers(-5, 99), st.text(max_size=5), st.binary(max_size=5), st.floats(allow_nan=False)
)


def fresh(sound: Path, copy: Path) -> None:
    for end in ("-wal", "-shm"):
        copy.with_name(copy.name + end).unlink(missing_ok=True)
    shutil.copyfile(sound, copy)


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_any_change_of_any_cell_is_found(sound: Path, copy: Path, data: st.DataObject) -> None:
    _a_change_of_a_cell_is_found(sound, copy, data)


def _a_change_of_a_cell_is_found(sound: Path, copy: Path, data: st.DataObject) -> None:
    fresh(sound, copy)
    table, row, column = data.draw(st.sampled_from(cells(sound)))
    with raw(copy) as connection:
        read = f"SELECT quote({column}), {column} FROM tickover_{table} WHERE rowid = ?"
        before, old = connection.execute(read, (row,)).fetchone()
        value = data.draw(new_values | _slips(old))
        try:
            connection.execute(f"UPDATE tickover_{table} SET {column} = ? WHERE rowid = ?", (value, row))
        except Exception:  # the schema itself refuses it
            assume(False)
        there = connection.execute(
            f"SELECT quote({column}) FROM tickover_{table} WHERE {column} IS ?", (value,)
        ).fetchall()
        assume((before,) not in there)
    assert found(copy), (table, row, column, old, value)


def _slips(old: object) -> st.SearchStrategy[object]:
    """The stored value with one letter changed, or one more or less."""
    if not isinstance(old, bytes) or not old:
        return st.just(0)
    place = st.integers(0, len(old) - 1)
    changed = st.tuples(place, st.integers(1, 255)).map(
        lambda p: old[: p[0]] + bytes([old[p[0]] ^ p[1]]) + old[p[0] + 1 :]
    )
    return st.one_of(changed, place.map(lambda p: old[:p]), st.just(old + b" ")).map(
        lambda b: b.decode("utf-8", "ignore") if isinstance(b, bytes) and b.isascii() else b
    )


@pytest.mark.parametrize("table", ["store", "jobs", "entries", "personal", "attachments"])
def test_any_row_taken_out_is_found(sound: Path, copy: Path, table: str) -> None:
    rows = sorted({row for t, row, _ in cells(sound) if t == table})
    for row in rows:
        fresh(sound, copy)
        with raw(copy) as connection:
            connection.execute(f"DELETE FROM tickover_{table} WHERE rowid = ?", (row,))
        assert found(copy), (table, row)


def test_a_whole_job_taken_out_is_found(sound: Path, copy: Path) -> None:
    for job in (1, 2):
        fresh(sound, copy)
        with raw(copy) as connection:
            for table in ("personal", "entries", "jobs"):
                connection.execute(f"DELETE FROM tickover_{table} WHERE job = ?", (job,))
        assert found(copy)


@pytest.mark.parametrize(("one", "other"), [(2, 3), (1, 4), (5, 6)])
def test_two_entries_that_changed_places_are_found(sound: Path, copy: Path, one: int, other: int) -> None:
    fresh(sound, copy)
    with raw(copy) as connection:
        for old, new in ((one, 99), (other, one), (99, other)):
            connection.execute("UPDATE tickover_entries SET seq = ? WHERE job = 1 AND seq = ?", (new, old))
    with open_store(copy) as store:
        checked = store.verify(1)
    assert not checked.ok
    assert checked.findings[0].entry == one


def test_an_entry_put_in_at_the_end_is_found(sound: Path, copy: Path) -> None:
    fresh(sound, copy)
    with raw(copy) as connection:
        connection.execute(
            "INSERT INTO tickover_entries SELECT job, seq + 1, stage, kind, at, body, digest FROM tickover_entries"
            " WHERE job = 1 AND seq = 6"
        )
    assert found(copy)


def test_a_new_digest_for_a_changed_entry_breaks_the_one_after(sound: Path, copy: Path) -> None:
    """A forger who also mends the digest of the entry itself."""
    fresh(sound, copy)
    with raw(copy) as connection:
        (body,) = connection.execute("SELECT body FROM tickover_entries WHERE job = 1 AND seq = 3").fetchone()
        forged = body.decode().replace('"hit"', '"missed"')
        assert forged != body.decode()
        connection.execute(
            "UPDATE tickover_entries SET body = ?, digest = ? WHERE job = 1 AND seq = 3", (forged, digest_of(forged))
        )
    with open_store(copy) as store:
        assert [f.entry for f in store.verify(1).findings] == [4]


def test_a_cut_with_its_head_moved_is_shown_only_by_a_head_kept_elsewhere(sound: Path, copy: Path) -> None:
    """What the record cannot show about itself, it says; with a head that was written down it is found."""
    fresh(sound, copy)
    with open_store(copy) as store:
        noted = store.jobs()[0].head
        assert store.verify(1, head=noted[:16]).ok
    with raw(copy) as connection:
        connection.execute("DELETE FROM tickover_entries WHERE job = 1 AND seq = 6")
        connection.execute(
            "UPDATE tickover_jobs SET entries = 5,"
            " head = (SELECT digest FROM tickover_entries WHERE job = 1 AND seq = 5) WHERE job = 1"
        )
        connection.execute("DELETE FROM tickover_personal WHERE job = 1")
        connection.execute(
            "INSERT INTO tickover_personal SELECT 1, seq, field, NULL, NULL FROM tickover_personal WHERE job = 2"
        )
        connection.execute("INSERT INTO tickover_personal VALUES (1, 1, 'phone', NULL, NULL)")
    with open_store(copy) as store:
        checked = store.verify(1)
        assert checked.ok
        assert "cut off the newest entries" in checked.cannot_show
        assert not store.verify(1, head=noted[:16]).ok


def test_an_erased_value_that_comes_back_is_found(sound: Path, copy: Path) -> None:
    fresh(sound, copy)
    with raw(copy) as connection:
        connection.execute("INSERT INTO tickover_personal VALUES (1, 1, 'phone', 'x', 'y')")
    with open_store(copy) as store:
        assert "erased and is there again" in store.verify(1).findings[0].what


def test_a_damaged_job_does_not_hide_the_others(sound: Path, copy: Path) -> None:
    fresh(sound, copy)
    with raw(copy) as connection:
        connection.execute("UPDATE tickover_entries SET body = 'x' WHERE job = 1 AND seq = 1")
    with open_store(copy) as store:
        assert [j.car.get("year") for j in store.jobs()] == [None, 2009]
        assert [j.ok for j in store.verify_all().jobs] == [False, True]
        with pytest.raises(JobError, match="damaged"):
            store.entries(1)


def _a_changed_byte_is_found_or_changes_nothing(sound: Path, copy: Path, place: float, by: int) -> None:
    fresh(sound, copy)
    data = bytearray(sound.read_bytes())
    data[int(place * len(data))] ^= by
    copy.write_bytes(data)
    if not found(copy):
        with open_store(sound, read_only=True) as store:
            before = content_of(store)
        with open_store(copy) as store:
            assert content_of(store) == before


places = st.floats(0, 1, exclude_max=True)


@settings(max_examples=40, deadline=None)
@given(place=places, by=st.integers(1, 255))
def test_a_changed_byte_of_the_file_is_found_or_changes_nothing(sound: Path, copy: Path, place: float, by: int) -> None:
    _a_changed_byte_is_found_or_changes_nothing(sound, copy, place, by)


@pytest.mark.soak
@settings(max_examples=600, deadline=None)
@given(data=st.data())
def test_many_changes_of_cells(sound: Path, copy: Path, data: st.DataObject) -> None:
    _a_change_of_a_cell_is_found(sound, copy, data)


@pytest.mark.soak
@settings(max_examples=600, deadline=None)
@given(place=places, by=st.integers(1, 255))
def test_many_changed_bytes_of_the_file(sound: Path, copy: Path, place: float, by: int) -> None:
    _a_changed_byte_is_found_or_changes_nothing(sound, copy, place, by)


def test_the_chain_is_what_the_read_me_says(sound: Path) -> None:
    """Checked with nothing of the chain's own code but SHA-256."""
    with raw(sound) as connection:
        (uid,) = connection.execute("SELECT uid FROM tickover_jobs WHERE job = 1").fetchone()
        before = hashlib.sha256(b"tickover job " + uid).hexdigest()
        assert before == mark(uid.decode())
        for body, digest in connection.execute("SELECT body, digest FROM tickover_entries WHERE job = 1 ORDER BY seq"):
            assert json.loads(body)["previous"] == before
            assert body.isascii()
            before = hashlib.sha256(body).hexdigest()
            assert before == digest.decode()


@given(st.dictionaries(st.text(), st.floats(allow_nan=False, allow_infinity=False) | st.integers() | st.text()))
def test_canonical_text_is_the_same_for_the_same_value(value: dict[str, object]) -> None:
    backwards = dict(reversed(value.items()))
    assert canonical(value) == canonical(backwards)
    assert canonical(AT) == f'"{AT}"'
