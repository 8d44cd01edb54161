from __future__ import annotations

import dataclasses
import sys
from pathlib import Path

import pytest

from drivers.events import Tick
from station.bench.bench import READ_FIRST, READ_US
from station.bench.commands import FormFault, carry_out, offered
from station.bench.hearing import LARGE_US
from station.bench.job import CHECKS, fold
from station.bench.snapshot import LengthNumber, Words
from station.learned import stock_of
from station.records.entries import (
    HoldByHand,
    LineCompared,
    MarkMade,
    Overridden,
    PieceCut,
    PieceReleased,
    PieceScrapped,
    ReferenceChecked,
    SignedOff,
    SteppedBack,
    Tacked,
    TrapMade,
)
from station.units import stacked_length

sys.path.insert(0, str(Path(__file__).parent))
from workbench import PLAN, Workbench, last_hold


def test_a_whole_job_is_done_by_foot_but_for_the_signature() -> None:
    """Every step but the signing is done by pulls and taps alone, and each leaves its fact."""
    desk = Workbench()
    desk.work_to("sign")
    desk.do_step()
    assert desk.bench.state.now is None
    kinds = [type(entry).__name__ for entry in desk.entries]
    assert kinds.count("HoldJudged") == 2
    assert kinds.count("TrapMade") == 4
    assert kinds.count("Tacked") == 5
    assert kinds.count("LineCompared") == 4
    assert kinds.count("Checked") == 13
    assert isinstance(desk.entries[-1], SignedOff)
    assert desk.seen().sentence.text == "Signed off. The record is filed."


def test_a_job_goes_on_from_its_entries_alone() -> None:
    """At every moment of a job, the fold of what was filed stands where the bench stands."""
    desk = Workbench()
    for _ in range(60):
        assert fold(enumerate(desk.entries, 1)).steps == desk.bench.state.steps
        assert desk.folded().index == desk.bench.state.index
        if desk.bench.state.now is None:
            break
        desk.do_step()
    assert desk.bench.state.now is None


@pytest.mark.parametrize("command", ["scrap", "release"])
def test_over_the_ceiling_stops_the_piece_until_somebody_answers_for_it(command: str) -> None:
    """After a pull over the ceiling the piece is scrapped, and cut anew, or released by name and pulled again."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    desk.hold(61.0, 2.0)
    assert list(last_hold(desk).judgement["reasons"]) == ["over-ceiling"]
    assert desk.seen().sentence.text.startswith("Stop: scrap piece 12")
    assert desk.seen().commands == ("scrap", "release")
    carry_out(desk.bench, command, {"by": "A. Person", "reason": "seen"})  # type: ignore[arg-type]  # both are commands
    assert desk.step == ("A: cut" if command == "scrap" else "A: pre-stretch")
    desk.work_to("A: route")
    assert desk.bench.state.pieces["A"] == ("13" if command == "scrap" else "12")


def test_a_scrapped_piece_takes_its_steps_with_it() -> None:
    """Scrapping the branch's piece sends the job back to cutting the branch, not the main line."""
    desk = Workbench()
    desk.work_to("B: pre-stretch")
    desk.hold(61.0, 2.0)
    carry_out(desk.bench, "scrap", {"by": "A. Person", "reason": "over the ceiling"})
    assert desk.step == "B: cut"
    assert isinstance(desk.entries[-1], PieceScrapped)
    assert desk.bench.state.pieces == {"A": "12"}


