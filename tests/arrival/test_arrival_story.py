"""Which story of the memory fits."""

import pytest

from tickover.arrival import Story, answers_of, story
from tickover.results import CannotTell


def told(*pairs):
    return story(answers_of(pairs))


@pytest.mark.parametrize(
    ("pairs", "name", "clean_first"),
    [
        (("complaint=high", "before=cleaned"), "old memory on a clean bore", False),
        (("complaint=hangs,hunts", "before=cleaned", "bore=clean"), "old memory on a clean bore", False),
        (("complaint=low", "before=battery"), "lost memory on a dirty bore", True),
        (("complaint=stalls", "before=battery", "bore=dirty"), "lost memory on a dirty bore", True),
        (("complaint=stalls", "before=battery,cleaned"), "lost memory on a clean bore", False),
        (("complaint=low", "before=battery", "bore=clean"), "lost memory on a clean bore", False),
        (("complaint=low", "before=nothing", "bore=dirty"), "dirty bore", True),
        (("complaint=high", "before=misfire", "misfire=no"), "counters of a cured misfire", False),
        (("complaint=stalls", "before=unplugged"), "stops not learned", False),
    ],
)
def test_stories_that_fit(pairs, name, clean_first):
    found = told(*pairs)
    assert isinstance(found, Story)
    assert (found.name, found.clean_first) == (name, clean_first)
    assert len(found.fits) >= 2


@pytest.mark.parametrize("more", [(), ("bore=dirty",), ("bore=clean",), ("before=cleaned",)])
def test_a_flat_battery_never_explains_a_high_idle(more):
    found = told("complaint=high", "before=battery", *more)
    assert isinstance(found, CannotTell)
    assert "battery does not explain a high idle" in found.reason
    assert "leak" in found.way_out


@pytest.mark.parametrize(
    ("pairs", "words"),
    [
        (("complaint=high,stalls",), "too high and too low"),
        (("complaint=high",), "leak"),
        (("complaint=low", "before=cleaned"), "idles high, not low"),
        (("complaint=rough",), "misfire"),
        (("complaint=high", "before=misfire"), "not looked at"),
        (("complaint=none",), "nothing to relearn"),
        ((), "not told"),
    ],
)
def test_where_none_can_be_told(pairs, words):
    found = told(*pairs)
    assert isinstance(found, CannotTell)
    assert words in found.reason
    assert found.way_out


def test_what_was_not_looked_at_stands_open():
    found = told("complaint=high", "before=cleaned")
    assert len(found.doubts) == 3
    assert told("complaint=high", "before=cleaned", "leak=no", "misfire=no", "codes=none").doubts == ()
