from __future__ import annotations

import dataclasses
import re
import sys
from functools import cache
from pathlib import Path

import pytest

from drivers.events import Beside, LinkLost
from station.bench.commands import carry_out, offered
from station.bench.comparing import Comparing, Pulls
from station.bench.snapshot import LONG_PRESSES, TAPS, Command, LengthNumber, PullsCard, tap_of
from station.measuring.hold import typed_uncertainty
from station.records.entries import Entry, LineCompared, PieceOverpulled, ReferenceChecked
from station.records.words import compared_how
from station.settings.reline import method_named
from station.units import stacked_length
from station.views.steps import COMMAND_WORDS

sys.path.insert(0, str(Path(__file__).parent))
from workbench import Workbench

EQUAL_MN = 4_448  # a plan that asks for pulls within a pound of each other


@cache
def worked() -> tuple[Entry, ...]:
    """Give the facts that come before the first comparison."""
    desk = Workbench()
    desk.work_to("B: compare 1")
    return tuple(desk.entries[1:])


def desk_at(method: str, gauge: int | None = None) -> Workbench:
    """Give a bench at its first comparison, by one method."""
    fresh = Workbench(method=method, gauge=gauge)
    for entry in worked():
        fresh.bench.record(entry)
    assert fresh.step == "B: compare 1"
    assert fresh.bench.comparing is not None
    fresh.bench.comparing.equal_mn = EQUAL_MN
    fresh.at_us = 10_000_000
    return fresh


def last(desk: Workbench) -> LineCompared:
    """Give the last comparison that was filed."""
    entry = desk.entries[-1]
    assert isinstance(entry, LineCompared)
    return entry


def test_balanced_reads_the_sum_and_records_half_of_it() -> None:
    """Both on the bar: 20 pounds in all are right for a plan of 10, and each line is recorded with half."""
    desk = desk_at("balanced")
    desk.beside(1.0, lbf=10.2)
    assert desk.seen().sentence.text == "Compare B: both on the bar, pull to 20 pounds in all"
    desk.step_on_it()
    assert desk.step == "B: compare 1"
    assert "the pull is not right yet" in desk.bench.notice.text  # type: ignore[union-attr]
    desk.beside(1.0, lbf=20.4)
    card = desk.seen().card
    assert isinstance(card, PullsCard)
    assert [pull.text for pull in card.pulls] == ["10.2 lbf", "10.2 lbf"]
    assert "sum" in card.note
    desk.step_on_it()
    found = last(desk)
    assert (found.method, found.difference_um) == ("balanced", 0)
    assert found.reference_pull_mn == found.line_pull_mn == pytest.approx(10.2 * 4448.2216, abs=1)


def test_a_bar_pulled_past_twice_the_ceiling_blocks_the_piece() -> None:
    """With both on the bar each line sees half: 100 pounds are under a ceiling of 60, 130 are over it."""
    desk = desk_at("balanced")
    desk.beside(0.5, lbf=100.0)
    assert desk.bench.blocked_piece is None
    desk.beside(0.5, lbf=130.0)
    assert isinstance(desk.entries[-1], PieceOverpulled)
    assert desk.entries[-1].pull_mn == pytest.approx(65 * 4448.2216, abs=1)
    assert desk.bench.blocked_piece is not None


def test_two_cells_must_both_be_right_and_the_same() -> None:
    """Each line on its own scale: one too light, or both in the window and unlike, is not counted."""
    desk = desk_at("two cells")
    desk.beside(1.0, lbf=10.0)
    desk.step_on_it()
    assert "no reading" in desk.bench.notice.text  # type: ignore[union-attr]
    desk.beside(1.0, lbf=9.1, other_lbf=11.8)
    assert any("not the same" in words.text for words in desk.seen().second)
    desk.step_on_it()
    assert "the two pulls are not the same" in desk.bench.notice.text  # type: ignore[union-attr]
    with_cells(desk, 890, 890)
    card = desk.seen().card
    assert isinstance(card, PullsCard)
    assert card.note.startswith("the same pull, good for this plan")
    desk.step_on_it()
    found = last(desk)
    assert found.method == "two cells"
    assert found.reference_pull_mn == pytest.approx(10.0 * 4448.2216, abs=1)
    assert found.line_pull_mn == pytest.approx(10.1 * 4448.2216, abs=1)