def test_a_step_that_needs_a_hold_is_passed_only_by_name_and_reason() -> None:
    """No tap passes a pre-stretch; an override does, and the record shows who and why."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    desk.press()
    assert desk.step == "A: pre-stretch"
    carry_out(desk.bench, "override", {"by": "A. Person", "reason": "held on another bench"})
    assert desk.step == "A: route"
    assert desk.entries[-1] == Overridden(
        job="26-0001", step="A: pre-stretch", by="A. Person", reason="held on another bench"
    )


def test_a_reference_that_is_not_sound_is_said_by_name_and_another_is_looked_at() -> None:
    """A tap says sound, by nobody in particular; not sound takes a name, what was found, and what to match instead."""
    desk = Workbench()
    desk.work_to("reference")
    assert desk.seen().sentence.text == "Is the opposite number sound?"
    said = {"by": "A. Person", "finding": "3/4 in off the maker's chart", "instead": "chart"}
    for missing in said:
        with pytest.raises(FormFault, match=missing):
            carry_out(desk.bench, "not sound", said | {missing: " "})
    with pytest.raises(FormFault, match="instead: found 'my own', expected one of: opposite number, adjacent line"):
        carry_out(desk.bench, "not sound", said | {"instead": "my own"})
    carry_out(desk.bench, "not sound", said)
    found = desk.entries[-1]
    assert isinstance(found, ReferenceChecked)
    assert (found.reference, found.sound, found.by, found.instead) == ("opposite number", False, "A. Person", "chart")
    assert desk.step == "reference"
    assert desk.seen().sentence.text == "Is this the maker's chart?"
    desk.press()
    found = desk.entries[-1]
    assert isinstance(found, ReferenceChecked)
    assert (found.reference, found.sound, found.by, found.instead) == ("chart", True, "", "")
    assert desk.step == "A: cut"
    assert fold(enumerate(desk.entries, 1)).reference == "chart"
    assert "not sound" not in offered(desk.bench)


def test_without_instruments_the_job_works_and_says_not_measured() -> None:
    """Without a scale a hold is entered as pulled by hand, and marks and comparisons carry no pull."""
    desk = Workbench(measured=False)
    desk.work_to("A: pre-stretch")
    assert "not measured" in desk.seen().under
    carry_out(desk.bench, "by hand", {"by": "A. Person"})
    assert isinstance(desk.entries[-1], HoldByHand)
    desk.wait(0.1)
    for _ in range(80):
        if desk.bench.state.now is None:
            break
        if desk.bench.state.now.kind == "pre-stretch":
            carry_out(desk.bench, "by hand", {"by": "A. Person"})
        else:
            desk.do_step()
    assert desk.bench.state.now is None
    assert all(entry.pull_mn is None for entry in desk.entries if isinstance(entry, MarkMade))
    assert all("not measured" in entry.method for entry in desk.entries if isinstance(entry, LineCompared))


def test_no_check_is_asked_for_of_what_is_not_there() -> None:
    """A line without a cascade or a knot has neither on its list, so that the record never says they were seen."""
    alone = Workbench(plan=PLAN.partition('[[line]]\nname = "B"')[0])
    checks = [step.check for step in alone.bench.state.steps if step.kind == "check"]
    assert not {"knot dressed", "cascade and its tack"} & set(checks)
    assert checks == [check for check in CHECKS if check not in {"knot dressed", "cascade and its tack"}]
    both = [step.check for step in Workbench().bench.state.steps if step.kind == "check"]
    assert both == list(CHECKS)


def test_where_there_is_no_foot_none_is_asked_to_be_armed() -> None:
    """Without a pedal a sewing step asks for the space bar, which counts at once."""
    desk = Workbench()
    desk.work_to("trial tack")
    desk.bench.settings = dataclasses.replace(desk.bench.settings, pedal=False)
    assert desk.seen().second[-1].text == "then press the space bar"
    desk.wait(1.0)
    carry_out(desk.bench, "done")
    assert desk.step != "trial tack"


def test_a_bounce_of_the_foot_answers_one_question() -> None:
    """A second tap within a second of what it would answer is not counted; the first one is."""
    desk = Workbench()
    desk.wait(2.0)
    desk.press(0.15, reads=False)
    desk.press(0.15, reads=False)
    assert desk.step == "reference"
    assert desk.seen().sentence.text == "Too soon. Is the opposite number sound?"
    assert desk.seen().notice == Words(f"Not counted: {READ_FIRST}.", "warn")
    desk.wait(1.0)
    desk.press(0.15, reads=False)
    assert desk.step == "A: cut"


@pytest.mark.parametrize(("shown_us", "counts"), [(READ_US - 1, False), (READ_US, True)])
def test_a_tap_counts_once_what_it_answers_has_been_shown_for_a_second(shown_us: int, counts: bool) -> None:
    """The limit is one of stamps: a tap at a second counts, by foot or key, and one a microsecond before does not."""
    desk = Workbench()
    desk.bench.take([Tick(READ_US)])
    desk.bench.tap(READ_US)
    desk.bench.take([Tick(READ_US + shown_us)])
    carry_out(desk.bench, "done")
    assert (desk.step == "A: cut") is counts


def test_why_a_tap_did_not_count_is_the_sentence_for_four_seconds() -> None:
    """What did not count is said where it is read from afar, then what is asked stands there again."""
    desk = Workbench()
    desk.work_to("B into A: mark")
    asked = desk.seen().sentence
    desk.unplug()
    desk.wait(1.5)
    desk.press()
    assert desk.seen().sentence == Words("Not counted: there is no reading from the scale.", "warn")
    assert desk.seen().notice is None  # it is not said twice
    assert desk.seen().notice is None  # it is not said twice
    desk.wait(LARGE_US / 1e6)
    assert desk.seen().sentence == asked
    assert "Not counted" in str(desk.seen().notice)  # which stays a while longer
    desk.press()
    desk.pull(10.2, 0.5)
    desk.press()
    assert desk.seen().sentence.text.startswith("Cut braid for B")  # what counts is no longer called refused


def test_during_a_pull_the_sentence_is_the_holds() -> None:
    """A tap in a hold is answered below: the sentence goes on to say what keeps the hold."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    desk.pull(0.0, 1.0)
    desk.pull(31.0, 5.0)
    desk.press()
    assert desk.seen().sentence.text.startswith("Pre-stretch, ")
    assert "Not counted" in str(desk.seen().notice)


