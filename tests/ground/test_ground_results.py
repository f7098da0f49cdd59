"""Results: a number with its interval, or cannot tell; one envelope."""

import json
import math

import pytest
from pydantic import BaseModel, TypeAdapter, ValidationError

from tickover import errors
from tickover.results import CannotTell, Measured, Quantity, envelope


def test_a_number_without_an_upright_interval_is_refused() -> None:
    assert Quantity(value=1, lo=0, hi=None, unit="s").half_width is None
    assert Quantity(value=1, lo=0, hi=3, unit="s").half_width == 1.5
    with pytest.raises(ValidationError):
        Quantity(value=1, lo=2, hi=0, unit="s")
    with pytest.raises(ValidationError):
        Quantity(value=math.nan, lo=0, hi=2, unit="s")
    with pytest.raises(ValidationError):
        CannotTell(reason="")


def test_either_kind_reads_back_from_json() -> None:
    adapter: TypeAdapter[Quantity | CannotTell] = TypeAdapter(Measured)
    for measured in (Quantity(value=702, lo=691, hi=713, unit="r/min", n_eff=31), CannotTell(reason="never warm")):
        assert adapter.validate_json(measured.model_dump_json()) == measured


def test_the_envelope_is_versioned_and_says_who_made_it() -> None:
    class Answer(BaseModel):
        speed: Quantity

    wrapped = json.loads(envelope("idle", Answer(speed=Quantity(value=1, lo=0, hi=2, unit="r/min"))).model_dump_json())
    assert wrapped["v"] == 1
    assert wrapped["made_by"].startswith("tickover ")
    assert wrapped["result"]["speed"]["unit"] == "r/min"


def test_the_tree_drawn_in_the_docstring_is_the_tree_there_is() -> None:
    drawn = {word for word in errors.__doc__.split() if word.endswith("Error")}
    real = {
        name
        for name, value in vars(errors).items()
        if isinstance(value, type) and issubclass(value, errors.TickoverError)
    }
    assert drawn == real


def test_an_error_carries_its_values_into_json() -> None:
    fault = errors.Fault(line=3, what="bound missing", way_out="say between", step="down")
    shape = errors.RoutineFileError("mine.toml", [fault]).as_dict()
    assert shape["values"]["faults"][0] == {
        "line": 3,
        "step": "down",
        "what": "bound missing",
        "way_out": "say between",
    }
    assert "line 3: step “down”: bound missing. say between" in str(errors.RoutineFileError("mine.toml", [fault]))
    assert errors.SignalRangeError("pressure", -1, 0, 1, index=4).as_dict()["values"]["index"] == 4
