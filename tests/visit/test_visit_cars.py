"""A car as it was typed: the same values are refused at every door, in the words of each."""

from __future__ import annotations

import pytest

from tickover.errors import InputError
from tickover.visit.cars import check_car

LABELS = {"year": "Year", "fuel": "Fuel"}


def test_figures_become_figures_and_empty_values_are_left_out() -> None:
    car = check_car({"year": "2009", "displacement_l": "1,6", "cylinders": 4.0, "fuel": " PETROL ", "throttle": ""}).car
    assert car == {"year": 2009, "displacement_l": 1.6, "cylinders": 4, "fuel": "petrol"}
    assert isinstance(car["cylinders"], int)


@pytest.mark.parametrize(
    ("car", "command", "form"),
    [
        ({"year": "1650"}, "year=1650 cannot be", "Year: 1650 cannot be"),
        ({"year": "2009.5"}, "year=2009.5 is no whole number", "Year: 2009.5 is no whole number"),
        ({"year": True}, "year=True cannot be", "Year: True cannot be"),
        ({"fuel": "steam"}, "fuel=steam is none that is known", "Fuel: steam is none that is known"),
    ],
)
def test_what_no_car_has_is_refused_in_the_words_of_the_door(car: dict[str, object], command: str, form: str) -> None:
    with pytest.raises(InputError) as typed:
        check_car(car)
    with pytest.raises(InputError) as page:
        check_car(car, labels=LABELS)
    assert typed.value.what.startswith(command)
    assert page.value.what.startswith(form)
    assert typed.value.way_out
    assert "=" not in page.value.way_out


def test_a_name_that_nothing_reads_is_said() -> None:
    assert "Did you mean cylinders?" in check_car({"cylindres": 4}).warnings[0]