def test_single_taps_are_ignored_in_a_sewing_step() -> None:
    """The sewing machine's own foot control does not move the job on: only two taps two seconds apart arm it."""
    desk = Workbench()
    desk.work_to("A: tack link loop")
    for _ in range(6):
        desk.press()
        desk.wait(0.2)
    assert desk.step == "A: tack link loop"
    desk.wait(5.0)
    desk.press()
    desk.wait(2.0)
    desk.press()
    desk.press()
    assert desk.step == "A: pre-stretch"
    assert isinstance(desk.entries[-1], Tacked)


def test_no_run_of_taps_passes_the_list_of_checks() -> None:
    """Each check counts only once it has been shown for two seconds."""
    desk = Workbench()
    desk.work_to("check: attachment and its tack")
    for _ in range(20):
        desk.press(0.1, reads=False)
    assert desk.bench.state.index <= desk.bench.state.steps.index(
        next(step for step in desk.bench.state.steps if step.key == "check: link loop and its tack")
    )
    desk.press(0.1, reads=False)
    assert any("look first" in str(desk.bench.notice) for _ in [0])


def test_a_long_press_goes_back_and_erases_nothing() -> None:
    """Going back files a fact that names the step; what was recorded for it stands."""
    desk = Workbench()
    desk.work_to("A: tack link loop")
    before = list(desk.entries)
    desk.press(1.3)
    assert desk.step == "A: link loop"
    assert desk.entries == [*before, SteppedBack(job="26-0001", step="A: link loop")]
    desk.wait(2.2)
    desk.press()
    assert desk.step == "A: tack link loop"
    assert sum(isinstance(entry, TrapMade) for entry in desk.entries) == 2


def test_signing_and_inspection_are_never_by_foot() -> None:
    """A reserve asks for a second person; neither that nor the signature is taken from the foot."""
    desk = Workbench(kind="reserve")
    desk.work_to("second person")
    desk.press()
    assert desk.step == "second person"
    desk.do_step()
    desk.press()
    assert desk.step == "sign"
    desk.do_step()
    assert desk.bench.state.now is None


