"""Names, units and recordings."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tickover.errors import SignalError, UnitError, UnknownSignalError
from tickover.signals import VOCABULARY, DisplayUnits, Recording, Series, convert, signal
from tickover.signals.units import known_units

UNITS = sorted(known_units())


def test_every_signal_has_a_known_unit_and_an_upright_range() -> None:
    for name, row in VOCABULARY.items():
        assert row.unit in known_units(), name
        assert row.lo < row.hi, name
        assert row.meaning.endswith("."), name


def test_a_misspelt_name_brings_near_ones() -> None:
    with pytest.raises(UnknownSignalError) as caught:
        signal("engin_speed")
    assert "engine_speed" in caught.value.near


@given(unit=st.sampled_from(UNITS), to=st.sampled_from(UNITS), value=st.floats(-1e4, 1e4))
def test_conversion_there_and_back_is_the_identity_or_refused(unit: str, to: str, value: float) -> None:
    if known_units()[unit] != known_units()[to]:
        with pytest.raises(UnitError):
            convert(value, unit, to)
    else:
        assert convert(convert(value, unit, to), to, unit) == pytest.approx(value, rel=1e-9, abs=1e-9)


def test_units_are_chosen_per_quantity() -> None:
    units = DisplayUnits({"speed": "mph", "pressure": "mbar"})
    assert units.unit_for("vehicle_speed") == "mph"
    assert units.unit_for("coolant_temperature") == "°C"
    assert units.show("manifold_pressure", 35.0) == pytest.approx(350.0)
    with pytest.raises(UnitError):
        DisplayUnits({"speed": "°F"})


def test_a_series_refuses_time_that_runs_backwards_and_brackets_upside_down() -> None:
    with pytest.raises(SignalError, match="backwards"):
        Series.at([0, 2, 1], [1, 2, 3])
    with pytest.raises(SignalError, match="t_lo > t_hi"):
        Series.of([1, 2], [0, 2], [1, 1])
    with pytest.raises(SignalError, match="equally long"):
        Series.of([1, 2], [1, 2], [1])


@given(st.lists(st.tuples(st.floats(0, 5), st.floats(-10, 10)), max_size=30))
def test_hold_gives_the_latest_value_written_down_by_then(samples: list[tuple[float, float]]) -> None:
    times = np.cumsum([gap for gap, _ in samples]) if samples else np.empty(0)
    values = np.array([value for _, value in samples], dtype=float)
    series = Series.at(times, values)
    for t in [-1.0, *times, 1e6]:
        known = values[times <= t]
        got = series.hold([t])[0]
        assert np.isnan(got) if not len(known) else got == known[-1]


def test_the_wide_view_has_a_row_for_each_instant_and_invents_nothing() -> None:
    recording = Recording(
        {"engine_speed": Series.of([0, 1], [1, 2], [700, 710]), "vehicle_speed": Series.at([1.5], [0])}
    )
    table = recording.wide()
    assert table["t"].tolist() == [1.0, 1.5, 2.0]
    assert table["engine_speed"].tolist() == [700, 700, 710]
    assert np.isnan(table["vehicle_speed"][0])
    assert table["vehicle_speed"][1:].tolist() == [0, 0]
    assert recording.span == (0.0, 2.0)
    with pytest.raises(UnknownSignalError):
        Recording({"rpm": Series.at([0], [0])})
