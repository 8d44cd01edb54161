from __future__ import annotations

import dataclasses
import sys
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.bench.commands import FormFault, carry_out, lines_to_turn_to, offered
from station.bench.job import fold
from station.bench.showing import Showing
from station.bench.snapshot import ListCard
from station.records.entries import (
    Checked,
    HoldByHand,
    HoldJudged,
    LineCompared,
    LineTurnedTo,
    PieceCut,
    PieceScrapped,
    SignedOff,
    SteppedBack,
    Tacked,
)
from station.settings.reline import reline_text

sys.path.insert(0, str(Path(__file__).parent))
from workbench import MAIN, Workbench

SHORT = dataclasses.replace(MAIN, duration_us=2_000_000)  # a job's order does not ask how long its holds are
JOBS = Path("config/jobs")
SMALL = """
[reline]
name = "four lines"
pieces_together = {together}
[[lines]]
plan = "one-cascade.toml"
group = "A"
numbers = [1]
[[lines]]
plan = "one-main.toml"
group = "C"
numbers = [3]
"""


@cache
def small_set(together: int = 2) -> str:
    """Give a set of four lines in two pairs, with its plans written in."""
    path = JOBS / "whole-reline.toml"
    plans = reline_text(path).partition("\n[plans]\n")[2]
    return SMALL.format(together=together) + "\n[plans]\n" + plans


def at_set(together: int = 2, kind: str = "main") -> Workbench:
    """Give a bench on the small set."""
    return Workbench(plan=small_set(together), kind=kind, spec=SHORT, at_once=16)


def finish(desk: Workbench) -> None:
    """Do every step there is."""
    for _ in range(400):
        if desk.bench.step is None:
            return
        desk.do_step()
    raise AssertionError(f"never finished; now {desk.step!r}")


def of_kind(desk: Workbench, kind: type) -> list:
    """Give the facts of one kind."""
    return [entry for entry in desk.entries if isinstance(entry, kind)]


@cache
def whole_job(together: int) -> Workbench:
    """Give a set worked to its signature."""
    desk = at_set(together)
    finish(desk)
    return desk


def test_a_set_is_worked_by_foot_in_pairs_with_every_piece_numbered() -> None:
    """Four lines in two pairs: left before right, each piece has its own number, and one signature ends it."""
    desk = whole_job(2)
    cuts = of_kind(desk, PieceCut)
    assert [each.line for each in cuts] == ["A 1 left", "B 1 left", "A 1 right", "B 1 right", "C 3 left", "C 3 right"]
    assert [each.piece for each in cuts] == ["12", "13", "14", "15", "16", "17"]
    compared = [each.line for each in of_kind(desk, LineCompared)]
    assert compared.index("A 1 right") > max(n for n, line in enumerate(compared) if line == "A 1 left")
    assert sum(isinstance(entry, SignedOff) for entry in desk.entries) == 1


def test_pieces_of_one_stretched_length_share_one_hold() -> None:
    """Two lines' pieces are marked off, held once together, and cut apart; each line is then pre-stretched."""
    desk = whole_job(2)
    assert [each.pieces for each in of_kind(desk, HoldJudged)] == [("12", "13", "14", "15"), ("16", "17")]
    alone = whole_job(1)
    assert [each.pieces for each in of_kind(alone, HoldJudged)] == [(str(n),) for n in range(12, 18)]


def test_a_shared_pull_by_hand_is_said_of_every_piece() -> None:
    """Without instruments one answer covers the whole length, in the words that the record keeps."""
    desk = Workbench(plan=small_set(), measured=False)
    desk.work_to("A 1 left: pre-stretch")
    carry_out(desk.bench, "by hand", {"by": "Somebody"})
    assert of_kind(desk, HoldByHand)[0].pieces == ("12", "13", "14", "15")
    assert desk.step == "length 1: cut apart"
    assert "by hand, not measured" in desk.seen().recorded


def test_the_header_says_which_line_of_how_many() -> None:
    """While a line is worked on, the top says its name, its place and the count; a list says how many stand."""
    desk = at_set()
    desk.work_to("C 3 left: strip")
    seen = desk.seen()
    assert seen.header.line == "C 3 left, 3 of 4"
    assert seen.sentence.text == "Take the old C 3 left off"
    assert seen.card is not None
    assert seen.card.title == "2 of 4 lines finished"  # type: ignore[union-attr]


@pytest.mark.parametrize("together", [1, 2])
def test_both_sides_of_a_pair_are_never_stripped(together: int) -> None:
    """With the left off and unfinished, the right's old line stays on whatever is tapped, and why is said."""
    desk = at_set(together)
    desk.work_to("A 1 left: route")  # the old left is off
    carry_out(desk.bench, "another line", {"line": "a 1  RIGHT"})
    desk.work_to("A 1 right: strip")
    before = len(desk.entries)
    desk.wait(3)
    desk.press()
    assert len(desk.entries) == before
    assert desk.seen().sentence.text == "Leave the old A 1 right on"
    assert "A 1 left is off" in desk.bench.notice.text  # type: ignore[union-attr]
    assert lines_to_turn_to(desk.bench)[0] == "A 1 left"  # which it waits for
    carry_out(desk.bench, "another line", {"line": "A 1 left"})
    assert desk.step == "A 1 left: route"
    finish(desk)
    stripped = [entry.step for entry in desk.entries if entry.step.endswith(": strip")]
    assert stripped == ["A 1 left: strip", "A 1 right: strip", "C 3 left: strip", "C 3 right: strip"]