def test_a_failed_write_stops_the_work_and_says_so() -> None:
    """When a fact cannot be filed it does not count, and nothing more is taken."""
    desk = Workbench()
    desk.work_to("A: cut")
    desk.disk_full = True
    desk.wait(2.2)
    desk.press()
    assert desk.step == "A: cut"
    seen = desk.seen()
    assert seen.notice is None
    assert seen.sentence.text == "Stop: nothing more can be recorded"
    assert "disk is full" in seen.second[0].text
    assert seen.under.startswith("What was done last is not recorded; all before it is safe.")
    desk.disk_full = False
    desk.press()
    assert desk.step == "A: cut"


def test_a_blocked_piece_is_held_by_no_pull() -> None:
    """After a pull over the ceiling another, perfect pull of the same piece files nothing and moves nothing on."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    desk.hold(61.0, 2.0)
    filed = len(desk.entries)
    desk.hold()
    assert len(desk.entries) == filed
    assert desk.step == "A: pre-stretch"
    assert offered(desk.bench) == ("scrap", "release")
    held = last_hold(desk)
    forged = dataclasses.replace(held, judgement={**held.judgement, "verdict": "held", "reasons": []})
    assert desk.bench.state.after(forged, 99).now.key == "A: pre-stretch"  # nor does the fold take one


def test_no_name_passes_a_step_while_the_line_is_pulled() -> None:
    """During a pull nothing is offered, so that no attempt is thrown away: its verdict falls first."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    desk.pull(0.0, 1.0)
    desk.pull(31.0, 3.0)
    assert offered(desk.bench) == ()
    carry_out(desk.bench, "by hand", {"by": "A. Person"})
    carry_out(desk.bench, "override", {"by": "A. Person", "reason": "none"})
    assert desk.step == "A: pre-stretch"
    assert not any(isinstance(entry, HoldByHand | Overridden) for entry in desk.entries)


def test_what_is_not_offered_is_not_done_and_a_name_is_needed() -> None:
    """An override of a check, a signature before its step and an inspection without a name are refused."""
    desk = Workbench(kind="reserve")
    desk.work_to("check: no twist")
    for command in ("override", "sign", "inspect", "scrap"):
        carry_out(desk.bench, command, {"by": "A. Person", "reason": "none"})  # type: ignore[arg-type]
        assert desk.step == "check: no twist"
    desk.work_to("second person")
    with pytest.raises(FormFault, match="by"):
        carry_out(desk.bench, "inspect", {"by": " ", "finding": "good"})


def test_a_line_with_a_loop_in_its_middle_is_worked_to_the_end() -> None:
    """A lower control line with a brake loop is marked, trapped and set like any other, and signed off."""
    desk = Workbench(plan=Path("config/jobs/lower-control.toml").read_text(encoding="utf-8"))
    keys = [step.key for step in desk.bench.state.steps]
    assert len(keys) == len(set(keys))
    for _ in range(80):
        if desk.bench.step is None:
            break
        desk.seen()
        desk.do_step()
    assert desk.bench.step is None


def test_plain_marks_are_shown_with_the_closing_mark() -> None:
    """The step of the closing mark names each plain mark and says how far past its like it goes."""
    plan = Path("config/jobs/lower-control.toml").read_text(encoding="utf-8")
    plan = plan.replace(
        '{ name = "toggle", at = "60 in" }', '{ name = "toggle", at = "60 in" }, { name = "stop", at = "78 in" }'
    )
    desk = Workbench(plan=plan)
    desk.work_to("lower control canopy end: mark")
    seen = desk.seen()
    assert seen.sentence.text == "Leave lower control 5/16 in long, then mark it and toggle, stop"
    assert [words.text for words in seen.second][2] == "toggle level with its like, stop 3/16 in past its like"
    assert seen.drawing is not None
    assert seen.drawing.mark == "entry"
    assert [mark.name for mark in seen.drawing.drawing.lines[0].marks] == ["toggle", "stop"]


