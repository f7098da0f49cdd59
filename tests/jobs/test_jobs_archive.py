"""A job out and in again: the same bytes; and nothing of a file that was made to harm."""

import json
import struct
import subprocess
import tempfile
import threading
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jobs_record import AT, LATER, LOG, QUICK, SHEET, content_of, filled, raw

from tickover.errors import ArchiveError, InputError, PartedJobError, StoreError
from tickover.jobs import Store, open_store
from tickover.jobs.chain import digest_of
from tickover.signals import Recording, Series


@pytest.fixture
def here(tmp_path: Path) -> Store:
    return open_store(tmp_path / "here.db")


def recording() -> Recording:
    return Recording({"engine_speed": Series.of([0, 1], [1, 2], [700, 710])})


class TestBothStores:
    def test_export_import_export_gives_the_same_bytes(self, here: Store, store: Store, tmp_path: Path) -> None:
        filled(here)
        job = filled(here)
        one, two = tmp_path / "one.zip", tmp_path / "two.zip"
        exported = here.export(job, one, sheet_pdf=SHEET)
        report = store.import_(one)
        assert (report.job, report.added, report.was_here) == (1, 6, False)
        assert store.verify_all().ok
        assert store.export(1, two, sheet_pdf=SHEET).sha256 == exported.sha256
        assert one.read_bytes() == two.read_bytes()
        assert store.entries(1) == here.entries(job)
        assert store.personal(1) == here.personal(job)

    def test_importing_twice_changes_nothing(self, here: Store, store: Store, tmp_path: Path) -> None:
        here.export(filled(here), tmp_path / "j.zip")
        store.import_(tmp_path / "j.zip")
        before = content_of(store)
        report = store.import_(tmp_path / "j.zip")
        assert (report.job, report.added, report.was_here) == (1, 0, True)
        assert content_of(store) == before

    def test_a_longer_copy_continues_the_job_and_its_purges(self, here: Store, store: Store, tmp_path: Path) -> None:
        job = filled(here)
        here.export(job, tmp_path / "old.zip")
        store.import_(tmp_path / "old.zip")
        here.add(job, stage="drive", kind="note", at=LATER, attachments=(here.attach(b"new"),))
        here.purge(job, "vin", at=LATER)
        here.export(job, tmp_path / "new.zip")
        report = store.import_(tmp_path / "new.zip")
        assert (report.added, report.was_here) == (2, True)
        assert store.personal(1) == {"customer": "A. Bär"}
        assert store.verify_all().ok
        again = store.import_(tmp_path / "old.zip")  # the old copy brings nothing back
        assert again.added == 0
        assert store.personal(1) == {"customer": "A. Bär"}
        assert store.verify_all().ok

    def test_copies_that_went_apart_are_refused(self, here: Store, store: Store, tmp_path: Path) -> None:
        job = filled(here)
        here.export(job, tmp_path / "j.zip")
        store.import_(tmp_path / "j.zip")
        store.add(1, stage="drive", kind="note", data={"here": 1}, at=LATER)
        here.add(job, stage="drive", kind="note", data={"there": 1}, at=LATER)
        here.export(job, tmp_path / "j.zip")
        before = content_of(store)
        with pytest.raises(PartedJobError, match="from entry 7"):
            store.import_(tmp_path / "j.zip")
        assert content_of(store) == before

    def test_two_imports_at_once_are_one(self, here: Store, where: str, tmp_path: Path) -> None:
        here.export(filled(here), tmp_path / "j.zip")
        reports = []

        def take_in() -> None:
            with open_store(where) as store:
                reports.append(store.import_(tmp_path / "j.zip"))

        threads = [threading.Thread(target=take_in) for _ in range(3)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert sorted(r.added for r in reports) == [0, 0, 6]
        with open_store(where) as store:
            assert [j.entries for j in store.jobs()] == [6]
            assert store.verify_all().ok

    def test_personal_values_can_stay_behind_and_follow_later(self, here: Store, store: Store, tmp_path: Path) -> None:
        job = filled(here)
        here.export(job, tmp_path / "bare.zip", with_personal=False)
        assert "Bär" not in json.dumps(_files(tmp_path / "bare.zip")["personal.json"].decode())
        store.import_(tmp_path / "bare.zip")
        checked = store.verify(1)
        assert checked.ok
        assert checked.withheld == ("1.customer", "5.vin")
        assert store.personal(1) == {}
        here.export(job, tmp_path / "full.zip")
        assert store.import_(tmp_path / "full.zip").added == 0
        assert store.personal(1) == here.personal(job)
        assert store.verify(1).withheld == ()


def _files(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as packed:
        return {n: packed.read(n) for n in packed.namelist()}


def test_the_zip_holds_what_its_read_me_says(here: Store, tmp_path: Path) -> None:
    job = filled(here)
    digest = digest_of(LOG)
    here.export(job, tmp_path / "j.zip", sheet_pdf=SHEET, recordings={digest: recording()})
    files = _files(tmp_path / "j.zip")
    explained = files["README.txt"].decode()
    assert all(name.split("/")[0] in explained for name in files if name != "README.txt")
    assert files["sheet.pdf"] == SHEET
    assert files[f"attachments/{digest}"] == LOG
    columns = pl.read_parquet(files["series/entry-2-trace.parquet"])
    assert columns.to_dict(as_series=False) == {"t": [0, 1, 2], "speed": [700, 710, 705]}
    long = pl.read_parquet(files[f"series/{digest[:16]}.parquet"])
    assert long.row(0) == ("engine_speed", "r/min", 0.0, 1.0, 700.0)
    (tmp_path / "out").mkdir()
    with zipfile.ZipFile(tmp_path / "j.zip") as packed:
        packed.extractall(tmp_path / "out")
    done = subprocess.run(
        ["sha256sum", "-c", "checksums.sha256"], cwd=tmp_path / "out", capture_output=True, check=False
    )
    assert done.returncode == 0
    lines = files["entries.jsonl"].decode().splitlines()
    assert [digest_of(line) for line in lines] == [e.digest for e in here.entries(job)]


def test_an_export_never_takes_the_place_of_another_kind_of_file(here: Store, tmp_path: Path) -> None:
    job = filled(here)
    here.export(job, tmp_path / "j.zip")
    here.export(job, tmp_path / "j.zip")
    with pytest.raises(InputError, match="no exported job"):
        here.export(job, tmp_path / "here.db")
    assert here.verify_all().ok
    with pytest.raises(InputError, match="cannot be written"):
        here.export(job, tmp_path / "no folder" / "j.zip")


def test_a_job_that_does_not_verify_is_not_exported(here: Store, tmp_path: Path) -> None:
    job = filled(here)
    with raw(tmp_path / "here.db") as connection:
        connection.execute("UPDATE tickover_entries SET body = replace(body, 'hit', 'hot')")
    with pytest.raises(StoreError, match="not as it was written"):
        here.export(job, tmp_path / "j.zip")
    assert not (tmp_path / "j.zip").exists()


def test_the_tightest_packing_still_comes_in(here: Store, tmp_path: Path) -> None:
    """A long log of nothing packs a thousand to one; what we write we also read."""
    job = here.new(at=AT)
    here.add(job, stage="before", kind="note", at=AT, attachments=(here.attach(bytes(3 * 2**20)),))
    here.export(job, tmp_path / "j.zip")
    with open_store(tmp_path / "there.db") as there:
        assert there.import_(tmp_path / "j.zip").added == 2


# --- files made to harm


@pytest.fixture
def good(here: Store, tmp_path: Path) -> dict[str, bytes]:
    here.export(filled(here), tmp_path / "good.zip", sheet_pdf=SHEET)
    return _files(tmp_path / "good.zip")


def pack(
    path: Path, files: dict[str, bytes], *, sums: bool = True, more: Callable[[zipfile.ZipFile], None] | None = None
) -> Path:
    """A zip of these files; with right checksums unless a test is about them."""
    files = dict(files)
    if sums:
        listed = {n: d for n, d in files.items() if n != "checksums.sha256"}
        files["checksums.sha256"] = "".join(f"{digest_of(d)}  {n}\n" for n, d in listed.items()).encode()
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, data in files.items():
            packed.writestr(name, data)
        if more is not None:
            more(packed)
    return path


def refused(tmp_path: Path, path: Path, why: str) -> None:
    """The file is refused for that reason, and nothing at all is stored or written beside the store."""
    (tmp_path / "in").mkdir(exist_ok=True)
    with open_store(tmp_path / "in" / "store.db") as store:
        before = sorted(p.name for p in tmp_path.rglob("*"))
        with pytest.raises(ArchiveError, match=why) as error:
            store.import_(path)
        assert path.name in str(error.value)
        assert store.jobs() == []
        assert store.verify_all().ok
        assert sorted(p.name for p in tmp_path.rglob("*")) == before


@pytest.mark.parametrize(
    "name",
    ["../evil.json", "/etc/evil", "attachments/../../evil", "series\\x.parquet", "C:evil", "entries.jsonl/", "evil.sh"],
)
def test_a_name_that_points_elsewhere_is_refused(good: dict[str, bytes], tmp_path: Path, name: str) -> None:
    refused(tmp_path, pack(tmp_path / "bad.zip", {**good, name: b"x"}), "does not belong")


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_a_name_that_is_there_twice_is_refused(good: dict[str, bytes], tmp_path: Path) -> None:
    path = pack(tmp_path / "bad.zip", good, more=lambda z: z.writestr("entries.jsonl", b"{}\n"))
    refused(tmp_path, path, "twice")


def test_a_link_is_refused(good: dict[str, bytes], tmp_path: Path) -> None:
    def link(packed: zipfile.ZipFile) -> None:
        info = zipfile.ZipInfo("series/x.parquet")
        info.external_attr = 0o120777 << 16
        packed.writestr(info, "/etc/passwd")

    refused(tmp_path, pack(tmp_path / "bad.zip", good, more=link), "not a plain file")


def test_a_bomb_is_refused_before_it_is_unpacked(good: dict[str, bytes], tmp_path: Path) -> None:
    bomb = {**good, "attachments/" + "0" * 64: bytes(60 * 2**20)}
    refused(tmp_path, pack(tmp_path / "bad.zip", bomb), "100 times its size")


def test_a_size_that_lies_is_refused(good: dict[str, bytes], tmp_path: Path) -> None:
    """The directory says a few bytes, and a megabyte comes out."""
    big = json.dumps({"x": "ab" * 400_000}).encode()
    path = pack(tmp_path / "bad.zip", {**good, "personal.json": big})
    data = path.read_bytes()
    assert data.count(struct.pack("<I", len(big))) >= 1
    path.write_bytes(data.replace(struct.pack("<I", len(big)), struct.pack("<I", 3)))
    refused(tmp_path, path, "cannot be unpacked|another size")


def test_an_encrypted_part_is_refused(good: dict[str, bytes], tmp_path: Path) -> None:
    path = pack(tmp_path / "bad.zip", good)
    data = bytearray(path.read_bytes())
    at = data.rindex(b"PK\x01\x02")  # the directory's last line; its flags are at 8
    data[at + 8] |= 1
    path.write_bytes(data)
    refused(tmp_path, path, "encrypted")


def test_another_packing_is_refused(good: dict[str, bytes], tmp_path: Path) -> None:
    path = pack(tmp_path / "bad.zip", good, more=lambda z: z.writestr("series/x.parquet", b"x" * 99, zipfile.ZIP_BZIP2))
    refused(tmp_path, path, "packed in a way")


def changed(old: str, new: str) -> Callable[[bytes], bytes]:
    def change(data: bytes) -> bytes:
        assert old.encode() in data, old
        return data.replace(old.encode(), new.encode(), 1)

    return change


def becomes(data: bytes) -> Callable[[bytes], bytes]:
    return lambda _: data


def first_is(row: bytes) -> Callable[[bytes], bytes]:
    return lambda data: data.replace(b"[", b"[" + row + b",", 1)


@pytest.mark.parametrize(
    ("name", "change", "why"),
    [
        ("entries.jsonl", changed('"hit"', '"hot"'), "does not follow"),
        ("entries.jsonl", lambda d: d.split(b"\n", 1)[1], "does not follow|out of its place|cannot be read"),
        ("entries.jsonl", lambda d: d[: d[:-1].rindex(b"\n") + 1], "says it has 6 entries"),
        ("entries.jsonl", lambda d: d[:-1], "middle of a line"),
        ("entries.jsonl", becomes(b"[" * 100_000 + b"\n"), "cannot be read"),
        ("entries.jsonl", lambda d: b"\xff" + d, "not text"),
        ("manifest.json", changed("tickover job", "another"), "not an exported job"),
        ("manifest.json", changed('"v": 1', '"v": 9'), "update tickover"),
        ("manifest.json", changed('"entries": 6', '"entries": 5'), "says it has 5"),
        ("manifest.json", becomes(b"[" * 100_000), "not JSON"),
        ("manifest.json", becomes(b'{"format": "tickover job", "v": 1, "job": {"uid": "../x"}}'), "names no job"),
        ("personal.json", changed("A. B", "Z. B"), "not what was written"),
        ("personal.json", becomes(b"[]"), "no entry says it was erased"),
        ("personal.json", becomes(b"{}"), "no entry says it was erased"),
        ("personal.json", becomes(b'[{"entry": "1"}]'), "cannot be read"),
        ("personal.json", first_is(b'{"entry":9,"field":"x","salt":"a","value":"b"}'), "belongs to no"),
    ],
)  # fmt: skip
def test_a_part_that_does_not_hold_is_refused(
    good: dict[str, bytes], tmp_path: Path, name: str, change: Callable[[bytes], bytes], why: str
) -> None:
    bad = {**good, name: change(good[name])}
    assert bad != good
    refused(tmp_path, pack(tmp_path / "bad.zip", bad), why)


def test_an_attachment_with_other_bytes_is_refused(good: dict[str, bytes], tmp_path: Path) -> None:
    name = f"attachments/{digest_of(LOG)}"
    refused(tmp_path, pack(tmp_path / "bad.zip", {**good, name: b"other"}), "damaged")
    del good[name]
    refused(tmp_path, pack(tmp_path / "bad.zip", good), "not those that the entries name")


def test_checksums_that_do_not_fit_are_refused(good: dict[str, bytes], tmp_path: Path) -> None:
    refused(
        tmp_path,
        pack(tmp_path / "a.zip", {**good, "sheet.pdf": b"%PDF-other"}, sums=False),
        "does not fit its checksum",
    )
    refused(tmp_path, pack(tmp_path / "b.zip", {**good, "series/x.parquet": b""}, sums=False), "do not list exactly")
    doubled = {**good, "checksums.sha256": good["checksums.sha256"] * 2}
    refused(tmp_path, pack(tmp_path / "c.zip", doubled, sums=False), "twice")
    del good["personal.json"]
    refused(tmp_path, pack(tmp_path / "d.zip", good), "personal.json missing")


def test_a_file_that_is_no_zip_is_refused(tmp_path: Path) -> None:
    (tmp_path / "x.zip").write_bytes(b"not a zip")
    refused(tmp_path, tmp_path / "x.zip", "no zip file")
    with open_store(tmp_path / "s.db") as store, pytest.raises(InputError, match="no such file"):
        store.import_(tmp_path / "none.zip")


def _broken_anywhere(good: bytes, tmp_path: Path, place: float, by: int, cut: bool) -> None:
    data = bytearray(good)
    at = int(place * len(data))
    if cut:
        del data[at:]
    else:
        data[at] ^= by
    (tmp_path / "bad.zip").write_bytes(data)
    with open_store(tmp_path / "fuzz.db") as store:
        try:
            store.import_(tmp_path / "bad.zip")
        except ArchiveError:
            assert store.jobs() == []
        else:  # a byte that means nothing, such as the date of a part
            store.export(1, tmp_path / "again.zip", sheet_pdf=SHEET)
            assert (tmp_path / "again.zip").read_bytes() == good
    for file in tmp_path.glob("fuzz.db*"):
        file.unlink()


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    folder = tmp_path_factory.mktemp("small")
    with open_store(folder / "s.db") as store:
        store.export(filled(store), folder / "j.zip", sheet_pdf=SHEET)
    return (folder / "j.zip").read_bytes()


@pytest.fixture(scope="module")
def room() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(dir=QUICK) as folder:
        yield Path(folder)


@settings(max_examples=30, deadline=None)
@given(place=st.floats(0, 1, exclude_max=True), by=st.integers(1, 255), cut=st.booleans())
def test_a_file_broken_anywhere_is_refused_or_whole(small: bytes, room: Path, place: float, by: int, cut: bool) -> None:
    _broken_anywhere(small, room, place, by, cut)


@pytest.mark.soak
@settings(max_examples=400, deadline=None)
@given(place=st.floats(0, 1, exclude_max=True), by=st.integers(1, 255), cut=st.booleans())
def test_many_files_broken_anywhere(small: bytes, room: Path, place: float, by: int, cut: bool) -> None:
    _broken_anywhere(small, room, place, by, cut)