def with_cells(desk: Workbench, first_mn: int | None, second_mn: int | None) -> Workbench:
    """Give the bench with its two scales known so well."""
    first, second = (None if each is None else typed_uncertainty(each) for each in (first_mn, second_mn))
    desk.bench.settings = dataclasses.replace(desk.bench.settings, uncertainty=first, second_uncertainty=second)
    desk.beside(1.0, lbf=10.0, other_lbf=10.1)
    return desk


def test_a_cell_that_nobody_checked_is_said_and_recorded() -> None:
    """Two like readings of a checked and an unchecked scale prove nothing: the card and the record say which one."""
    desk = with_cells(desk_at("two cells"), 890, None)
    assert desk.seen().card.note.startswith("second cell: not checked")  # type: ignore[union-attr]
    assert desk.seen().second[-1].text == "second cell: not checked"
    desk.step_on_it()
    assert (last(desk).reference_expanded_mn, last(desk).line_expanded_mn) == (890, None)
    assert "first cell known to ±0.2 lbf (0.9 N)" in compared_how(last(desk))
    assert "second cell not checked" in compared_how(last(desk))
    small = dataclasses.replace(last(desk), reference_expanded_mn=200)
    assert "first cell known to ±0.04 lbf (0.20 N)" in compared_how(small)  # not to nothing


@pytest.mark.parametrize(
    ("each_mn", "said"),
    [
        (890, "the same pull, good for this plan"),  # 0.1 lbf apart, out by 0.28 lbf, within a pound
        (3_000, "nearly: even them out more; the two scales may be out by 0.95 lbf"),  # 0.1 and 0.95 are over a pound
        (4_000, "the two scales may be out by 1.27 lbf: too much to prove"),
    ],
)
def test_two_scales_are_the_same_only_as_far_as_both_are_known(each_mn: int, said: str) -> None:
    """What both scales may be out by together is set against what the plan asks for."""
    desk = with_cells(desk_at("two cells"), each_mn, each_mn)
    assert desk.seen().card.note.startswith(said)  # type: ignore[union-attr]


def test_an_overpull_on_the_second_cell_is_the_new_lines() -> None:
    """What goes over the ceiling on the new line's own scale blocks its piece; on the other it blocks none."""
    desk = desk_at("two cells")
    desk.beside(0.2, lbf=70.0, other_lbf=10.0)
    assert isinstance(desk.entries[-1], PieceOverpulled)
    assert desk.entries[-1].pieces == ()
    desk.beside(0.2, lbf=10.0, other_lbf=10.0)
    desk.beside(0.2, lbf=10.0, other_lbf=70.0)
    assert desk.entries[-1].pieces != ()  # type: ignore[attr-defined]
    assert desk.bench.blocked_piece is not None


def test_a_gauge_is_zeroed_on_the_opposite_number_and_read_on_the_new_line() -> None:
    """A tap keeps the gauge's place on one line, and a tap on the other takes the difference and files both."""
    desk = desk_at("", gauge=1)
    desk.beside(1.5, lbf=10.0, mm=100.0)
    assert desk.seen().sentence.text == "Set the gauge on the opposite number"
    assert [words.text for words in desk.seen().second][1:] == ["Zero the gauge? Tap"]
    desk.step_on_it()
    desk.beside(0.5, lbf=0.0, mm=100.0)
    desk.beside(1.5, lbf=10.0, mm=103.175)
    seen = desk.seen()
    assert isinstance(seen.number, LengthNumber)
    assert seen.number.stacked == stacked_length(3.175e-3)
    assert [words.text for words in seen.second] == [
        "steady. Take it? Tap",
        "Long or short? Press long",
    ]
    desk.step_on_it()
    found = last(desk)
    assert (found.difference_um, found.reference_gauge_um, found.line_gauge_um) == (3175, 100_000, 103_175)
    assert "the length gauge read 100.00 mm and 103.17 mm" in compared_how(found)
    assert desk.step == "B: adjust 1"


def test_with_two_cells_a_gauge_goes_from_one_line_to_the_other() -> None:
    """Zeroed on the opposite number, the gauge is asked for on the new line, both still under their pull."""
    desk = desk_at("two cells", gauge=1)
    desk.beside(1.5, lbf=10.0, other_lbf=10.0, mm=100.0)
    assert desk.seen().sentence.text == "Set the gauge on the opposite number"
    desk.step_on_it()
    desk.beside(1.5, lbf=10.0, other_lbf=10.0, mm=103.175)
    assert desk.seen().sentence.text == "Now the gauge on the new line: it reads long"
    desk.step_on_it()
    assert last(desk).difference_um == 3175


