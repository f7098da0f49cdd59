"""The library and the user's folder over it; every family of common practice can be written down."""

import pytest

from tickover.errors import InputError, RoutineFileError
from tickover.routines import compile_routine, load_library, load_routine
from tickover.routines.library import BUILT_IN
from tickover.routines.report import times_of
from tickover.timing import check_controllable

FAMILIES = {
    *("power-cycle", "pedal-count", "pedal-hold", "slow-presses", "double-hold", "run-in-idle", "key-on-rest"),
    *("fast-run-in", "rest-and-idle", "loads-in-turn", "drive-in", "pedal-rest", "throttle-stop"),
}
READ = {"fast-run-in", "rest-and-idle", "loads-in-turn", "drive-in"}
"""Families read in public service information whose maker is not named; the others are common practice or memory."""


def copy(folder, name, **changes):
    text = (BUILT_IN / f"{name}.toml").read_text(encoding="utf-8")
    for old, new in changes.items():
        text = text.replace(f'{old} = "{name}"' if old == "id" else old, f'id = "{new}"' if old == "id" else new)
    path = folder / f"{changes.get('id', name)}.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_built_in_library_holds_the_thirteen_and_says_what_each_rests_on():
    library = load_library()
    assert set(library) == FAMILIES
    assert len(library) == 13
    for r in library.values():
        assert r.basis.kind == "common practice"
        assert all(need.why for need in r.needs)
        assert len(r.needs) >= 6
        words = compile_routine(r).basis.words
        assert words.startswith("Common practice")
        assert words.endswith("The car's own service information wins.")
        assert ("no published source" in words) == (r.id not in READ)
        assert ("public service information, maker not named" in words) == (r.id in READ)
        assert r.signs
        assert r.after_miss
        assert r.cautions
    assert [r.id for r in library.values() if r.may_erase] == ["pedal-count"]


def test_pedal_entries_need_an_electronic_pedal_and_learned_stops_come_first():
    library = load_library()
    for name, r in library.items():
        if any(s.kind == "press" for s in r.flat_steps) or name in {"pedal-rest", "throttle-stop", "key-on-rest"}:
            assert r.throttle == ("electronic",), name
    assert library["throttle-stop"].requires == ("pedal-rest",)
    assert library["pedal-count"].requires == ("throttle-stop",)
    assert {name for name, r in library.items() if r.requires} == {"throttle-stop", "pedal-count"}


def test_every_engine_that_runs_for_minutes_is_kept_out_of_closed_spaces():
    for name in ("run-in-idle", "fast-run-in", "rest-and-idle", "loads-in-turn"):
        assert any("carbon monoxide" in need.why for need in load_library()[name].needs), name


def test_cautions_stand_at_the_step_where_they_matter():
    library = {name: compile_routine(r) for name, r in load_library().items()}
    assert "nobody under the bonnet" in library["fast-run-in"].step("hold").caution
    assert "nobody in front or behind" in library["loads-in-turn"].step("drive").caution
    assert "never reads or types" in library["drive-in"].step("go").caution
    assert "without brake lights" in library["drive-in"].step("coast.2").caution
    assert "letting up now can clear codes" in library["pedal-count"].step("flashes").caution


def test_the_users_routine_takes_the_place_of_the_built_in_one(tmp_path):
    copy(tmp_path, "pedal-hold", **{"give = 3": "give = 2"})
    copy(tmp_path, "pedal-hold", id="mine")
    library = load_library(tmp_path)
    assert set(library) == FAMILIES | {"mine"}
    built_in = compile_routine(load_library()["pedal-hold"])
    assert compile_routine(library["pedal-hold"]).digest != built_in.digest
    assert compile_routine(library["mine"]).digest == built_in.digest
    assert load_routine("mine", tmp_path).id == "mine"


def test_a_file_is_named_by_its_path(tmp_path):
    path = copy(tmp_path, "pedal-hold", id="mine")
    assert load_routine(path).id == load_routine(str(path)).id == "mine"


def test_an_unknown_id_is_answered_with_near_ones():
    with pytest.raises(InputError, match="Did you mean pedal-hold"):
        load_routine("pedal-hol")
    with pytest.raises(InputError, match="There are: double-hold"):
        load_routine("zzz")


def test_two_files_with_one_id_name_each_other(tmp_path):
    copy(tmp_path, "pedal-hold", id="mine")
    (tmp_path / "other.toml").write_text((tmp_path / "mine.toml").read_text())
    with pytest.raises(RoutineFileError, match=r"other\.toml.*(?s:.)*the other is mine\.toml") as caught:
        load_library(tmp_path)
    assert caught.value.faults[0].line == 4


def test_a_required_routine_must_be_there(tmp_path):
    copy(tmp_path, "pedal-hold", **{"id": "mine", "may_erase": 'requires = ["pedal-cont"]\nmay_erase'})
    with pytest.raises(RoutineFileError, match=r"“pedal-cont” is no routine of the library.*`pedal-count`") as caught:
        load_library(tmp_path)
    (fault,) = caught.value.faults
    assert (tmp_path / "mine.toml").read_text().splitlines()[fault.line - 1].startswith("requires")


def test_routines_do_not_require_each_other_in_a_ring(tmp_path):
    copy(tmp_path, "pedal-hold", **{"id": "one", "may_erase": 'requires = ["two"]\nmay_erase'})
    copy(tmp_path, "pedal-hold", **{"id": "two", "may_erase": 'requires = ["one"]\nmay_erase'})
    with pytest.raises(RoutineFileError, match="requires itself by way of others"):
        load_library(tmp_path)


def test_a_folder_that_is_none_is_named(tmp_path):
    with pytest.raises(InputError, match="is not a folder"):
        load_library(tmp_path / "none")


def test_every_family_can_be_controlled_on_both_switches():
    for name, r in load_library().items():
        for switch in ("key", "button"):
            c = compile_routine(r, switch)
            check_controllable(c.plan())
            assert times_of(c).lo > 0, name
