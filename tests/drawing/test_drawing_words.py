import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize

from tickover.drawing.words import Want, rows, shorten, spread, width

things = st.lists(st.tuples(st.floats(0, 400), st.floats(5, 60)), min_size=1, max_size=7)


@given(things)
def test_spread_keeps_order_ends_and_distance(given_things):
    given_things = sorted(given_things)
    centres, sizes = [c for c, _ in given_things], [s for _, s in given_things]
    moved = spread(centres, sizes, 0, 500)
    assert len(moved) == len(centres)
    for i in range(len(moved) - 1):
        assert moved[i + 1] - moved[i] >= (sizes[i] + sizes[i + 1]) / 2 - 1e-6
    if sum(sizes) <= 500:
        assert moved[0] - sizes[0] / 2 >= -1e-6
        assert moved[-1] + sizes[-1] / 2 <= 500 + 1e-6


@pytest.mark.parametrize("seed", range(6))
def test_spread_moves_as_little_as_a_general_optimiser_finds(seed):
    rng = np.random.default_rng(seed)
    centres = np.sort(rng.uniform(0, 300, 5))
    sizes = rng.uniform(20, 70, 5)
    moved = np.array(spread(list(centres), list(sizes), 0, 320))
    least = (sizes[:-1] + sizes[1:]) / 2
    bounds = [(sizes[i] / 2, 320 - sizes[i] / 2) for i in range(5)]
    found = minimize(
        lambda y: ((y - centres) ** 2).sum(),
        moved,
        constraints=[{"type": "ineq", "fun": lambda y: np.diff(y) - least}],
        bounds=bounds,
        method="SLSQP",
        options={"maxiter": 500, "ftol": 1e-12},
    )
    assert ((moved - centres) ** 2).sum() <= found.fun + 1e-4


def test_what_has_room_does_not_move():
    assert spread([50, 150, 250], [20, 20, 20], 0, 300) == [50, 150, 250]
    assert spread([], [], 0, 10) == []


wants = st.lists(st.builds(Want, st.floats(-20, 520), st.floats(5, 140), st.integers(0, 2)), max_size=12)


@given(wants, st.integers(1, 3))
def test_rows_never_overlap_and_never_leave_the_line(given_wants, most):
    places = rows(given_wants, 0, 500, most=most, gap=6, slack=40)
    spans = {}
    for want, place in zip(given_wants, places, strict=True):
        if place is None:
            continue
        left, right = place.centre - want.room / 2, place.centre + want.room / 2
        assert left >= -1e-6
        assert right <= 500 + 1e-6
        assert 0 <= place.row < most
        for a, b in spans.get(place.row, []):
            assert right <= a - 6 + 1e-6 or left >= b + 6 - 1e-6
        spans.setdefault(place.row, []).append((left, right))


@given(wants)
def test_a_heavier_word_is_placed_as_if_the_lighter_were_not_there(given_wants):
    heavy = [w for w in given_wants if w.weight == 2]
    alone = rows(heavy, 0, 500, most=2, gap=6, slack=40)
    together = [
        p for w, p in zip(given_wants, rows(given_wants, 0, 500, most=2, gap=6, slack=40), strict=True) if w.weight == 2
    ]
    assert together == alone


def test_a_word_that_would_stand_too_far_away_goes_to_the_next_row():
    placed = rows([Want(100, 80), Want(110, 80)], 0, 500, most=2, gap=6, slack=40)
    assert [p.row for p in placed] == [0, 1]
    assert rows([Want(100, 80), Want(110, 80)], 0, 500, most=1, gap=6, slack=40)[1] is None


@given(st.text(max_size=50), st.floats(0, 300))
def test_shorten_fits_and_says_that_it_cut(text, room):
    cut = shorten(text, room, "form", 14)
    assert width(cut, "form", 14) <= room or cut == ""
    assert cut == text or cut == "" or cut.endswith("…")


def test_width_grows_with_size_and_boldness():
    assert width("842 ± 14", "slab", 20) == pytest.approx(2 * width("842 ± 14", "slab", 10))
    assert width("842", "text", 10, bold=True) > width("842", "text", 10)
    assert width("e\u0301", "text", 10) == width("e", "text", 10)