def test_a_gauge_that_falls_as_lines_lengthen_is_turned_round() -> None:
    """Where a larger reading means a shorter line, the same rise is short."""
    desk = desk_at("", gauge=-1)
    desk.beside(1.5, lbf=10.0, mm=100.0)
    desk.step_on_it()
    desk.beside(0.5, lbf=0.0, mm=100.0)
    desk.beside(1.5, lbf=10.0, mm=103.175)
    desk.step_on_it()
    assert last(desk).difference_um == -3175


def test_a_gauge_that_moves_or_is_stale_is_not_taken() -> None:
    """Moving, said to be unstable, silent for a second, or unplugged: a tap is not counted, and why is said."""
    desk = desk_at("", gauge=1)
    desk.beside(1.5, lbf=10.0, mm=100.0, gauge_status="unstable")
    desk.step_on_it()
    assert "does not stand still" in desk.bench.notice.text  # type: ignore[union-attr]
    desk.beside(1.5, lbf=10.0, mm=100.0)
    desk.step_on_it()
    desk.beside(0.5, lbf=0.0, mm=100.0)
    desk.beside(0.5, lbf=10.0, mm=102.0)
    desk.beside(0.5, lbf=10.0, mm=104.0)
    assert desk.seen().second[0].text == "the gauge moves: hold still"
    desk.step_on_it()
    assert "does not stand still" in desk.bench.notice.text  # type: ignore[union-attr]
    desk.beside(2.0, lbf=10.0)
    desk.step_on_it()
    assert "the gauge says nothing" in desk.bench.notice.text  # type: ignore[union-attr]
    desk.beside(1.5, lbf=10.0, mm=104.0)
    lost = LinkLost(desk.at_us, "the cable is unplugged", "plug it in again")
    desk.bench.take([Beside(desk.at_us, "gauge", lost)])
    assert desk.bench.notice.text.startswith("The gauge: the cable")  # type: ignore[union-attr]
    desk.step_on_it()
    assert desk.step == "B: compare 1"


def test_where_the_gauge_is_silent_the_foot_counts_sixteenths() -> None:
    """A gauge that was never heard stops nobody: a tap goes on, and a tap on the new line says level."""
    desk = desk_at("", gauge=1)
    desk.beside(1.5, lbf=10.0)
    assert desk.seen().second[1].text == "the gauge says nothing: without it, count sixteenths"
    desk.step_on_it()
    desk.beside(0.5, lbf=0.0)
    desk.beside(1.0, lbf=10.0)
    assert desk.seen().second[1].text == "Level? Tap"
    desk.step_on_it()
    found = last(desk)
    assert (found.difference_um, found.line_gauge_um) == (0, None)


def test_a_typed_difference_needs_the_pull_that_a_tap_needs() -> None:
    """By keyboard, under unlike pulls nothing is taken; under like ones the length as people write it is."""
    desk = desk_at("two cells")
    desk.beside(1.0, lbf=9.1, other_lbf=11.8)
    carry_out(desk.bench, "long?", {"difference": "3/16 in"})
    assert desk.step == "B: compare 1"
    desk.beside(1.0, lbf=10.0, other_lbf=10.0)
    carry_out(desk.bench, "long?", {"difference": "-1 1/8 in"})
    assert last(desk).difference_um == -28575
    assert last(desk).reference_pull_mn is not None


@pytest.mark.parametrize("text", ["one hook", "both on one hook"])
def test_both_on_one_hook_is_refused_in_words(text: str) -> None:
    """Two lines on one hook look level while they share the pull unequally; the refusal says so."""
    with pytest.raises(ValueError, match="both lines on one hook share the pull unequally while they look level"):
        method_named(text)


def test_without_instruments_two_cells_are_none() -> None:
    """By hand nothing is measured, whatever was meant: two cells become in turn, a bar stays a bar."""
    assert Comparing(44_482, None, measured=False, method="two cells").method == "in turn"
    bar = Comparing(44_482, None, measured=False, method="balanced")
    assert bar.tap(0, Pulls(None)) is not None


def test_by_hand_the_record_says_so_beside_the_method() -> None:
    """A comparison without instruments is filed with its method and the words that nothing was measured."""
    desk = Workbench(measured=False, method="balanced")
    for _ in range(60):
        if desk.step == "B: compare 1":
            break
        if desk.bench.step is not None and desk.bench.step.kind == "pre-stretch":
            carry_out(desk.bench, "by hand", {"by": "Somebody"})
        else:
            desk.do_step()
    desk.press()
    assert last(desk).method == "balanced, pulled by hand, not measured"


