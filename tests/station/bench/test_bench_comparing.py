from __future__ import annotations

import sys
from pathlib import Path

import pytest

from station.bench.commands import FormFault, carry_out
from station.records.entries import (
    Adjusted,
    MarkMade,
    PieceOverpulled,
)

sys.path.insert(0, str(Path(__file__).parent))
from workbench import Workbench


def test_marking_counts_only_under_the_marking_pull() -> None:
    """A mark tapped without the pull is not counted, and the pull it was made under is recorded."""
    desk = Workbench()
    desk.work_to("B into A: mark")
    desk.pull(2.0, 1.0)
    desk.press()
    assert desk.step == "B into A: mark"
    assert "Not counted: the marking pull is not there yet" in desk.bench.notice.text  # type: ignore[union-attr]
    assert desk.seen().sentence.text == "Not counted: the marking pull is not there yet."
    desk.pull(10.2, 1.0)  # which mends it: what is asked stands there again at once
    seen = desk.seen()
    assert seen.sentence.text == "Mark where B enters A"
    assert seen.number.stacked[:3] == (0, 5, 16)  # type: ignore[union-attr]
    assert seen.arrow == "canopy"
    desk.press()
    mark = next(entry for entry in desk.entries if isinstance(entry, MarkMade))
    assert (mark.line, mark.offset_um, round((mark.pull_mn or 0) / 4448.22, 1)) == ("A", 7938, 10.2)


def pull_both(desk: Workbench) -> None:
    """Pull the opposite number, ease off, then pull the new line alike."""
    desk.pull(10.2, 1.0)
    desk.press()
    desk.pull(0.0, 0.5)
    desk.pull(10.2, 1.0)


def find_long(desk: Workbench, sixteenths: int, long: bool) -> None:
    """Compare by foot and find the new line long or short by so many sixteenths."""
    pull_both(desk)
    desk.press(1.3)
    desk.press(1.3 if long else 0.2)
    for _ in range(sixteenths):
        desk.press()
    desk.wait(3.2)
    assert "?" in desk.seen().sentence.text
    desk.press()


def test_a_line_3_16_long_is_taken_in_by_the_computed_amount() -> None:
    """3/16 in long is entered by taps; what to take in follows, and what is trapped after it is recorded."""
    desk = Workbench()
    desk.work_to("B: compare 1")
    find_long(desk, 3, long=True)
    assert desk.step == "B: adjust 1"
    seen = desk.seen()
    assert seen.sentence.text == "New line 3/16 in long: take in"
    assert seen.arrow == "link"
    assert seen.under.startswith("5 3/16 in will be trapped")
    desk.wait(0.5)
    desk.press()
    moved = desk.entries[-1]
    assert isinstance(moved, Adjusted)
    assert moved.move_um == round(3 / 16 * 25_400 / 1.0625)
    assert desk.step == "B: compare 2"


def test_a_line_found_short_is_let_out_and_a_second_adjustment_starts_from_the_first() -> None:
    """What lies trapped is carried from adjustment to adjustment."""
    desk = Workbench()
    desk.work_to("B: compare 1")
    find_long(desk, 2, long=False)
    desk.press()
    first = desk.entries[-1]
    assert isinstance(first, Adjusted)
    assert first.action == "let-out"
    find_long(desk, 1, long=True)
    desk.press()
    second = desk.entries[-1]
    assert isinstance(second, Adjusted)
    assert second.trap_after_um == first.trap_after_um + second.move_um


def test_a_difference_may_be_left() -> None:
    """A difference found may be left by keyboard, and no further comparison is asked for."""
    desk = Workbench()
    desk.work_to("B: compare 1")
    find_long(desk, 1, long=True)
    carry_out(desk.bench, "accept", {"by": "A. Person", "reason": "within reach of the maker's tolerance"})
    assert desk.entries[-1].action == "leave"  # type: ignore[attr-defined]
    assert desk.step == "A canopy end: mark"


def test_a_typed_difference_counts_like_a_tapped_one() -> None:
    """The difference may be typed as a length with its sign."""
    desk = Workbench()
    desk.work_to("B: compare 1")
    pull_both(desk)
    carry_out(desk.bench, "long?", {"difference": "-1/8 in"})
    assert desk.entries[-1].difference_um == -3175  # type: ignore[attr-defined]


