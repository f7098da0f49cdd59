"""The library and the user's folder over it; every family of common practice can be written down."""

from pathlib import Path

import pytest

from tickover.errors import InputError, RoutineFileError
from tickover.routines import compile_routine, load_library, load_routine
from tickover.routines.library import BUILT_IN
from tickover.routines.report import times_of
from tickover.timing import check_controllable

FAMILIES = Path(__file__).parent / "families"


def copy(folder, name, **changes):
    text = (BUILT_IN / f"{name}.toml").read_text(encoding="utf-8")
    for old, new in changes.items():
        text = text.replace(f'{old} = "{name}"' if old == "id" else old, f'id = "{new}"' if old == "id" else new)
    path = folder / f"{changes.get('id', name)}.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_built_in_library_holds_the_three_and_says_what_it_rests_on():
    library = load_library()
    assert set(library) == {"power-cycle", "pedal-count", "pedal-hold"}
    for r in library.values():
        assert r.basis.kind == "common practice"
        assert all(need.why for need in r.needs)
        assert len(r.needs) >= 6
        words = compile_routine(r).basis.words
        assert words == "Common practice, no published source. The car's own service information wins."
    assert [r.id for r in library.values() if r.may_erase] == ["pedal-count"]


def test_the_users_routine_takes_the_place_of_the_built_in_one(tmp_path):
    copy(tmp_path, "pedal-hold", **{"give = 3": "give = 2"})
    copy(tmp_path, "pedal-hold", id="mine")
    library = load_library(tmp_path)
    assert set(library) == {"power-cycle", "pedal-count", "pedal-hold", "mine"}
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
    with pytest.raises(InputError, match="There are: pedal-count"):
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


def test_every_family_of_common_practice_can_be_written_down():
    library = load_library(FAMILIES)
    mine = {name: r for name, r in library.items() if Path(r.file).parent == FAMILIES}
    assert len(mine) == len(list(FAMILIES.glob("*.toml"))) == 10
    for name, r in mine.items():
        for switch in ("key", "button"):
            c = compile_routine(r, switch)
            check_controllable(c.plan())
            assert times_of(c).lo > 0, name
    assert library["throttle-stop"].requires == ("pedal-rest",)