@pytest.mark.parametrize("method", ["in turn", "balanced", "two cells"])
def test_under_a_wrong_pull_no_tap_is_offered_and_what_to_do_is_said(method: str) -> None:
    """By each method a wrong pull is called wrong, with what to do, and no word, button or key offers a tap."""
    desk = desk_at(method)
    bar = 2 if method == "balanced" else 1
    for lbf, asked in ((6.0, "pull"), (14.0, "ease off")):
        desk.beside(1.0, lbf=bar * lbf, other_lbf=lbf)
        seen = desk.seen()
        said = [words.text for words in seen.second]
        assert re.fullmatch(r"pull( [\d.]+ lbf:)? not there yet", said[0]), said
        assert any(f"{asked} {4 * bar} pounds" in words for words in said[1:]), said
        assert not any("Tap" in words or "Press" in words for words in said)
        assert tap_of(seen.commands) is None
        carry_out(desk.bench, "done")
        assert "not right yet" in desk.bench.notice.text  # type: ignore[union-attr]
    if method == "in turn":
        desk.beside(1.0, lbf=10.0)
        desk.step_on_it()
        desk.beside(0.5, lbf=0.0)
        desk.beside(1.0, lbf=5.5)
        assert [words.text for words in desk.seen().second] == [
            "pull 5.5 lbf: not the same yet",
            "pull 4.5 pounds more",
        ]
        assert offered(desk.bench) == ("back",)


def test_what_the_foot_does_is_said_in_the_words_of_its_button() -> None:
    """In every phase tap and long press are named beside the number as on their buttons, and do just that."""
    desk = desk_at("in turn")
    desk.pull(10.0, 1.0)
    met: list[Command] = []
    for act in ("done", "long or short", "is long", "one more", "clear", "is short", "one more", "rest", "yes"):
        if act == "rest":
            desk.pull(10.0, 3.5)
            continue
        seen = desk.seen()
        said = [words.text for words in seen.second]
        for command in (*TAPS, *LONG_PRESSES):
            by_foot = "Tap" if command in TAPS else "Press long"
            asked = f"{COMMAND_WORDS[command][0].split(',')[0].rstrip('?')}? {by_foot}"
            named = any(words.endswith(asked) for words in said)
            assert named == (command in seen.commands), (act, command, said)
        assert act in seen.commands, (act, seen.commands)
        met.append(act)
        desk.bench.not_counted("a slip of the foot")
        if act in LONG_PRESSES:
            desk.press(1.2)
            desk.pull(10.0, 0.5)
        else:
            desk.pull(10.0, 1.0)
            desk.step_on_it()
        assert desk.seen().notice is None  # what was done after the slip did count
        if act == "done":
            desk.pull(0.0, 0.5)
            desk.pull(10.0, 1.0)
    assert last(desk).difference_um == -round(25_400 / 16)
    assert set(met) >= {"done", "is long", "is short", "one more", "clear", "yes"}


def test_keys_and_mouse_say_what_the_foot_says() -> None:
    """Long or short, short, a count, cleared and counted again: by command alone, as by foot."""
    desk = desk_at("in turn")
    desk.beside(1.0, lbf=10.0)
    carry_out(desk.bench, "done")
    desk.beside(0.5, lbf=0.0)
    desk.beside(1.0, lbf=10.0)
    for command in ("long or short", "is short", "one more", "clear", "is short", "one more", "one more"):
        assert command in offered(desk.bench)
        desk.beside(1.0, lbf=10.0)
        carry_out(desk.bench, command)
    desk.beside(3.5, lbf=10.0)
    desk.beside(1.0, lbf=10.0)
    carry_out(desk.bench, "yes")
    assert last(desk).difference_um == -round(25_400 / 8)