def test_the_second_pull_must_equal_the_first() -> None:
    """Level is not taken while the new line's pull differs by more than the plan allows."""
    desk = Workbench()
    desk.work_to("B: compare 1")
    desk.pull(9.5, 1.0)
    desk.press()
    assert desk.bench.comparing is not None
    desk.bench.comparing.equal_mn = 2_000
    desk.pull(0.0, 0.5)
    desk.pull(10.1, 1.0)
    desk.press()
    assert desk.step == "B: compare 1"
    assert "the pull is not the same" in desk.bench.notice.text  # type: ignore[union-attr]


@pytest.mark.parametrize(("lbf", "status"), [(65.0, None), (0.0, "overload")])
def test_an_overpull_while_comparing_is_filed_and_blocks_the_piece(lbf: float, status: str | None) -> None:
    """Over the ceiling, or over the scale's capacity, in a step that judges no hold: filed once; the piece stops."""
    desk = Workbench()
    desk.work_to("B: compare 1")
    desk.pull(lbf, 0.5, status=status)
    assert isinstance(desk.entries[-1], PieceOverpulled)
    assert desk.entries[-1].pieces == ()  # it was the opposite number's turn
    desk.pull(10.2, 1.0)
    desk.press()
    desk.pull(0.0, 0.5)
    desk.pull(lbf, 0.5, status=status)
    assert desk.entries[-1].pieces == ("13", "12")  # the branch, and the main line that carries it down to the link
    assert sum(isinstance(entry, PieceOverpulled) for entry in desk.entries) == 2
    assert desk.seen().sentence.text.startswith("Stop: scrap piece 13")
    desk.pull(10.2, 1.0)
    desk.press()
    assert desk.step == "B: compare 1"
    carry_out(desk.bench, "release", {"by": "A. Person", "reason": "a slip of the winch"})
    assert desk.seen().sentence.text.startswith("Stop: scrap piece 12")
    carry_out(desk.bench, "release", {"by": "A. Person", "reason": "a slip of the winch"})
    desk.pull(10.2, 1.0)
    assert "Stop" not in desk.seen().sentence.text


def test_leaning_on_the_scale_between_steps_is_nobodys_overpull() -> None:
    """In a step in which no piece hangs on the scale, an overload is filed of none."""
    desk = Workbench()
    desk.work_to("check: no twist")
    filed = len(desk.entries)
    desk.pull(0.0, 0.5, status="overload")
    assert len(desk.entries) == filed


def test_a_difference_found_after_sewing_is_not_passed_over() -> None:
    """Outside the tolerance after sewing the line is unpicked, moved, sewn again and compared again."""
    desk = Workbench()
    desk.work_to("B: compare after sewing 1")
    find_long(desk, 9, long=True)
    assert desk.step == "B: adjust after sewing 1"
    assert "unpick, take in" in desk.seen().sentence.text
    desk.press()
    assert desk.step == "B: sew again after sewing 1"
    desk.do_step()
    assert desk.step == "B: compare after sewing 2"
    desk.do_step()
    assert desk.step == "A: compare after sewing 1"


def test_what_cannot_be_moved_is_not_taken_by_a_tap() -> None:
    """A difference that would open the trap says to make the end anew; a tap does not count."""
    desk = Workbench()
    desk.work_to("B: compare 1")
    pull_both(desk)
    carry_out(desk.bench, "long?", {"difference": "-6 in"})
    assert "make the end anew" in desk.seen().sentence.text
    desk.press()
    assert desk.step == "B: adjust 1"
    carry_out(desk.bench, "override", {"by": "A. Person", "reason": "end made anew"})
    assert desk.step == "B: compare 2"


def test_a_typed_difference_needs_the_equal_pull_too() -> None:
    """Typed before its turn, or under another pull, a difference does not count; an absurd one is refused."""
    desk = Workbench()
    desk.work_to("B: compare 1")
    desk.pull(0.0, 1.0)
    carry_out(desk.bench, "long?", {"difference": "1/8 in"})
    assert desk.step == "B: compare 1"
    desk.pull(10.2, 1.0)
    desk.press()
    desk.pull(3.0, 1.0)
    carry_out(desk.bench, "long?", {"difference": "1/8 in"})
    assert desk.step == "B: compare 1"
    assert "the pull is not the same" in desk.bench.notice.text  # type: ignore[union-attr]
    desk.pull(10.2, 1.0)
    with pytest.raises(FormFault, match="24 in"):
        carry_out(desk.bench, "long?", {"difference": "1e6 ft"})
