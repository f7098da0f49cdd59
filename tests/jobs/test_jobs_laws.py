"""Laws over jobs of any shape: corrections, travelling, checking."""

import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jobs_record import AT, LATER, QUICK, content_of

from tickover.jobs import STAGES, WITHDRAWN, Entry, Store, current, open_store

json_values = st.dictionaries(
    st.text(max_size=5),
    st.one_of(
        st.text(max_size=8), st.integers(), st.floats(allow_nan=False, allow_infinity=False),
        st.fixed_dictionaries({"t": st.just([0, 1.5]), "speed": st.lists(st.floats(0, 9000), min_size=2, max_size=2)}),
    ),
    max_size=3,
)  # fmt: skip
steps = st.lists(
    st.fixed_dictionaries(
        {
            "stage": st.sampled_from(STAGES),
            "kind": st.sampled_from(["note", "reading", "car", WITHDRAWN]),
            "data": json_values,
            "files": st.lists(st.binary(max_size=20), max_size=2),
            "personal": st.dictionaries(st.sampled_from(["phone", "vin"]), st.just("0123"), max_size=2),
            "corrects": st.none() | st.integers(0, 10**6),
            "purge": st.sampled_from([None, None, None, "phone", "all"]),
        }
    ),
    max_size=8,
)


def build(store: Store, plan: list[dict[str, object]]) -> int:
    """A job by this plan."""
    job = store.new(at=AT, personal={"phone": "0456"})
    for n, step in enumerate(plan):
        count = len(store.entries(job))
        corrects = None if step["corrects"] is None else step["corrects"] % count + 1
        files = tuple(store.attach(f, name=f"{n}.bin") for f in step["files"])
        store.add(
            job, stage=step["stage"], kind=step["kind"], data=step["data"], at=LATER, personal=step["personal"],
            attachments=files, corrects=corrects,
        )  # fmt: skip
        if step["purge"] is not None:
            store.purge(job, None if step["purge"] == "all" else step["purge"], at=LATER)
    return job


@settings(max_examples=15, deadline=None)
@given(plan=steps, with_personal=st.booleans())
def test_any_job_travels_unchanged_and_arrives_once(plan: list[dict[str, object]], with_personal: bool) -> None:
    _travels(plan, with_personal)


@pytest.mark.soak
@settings(max_examples=150, deadline=None)
@given(plan=steps, with_personal=st.booleans())
def test_many_jobs_travel(plan: list[dict[str, object]], with_personal: bool) -> None:
    _travels(plan, with_personal)


def _travels(plan: list[dict[str, object]], with_personal: bool) -> None:
    with tempfile.TemporaryDirectory(dir=QUICK) as folder:
        here, there = Path(folder) / "here.db", Path(folder) / "there.db"
        one, two = Path(folder) / "one.zip", Path(folder) / "two.zip"
        with open_store(here) as store:
            job = build(store, plan)
            assert store.verify_all().ok
            store.export(job, one, with_personal=with_personal)
            sent = store.entries(job), store.personal(job) if with_personal else {}
        with open_store(there) as store:
            assert store.import_(one).added == len(sent[0])
            assert (store.entries(1), store.personal(1)) == sent
            assert store.verify_all().ok
            before = content_of(store)
            assert store.import_(one).added == 0
            assert content_of(store) == before
            store.export(1, two, with_personal=with_personal)
        assert one.read_bytes() == two.read_bytes()


@given(st.lists(st.tuples(st.none() | st.integers(0, 99), st.booleans()), max_size=12))
def test_corrections_applied_twice_are_applied_once(plan: list[tuple[int | None, bool]]) -> None:
    entries = [
        Entry(
            seq=n, stage="before", kind=WITHDRAWN if back else "note", at=AT, data={"n": n},
            corrects=None if old is None or n == 1 else old % (n - 1) + 1,
        )
        for n, (old, back) in enumerate(plan, start=1)
    ]  # fmt: skip
    now = current(entries)
    assert current(now) == now
    assert [e.seq for e in now] == sorted({e.seq for e in now})
    roots = {e.seq for e in entries if e.corrects is None}
    assert {e.seq for e in now} <= roots
    for entry in now:  # what stands is the newest word on it
        assert entry.data["n"] == max(_family(entries, entry.seq))


def _family(entries: list[Entry], root: int) -> set[int]:
    found = {root}
    for entry in entries:
        if entry.corrects in found:
            found.add(entry.seq)
    return found