def test_a_leg_of_its_own_is_named_and_cut() -> None:
    """A loop whose leg is a piece of its own says how long to cut it, and numbers it from its cutting on."""
    desk = Workbench(plan=own_leg())
    desk.work_to("lower control brake loop leg: cut")
    seen = desk.seen()
    assert seen.sentence.text == "Cut the leg of lower control's loop, and number it piece 13"
    assert isinstance(seen.number, LengthNumber)
    assert seen.number.stacked == stacked_length(9.5 * 0.0254)
    desk.work_to("lower control brake loop below: trap")
    cut = desk.entries[-1]
    assert isinstance(cut, PieceCut)
    assert (cut.line, cut.piece, cut.length_um) == ("lower control brake loop leg", "13", 241_300)
    seen = desk.seen()
    assert seen.sentence.text == "Trap the leg into lower control, below the brake loop"
    assert seen.under == "Leg: piece 13, tapered."
    desk.work_to("lower control brake loop above: mark")
    (made,) = (each for each in desk.entries if isinstance(each, TrapMade) and "brake loop" in each.trap)
    assert made.guest == "lower control brake loop leg, piece 13,"
    assert stock_of(desk.bench.state, cut.line) == stock_of(desk.bench.state, "lower control")


def own_leg() -> str:
    """Give a plan whose loop has a leg of its own piece."""
    text = Path("config/jobs/lower-control.toml").read_text(encoding="utf-8")
    return text.replace('leg = "running end"', 'leg = "own piece"').replace('at = "18 in"', 'at = "30 in"')


def test_a_scrapped_leg_is_cut_anew_under_another_number() -> None:
    """Once it is trapped at both ends a leg carries: over the ceiling it is blocked, and scrapped it is cut again."""
    desk = Workbench(plan=own_leg())
    desk.work_to("lower control brake loop above: mark")
    assert desk.bench.state.pieces_of(desk.bench.step) == ("12",)  # type: ignore[arg-type]  # there is one
    desk.work_to("lower control canopy end: mark")
    desk.pull(61.0, 0.5)
    assert desk.bench.state.blocked.keys() == {"12", "13"}
    desk.bench.record(PieceReleased(job="26-0001", piece="12", by="A. Person", reason="looked at"), stay=True)
    desk.bench.record(PieceScrapped(job="26-0001", piece="13", by="A. Person", reason="over the ceiling"))
    assert desk.step == "lower control brake loop leg: cut"
    assert "piece 14" in desk.seen().sentence.text
    desk.work_to("lower control canopy end: mark")
    assert desk.bench.state.pieces["lower control brake loop leg"] == "14"
    assert desk.folded().steps == desk.bench.state.steps


def test_a_leg_trapped_before_legs_were_numbered_is_not_asked_for() -> None:
    """A job whose leg was trapped without a number goes on, and its record says what is not known."""
    desk = Workbench(plan=own_leg())
    desk.work_to("lower control brake loop above: mark")
    before = [entry for entry in desk.entries if getattr(entry, "step", "") != "lower control brake loop leg: cut"]
    state = fold(enumerate(before, 1))
    assert state.now is not None
    assert state.now.key == "lower control brake loop above: mark"
    assert not any(step.kind == "cut leg" for step in state.steps)


def test_a_mark_without_an_offset_is_level_and_not_past() -> None:
    """Where nothing shortens below a mark it is level with the opposite number's, and no arrow is drawn."""
    text = Path("config/jobs/lower-control.toml").read_text(encoding="utf-8")
    desk = Workbench(plan=text)
    desk.work_to("lower control brake loop above: mark")
    seen = desk.seen()
    assert seen.sentence.text == "Mark where lower control's running end enters its own braid, above the brake loop"
    assert [words.text for words in seen.second][:2] == ["level with the", "opposite number's entry"]
    assert seen.arrow is None