@pytest.mark.parametrize("gauge", [None, 1])
def test_the_opposite_number_is_not_compared_with_itself(gauge: int | None) -> None:
    """While the pull that was kept is still on, a tap, a long press and a typed length count for nothing."""
    desk, mm = desk_at("in turn", gauge), 100.0 if gauge else None
    desk.beside(1.5, lbf=10.0, mm=mm)
    desk.cues.clear()
    desk.step_on_it()
    assert desk.cues == ["step done"]  # the tap counted, and says so
    desk.beside(1.5, lbf=10.0, mm=mm)
    seen = desk.seen()
    assert [words.text for words in seen.second] == [
        "opposite number 10.0 lbf: kept",
        "then the new line, the same pull",
    ]
    assert isinstance(seen.card, PullsCard)
    assert [pull.text for pull in seen.card.pulls] == ["10.0 lbf", "--"]
    assert seen.commands == ("back",)
    desk.step_on_it()
    assert "was kept already" in desk.bench.notice.text  # type: ignore[union-attr]
    carry_out(desk.bench, "long?", {"difference": "1/8 in"})
    desk.press(1.3)
    assert desk.step == "B: compare 1"
    desk.beside(0.2, lbf=70.0)
    assert isinstance(desk.entries[-1], PieceOverpulled)
    assert desk.entries[-1].pieces == ()  # it is the opposite number's
    desk.beside(0.2, lbf=4.0, mm=mm)
    desk.beside(1.5, lbf=10.0, mm=mm)
    assert ("take reading" if gauge else "level") in desk.seen().commands
    desk.bench.not_counted("a slip of the foot")
    carry_out(desk.bench, "long or short")
    assert desk.seen().notice is None  # this did count
    carry_out(desk.bench, "back")
    desk.beside(1.0, lbf=10.0, mm=mm)
    desk.step_on_it()
    assert last(desk).difference_um == 0


def test_a_cable_out_while_comparing_undoes_nothing() -> None:
    """The pull kept on the opposite number still counts when the scale is back, and nothing says otherwise."""
    desk = desk_at("in turn")
    desk.pull(10.0, 1.0)
    desk.step_on_it()
    desk.pull(0.0, 0.5)
    desk.unplug()
    desk.wait(2.0)
    desk.replug()
    desk.pull(10.0, 1.0)
    assert desk.seen().notice.text == "The scale is back."  # type: ignore[union-attr]
    desk.step_on_it()
    assert last(desk).difference_um == 0


def test_the_same_pull_is_said_only_where_it_is_known_what_that_means() -> None:
    """A plan without a stiffness cannot say how equal pulls must be: then both are told, and no more."""
    desk = desk_at("in turn")
    assert desk.bench.comparing is not None
    desk.bench.comparing.equal_mn = None
    desk.beside(1.0, lbf=9.2)
    desk.step_on_it()
    desk.beside(0.5, lbf=0.0)
    desk.beside(1.0, lbf=11.8)
    assert desk.seen().second[0].text == "pull 11.8 lbf, before it 9.2 lbf"
    desk = desk_at("two cells")
    assert desk.bench.comparing is not None
    desk.bench.comparing.equal_mn = None
    desk.beside(1.0, lbf=9.2, other_lbf=11.8)
    assert desk.seen().second[0].text == "pull 9.2 lbf and 11.8 lbf"


def against_chart(gauge: int | None = None) -> Workbench:
    """Give a bench at the first comparison of a job whose opposite number was not sound."""
    desk = Workbench(gauge=gauge)
    desk.work_to("reference")
    said = {"by": "A. Person", "finding": "out of trim", "instead": "chart"}
    carry_out(desk.bench, "not sound", said)
    desk.press()
    looked_at = desk.entries[-1]
    assert isinstance(looked_at, ReferenceChecked)
    assert looked_at.finding.startswith("asked for its maker, canopy, size and revision")  # as the screen asks it
    for entry in worked()[2:]:
        desk.bench.record(entry)
    assert desk.step == "B: compare 1"
    desk.at_us = 10_000_000
    return desk


def test_against_the_chart_the_new_line_alone_is_pulled() -> None:
    """Where the chart is the reference nothing asks to pull it: the new line is pulled, and the record says how."""
    desk = against_chart()
    desk.beside(1.0, lbf=10.0)
    seen = desk.seen()
    assert seen.sentence.text == "Is the new B at the chart's length?"
    assert [words.text for words in seen.second] == ["pull 10.0 lbf: good", "Level? Tap", "Long or short? Press long"]
    assert isinstance(seen.card, PullsCard)
    assert [pull.label for pull in seen.card.pulls] == ["new line"]
    desk.step_on_it()
    found = last(desk)
    assert (found.method, found.reference_pull_mn) == ("by the chart", None)
    assert compared_how(found) == "before sewing, by the chart; pull on the new line 10.0 lbf (44.5 N)"


def test_against_the_chart_a_gauge_is_zeroed_at_its_length() -> None:
    """With a gauge the chart's length is its zero, which needs no pull."""
    desk = against_chart(gauge=1)
    desk.beside(1.5, lbf=0.0, mm=50.0)
    assert desk.seen().sentence.text == "Compare B: the gauge first, at the chart's length"
    desk.step_on_it()
    desk.beside(1.5, lbf=10.0, mm=53.175)
    desk.step_on_it()
    assert last(desk).difference_um == 3175
