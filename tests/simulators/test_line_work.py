import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulators.line_work import Cut, Piece, TrapWork, compare_m, work

INCH = 0.0254
heights = st.lists(st.tuples(st.floats(0.01, 0.3), st.floats(0.01, 0.3), st.floats(0.0, 0.3)), min_size=0, max_size=6)


def worked(traps):
    """Give a piece with traps of these (gap below, length, k), made from its lower end up, and their raw places."""
    piece, height, places = Piece(20.0, 0.5), 0.0, []
    for gap, trap_m, k in traps:
        places.append(piece.trap(height + gap, trap_m, True, k))
        height += gap + trap_m
    return piece, places, height


@given(heights, st.floats(-0.4, 15.0))
def test_a_point_is_found_where_it_stands(traps, height_m):
    """The raw point at a height stands at that height, whatever has been trapped."""
    piece, _, _ = worked(traps)
    assert piece.height_m(piece.raw_at(height_m)) == pytest.approx(height_m, abs=1e-12)


@given(heights)
def test_a_trap_covers_its_own_length_and_no_more(traps):
    """Every trap stands as long as the running end in it, and the piece is shorter by the sum of k t."""
    piece, places, _ = worked(traps)
    for (low, high), (_, trap_m, k) in zip(places, traps, strict=True):
        assert high - low == pytest.approx(trap_m * (1 + k))
        assert piece.height_m(high) - piece.height_m(low) == pytest.approx(trap_m)
    assert piece.height_m(20.0) == pytest.approx(19.5 - sum(k * trap_m for _, trap_m, k in traps))


@settings(max_examples=50)
@given(heights, st.randoms(use_true_random=False))
def test_the_order_of_trapping_does_not_matter_at_raw_places(traps, chance):
    """Trapped at the same raw places in another order, the piece comes out the same."""
    piece, places, height = worked(traps)
    again = Piece(20.0, 0.5)
    numbered = list(zip(places, traps, strict=True))
    chance.shuffle(numbered)
    for (low, _), (_, trap_m, k) in numbered:
        again.trap(again.height_m(low), trap_m, True, k)
    assert again.height_m(piece.raw_at(height)) == pytest.approx(height, abs=1e-12)


def test_nothing_is_trapped_twice():
    """A running end cannot lie where another lies already; it may begin where that one ends."""
    piece = Piece(4.0, 0.2)
    piece.trap(0.5, 0.1, True, 0.06)
    with pytest.raises(ValueError, match="lies over one from"):
        piece.trap(0.55, 0.1, False, 0.06)
    piece.trap(0.6, 0.1, True, 0.06)
    piece.trap(0.5, 0.1, False, 0.06)


def test_an_open_line_has_no_length():
    """Only a closed line can be compared."""
    with pytest.raises(ValueError, match="not closed yet"):
        _ = Piece(4.0, 0.2).finished_m


def test_a_line_worked_by_hand():
    """A line of two traps of 5 in that take 0.3 in each: cut, marked 0.3 in past, it stands level with 40 in."""
    cuts = [Cut("A", 60 * INCH, 6 * INCH, 1 * INCH, 0.0)]
    steps = [
        TrapWork("low", "A", 5 * INCH, True, 1 * INCH, 6.3 * INCH, False),
        TrapWork("top", "A", 5 * INCH, False, 39.3 * INCH, 34 * INCH, True, (20 * INCH,)),
    ]
    pieces, made = work(cuts, steps, lambda _: 0.06)
    assert compare_m(pieces, {"A": 40 * INCH}) == {"A": pytest.approx(0.0, abs=1e-12)}
    assert pieces["A"].left_over_m == pytest.approx((60 - 6 - 39.6 - 2 - 5) * INCH)
    assert made["top"].end_raw_m == pytest.approx(made["top"].end_mark_raw_m)
    assert pieces["A"].height_m(made["top"].marks_raw_m[0]) == pytest.approx(20 * INCH)
    late, _ = work(cuts, steps, lambda _: 0.06, {"A": INCH / 8})
    assert compare_m(late, {"A": 40 * INCH}) == {"A": pytest.approx(INCH / 8)}