def test_a_line_that_was_passed_over_comes_again() -> None:
    """Turned away from, a line keeps what was done, the others go on, and it is finished before the set can end."""
    desk = at_set(1)
    desk.work_to("A 1 left: pre-stretch")
    assert lines_to_turn_to(desk.bench) == ("A 1 right", "C 3 left", "C 3 right")
    carry_out(desk.bench, "another line", {"line": "C 3 left"})
    assert desk.step == "C 3: reference"
    desk.work_to("A 1 left: pre-stretch")
    assert of_kind(desk, LineTurnedTo)[0].line == "C 3 left"
    standing = [unit.name for unit in desk.bench.state.units if unit.member and desk.bench.state.is_done(unit)]
    assert standing == ["C 3 left", "C 3 right"]
    finish(desk)


def test_turning_is_refused_where_it_makes_no_sense() -> None:
    """A line that is not of the set, or stands, is refused by name; before and after the lines nothing is offered."""
    desk = at_set()
    assert "another line" not in offered(desk.bench)
    desk.work_to("A 1 left: route")
    with pytest.raises(FormFault, match="expected a line that is still to be made: A 1 right"):
        carry_out(desk.bench, "another line", {"line": "D 9 left"})
    with pytest.raises(FormFault, match="nothing is written"):
        carry_out(desk.bench, "another line", {"line": " "})
    finish_to = next(step.key for step in desk.bench.state.steps if step.key.startswith("check: "))
    desk.work_to(finish_to)
    assert "another line" not in offered(desk.bench)


def test_an_old_line_that_is_off_stays_off_when_going_back() -> None:
    """Going back passes over the taking off, which no tap can undo."""
    desk = at_set(1)
    desk.work_to("A 1 left: route")
    desk.press(1.2)
    assert of_kind(desk, SteppedBack)[-1].step == "A 1 left: tack link loop"


def test_a_scrapped_piece_costs_its_own_line_alone() -> None:
    """After an overpull the line is cut anew, and what was done on other lines stands; the old line stays off."""
    desk = at_set(2)
    desk.work_to("A 1 right: route")
    desk.pull(70.0, 0.5)
    desk.pull(0.0, 1.5)
    blocked = desk.bench.blocked_piece
    assert blocked == "14"
    carry_out(desk.bench, "scrap", {"by": "Somebody", "reason": "over the ceiling"})
    assert of_kind(desk, PieceScrapped)[0].piece == "14"
    assert desk.step == "A 1 right: cut"
    desk.do_step()
    assert desk.step == "A 1 right: pre-stretch"
    desk.do_step()
    assert of_kind(desk, HoldJudged)[-1].pieces == (desk.bench.state.pieces["A 1 right"],)
    assert "A 1 right: strip" in desk.bench.state.done
    assert "A 1 left: pre-stretch" in desk.bench.state.done
    finish(desk)


def test_a_pairs_checks_are_those_its_plan_gives_cause_for() -> None:
    """A pair without a cascade is asked for none; pins are counted back for every pair, and again for the set."""
    checks = [each.check for each in of_kind(whole_job(2), Checked)]
    assert "cascade and its tack, A 1 left and right" in checks
    assert "cascade and its tack, C 3 left and right" not in checks
    assert [each for each in checks if each.startswith("pins")] == [
        "pins counted back, A 1 left and right",
        "pins counted back, C 3 left and right",
        "pins counted back",
    ]


def test_a_set_of_one_side_is_not_looked_at_left_and_right(tmp_path: Path) -> None:
    """Where the set holds the left alone, its checks speak of the left alone."""
    file = tmp_path / "left.toml"
    file.write_text(
        '[reline]\nname = "L"\n[[lines]]\nplan = "one-main.toml"\ngroup = "A"\nnumbers = [1]\nsides = ["left"]\n'
    )
    desk = Workbench(plan=reline_text(file))
    desk.work_to("A 1: check: attachment and its tack")
    assert (desk.seen().sentence.text, desk.seen().under) == ("Look, A 1 left: attachment and its tack", "")
    desk.work_to("check: order on the link")
    assert desk.seen().under == ""


@settings(max_examples=25, deadline=None)
@given(st.data())
def test_a_set_interrupted_anywhere_shows_the_same_from_its_entries(data: st.DataObject) -> None:
    """After any prefix of its entries, the fold asks for what the bench asked for, and shows it in the same words."""
    together = data.draw(st.sampled_from([1, 2]))
    entries = whole_job(together).entries
    cut = data.draw(st.integers(1, len(entries)))
    state = fold(enumerate(entries[:cut], 1))
    desk = at_set(together)
    desk.entries[:] = list(entries[:cut])
    again = type(desk.bench)(state, desk.settings, desk.file)
    seen = Showing(again).snapshot()
    assert (again.step.key if again.step else "") == (state.now.key if state.now else "")
    expected = next((entry.step for entry in entries[cut:] if entry.step), "")
    if again.step is not None and expected:
        assert expected in again.step.keys
    assert seen.sentence.text
    assert seen.header.step.startswith("step ")


