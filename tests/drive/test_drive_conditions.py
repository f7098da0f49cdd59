"""The conditions file: every fault at once, with its line and the way out."""

import pytest

from tickover.drive import load_conditions
from tickover.errors import InputError
from tickover.obd.monitors import NAMES

ONE = """[[condition]]
id = "x"
kind = "stretched"
seconds = -3
limits = [{ of = "vehicle_sped", at_least = 3 }, { of = "engine_speed" }]
colour = "blue"
[[monitor]]
id = "m"
conditions = ["x"]
[holds]
vehicle_speed = "long"
"""


def faults(tmp_path, text):
    own = tmp_path / "car.toml"
    own.write_text(text)
    with pytest.raises(InputError) as why:
        load_conditions(own)
    assert why.value.file == str(own)
    return str(why.value)


def test_all_faults_come_together(tmp_path):
    said = faults(tmp_path, ONE)
    for words in ("line 3", "“stretched”", "line 4", "vehicle_sped", "vehicle_speed", "states no limit", "`colour`",
                  "line 11"):  # fmt: skip
        assert words in said


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[[monitor]]\nid = "m"\nconditions = ["cat-cruse"]\n', "cat-cruise"),
        ('[[monitor]]\nid = "m"\n', "`conditions` is missing"),
        ('[[condition]]\nid = "x"\nkind = "total"\nlimits = [{ of = "engine_speed", at_least = 1 }]\n', "`seconds`"),
        ('[[condition]]\nid = "x"\nkind = "total"\nseconds = 3\n', "`limits` is missing"),
        ('[[condition]]\nid = "x"\nseconds = 3\nlimits = [{ of = "engine_speed", at_least = 1 }]\n', "`kind`"),
        ('[[condition]]\nid = "x"\nlimits = [{ of = "engine_speed", at_least = 1, at_most = 2 }]\n', "2 ways"),
        ("[[condition]\n", ""),
        ("[[condition]]\nseconds = 3\n", "`id` is missing"),
        ("[holds]\nspeed = 3\n", "no signal is called"),
    ],
)
def test_each_fault_has_its_way_out(tmp_path, text, words):
    assert words in faults(tmp_path, text)


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        load_conditions(tmp_path / "none.toml")


def test_every_built_in_condition_says_what_it_rests_on():
    for condition in load_conditions().conditions.values():
        assert condition.basis in ("from memory", "trade practice")
        assert condition.basis == "trade practice" or condition.source
    single = {"cat-cruise", "o2-cruise", "heater-idle", "overrun", "air-idle", "filter-cruise", "evap-cruise"}
    assert all(load_conditions().conditions[i].basis_words == "Trade practice, no published source." for i in single)


def test_a_diesel_has_its_own():
    diesel = load_conditions().for_engine(diesel=True)
    assert "evap" not in diesel.monitors
    assert "filter" in diesel.monitors
    assert diesel.conditions["warm-up"].limit("coolant_temperature").lo == 60


def test_an_unknown_monitor_is_answered_with_near_ones():
    with pytest.raises(InputError, match="catalyst"):
        load_conditions().monitor("catalist")


@pytest.mark.parametrize(
    ("word", "name"), [("EVAP", "evap"), ("O2 sensor", "o2"), ("evaporative system", "evap"), ("vvt", "egr"),
                       ("oxygen sensor heater", "heater")],
)  # fmt: skip
def test_monitors_are_found_by_what_people_call_them(word, name):
    assert load_conditions().monitor(word).id == name


def test_every_monitor_goes_by_a_name_of_the_decoder():
    called = [c for m in load_conditions().monitors.values() for c in m.called]
    assert set(called) <= set(NAMES)
    assert len(called) == len(set(called))


def test_a_monitor_without_a_stretch_is_told_apart_from_no_monitor():
    with pytest.raises(InputError, match="no stretch is known"):
        load_conditions().monitor("boost")
    with pytest.raises(InputError, match="runs all the time"):
        load_conditions().monitor("misfire")