def test_the_tacks_of_one_line_are_sewn_in_one_sitting() -> None:
    """The foot is armed once for all tacks of a main line; each leaves its own fact, and one step back undoes all."""
    desk = at_set(together=1)
    desk.work_to("A 1 left canopy end: sew")
    seen = desk.seen()
    assert seen.sentence.text == "Sew the 3 tacks, one after the other"
    assert isinstance(seen.card, ListCard)
    assert seen.card.title == "each: bar tack, 1 in, 42 stitches"
    assert [words for words, _ in seen.card.items] == [
        "B 1 left into A 1 left",
        "B 1 left canopy end",
        "A 1 left canopy end",
    ]
    for _ in range(3):
        desk.press()
    assert desk.step == "A 1 left canopy end: sew"
    desk.do_step()
    sewn = [entry.step for entry in desk.entries if isinstance(entry, Tacked)][-3:]
    traps = ("B 1 left into A 1 left", "B 1 left canopy end", "A 1 left canopy end")
    assert sewn == [f"{trap}: sew" for trap in traps]
    drawn = desk.seen().drawing
    assert drawn is not None
    assert drawn.sewn >= set(traps)
    desk.press(1.2)
    assert desk.step == "A 1 left canopy end: sew"
    assert not set(sewn) & set(desk.bench.state.done)
    assert [entry.step for entry in desk.entries if isinstance(entry, SteppedBack)] == sewn
    assert desk.folded().done == desk.bench.state.done


def test_a_tack_that_was_filed_before_the_program_died_is_not_asked_for_again() -> None:
    """Where only the first of three tacks was filed, the others are what is left to sew."""
    desk = at_set(together=1)
    desk.work_to("A 1 left canopy end: sew")
    desk.do_step()
    last = max(n for n, entry in enumerate(desk.entries) if isinstance(entry, Tacked))
    state = fold(enumerate(desk.entries[: last - 1], 1))
    assert state.now is not None
    assert state.now.keys == ("B 1 left canopy end: sew", "A 1 left canopy end: sew")


@cache
def whole_single(kind: str) -> Workbench:
    """Give a job of one plan, worked to its signature with a difference, an adjustment and a step back in it."""
    desk = Workbench(kind=kind, spec=SHORT, at_once=16)
    desk.work_to("B: compare 1")
    desk.pull(10.2, 1.0)
    desk.press()
    desk.pull(0.0, 0.5)
    desk.pull(10.2, 0.5)
    carry_out(desk.bench, "long?", {"difference": "3/16 in"})
    desk.do_step()
    desk.press(1.2)
    finish(desk)
    return desk


@pytest.mark.parametrize("kind", ["main", "reserve"])
def test_a_job_interrupted_at_every_entry_shows_the_same_as_it_did(kind: str) -> None:
    """After each single entry, a bench begun from the entries so far shows the step, strip and drawing of the first."""
    entries = whole_single(kind).entries
    live = Workbench(kind=kind, spec=SHORT, at_once=16)
    assert live.entries[0] == entries[0]
    for n, entry in enumerate(entries[1:], 2):
        live.bench.record(entry)
        cut = [int(each.piece) for each in entries[:n] if isinstance(each, PieceCut)]
        today = dataclasses.replace(live.settings, next_piece=max(cut, default=11) + 1)
        again = type(live.bench)(fold(enumerate(entries[:n], 1)), today, live.file)
        shown, first = Showing(again).snapshot(), live.seen()
        assert (shown.sentence, shown.number, shown.steps) == (first.sentence, first.number, first.steps), entry
        assert (shown.header.step, shown.commands, shown.drawing) == (first.header.step, first.commands, first.drawing)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.sampled_from([0.2, 0.2, 1.2]), min_size=1, max_size=12), st.data())
def test_feet_alone_never_do_what_is_never_by_foot(presses: list[float], data: st.DataObject) -> None:
    """Whatever is tapped, pressed and waited for: no override, signature, inspection or scrapping comes of it."""
    together = data.draw(st.sampled_from([1, 2]))
    entries = whole_job(together).entries
    cut = data.draw(st.integers(1, len(entries) - 1))
    desk = at_set(together)
    desk.bench = type(desk.bench)(fold(enumerate(entries[:cut], 1)), desk.settings, desk.file)
    desk.entries.clear()
    for held in presses:
        desk.wait(data.draw(st.sampled_from([0.1, 2.2])))
        desk.press(held)
    never = {"Overridden", "SignedOff", "Inspected", "PieceScrapped", "PieceReleased", "HoldByHand", "LineTurnedTo"}
    assert never.isdisjoint(type(entry).__name__ for entry in desk.entries)
